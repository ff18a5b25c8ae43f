package engine_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

// What is pinned to every session from the middle of a week on is in all that are left of
// it, and the session before is not held against the program.
func TestReworkPinsWhatIsLeftOfAWeek(t *testing.T) {
	e := newEngine(t)
	r := fit()
	r.Goals = nil
	r.Constraints.Limits.ExercisesPerSession = plan.Some(int32(3))
	base, err := e.Generate(context.Background(), r)
	require.NoError(t, err)
	now := base.Request
	now.Constraints.Limits.ExercisesPerSession = plan.Some(int32(6))
	now.Constraints.Pinned = []plan.Pin{{ExerciseID: "leg-press", EverySession: true}}
	p, err := e.Rework(context.Background(), &base, now, plan.Rework{From: plan.Some(today + 3)})
	require.NoError(t, err)
	n := 0
	for _, ph := range p.Phases {
		for _, w := range ph.Weeks {
			for _, s := range w.Sessions {
				if slices.ContainsFunc(s.Exercises, func(x plan.ProgramExercise) bool { return x.ExerciseID == "leg-press" }) {
					n++
				} else {
					require.Equal(t, "1 Monday", string('0'+rune(w.Number))+" "+s.Weekday.String())
				}
			}
		}
	}
	require.Equal(t, 11, n)
}
