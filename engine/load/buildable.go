package load

import (
	"cmp"
	"slices"
	"sort"

	"github.com/phasewright/phasewright/engine/plan"
)

// Option is a load that can be set, and how.
type Option struct {
	Load    plan.Load   // in the unit of the bar, machine or piece, unless Menu.In says another
	Bar     plan.Load   // the bar's or handle's own mass, or the stack's setting; zero without
	Collars plan.Load   // both together, with plates on a bar that has them
	PerSide []plan.Load // plates on each side, heaviest first
	Hung    []plan.Load // what hangs from the body, for added loads, heaviest first
	AddOns  []plan.Load // on top of a stack's setting, heaviest first
}

// Menu is every load that can be set with what is there: distinct, in rising order.
// It is immutable; the zero Menu is empty.
type Menu struct {
	items  []item
	pieces []plan.Load // plate masses, heaviest first; counts refer to them
	counts []uint8     // items' plates, len(pieces) for each item with plates
	use    use
}

// use is where pieces go.
type use uint8

const (
	onSides use = iota
	onBody
	onStack
)

type item struct {
	load  plan.Load
	exact int64 // in 1e-11 kg; load is this rounded to thousandths of its unit
	bar   plan.Load
	extra plan.Load // collars
	at    int       // index into counts, -1 where there are no plates
}

// Bounds that keep a menu small whatever the stock.
const (
	maxTotal   = 600 * exactKg // bar or machine
	maxHung    = 150 * exactKg
	maxOptions = 20_000
	maxSteps   = 2000 // of a stack
)

// The grid on which kilograms and pounds are both integers: 1e-11 kg.
const (
	exactKg      = int64(100_000_000_000)
	exactMilliKg = int64(100_000_000)
	exactMilliLb = int64(45_359_237)
)

func exact(l plan.Load) int64 {
	if l.Unit == plan.Pound {
		return l.Milli * exactMilliLb
	}
	return l.Milli * exactMilliKg
}

func inUnit(v int64, u plan.MassUnit) plan.Load {
	per := exactMilliKg
	if u == plan.Pound {
		per = exactMilliLb
	}
	return plan.Load{Milli: roundDiv(v, per), Unit: u}
}

// Len is the number of loads.
func (m *Menu) Len() int { return len(m.items) }

// At gives the i-th load, rising.
func (m *Menu) At(i int) Option {
	it := m.items[i]
	o := Option{Load: it.load, Bar: it.bar, Collars: it.extra}
	if it.at < 0 {
		return o
	}
	var list []plan.Load
	for k, mass := range m.pieces {
		for range m.counts[it.at+k] {
			list = append(list, mass)
		}
	}
	switch m.use {
	case onBody:
		o.Hung = list
	case onStack:
		o.AddOns = list
	default:
		o.PerSide = list
	}
	return o
}

// Loads lists all loads, rising.
func (m *Menu) Loads() []plan.Load {
	out := make([]plan.Load, len(m.items))
	for i, it := range m.items {
		out[i] = it.load
	}
	return out
}

// Nearest gives the load nearest to a target, the lower one of two equally near; with
// down, the heaviest that is not above the target. It is false where there is none:
// an empty menu, or with down a target under the lightest load.
func (m *Menu) Nearest(target plan.Load, down bool) (Option, bool) {
	i, found := m.find(target)
	switch {
	case found:
		return m.At(i), true
	case i == 0:
		if down || len(m.items) == 0 {
			return Option{}, false
		}
		return m.At(0), true
	}
	want := exact(target)
	if down || i == len(m.items) || want-m.items[i-1].exact <= m.items[i].exact-want {
		i--
	}
	return m.At(i), true
}

// Below gives the next load under one.
func (m *Menu) Below(l plan.Load) (Option, bool) {
	if i, _ := m.find(l); i > 0 {
		return m.At(i - 1), true
	}
	return Option{}, false
}

// Above gives the next load over one.
func (m *Menu) Above(l plan.Load) (Option, bool) {
	i, found := m.find(l)
	if found {
		i++
	}
	if i < len(m.items) {
		return m.At(i), true
	}
	return Option{}, false
}

// find gives the load itself, or the first one above it. A load that prints as one of
// the menu's totals is that total: 20 kg and two plates of 45 lb make 60.823 kg, and
// asking for 60.823 kg finds it.
func (m *Menu) find(l plan.Load) (int, bool) {
	i := m.search(exact(l))
	for j := max(i-1, 0); j <= i && j < len(m.items); j++ {
		if m.items[j].load == l || m.items[j].exact == exact(l) {
			return j, true
		}
	}
	return i, false
}

// search gives the first load that is at least so heavy.
func (m *Menu) search(want int64) int {
	return sort.Search(len(m.items), func(i int) bool { return m.items[i].exact >= want })
}

