package exercise

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Every exercise of the catalogue can be carried by a request and is the same again.
func TestOwnGivesEveryExerciseBack(t *testing.T) {
	for _, e := range builtin(t).All() {
		o := Own(e)
		require.Equal(t, *e, FromOwn(&o), e.ID)
	}
}

func TestWithOwn(t *testing.T) {
	c := builtin(t)
	same, err := c.WithOwn(nil)
	require.NoError(t, err)
	require.Same(t, c, same)
	own := func(change func(*plan.OwnExercise)) []plan.OwnExercise {
		o := Own(byID(t, "hip-thrust"))
		o.ID, o.Name = "club-thrust", "Club thrust"
		change(&o)
		return []plan.OwnExercise{o}
	}
	bigger, err := c.WithOwn(own(func(*plan.OwnExercise) {}))
	require.NoError(t, err)
	got, ok := bigger.ByID("club-thrust")
	require.True(t, ok)
	require.True(t, got.Direct(plan.Glutes))
	for _, row := range []struct {
		name, field string
		list        []plan.OwnExercise
	}{
		{"prime twice", "own_exercises[0].prime_muscles", own(func(o *plan.OwnExercise) { o.Prime = append(o.Prime, o.Prime[0]) })},
		{"prime and secondary", "own_exercises[0].secondary_muscles", own(func(o *plan.OwnExercise) { o.Secondary = append(o.Secondary, o.Prime[0]) })},
		{"no muscle", "own_exercises[0].secondary_muscles", own(func(o *plan.OwnExercise) { o.Secondary = []plan.Muscle{plan.MuscleCount} })},
		{"muscle 0", "own_exercises[0].prime_muscles", own(func(o *plan.OwnExercise) { o.Prime = append(o.Prime, plan.MuscleUnspecified) })},
		{"joint twice", "own_exercises[0].joints", own(func(o *plan.OwnExercise) {
			o.Joints = []plan.JointStress{{Joint: plan.Knee, Level: 1}, {Joint: plan.Knee, Level: 2}}
		})},
		{"no joint", "own_exercises[0].joints", own(func(o *plan.OwnExercise) { o.Joints = []plan.JointStress{{Joint: plan.JointCount, Level: 1}} })},
		{"no stress", "own_exercises[0].joints", own(func(o *plan.OwnExercise) { o.Joints = []plan.JointStress{{Joint: plan.Knee}} })},
		{"too much stress", "own_exercises[0].joints", own(func(o *plan.OwnExercise) { o.Joints = []plan.JointStress{{Joint: plan.Knee, Level: 3}} })},
		{"clash", "own_exercises[0].id", own(func(o *plan.OwnExercise) { o.ID = "back-squat" })},
		{"invalid", "own_exercises[0].set_setup_seconds", own(func(o *plan.OwnExercise) { o.SetSetup = -1 })},
		{"too many", "own_exercises", make([]plan.OwnExercise, MaxOwn+1)},
	} {
		_, err := c.WithOwn(row.list)
		f, ok := fault.As(err)
		require.True(t, ok, row.name)
		require.Equal(t, fault.Invalid, f.Kind, row.name)
		require.Equal(t, row.field, f.Violations[0].Field, row.name)
	}
}
