package audit

import (
	"slices"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// menu is every load that a place gives for a way of loading, exactly.
type menu struct {
	values []int64 // rising, in 1e-11 kg
	units  []plan.MassUnit
	open   bool // too many sums to list: nothing is said about single loads
}

type menuKey struct {
	place    string
	exercise string
}

// 1 lb = 0.45359237 kg exactly, so 1e-11 kg is a grid for thousandths of both.
const (
	perMilliKg = int64(100_000_000)
	perMilliLb = int64(45_359_237)
	kilogram   = 1000 * perMilliKg
	barLimit   = 700 * kilogram // more than any bar carries
	hungLimit  = 200 * kilogram
	maxSums    = 20_000
	maxPieces  = 500
)

func exactly(l plan.Load) (int64, bool) {
	if l.Milli < 0 || l.Milli > maxMilli {
		return 0, false
	}
	switch l.Unit {
	case plan.Kilogram:
		return l.Milli * perMilliKg, true
	case plan.Pound:
		return l.Milli * perMilliLb, true
	}
	return 0, false
}

func perMilli(u plan.MassUnit) int64 {
	if u == plan.Pound {
		return perMilliLb
	}
	return perMilliKg
}

// has reports whether a load is one of the menu's, to the thousandth of its unit:
// plates of the other unit make totals that no thousandth hits exactly.
func (m *menu) has(l plan.Load) bool {
	v, ok := exactly(l)
	if !ok {
		return false
	}
	if m.open {
		return true
	}
	near := perMilli(l.Unit) / 2
	i, _ := slices.BinarySearch(m.values, v-near)
	return i < len(m.values) && m.values[i] <= v+near
}

// below gives the next load down in grams, 0 where there is none.
func (m *menu) below(l plan.Load) int64 {
	v, ok := exactly(l)
	if !ok {
		return 0
	}
	i, _ := slices.BinarySearch(m.values, v-perMilli(l.Unit))
	if i == 0 {
		return 0
	}
	return m.values[i-1] / perMilliKg
}

// gap gives the wider of the steps down and up from a load, in grams.
func (m *menu) gap(l plan.Load) int64 {
	v, ok := exactly(l)
	if !ok || len(m.values) == 0 {
		return 0
	}
	near := perMilli(l.Unit)
	i, _ := slices.BinarySearch(m.values, v-near)
	var g int64
	if i > 0 {
		g = v - m.values[i-1]
	}
	for i < len(m.values) && m.values[i] <= v+near {
		i++
	}
	if i < len(m.values) {
		g = max(g, m.values[i]-v)
	}
	return g / perMilliKg
}

// above gives the next load up in grams, 0 where there is none.
func (m *menu) above(l plan.Load) int64 {
	v, ok := exactly(l)
	if !ok {
		return 0
	}
	i, _ := slices.BinarySearch(m.values, v+perMilli(l.Unit))
	if i == len(m.values) {
		return 0
	}
	return m.values[i] / perMilliKg
}

func (a *auditor) menuFor(x *exercise.Exercise, p *plan.Place) *menu {
	key := menuKey{p.ID, x.ID}
	m, ok := a.menus[key]
	if !ok {
		m = makeMenu(x, p)
		a.menus[key] = m
	}
	return m
}

func makeMenu(x *exercise.Exercise, p *plan.Place) *menu {
	m := &menu{}
	switch x.Loading {
	case plan.LoadingBar:
		for _, b := range p.Bars {
			if base, ok := exactly(b.Mass); ok && b.Kind == x.Bar && base > 0 {
				collars, _ := exactly(b.Collars.Value)
				m.plates(p.Plates, 2, base+collars, barLimit)
				m.values = append(m.values, base)
				m.unit(b.Mass.Unit)
			}
		}
	case plan.LoadingPlateMachine:
		m.plates(p.Plates, 2, 0, barLimit)
		for _, s := range p.Plates {
			m.unit(s.Mass.Unit)
		}
	case plan.LoadingStack, plan.LoadingAssisted:
		for _, s := range stacksFor(x, p) {
			m.stack(s)
		}
	case plan.LoadingDumbbell:
		m.held(p.Dumbbells, 1)
		m.adjustable(p.Adjustables, 1)
	case plan.LoadingDumbbellPair:
		m.held(p.Dumbbells, 2)
		m.adjustable(p.Adjustables, 2)
	case plan.LoadingKettlebell:
		m.held(p.Kettlebells, 1)
	case plan.LoadingKettlebellPair:
		m.held(p.Kettlebells, 2)
	case plan.LoadingAdded:
		m.values = []int64{0}
		m.unit(plan.Kilogram)
		m.unit(plan.Pound)
		if x.Addable(p) {
			m.plates(p.Plates, 1, 0, hungLimit)
			m.held(p.Dumbbells, 1)
			m.held(p.Kettlebells, 1)
			for _, a := range p.Adjustables {
				m.settings(a.Settings)
			}
		}
	}
	slices.Sort(m.values)
	m.values = slices.Compact(m.values)
	return m
}

func (m *menu) unit(u plan.MassUnit) {
	if !slices.Contains(m.units, u) {
		m.units = append(m.units, u)
	}
}

// plates adds base plus times each sum of plates, of which a sum uses times each.
func (m *menu) plates(stock []plan.PlateStock, times int32, base, limit int64) {
	m.groups(stock, times, int64(times), base, limit)
}

// groups adds base plus so many times each sum of plates that are used in groups.
func (m *menu) groups(stock []plan.PlateStock, group int32, times, base, limit int64) {
	sums := []int64{0}
	for _, s := range stock {
		mass, ok := exactly(s.Mass)
		if !ok || mass == 0 {
			continue
		}
		n := min(int64(s.Count/group), limit/times/mass, maxPieces)
		if n <= 0 {
			continue
		}
		if int64(len(sums))*(n+1) > 10*maxSums {
			m.open = true
			break
		}
		next := make([]int64, 0, len(sums)*int(n+1))
		for k := int64(0); k <= n; k++ {
			for _, v := range sums {
				if v += k * mass; base+times*v <= limit {
					next = append(next, v)
				}
			}
		}
		slices.Sort(next)
		if sums = slices.Compact(next); len(sums) > maxSums {
			m.open = true
			break
		}
	}
	for _, v := range sums {
		m.values = append(m.values, base+times*v)
	}
}

func (m *menu) held(stock []plan.HeldStock, need int32) {
	for i, s := range stock {
		have := int64(0)
		for _, o := range stock[:i+1] {
			if o.Mass == s.Mass && o.Count > 0 {
				have += int64(o.Count)
			}
		}
		if v, ok := exactly(s.Mass); ok && v > 0 && have >= int64(need) {
			m.values = append(m.values, v)
			m.unit(s.Mass.Unit)
		}
	}
}

func (m *menu) adjustable(list []plan.Adjustable, need int32) {
	for _, a := range list {
		if a.Count < need {
			continue
		}
		m.settings(a.Settings)
		if base, ok := exactly(a.Handle.Value); ok && base > 0 {
			m.groups(a.Plates, 2*need, 2, base, hungLimit)
			m.unit(a.Handle.Value.Unit)
		}
	}
}

func (m *menu) settings(list []plan.Load) {
	for _, l := range list {
		if v, ok := exactly(l); ok && v > 0 {
			m.values = append(m.values, v)
			m.unit(l.Unit)
		}
	}
}

func (m *menu) stack(s plan.Stack) {
	from := len(m.values)
	m.settings(s.Settings)
	if len(s.Settings) == 0 {
		m.pins(s)
	}
	pins := slices.Clone(m.values[from:])
	for _, base := range pins {
		m.plates(s.AddOns, 1, base, base+hungLimit)
		if len(m.values) > 10*maxSums {
			m.open = true
			return
		}
	}
}

func (m *menu) pins(s plan.Stack) {
	first, ok1 := exactly(s.First)
	step, ok2 := exactly(s.Step)
	last, ok3 := exactly(s.Last)
	if !ok1 || !ok2 || !ok3 {
		return
	}
	m.unit(s.First.Unit)
	for v, n := first, 0; v <= last && n < maxPieces; n++ {
		m.values = append(m.values, v)
		if step <= 0 {
			break
		}
		v += step
	}
}

// stacksFor gives the stacks of the exercise's own machines, else the one for all.
func stacksFor(x *exercise.Exercise, p *plan.Place) []plan.Stack {
	var own, general []plan.Stack
	for _, s := range p.Stacks {
		if s.Kind == plan.EquipmentUnspecified {
			general = append(general, s)
			continue
		}
		for _, alt := range x.Equipment {
			if slices.Contains(alt, s.Kind) {
				own = append(own, s)
				break
			}
		}
	}
	if len(own) > 0 {
		return own
	}
	return general
}
