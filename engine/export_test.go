package engine

import (
	"context"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// Observed returns an engine that calls f after each stage.
func (e *Engine) Observed(f func(stage string)) *Engine {
	c := *e
	c.observe = f
	return &c
}

// Held is what a window that is made again is asked, locks and swaps held.
type Held struct {
	Weeks string
	Model *schedule.Model // what is held is the wish of the path "rework"
	Never bool            // what is held can't be there at all
}

// HeldWindows states each window of a program that is made again. Nil where the request
// alone can't be laid out.
func (e *Engine) HeldWindows(ctx context.Context, base *plan.Program, r plan.Request, how plan.Rework) []Held {
	g, k, err := e.reworking(ctx, base, r, how)
	if err != nil {
		return nil
	}
	wins := k.remaining(g, windows(&g.outline, g.slots))
	g.rework = k
	var out []Held
	for i := range wins {
		w := &wins[i]
		if len(w.sessions) == 0 {
			continue
		}
		g.blocked = g.tooSoon(w, nil)
		x := Held{Weeks: inWeeks(w), Never: g.lost(w) != nil}
		all := make([]bool, k.holds())
		for j := range all {
			all[j] = true
		}
		p, err := g.part(w, g.shortlist(w), all)
		if err != nil {
			return nil
		}
		x.Never = x.Never || p.out != nil
		p.mark()
		x.Model = p.model
		out = append(out, x)
	}
	return out
}

// Thorough solves a problem as so many windows would that are each solved so many times, in a
// thorough search, and gives the work of each.
func (e *Engine) Thorough(ctx context.Context, m *schedule.Model, windows, times int) ([]int64, error) {
	e = e.searching(plan.SearchThorough)
	var works []int64
	for left := windows; left > 0; left-- {
		e.expect(left, times)
		for range times {
			a, err := e.solve(ctx, m, nil)
			if err != nil {
				return nil, err
			}
			works = append(works, a.Work)
		}
	}
	return works, nil
}
