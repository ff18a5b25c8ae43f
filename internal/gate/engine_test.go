package gate

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// ready is an engine that answers at once.
type ready struct{ service.Engine }

func (ready) Generate(context.Context, plan.Request) (plan.Program, error) {
	return plan.Program{}, nil
}

func (ready) Rework(context.Context, *plan.Program, plan.Request, plan.Rework) (plan.Program, error) {
	return plan.Program{}, nil
}

func (ready) Arms(context.Context, plan.Request, []plan.Arm, plan.Equating) (plan.Comparison, error) {
	return plan.Comparison{}, nil
}

// Whatever makes programs waits at the gate, and gives its slot back.
func TestMakingProgramsTakesASlot(t *testing.T) {
	g := New(Config{Slots: 1, MaxWait: time.Millisecond})
	e := g.Engine(ready{})
	for name, call := range map[string]func(context.Context) error{
		"generate": func(ctx context.Context) error { _, err := e.Generate(ctx, plan.Request{}); return err },
		"rework": func(ctx context.Context) error {
			_, err := e.Rework(ctx, nil, plan.Request{}, plan.Rework{})
			return err
		},
		"arms": func(ctx context.Context) error { _, err := e.Arms(ctx, plan.Request{}, nil, 0); return err },
	} {
		require.NoError(t, call(context.Background()), name)
		leave, err := g.Enter(context.Background(), "other")
		require.NoError(t, err, "%s kept its slot", name)
		ctx, stop := context.WithTimeout(context.Background(), 10*time.Millisecond)
		f, ok := fault.As(call(ctx))
		stop()
		require.True(t, ok, "%s went by the gate", name)
		require.Contains(t, []fault.Kind{fault.Unavailable, fault.Canceled}, f.Kind, name)
		leave()
	}
}
