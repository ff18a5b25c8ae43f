package app

import (
	"context"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/wire"
)

func invented(t *testing.T) plan.Request {
	data, err := os.ReadFile("../../cmd/phasewright/demo.yaml")
	require.NoError(t, err)
	message, err := wire.ReadRequest(data)
	require.NoError(t, err)
	r, err := wire.RequestFromProto(message)
	require.NoError(t, err)
	return r
}

// loadsOf lists what a lift's working sets have on the bar, week by week.
func loadsOf(p *plan.Program, id string) map[int32][]int64 {
	out := map[int32][]int64{}
	for _, w := range weeksIn(p) {
		for i := range w.Sessions {
			for _, e := range w.Sessions[i].Exercises {
				for _, s := range e.Sets {
					if e.ExerciseID == id && s.Kind == plan.SetWorking && s.Load.Set {
						out[w.Number] = append(out[w.Number], s.Load.Value.Milli)
					}
				}
			}
		}
	}
	return out
}

func planned(t *testing.T, p *plan.Program, id string) []int64 {
	for _, s := range p.Strengths {
		if s.ExerciseID == id {
			return s.Planned
		}
	}
	t.Fatalf("no strength of %s", id)
	return nil
}

// What was shown inside a program moves the loads of that lift from then on, and of no
// other; the weeks before stay to the byte.
func TestReworkTakesInWhatWasShown(t *testing.T) {
	e, err := NewEngine()
	require.NoError(t, err)
	ctx := context.Background()
	first, err := e.Generate(ctx, invented(t))
	require.NoError(t, err)
	how := plan.Rework{FromWeek: 3}

	with := func(p *plan.Program, list ...plan.Performance) plan.Request {
		r := ownRequest(t, &p.Request)
		r.Athlete.Performances = append(r.Athlete.Performances, list...)
		return r
	}
	day := func(s string) plan.Opt[plan.Date] {
		d, err := plan.ParseDate(s)
		require.NoError(t, err)
		return plan.Some(d)
	}
	squat := func(kg int64, reps, rir int32, on string) plan.Performance {
		return plan.Performance{ExerciseID: "back-squat", Load: plan.Some(plan.Kg(kg * 1000)), Reps: reps, RIR: plan.Some(rir), Date: day(on)}
	}

	stronger := with(&first, squat(130, 6, 1, "2027-01-11"), squat(132, 6, 1, "2027-01-14"))
	second, err := e.Rework(ctx, &first, stronger, how)
	require.NoError(t, err)
	require.Equal(t, bytesOf(t, weeksIn(&first)[:2]), bytesOf(t, weeksIn(&second)[:2]))
	was, is := loadsOf(&first, "back-squat"), loadsOf(&second, "back-squat")
	for w := int32(3); w <= 4; w++ {
		require.NotEmpty(t, was[w])
		require.Greater(t, is[w][0], was[w][0], "week %d: %v, before %v", w, is[w], was[w])
	}
	before, now := planned(t, &first, "back-squat"), planned(t, &second, "back-squat")
	require.Greater(t, now[2], before[2])
	require.Equal(t, now[0], now[1], "planned from the week in which it was shown")
	require.Equal(t, planned(t, &first, "bench-press"), planned(t, &second, "bench-press"))
	require.Equal(t, loadsOf(&first, "bench-press"), loadsOf(&second, "bench-press"))

	weaker, err := e.Rework(ctx, &first, with(&first, squat(105, 4, 0, "2027-01-11"), squat(105, 4, 0, "2027-01-14")), how)
	require.NoError(t, err)
	require.Less(t, loadsOf(&weaker, "back-squat")[3][0], was[3][0])

	// Made again without anything new: nothing moves, however often.
	third, err := e.Rework(ctx, &second, second.Request, plan.Rework{FromWeek: 5})
	require.NoError(t, err)
	require.Equal(t, bytesOf(t, second.Phases), bytesOf(t, third.Phases))
	require.Equal(t, bytesOf(t, second.Strengths), bytesOf(t, third.Strengths))

	_, err = e.Rework(ctx, &first, with(&first, squat(130, 6, 1, "2027-01-19")), how)
	f, ok := fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, "athlete.performances[5].date", f.Violations[0].Field)
	require.Equal(t, "OUT_OF_RANGE", f.Violations[0].Reason)
}
