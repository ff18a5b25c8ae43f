package load

import "github.com/phasewright/phasewright/engine/plan"

// WarmStep is a lighter set before the working sets. Its load is a share of the
// working load, to be rounded to what can be set.
type WarmStep struct {
	OfWork plan.Permille
	Reps   int32
	Rest   plan.Seconds // after it
}

// climb is a step of a hard lift's warm-up as a share of the 1RM.
type climb struct {
	ofOneRM plan.Permille
	reps    int32
	rest    plan.Seconds
}

// The steps of a hard multi-joint lift: fewer repetitions as the load climbs, 1 to 2
// minutes between (synthesis of the textbook's 1RM test steps, from memory).
var climbHeavy = [...]climb{{450, 8, 60}, {600, 5, 75}, {720, 3, 90}, {800, 2, 120}, {900, 1, 120}}
var climbMedium = [...]climb{{400, 8, 60}, {550, 5, 60}, {650, 3, 90}, {750, 2, 90}}

// Borders of the schemes, in permille of 1RM.
const (
	heavyWork   = 850
	mediumWork  = 700
	leastBefore = 50 // a step closer to the work than this is no warm-up; the single at 90 % comes from 95 % on
)

// WarmUp gives the specific warm-up of an exercise by its role and the intensity of
// its heaviest working set.
//
//   - goal lift from 85 %: 4 or 5 steps; from 70 %: 3 or 4; below: 2.
//   - other multi-joint: 3 steps from 85 %, 2 from 70 %, else 1.
//   - explosive: 2 lighter steps, whatever the intensity.
//   - single-joint from 70 %: 1 lighter set; below it, trunk and unloadable work: none.
//
// For lifts beyond the first, one lighter set is enough (Iversen et al., Sports Med
// 51:2079-2095, 2021, from memory). Whether a pattern is already warm is for the
// caller to know. Steps rise and stay below the working load.
func WarmUp(role plan.Role, work plan.Permille) []WarmStep {
	if work <= 0 {
		return nil
	}
	switch role {
	case plan.GoalLift:
		switch {
		case work >= heavyWork:
			return climbTo(climbHeavy[:], work)
		case work >= mediumWork:
			return climbTo(climbMedium[:], work)
		}
		return []WarmStep{{500, 8, 60}, {750, 4, 60}}
	case plan.Explosive:
		return []WarmStep{{500, 5, 60}, {750, 3, 60}}
	case plan.MultiJoint:
		switch {
		case work >= heavyWork:
			return []WarmStep{{450, 6, 60}, {650, 4, 75}, {820, 2, 90}}
		case work >= mediumWork:
			return []WarmStep{{500, 6, 60}, {750, 3, 75}}
		}
		return []WarmStep{{600, 6, 60}}
	case plan.SingleJoint:
		if work >= mediumWork {
			return []WarmStep{{600, 8, 60}}
		}
	}
	return nil
}

func climbTo(steps []climb, work plan.Permille) []WarmStep {
	var out []WarmStep
	for _, s := range steps {
		if s.ofOneRM > work-leastBefore {
			break
		}
		out = append(out, WarmStep{plan.Permille(roundDiv(int64(s.ofOneRM)*1000, int64(work))), s.reps, s.rest})
	}
	return out
}
