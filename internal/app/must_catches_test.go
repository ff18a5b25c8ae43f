package app

import (
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

// catches gives, for each kind of property and each of its conditions, one that holds of
// the sample and a change of the program that breaks it.
var catches = []struct {
	property string
	want     string
	spoil    func(p *plan.Program)
}{
	{"{weeks: 3}", "2 weeks, wanted 3", func(p *plan.Program) { p.Phases = p.Phases[:1] }},
	{"{sessions_per_week: {weeks: 1-3, sessions: 2}}", "week 2 has 1 sessions", func(p *plan.Program) { week(p, 2).Sessions = week(p, 2).Sessions[:1] }},
	{"{phases: [build 1-2, rest 3-3]}", `wanted ["build 1-2"`, func(p *plan.Program) { p.Phases[0].Name = "heavy" }},
	{"{rotation: [AB, AB, AB]}", `is ["AB" "AA" "AB"]`, func(p *plan.Program) { session(p, 2, 1).Group = "A" }},
	{"{rotation: [AB, AB, AB]}", `is ["AB" "A-" "AB"]`, func(p *plan.Program) { session(p, 2, 1).Group = "" }},
	{"{same_weeks_as: {scenario: sample, weeks: 1-2}}", "week 2 differs from that of sample", func(p *plan.Program) { last(p, 2).Rest = 1 }},

	{"{tested: {week: 3, kind: retest, exercises: [back-squat]}}", "wanted back-squat", func(p *plan.Program) { swap(p, 3, 2, 0, "bench-press") }},
	{"{tested: {week: 3, kind: retest, exercises: [back-squat], percent: 95-105}}", "goes to 60 %", func(p *plan.Program) {
		e := in(p, 3, 2, 0)
		e.Sets[len(e.Sets)-1].Intensity.Value = 600
	}},
	{"{tested: {week: 3, kind: retest, exercises: [back-squat], date: \"2027-01-23\"}}", "wanted 2027-01-23", func(p *plan.Program) { session(p, 3, 2).Date.Value++ }},
	{"{tested: {week: 3, kind: retest, exercises: [back-squat]}}", "week 3 has no retest", func(p *plan.Program) { session(p, 3, 2).Kind = plan.SessionTraining }},

	{"{minutes_kept: true}", "takes", func(p *plan.Program) { session(p, 2, 0).Seconds = 3601 }},
	{"{minutes_kept: true}", "the parts take", func(p *plan.Program) { session(p, 2, 0).Seconds -= 60 }},
	{"{minutes_kept: true}", "more than the day has", func(p *plan.Program) { session(p, 2, 1).Limit = 2701 }},
	{"{fill: {day: monday, weeks: 1-3, percent: 50-100}}", "week 1 Monday uses 25 of 60 minutes", func(p *plan.Program) { session(p, 1, 0).Seconds = 1500 }},
	{"{session_size: {day: monday, weeks: 1-3, exercises: 3-7}}", "week 3 Monday has 2 exercises", func(p *plan.Program) { drop(p, 3, 0, 1) }},
	{"{session_size: {sets: 9-28}}", "week 1 Monday has 6 working sets", func(p *plan.Program) { drop(p, 1, 0, 1) }},
	{"{first: {exercise: back-squat, weeks: 1-3}}", "dumbbell-bent-over-row comes before back-squat", func(p *plan.Program) {
		e := session(p, 2, 0).Exercises
		e[0], e[1] = e[1], e[0]
	}},

	{"{lift_sets: {exercise: back-squat, weeks: 1-2, sets: 4}}", "week 2 has 3 sets of back-squat", func(p *plan.Program) { in(p, 2, 0, 0).Sets = in(p, 2, 0, 0).Sets[:4] }},
	{"{lift_sets: {exercise: back-squat, weeks: 1-3, sessions: 1-2}}", "in 0 sessions", func(p *plan.Program) { drop(p, 3, 0, 0) }},
	{"{weekly_sets: {muscles: [chest, quads], weeks: 1-2, sets: 4-5}}", "week 1 has 8 sets for chest", func(p *plan.Program) { swap(p, 1, 1, 1, "dumbbell-bench-press") }},
	{"{weekly_sets: {muscles: [hamstrings], weeks: 1-2, direct: 4-}}", "week 2 has 0 direct sets for hamstrings", func(p *plan.Program) { swap(p, 2, 1, 1, "dumbbell-curl") }},
	{"{weekly_sets: {muscles: [chest], weeks: 1-2, sets: 4}}", "which the catalogue lacks", func(p *plan.Program) { swap(p, 1, 1, 2, "curl") }},
	{"{muscle_days: {muscles: [lats], weeks: 1-3, days: 1}}", "week 2 trains lats in 0 sessions", func(p *plan.Program) { drop(p, 2, 0, 1) }},
	{"{lighter_week: {weeks: 2-3, percent: 40-60}}", "no week of 40-60 % of the sets", func(p *plan.Program) {
		w := week(p, 3)
		*w = *week(p, 2)
		w.Number = 3
	}},
	{"{balance: {of: push-pull, weeks: 1-2, ratio: 0.7-1.4}}", "16 to 0 sets", func(p *plan.Program) { swap(p, 1, 0, 1, "bench-press"); swap(p, 2, 0, 1, "bench-press") }},
	{"{balance: {of: knee-hip, weeks: 1-2, ratio: 0.7-1.4, or_said: true}}", "0 to 8 sets", func(p *plan.Program) { swap(p, 1, 0, 0, "bench-press"); swap(p, 2, 0, 0, "bench-press") }},

	{"{week_sets: {weeks: 1-2, sets: 22}}", "week 2 has 18 working sets", func(p *plan.Program) { drop(p, 2, 0, 1) }},
	{"{pattern_sets: {patterns: [squat, lunge], weeks: 1-2, sets: 4-8}}", "week 2 has 0 sets of squat, lunge", func(p *plan.Program) { swap(p, 2, 0, 0, "bench-press") }},
	{"{same_exercises: {weeks: \"1,3\"}}", "week 3 has on Monday back-squat, pull-up", func(p *plan.Program) { swap(p, 3, 0, 1, "pull-up") }},
	{"{load_share: {weeks: 1-2, percent: 90-110}}", "week 2 Monday, back-squat: 120 % of the load that was shown", func(p *plan.Program) { last(p, 2).Load.Value.Milli = 120_000 }},
	{"{last_heavy: {exercise: back-squat, days: 5-8}}", "last heavy back-squat is 14 days before the date", func(p *plan.Program) {
		for i := range in(p, 3, 0, 0).Sets {
			in(p, 3, 0, 0).Sets[i].Load.Value.Milli = 60_000
		}
	}},

	{"{sets: {of: back-squat, weeks: 1-2, count: 4}}", "3 sets, wanted 4", func(p *plan.Program) { in(p, 2, 0, 0).Sets = in(p, 2, 0, 0).Sets[:4] }},
	{"{sets: {of: role single-joint, reps: 6-20}}", "repetitions within 6-20 wanted, is 3-15", func(p *plan.Program) { in(p, 2, 1, 2).Sets[1].Reps.Min = 3 }},
	{"{sets: {of: back-squat, reps: 4-6, exact_reps: true}}", "exactly 4-6 repetitions wanted, is 4-5", func(p *plan.Program) { last(p, 2).Reps.Max = 5 }},
	{"{sets: {of: back-squat, expected: 4-6}}", "expected 4-6 wanted, is 7", func(p *plan.Program) { last(p, 2).Expected = 7 }},
	{"{sets: {of: all, rir: 2-4}}", "RIR 2-4 wanted, is 1", func(p *plan.Program) { last(p, 2).RIR = plan.Some[int32](1) }},
	{"{sets: {of: all, rir: 2-4}}", "RIR 2-4 wanted, is none", func(p *plan.Program) { last(p, 2).RIR = plan.Opt[int32]{} }},
	{"{sets: {of: under a bar, to_failure: false}}", "to failure false wanted, is true", func(p *plan.Program) { last(p, 2).ToFailure = true }},
	{"{sets: {of: role goal-lift, intensity: 80-}}", "intensity % 80- wanted, is 79.5", func(p *plan.Program) { last(p, 2).Intensity = plan.Some[plan.Permille](795) }},
	{"{sets: {of: back-squat, weeks: 2, load: 105}}", "load 105 wanted, is 107.5", func(p *plan.Program) { last(p, 2).Load.Value.Milli = 107_500 }},
	{"{sets: {of: back-squat, load: 100-110}}", "load 100-110 wanted, is none", func(p *plan.Program) { last(p, 2).Load = plan.Opt[plan.Load]{} }},
	{"{sets: {of: loaded, load: 50-110}}", "set 1: load 50-110 wanted, is 40", func(p *plan.Program) { in(p, 3, 0, 0).Sets[0].Load.Value.Milli = 40_000 }},
	{"{sets: {of: back-squat, rest: 120-300}}", "rest s 120-300 wanted, is 60", func(p *plan.Program) { last(p, 2).Rest = 60 }},
	{"{sets: {of: back-squat, deferred: false}}", "deferred false wanted, is true", func(p *plan.Program) { last(p, 2).Deferred.Set = true }},
	{"{sets: {of: all, kind: working or calibration}}", "is test", func(p *plan.Program) { last(p, 2).Kind = plan.SetTest }},
	{"{sets: {of: back-squat, weeks: 2, some: true, intensity: 80-}}", "none of 4 sets", func(p *plan.Program) {
		for i := range in(p, 2, 0, 0).Sets {
			in(p, 2, 0, 0).Sets[i].Intensity = plan.Some[plan.Permille](700)
		}
	}},
	{"{load_change: {exercise: back-squat, from_week: 1, to_week: 2, percent: 1-10}}", "from 105 kg in week 1 to 105 kg in week 2, 0 %", func(p *plan.Program) { last(p, 1).Load.Value.Milli = 105_000 }},
	{"{load_change: {exercise: back-squat, from_week: 1, to_week: 2, share: 99-105}}", "to 100 kg in week 2, 97.56 % of it", func(p *plan.Program) {
		for i := range in(p, 2, 0, 0).Sets {
			in(p, 2, 0, 0).Sets[i].Load = plan.Some(plan.Kg(100_000))
		}
	}},
	{"{load_steps: {loading: bar and plates, from: 20, step: 2.5}}", "61.3 kg is not 20 and steps of 2.5", func(p *plan.Program) { last(p, 2).Load.Value.Milli = 61_300 }},
	{"{load_steps: {loading: bar and plates, from: 20, step: 2.5}}", "15 kg is not", func(p *plan.Program) { in(p, 2, 1, 0).Sets[0].Load.Value.Milli = 15_000 }},
	{"{unit: kg}", "the program is in lb", func(p *plan.Program) { p.Request.Constraints.Unit = plan.Pound }},
	{"{unit: kg}", "225 lb, wanted kg", func(p *plan.Program) { last(p, 2).Load = plan.Some(plan.Lb(225_000)) }},
	{"{unit: kg}", "45 lb, wanted kg", func(p *plan.Program) { last(p, 2).Plates = []plan.Load{plan.Lb(45_000)} }},
	{"{unit: kg}", "5 lb, wanted kg", func(p *plan.Program) { last(p, 2).Adjust = []plan.AdjustStep{{To: 5_000, Unit: plan.Pound}} }},
	{"{unit: kg}", "-5 lb, wanted kg", func(p *plan.Program) { in(p, 2, 0, 0).Contingencies[0].Change = plan.Some(plan.Lb(-5_000)) }},
	{"{finds_loads: true}", "20 kg is an invented number", func(p *plan.Program) { in(p, 2, 1, 2).Sets[0].Load = plan.Some(plan.Kg(20_000)) }},
	{"{finds_loads: true}", "dumbbell-curl: no set finds the load", func(p *plan.Program) { in(p, 1, 1, 2).Sets[0].Kind = plan.SetWorking }},

	{"{contains: {exercises: [front-squat, back-squat], in: every-week}}", "week 2 has none of", func(p *plan.Program) { drop(p, 2, 0, 0) }},
	{"{contains: {patterns: [squat, hinge], in: every-session}}", "week 2 Thursday has none of", func(p *plan.Program) { drop(p, 2, 1, 1) }},
	{"{contains: {exercises: [front-plank], in: program}}", "the program has none of", func(p *plan.Program) {
		for n := int32(1); n <= 3; n++ {
			drop(p, n, 0, 2)
		}
	}},
	{"{excludes: {exercises: [dip, pull-up]}}", "week 2 Monday, pull-up: pull-up", func(p *plan.Program) { swap(p, 2, 0, 1, "pull-up") }},
	{"{excludes: {exercises: [dip, pull-up]}}", "substitute dip", func(p *plan.Program) { substitute(p, "dip") }},
	{"{excludes: {patterns: [vertical pull]}}", "substitute pull-up", func(p *plan.Program) { substitute(p, "pull-up") }},
	{"{uses_only: [barbell, rack, flat bench, dumbbells]}", "leg-press needs", func(p *plan.Program) { swap(p, 2, 0, 1, "leg-press") }},
	{"{uses_only: [barbell, rack, flat bench, dumbbells]}", "substitute pull-up", func(p *plan.Program) { substitute(p, "pull-up") }},
	{"{uses_only: [barbell, rack, flat bench, dumbbells, pull-up bar]}", "nothing holds the added 10 kg", func(p *plan.Program) {
		swap(p, 2, 0, 1, "pull-up")
		in(p, 2, 0, 1).Sets[0].Load = plan.Some(plan.Kg(10_000))
	}},
	{"{spares_joint: {joint: ankle, stress: marked}}", "jump", func(p *plan.Program) { substitute(p, "dumbbell-jump-squat") }},

	{"{caution: estimates}", `"estimates" is not among`, func(p *plan.Program) { p.Cautions = nil }},
	{"{assumption: goals}", `nothing is assumed about "goals"`, func(p *plan.Program) { p.Assumptions = nil }},
	{"{finding: {exercise: back-squat, says: in reserve}}", `says "in reserve"`, func(p *plan.Program) { p.Findings[0].ExerciseID = "bench-press" }},
	{"{finding: {says: in reserve}}", `says "in reserve"`, func(p *plan.Program) { p.Findings[0].Says = "Else." }},
	{"{no_finding: {level: violation}}", "Kept two", func(p *plan.Program) { p.Findings[0].Level = plan.LevelViolation }},
	{"{no_finding: {rule: audit.order}}", "Kept two", func(p *plan.Program) { p.Findings[0].Rule = "audit.order" }},
	{"{contingencies: true}", "says nothing for case 3", func(p *plan.Program) { in(p, 2, 0, 0).Contingencies[2].Says = "" }},
	{"{text_has: Kept two}", `has "Kept two" nowhere`, func(p *plan.Program) { p.Findings[0].Says = "Else." }},
	{"{text_lacks: \" lb\"}", `the printed program has " lb"`, func(p *plan.Program) { last(p, 1).Load = plan.Some(plan.Lb(225_000)) }},
}

func readProperty(t testing.TB, line string) property {
	m, err := readMust([]byte("about: x\nprogram:\n  - " + line + "\n"))
	require.NoError(t, err, line)
	require.Len(t, m.Program, 1)
	return m.Program[0]
}

func TestPropertiesCatch(t *testing.T) {
	for _, c := range catches {
		property := readProperty(t, c.property)
		require.Empty(t, property.broken(sampleView(t, sample())), "%s holds of the sample", c.property)
		p := sample()
		c.spoil(p)
		require.Contains(t, strings.Join(property.broken(sampleView(t, p)), "\n"), c.want, c.property)
	}
}

// TestEveryPropertyIsCaught keeps the table above as wide as the vocabulary.
func TestEveryPropertyIsCaught(t *testing.T) {
	shown := map[string]bool{}
	for _, c := range catches {
		property := readProperty(t, c.property)
		name, check, err := property.kind()
		require.NoError(t, err)
		shown[name] = true
		v := reflect.Indirect(reflect.ValueOf(check))
		if v.Kind() != reflect.Struct {
			continue
		}
		for i := range v.NumField() {
			if tag := v.Type().Field(i).Tag.Get("json"); tag != "" && !v.Field(i).IsZero() {
				shown[name+"."+tag] = true
			}
		}
	}
	kinds := reflect.TypeFor[property]()
	for i := range kinds.NumField() {
		f := kinds.Field(i)
		if f.Type.Kind() != reflect.Pointer {
			continue
		}
		name := f.Tag.Get("json")
		require.True(t, f.Type.Implements(reflect.TypeFor[check]()), "%s is checked", name)
		require.True(t, shown[name], "%s is shown to catch something", name)
		if f.Type.Elem().Kind() != reflect.Struct {
			continue
		}
		for j := range f.Type.Elem().NumField() {
			if tag := f.Type.Elem().Field(j).Tag.Get("json"); tag != "" {
				require.True(t, shown[name+"."+tag], "%s.%s is shown to catch something", name, tag)
			}
		}
	}
}

func TestBalanceMayBeSaid(t *testing.T) {
	p := sample()
	swap(p, 1, 0, 0, "bench-press")
	said := readProperty(t, "{balance: {of: knee-hip, weeks: 1, ratio: 0.7-1.4, or_said: true}}")
	silent := readProperty(t, "{balance: {of: knee-hip, weeks: 1, ratio: 0.7-1.4}}")
	require.Len(t, said.broken(sampleView(t, p)), 1)
	p.Findings[0].Rule = "audit.balance-knee-hip"
	require.Empty(t, said.broken(sampleView(t, p)))
	require.Len(t, silent.broken(sampleView(t, p)), 1)
	p.Findings[0].Rule = "audit.balance-push-pull"
	require.Len(t, said.broken(sampleView(t, p)), 1)
}

// TestPropertiesThatAskNothing: a property that judges nothing would hold of any
// program.
func TestPropertiesThatAskNothing(t *testing.T) {
	for _, c := range []struct{ property, want string }{
		{"{sets: {of: front-squat, reps: 1-5}}", `no set of "front-squat"`},
		{"{sets: {of: back-sqat, reps: 1-5}}", `no exercise "back-sqat"`},
		{"{sets: {of: role explosive, reps: 1-5}}", "no set of"},
		{"{sets: {of: role heavy, reps: 1-5}}", `no role "heavy"`},
		{"{sets: {of: back-squat, weeks: 4, reps: 1-9}}", "ends with week 3"},
		{"{sets: {of: back-squat}}", "asks nothing"},
		{"{sets: {of: back-squat, exact_reps: true}}", "needs reps"},
		{"{sets: {of: back-squat, some: true, count: 4}}", "don't go together"},
		{"{sets: {of: all, kind: hard}}", `no "hard"`},
		{"{sets: {of: role trunk, reps: 1-50}}", "can't be asked"},
		{"{sets: {of: role trunk, rir: 0-9}}", "can't be asked"},
		{"{sessions_per_week: {weeks: 1}}", "asks nothing"},
		{"{sessions_per_week: {weeks: 1-4, sessions: 2}}", "ends with week 3"},
		{"{same_weeks_as: {scenario: other, weeks: 1}}", "there is none"},
		{"{same_weeks_as: {scenario: sample, weeks: 9}}", "ends with week 3"},
		{"{fill: {day: tuesday, percent: 0-100}}", "no such session"},
		{"{fill: {weeks: 3, percent: 0-100}}", "no such session in a training week"},
		{"{fill: {day: someday, percent: 0-100}}", `no day "someday"`},
		{"{fill: {day: monday}}", "asks nothing"},
		{"{session_size: {day: tuesday, sets: 0-99}}", "no such session"},
		{"{session_size: {weeks: 3, sets: 0-99}}", "no such session"},
		{"{session_size: {day: someday, sets: 0-99}}", `no day "someday"`},
		{"{session_size: {day: monday}}", "asks nothing"},
		{"{first: {exercise: front-squat}}", "in no session"},
		{"{first: {exercise: back-sqat}}", "no exercise"},
		{"{lift_sets: {exercise: back-sqat, sets: 0-99}}", "no exercise"},
		{"{lift_sets: {exercise: back-squat}}", "asks nothing"},
		{"{weekly_sets: {muscles: [brain], sets: 0-99}}", `no "brain"`},
		{"{weekly_sets: {muscles: [], sets: 0-99}}", "asks nothing"},
		{"{weekly_sets: {muscles: [chest]}}", "asks nothing"},
		{"{muscle_days: {muscles: [brain], days: 0-9}}", `no "brain"`},
		{"{muscle_days: {muscles: [chest]}}", "asks nothing"},
		{"{lighter_week: {weeks: 4-8, percent: 0-999}}", "ends with week 3"},
		{"{lighter_week: {weeks: 1, percent: 0-999}}", "no week of"},
		{"{lighter_week: {weeks: 3}}", "asks nothing"},
		{"{week_sets: {weeks: 1}}", "asks nothing"},
		{"{week_sets: {weeks: 4, sets: 0-99}}", "ends with week 3"},
		{"{pattern_sets: {patterns: [squatting], sets: 0-9}}", `no "squatting"`},
		{"{pattern_sets: {patterns: [squat]}}", "asks nothing"},
		{"{same_exercises: {weeks: 1}}", "two weeks or more"},
		{"{load_share: {weeks: 1}}", "asks nothing"},
		{"{last_heavy: {exercise: bench-press, days: 0-99}}", "a goal that peaks the lift"},
		{"{last_heavy: {exercise: back-squat}}", "needs days"},
		{"{last_heavy: {exercise: back-sqat, days: 0-9}}", "no exercise"},
		{"{balance: {of: left-right, ratio: 0-9}}", "push-pull or knee-hip"},
		{"{balance: {of: knee-hip}}", "asks nothing"},
		{"{load_change: {exercise: back-squat, from_week: 1, to_week: 9, percent: 0-99}}", "both are needed"},
		{"{load_change: {exercise: front-plank, from_week: 1, to_week: 2, percent: 0-99}}", "both are needed"},
		{"{load_change: {exercise: back-sqat, from_week: 1, to_week: 2, percent: 0-99}}", "no exercise"},
		{"{load_change: {exercise: back-squat, from_week: 1, to_week: 2}}", "asks nothing"},
		{"{load_steps: {loading: stack, from: 5, step: 5}}", "no load by stack"},
		{"{load_steps: {loading: cloud, from: 5, step: 5}}", `no way of loading "cloud"`},
		{"{load_steps: {loading: bar and plates}}", "are needed"},
		{"{contains: {exercises: [back-sqat], in: program}}", "no exercise"},
		{"{contains: {patterns: [squatting], in: program}}", `no "squatting"`},
		{"{contains: {exercises: [back-squat], in: some-weeks}}", "in is every-session"},
		{"{contains: {in: program}}", "asks nothing"},
		{"{excludes: {exercises: [dipp]}}", "no exercise"},
		{"{excludes: {patterns: [dipping]}}", `no "dipping"`},
		{"{excludes: {}}", "asks nothing"},
		{"{uses_only: [broom]}", `no "broom"`},
		{"{uses_only: []}", "asks nothing"},
		{"{spares_joint: {joint: toe, stress: mild}}", `no joint "toe"`},
		{"{spares_joint: {joint: knee, stress: some}}", "mild or marked"},
		{"{finding: {exercise: back-sqat, says: reserve}}", "no exercise"},
		{"{finding: {exercise: back-squat}}", "says is needed"},
		{"{no_finding: {level: grave}}", `no level "grave"`},
		{"{no_finding: {rule: audit.ordre}}", `no rule "audit.ordre"`},
		{"{no_finding: {}}", "asks nothing"},
		{"{text_lacks: \"\"}", "asks nothing"},
		{"{text_has: \"\"}", "asks nothing"},
	} {
		property := readProperty(t, c.property)
		require.Contains(t, strings.Join(property.broken(sampleView(t, sample())), "\n"), c.want, c.property)
	}
	empty := &view{program: &plan.Program{}, catalogue: sampleView(t, sample()).catalogue}
	for _, c := range catches {
		property := readProperty(t, c.property)
		name, _, err := property.kind()
		require.NoError(t, err)
		switch name {
		case "no_finding", "same_weeks_as": // about something else than what is in the program
			continue
		}
		require.NotEmpty(t, property.broken(empty), "%s does not hold of an empty program", c.property)
	}
}
