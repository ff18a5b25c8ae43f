package engine_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

// The load of a performance on a counterweight is its help: less of it shows more strength.
// It says as much as the same mass moved with nothing taken off.
func TestEstimateReadsHelp(t *testing.T) {
	of := func(p plan.Performance) plan.Lift { return estimated(t, query(p)).Lifts[0] }
	much, little := of(done("assisted-pull-up", 40, 8, 1)), of(done("assisted-pull-up", 10, 8, 1))
	require.Equal(t, plan.Kg(80_000), much.Carried)
	require.Less(t, much.Max.Value.Middle.Milli, little.Max.Value.Middle.Milli)
	require.Negative(t, much.Max.Value.Middle.Milli, "below zero is help")
	free := of(done("pull-up", 0, 8, 1))
	none := done("assisted-pull-up", 0, 8, 1)
	require.Equal(t, free.Max.Value.Middle, of(none).Max.Value.Middle)
	none.Load = plan.Opt[plan.Load]{}
	require.False(t, of(none).Max.Set, "help that nobody wrote down says nothing")
}

func TestHelpThatCannotBe(t *testing.T) {
	e := newEngine(t)
	_, err := e.Estimate(context.Background(), query(done("assisted-pull-up", 73, 8, 1)))
	requireFault(t, err, "nine tenths", "athlete.performances[0].load", "OUT_OF_RANGE")
	q := query(done("assisted-pull-up", 20, 8, 1))
	q.Athlete.BodyMass = plan.Opt[plan.Load]{}
	_, err = e.Estimate(context.Background(), q)
	requireFault(t, err, "no body mass", "athlete.body_mass", "REQUIRED")
}

// A known strength gives help in numbers where the place has a stack, reserve alone where
// it has none.
func TestProgramSetsHelp(t *testing.T) {
	r := fit()
	r.Athlete.BodyMass = plan.Some(plan.Kg(80_000))
	r.Athlete.Performances = append(r.Athlete.Performances, done("assisted-pull-up", 30, 8, 1))
	r.Constraints.Pinned = []plan.Pin{{ExerciseID: "assisted-pull-up"}}
	for _, stacked := range []bool{true, false} {
		r.Constraints.Places = []plan.Place{{ID: "gym", Preset: plan.PresetFullGym}}
		if !stacked {
			r.Constraints.Places = []plan.Place{{ID: "gym", Preset: plan.PresetBarbellGarage, Items: []plan.Equipment{plan.AssistedPullUpMachine}}}
		}
		for i := range r.Constraints.Days {
			r.Constraints.Days[i].PlaceID = "gym"
		}
		p, err := newEngine(t).Generate(context.Background(), r)
		require.NoError(t, err)
		sets := 0
		for _, w := range p.Phases[0].Weeks {
			for _, s := range w.Sessions {
				for _, x := range s.Exercises {
					if x.ExerciseID != "assisted-pull-up" {
						continue
					}
					for _, set := range x.Sets {
						sets++
						require.Equal(t, stacked, set.Load.Set)
						require.Zero(t, set.Load.Value.Milli%5000)
						require.LessOrEqual(t, set.Load.Value.Milli, int64(72_000))
					}
				}
			}
		}
		require.Positive(t, sets)
	}
}
