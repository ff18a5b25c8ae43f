package app

import (
	"bytes"
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
)

// sampleStart is Monday 4 January 2027.
const sampleStart plan.Date = 20822

// sample is a small program written by hand, of three weeks on Monday and Thursday, the
// third a deload, that every property of the vocabulary can be stated of.
func sample() *plan.Program {
	p := &plan.Program{
		Request: plan.Request{
			Athlete: plan.Athlete{Name: "Sample", Performances: []plan.Performance{
				{ExerciseID: "back-squat", Load: plan.Some(plan.Kg(100_000)), Reps: 5},
				{ExerciseID: "bench-press", Load: plan.Some(plan.Kg(80_000)), Reps: 5},
			}},
			Goals: []plan.Goal{{Kind: plan.GoalPeak, ExerciseID: "back-squat", Priority: 1, Date: plan.Some(sampleStart + 21)}},
			Constraints: plan.Constraints{
				Unit: plan.Kilogram,
				Days: []plan.Day{{Weekday: plan.Monday, Minutes: 60}, {Weekday: plan.Thursday, Minutes: 45}},
			},
		},
		Cautions:    []plan.Caution{{ID: "estimates", Says: "Loads are estimates."}},
		Assumptions: []plan.Assumption{{Field: "goals", Says: "General strength and size."}},
		Findings:    []plan.Finding{{Level: plan.LevelNote, Rule: "audit.rest-heavy", ExerciseID: "back-squat", Says: "Kept two in reserve."}},
	}
	for n := int32(1); n <= 3; n++ {
		w := plan.Week{Number: n, Kind: plan.WeekTraining, Dose: 1000}
		sets := 4
		if n == 3 {
			w.Kind, w.Dose, sets = plan.WeekDeload, 500, 2
		}
		squat := plan.Set{Reps: plan.Range{Min: 4, Max: 6}, Expected: 5, RIR: plan.Some[int32](2), Intensity: plan.Some[plan.Permille](800), Rest: 180}
		squat.Load = plan.Some(plan.Kg(100_000 + 2_500*int64(n)))
		bench := squat
		bench.Load = plan.Some(plan.Kg(80_000))
		row := plan.Set{Reps: plan.Range{Min: 8, Max: 12}, Expected: 10, RIR: plan.Some[int32](3), Intensity: plan.Some[plan.Permille](700), Rest: 120}
		row.Deferred = plan.Some(plan.Deferred{Reference: plan.Reference{Kind: plan.RefCalibration}, Share: 1000})
		curl := row
		curl.Reps, curl.Rest = plan.Range{Min: 10, Max: 15}, 75
		plank := plan.Set{Hold: plan.Range{Min: 20, Max: 45}, Rest: 60}
		w.Sessions = []plan.Session{
			day(0, plan.Monday, 3600, "A",
				lifted("back-squat", plan.GoalLift, squat, sets, true),
				lifted("dumbbell-bent-over-row", plan.MultiJoint, row, sets, false),
				lifted("front-plank", plan.Trunk, plank, 2, false)),
			day(1, plan.Thursday, 2700, "B",
				lifted("bench-press", plan.GoalLift, bench, sets, true),
				lifted("dumbbell-romanian-deadlift", plan.MultiJoint, row, sets, false),
				lifted("dumbbell-curl", plan.SingleJoint, curl, sets, false)),
		}
		for i := range w.Sessions {
			w.Sessions[i].Date = plan.Some(sampleStart.AddDays(int(7*(n-1)) + int(w.Sessions[i].Weekday-plan.Monday)))
		}
		if n == 3 {
			single := plan.Set{Reps: plan.Range{Min: 1, Max: 1}, Expected: 1, Intensity: plan.Some[plan.Permille](1000), Load: plan.Some(plan.Kg(125_000)), Rest: 240}
			squats := lifted("back-squat", plan.GoalLift, single, 1, true)
			squats.Sets[len(squats.Sets)-1].Kind = plan.SetTest
			test := day(1, plan.Saturday, 2700, "", squats)
			test.Kind, test.Date = plan.SessionRetest, plan.Some(sampleStart.AddDays(19))
			w.Sessions = append(w.Sessions, test)
		}
		if n == 1 {
			for i := range w.Sessions {
				for j := range w.Sessions[i].Exercises {
					if e := &w.Sessions[i].Exercises[j]; e.Sets[0].Deferred.Set {
						e.Sets[0].Kind, e.Sets[0].Deferred = plan.SetCalibration, plan.Opt[plan.Deferred]{}
					}
				}
			}
		}
		if n == 1 || n == 3 {
			p.Phases = append(p.Phases, plan.Phase{Name: map[int32]string{1: "build", 3: "rest"}[n]})
		}
		ph := &p.Phases[len(p.Phases)-1]
		ph.Weeks = append(ph.Weeks, w)
	}
	return p
}

