package service

import (
	"context"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/chart"
)

// Compared is a comparison with its drawings.
type Compared struct {
	Comparison plan.Comparison
	Plots      []plan.Plot
}

// CompareStrategies makes the arms of a comparison; programs and drawings are in the answer
// where they are asked for. Its faults are those of engine.Engine's Arms.
func (s *Service) CompareStrategies(ctx context.Context, q plan.ComparisonQuery) (Compared, error) {
	c, err := s.engine.Arms(ctx, q.Request, q.Arms, q.Rule)
	if err != nil {
		return Compared{}, err
	}
	out := Compared{Comparison: c}
	if q.Plots {
		if out.Plots, err = chart.Arms(&c); err != nil {
			return Compared{}, err
		}
	}
	if !q.Programs {
		for i := range c.Arms {
			c.Arms[i].Program = plan.Program{}
		}
	}
	return out, nil
}
