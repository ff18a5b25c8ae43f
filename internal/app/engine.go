package app

import (
	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/strategies"
)

// NewEngine makes the engine that everything shipped here runs: the built-in
// strategies and the built-in catalogue. An error is a broken build.
func NewEngine() (*engine.Engine, error) {
	registry, err := engine.NewRegistry(strategies.Builtin()...)
	if err != nil {
		return nil, err
	}
	catalogue, err := exercise.Load()
	if err != nil {
		return nil, err
	}
	return engine.New(registry, catalogue), nil
}
