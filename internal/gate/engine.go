package gate

import (
	"context"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// Engine puts a gate before what an engine computes long: making programs. Checks and
// estimates take a hundredth of that and go through.
func (g *Gate) Engine(e service.Engine) service.Engine { return gated{e, g} }

type gated struct {
	service.Engine
	gate *Gate
}

type bulkKey struct{}

// Bulk marks what is done in a context as bulk work.
func Bulk(ctx context.Context) context.Context { return context.WithValue(ctx, bulkKey{}, true) }

func (e gated) enter(ctx context.Context) (func(), error) {
	if ctx.Value(bulkKey{}) != nil {
		return e.gate.EnterBulk(ctx)
	}
	c, _ := service.CallerOf(ctx)
	return e.gate.Enter(ctx, string(c.Tenant))
}

func (e gated) Generate(ctx context.Context, r plan.Request) (plan.Program, error) {
	leave, err := e.enter(ctx)
	if err != nil {
		return plan.Program{}, err
	}
	defer leave()
	return e.Engine.Generate(ctx, r)
}

func (e gated) Relaxations(ctx context.Context, r plan.Request) ([]engine.Relaxation, error) {
	leave, err := e.enter(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	return e.Engine.Relaxations(ctx, r)
}

func (e gated) Rework(ctx context.Context, p *plan.Program, r plan.Request, w plan.Rework) (plan.Program, error) {
	leave, err := e.enter(ctx)
	if err != nil {
		return plan.Program{}, err
	}
	defer leave()
	return e.Engine.Rework(ctx, p, r, w)
}

func (e gated) Arms(ctx context.Context, r plan.Request, arms []plan.Arm, rule plan.Equating) (plan.Comparison, error) {
	leave, err := e.enter(ctx)
	if err != nil {
		return plan.Comparison{}, err
	}
	defer leave()
	return e.Engine.Arms(ctx, r, arms, rule)
}
