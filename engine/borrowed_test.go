package engine_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// eachExercise walks a program in order.
func eachExercise(p *plan.Program, f func(w *plan.Week, s *plan.Session, e *plan.ProgramExercise)) {
	for i := range p.Phases {
		for j := range p.Phases[i].Weeks {
			w := &p.Phases[i].Weeks[j]
			for k := range w.Sessions {
				for n := range w.Sessions[k].Exercises {
					f(w, &w.Sessions[k], &w.Sessions[k].Exercises[n])
				}
			}
		}
	}
}

// A goal lift never shown, beside one that was: its first session looks for the load where
// the other says, its later loads are shares of what was found, and nobody tests it.
func TestBorrowedGoal(t *testing.T) {
	r := fit()
	r.Goals = []plan.Goal{{Kind: plan.GoalRaise1RM, ExerciseID: "front-squat", Priority: 1}}
	r.Plan = plan.Plan{Retest: plan.Some(plan.Retest{AfterWeeks: []int32{4}, ExerciseIDs: []string{"front-squat"}})}
	p := made(t, r)
	at := slices.IndexFunc(p.Strengths, func(s plan.Strength) bool { return s.ExerciseID == "front-squat" })
	require.GreaterOrEqual(t, at, 0)
	st := p.Strengths[at]
	require.Equal(t, "back-squat", st.Borrowed)
	require.Zero(t, st.Known)
	require.Less(t, st.Planned[0]*110, st.OneRMGrams*100, "planned from the careful end")

	n, later, tests := 0, 0, 0
	eachExercise(p, func(w *plan.Week, s *plan.Session, e *plan.ProgramExercise) {
		if e.ExerciseID != "front-squat" {
			return
		}
		n++
		for i := range e.Sets {
			set := &e.Sets[i]
			require.NotEqual(t, plan.Range{Min: 1, Max: 1}, set.Reps, "week %d", w.Number)
			switch {
			case s.Kind == plan.SessionRetest:
				tests++
			case n == 1 && set.Kind == plan.SetCalibration:
				require.True(t, set.Load.Set)
				require.Contains(t, e.Note, "Estimated from your Back squat")
			case n == 1 && set.Kind == plan.SetWarmup:
				require.True(t, set.Load.Set)
			case n > 1 && set.Kind == plan.SetWorking && w.Number <= 4:
				require.True(t, set.Load.Set && set.Deferred.Set, "week %d", w.Number)
				require.Equal(t, plan.RefCalibration, set.Deferred.Value.Reference.Kind)
				later++
			}
		}
		if n == 1 {
			require.True(t, slices.ContainsFunc(e.Sets, func(x plan.Set) bool { return x.Kind == plan.SetCalibration }))
			require.True(t, slices.ContainsFunc(e.Basis, func(b plan.Basis) bool {
				return b.Rule == "strength.borrowed" && strings.Contains(b.Input, "from Back squat")
			}))
		}
	})
	require.Positive(t, later)
	require.Positive(t, tests)

	// What was judged meets no condition of entry.
	r.Plan.Entry = []plan.EntryCondition{{ExerciseID: "front-squat", Times: 500}}
	_, err := newEngine(t).Generate(context.Background(), r)
	require.ErrorContains(t, err, "ENTRY_UNKNOWN")
}

// Every loadable exercise whose strength was not shown finds its load in its first session,
// after a change of exercises too, and the session keeps its minutes.
func TestFirstSessionFindsLoads(t *testing.T) {
	for _, status := range []plan.Status{plan.Novice, plan.Intermediate} {
		for _, minutes := range []int32{30, 45, 75} {
			r := fit()
			r.Athlete.Status, r.Goals = status, []plan.Goal{{Kind: plan.GoalGrow, Muscle: plan.Lats, Priority: 1}}
			r.Plan = plan.Plan{Tracks: []plan.Track{{Segments: []plan.Segment{{Strategy: "block"}}}}}
			r.Constraints.Weeks = plan.Some(int32(8))
			for i := range r.Constraints.Days {
				r.Constraints.Days[i].Minutes = minutes
			}
			if status == plan.Novice {
				r.Athlete.Performances = nil
			}
			p := made(t, r)
			cat, err := exercise.Load()
			require.NoError(t, err)
			seen, changed := map[string]bool{}, false
			eachExercise(p, func(w *plan.Week, s *plan.Session, e *plan.ProgramExercise) {
				require.LessOrEqual(t, s.Seconds, s.Limit)
				ex, _ := cat.ByID(e.ExerciseID)
				shown := slices.ContainsFunc(r.Athlete.Performances, func(x plan.Performance) bool { return x.ExerciseID == ex.ID })
				if seen[ex.ID] || shown || !ex.Loading.Loadable() || ex.Loading == plan.LoadingAdded || ex.Is(exercise.Timed) {
					return
				}
				seen[ex.ID] = true
				changed = changed || w.Number > 1
				at := slices.IndexFunc(e.Sets, func(x plan.Set) bool { return x.Kind != plan.SetWarmup })
				require.Equal(t, plan.SetCalibration, e.Sets[at].Kind, "%s in week %d of %d minutes", ex.Name, w.Number, minutes)
				require.GreaterOrEqual(t, e.Sets[at].RIR.Value, int32(3))
				require.Regexp(t, `Find your load: \d+ repetitions with the .*Write down load|Estimated from your .*Write down the load`, e.Note)
			})
			require.NotEmpty(t, seen)
		}
	}
}

// Where minutes are short, working sets give way; the lighter sets before work of 85 % and
// more are those of a day with time.
func TestShortDaysKeepTheWarmUp(t *testing.T) {
	warm := func(minutes int32) (ups [][]int32, work int32) {
		r := fit()
		r.Plan.Tracks[0].Segments[0].Params = []plan.Param{
			{Name: "heavy_effort", Value: plan.Value{Kind: plan.ValueText, Text: "1"}},
			{Name: "heavy_reps", Value: plan.Value{Kind: plan.ValueRange, Lo: 2, Hi: 3}},
		}
		for i := range r.Constraints.Days {
			r.Constraints.Days[i].Minutes = minutes
		}
		p := made(t, r)
		eachExercise(p, func(w *plan.Week, s *plan.Session, e *plan.ProgramExercise) {
			require.LessOrEqual(t, s.Seconds, s.Limit)
			work += e.Working()
			top := plan.Permille(0)
			var reps []int32
			for i := range e.Sets {
				if e.Sets[i].Kind == plan.SetWarmup {
					reps = append(reps, e.Sets[i].Reps.Max)
				} else {
					top = max(top, e.Sets[i].Intensity.Value)
				}
			}
			if top >= 850 && e.Role == plan.GoalLift {
				ups = append(ups, reps)
			}
		})
		return ups, work
	}
	roomy, all := warm(90)
	short, fewer := warm(30)
	require.NotEmpty(t, roomy)
	require.NotEmpty(t, short)
	require.Less(t, fewer*2, all)
	for _, ups := range append(roomy, short...) {
		require.GreaterOrEqual(t, len(ups), 4)
		require.Equal(t, []int32{8, 5, 3, 2}, ups[:4])
	}
}
