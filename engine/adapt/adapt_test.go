package adapt_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/adapt"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

const day = plan.Date(20_000)

func set(kg int64, reps, rir int32) adapt.Set {
	return adapt.Set{Load: plan.Some(plan.Kg(kg * 1000)), Reps: reps, RIR: plan.Some(rir)}
}

// Which set speaks: common practice, no source; why the first of equals: load.Observation.
func TestShown(t *testing.T) {
	cat, err := exercise.Load()
	require.NoError(t, err)
	unsaid := adapt.Set{Load: plan.Some(plan.Kg(120_000)), Reps: 5}
	failed := adapt.Set{Load: plan.Some(plan.Kg(100_000)), Reps: 4, RIR: plan.Some(int32(0)), ToFailure: true}
	warm := set(140, 1, 5)
	warm.Kind = plan.SetWarmup
	for name, c := range map[string]struct {
		exercise string
		noMass   bool
		sets     []adapt.Set
		want     int // -1: none
	}{
		"the first of equals":        {"back-squat", false, []adapt.Set{set(100, 5, 2), set(100, 5, 1), set(100, 4, 1)}, 0},
		"the heaviest of a ramp":     {"back-squat", false, []adapt.Set{set(60, 5, 5), set(80, 5, 4), set(100, 5, 1)}, 2},
		"heavy, then back-off":       {"back-squat", false, []adapt.Set{set(110, 3, 2), set(110, 3, 1), set(80, 10, 2)}, 0},
		"whose effort is known":      {"back-squat", false, []adapt.Set{unsaid, set(100, 5, 1)}, 1},
		"no effort":                  {"back-squat", false, []adapt.Set{unsaid}, -1},
		"warm-up":                    {"back-squat", false, []adapt.Set{warm}, -1},
		"to failure":                 {"back-squat", false, []adapt.Set{failed}, 0},
		"held":                       {"back-squat", false, []adapt.Set{{Load: plan.Some(plan.Kg(1000)), RIR: plan.Some(int32(1))}}, -1},
		"no load":                    {"bench-press", false, []adapt.Set{{Reps: 5, RIR: plan.Some(int32(1))}}, -1},
		"least help":                 {"assisted-pull-up", false, []adapt.Set{set(30, 8, 1), set(20, 8, 1)}, 1},
		"body mass unknown":          {"pull-up", true, []adapt.Set{set(10, 5, 1)}, -1},
		"body mass known":            {"pull-up", false, []adapt.Set{set(10, 5, 1)}, 0},
		"body mass alone":            {"push-up", true, []adapt.Set{{Reps: 20, RIR: plan.Some(int32(1))}}, 0},
		"load on body mass exercise": {"push-up", false, []adapt.Set{set(10, 20, 1)}, -1},
		"nothing done":               {"back-squat", false, nil, -1},
	} {
		t.Run(name, func(t *testing.T) {
			e, ok := cat.ByID(c.exercise)
			require.True(t, ok, c.exercise)
			p, at, ok := adapt.Shown(e, day, !c.noMass, c.sets)
			require.Equal(t, c.want >= 0, ok)
			if !ok {
				return
			}
			require.Equal(t, c.want, at)
			require.Equal(t, c.sets[at].Load, p.Load)
			require.Equal(t, c.sets[at].Reps, p.Reps)
			require.Equal(t, plan.Some(day), p.Date)
			require.False(t, p.ToFailure && p.RIR.Set)
		})
	}
}
