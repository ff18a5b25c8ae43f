package sqlite

import (
	"context"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
	"github.com/phasewright/phasewright/internal/store/storetest"
)

func open(t *testing.T, now func() service.Instant) service.Store { return openAt(t, t.TempDir(), now) }

func openAt(t *testing.T, dir string, now func() service.Instant) *Store {
	t.Helper()
	require.NoError(t, chmod(dir))
	s, err := Open(context.Background(), Config{Dir: dir, Now: now})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

func TestConformance(t *testing.T) { storetest.Run(t, open) }

func TestModel(t *testing.T) {
	storetest.Model(t, open, func(now func() service.Instant) service.Store { return memory.New(now) }, 2, storetest.Steps(2000))
}

func chmod(dir string) error { return os.Chmod(dir, 0o700) }
