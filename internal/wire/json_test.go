package wire

import (
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
)

const minimalBody = `{"request":{"athlete":{"ageBand":"AGE_BAND_ADULT"},"constraints":{"days":[{"minutes":45}],"places":[{"preset":"EQUIPMENT_PRESET_FULL_GYM"}]}}}`

func TestReadJSONNamesEveryFault(t *testing.T) {
	for name, c := range map[string]struct{ in, field, reason, says string }{
		"unknown, camel":       {`{"request":{"gaols":[]}}`, "request.gaols", ReasonUnknownField, "did you mean goals?"},
		"suggests JSON names":  {`{"request":{"athlete":{"bodymass":{}}}}`, "request.athlete.bodymass", ReasonUnknownField, "did you mean bodyMass? (line 1)"},
		"second line":          {"{\n\"reqest\":{}}", "reqest", ReasonUnknownField, "did you mean request? (line 2)"},
		"twice":                {`{"request":{},"request":{}}`, "request", ReasonTwice, "once is right"},
		"twice in two names":   {`{"request":{"athlete":{"age_band":"AGE_BAND_ADULT","ageBand":"AGE_BAND_ADULT"}}}`, "request.athlete.age_band", ReasonTwice, "once is right"},
		"in a list":            {`{"request":{"goals":[{},{"prio":1}]}}`, "request.goals[1].prio", ReasonUnknownField, "priority"},
		"NaN as text":          {`{"request":{"athlete":{"bodyMass":{"kilograms":"NaN"}}}}`, "request.athlete.body_mass.kilograms", ReasonType, `"NaN"; a number is needed`},
		"NaN":                  {"{\"request\":\n{\"athlete\":{\"bodyMass\":{\"kilograms\":NaN}}}}", "", ReasonSyntax, "line 2: invalid character 'N'"},
		"minus infinity":       {`{"request":{"seed":-Infinity}}`, "", ReasonSyntax, "NaN and Infinity are no JSON numbers"},
		"too large a double":   {`{"request":{"athlete":{"bodyMass":{"kilograms":1e400}}}}`, "request.athlete.body_mass.kilograms", ReasonType, "is 1e400; a number is needed, between"},
		"too large an integer": {`{"request":{"athlete":{"birthYear":99999999999}}}`, "request.athlete.birth_year", ReasonType, "is 99999999999; a whole number is needed, from -2147483648 to 2147483647"},
		"text of 3 MB":         {`{"request":{"seed":"` + strings.Repeat("a", 3<<20) + `"}}`, "request.seed", ReasonType, "aaa…"},
		"name of 1 MB":         {`{"` + strings.Repeat("a", 1<<20) + `":1}`, strings.Repeat("a", 100) + "…", ReasonUnknownField, "possible: request"},
		"million elements":     {`{"request":{"goals":[` + strings.Repeat("{},", 1_000_000) + `{}]}}`, "", ReasonTooLarge, "250000 values"},
		"deep":                 {strings.Repeat(`{"a":`, 10_000), "", ReasonTooDeep, "line 1: more than 64 levels lie in each other at byte 326"},
		"deep list":            {strings.Repeat(`[`, 1_000_000), "", ReasonTooDeep, "line 1: more than 64 levels lie in each other at byte 66"},
		"empty":                {" \n", "", ReasonSyntax, "it is empty"},
		"a list":               {"[1]", "", ReasonType, "is a list"},
		"null":                 {"null", "", ReasonType, "has fields: request"},
		"YAML":                 {"request: {}", "", ReasonSyntax, "invalid character 'r'"},
		"flow YAML":            {"{request: {}}", "", ReasonSyntax, "not JSON"},
		"a comment":            {"{} // end", "", ReasonSyntax, "line 1"},
		"more than one":        {"{}{}", "", ReasonSyntax, "follows"},
		"half":                 {"{\"request\":\n{", "", ReasonSyntax, "line 2: the document ends too early"},
		"trailing comma":       {`{"request":{},}`, "", ReasonSyntax, "line 1"},
		"half a character":     {"{\n\"request\": {\"athlete\": {\"callerId\": \"\\ud83d\"}}}", "", ReasonSyntax, `line 2: \ud83d is half a character`},
		"the other half":       {`{"\ude00":1}`, "", ReasonSyntax, `\ude00 is half a character`},
		"two first halves":     {`{"\ud83d\ud83d":1}`, "", ReasonSyntax, `\ud83d is half a character`},
		"not UTF-8":            {"{\n\"request\xff\":{}}", "", ReasonSyntax, "line 2: the bytes are not UTF-8"},
		"UTF-16":               {"\xff\xfe{\x00}\x00", "", ReasonSyntax, "not UTF-8"},
		"camel oneof":          {`{"request":{"athlete":{"bodyMass":{"kilograms":1,"pounds":2}}}}`, "request.athlete.body_mass.pounds", ReasonTwice, "only one of kilograms, pounds"},
		"below Struct":         {`{"request":{"plan":{"tracks":[{"segments":[{"parameters":{"a_b":1,"a_b":2}}]}]}}}`, "request.plan.tracks[0].segments[0].parameters.a_b", ReasonTwice, "once is right"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ReadJSON([]byte(c.in), &pb.GenerateProgramRequest{})
			f, ok := fault.As(err)
			require.True(t, ok, "%v", err)
			require.Equal(t, fault.Invalid, f.Kind)
			require.Len(t, f.Violations, 1)
			v := f.Violations[0]
			require.Equal(t, c.field, v.Field)
			require.Equal(t, c.reason, v.Reason)
			require.Contains(t, v.Says, c.says)
			require.Less(t, len(v.Says), 2000)
		})
	}
}

