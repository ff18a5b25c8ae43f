package wire

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

const (
	minimalConstraints = "constraints:\n  days: [{minutes: 45}]\n  places: [{preset: EQUIPMENT_PRESET_FULL_GYM}]\n"
	minimal            = "athlete: {age_band: AGE_BAND_ADULT}\n" + minimalConstraints
)

func readOK(t testing.TB, text string) plan.Request {
	m, err := ReadRequest([]byte(text))
	require.NoError(t, err, text)
	d, err := RequestFromProto(m)
	require.NoError(t, err, text)
	return d
}

// paths gives the fields of an Invalid fault.
func paths(t testing.TB, err error) []string {
	f, ok := fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, fault.Invalid, f.Kind)
	var out []string
	for _, v := range f.Violations {
		out = append(out, v.Field)
	}
	return out
}

func TestFaultsNameFieldReasonAndLine(t *testing.T) {
	for name, c := range map[string]struct{ in, field, reason, says string }{
		"unknown field":        {minimal + "\ngaols: []\n", "gaols", ReasonUnknownField, "did you mean goals? (line 6)"},
		"unknown far field":    {minimal + "xyzzy: 1\n", "xyzzy", ReasonUnknownField, "possible: athlete, goals, constraints"},
		"nested":               {"athlete: {age_band: AGE_BAND_ADULT, bodymass: {kilograms: 1}}\n" + minimalConstraints, "athlete.bodymass", ReasonUnknownField, "did you mean body_mass? (line 1)"},
		"in a list":            {minimal + "goals:\n  - kind: GOAL_KIND_GENERAL\n  - kind: GOAL_KIND_GENERAL\n    prio: 1\n", "goals[1].prio", ReasonUnknownField, "(line 8)"},
		"short enum":           {"athlete: {age_band: adult}\n" + minimalConstraints, "athlete.age_band", ReasonUnknownValue, "did you mean AGE_BAND_ADULT? (line 1)"},
		"misspelt enum":        {minimal + "goals: [{kind: GOAL_KIND_GROV}]\n", "goals[0].kind", ReasonUnknownValue, "did you mean GOAL_KIND_GROW?"},
		"number for enum":      {minimal + "goals: [{kind: 2}]\n", "goals[0].kind", ReasonType, "is 2; one of these is needed: GOAL_KIND_RAISE_ONE_RM"},
		"twice":                {minimal + "seed: 1\nseed: 2\n", "seed", ReasonTwice, "(line 6)"},
		"twice in two names":   {`{"athlete": {"age_band": "AGE_BAND_ADULT", "ageBand": "AGE_BAND_ADULT"}}`, "athlete.age_band", ReasonTwice, "once is right"},
		"two units":            {"athlete: {age_band: AGE_BAND_ADULT, body_mass: {kilograms: 1, pounds: 2}}\n" + minimalConstraints, "athlete.body_mass.pounds", ReasonTwice, "only one of kilograms, pounds"},
		"text for number":      {"athlete: {age_band: AGE_BAND_ADULT, birth_year: young}\n" + minimalConstraints, "athlete.birth_year", ReasonType, `is "young"; a whole number is needed`},
		"fraction":             {"athlete: {age_band: AGE_BAND_ADULT, birth_year: 1990.5}\n" + minimalConstraints, "athlete.birth_year", ReasonType, "a whole number is needed"},
		"text for mass":        {"athlete: {age_band: AGE_BAND_ADULT, body_mass: 80 kg}\n" + minimalConstraints, "athlete.body_mass", ReasonType, "kilograms, pounds"},
		"one for list":         {minimal + "goals: {kind: GOAL_KIND_GENERAL}\n", "goals", ReasonType, "a list is needed"},
		"yes for true":         {"athlete: {age_band: AGE_BAND_ADULT, spotter: yes}\n" + minimalConstraints, "athlete.spotter", ReasonType, "true or false is needed"},
		"infinite":             {"athlete: {age_band: AGE_BAND_ADULT, body_mass: {kilograms: .inf}}\n" + minimalConstraints, "athlete.body_mass.kilograms", ReasonType, "a number is needed"},
		"parameters":           {minimal + "plan: {tracks: [{segments: [{strategy: s, parameters: [1]}]}]}\n", "plan.tracks[0].segments[0].parameters", ReasonType, "names with values"},
		"out of range":         {"athlete: {age_band: AGE_BAND_ADULT}\nconstraints:\n  days:\n    - {minutes: 45}\n    - {minutes: 5}\n  places: [{}]\n", "constraints.days[1].minutes", ReasonOutOfRange, "is 5; 15 to 240 is possible"},
		"out of range, line":   {"athlete: {age_band: AGE_BAND_ADULT}\nconstraints:\n  days:\n    - {minutes: 45}\n    - {minutes: 5}\n  places: [{}]\n", "constraints.days[1].minutes", ReasonOutOfRange, "(line 5)"},
		"required":             {minimalConstraints, "athlete", ReasonRequired, "is needed"},
		"age":                  {"athlete: {}\n" + minimalConstraints, "athlete", "ATHLETE_AGE", "age_band"},
		"no days":              {"athlete: {age_band: AGE_BAND_ADULT}\nconstraints:\n  days: []\n  places: [{}]\n", "constraints.days", ReasonTooFew, "(line 3)"},
		"enum needed":          {minimal + "goals: [{priority: 1}]\n", "goals[0].kind", ReasonRequired, "GOAL_KIND_RAISE_ONE_RM"},
		"date form":            {strings.Replace(minimal, "constraints:", "constraints:\n  start_date: 5.1.2026", 1), "constraints.start_date", ReasonDate, `"5.1.2026" is not a calendar date written YYYY-MM-DD (line 3)`},
		"period":               {strings.Replace(minimal, "constraints:", "constraints:\n  place_periods: [{from_week: 1, place_id: a}]", 1), "constraints.place_periods[0]", "PLACE_PERIOD_ENDS", "to_week"},
		"too long":             {"athlete: {age_band: AGE_BAND_ADULT, display_name: " + strings.Repeat("a", 201) + "}\n" + minimalConstraints, "athlete.display_name", ReasonTooLong, "200"},
		"broken YAML":          {"athlete: {\n", "", ReasonSyntax, "line"},
		"broken JSON":          {"{\"athlete\": {},\n \"seed\": ]}", "", ReasonSyntax, "line 2"},
		"JSON, line":           {"{\"athlete\": {\"age_band\": \"AGE_BAND_ADULT\"},\n \"sede\": 1}", "sede", ReasonUnknownField, "did you mean seed? (line 2)"},
		"two documents":        {minimal + "---\nseed: 1\n", "", ReasonSyntax, "more than one document"},
		"JSON and more":        {`{"seed": 1} {"seed": 2}`, "", ReasonSyntax, "follows"},
		"nothing":              {"", "", ReasonType, "has fields: athlete, goals"},
		"list":                 {"- 1\n", "", ReasonType, "is a list"},
		"alias in itself":      {"a: &a [*a]\n", "", ReasonTooDeep, ""},
		"deep":                 {"seed: " + strings.Repeat("[", 200) + strings.Repeat("]", 200) + "\n", "", ReasonTooDeep, ""},
		"many through aliases": {"a: &a [1,1,1,1,1,1,1,1,1,1]\n" + bomb(9) + "\n", "", ReasonTooLarge, ""},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ReadRequest([]byte(c.in))
			f, ok := fault.As(err)
			require.True(t, ok, "%v", err)
			require.Equal(t, fault.Invalid, f.Kind)
			found := false
			for _, v := range f.Violations {
				found = found || v.Field == c.field && v.Reason == c.reason && strings.Contains(v.Says, c.says)
			}
			require.True(t, found, "want %s %s %q, got %v", c.field, c.reason, c.says, f.Violations)
		})
	}
}

