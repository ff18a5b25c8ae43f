// Package service holds the use cases in domain types. What a transport adds
// (messages, status codes, paging) is not known here.
package service

import (
	"context"
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/audit"
	"github.com/phasewright/phasewright/engine/compare"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Engine is what the use cases run on; engine.Engine is one.
type Engine interface {
	Generate(context.Context, plan.Request) (plan.Program, error)
	Rework(context.Context, *plan.Program, plan.Request, plan.Rework) (plan.Program, error)
	Arms(context.Context, plan.Request, []plan.Arm, plan.Equating) (plan.Comparison, error)
	Relaxations(context.Context, plan.Request) ([]engine.Relaxation, error)
	Audit(*plan.Program) []plan.Finding
	Estimate(context.Context, plan.StrengthQuery) (plan.StrengthReport, error)
	Strategies() []plan.Descriptor
	Strategy(id string) (plan.Descriptor, error)
	Catalogue() *exercise.Catalogue
}

// Service runs the use cases. It is safe for concurrent use. Without storage it keeps
// nothing, and what is stored is Refused NO_STORE.
type Service struct {
	engine  Engine
	storage *Storage
	mint    *Mint
	tokens  *tokens
}

// New makes a service.
func New(e Engine, options ...Option) *Service {
	s := &Service{engine: e}
	for _, o := range options {
		o(s)
	}
	return s
}

// Generate makes the program of a request. Its faults are those of engine.Engine.
func (s *Service) Generate(ctx context.Context, r plan.Request) (plan.Program, error) {
	return s.engine.Generate(ctx, r)
}

// Relaxations says what changes of a request would gain, as engine.Engine does.
func (s *Service) Relaxations(ctx context.Context, r plan.Request) ([]engine.Relaxation, error) {
	return s.engine.Relaxations(ctx, r)
}

// Regenerated is a program made again.
type Regenerated struct {
	Program plan.Program
	Changes []plan.Change // from the one before
}

// Regenerate makes a program again from a day on. Its faults are those of engine.Engine.
func (s *Service) Regenerate(ctx context.Context, base *plan.Program, r plan.Request, how plan.Rework) (Regenerated, error) {
	made, err := s.engine.Rework(ctx, base, r, how)
	if err != nil {
		return Regenerated{}, err
	}
	return Regenerated{Program: made, Changes: compare.Programs(base, &made)}, nil
}

// Audited is what an audit found.
type Audited struct {
	Findings []plan.Finding // the gravest first
	Rules    []plan.Rule    // those that the findings name, by id
	Intact   bool           // the digest fits the content
}

// Audit checks a program from its numbers alone. The error is a fault.Canceled, or
// Internal where the program has no canonical encoding.
func (s *Service) Audit(ctx context.Context, p *plan.Program) (Audited, error) {
	if err := ctx.Err(); err != nil {
		return Audited{}, fault.Wrap(fault.Canceled, "CANCELED", err)
	}
	intact, err := p.Intact()
	if err != nil {
		return Audited{}, fault.Wrap(fault.Internal, "ENCODING", err)
	}
	out := Audited{Findings: s.engine.Audit(p), Intact: intact}
	named := map[plan.RuleID]bool{}
	for i := range out.Findings {
		named[out.Findings[i].Rule] = true
	}
	for _, r := range audit.Rules() {
		if named[r.ID] {
			out.Rules = append(out.Rules, r)
		}
	}
	return out, nil
}

// Estimate says how strong an athlete is. Its faults are those of engine.Engine.
func (s *Service) Estimate(ctx context.Context, q plan.StrengthQuery) (plan.StrengthReport, error) {
	return s.engine.Estimate(ctx, q)
}

// Strategies lists the strategies by name, then version.
func (s *Service) Strategies(context.Context) ([]plan.Descriptor, error) {
	return s.engine.Strategies(), nil
}

// Strategy finds a strategy by name (its newest version) or name@version. The fault
// is NotFound with the nearest names.
func (s *Service) Strategy(_ context.Context, id string) (plan.Descriptor, error) {
	return s.engine.Strategy(id)
}

// Catalogue gives the exercises.
func (s *Service) Catalogue(context.Context) (*exercise.Catalogue, error) {
	return s.engine.Catalogue(), nil
}

// Exercise finds an exercise by id. The fault is NotFound with the nearest ids.
func (s *Service) Exercise(_ context.Context, id string) (*exercise.Exercise, error) {
	c := s.engine.Catalogue()
	if e, ok := c.ByID(id); ok {
		return e, nil
	}
	says := fmt.Sprintf("there is no exercise %q", id)
	if near := c.Nearest(id, 3); len(near) > 0 {
		says += "; did you mean " + strings.Join(near, " or ") + "?"
	}
	return nil, fault.New(fault.NotFound, "UNKNOWN_EXERCISE", "name", says)
}
