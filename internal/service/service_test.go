package service

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/audit"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

type found struct {
	Engine
	findings []plan.Finding
}

func (f found) Audit(*plan.Program) []plan.Finding { return f.findings }
func (found) Catalogue() *exercise.Catalogue       { return exercise.Builtin() }

// An audit explains the rules that it names, each once, and no others.
func TestAuditExplainsItsRules(t *testing.T) {
	all := audit.Rules()
	f := []plan.Finding{{Rule: all[3].ID}, {Rule: all[1].ID}, {Rule: all[3].ID}}
	p := &plan.Program{}
	require.NoError(t, p.Seal())
	got, err := New(found{findings: f}).Audit(context.Background(), p)
	require.NoError(t, err)
	require.Equal(t, Audited{Findings: f, Rules: []plan.Rule{all[1], all[3]}, Intact: true}, got)
	p.Seed++
	got, err = New(found{}).Audit(context.Background(), p)
	require.NoError(t, err)
	require.Equal(t, Audited{}, got)
}

func TestAuditEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := New(found{}).Audit(ctx, &plan.Program{})
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.Canceled, f.Kind)
}

func TestExercise(t *testing.T) {
	s := New(found{})
	e, err := s.Exercise(context.Background(), "back-squat")
	require.NoError(t, err)
	require.Equal(t, "Back squat", e.Name)
	_, err = s.Exercise(context.Background(), "back-sqat")
	require.ErrorContains(t, err, "did you mean back-squat")
	f, _ := fault.As(err)
	require.Equal(t, fault.NotFound, f.Kind)
}
