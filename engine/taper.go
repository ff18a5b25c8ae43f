package engine

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
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

// taperSets gives the most sets a week that a window of taper weeks may have: the taper's
// share of the last full week before it. Half of the wish is no cut where the days never
// held more than half of it. 0: no such window, or nothing to compare with.
func (g *generation) taperSets(w *window) int32 {
	share := plan.Permille(0)
	for _, week := range w.list {
		if g.weekKind[week] != plan.WeekTaper {
			return 0
		}
		share = max(share, g.shareFor(week, ""))
	}
	usual, most := int32(0), 0
	for i := range g.program.Phases {
		for j := range g.program.Phases[i].Weeks {
			week := &g.program.Phases[i].Weeks[j]
			n, sets := 0, int32(0)
			for k := range week.Sessions {
				if week.Sessions[k].Kind != plan.SessionTraining {
					continue
				}
				n++
				for x := range week.Sessions[k].Exercises {
					sets += week.Sessions[k].Exercises[x].Working()
				}
			}
			if week.Kind == plan.WeekTraining && n > 0 && n >= most {
				usual, most = sets, n
			}
		}
	}
	return (usual*int32(min(share, 1000)) + 999) / 1000
}

// limitSets spreads a week's sets over a window's days by their minutes.
func (w *window) limitSets(m *schedule.Model, sets int32) {
	room := int64(0)
	for i := range m.Days {
		room += int64(m.Days[i].Capacity) * int64(m.Days[i].Times)
	}
	for i := range m.Days {
		d := &m.Days[i]
		d.MaxSets = min(d.MaxSets, int32((int64(sets)*int64(d.Capacity)*int64(w.weeks)+room-1)/max(1, room)))
	}
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