// MenuFor gives the menu for a way of loading at a place. kind picks the bar or the
// machine's stack; a stack without a kind serves every machine that has none of its
// own. For a counterweight it is the help that can be set. The menu is empty where
// nothing is declared.
func MenuFor(loading plan.Loading, kind plan.Equipment, place *plan.Place) Menu {
	switch loading {
	case plan.LoadingBar:
		var bars []plan.Bar
		for _, b := range place.Bars {
			if b.Kind == kind {
				bars = append(bars, b)
			}
		}
		return BarMenu(bars, place.Plates)
	case plan.LoadingPlateMachine:
		return PlateMachineMenu(place.Plates)
	case plan.LoadingStack, plan.LoadingAssisted:
		for _, want := range []plan.Equipment{kind, plan.EquipmentUnspecified} {
			for _, s := range place.Stacks {
				if s.Kind == want {
					return StackMenu(s)
				}
			}
		}
	case plan.LoadingDumbbellPair:
		return DumbbellMenu(place.Dumbbells, place.Adjustables, 2)
	case plan.LoadingDumbbell:
		return DumbbellMenu(place.Dumbbells, place.Adjustables, 1)
	case plan.LoadingKettlebellPair:
		return HeldMenu(place.Kettlebells, 2)
	case plan.LoadingKettlebell:
		return HeldMenu(place.Kettlebells, 1)
	case plan.LoadingAdded:
		return AddedMenu(place.Plates, slices.Concat(place.Dumbbells, dialled(place.Adjustables)))
	}
	return Menu{}
}

// BarMenu gives bar plus plates in pairs, to 600 kg, in the bar's unit. Plates of
// another unit are counted exactly, and used where plates of the bar's unit leave a
// gap of more than 2.5 kg or 5 lb. One sum is made with the fewest plates,
// and of those with the heaviest. Collars go on with the first plates. With several bars
// the first is preferred: later ones only add what is lighter or heavier than all it can
// give.
func BarMenu(bars []plan.Bar, plates []plan.PlateStock) Menu {
	var m Menu
	for _, b := range bars {
		base := exact(b.Mass)
		if b.Mass.Milli <= 0 || base > maxTotal {
			continue
		}
		collars := max(exact(b.Collars.Value), 0)
		limit := (maxTotal - base - collars) / 2
		if limit < 0 {
			plates, limit = nil, 0
		}
		one := menuOf(newSums(plates, 2, limit), b.Mass, base, 2, b.Mass.Unit)
		one.collar(b.Collars.Value, collars, b.Mass.Unit)
		one.unmix(b.Mass.Unit)
		one.distinct()
		m.merge(one)
	}
	return m
}

// PlateMachineMenu gives plates in pairs on a machine, from none up to 600 kg, in the
// unit of the first plate.
func PlateMachineMenu(plates []plan.PlateStock) Menu {
	if len(plates) == 0 {
		return Menu{}
	}
	unit := plates[0].Mass.Unit
	m := menuOf(newSums(plates, 2, maxTotal/2), plan.Load{}, 0, 2, unit)
	m.unmix(unit)
	m.distinct()
	return m
}

// AddedMenu gives what can hang from the body: nothing, single plates together up to
// 150 kg, or one dumbbell, in the unit of the first piece. Nothing is always possible.
func AddedMenu(plates []plan.PlateStock, dumbbells []plan.HeldStock) Menu {
	unit := plan.Kilogram
	switch {
	case len(plates) > 0:
		unit = plates[0].Mass.Unit
	case len(dumbbells) > 0:
		unit = dumbbells[0].Mass.Unit
	}
	sums := newSums(plates, 1, maxHung)
	m := menuOf(sums, plan.Load{}, 0, 1, unit)
	m.unmix(unit)
	m.use = onBody
	for _, d := range dumbbells {
		v := exact(d.Mass)
		if d.Count < 1 || v <= 0 || v > maxHung {
			continue
		}
		i := m.search(v)
		if i < len(m.items) && m.items[i].exact == v {
			continue // plates give it
		}
		k := slices.IndexFunc(m.pieces, func(p plan.Load) bool { return p == d.Mass })
		if k < 0 {
			k = len(m.pieces)
			m.widen(d.Mass)
		}
		at := len(m.counts)
		m.counts = append(m.counts, make([]uint8, len(m.pieces))...)
		m.counts[at+k] = 1
		m.items = slices.Insert(m.items, i, item{load: inUnit(v, unit), exact: v, at: at})
	}
	m.distinct()
	return m
}

// merge adds what another menu has below and above all of this one.
func (m *Menu) merge(o Menu) {
	if len(m.items) == 0 {
		*m = o
		return
	}
	lo, hi := m.items[0].exact, m.items[len(m.items)-1].exact
	m.add(o, func(v int64) bool { return v < lo || v > hi })
}

