package app

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

// Each substitute that an exercise lists can really take its place: the program made again with
// it there is one that the audit lets pass.
func TestSubstitutesKeepTheProgramValid(t *testing.T) {
	t.Parallel()
	e, err := NewEngine()
	require.NoError(t, err)
	for _, name := range []string{"chest-first", "hypertrophy-shoulder"} {
		base, err := generate(e, name)
		require.NoError(t, err)
		tried := 0
		for _, s := range weeksIn(&base)[1].Sessions {
			for i := range s.Exercises {
				x := &s.Exercises[i]
				if x.Role == plan.GoalLift {
					continue
				}
				for _, c := range x.Contingencies {
					if c.Case != plan.CaseEquipmentTaken {
						continue
					}
					require.LessOrEqual(t, len(c.Swap), 2)
					for _, with := range c.Swap {
						require.False(t, holdsExercise(&s, with), "%s: %s is in the session already", name, with)
						_, err := e.Rework(context.Background(), &base, base.Request, plan.Rework{FromWeek: 2, Swaps: []plan.Swap{{ExerciseID: x.ExerciseID, Weekday: s.Weekday, With: with}}})
						require.NoError(t, err, "%s: %s for %s on %s", name, with, x.ExerciseID, s.Weekday)
						tried++
					}
				}
			}
		}
		require.Greater(t, tried, 15, name)
	}
}