// bomb nests aliases so that spelling them out would give 10^n values.
func bomb(n int) string {
	var b strings.Builder
	for i := range n {
		from, to := string(rune('a'+i)), string(rune('b'+i))
		b.WriteString(to + ": &" + to + " [" + strings.TrimSuffix(strings.Repeat("*"+from+",", 10), ",") + "]\n")
	}
	return b.String()
}

func TestAllFaultsInOneAnswer(t *testing.T) {
	_, err := ReadRequest([]byte("athlete: {age: 30, sex: M}\nconstraint: {}\n"))
	require.Equal(t, []string{"athlete.age", "athlete.sex", "constraint"}, paths(t, err))

	m, err := ReadRequest([]byte("athlete: {age_band: AGE_BAND_ADULT, body_mass: {kilograms: 1.0001}}\n" +
		"constraints: {start_date: 2026-02-30, days: [{minutes: 45}], places: [{}]}\n"))
	require.NoError(t, err)
	_, err = RequestFromProto(m)
	require.Equal(t, []string{"athlete.body_mass.kilograms", "constraints.start_date"}, paths(t, err))
}

func TestWhatWritersMayWrite(t *testing.T) {
	want := readOK(t, minimal)
	require.Equal(t, want, readOK(t, `{athlete: {age_band: AGE_BAND_ADULT}, constraints: {days: [{minutes: 45}], places: [{preset: EQUIPMENT_PRESET_FULL_GYM}]}}`), "flow YAML")
	require.Equal(t, want, readOK(t, `{"athlete":{"ageBand":"AGE_BAND_ADULT"},"constraints":{"days":[{"minutes":45.0}],"places":[{"preset":"EQUIPMENT_PRESET_FULL_GYM"}]},"goals":null}`), "camel case and null")
	require.Equal(t, want, readOK(t, "\ufeff"+strings.ReplaceAll(minimal, "\n", "\r\n")), "as some editors save it")
	require.Equal(t, want, readOK(t, "athlete: {age_band: AGE_BAND_ADULT}\nconstraints:\n  days: [{minutes: 45}]\n  places: [&p {preset: EQUIPMENT_PRESET_FULL_GYM}]\n"))

	same := readOK(t, "athlete: {age_band: AGE_BAND_ADULT}\nconstraints:\n  days: [&d {minutes: 45}, *d]\n  places: [{}]\n")
	require.Equal(t, []plan.Day{{Minutes: 45}, {Minutes: 45}}, same.Constraints.Days, "aliases")
	require.Equal(t, "😀", readOK(t, `{"athlete":{"age_band":"AGE_BAND_ADULT","display_name":"\ud83d\ude00"},"constraints":{"days":[{"minutes":45}],"places":[{}]}}`).Athlete.Name)
	require.Equal(t, "0042", readOK(t, strings.Replace(minimal, "ADULT", "ADULT, caller_id: 0042", 1)).Athlete.CallerID, "digits stay as written")
}

