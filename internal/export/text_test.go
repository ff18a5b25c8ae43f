package export

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

var rewrite = flag.Bool("rewrite", false, "write the golden files anew")

func golden(t *testing.T, name, got string) {
	path := filepath.Join("testdata", name)
	if *rewrite {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got, "go test ./internal/export -rewrite writes it anew")
}

func print(t require.TestingT, p *plan.Program, o Options) string {
	o.Catalogue = exercise.Builtin()
	var b bytes.Buffer
	require.NoError(t, Text(&b, p, o))
	return b.String()
}

func TestTextGolden(t *testing.T) {
	golden(t, "program.txt", print(t, sample(t), Options{}))
	golden(t, "week.txt", print(t, sample(t), Options{Week: 2, Why: true}))
	golden(t, "findings.txt", Findings(sample(t), sample(t).Findings, Options{Catalogue: exercise.Builtin()}))
}

func TestTextIsTheSameEveryTime(t *testing.T) {
	first := print(t, sample(t), Options{Why: true})
	for range 20 {
		require.Equal(t, first, print(t, sample(t), Options{Why: true}))
	}
}

func TestLinesFitThePage(t *testing.T) {
	for _, o := range []Options{{}, {Why: true}, {Week: 1}, {Week: 4, Why: true}} {
		for l := range strings.SplitSeq(print(t, sample(t), o), "\n") {
			require.LessOrEqual(t, columns(l), Width, "%q", l)
			require.Equal(t, strings.TrimRight(l, " "), l)
		}
	}
}

func TestTextRefusesWeeksThatAreNot(t *testing.T) {
	for _, w := range []int32{-1, 5} {
		require.ErrorContains(t, Text(&bytes.Buffer{}, sample(t), Options{Week: w}), "it has 4 weeks")
	}
}

func TestTextTakesAnEmptyProgram(t *testing.T) {
	require.Equal(t, "Athlete · 0 weeks\nMade by   written by hand · loads in unit?\n", print(t, &plan.Program{}, Options{}))
}

func TestTextWithoutCatalogue(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Text(&b, sample(t), Options{}))
	require.Contains(t, b.String(), "3 × 8–12 @ 22.5, 20, 20 kg, RIR 2, rest 2:30")
	require.NotContains(t, b.String(), "a hand,")
}

// Whatever numbers a program by hand has, it prints, and the same way twice.
func TestTextTakesAnyNumbers(t *testing.T) {
	small := rapid.Int32Range(-2, 300)
	rapid.Check(t, func(r *rapid.T) {
		p := sample(r)
		for range rapid.IntRange(1, 6).Draw(r, "changes") {
			ph := &p.Phases[rapid.IntRange(0, 1).Draw(r, "phase")]
			w := &ph.Weeks[rapid.IntRange(0, 1).Draw(r, "week")]
			s := &w.Sessions[rapid.IntRange(0, 1).Draw(r, "session")]
			s.Kind = plan.SessionKind(rapid.Uint8Range(0, 9).Draw(r, "session kind"))
			s.Group = rapid.SampledFrom([]string{"", "A", "B"}).Draw(r, "group")
			s.Weekday = plan.Weekday(rapid.Uint8Range(0, 7).Draw(r, "weekday"))
			w.Kind = plan.WeekKind(rapid.Uint8Range(0, 9).Draw(r, "week kind"))
			e := &s.Exercises[rapid.IntRange(0, 3).Draw(r, "exercise")]
			e.ExerciseID = rapid.SampledFrom([]string{"", "no-such", "pull-up", "assisted-dip", "front-plank"}).Draw(r, "id")
			if rapid.Bool().Draw(r, "empty") {
				e.Sets = nil
				continue
			}
			if len(e.Sets) == 0 {
				continue
			}
			set := &e.Sets[rapid.IntRange(0, len(e.Sets)-1).Draw(r, "set")]
			set.Kind = plan.SetKind(rapid.Uint8Range(0, 7).Draw(r, "kind"))
			set.Reps = reps(small.Draw(r, "min"), small.Draw(r, "max"))
			set.Rest = plan.Seconds(small.Draw(r, "rest"))
			set.RIR = plan.Opt[int32]{Value: small.Draw(r, "rir"), Set: rapid.Bool().Draw(r, "has rir")}
			set.Load = plan.Opt[plan.Load]{Value: plan.Lb(int64(small.Draw(r, "load"))), Set: rapid.Bool().Draw(r, "has load")}
			if rapid.Bool().Draw(r, "deferred") {
				set.Deferred = deferred(plan.ReferenceKind(rapid.Uint8Range(0, 8).Draw(r, "reference")), plan.Permille(small.Draw(r, "share")))
			}
		}
		require.Equal(r, print(r, p, Options{Why: true}), print(r, p, Options{Why: true}))
	})
}
