package engine_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

// tested is a request with a test of squat and bench press after the fourth of six weeks.
func tested() plan.Request {
	r := fit()
	r.Plan = plan.Plan{Retest: plan.Some(plan.Retest{AfterWeeks: []int32{4}})}
	return r
}

func made(t *testing.T, r plan.Request) *plan.Program {
	p, err := newEngine(t).Generate(context.Background(), r)
	require.NoError(t, err)
	return &p
}

func weekOf(p *plan.Program, number int32) *plan.Week {
	for i := range p.Phases {
		for j := range p.Phases[i].Weeks {
			if w := &p.Phases[i].Weeks[j]; w.Number == number {
				return w
			}
		}
	}
	return nil
}

// testDay gives the weekday of a week's test and what it tests.
func testDay(w *plan.Week) (plan.Weekday, []string) {
	for i := range w.Sessions {
		if s := &w.Sessions[i]; s.Kind == plan.SessionRetest {
			var ids []string
			for k := range s.Exercises {
				ids = append(ids, s.Exercises[k].ExerciseID)
			}
			return s.Weekday, ids
		}
	}
	return 0, nil
}

func days(list ...plan.Weekday) []plan.Day {
	var out []plan.Day
	for _, d := range list {
		out = append(out, plan.Day{Weekday: d, Minutes: 75})
	}
	return out
}

// A test is on the day that comes longest after training, if there is one without it.
func TestRetestDay(t *testing.T) {
	r := tested()
	r.Constraints.Days = days(plan.Monday, plan.Wednesday, plan.Thursday, plan.Saturday)
	r.Plan.SessionsPerWeek = plan.Some(int32(2))
	day, lifts := testDay(weekOf(made(t, r), 4))
	require.Equal(t, plan.Saturday, day)
	require.Equal(t, []string{"back-squat", "bench-press"}, lifts)

	// A recovery week of two sessions leaves the day between them, and the day after the
	// second is too soon.
	r.Constraints.Days = days(plan.Monday, plan.Wednesday, plan.Friday, plan.Saturday)
	r.Plan.SessionsPerWeek = plan.Some(int32(3))
	r.Plan.Recovery = plan.Some(plan.RecoveryWeeks{EveryWeeks: 4, Sessions: 2})
	p := made(t, r)
	day, _ = testDay(weekOf(p, 4))
	require.Equal(t, plan.Wednesday, day)
	require.Len(t, weekOf(p, 4).Sessions, 3)
	for _, s := range weekOf(p, 4).Sessions[2].Exercises { // what comes after the test refers to it
		if s.ExerciseID == "back-squat" {
			require.Equal(t, "the test of week 4", s.Sets[len(s.Sets)-1].Deferred.Value.Reference.Name)
		}
	}

	// Without a free day it takes the last session's place, and is noted where that comes
	// the day after training.
	r = tested()
	r.Constraints.Days = days(plan.Monday, plan.Tuesday)
	p = made(t, r)
	day, _ = testDay(weekOf(p, 4))
	require.Equal(t, plan.Tuesday, day)
	require.True(t, slices.ContainsFunc(p.Findings, func(f plan.Finding) bool {
		return f.Rule == "audit.test-rest" && f.Level == plan.LevelDeparture && f.Week == 4
	}))
}

// Where a test near the maximum can't be or may not be, the program says so, and loads
// refer to no test that was not.
func TestRetestNotPossible(t *testing.T) {
	const squat = "back-squat"
	for name, c := range map[string]struct {
		change func(r *plan.Request)
		level  plan.FindingLevel
		says   string
	}{
		"a novice":      {func(r *plan.Request) { r.Athlete.Status = plan.Novice }, plan.LevelNote, "a novice is not tested"},
		"not screened":  {func(r *plan.Request) { r.Athlete.Screening = plan.Opt[plan.Screening]{} }, plan.LevelNote, "not for this athlete"},
		"nothing known": {func(r *plan.Request) { r.Athlete.Performances = nil }, plan.LevelNote, "no performance tells"},
		"alone and no safeties": {func(r *plan.Request) {
			r.Athlete.Supervision, r.Athlete.Spotter, r.Constraints.Places[0].Safeties = plan.Alone, plan.Some(false), plan.Some(false)
		}, plan.LevelNote, "nothing catches the bar"},
		"no rack that week": {func(r *plan.Request) {
			r.Constraints.Places[0].ID = "gym"
			r.Constraints.Places = append(r.Constraints.Places, plan.Place{ID: "hotel", Preset: plan.PresetBodyweight})
			r.Constraints.Periods = []plan.PlacePeriod{{FromWeek: plan.Some(int32(4)), ToWeek: plan.Some(int32(4)), PlaceID: "hotel"}}
		}, plan.LevelShort, "what it needs is not there"},
		"one exercise a session": {func(r *plan.Request) {
			r.Plan.Retest.Value.ExerciseIDs = []string{"bench-press", squat}
			r.Constraints.Days = days(plan.Monday, plan.Wednesday, plan.Friday, plan.Saturday)
			r.Constraints.Limits.ExercisesPerSession = plan.Some(int32(1))
		}, plan.LevelShort, "allows 1 exercises a session"},
		"recovery asked for": {func(r *plan.Request) {
			r.Constraints.Days = days(plan.Monday, plan.Wednesday, plan.Friday, plan.Saturday)
			r.Plan.SessionsPerWeek = plan.Some(int32(3))
			r.Constraints.Pinned = []plan.Pin{{ExerciseID: squat, EverySession: true}}
			r.Constraints.Recovery = []plan.Recovery{{Muscle: plan.Quads, Hours: 48}}
		}, plan.LevelShort, "have not passed"},
	} {
		t.Run(name, func(t *testing.T) {
			r := tested()
			c.change(&r)
			p := made(t, r)
			said := ""
			for _, f := range p.Findings {
				if f.Rule == "test.steps" && f.ExerciseID == squat {
					require.Equal(t, c.level, f.Level)
					require.Equal(t, "plan.retest", f.Field)
					said += f.Says
				}
			}
			require.Contains(t, said, c.says)
			_, lifts := testDay(weekOf(p, 4))
			require.Equal(t, c.level == plan.LevelNote, slices.Contains(lifts, squat))
			for _, number := range []int32{5, 6} {
				for _, s := range weekOf(p, number).Sessions {
					for _, e := range s.Exercises {
						for _, set := range e.Sets {
							if e.ExerciseID == squat && c.level == plan.LevelShort && set.Deferred.Set {
								require.NotEqual(t, plan.RefEstimate, set.Deferred.Value.Reference.Kind)
							}
						}
					}
				}
			}
		})
	}
}

