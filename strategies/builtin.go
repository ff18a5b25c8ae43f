// Package strategies lists the strategies that come with the engine.
package strategies

import (
	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/strategies/autoregulated"
	"github.com/phasewright/phasewright/strategies/block"
	"github.com/phasewright/phasewright/strategies/constant"
	"github.com/phasewright/phasewright/strategies/linear"
	"github.com/phasewright/phasewright/strategies/strengthsize"
	"github.com/phasewright/phasewright/strategies/undulating"
)

// Builtin gives the built-in strategies, ready for engine.NewRegistry.
func Builtin() []engine.Strategy {
	return []engine.Strategy{
		autoregulated.Strategy{},
		block.Strategy{},
		constant.Strategy{},
		linear.New(),
		linear.NewReverse(),
		strengthsize.Strategy{},
		undulating.Strategy{},
	}
}
