package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

func TestParseSet(t *testing.T) {
	day, err := plan.ParseDate("2026-11-20")
	require.NoError(t, err)
	kg := func(milli int64) plan.Opt[plan.Load] { return plan.Some(plan.Kg(milli)) }
	rir := func(n int32) plan.Opt[int32] { return plan.Some(n) }
	for text, want := range map[string]plan.Performance{
		"100kgx5":              {Load: kg(100_000), Reps: 5, ToFailure: true},
		"100KG×5":              {Load: kg(100_000), Reps: 5, ToFailure: true},
		"100 kg * 5":           {Load: kg(100_000), Reps: 5, ToFailure: true},
		"102.5kgx5@2":          {Load: kg(102_500), Reps: 5, RIR: rir(2)},
		"102,5kgx5 @ 0":        {Load: kg(102_500), Reps: 5, RIR: rir(0)},
		"225lbsx3@rir6":        {Load: plan.Some(plan.Lb(225_000)), Reps: 3, RIR: rir(6)},
		"225x3@RPE8":           {Load: plan.Some(plan.Lb(225_000)), Reps: 3, RIR: rir(2)},
		"225x3@rpe8,5":         {Load: plan.Some(plan.Lb(225_000)), Reps: 3, RIR: rir(1)},
		"100kgx5@1,2026-11-20": {Load: kg(100_000), Reps: 5, RIR: rir(1), Date: plan.Some(day)},
		"100kgx5@1 2026-11-20": {Load: kg(100_000), Reps: 5, RIR: rir(1), Date: plan.Some(day)},
		"100kgx5, 2026-11-20":  {Load: kg(100_000), Reps: 5, ToFailure: true, Date: plan.Some(day)},
		"bwx8":                 {Reps: 8, ToFailure: true},
		"bw x 8@1":             {Reps: 8, RIR: rir(1)},
		"+20kgx5":              {Load: kg(20_000), Reps: 5, ToFailure: true},
		"bw+1.25kgx5":          {Load: kg(1_250), Reps: 5, ToFailure: true},
	} {
		require.True(t, maybeSet(text), text)
		got, err := parseSet(text, plan.Pound)
		require.NoError(t, err, text)
		require.Equal(t, want, got, text)
	}
	for text, says := range map[string]string{
		"100x5":                        "100 of what?",
		"100kg":                        "is no set",
		"100kgx":                       "is no set",
		"100kgx5@":                     "is no set",
		"-100kgx5":                     "is no set",
		"100kgx5@8":                    "@rpe8 or @rir8",
		"100kgx5@2.5":                  "no whole number",
		"100kgx5@rpe6":                 "a rating of 6",
		"100kgx5@rpe8.3":               "a rating of 8.3",
		"100.1234kgx5":                 "at most three decimals",
		"100kgx5,2026-02-30":           "is not a calendar date",
		"100kgx99999999999999":         "too many repetitions",
		"99999999999999999999kgx5":     "can't be kept",
		"100kgx5@99999999999999999999": "",
	} {
		_, err := parseSet(text, plan.UnitUnspecified)
		if says != "" {
			require.ErrorContains(t, err, says, text)
		}
	}
	require.False(t, maybeSet("back-squat"))
	require.False(t, maybeSet("bw-something"))
}

// Whatever is typed is a set or a sentence.
func FuzzParseSet(f *testing.F) {
	for _, s := range []string{"100kgx5@1,2026-11-20", "bw+20,5lb×3@rpe8.5", "x", "", "1kg*1@99999999999", "00.0001kgx1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := parseSet(s, plan.Kilogram)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		require.GreaterOrEqual(t, p.Reps, int32(0))
		require.GreaterOrEqual(t, p.Load.Value.Milli, int64(0))
		require.True(t, p.ToFailure != p.RIR.Set)
	})
}

// Sets as they are typed, a file of one's own and the request of a program: one answer.
func TestEstimateReadsWhatIsTyped(t *testing.T) {
	typed := run(t, "", "estimate", "back-squat", "120kgx5@1,2026-12-14", "--unit", "kg", "--body-mass", "80kg", "--status", "intermediate", "--date", "2026-12-28", "--json")
	require.Equal(t, exitOK, typed.code, typed.err)
	require.True(t, json.Valid([]byte(typed.out)))
	flags := run(t, "", "estimate", "--exercise", "back-squat", "--set", "120kg×5@1 2026-12-14", "--unit", "kg", "--body-mass", "80kg", "--status", "intermediate", "--date", "2026-12-28", "--json")
	require.Equal(t, typed, flags)
	const own = "athlete: {age_band: AGE_BAND_ADULT, body_mass: {kilograms: 80}, training_status: TRAINING_STATUS_INTERMEDIATE, " +
		"performances: [{exercise_id: back-squat, load: {kilograms: 120}, reps: 5, rir: 1, date: 2026-12-14}]}\nmass_unit: MASS_UNIT_KILOGRAM\ndate: 2026-12-28\n"
	require.Equal(t, typed, run(t, own, "estimate", "-f", "-", "--json"))
	require.Equal(t, typed, run(t, string(demo), "estimate", "-f", "-", "--exercise", "back-squat", "--json"))
}

func TestEstimateText(t *testing.T) {
	got := run(t, "", "estimate", "back-squat", "225lbx5@2,2026-11-20", "--reps", "1,5")
	require.Equal(t, exitOK, got.code, got.err)
	require.Contains(t, got.out, "Strength on Thu 26 Nov 2026 · loads in lb\n")
	require.Contains(t, got.out, "It is no reason to try a maximum")
	require.Contains(t, got.out, "225 lb × 5, 2 in reserve (20 Nov 2026)")
	require.NotContains(t, got.out, "kg")
	for line := range strings.Lines(got.out) {
		require.LessOrEqual(t, len([]rune(line)), 101, line)
	}
	invented := run(t, "", "estimate")
	require.Equal(t, exitOK, invented.code)
	require.Contains(t, invented.err, "invented athlete")
	require.Contains(t, invented.out, "BENT-OVER ROW")
}
