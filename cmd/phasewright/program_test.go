package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// result is what a command line left behind.
type result struct {
	code     int
	out, err string
}

func runWith(t *testing.T, ctx context.Context, newMaker func(string, ...grpc.DialOption) (maker, error), stdin string, args ...string) result {
	t.Helper()
	var out, errs bytes.Buffer
	p := program{in: strings.NewReader(stdin), out: &out, err: &errs, newMaker: newMaker, now: someDay}
	code := p.run(ctx, args)
	return result{code, out.String(), errs.String()}
}

// someDay is today in tests.
func someDay() time.Time { return time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC) }

func run(t *testing.T, stdin string, args ...string) result {
	t.Helper()
	return runWith(t, context.Background(), newMaker, stdin, args...)
}

var demoOnce struct {
	sync.Once
	result
}

// demoJSON is what generate --json prints, made once.
func demoJSON(t *testing.T) string {
	t.Helper()
	demoOnce.Do(func() { demoOnce.result = run(t, "", "generate", "--json") })
	require.Equal(t, exitOK, demoOnce.code, demoOnce.err)
	return demoOnce.out
}

// file writes a temporary file.
func file(t *testing.T, name, content string) string {
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
	return path
}

// canned answers with a fixed fault.
type canned struct{ err error }

func (s canned) Generate(context.Context, plan.Request) (plan.Program, error) {
	return plan.Program{}, s.err
}
func (s canned) Regenerate(context.Context, *plan.Program, plan.Request, plan.Rework) (service.Regenerated, error) {
	return service.Regenerated{}, s.err
}
func (s canned) CompareStrategies(context.Context, plan.ComparisonQuery) (service.Compared, error) {
	return service.Compared{}, s.err
}
func (s canned) Relaxations(context.Context, plan.Request) ([]engine.Relaxation, error) {
	return nil, s.err
}
func (s canned) Audit(context.Context, *plan.Program) (service.Audited, error) {
	return service.Audited{}, s.err
}
func (s canned) Estimate(context.Context, plan.StrengthQuery) (plan.StrengthReport, error) {
	return plan.StrengthReport{}, s.err
}
func (s canned) Strategies(context.Context) ([]plan.Descriptor, error) { return nil, s.err }
func (s canned) Catalogue(context.Context) (*exercise.Catalogue, error) {
	return exercise.Builtin(), s.err
}

func TestExitCodes(t *testing.T) {
	for kind, want := range map[fault.Kind]int{
		fault.Internal: 70, fault.Unavailable: 69, fault.Invalid: 2, fault.Infeasible: 3, fault.Refused: 4, fault.NotFound: 2, fault.Canceled: 130,
		fault.Unauthenticated: 77, fault.Denied: 77, fault.Exhausted: 69,
	} {
		made := func(string, ...grpc.DialOption) (maker, error) {
			return canned{fault.New(kind, "WHY", "constraints.days[1].minutes", "is too short")}, nil
		}
		got := runWith(t, context.Background(), made, string(demo), "generate", "-f", "-")
		require.Equal(t, want, got.code, kind)
		require.Empty(t, got.out)
		if kind != fault.Canceled {
			require.Equal(t, "constraints.days[1].minutes: is too short [WHY]\n", got.err)
		}
	}
}

// Ctrl-C ends a program that waits for standard input.
func TestInterruptedWhileReading(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	in, w, err := os.Pipe()
	require.NoError(t, err)
	defer w.Close()
	defer in.Close()
	var out, errs bytes.Buffer
	p := program{in: in, out: &out, err: &errs, newMaker: func(string, ...grpc.DialOption) (maker, error) { return canned{}, nil }}
	require.Equal(t, exitCanceled, p.run(ctx, []string{"generate", "-f", "-"}))
	require.Equal(t, "interrupted\n", errs.String())
}

