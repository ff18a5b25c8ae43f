package export

import (
	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

func kg(milli int64) plan.Opt[plan.Load] { return plan.Some(plan.Kg(milli)) }

func reps(lo, hi int32) plan.Range { return plan.Range{Min: lo, Max: hi} }

func rir(n int32) plan.Opt[int32] { return plan.Some(n) }

// same gives n like sets with their expected repetitions; the last of an exercise has
// no rest, see exercise.
func same(s plan.Set, expected ...int32) []plan.Set {
	if s.Kind == plan.SetUnspecified {
		s.Kind = plan.SetWorking
	}
	var out []plan.Set
	for _, n := range expected {
		s.Expected = n
		out = append(out, s)
	}
	return out
}

func move(id, name string, role plan.Role, sets ...[]plan.Set) plan.ProgramExercise {
	e := plan.ProgramExercise{ExerciseID: id, Name: name, Role: role, Seconds: 600}
	for _, s := range sets {
		e.Sets = append(e.Sets, s...)
	}
	if n := len(e.Sets); n > 0 {
		e.Sets[n-1].Rest = 0
	}
	return e
}

func deferred(kind plan.ReferenceKind, share plan.Permille) plan.Opt[plan.Deferred] {
	return plan.Some(plan.Deferred{Reference: plan.Reference{Kind: kind}, Share: share})
}

// sample is a program by hand of two phases that uses every notation.
func sample(t require.TestingT) *plan.Program {
	start, err := plan.ParseDate("2026-01-05")
	require.NoError(t, err)
	p := &plan.Program{
		Versions:      plan.Versions{Document: "1", Engine: "1", Rules: "1", Catalogue: "1", Curves: "1", Strategy: "strength-then-size@1"},
		RequestDigest: "sha256:00ff",
		Request: plan.Request{
			Athlete: plan.Athlete{Name: "Robin Example (invented)", Status: plan.Intermediate},
			Goals: []plan.Goal{
				{Kind: plan.GoalRaise1RM, ExerciseID: "back-squat", Priority: 1},
				{Kind: plan.GoalGrow, Muscle: plan.Lats, Priority: 2},
			},
			Constraints: plan.Constraints{
				Unit: plan.Kilogram, Start: plan.Some(start),
				Days:   []plan.Day{{Weekday: plan.Monday, Minutes: 60, PlaceID: "gym"}, {Weekday: plan.Thursday, Minutes: 45, PlaceID: "home"}},
				Places: []plan.Place{{ID: "gym", Name: "Example Gym"}, {ID: "home", Preset: plan.PresetHome}},
			},
		},
		Strengths: []plan.Strength{
			{ExerciseID: "back-squat", OneRMGrams: 140_000, SD: 50, Known: 2, Planned: []int64{140_000, 142_400}},
			{ExerciseID: "pull-up", OneRMGrams: 96_000, SD: 80, Known: 1, Share: 1000},
			{ExerciseID: "dumbbell-bench-press", OneRMGrams: 34_000, SD: 150, Borrowed: "bench-press"},
		},
		Assumptions: []plan.Assumption{{Field: "constraints.weeks", Says: "The program lasts 4 weeks."}},
		Cautions:    []plan.Caution{{ID: "technique", Says: "End a set when the movement breaks down."}},
		Rules: []plan.Rule{
			{ID: "load.curve", Says: "The load follows the curve.", Source: "Nuzzo et al. 2024"},
			{ID: "outline.sets", Says: "The strategy fixes the number of sets.", Source: "the strategy"},
		},
		Findings: []plan.Finding{
			{Level: plan.LevelNote, Rule: "load.off-target", Week: 1, ExerciseID: "plank", Says: "Nothing to add."},
			{Level: plan.LevelShort, Rule: "dose.short", Week: 1, Muscle: plan.Chest, Says: "6 of 10 weekly sets: 45 minutes are full."},
			{Level: plan.LevelDeparture, Rule: "audit.x", Week: 1, Session: 2, Says: "Hard work on two days running (3 sets)."},
			{Level: plan.LevelDeparture, Rule: "audit.x", Week: 2, Session: 2, Says: "Hard work on two days running (4 sets)."},
			{Level: plan.LevelDeparture, Rule: "audit.x", Week: 3, Session: 2, Says: "Hard work on two days running (3 sets)."},
		},
	}
	week := int32(0)
	for _, ph := range []plan.Phase{{Name: "strength", Aim: "Raise the 1RM."}, {Name: "size", Aim: "Grow."}} {
		for range 2 {
			w := plan.Week{Number: week + 1, Kind: plan.WeekTraining, Dose: 1000, Start: plan.Some(start.AddDays(7 * int(week)))}
			if week == 3 {
				w.Kind = plan.WeekDeload
			}
			w.Sessions = []plan.Session{gymSession(week, w.Start.Value), homeSession(week, w.Start.Value.AddDays(3))}
			w.Muscles = []plan.MuscleTotal{{Muscle: plan.Chest, Wanted: 20, Sets: 12, Direct: 12}, {Muscle: plan.Quads, Sets: plan.HalfSets(9 + week)}}
			w.Lifts = []plan.LiftTotal{{ExerciseID: "back-squat", Wanted: 5, Sets: 4, Reps: 12 + week, VolumeLoad: kg(1_530_000), Top: plan.Some(plan.Permille(875))}}
			ph.Weeks = append(ph.Weeks, w)
			week++
		}
		p.Phases = append(p.Phases, ph)
	}
	require.NoError(t, p.Seal())
	return p
}

func gymSession(week int32, day plan.Date) plan.Session {
	up := int64(2500 * week)
	squat := move("back-squat", "Back squat", plan.GoalLift,
		[]plan.Set{
			{Kind: plan.SetWarmup, Reps: reps(8, 8), Load: kg(20_000), Rest: 60},
			{Kind: plan.SetWarmup, Reps: reps(3, 3), Load: kg(85_000), Rest: 75},
		},
		same(plan.Set{Reps: reps(3, 3), Load: kg(120_000 + up), Intensity: plan.Some(plan.Permille(875)), RIR: rir(1), Rest: 180,
			Plates: []plan.Load{plan.Kg(25_000), plan.Kg(25_000)}}, 3),
		same(plan.Set{Reps: reps(8, 12), Load: kg(95_000), Intensity: plan.Some(plan.Permille(690)), RIR: rir(2), Rest: 180,
			Plates: []plan.Load{plan.Kg(25_000), plan.Kg(12_500)}}, 11, 10, 9))
	squat.Basis = []plan.Basis{
		{Number: plan.NumberSets, Rule: "outline.sets"},
		{Number: plan.NumberLoad, Rule: "load.curve", Sets: []int32{2, 3, 4}, Input: "1RM 140 kg"},
	}
	squat.Contingencies = []plan.Contingency{
		{Case: plan.CaseRepsMissed, TextID: "missed.step", Says: "Go down to 117.5 kg.", Change: kg(-2500)},
		{Case: plan.CasePain, TextID: "pain.stop", Says: "Sharp or growing pain: stop.", Swap: []string{"leg-press"}},
	}
	press := move("dumbbell-bench-press", "Dumbbell bench press", plan.MultiJoint,
		same(plan.Set{Reps: reps(8, 12), Load: kg(22_500), RIR: rir(2), Rest: 150}, 12),
		same(plan.Set{Reps: reps(8, 12), Load: kg(20_000), RIR: rir(2), Rest: 150}, 12, 10))
	press.CallerID = "A-17"
	pull := move("pull-up", "Pull-up", plan.MultiJoint,
		same(plan.Set{Reps: reps(5, 8), Load: kg(0), RIR: rir(3), Rest: 120}, 8),
		same(plan.Set{Reps: reps(5, 8), Load: kg(10_000), RIR: rir(2), Rest: 120}, 6, 5))
	leg := move("leg-press", "Leg press", plan.MultiJoint,
		same(plan.Set{Reps: reps(8, 12), Load: kg(182_500), Deferred: deferred(plan.RefLatest, 800), ToFailure: true, RIR: rir(0), Rest: 60}, 10, 9, 8))
	return plan.Session{
		Kind: plan.SessionTraining, Label: "heavy", Weekday: plan.Monday, Date: plan.Some(day), PlaceID: "gym", Limit: 3600, Warmup: 300, Seconds: 3230,
		Exercises: []plan.ProgramExercise{squat, press, pull, leg},
	}
}

func homeSession(week int32, day plan.Date) plan.Session {
	lunge := move("split-squat", "Split squat (dumbbells)", plan.MultiJoint)
	if week == 0 {
		lunge.Sets = append([]plan.Set{{Kind: plan.SetWarmup, Reps: reps(8, 8), Rest: 60}, {Kind: plan.SetWarmup, Reps: reps(8, 8), Rest: 60}},
			plan.Set{Kind: plan.SetCalibration, Reps: reps(10, 10), Expected: 10, RIR: rir(3), Rest: 90})
		lunge.Sets = append(lunge.Sets, same(plan.Set{Reps: reps(8, 12), Deferred: deferred(plan.RefCalibration, 1000), RIR: rir(2), Rest: 0}, 10)...)
	} else {
		lunge.Sets = same(plan.Set{Reps: reps(8, 12), Deferred: deferred(plan.RefCalibration, plan.Permille(1000+20*week)), RIR: rir(2), Rest: 90}, 10, 9)
	}
	lunge.Note = "Both sides make one set."
	row := move("band-row", "Band row", plan.Unloadable, same(plan.Set{Reps: reps(10, 20), RIR: rir(2), Rest: 60}, 0, 0))
	row.Note = "Both sides make one set."
	hold := move("front-plank", "Front plank", plan.Trunk, same(plan.Set{Hold: reps(30, 45), RIR: rir(2), Rest: 60, Tempo: plan.Tempo{}}, 0, 0))
	table := move("back-squat", "Back squat", plan.GoalLift,
		same(plan.Set{Reps: reps(5, 5), OpenEnded: true, Load: kg(100_000), Intensity: plan.Some(plan.Permille(720)), ToFailure: true, Rest: 180, Tempo: plan.Tempo{Down: 3, Hold: 1, Up: 1}}, 8),
		same(plan.Set{Reps: reps(5, 5), OpenEnded: true, Deferred: deferred(plan.RefSetBefore, 1000), ToFailure: true,
			Adjust: []plan.AdjustStep{
				{Reps: reps(0, 4), From: -5000, To: -2500, Unit: plan.Kilogram}, {Reps: reps(5, 7), From: 0, To: 0, Unit: plan.Kilogram},
				{Reps: reps(8, 12), From: 2500, To: 5000, Unit: plan.Kilogram},
			}}, 0))
	return plan.Session{
		Kind: plan.SessionTraining, Day: 1, Weekday: plan.Thursday, Date: plan.Some(day), PlaceID: "home", Limit: 2700, Seconds: 2000,
		Exercises: []plan.ProgramExercise{table, lunge, row, hold},
	}
}
