package memory_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
	"github.com/phasewright/phasewright/internal/store/storetest"
)

func open(_ *testing.T, now func() service.Instant) service.Store { return memory.New(now) }

func plain(now func() service.Instant) service.Store { return memory.New(now) }

func TestConformance(t *testing.T) { storetest.Run(t, open) }

func TestConformanceTwice(t *testing.T) {
	storetest.Run(t, func(_ *testing.T, now func() service.Instant) service.Store { return memory.NewTwice(now) })
}

// A function that does not bear to run again is found out.
func TestTwice(t *testing.T) {
	runs := 0
	require.NoError(t, memory.NewTwice(storetest.NewClock().Now).Update(context.Background(), "t", func(service.Tx) error { runs++; return nil }))
	require.Equal(t, 2, runs)
}

// Of two equal stores this shows that the same calls give the same answers.
func TestModel(t *testing.T) { storetest.Model(t, open, plain, 1, storetest.Steps(2000)) }