// add puts in what another menu has and this one has not.
func (m *Menu) add(o Menu, keep func(exact int64) bool) {
	shift := 0
	if !slices.Equal(m.pieces, o.pieces) {
		// Each keeps its own kinds, so that plates stay heaviest first.
		shift = len(m.pieces)
		for _, mass := range o.pieces {
			m.widen(mass)
		}
	}
	w := len(m.pieces)
	for _, it := range o.items {
		if !keep(it.exact) {
			continue
		}
		if it.at >= 0 {
			from := o.counts[it.at : it.at+len(o.pieces)]
			it.at = len(m.counts)
			m.counts = append(m.counts, make([]uint8, w)...)
			copy(m.counts[it.at+shift:], from)
		}
		m.items = append(m.items, it)
	}
	slices.SortStableFunc(m.items, func(a, b item) int { return cmp.Compare(a.exact, b.exact) })
	m.distinct()
}

// widen adds a kind of piece at the end of every item's counts.
func (m *Menu) widen(mass plan.Load) {
	w := len(m.pieces)
	wide := make([]uint8, 0, len(m.items)*(w+1))
	for i := range m.items {
		at := m.items[i].at
		if at < 0 {
			continue
		}
		m.items[i].at = len(wide)
		wide = append(wide, m.counts[at:at+w]...)
		wide = append(wide, 0)
	}
	m.counts, m.pieces = wide, append(slices.Clone(m.pieces), mass)
}

// distinct drops loads that print the same as the one before.
func (m *Menu) distinct() {
	m.items = slices.CompactFunc(m.items, func(a, b item) bool { return a.exact == b.exact || a.load == b.load })
}

// unmix drops totals with plates of another unit than the menu's where one without
// them is at most 1.25 kg or 2.5 lb away: nobody wants 83.144 kg for 82.5 kg. Where
// the own plates leave larger gaps, mixed totals fill them.
func (m *Menu) unmix(unit plan.MassUnit) {
	near := exact(plan.Kg(1250))
	if unit == plan.Pound {
		near = exact(plan.Lb(2500))
	}
	mixed := func(it item) bool {
		for k, p := range m.pieces {
			if p.Unit != unit && m.counts[it.at+k] > 0 {
				return true
			}
		}
		return false
	}
	var own []int64
	for _, it := range m.items {
		if !mixed(it) {
			own = append(own, it.exact)
		}
	}
	m.items = slices.DeleteFunc(m.items, func(it item) bool {
		if !mixed(it) {
			return false
		}
		i, _ := slices.BinarySearch(own, it.exact)
		return i < len(own) && own[i]-it.exact <= near || i > 0 && it.exact-own[i-1] <= near
	})
}

// menuOf turns sums of plates into loads: base plus so many times each sum.
func menuOf(s sums, bar plan.Load, base, times int64, unit plan.MassUnit) Menu {
	m := Menu{pieces: s.pieces, counts: s.counts, items: make([]item, len(s.values))}
	for i, v := range s.values {
		total := base + times*v
		m.items[i] = item{load: inUnit(total, unit), exact: total, bar: bar, at: i * len(s.pieces)}
	}
	return m
}

// collar puts collars on all loads with plates.
func (m *Menu) collar(mass plan.Load, v int64, unit plan.MassUnit) {
	if v <= 0 {
		return
	}
	for i := range m.items {
		it := &m.items[i]
		if m.pieceCount(it) > 0 {
			it.exact += v
			it.load, it.extra = inUnit(it.exact, unit), mass
		}
	}
}

func (m *Menu) pieceCount(it *item) int {
	n := 0
	if it.at >= 0 {
		for _, c := range m.counts[it.at : it.at+len(m.pieces)] {
			n += int(c)
		}
	}
	return n
}

// In gives the menu with totals of several pieces, bars and what is on them, in a unit.
// What stands on a single piece stays as it is marked: dumbbells, kettlebells, stacks.
func (m Menu) In(unit plan.MassUnit) Menu {
	if m.use == onStack || unit != plan.Kilogram && unit != plan.Pound {
		return m
	}
	m.items = slices.Clone(m.items)
	for i := range m.items {
		if it := &m.items[i]; it.at >= 0 && it.load.Unit != unit {
			it.load = inUnit(it.exact, unit)
		}
	}
	m.distinct()
	return m
}

// Several reports loads on bars or handles of different masses.
func (m *Menu) Several() bool {
	var first plan.Load
	if m.use == onStack {
		return false
	}
	for i := range m.items {
		switch b := m.items[i].bar; {
		case b.Milli == 0:
		case first.Milli == 0:
			first = b
		case b != first:
			return true
		}
	}
	return false
}
