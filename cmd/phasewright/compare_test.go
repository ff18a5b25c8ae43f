package main

import (
	"encoding/json"
	"encoding/xml"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/wire"
)

// A comparison prints the same, whoever answers; what is written beside it are drawings
// that are XML and programs that can be audited.
func TestCompareWritesWhatItPrints(t *testing.T) {
	at := serving(t).GRPCAddr()
	dir := t.TempDir()
	plots, programs := filepath.Join(dir, "plots"), filepath.Join(dir, "programs")
	args := []string{"compare", "-f", file(t, "r.yaml", string(demo)), "--arm", "Later heavy: linear last_reps=3-5", "--arm", "block", "--plots", plots, "--programs", programs}
	here := run(t, "", args...)
	require.Equal(t, exitOK, here.code, here.err)
	for _, want := range []string{"2 ARMS COMPARED: EQUAL HARD SETS", "Later heavy: linear@1", "equal hard sets: ", "WEEK BY WEEK", "no medical advice"} {
		require.Contains(t, here.out, want)
	}
	require.Contains(t, here.err, "The request's own strategies give way")
	require.Equal(t, here, run(t, "", append(args, "--server", at)...))

	drawn, err := filepath.Glob(filepath.Join(plots, "*.svg"))
	require.NoError(t, err)
	require.Len(t, drawn, 7)
	for _, f := range drawn {
		data, err := os.ReadFile(f)
		require.NoError(t, err)
		require.NoError(t, xml.Unmarshal(data, new(struct{})), f)
		require.True(t, strings.Contains(string(data), "block") || strings.Contains(string(data), "all arms alike"), f)
	}
	require.FileExists(t, filepath.Join(programs, "1-later-heavy.txt"))
	require.Equal(t, exitOK, run(t, "", "audit", "-f", filepath.Join(programs, "2-block.json")).code)
}

func TestCompareReadsItsOwnMessage(t *testing.T) {
	const own = "../../testdata/comparisons/five-strategies/comparison.yaml"
	want, err := os.ReadFile("../../testdata/comparisons/five-strategies/comparison.txt")
	require.NoError(t, err)
	got := run(t, "", "compare", "-f", own)
	require.Equal(t, exitOK, got.code, got.err)
	require.Equal(t, string(want), got.out)
	got = run(t, "", "compare", "-f", own, "--equal", "nothing", "--json")
	require.Equal(t, exitOK, got.code, got.err)
	var m struct {
		Comparison struct {
			Equating string `json:"equating"`
			Arms     []struct {
				Program map[string]any `json:"program"`
			} `json:"arms"`
		} `json:"comparison"`
	}
	require.NoError(t, json.Unmarshal([]byte(got.out), &m))
	require.Equal(t, "EQUATING_NOTHING", m.Comparison.Equating)
	require.Len(t, m.Comparison.Arms, 5)
	require.Empty(t, m.Comparison.Arms[0].Program, "nobody asked for it")
}

func TestCompareWithoutARequest(t *testing.T) {
	got := run(t, "", "compare", "--arm", "constant", "--arm", "undulating")
	require.Equal(t, exitOK, got.code, got.err)
	require.Contains(t, got.err, "invented athlete")
	require.Contains(t, got.out, "2 ARMS COMPARED")
}

func TestCompareNamesWhatWasTyped(t *testing.T) {
	for said, args := range map[string][]string{
		"--arm: there are 1; 2 to 8 can be compared":      {"--arm", "linear"},
		"--arm linearr: there is no strategy":             {"--arm", "linearr", "--arm", "block"},
		"--arm x: linear frist_reps=3-5: there is no par": {"--arm", "x: linear frist_reps=3-5", "--arm", "block"},
		"--arm x:: names no strategy":                     {"--arm", "x:"},
		`"nix" is no parameter; write name=value`:         {"--arm", "linear nix"},
		`--equal: there is no "fair"; hard-sets,`:         {"--arm", "linear", "--arm", "block", "--equal", "fair"},
		"is the label of arms[0] already":                 {"--arm", "linear", "--arm", "linear"},
		"no-such.yaml: no such file":                      {"-f", "no-such.yaml"},
		"constraints":                                     {"-f", file(t, "r.yaml", strings.Replace(string(demo), "minutes: 75", "minutes: 5", 1)), "--arm", "linear", "--arm", "block"},
	} {
		got := run(t, "", append([]string{"compare"}, args...)...)
		require.Equal(t, exitInvalid, got.code, "%s: %s", said, got.err)
		require.Contains(t, got.err, said)
		require.Empty(t, got.out)
	}
}

// Whatever is typed as an arm is an arm with a strategy, or a mistake that is named.
func FuzzArm(f *testing.F) {
	for _, s := range []string{"linear", "a: linear last_reps=3-5 x=[1,2]", ":", "x: y z", "l n={a: b}", "l n=&a *a", "l n=.nan", "l n=1e400", "\xff: \xff a=\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := armOf(s)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		require.NotEmpty(t, a.GetPlan().GetTracks()[0].GetSegments()[0].GetStrategy())
		_, err = wire.ComparisonQueryFromProto(&pb.CompareStrategiesRequest{Arms: []*pb.Arm{a}})
		if err != nil {
			require.Contains(t, err.Error(), "arms[0].plan.tracks[0].segments[0].parameters")
		}
	})
}
