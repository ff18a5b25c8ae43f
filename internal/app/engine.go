package app

import (
	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/internal/service"
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

// ExtendEngine makes an engine that has some exercises beside the built-in ones: what
// service.Storage needs as Extend. The fault is that of exercise.Catalogue.With.
func ExtendEngine(own []exercise.Exercise) (service.Engine, error) {
	registry, err := engine.NewRegistry(strategies.Builtin()...)
	if err != nil {
		return nil, err
	}
	catalogue, err := exercise.Load()
	if err != nil {
		return nil, err
	}
	if catalogue, err = catalogue.With(own); err != nil {
		return nil, err
	}
	return engine.New(registry, catalogue), nil
}
