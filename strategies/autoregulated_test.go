package strategies_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/plan"
)

func bands(unit plan.MassUnit, of int64, rows ...[4]int64) []plan.AdjustStep {
	var out []plan.AdjustStep
	for _, r := range rows {
		out = append(out, plan.AdjustStep{Reps: plan.Range{Min: int32(r[0]), Max: int32(r[1])}, From: r[2] * of, To: r[3] * of, Unit: unit})
	}
	return out
}

// Mann et al., J Strength Cond Res 24:1718-1723, 2010 (from memory); the lowest bands
// begin at 0 here.
func TestPublishedTables(t *testing.T) {
	o := outlineOf(t, "autoregulated", outlineRequest(2, 3, plan.Intermediate, true, false), list("maxima", 3, 6, 10))
	sessions := allSessions(o)
	for i, want := range []struct {
		label string
		lead  [][2]int32 // repetitions, permille
		set   []plan.AdjustStep
		rm    int32
	}{
		{"3RM", [][2]int32{{6, 500}, {3, 750}}, bands(plan.Pound, 1000, [4]int64{0, 2, -10, -5}, [4]int64{3, 4, 0, 0}, [4]int64{5, 6, 5, 10}, [4]int64{7, 50, 10, 15}), 3},
		{"6RM", [][2]int32{{10, 500}, {6, 750}}, bands(plan.Pound, 1000, [4]int64{0, 2, -10, -5}, [4]int64{3, 4, -5, 0}, [4]int64{5, 7, 0, 0}, [4]int64{8, 12, 5, 10}, [4]int64{13, 50, 10, 15}), 6},
		{"10RM", [][2]int32{{12, 500}, {10, 750}}, bands(plan.Pound, 1000, [4]int64{0, 6, -10, -5}, [4]int64{7, 8, -5, 0}, [4]int64{9, 11, 0, 0}, [4]int64{12, 16, 5, 10}, [4]int64{17, 50, 10, 15}), 10},
	} {
		require.Equal(t, want.label, sessions[i].Label)
		s := sessions[i].Find(plan.GoalLift, "")
		require.Len(t, s, 4)
		for k, lead := range want.lead {
			require.Equal(t, plan.Range{Min: lead[0], Max: lead[0]}, s[k].Reps)
			require.Equal(t, plan.Effort{Intensity: plan.Some(plan.Permille(lead[1])), Reference: plan.Reference{Kind: plan.RefRM, RM: want.rm}}, s[k].Effort)
		}
		require.True(t, s[2].OpenEnded && s[3].OpenEnded)
		require.Equal(t, plan.Reference{Kind: plan.RefRM, RM: want.rm}, s[2].Effort.Reference)
		require.Equal(t, plan.RefSetBefore, s[3].Effort.Reference.Kind)
		require.Equal(t, plan.ProgressAdjustTable, s[3].Progress.Kind)
		require.Equal(t, want.set, s[2].Adjust)
		if want.rm == 6 { // Knight 1979 (from memory): a step more for the next session
			want.set[4].To = 20_000
		}
		require.Equal(t, want.set, s[3].Adjust)
	}
}

func TestTablesInKilograms(t *testing.T) {
	at := func(params ...plan.Param) []plan.AdjustStep {
		o := outlineOf(t, "autoregulated", outlineRequest(1, 1, plan.Intermediate, true, false), append(params, list("table_6", 0, 4, -1, 0, 5, 50, 1, 3))...)
		return allSessions(o)[0].Find(plan.GoalLift, "")[2].Adjust
	}
	require.Equal(t, bands(plan.Kilogram, 2500, [4]int64{0, 4, -1, 0}, [4]int64{5, 50, 1, 3}), at(text("step_unit", "kg")))
	require.Equal(t, bands(plan.Kilogram, 1000, [4]int64{0, 4, -1, 0}, [4]int64{5, 50, 1, 3}), at(text("step_unit", "kg"), number("step", 1)))
	require.Equal(t, bands(plan.Pound, 5000, [4]int64{0, 4, -1, 0}, [4]int64{5, 50, 1, 3}), at())
}

func TestMaximaTakeTurns(tt *testing.T) {
	rapid.Check(tt, func(t *rapid.T) {
		maxima := rapid.SliceOfN(rapid.Int32Range(2, 12), 1, 5).Draw(t, "maxima")
		weeks, days := rapid.Int32Range(1, 10).Draw(t, "weeks"), rapid.Int32Range(1, 6).Draw(t, "days")
		both := rapid.SampledFrom([]string{"goal", "multi-joint"}).Draw(t, "holds for")
		o := outlineOf(tt, "autoregulated", outlineRequest(weeks, days, plan.Intermediate, true, true),
			list("maxima", maxima...), text("holds_for", both), number("deload_every", rapid.Int64Range(2, 5).Draw(t, "deload")))
		i := 0
		for _, w := range o.Phases[0].Weeks {
			for _, s := range w.Sessions {
				aim := maxima[i%len(maxima)]
				i++
				require.Equal(t, fmt.Sprintf("%dRM", aim), s.Label)
				for role := plan.GoalLift; role < plan.RoleCount; role++ {
					open := 0
					for _, scheme := range s.Find(role, "") {
						if scheme.Effort.Reference.Kind == plan.RefRM {
							require.Equal(t, aim, scheme.Effort.Reference.RM)
						}
						if scheme.OpenEnded {
							open++
						}
					}
					want := 0
					if w.Kind == plan.WeekTraining && (role == plan.GoalLift || role == plan.MultiJoint && both == "multi-joint") {
						want = 2
					}
					require.Equal(t, want, open, role)
				}
			}
		}
	})
}
