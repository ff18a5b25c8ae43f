package engine

import (
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

// beforeKey says which sets of an exercise go on from each other: those of one session of
// the week (or of one rotating workout), in one phase, at one place, with the same
// repetitions.
type beforeKey struct {
	id, group, label string
	day, place       int32
	role             plan.Role
	phase, scheme    int
	reps             plan.Range
}

type before struct {
	came prescribe.Before
	week int
}

// longBreak is how many weeks may lie between two sessions before the load of the later
// one does not go up (a lighter week between is no break).
const longBreak = 2

func (g *generation) beforeKey(o *occurrence, p *pick, scheme int, s *plan.Scheme) beforeKey {
	k := beforeKey{phase: g.phaseOf(o.week), id: p.ex.ID, group: o.outline.Group, label: o.outline.Label, place: o.slot.Place, role: p.role, scheme: scheme, reps: s.Reps}
	if k.group == "" {
		k.day = o.slot.Day
	}
	return k
}

// phaseOf gives the phase of a week, both 0-based.
func (g *generation) phaseOf(week int) int {
	for i := range g.outline.Phases {
		if week -= len(g.outline.Phases[i].Weeks); week < 0 {
			return i
		}
	}
	return len(g.outline.Phases)
}

// goesOn reports sessions whose loads follow from each other: lighter weeks, tests and
// what rests before a test are apart from them.
func (g *generation) goesOn(o *occurrence, p *pick) bool {
	return o.outline.Kind == plan.SessionTraining && g.kindFor(o.week, p.track) == plan.WeekTraining && !g.resting(o, p.ex)
}

// comesFrom gives what the schemes came to the time before.
func (g *generation) comesFrom(o *occurrence, p *pick, schemes []plan.Scheme) []prescribe.Before {
	if !g.goesOn(o, p) {
		return nil
	}
	out := make([]prescribe.Before, len(schemes))
	for i := range schemes {
		if b, ok := g.before[g.beforeKey(o, p, i, &schemes[i])]; ok {
			out[i] = b.came
			out[i].Long = o.week-b.week > longBreak
		}
	}
	return out
}

func (g *generation) comesTo(o *occurrence, p *pick, schemes []plan.Scheme, came []prescribe.Before) {
	if !g.goesOn(o, p) {
		return
	}
	for i := range came {
		if came[i].Moved > 0 {
			g.being[g.beforeKey(o, p, i, &schemes[i])] = before{came[i], o.week}
		}
	}
}