// Where body mass alone is near the maximum, no set with repetitions in reserve can be
// had of it, and two repetitions would test a novice's 1RM after all.
func TestRetestOfBodyMassNearMaximum(t *testing.T) {
	for reps, want := range map[int32]bool{3: false, 15: true} {
		r := tested()
		r.Athlete.Status = plan.Novice
		r.Athlete.Performances = append(r.Athlete.Performances, plan.Performance{ExerciseID: "pull-up", Reps: reps, ToFailure: true})
		r.Plan.Retest.Value.ExerciseIDs = []string{"pull-up"}
		p := made(t, r)
		_, lifts := testDay(weekOf(p, 4))
		require.Equal(t, want, slices.Contains(lifts, "pull-up"))
		require.Equal(t, !want, slices.ContainsFunc(p.Findings, func(f plan.Finding) bool {
			return f.Rule == "test.steps" && f.Level == plan.LevelShort && f.ExerciseID == "pull-up"
		}))
	}
}

// What the caller gave is not put in order under their hands.
func TestRetestLeavesTheRequest(t *testing.T) {
	r := tested()
	weeks := []int32{5, 2, 5}
	r.Plan.Retest.Value.AfterWeeks = weeks
	p := made(t, r)
	require.Equal(t, []int32{5, 2, 5}, weeks)
	require.Equal(t, []int32{2, 5}, p.Request.Plan.Retest.Value.AfterWeeks)
}

// A track's own lighter week is not made lighter again, nor taken for a full one.
func TestOwnLighterWeekIsNotEasedTwice(t *testing.T) {
	r := fit()
	r.Constraints.Weeks = plan.Some(int32(8))
	every := []plan.Param{{Name: "deload_every", Value: plan.Value{Kind: plan.ValueNumber, Milli: 4000}}}
	r.Plan = plan.Plan{Recovery: plan.Some(plan.RecoveryWeeks{EveryWeeks: 4, Keep: 600}), Tracks: []plan.Track{
		{Segments: []plan.Segment{{Strategy: "constant", Params: every}}},
		{Name: "squat", ExerciseIDs: []string{"back-squat"}, Segments: []plan.Segment{{Strategy: "constant"}}}}}
	o, err := newEngine(t).Outline(context.Background(), r)
	require.NoError(t, err)
	w := outlineWeeks(&o)[3]
	require.Equal(t, plan.WeekRecovery, w.Kind)
	kind, dose := w.Of("squat")
	require.Equal(t, plan.WeekRecovery, kind)
	_, full := outlineWeeks(&o)[2].Of("squat")
	require.InDelta(t, int(full)*6/10, int(dose), 60)

	alone := r
	alone.Plan.Tracks = r.Plan.Tracks[:1]
	own, err := newEngine(t).Outline(context.Background(), alone)
	require.NoError(t, err)
	kind, dose = w.Of("")
	require.Equal(t, plan.WeekDeload, kind)
	require.Equal(t, outlineWeeks(&own)[3].Dose, dose)
}

// Squat and deadlift in tracks of their own still share one lower back.
func TestLowerBackAcrossTracks(t *testing.T) {
	r := fit()
	r.Athlete.Performances = append(r.Athlete.Performances, plan.Performance{ExerciseID: "deadlift", Load: plan.Some(plan.Kg(150_000)), Reps: 5, RIR: plan.Some(int32(1))})
	r.Goals = append(r.Goals, plan.Goal{Kind: plan.GoalRaise1RM, ExerciseID: "deadlift", Priority: 1})
	r.Constraints.Days = days(plan.Monday, plan.Tuesday, plan.Thursday, plan.Friday)
	r.Plan = plan.Plan{Tracks: []plan.Track{{Segments: []plan.Segment{{Strategy: "constant"}}},
		{Name: "squat", ExerciseIDs: []string{"back-squat"}, Segments: []plan.Segment{{Strategy: "undulating"}}},
		{Name: "pull", ExerciseIDs: []string{"deadlift"}, Segments: []plan.Segment{{Strategy: "linear"}}}}}
	p := made(t, r)
	for _, f := range p.Findings {
		require.NotEqual(t, plan.RuleID("audit.lower-back"), f.Rule, f.Says)
	}
	require.NotEmpty(t, weekOf(p, 1).Sessions)
}
