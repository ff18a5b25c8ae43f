package load

import (
	"cmp"
	"slices"

	"github.com/phasewright/phasewright/engine/plan"
)

// StackMenu gives the settings of a stack, alone and with its add-on weights, in the unit
// of its first setting. One total is made with the fewest add-ons, and of those with the
// heaviest setting.
func StackMenu(s plan.Stack) Menu {
	pins := settings(s)
	if len(pins) == 0 {
		return Menu{}
	}
	unit := pins[0].Unit
	if len(s.AddOns) == 0 {
		var m Menu
		for _, p := range pins {
			m.items = append(m.items, item{load: p.In(unit), exact: exact(p), at: -1})
		}
		m.distinct()
		return m
	}
	extra := newSums(s.AddOns, 1, maxHung)
	w := len(extra.pieces)
	// More would be a list of weights, not of what lies on a stack.
	most := max(maxOptions/len(pins), 1)
	m := Menu{pieces: extra.pieces, counts: extra.counts, use: onStack}
	for _, p := range pins {
		for i, v := range extra.values[:min(len(extra.values), most)] {
			total := exact(p) + v
			m.items = append(m.items, item{load: inUnit(total, unit), exact: total, bar: p, at: i * w})
		}
	}
	slices.SortFunc(m.items, func(a, b item) int {
		return cmp.Or(cmp.Compare(a.exact, b.exact), cmp.Compare(m.pieceCount(&a), m.pieceCount(&b)), b.bar.Cmp(a.bar))
	})
	m.distinct()
	return m
}

// settings lists where the pin can go, rising.
func settings(s plan.Stack) []plan.Load {
	var out []plan.Load
	if len(s.Settings) > 0 {
		for _, l := range s.Settings {
			if l.Milli > 0 {
				out = append(out, l)
			}
		}
		slices.SortStableFunc(out, plan.Load.Cmp)
		return out[:min(len(out), maxSteps)]
	}
	first, last, step := exact(s.First), exact(s.Last), exact(s.Step)
	if first <= 0 {
		return nil
	}
	for v := first; len(out) == 0 || v <= last; v += step {
		out = append(out, inUnit(v, s.First.Unit))
		if step <= 0 || len(out) >= maxSteps {
			break
		}
	}
	return out
}

// mostHelp is the largest share of the moved body mass, in permille, that a counterweight
// is set to take: with less than a tenth left the movement is not trained any more
// (judgement).
const mostHelp = 900

// Help gives the settings of a counterweight's stack that leave enough to lift of a moved
// body mass in grams.
func (m Menu) Help(moved int64) Menu {
	most := exact(plan.Kg(moved * mostHelp / 1000))
	n := m.search(most + 1)
	m.items = m.items[:n:n]
	return m
}
