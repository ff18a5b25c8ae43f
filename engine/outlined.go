package engine

import (
	"context"

	"github.com/phasewright/phasewright/engine/plan"
)

// Outline gives what the strategies of a request's plan, composed and wrapped, ask for:
// the program before it knows an exercise or a load. Its faults are those of Generate,
// but for what only the later stages find; safety is not judged.
func (e *Engine) Outline(ctx context.Context, r plan.Request) (plan.Outline, error) {
	b, err := e.settle(r, plan.Opt[plan.Date]{})
	if err != nil {
		return plan.Outline{}, err
	}
	g := &generation{engine: e, brief: b}
	if err := g.shape(ctx); err != nil {
		return plan.Outline{}, err
	}
	return g.outline, nil
}
