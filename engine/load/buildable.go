package load

import (
	"slices"
	"sort"

	"github.com/phasewright/phasewright/engine/plan"
)

// Option is a load that can be set, and how.
type Option struct {
	Load    plan.Load   // in the unit of the bar, machine or piece
	Bar     plan.Load   // the bar's own mass; zero without a bar
	PerSide []plan.Load // plates on each side, heaviest first
	Hung    []plan.Load // what hangs from the body, for added loads, heaviest first
}

// Menu is every load that can be set with what is there: distinct, in rising order.
// It is immutable; the zero Menu is empty.
type Menu struct {
	items  []item
	pieces []plan.Load // plate masses, heaviest first; counts refer to them
	counts []uint8     // items' plates, len(pieces) for each item with plates
	hung   bool        // pieces hang from the body instead of sitting on two sides
}

type item struct {
	load  plan.Load
	exact int64 // in 1e-11 kg; load is this rounded to thousandths of its unit
	bar   plan.Load
	at    int // index into counts, -1 where there are no plates
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
	o := Option{Load: it.load, Bar: it.bar}
	if it.at < 0 {
		return o
	}
	var list []plan.Load
	for k, mass := range m.pieces {
		for range m.counts[it.at+k] {
			list = append(list, mass)
		}
	}
	if m.hung {
		o.Hung = list
	} else {
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
// own. The menu is empty where nothing is declared.
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
	case plan.LoadingStack:
		for _, want := range []plan.Equipment{kind, plan.EquipmentUnspecified} {
			for _, s := range place.Stacks {
				if s.Kind == want {
					return StackMenu(s)
				}
			}
		}
	case plan.LoadingDumbbellPair:
		return HeldMenu(place.Dumbbells, 2)
	case plan.LoadingDumbbell:
		return HeldMenu(place.Dumbbells, 1)
	case plan.LoadingKettlebellPair:
		return HeldMenu(place.Kettlebells, 2)
	case plan.LoadingKettlebell:
		return HeldMenu(place.Kettlebells, 1)
	case plan.LoadingAdded:
		return AddedMenu(place.Plates, place.Dumbbells)
	}
	return Menu{}
}

// BarMenu gives bar plus plates in pairs, to 600 kg, in the bar's unit. Plates of
// another unit are counted exactly, and used where plates of the bar's unit leave a
// gap of more than 2.5 kg or 5 lb. One sum is made with the fewest plates,
// and of those with the heaviest. With several bars the first is preferred: later
// ones only add what is lighter or heavier than all it can give.
func BarMenu(bars []plan.Bar, plates []plan.PlateStock) Menu {
	var m Menu
	for _, b := range bars {
		base := exact(b.Mass)
		if b.Mass.Milli <= 0 || base > maxTotal {
			continue
		}
		sums := newSums(plates, 2, (maxTotal-base)/2)
		m.merge(menuOf(sums, b.Mass, base, 2, b.Mass.Unit))
	}
	return m
}

// PlateMachineMenu gives plates in pairs on a machine, from none up to 600 kg, in the
// unit of the first plate.
func PlateMachineMenu(plates []plan.PlateStock) Menu {
	if len(plates) == 0 {
		return Menu{}
	}
	sums := newSums(plates, 2, maxTotal/2)
	return menuOf(sums, plan.Load{}, 0, 2, plates[0].Mass.Unit)
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
	m.hung = true
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

// HeldMenu gives dumbbells or kettlebells of which at least need are there (2 for a
// pair). The load is that of one.
func HeldMenu(stock []plan.HeldStock, need int32) Menu {
	have := map[plan.Load]int32{} // only looked up, never ranged over
	var m Menu
	for _, s := range stock {
		if s.Count <= 0 || s.Mass.Milli <= 0 {
			continue
		}
		before := have[s.Mass]
		have[s.Mass] = min(before, 1000) + min(s.Count, 1000)
		if before < need && have[s.Mass] >= need {
			m.items = append(m.items, item{load: s.Mass, exact: exact(s.Mass), at: -1})
		}
	}
	sort.SliceStable(m.items, func(i, j int) bool { return m.items[i].exact < m.items[j].exact })
	m.distinct()
	return m
}

// StackMenu gives the pin settings of a stack in the unit of its first plate.
func StackMenu(s plan.Stack) Menu {
	var m Menu
	first, last, step := exact(s.First), exact(s.Last), exact(s.Step)
	if first <= 0 {
		return m
	}
	for v := first; len(m.items) == 0 || v <= last; v += step {
		m.items = append(m.items, item{load: inUnit(v, s.First.Unit), exact: v, at: -1})
		if step <= 0 || len(m.items) >= maxSteps {
			break
		}
	}
	return m
}

// merge adds what another menu has below and above all of this one.
func (m *Menu) merge(o Menu) {
	if len(m.items) == 0 {
		*m = o
		return
	}
	lo, hi := m.items[0].exact, m.items[len(m.items)-1].exact
	at := len(m.counts) // both menus come from one stock, so pieces are the same
	m.counts = append(m.counts, o.counts...)
	var below, above []item
	for _, it := range o.items {
		it.at += at
		switch {
		case it.exact < lo:
			below = append(below, it)
		case it.exact > hi:
			above = append(above, it)
		}
	}
	m.items = slices.Concat(below, m.items, above)
	m.distinct()
}

// widen adds a kind of piece at the end of every item's counts.
func (m *Menu) widen(mass plan.Load) {
	w := len(m.pieces)
	wide := make([]uint8, 0, len(m.items)*(w+1))
	for i := range m.items {
		at := m.items[i].at
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
	m.unmix(unit)
	m.distinct()
	return m
}
