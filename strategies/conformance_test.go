package strategies_test

import (
	"testing"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/strategytest"
	"github.com/phasewright/phasewright/strategies"
)

func TestConformance(t *testing.T) {
	for i, s := range strategies.Builtin() {
		t.Run(s.Describe().Name, func(t *testing.T) {
			strategytest.Run(t, func() engine.Strategy { return strategies.Builtin()[i] })
		})
	}
}