func day(index int32, weekday plan.Weekday, limit plan.Seconds, group string, list ...plan.ProgramExercise) plan.Session {
	s := plan.Session{Kind: plan.SessionTraining, Day: index, Weekday: weekday, Group: group, Limit: limit, Warmup: 300, Seconds: 300, Exercises: list}
	for i := range list {
		s.Seconds += list[i].Seconds
	}
	return s
}

// lifted repeats a set; with a warm-up of half the load before, if wanted.
func lifted(id string, role plan.Role, s plan.Set, n int, warm bool) plan.ProgramExercise {
	e := plan.ProgramExercise{ExerciseID: id, Name: id, Role: role, Seconds: 600}
	if warm {
		e.Sets = append(e.Sets, plan.Set{Kind: plan.SetWarmup, Reps: plan.Range{Min: 5, Max: 5}, Load: plan.Some(plan.Kg(50_000)), Rest: 60})
	}
	s.Kind = plan.SetWorking
	for i := range n {
		x := s
		if i == n-1 {
			x.Rest = 0
		}
		e.Sets = append(e.Sets, x)
	}
	for c := plan.CaseRepsMissed; c <= plan.CaseDayMissed; c++ {
		e.Contingencies = append(e.Contingencies, plan.Contingency{Case: c, Says: "Do this."})
	}
	e.Contingencies[0].Change = plan.Some(plan.Kg(-2_500))
	return e
}

func sampleView(t testing.TB, p *plan.Program) *view {
	var text bytes.Buffer
	catalogue := exercise.Builtin()
	require.NoError(t, export.Text(&text, p, export.Options{Catalogue: catalogue}))
	training, apart := parted(p)
	return &view{
		program: training, apart: apart, catalogue: catalogue, findings: p.Findings, text: text.String(),
		sibling: func(name string) (*plan.Program, error) {
			if name != "sample" {
				return nil, errors.New("there is none")
			}
			return sample(), nil
		},
	}
}

// Ways to spoil a program.

func week(p *plan.Program, n int32) *plan.Week {
	for i := range p.Phases {
		for j := range p.Phases[i].Weeks {
			if w := &p.Phases[i].Weeks[j]; w.Number == n {
				return w
			}
		}
	}
	return nil
}

func session(p *plan.Program, n int32, s int) *plan.Session { return &week(p, n).Sessions[s] }

func in(p *plan.Program, n int32, s, e int) *plan.ProgramExercise {
	return &session(p, n, s).Exercises[e]
}

// last is the last set of the week's first exercise, the squat.
func last(p *plan.Program, n int32) *plan.Set {
	e := in(p, n, 0, 0)
	return &e.Sets[len(e.Sets)-1]
}

func swap(p *plan.Program, n int32, s, e int, id string) { in(p, n, s, e).ExerciseID = id }

func substitute(p *plan.Program, id string) { in(p, 2, 0, 1).Contingencies[2].Swap = []string{id} }

func drop(p *plan.Program, n int32, s, e int) {
	x := session(p, n, s)
	x.Exercises = append(x.Exercises[:e:e], x.Exercises[e+1:]...)
}
