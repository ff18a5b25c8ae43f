package build

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/plan"
)

func TestEasedFallsEvenly(t *testing.T) {
	course := func(last Effort, ease, n int32) (out []int32) {
		for i := range n {
			e := Eased(last, ease, i, n)
			require.Equal(t, last.Failure && i == n-1, e.Failure)
			out = append(out, e.RIR)
		}
		return out
	}
	require.Equal(t, []int32{3, 3, 2, 2, 2, 2, 1, 1}, course(Effort{RIR: 1}, 2, 8))
	require.Equal(t, []int32{2, 2, 1}, course(Effort{RIR: 1}, 1, 3))
	require.Equal(t, []int32{3}, course(Effort{RIR: 1}, 2, 1), "a week alone is a first week")
	require.Equal(t, []int32{2, 1, 0}, course(Effort{Failure: true}, 2, 3))
	require.Equal(t, Effort{RIR: 6}, Eased(Effort{RIR: 5}, 3, 0, 4))
}

func TestBetweenMirrors(t *testing.T) {
	many, few := plan.Range{Min: 12, Max: 14}, plan.Range{Min: 4, Max: 6}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int32Range(2, 52).Draw(t, "n")
		i := rapid.Int32Range(0, n-1).Draw(t, "i")
		down := Between(many, few, i, n)
		require.LessOrEqual(t, down.Min, down.Max)
		require.Equal(t, int32(2), down.Max-down.Min, "equal widths stay")
		off := (12-down.Min)*(n-1) - 8*i // from the straight line, in parts of a step
		require.LessOrEqual(t, 2*max(off, -off), n-1)
	})
	require.Equal(t, many, Between(many, few, 0, 9))
	require.Equal(t, plan.Range{Min: 8, Max: 10}, Between(many, few, 4, 9))
	require.Equal(t, few, Between(many, few, 8, 9))
	require.Equal(t, many, Between(many, few, 0, 1))
}

func TestDeloadWeeks(t *testing.T) {
	marked := func(every int32, phases ...int32) (out []int32) {
		for i, m := range DeloadWeeks(every, phases...) {
			if m {
				out = append(out, int32(i+1))
			}
		}
		return out
	}
	require.Equal(t, []int32{4, 8, 12}, marked(4, 12))
	require.Empty(t, marked(0, 12))
	require.Equal(t, []int32{3, 8}, marked(4, 3, 5), "week 4 opens the second phase")
	require.Equal(t, []int32{4}, marked(2, 1, 1, 2), "phases of a week have none")
	rapid.Check(t, func(t *rapid.T) {
		phases := rapid.SliceOfN(rapid.Int32Range(1, 10), 1, 5).Draw(t, "phases")
		list := DeloadWeeks(rapid.Int32Range(0, 12).Draw(t, "every"), phases...)
		start := int32(0)
		for _, n := range phases {
			require.False(t, list[start], "a phase opens with a deload")
			start += n
		}
		require.Len(t, list, int(start))
	})
}

func TestRotationCountsSessions(t *testing.T) {
	r := Rotation{Workouts: 3}
	var order string
	for _, n := range []int32{2, 0, 2, 1, 3} {
		for _, s := range r.Week(n, Work{}) {
			order += s.Group
		}
		order += "|"
	}
	require.Equal(t, "AB||CA|B|CAB|", order)
}

func TestFloored(t *testing.T) {
	require.Equal(t, plan.Range{Min: 8, Max: 10}, Floored(plan.Range{Min: 4, Max: 6}))
	require.Equal(t, plan.Range{Min: 9, Max: 11}, Floored(plan.Range{Min: 9, Max: 11}))
}

func TestRestGrowsWithLoad(t *testing.T) {
	for role := plan.GoalLift; role <= plan.SingleJoint; role++ {
		last := plan.Seconds(600)
		for most := int32(1); most <= 30; most++ {
			now := Rest(role, plan.Range{Min: 1, Max: most})
			require.LessOrEqual(t, now, last)
			require.Zero(t, now%plan.Tick)
			last = now
		}
	}
}

func TestDoseClimbs(t *testing.T) {
	require.Equal(t, plan.Permille(850), Dose(0, 6))
	require.Equal(t, plan.Permille(1000), Dose(5, 6))
	require.Equal(t, plan.Permille(850), Dose(0, 1))
}

func TestWeekList(t *testing.T) {
	require.Empty(t, WeekList([]bool{false}))
	require.Equal(t, "week 2", WeekList([]bool{false, true}))
	require.Equal(t, "weeks 1, 2 and 4", WeekList([]bool{true, true, false, true}))
}
