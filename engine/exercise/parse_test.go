package exercise

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func file(t *testing.T, ids ...string) [][]string {
	t.Helper()
	var list []*Exercise
	for _, id := range ids {
		list = append(list, byID(t, id))
	}
	var b bytes.Buffer
	require.NoError(t, Write(&b, list))
	rows, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	return rows
}

func text(t *testing.T, rows [][]string) string {
	t.Helper()
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	require.NoError(t, w.WriteAll(rows))
	return b.String()
}

func column(t *testing.T, name string) int {
	t.Helper()
	for i, c := range columns {
		if c == name {
			return i
		}
	}
	t.Fatalf("no column %s", name)
	return 0
}

func TestParseNamesRowColumnAndAllowedValues(t *testing.T) {
	for _, row := range []struct{ column, cell, says string }{
		{"id", "Bench Press", "kebab-case"},
		{"name", "", "printable"},
		{"pattern", "sqat", "squat, lunge, hinge"},
		{"role", "goal-lift", "multi-joint, single-joint, trunk, explosive, unloadable"},
		{"role", "", "multi-joint"},
		{"prime", "pecs", "chest, front-deltoid"},
		{"prime", "", "at least one muscle"},
		{"prime", "chest;chest", "twice"},
		{"secondary", "chest", "twice"},
		{"equipment", "", "none for the floor"},
		{"equipment", "barbell+", "flat-bench"},
		{"equipment", "rack", "barbell"},
		{"loading", "bar", "bar-and-plates, plates-on-a-machine, stack"},
		{"bar", "", "barbell, ez-bar or trap-bar"},
		{"bar", "stick", "barbell"},
		{"added_needs", "dip-belt", "must be empty"},
		{"unilateral", "true", "yes or no"},
		{"body_mass_permille", "64%", "whole number"},
		{"setup_s", "99999999999", "whole number"},
		{"skill", "expert", "low, medium, high"},
		{"joints", "shoulder", ":1 (mild) or :2 (marked)"},
		{"joints", "arm:1", "shoulder, elbow"},
		{"joints", "hip:3", ":2"},
		{"joints", "hip:1;hip:2", "twice"},
		{"step_kg", "2,5", "2.5"},
		{"step_kg", "1.2345", "three places"},
		{"step_kg", "-1", "number"},
		{"step_kg", "1.", "number"},
		{"step_kg", "0", "above 0"},
		{"step_lb", "1e3", "number"},
		{"curve", "arms", "bench, squat, deadlift"},
		{"region", "arms", "upper, lower, trunk"},
		{"flags", "heavy", "under-bar, supine"},
		{"flags", "grip;grip", "twice"},
		{"min_reps", "0", "1 to 30"},
		{"group", "", "kebab-case"},
		{"related", "x y", "id of another"},
		{"related_permille", "5000", "1 to 3000"},
		{"max_plausible_kg", "0", "1 to"},
		{"source", "", "judgement"},
	} {
		rows := file(t, "deadlift", "incline-bench-press")
		rows[2][column(t, row.column)] = row.cell
		_, err := Parse(strings.NewReader(text(t, rows)))
		f, ok := fault.As(err)
		require.True(t, ok, "%s %q passed", row.column, row.cell)
		require.Equal(t, fault.Invalid, f.Kind)
		found := false
		for _, v := range f.Violations {
			require.True(t, strings.HasPrefix(v.Field, "row 3 ("), v.Field)
			found = found || strings.HasSuffix(v.Field, ")."+row.column) && strings.Contains(v.Says, row.says)
		}
		require.True(t, found, "%s %q: %v", row.column, row.cell, err)
	}
}

func TestParseTellsEveryMistakeAtOnce(t *testing.T) {
	rows := file(t, "deadlift", "bench-press")
	rows[1][column(t, "pattern")] = "lift"
	rows[2][column(t, "loading")] = "iron"
	_, err := Parse(strings.NewReader(text(t, rows)))
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Len(t, f.Violations, 2)
	require.Equal(t, "row 2 (deadlift).pattern", f.Violations[0].Field)
	require.Equal(t, "row 3 (bench-press).loading", f.Violations[1].Field)
}

