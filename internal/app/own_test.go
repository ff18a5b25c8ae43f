package app

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/wire"
)

// What a request brings along stays in the program: read back by somebody who has nothing
// else, it is intact, passes the audit, and is made again.
func TestOwnExercisesTravel(t *testing.T) {
	e, err := NewEngine()
	require.NoError(t, err)
	made, err := generate(e, "house-row")
	require.NoError(t, err)
	require.Regexp(t, `^\d+\+[0-9a-f]{12}$`, made.Versions.Catalogue)
	file, err := wire.Marshal(wire.ProgramToProto(&made))
	require.NoError(t, err)
	message, err := wire.ReadProgram(file)
	require.NoError(t, err)
	read, err := wire.ProgramFromProto(message)
	require.NoError(t, err)
	require.Equal(t, bytesOf(t, &made), bytesOf(t, read))
	intact, err := read.Intact()
	require.NoError(t, err)
	require.True(t, intact)
	stranger, err := NewEngine()
	require.NoError(t, err)
	for _, f := range stranger.Audit(read) {
		require.NotEqual(t, plan.LevelViolation, f.Level, f.Says)
	}
	again, err := stranger.Rework(context.Background(), read, read.Request, plan.Rework{FromWeek: 3})
	require.NoError(t, err)
	require.Equal(t, trainedOn(&made, 0), trainedOn(&again, 0))

	read.Request.Own[0].Prime = nil
	rules := map[plan.RuleID]bool{}
	for _, f := range stranger.Audit(read) {
		rules[f.Rule] = true
	}
	require.True(t, rules["audit.exercise-own"] && rules["audit.exercise-unknown"], "%v", rules)
}

// The weeks that stay keep their own exercises; those to come may have others.
func TestOwnExercisesOfThePastStay(t *testing.T) {
	e, err := NewEngine()
	require.NoError(t, err)
	base, err := generate(e, "house-row")
	require.NoError(t, err)
	without := ownRequest(t, &base.Request)
	without.Goals, without.Own = without.Goals[1:], nil
	without.Athlete.Performances = without.Athlete.Performances[1:]
	_, err = e.Rework(context.Background(), &base, without, plan.Rework{FromWeek: 3})
	requireOwnFault(t, err, "own_exercises", "PAST")
	all, err := e.Rework(context.Background(), &base, without, plan.Rework{})
	require.NoError(t, err, "from the first week on there is no past")
	require.NotContains(t, bytesOf(t, all.Phases), "high-bench-row")

	other := ownRequest(t, &base.Request)
	other.Own[0].Setup = 30
	_, err = e.Rework(context.Background(), &base, other, plan.Rework{FromWeek: 3})
	requireOwnFault(t, err, "own_exercises[0]", "PAST")
}

func requireOwnFault(t *testing.T, err error, field, reason string) {
	t.Helper()
	f, ok := fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, field+" "+reason, f.Violations[0].Field+" "+f.Violations[0].Reason)
}

// An own exercise takes another's place from a week on, as a coach asks for it: the days
// it is not on stay what they were.
func TestOwnExerciseSwappedIn(t *testing.T) {
	e, base := threeDays(t)
	var was *plan.ProgramExercise
	var day plan.Weekday
	for _, s := range weeksIn(&base)[3].Sessions {
		for i := range s.Exercises {
			x, _ := e.Catalogue().ByID(s.Exercises[i].ExerciseID)
			if was == nil && x.Loading == plan.LoadingStack && x.Role == plan.SingleJoint {
				was, day = &s.Exercises[i], s.Weekday
			}
		}
	}
	require.NotNil(t, was)
	like, _ := e.Catalogue().ByID(was.ExerciseID)
	own := exercise.Own(like)
	own.ID, own.Name, own.Group, own.CallerID = "house-"+own.ID, own.Name+" on the house machine", "house-"+own.Group, "club-7"
	r := ownRequest(t, &base.Request)
	r.Own = []plan.OwnExercise{own}
	p, err := e.Rework(context.Background(), &base, r, plan.Rework{FromWeek: 4, Swaps: []plan.Swap{{ExerciseID: like.ID, Weekday: day, With: own.ID}}})
	require.NoError(t, err)
	for _, w := range weeksIn(&p) {
		for i := range w.Sessions {
			if s := &w.Sessions[i]; s.Weekday == day && s.Kind == plan.SessionTraining {
				require.Equal(t, w.Number >= 4, holdsExercise(s, own.ID), "week %d", w.Number)
				require.False(t, w.Number >= 4 && holdsExercise(s, like.ID))
			}
		}
	}
	for d := plan.Monday; d <= plan.Sunday; d++ {
		if d != day {
			require.Equal(t, trainedOn(&base, d), trainedOn(&p, d))
		}
	}
}

func holdsExercise(s *plan.Session, id string) bool {
	for i := range s.Exercises {
		if s.Exercises[i].ExerciseID == id {
			return true
		}
	}
	return false
}

// Strength in an own exercise is estimated as in any other.
func TestOwnExerciseEstimated(t *testing.T) {
	e, err := NewEngine()
	require.NoError(t, err)
	made, err := generate(e, "house-row")
	require.NoError(t, err)
	q := plan.StrengthQuery{Athlete: made.Request.Athlete, ExerciseIDs: []string{"high-bench-row"}, Own: made.Request.Own}
	report, err := e.Estimate(context.Background(), q)
	require.NoError(t, err)
	require.Equal(t, "Prone row on the high bench", report.Lifts[0].Name)
	require.InDelta(t, 76_000, report.Lifts[0].Max.Value.Middle.Milli, 1000)
	q.Own = nil
	_, err = e.Estimate(context.Background(), q)
	requireOwnFault(t, err, "athlete.performances[0].exercise_id", "UNKNOWN_EXERCISE")
}
