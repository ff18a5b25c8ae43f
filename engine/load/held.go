package load

import (
	"sort"

	"github.com/phasewright/phasewright/engine/plan"
)

// maxHeld bounds what a hand is given: 150 kg.
const maxHeld = 150 * exactKg

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

// DumbbellMenu gives dumbbells of which at least need are there: fixed ones, and those
// that are set to a load. Of two that weigh the same the fixed one is taken.
func DumbbellMenu(fixed []plan.HeldStock, set []plan.Adjustable, need int32) Menu {
	m := HeldMenu(fixed, need)
	for _, a := range set {
		m.add(AdjustableMenu(a, need), func(int64) bool { return true })
	}
	return m
}

// AdjustableMenu gives the loads of need dumbbells of a kind that is set to a load, all
// set alike: the settings of its dial, or its handle with plates on both ends. Plates are
// used in twos for one dumbbell and in fours for two.
func AdjustableMenu(a plan.Adjustable, need int32) Menu {
	if a.Count < need {
		return Menu{}
	}
	if len(a.Settings) > 0 {
		return HeldMenu(dialled([]plan.Adjustable{a}), need)
	}
	handle := a.Handle.Value
	base := exact(handle)
	if handle.Milli <= 0 || base > maxHeld {
		return Menu{}
	}
	m := menuOf(newSums(a.Plates, 2*need, (maxHeld-base)/2), handle, base, 2, handle.Unit)
	m.unmix(handle.Unit)
	m.distinct()
	return m
}

// dialled gives the settings of dials as if they were fixed dumbbells, which they are one
// at a time.
func dialled(set []plan.Adjustable) []plan.HeldStock {
	var out []plan.HeldStock
	for _, a := range set {
		seen := map[plan.Load]bool{} // only looked up
		for _, l := range a.Settings {
			if !seen[l] {
				out = append(out, plan.HeldStock{Mass: l, Count: a.Count})
			}
			seen[l] = true
		}
	}
	return out
}
