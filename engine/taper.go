package engine

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// lightLift is what a lift that peaks soon still gets: practice, not training.
var lightLift = []plan.Scheme{{Kind: plan.SetWorking, Sets: plan.FixedSets(2), Reps: plan.Range{Min: 3, Max: 3},
	Effort: plan.Effort{Intensity: plan.Some(plan.Permille(600))}, Rest: 120}}

// heavyUntil is how many days before its peak a lift is last trained heavily: the near
// end of 7–10 days for the deadlift, 5–8 for the squat, 4–6 for the bench press and
// others. Common practice, no source.
func heavyUntil(e *exercise.Exercise) int32 {
	switch {
	case e.Curve == exercise.CurveDeadlift || e.Pattern == plan.Hinge:
		return 7
	case e.Pattern == plan.Squat:
		return 5
	}
	return 4
}

// resting reports a session too near to the peak of a lift to train it heavily.
func (g *generation) resting(o *occurrence, e *exercise.Exercise) bool {
	if !o.slot.Date.Set {
		return false
	}
	for _, goal := range g.brief.Request.Goals {
		if goal.Kind != plan.GoalPeak || goal.ExerciseID != e.ID || !goal.Date.Set {
			continue
		}
		if days := int32(goal.Date.Value - o.slot.Date.Value); days > 0 && days < heavyUntil(e) {
			return true
		}
	}
	return false
}
