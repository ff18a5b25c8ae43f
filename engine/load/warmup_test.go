package load

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

func TestWarmUpCounts(t *testing.T) {
	for work := plan.Permille(0); work <= 1050; work += 5 {
		for role := plan.RoleUnspecified; role < plan.RoleCount; role++ {
			steps := WarmUp(role, work)
			lo, hi := 0, 0
			switch {
			case work == 0:
			case role == plan.GoalLift && work >= 850:
				lo, hi = 4, 5
			case role == plan.GoalLift && work >= 700:
				lo, hi = 3, 4
			case role == plan.GoalLift || role == plan.Explosive:
				lo, hi = 2, 2
			case role == plan.MultiJoint && work >= 850:
				lo, hi = 3, 3
			case role == plan.MultiJoint && work >= 700:
				lo, hi = 2, 2
			case role == plan.MultiJoint:
				lo, hi = 1, 1
			case role == plan.SingleJoint && work >= 700:
				lo, hi = 1, 1
			}
			require.True(t, len(steps) >= lo && len(steps) <= hi, "%s at %d: %d steps", role, work, len(steps))
			for i, s := range steps {
				require.True(t, s.OfWork > 0 && s.OfWork < 1000, "%s at %d: %d", role, work, s.OfWork)
				require.True(t, s.Reps >= 1 && s.Rest >= 60 && s.Rest <= 120)
				if i > 0 {
					require.Greater(t, s.OfWork, steps[i-1].OfWork)
					require.Less(t, s.Reps, steps[i-1].Reps)
					require.GreaterOrEqual(t, s.Rest, steps[i-1].Rest)
				}
			}
		}
	}
}

func TestWarmUpOfAHeavySingle(t *testing.T) {
	steps := WarmUp(plan.GoalLift, 1000)
	require.Equal(t, []WarmStep{{450, 8, 60}, {600, 5, 75}, {720, 3, 90}, {800, 2, 120}, {900, 1, 120}}, steps)
	require.Len(t, WarmUp(plan.GoalLift, 940), 4, "the single at 90 %% is for heavier work")
}