func TestParseFileShape(t *testing.T) {
	good := text(t, file(t, "deadlift"))
	want, err := Parse(strings.NewReader(good))
	require.NoError(t, err)

	marked, err := Parse(strings.NewReader("\ufeff" + good))
	require.NoError(t, err, "spreadsheets put a byte order mark first")
	require.Equal(t, want, marked)

	turned := file(t, "deadlift")
	for _, r := range turned {
		r[0], r[5] = r[5], r[0]
	}
	got, err := Parse(strings.NewReader(text(t, turned)))
	require.NoError(t, err, "columns come in any order")
	require.Equal(t, want, got)

	head, _, _ := strings.Cut(good, "\n")
	for name, broken := range map[string]string{
		"empty":          "",
		"missing column": strings.Replace(good, "id,name", "name", 1),
		"unknown column": strings.Replace(good, "id,name", "id,title", 1),
		"column twice":   strings.Replace(good, "id,name", "id,id", 1),
		"short row":      head + "\na,b\n",
		"open quote":     head + "\n\"a,b\n",
		"too many rows":  head + "\n" + strings.Repeat(strings.Repeat(",", len(columns)-1)+"\n", maxRows+1),
	} {
		_, err := Parse(strings.NewReader(broken))
		f, ok := fault.As(err)
		require.True(t, ok, name)
		require.Equal(t, fault.Invalid, f.Kind, name)
		require.True(t, strings.HasPrefix(f.Violations[0].Field, "row "), "%s: %s", name, f.Violations[0].Field)
		require.Equal(t, ReasonFile, f.Violations[0].Reason, name)
	}
	none, err := Parse(strings.NewReader(head + "\n"))
	require.NoError(t, err)
	require.Empty(t, none)
}

func TestDecimalsAreExact(t *testing.T) {
	rows := file(t, "deadlift")
	for cell, want := range map[string]int64{"2.5": 2500, "1.25": 1250, "5": 5000, "0.125": 125, "05.0": 5000} {
		rows[1][column(t, "step_kg")] = cell
		got, err := Parse(strings.NewReader(text(t, rows)))
		require.NoError(t, err, cell)
		require.Equal(t, want, got[0].StepMilliKg, cell)
	}
}

func TestWriteThenParseIsTheSame(t *testing.T) {
	c := builtin(t)
	rapid.Check(t, func(t *rapid.T) {
		base := rapid.SampledFrom(c.All()).Draw(t, "base")
		e := base.clone()
		e.ID = "own-" + rapid.StringMatching(`[a-z][a-z0-9]{0,8}(-[a-z0-9]{1,8}){0,3}`).Draw(t, "id")
		e.Name = rapid.StringMatching(`[A-Z"',;|+é-]{1,20}`).Draw(t, "name")
		e.Setup = plan.Seconds(rapid.Int32Range(0, maxSetup).Draw(t, "setup"))
		for m := 1; m < int(plan.MuscleCount); m++ {
			e.Involvement[m] = plan.HalfSets(rapid.Int32Range(0, 2).Draw(t, "share"))
		}
		e.Involvement[rapid.IntRange(1, int(plan.MuscleCount)-1).Draw(t, "prime")] = Prime
		for j := 1; j < int(plan.JointCount); j++ {
			e.Stress[j] = uint8(rapid.IntRange(0, 2).Draw(t, "stress"))
		}
		if e.Loading.Loadable() {
			e.StepMilliKg = rapid.Int64Range(1, maxStepMilli).Draw(t, "step")
		}
		require.NoError(t, Validate(*e))
		var b bytes.Buffer
		if err := Write(&b, []*Exercise{e}); err != nil {
			t.Fatal(err)
		}
		got, err := Parse(&b)
		if err != nil {
			t.Fatal(err)
		}
		require.Equal(t, []Exercise{*e}, got)
	})
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(builtinCSV))
	head, rest, _ := strings.Cut(builtinCSV, "\n")
	first, _, _ := strings.Cut(rest, "\n")
	f.Add([]byte(head + "\n" + first + "\n"))
	f.Add([]byte("\ufeff" + head + "\n" + strings.ReplaceAll(first, "no", "yes") + "\n"))
	f.Add([]byte("id,id\n"))
	f.Add([]byte(head + "\n\"a\nb\",,"))
	f.Fuzz(func(t *testing.T, data []byte) {
		list, err := Parse(bytes.NewReader(data))
		if err != nil {
			fe, ok := fault.As(err)
			require.True(t, ok)
			require.Equal(t, fault.Invalid, fe.Kind)
			require.Empty(t, list)
			return
		}
		shared := make([]*Exercise, len(list))
		for i := range list {
			require.NoError(t, Validate(list[i]))
			shared[i] = &list[i]
		}
		var b bytes.Buffer
		require.NoError(t, Write(&b, shared))
		again, err := Parse(&b)
		require.NoError(t, err)
		require.Equal(t, list, again)
	})
}
