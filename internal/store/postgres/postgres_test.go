//go:build unix

package postgres

import (
	"testing"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
	"github.com/phasewright/phasewright/internal/store/storetest"
)

func TestConformance(t *testing.T) { storetest.Run(t, open) }

func TestModel(t *testing.T) {
	storetest.Model(t, open, func(now func() service.Instant) service.Store { return memory.New(now) }, 3, storetest.Steps(1000))
}
