package compare

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

func exerciseOf(id string, sets int, reps, kg int32) plan.ProgramExercise {
	e := plan.ProgramExercise{ExerciseID: id, Name: id}
	for i := range sets {
		s := plan.Set{Kind: plan.SetWorking, Reps: plan.Range{Min: reps, Max: reps}, Load: plan.Some(plan.Kg(1000 * int64(kg))), Rest: 120}
		if i == sets-1 {
			s.Rest = 0
		}
		e.Sets = append(e.Sets, s)
	}
	return e
}

func program(weeks int) *plan.Program {
	p := &plan.Program{Phases: []plan.Phase{{}}}
	for n := range weeks {
		p.Phases[0].Weeks = append(p.Phases[0].Weeks, plan.Week{Number: int32(n + 1), Kind: plan.WeekTraining, Sessions: []plan.Session{
			{Kind: plan.SessionTraining, Weekday: plan.Monday, Limit: 3600, Exercises: []plan.ProgramExercise{exerciseOf("squat", 3, 5, 100), exerciseOf("press", 3, 8, 60), exerciseOf("curl", 2, 12, 20)}},
			{Kind: plan.SessionTraining, Weekday: plan.Thursday, Day: 1, Limit: 3600, Exercises: []plan.ProgramExercise{exerciseOf("row", 3, 8, 70)}},
		}})
	}
	return p
}

func at(p *plan.Program, week, session int) *plan.Session {
	return &p.Phases[0].Weeks[week-1].Sessions[session]
}

func TestEqualProgramsDifferInNothing(t *testing.T) {
	require.Empty(t, Programs(program(3), program(3)))
}

func TestEachChangeIsToldOnce(t *testing.T) {
	type told struct {
		kind     plan.ChangeKind
		exercise string
		weeks    []int32
		numbers  []plan.Number
	}
	for name, c := range map[string]struct {
		by   func(*plan.Program)
		want []told
	}{
		"week": {func(p *plan.Program) { p.Phases[0].Weeks[2].Kind = plan.WeekDeload }, []told{{plan.ChangeWeek, "", []int32{3}, nil}}},
		"fewer weeks": {func(p *plan.Program) { p.Phases[0].Weeks = p.Phases[0].Weeks[:2] }, []told{
			{plan.ChangeWeek, "", []int32{3}, nil}, {plan.ChangeSessionLeftOut, "", []int32{3}, nil}, {plan.ChangeSessionLeftOut, "", []int32{3}, nil},
		}},
		"minutes":     {func(p *plan.Program) { at(p, 2, 1).Limit, at(p, 3, 1).Limit = 2700, 2700 }, []told{{plan.ChangeSessionMoved, "", []int32{2, 3}, nil}}},
		"another day": {func(p *plan.Program) { at(p, 3, 1).Weekday = plan.Friday }, []told{{plan.ChangeSessionMoved, "", []int32{3}, nil}}},
		"new session": {func(p *plan.Program) {
			w := &p.Phases[0].Weeks[1]
			w.Sessions = append(w.Sessions, plan.Session{Kind: plan.SessionTraining, Weekday: plan.Saturday, Day: 2, Exercises: []plan.ProgramExercise{exerciseOf("dip", 2, 8, 0)}})
		}, []told{{plan.ChangeSessionAdded, "", []int32{2}, nil}, {plan.ChangeExerciseAdded, "dip", []int32{2}, nil}}},
		"swap as asked": {func(p *plan.Program) {
			p.Reworked = plan.Some(plan.Reworked{Asked: plan.Rework{Swaps: []plan.Swap{{ExerciseID: "press", With: "dip"}}}})
			at(p, 2, 0).Exercises[1], at(p, 3, 0).Exercises[1] = exerciseOf("dip", 3, 8, 0), exerciseOf("dip", 3, 8, 5)
		}, []told{{plan.ChangeExerciseSwapped, "press", []int32{2, 3}, nil}}},
		"out and in": {func(p *plan.Program) { at(p, 2, 0).Exercises[1] = exerciseOf("dip", 3, 8, 0) }, []told{
			{plan.ChangeExerciseLeftOut, "press", []int32{2}, nil}, {plan.ChangeExerciseAdded, "dip", []int32{2}, nil},
		}},
		"fewer sets": {func(p *plan.Program) { at(p, 1, 0).Exercises[0] = exerciseOf("squat", 2, 5, 100) }, []told{{plan.ChangeExerciseChanged, "squat", []int32{1}, []plan.Number{plan.NumberSets}}}},
		"load":       {func(p *plan.Program) { at(p, 1, 0).Exercises[0] = exerciseOf("squat", 3, 5, 95) }, []told{{plan.ChangeExerciseChanged, "squat", []int32{1}, []plan.Number{plan.NumberLoad}}}},
		"reps":       {func(p *plan.Program) { at(p, 1, 0).Exercises[0] = exerciseOf("squat", 3, 4, 100) }, []told{{plan.ChangeExerciseChanged, "squat", []int32{1}, []plan.Number{plan.NumberReps}}}},
		"reserve":    {func(p *plan.Program) { at(p, 1, 0).Exercises[0].Sets[2].RIR = plan.Some[int32](1) }, []told{{plan.ChangeExerciseChanged, "squat", []int32{1}, []plan.Number{plan.NumberRIR}}}},
		"rest":       {func(p *plan.Program) { at(p, 1, 0).Exercises[0].Sets[0].Rest = 180 }, []told{{plan.ChangeExerciseChanged, "squat", []int32{1}, []plan.Number{plan.NumberRest}}}},
		"order": {func(p *plan.Program) {
			e := at(p, 1, 0).Exercises
			e[0], e[1], e[2] = e[2], e[0], e[1]
		}, []told{{plan.ChangeExerciseChanged, "curl", []int32{1}, []plan.Number{plan.NumberOrder}}}},
		"note": {func(p *plan.Program) { at(p, 1, 0).Exercises[0].Note = "brace" }, []told{{plan.ChangeAdvice, "squat", []int32{1}, nil}}},
	} {
		t.Run(name, func(t *testing.T) {
			is := program(3)
			c.by(is)
			var got []told
			for _, x := range Programs(program(3), is) {
				g := told{kind: x.Kind, exercise: x.ExerciseID, numbers: x.Weeks[0].Numbers}
				for _, w := range x.Weeks {
					g.weeks = append(g.weeks, w.Week)
				}
				got = append(got, g)
			}
			require.Equal(t, c.want, got)
		})
	}
}