func FuzzReadRequest(f *testing.F) {
	for _, name := range []string{"request_minimal.yaml", "request_full.yaml", "request_full.json"} {
		f.Add(file(f, name))
	}
	f.Add([]byte("a: &a [*a]"))
	f.Add([]byte(`{"seed": 1e3, "plan": {"tracks": [{"segments": [{"parameters": {"": [-0]}}]}]}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := ReadRequest(data)
		if err != nil {
			notABug(t, err)
			return
		}
		d, err := RequestFromProto(m)
		if err != nil {
			notABug(t, err)
			return
		}
		// What was accepted survives being written and read again.
		b, err := Marshal(RequestToProto(d))
		require.NoError(t, err)
		again, err := ReadRequest(b)
		require.NoError(t, err)
		back, err := RequestFromProto(again)
		require.NoError(t, err)
		require.Equal(t, canonical(t, d), canonical(t, back))
	})
}

func FuzzReadProgram(f *testing.F) {
	f.Add(file(f, "program_full.json"))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := ReadProgram(data)
		if err != nil {
			notABug(t, err)
			return
		}
		d, err := ProgramFromProto(m)
		if err != nil {
			notABug(t, err)
			return
		}
		b, err := Marshal(ProgramToProto(d))
		require.NoError(t, err)
		again, err := ReadProgram(b)
		require.NoError(t, err)
		back, err := ProgramFromProto(again)
		require.NoError(t, err)
		require.Equal(t, canonical(t, d), canonical(t, back))
	})
}

func notABug(t *testing.T, err error) {
	f, ok := fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, fault.Invalid, f.Kind, "%v", err)
}

func canonical(t *testing.T, v any) string {
	b, err := plan.Canonical(v)
	require.NoError(t, err)
	return string(b)
}

func TestValidateTakesWhatIsRight(t *testing.T) {
	m, err := ReadRequest([]byte(minimal))
	require.NoError(t, err)
	require.NoError(t, Validate(m))
	require.NoError(t, Validate(&pb.GenerateProgramRequest{Request: m}))
	bad := proto.CloneOf(m)
	bad.Constraints.Days[0].Minutes = 1
	require.Equal(t, []string{"request.constraints.days[0].minutes"}, paths(t, Validate(&pb.GenerateProgramRequest{Request: bad})))
}

func BenchmarkProgramToProto(b *testing.B) {
	d := fullProgram(b)
	// 12 weeks of 4 sessions of 6 exercises of 3 sets.
	w := &d.Phases[0].Weeks[0]
	for range 5 {
		w.Sessions[0].Exercises = append(w.Sessions[0].Exercises, w.Sessions[0].Exercises[0])
	}
	for range 3 {
		w.Sessions = append(w.Sessions, w.Sessions[0])
	}
	for range 11 {
		d.Phases[0].Weeks = append(d.Phases[0].Weeks, *w)
		w = &d.Phases[0].Weeks[0]
	}
	b.ReportAllocs()
	for b.Loop() {
		ProgramToProto(d)
	}
}

// What asks for a program asks for an estimate too: its athlete, unit and day.
func TestReadStrengthQuery(t *testing.T) {
	const athlete = "athlete: {age_band: AGE_BAND_ADULT, performances: [{exercise_id: back-squat, load: {kilograms: 100}, reps: 5, rir: 1}]}\n"
	own, err := ReadStrengthQuery([]byte(athlete + "exercise_ids: [back-squat]\ndate: 2026-12-28\nmass_unit: MASS_UNIT_POUND\nreps: [5]\n"))
	require.NoError(t, err)
	require.Equal(t, []string{"back-squat"}, own.GetExerciseIds())
	require.Equal(t, []int32{5}, own.GetReps())
	const rest = "  days: [{minutes: 45}]\n  places: [{preset: EQUIPMENT_PRESET_FULL_GYM}]\n  mass_unit: MASS_UNIT_POUND\n"
	for _, dates := range []string{"  start_date: 2026-12-28\n", "  prepared_on: 2026-12-28\n  start_date: 2027-01-04\n"} {
		got, err := ReadStrengthQuery([]byte(athlete + "constraints:\n" + rest + dates))
		require.NoError(t, err)
		require.Equal(t, "2026-12-28", got.GetDate())
		require.True(t, proto.Equal(own.GetAthlete(), got.GetAthlete()))
		require.Equal(t, pb.MassUnit_MASS_UNIT_POUND, got.GetMassUnit())
	}
	for text, path := range map[string]string{
		athlete + "dates: 2026-12-28\n":                    "dates",
		athlete + "reps: [0]\n":                            "reps[0]",
		athlete + "constraints: {days: [{minutes: 45}]}\n": "constraints.places",
		"exercise_ids: [back-squat]\n":                     "athlete",
		"[]":                                               "",
	} {
		_, err := ReadStrengthQuery([]byte(text))
		require.Equal(t, []string{path}, paths(t, err), text)
	}
}