func TestReadJSONTakesWhatIsRight(t *testing.T) {
	m := &pb.GenerateProgramRequest{}
	written, err := ReadJSON([]byte("\ufeff"+minimalBody), m)
	require.NoError(t, err)
	require.Empty(t, written)
	require.Equal(t, int32(45), m.GetRequest().GetConstraints().GetDays()[0].GetMinutes())

	// The rules of the schema are somebody else's.
	_, err = ReadJSON([]byte(`{"request":{"constraints":{"days":[{"minutes":-3}]}}}`), m)
	require.NoError(t, err)
	require.Error(t, Validate(m))
}

func TestReadJSONTakesWholeCharacters(t *testing.T) {
	for in, want := range map[string]string{`\ud83d\ude00`: "😀", `\\ud83d`: `\ud83d`, `\\\uD83D\uDE00x`: `\😀x`, `\u00e9\n`: "é\n"} {
		m := &pb.GenerateProgramRequest{}
		_, err := ReadJSON([]byte(`{"request":{"athlete":{"callerId":"`+in+`"}}}`), m)
		require.NoError(t, err, in)
		require.Equal(t, want, m.GetRequest().GetAthlete().GetCallerId())
	}
}

func TestReadJSONTellsOtherSpellings(t *testing.T) {
	written, err := ReadJSON([]byte(`{"request":{"athlete":{"age_band":"AGE_BAND_ADULT","bodyMass":{"kilograms":80}},
		"constraints":{"place_periods":[{"fromWeek":1},{"from_week":2,"nope":1}]}}}`), &pb.GenerateProgramRequest{})
	require.Equal(t, []string{"request.constraints.place_periods[1].nope"}, paths(t, err))
	require.Equal(t, map[string]string{
		"request.athlete.age_band":                       "request.athlete.age_band",
		"request.constraints.place_periods":              "request.constraints.place_periods",
		"request.constraints.place_periods[1].from_week": "request.constraints.place_periods[1].from_week",
	}, written)
}

func TestReadJSONListsNoMoreThanAHundred(t *testing.T) {
	var b strings.Builder
	for i := range 5000 {
		fmt.Fprintf(&b, `,"x%d":1`, i)
	}
	_, err := ReadJSON([]byte(`{"request":{}`+b.String()+`}`), &pb.GenerateProgramRequest{})
	f, _ := fault.As(err)
	require.Len(t, f.Violations, 101)
	require.Equal(t, "there are 4900 more faults", f.Violations[100].Says)
}

// Reading costs a bounded amount of memory, most of it garbage at once.
func TestReadJSONBoundsMemory(t *testing.T) {
	free := func(value string) string {
		return `{"request":{"plan":{"tracks":[{"segments":[{"parameters":` + value + `}]}]}}}`
	}
	key := `{"` + strings.Repeat("k", 100) + `":`
	for name, body := range map[string]string{
		"15 MB of elements": `{"request":{"goals":[` + strings.Repeat("{},", 5_000_000) + `{}]}}`,
		"text of 16 MB":     `{"request":{"seed":"` + strings.Repeat("a", 16_000_000) + `"}}`,
		"deep and wide":     free(strings.Repeat(key, 50) + "[" + strings.Repeat("1,", 200_000) + "1]" + strings.Repeat("}", 50)),
		"one name, often":   free("{" + strings.Repeat(`"a":1,`, 200_000) + `"b":1}`),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, _ = ReadJSON([]byte(body), &pb.GenerateProgramRequest{})
		runtime.ReadMemStats(&after)
		require.Less(t, (after.TotalAlloc-before.TotalAlloc)>>20, uint64(300), "MB for "+name)
	}
}

func FuzzReadJSON(f *testing.F) {
	f.Add([]byte(minimalBody))
	f.Add([]byte(`{"request":{"plan":{"tracks":[{"segments":[{"parameters":{"a_b":[1,null,"x"]}}]}]}}}`))
	f.Add([]byte(`{"request":{"athlete":{"age_band":"x","ageBand":1}}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		if _, err := ReadJSON(data, &pb.GenerateProgramRequest{}); err != nil {
			notABug(t, err)
		}
	})
}
