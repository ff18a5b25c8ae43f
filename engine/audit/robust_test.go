package audit

import (
	"encoding/json"
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// mutate changes one thing somewhere in a value: a number to nonsense, a list to
// nothing or to twice itself, a text to another.
func mutate(t *rapid.T, v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		mutate(t, v.Field(rapid.IntRange(0, v.NumField()-1).Draw(t, "field")))
	case reflect.Slice:
		n := v.Len()
		switch act := rapid.IntRange(0, 9).Draw(t, "list"); {
		case act == 0:
			v.SetZero()
		case act == 1 || n == 0:
			v.Set(reflect.Append(v, reflect.New(v.Type().Elem()).Elem()))
		case act == 2:
			i := rapid.IntRange(0, n-1).Draw(t, "gone")
			v.Set(reflect.AppendSlice(v.Slice3(0, i, i), v.Slice(i+1, n)))
		case act == 3 && n < 50:
			v.Set(reflect.AppendSlice(v.Slice3(0, n, n), v))
		default:
			mutate(t, v.Index(rapid.IntRange(0, n-1).Draw(t, "at")))
		}
	case reflect.Int32, reflect.Int64, reflect.Int:
		v.SetInt(int64(int32(rapid.OneOf(rapid.Int64Range(-3, 12), rapid.Int64()).Draw(t, "number"))))
		if v.Kind() == reflect.Int64 {
			v.SetInt(rapid.OneOf(rapid.Int64Range(-3, 200_000), rapid.Int64()).Draw(t, "large"))
		}
	case reflect.Uint8, reflect.Uint32:
		v.SetUint(rapid.Uint64Range(0, 255).Draw(t, "code"))
	case reflect.Bool:
		v.SetBool(!v.Bool())
	case reflect.String:
		v.SetString(rapid.SampledFrom([]string{"", "gym", "gym-2", "nowhere", "back-squat", "box-jump", "farmer-carry", "pull-up", "bench", "\xff"}).Draw(t, "text"))
	}
}

func TestNonsenseNeverPanics(t *testing.T) {
	cat := catalogue(t)
	start, err := json.Marshal(build(t, config{weeks: 4, peak: true}))
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		var p plan.Program
		require.NoError(t, json.Unmarshal(start, &p))
		for range rapid.IntRange(1, 12).Draw(t, "faults") {
			mutate(t, reflect.ValueOf(&p).Elem())
		}
		before, err := plan.Canonical(&p)
		require.NoError(t, err)
		got := Program(&p, cat)
		after, err := plan.Canonical(&p)
		require.NoError(t, err)
		require.Equal(t, before, after, "the audit changed the program")
		require.Equal(t, got, Program(&p, cat))
		known := map[plan.RuleID]bool{}
		for _, r := range Rules() {
			known[r.ID] = true
		}
		for _, f := range got {
			require.True(t, known[f.Rule], f.Rule)
			require.NotZero(t, f.Level)
			require.NotEmpty(t, f.Says)
		}
		require.True(t, slices.IsSortedFunc(got, func(a, b plan.Finding) int {
			if a.Week != b.Week {
				return int(a.Week - b.Week)
			}
			return int(a.Session - b.Session)
		}))
	})
}

// FuzzProgram takes whatever JSON can make of a program.
func FuzzProgram(f *testing.F) {
	small := base(f) // short inputs are mutated faster
	small.Phases[0].Weeks = small.Phases[0].Weeks[:1]
	small.Phases[0].Weeks[0].Sessions = small.Phases[0].Weeks[0].Sessions[:1]
	small.Request.Constraints.Places = small.Request.Constraints.Places[:1]
	small.Request.Constraints.Places[0].Dumbbells = nil
	small.Request.Constraints.Places[0].Stacks = small.Request.Constraints.Places[0].Stacks[:1]
	seed, err := json.Marshal(small)
	require.NoError(f, err)
	f.Add(seed)
	f.Add([]byte(`{"phases":[{"weeks":[{"sessions":[{"exercises":[{"exercise":"back-squat","sets":[{}]}]}]}]}]}`))
	cat := catalogue(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		var p plan.Program
		if json.Unmarshal(b, &p) != nil {
			return
		}
		for _, g := range Program(&p, cat) {
			require.NotEmpty(t, g.Says)
		}
	})
}

func TestNothingAtAll(t *testing.T) {
	rules := func(list []plan.Finding) []plan.RuleID {
		var out []plan.RuleID
		for _, f := range list {
			out = append(out, f.Rule)
		}
		return out
	}
	want := []plan.RuleID{ruleCaution, ruleEmpty}
	require.Equal(t, want, rules(Program(nil, nil)))
	require.Equal(t, want, rules(Program(&plan.Program{}, catalogue(t))))
}

// A coach's own sheet: a few lines without loads, estimates, totals or dates. What it
// leaves out is said; nothing of it is mistaken for a broken number.
func TestAProgramByHand(t *testing.T) {
	row := func(id string, sets int) plan.ProgramExercise {
		e := plan.ProgramExercise{ExerciseID: id}
		for range sets {
			e.Sets = append(e.Sets, plan.Set{Kind: plan.SetWorking, Reps: plan.Range{Min: 8, Max: 12}, RIR: plan.Some(int32(2)), Rest: 120})
		}
		return e
	}
	day := plan.Session{Kind: plan.SessionTraining, PlaceID: "gym", Limit: 3600, Seconds: 3000,
		Exercises: []plan.ProgramExercise{row("goblet-squat", 3), row("push-up", 3), row("one-arm-dumbbell-row", 3)}}
	p := &plan.Program{
		Request: plan.Request{
			Athlete: plan.Athlete{Age: plan.AgeAdult, Status: plan.Intermediate},
			Constraints: plan.Constraints{Days: []plan.Day{{Weekday: plan.Tuesday, Minutes: 60, PlaceID: "gym"}},
				Places: []plan.Place{exercise.ExpandPreset(plan.Place{ID: "gym", Preset: plan.PresetDumbbells}, plan.Kilogram)}},
		},
		Phases: []plan.Phase{{Weeks: []plan.Week{{Number: 1, Kind: plan.WeekTraining, Sessions: []plan.Session{day}}}}},
	}
	seen := map[plan.RuleID]bool{}
	for _, f := range Program(p, catalogue(t)) {
		seen[f.Rule] = true
	}
	require.Equal(t, map[plan.RuleID]bool{
		ruleCaution: true, ruleContingencies: true, ruleUnexplained: true, ruleTotalsMissing: true, ruleExerciseSeconds: true, ruleStarved: true, ruleKneeHip: true,
	}, seen)
}

func BenchmarkProgram(b *testing.B) {
	p, cat := build(b, config{weeks: 12}), catalogue(b)
	p.Digest = ""
	b.ReportAllocs()
	for b.Loop() {
		Program(p, cat)
	}
}
