package export

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

func TestStrengthGolden(t *testing.T) {
	day, err := plan.ParseDate("2026-11-20")
	require.NoError(t, err)
	shown := []plan.Performance{
		{ExerciseID: "back-squat", Load: plan.Some(plan.Kg(120_000)), Reps: 5, RIR: plan.Some[int32](1), Date: plan.Some(day)},
		{ExerciseID: "back-squat", Load: plan.Some(plan.Kg(20_000)), Reps: 5, ToFailure: true},
		{ExerciseID: "pull-up", Reps: 1, ToFailure: true},
	}
	kg := func(v int64) plan.Load { return plan.Kg(v * 100) }
	row := func(reps int32, low, middle, high int64) plan.RepsLoad {
		return plan.RepsLoad{Reps: reps, Load: kg(middle), Low: kg(low), High: kg(high), SD: 40}
	}
	var many []plan.RepsLoad
	for n := range int32(30) {
		many = append(many, row(n+1, 1100-30*int64(n), 1200-30*int64(n), 1300-30*int64(n)))
	}
	r := &plan.StrengthReport{
		Date: plan.Some(day + 6), Unit: plan.Kilogram,
		Lifts: []plan.Lift{
			{
				ExerciseID: "back-squat", Name: "Back squat", Loads: many, Used: []int32{0}, Best: plan.Some(plan.BestSet{Reps: 6}),
				Max:   plan.Some(plan.OneRM{Middle: kg(1394), Low: kg(1280), High: kg(1510), Start: kg(1351), SD: 40, Slope: 1084, SlopeSD: 226}),
				Aside: []plan.SetAside{{Performance: 1, Reason: "FAR_FROM_OTHERS", Says: "stands far from the others"}},
				Equations: []plan.EquationMax{
					{Name: "Epley", Max: plan.Some(kg(1440))}, {Name: "Kemmler", MinReps: 8, MaxReps: 16}, {Name: "Leg", Reason: plan.ReasonOtherLift},
				},
			},
			{
				ExerciseID: "pull-up", Name: "Pull-up", Carried: kg(800), Used: []int32{2}, Loads: []plan.RepsLoad{row(1, -52, -12, 31), row(5, -150, -102, -60)},
				Best: plan.Some(plan.BestSet{Performance: 2, Reps: 1}), Max: plan.Some(plan.OneRM{Middle: kg(-12), Low: kg(-52), High: kg(31), Start: kg(-23), Slope: 930, SlopeSD: 100, Borrowed: "chin-up"}),
			},
			{ExerciseID: "dumbbell-bench-press", Name: "Dumbbell bench press", PerHand: true, Used: []int32{7}, Loads: []plan.RepsLoad{row(1, 300, 320, 340)}, Max: plan.Some(plan.OneRM{Middle: kg(320), Low: kg(300), High: kg(340), Start: kg(315), Slope: 1000, SlopeSD: 230})},
			{ExerciseID: "deadlift", Name: "Deadlift", Missing: "No performance in Deadlift is given."},
		},
		Assumptions: []plan.Assumption{{Field: "mass_unit", Says: "Loads are in kg."}},
		Cautions:    []plan.Caution{{ID: "estimate-only", Says: "An estimate."}},
	}
	var b bytes.Buffer
	require.NoError(t, Strength(&b, shown, r))
	golden(t, "strength.txt", b.String())
}
