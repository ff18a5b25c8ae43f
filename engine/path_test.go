package engine_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Paths in answers are those of the request as it came, in whatever order its days are.
func TestConflictsNameTheRequestsOwnDays(t *testing.T) {
	r := fit()
	r.Goals = nil
	r.Constraints.Days = []plan.Day{{Weekday: plan.Friday, Minutes: 15}, {Weekday: plan.Monday, Minutes: 16}}
	r.Constraints.Pinned = []plan.Pin{{ExerciseID: "leg-press", EverySession: true}, {ExerciseID: "deadlift", EverySession: true}}
	_, err := newEngine(t).Generate(context.Background(), r)
	f, ok := fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, fault.Infeasible, f.Kind)
	days := 0
	for _, v := range f.Violations {
		switch v.Field {
		case "constraints.days[0].minutes":
			days++
			require.Contains(t, v.Says, "Friday")
		case "constraints.days[1].minutes":
			days++
			require.Contains(t, v.Says, "Monday")
		}
	}
	require.Positive(t, days, "%v", err)
	r = fit()
	r.Constraints.Days = []plan.Day{{Weekday: plan.Friday, Minutes: 60}, {Weekday: plan.Monday, Minutes: 45}}
	p, err := newEngine(t).Generate(context.Background(), r)
	require.NoError(t, err)
	first := p.Phases[0].Weeks[0].Sessions[0]
	require.Equal(t, plan.Monday, first.Weekday, "sessions are in order of date")
	require.Equal(t, int32(1), first.Day, "and point at the request's own day")
}
