package app

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/wire"
)

var rewrite = flag.Bool("rewrite", false, "write the scenarios' golden files and digests anew")

const scenarios = "../../testdata/scenarios"

// scenarioNames lists the directories, sorted.
func scenarioNames(t testing.TB) []string {
	entries, err := os.ReadDir(scenarios)
	require.NoError(t, err)
	var names []string
	for _, e := range entries {
		if e.IsDir() {
			names = append(names, e.Name())
		}
	}
	require.NotEmpty(t, names)
	return names
}

// generate makes the program of a scenario's request.
func generate(e *engine.Engine, name string) (plan.Program, error) {
	return generateFrom(e, filepath.Join(scenarios, filepath.Base(name), "request.yaml"))
}

func generateFrom(e *engine.Engine, file string) (plan.Program, error) {
	request, err := requestFrom(file)
	if err != nil {
		return plan.Program{}, err
	}
	return e.Generate(context.Background(), request)
}

func requestFrom(file string) (plan.Request, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return plan.Request{}, err
	}
	message, err := wire.ReadRequest(data)
	if err != nil {
		return plan.Request{}, err
	}
	return wire.RequestFromProto(message)
}

// scenarioRequest reads the request of a scenario.
func scenarioRequest(t testing.TB, name string) plan.Request {
	t.Helper()
	request, err := requestFrom(filepath.Join(scenarios, name, "request.yaml"))
	require.NoError(t, err)
	return request
}

// golden compares with a file of the scenario, or writes it. The file of the other
// outcome must not be there.
func golden(t *testing.T, name, file, other, got string) {
	path := filepath.Join(scenarios, name, file)
	if *rewrite {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	const how = "go test ./internal/app -rewrite writes it anew"
	want, err := os.ReadFile(path)
	require.NoError(t, err, how)
	require.Equal(t, string(want), got, how)
	require.NoFileExists(t, filepath.Join(scenarios, name, other))
}

func TestScenarios(t *testing.T) {
	t.Parallel()
	e, err := NewEngine()
	require.NoError(t, err)
	for _, name := range scenarioNames(t) {
		t.Run(name, func(t *testing.T) { scenario(t, e, name) })
	}
}

func scenario(t *testing.T, e *engine.Engine, name string) {
	data, err := os.ReadFile(filepath.Join(scenarios, name, "must.yaml"))
	require.NoError(t, err)
	m, err := readMust(data)
	require.NoError(t, err)
	p, err := generate(e, name)

	if m.Refused != nil {
		require.Error(t, err)
		for _, problem := range m.Refused.broken(err) {
			t.Error(problem)
		}
		golden(t, name, "refusal.txt", "program.txt", err.Error()+"\n")
		return
	}
	require.NoError(t, err)

	again, err := generate(e, name)
	require.NoError(t, err)
	require.Equal(t, p.Digest, again.Digest, "the same request gives the same program")
	intact, err := p.Intact()
	require.NoError(t, err)
	require.True(t, intact, "the digest is the program's")

	v := newView(t, e, &p)
	for _, problem := range m.broken(v) {
		t.Error(problem)
	}
	golden(t, name, "program.txt", "refusal.txt", v.text)
}

func newView(t testing.TB, e *engine.Engine, p *plan.Program) *view {
	var text bytes.Buffer
	require.NoError(t, export.Text(&text, p, export.Options{Catalogue: e.Catalogue()}))
	findings := slices.Clone(p.Findings)
	for _, f := range e.Audit(p) {
		if !slices.Contains(findings, f) {
			findings = append(findings, f)
		}
	}
	training, apart := parted(p)
	return &view{
		program: training, apart: apart, catalogue: catalogueOf(t, e, p), findings: findings, text: text.String(),
		sibling: func(name string) (*plan.Program, error) {
			p, err := generate(e, name)
			return &p, err
		},
	}
}

// catalogueOf gives the exercises that a program may have: its own too.
func catalogueOf(t testing.TB, e *engine.Engine, p *plan.Program) *exercise.Catalogue {
	c, err := e.Catalogue().WithOwn(p.Request.Own)
	require.NoError(t, err)
	return c
}

// broken gives what doesn't hold of a program. That an audit finds no violation is
// wanted of every one.
func (m *must) broken(v *view) []string {
	audited := property{NoFinding: &noFinding{Level: "violation"}}
	list := audited.broken(v)
	for i := range m.Program {
		list = append(list, m.Program[i].broken(v)...)
	}
	return list
}

// broken gives what doesn't hold of an error.
func (r *refusal) broken(err error) []string {
	f, ok := fault.As(err)
	if !ok {
		return []string{fmt.Sprintf("%v is no fault", err)}
	}
	var bad []string
	if f.Kind.String() != r.Kind {
		bad = append(bad, fmt.Sprintf("the fault is %s, wanted %s", f.Kind, r.Kind))
	}
	said := false
	for _, x := range f.Violations {
		if x.Field != r.Field {
			continue
		}
		said = true
		for _, part := range r.Says {
			if !containsFold(x.Says, part) {
				bad = append(bad, fmt.Sprintf("%s says %q, wanted %q in it", x.Field, x.Says, part))
			}
		}
	}
	if !said {
		bad = append(bad, fmt.Sprintf("nothing is said of %s: %s", r.Field, strings.ReplaceAll(err.Error(), "\n", "; ")))
	}
	return bad
}

func TestRefusalCatches(t *testing.T) {
	err := fault.New(fault.Infeasible, "ENTRY_NOT_MET", "plan.entry_conditions[0]", "asks for 120 kg in Back squat")
	right := refusal{Kind: "infeasible", Field: "plan.entry_conditions[0]", Says: []string{"back squat", "120 kg"}}
	require.Empty(t, right.broken(err))
	require.Empty(t, right.broken(fmt.Errorf("wrapped: %w", err)))
	for _, c := range []struct {
		want string
		by   func(*refusal)
	}{
		{"wanted invalid", func(r *refusal) { r.Kind = "invalid" }},
		{"nothing is said of goals", func(r *refusal) { r.Field = "goals" }},
		{`wanted "130 kg"`, func(r *refusal) { r.Says = []string{"130 kg"} }},
	} {
		wrong := right
		c.by(&wrong)
		list := wrong.broken(err)
		require.Len(t, list, 1)
		require.Contains(t, list[0], c.want)
	}
	require.Len(t, right.broken(errors.New("other")), 1)
}