func TestCommandLineMistakes(t *testing.T) {
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"generat"}, "generate"},
		{[]string{"generate", "--jsn"}, "Did you mean --json?\nSee phasewright generate --help."},
		{[]string{"generate", "--week", "two"}, "--week"},
		{[]string{"generate", "--json", "--why"}, "--why and --week are for text"},
		{[]string{"generate", "--week", "9"}, "the program has weeks 1 to 8"},
		{[]string{"generate", "--week", "0"}, "the program has weeks 1 to 8"},
		{[]string{"generate", "more"}, "See phasewright generate --help."},
		{[]string{"generate", "-f", "no-such-file.yaml"}, "no-such-file.yaml: no such file or directory"},
		{[]string{"generate", "-f", ""}, "-f needs a file"},
		{[]string{"generate", "-f", "-"}, "standard input: is empty"},
		{[]string{"audit"}, "-f is needed"},
		{[]string{"estimate", "back-squat"}, "back-squat has no set"},
		{[]string{"estimate", "100kgx5"}, "comes without its exercise"},
		{[]string{"estimate", "back-squat", "bench-press", "100kgx5"}, "back-squat has no set"},
		{[]string{"estimate", "--set", "100kgx5"}, "--set needs one --exercise"},
		{[]string{"estimate", "--exercise", "back-squat"}, "estimate back-squat 100kgx5"},
		{[]string{"estimate", "--sex", "male"}, "--sex goes with sets"},
		{[]string{"estimate", "-f", "x.yaml", "back-squat", "100kgx5"}, "either a file or sets"},
		{[]string{"estimate", "back-sqat", "100kgx5"}, "did you mean back-squat"},
		{[]string{"estimate", "back-squat", "100kgx5", "--date", "soon"}, "--date: "},
		{[]string{"estimate", "back-squat", "100kgx5", "--unit", "stone"}, "--unit: "},
		{[]string{"estimate", "back-squat", "100kgx5", "--sex", "x"}, "--sex: "},
		{[]string{"estimate", "back-squat", "100kgx5", "--age-band", "adlt"}, "did you mean adult?"},
		{[]string{"estimate", "back-squat", "100kgx5", "--body-mass", "80"}, "--body-mass: 80 of what?"},
		{[]string{"estimate", "back-squat", "100kgx5", "--reps", "40"}, "--reps: is 40"},
		{[]string{"estimate", "back-squat", "100kgx5,2026-11-27"}, "back-squat 100kgx5,2026-11-27, date: 2026-11-27 lies after 2026-11-26"},
		{[]string{"estimate", "pull-up", "bwx5"}, "--body-mass: is needed"},
		{[]string{"estimate", "back-squat", "100kgx1", "100kgx60"}, "back-squat 100kgx60, reps: 100 kg for 60 repetitions can't be true beside back-squat 100kgx1,"},
		{[]string{"strategies", "linar"}, "did you mean linear?"},
		{[]string{"strategies", "zzzzzzzzzz"}, "there is autoregulated, block, constant"},
		{[]string{"exercises", "bench-pres"}, "did you mean bench-press"},
		{[]string{"exercises", "--muscle", "chst"}, "did you mean chest?"},
		{[]string{"exercises", "--place-preset", "xyz"}, "there is full-gym, dumbbells"},
	} {
		got := run(t, "", c.args...)
		require.Equal(t, exitInvalid, got.code, c.args)
		require.Contains(t, got.err, c.says, c.args)
		require.Empty(t, got.out, c.args)
	}
}

func TestHelp(t *testing.T) {
	for _, args := range [][]string{{}, {"--help"}, {"help"}} {
		got := run(t, "", args...)
		require.Equal(t, exitOK, got.code)
		require.Contains(t, got.out, "phasewright generate -f request.yaml")
		require.Contains(t, got.out, "4    refused for safety")
		require.Empty(t, got.err)
	}
	for _, cmd := range []string{"generate", "audit", "estimate", "strategies", "exercises", "version"} {
		got := run(t, "", cmd, "--help")
		require.Equal(t, exitOK, got.code)
		require.Contains(t, got.out, "Usage:\n  phasewright "+cmd)
	}
}
