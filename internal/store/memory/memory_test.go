package memory_test

import (
	"testing"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
	"github.com/phasewright/phasewright/internal/store/storetest"
)

func open(_ *testing.T, now func() service.Instant) service.Store { return memory.New(now) }

func plain(now func() service.Instant) service.Store { return memory.New(now) }

func TestConformance(t *testing.T) { storetest.Run(t, open) }

// Of two equal stores this shows that the same calls give the same answers.
func TestModel(t *testing.T) { storetest.Model(t, open, plain, 1, storetest.Steps(2000)) }
