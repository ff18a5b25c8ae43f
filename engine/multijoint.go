package engine

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/dose"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// singleShare is the part of a large muscle's wish that single-joint exercises may fill
// where multi-joint ones train it too: a quarter, so that most of its direct sets, at
// least half of the wish, are presses, rows, squats. By minutes alone short rests would
// win every time. Common practice, no source; that multi-joint work comes first where time is
// short is what Iversen et al., Sports Med 51:2079-2095, 2021 advise.
const singleShare = 4

// fewSingles leaves, of the single-joint exercises for a large muscle that a goal wants to
// grow, the best on the shortlist, where multi-joint ones train it too.
func (g *generation) fewSingles(picks []pick) []pick {
	out := picks
	for _, mu := range plan.LargeMuscles {
		singles, multi := split(out, mu)
		if !multi || len(singles) < 2 || !g.grown(mu) {
			continue
		}
		best := slices.MaxFunc(singles, func(a, b int) int {
			return cmp.Or(cmp.Compare(out[a].preference, out[b].preference), cmp.Compare(out[b].ex.ID, out[a].ex.ID))
		})
		kept := make([]pick, 0, len(out))
		for i := range out {
			if i == best || !slices.Contains(singles, i) {
				kept = append(kept, out[i])
			}
		}
		out = kept
	}
	return out
}

// grown reports a large muscle that a goal wants to grow. For the hamstrings bending the knee is no
// lesser work, and spares the back.
func (g *generation) grown(mu plan.Muscle) bool {
	return mu != plan.Hamstrings && slices.ContainsFunc(g.brief.Request.Goals, func(goal plan.Goal) bool {
		return goal.Kind == plan.GoalGrow && goal.Muscle == mu
	})
}

// multiJointFirst bounds the weekly sets of single-joint exercises for large muscles that a
// goal wants to grow. What is asked for by name is not bounded.
func (g *generation) multiJointFirst(m *schedule.Model, picks []pick, peak dose.WeekDose) {
	for _, mu := range plan.LargeMuscles {
		singles, multi := split(picks, mu)
		if !multi || !g.grown(mu) {
			continue
		}
		for _, i := range singles {
			c := &m.Candidates[i]
			c.MaxSets = max(1, int32(peak.Muscles[mu].Wanted)/2/singleShare)
			for _, o := range c.Options {
				c.MaxSets = max(c.MaxSets, o.Lo) // what one day of it has, by the outline
			}
		}
	}
}

// split gives the single-joint picks that train a muscle first of all, without those asked
// for, and whether a multi-joint one trains it directly.
func split(picks []pick, mu plan.Muscle) (singles []int, multi bool) {
	for i := range picks {
		p := &picks[i]
		switch {
		case !p.ex.Direct(mu):
		case multiJoint(p.ex) || p.ex.Role == plan.MultiJoint:
			multi = true
		case p.goal < 0 && p.pin < 0 && p.ex.Role == plan.SingleJoint && firstPrime(p.ex) == mu:
			singles = append(singles, i)
		}
	}
	return singles, multi
}

// singlesFull says that single-joint sets for a muscle are as many as they may be, "" where
// they are not.
func (g *generation) singlesFull(a *allocated, mu plan.Muscle) string {
	singles, multi := split(a.picks, mu)
	if !multi {
		return ""
	}
	sets, full := int32(0), false
	for _, i := range singles {
		n := g.weekly(a, a.picks[i].ex.ID)
		sets += n
		most := a.model.Candidates[i].MaxSets
		full = full || most > 0 && n >= most
	}
	if !full {
		return ""
	}
	return fmt.Sprintf("single-joint exercises keep to %s, so that multi-joint ones come first", counted(int(sets), "set"))
}
