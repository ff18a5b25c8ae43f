// Package adapt reads what was really done in a session as evidence of strength.
//
// Of each exercise one set speaks for its day: the heaviest whose effort was reported, of
// equals the first, as later ones carry fatigue (load.Observation). Warm-up sets, held sets
// and those of which nobody said how many repetitions were left say nothing of strength.
// How far a report can be believed, and what stands too far from the rest, is for
// engine/load.
package adapt

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// Set is a set as it was done; Load, RIR and ToFailure as in plan.Performance.
type Set struct {
	Kind      plan.SetKind // unspecified is a working set
	Reps      int32        // 0: it was held
	Load      plan.Opt[plan.Load]
	RIR       plan.Opt[int32]
	ToFailure bool
}

// Shown gives the place in sets of the one that speaks for the exercise on its day, and
// what it shows; false where none does. Sets that lack what reading them needs (a load on
// the bar, body mass where it is moved too) say nothing.
func Shown(e *exercise.Exercise, day plan.Date, bodyMass bool, sets []Set) (plan.Performance, int, bool) {
	best := -1
	for i := range sets {
		if tells(e, &sets[i], bodyMass) && (best < 0 || harder(e, &sets[i], &sets[best])) {
			best = i
		}
	}
	if best < 0 {
		return plan.Performance{}, 0, false
	}
	s := &sets[best]
	p := plan.Performance{ExerciseID: e.ID, Load: s.Load, Reps: s.Reps, RIR: s.RIR, ToFailure: s.ToFailure, Date: plan.Some(day)}
	if p.ToFailure {
		p.RIR = plan.Opt[int32]{}
	}
	return p, best, true
}

func tells(e *exercise.Exercise, s *Set, bodyMass bool) bool {
	loaded := s.Load.Set && s.Load.Value.Milli > 0
	switch {
	case s.Kind == plan.SetWarmup || s.Reps < 1 || !s.RIR.Set && !s.ToFailure:
		return false
	case e.Loading == plan.LoadingBodyweight:
		return !loaded
	case e.Loading.Loadable() && e.Loading != plan.LoadingAdded && !loaded:
		return false
	}
	return bodyMass || e.BodyMassShare == 0 || !e.Loading.Loadable() && !loaded
}

// harder compares loads: the help of a counterweight makes a set easier.
func harder(e *exercise.Exercise, a, b *Set) bool {
	if e.Loading == plan.LoadingAssisted {
		a, b = b, a
	}
	return a.Load.Value.Grams() > b.Load.Value.Grams()
}
