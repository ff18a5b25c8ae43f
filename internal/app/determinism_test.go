package app

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
)

// digestLines gives "name digest" of each scenario, or "name refused", in the order of
// the names.
func digestLines(e *engine.Engine, names []string) []string {
	lines := make([]string, len(names))
	for i, name := range names {
		lines[i] = digestLine(e, name)
	}
	return lines
}

func digestLine(e *engine.Engine, name string) string {
	p, err := generate(e, name)
	if err != nil {
		return name + " refused"
	}
	return name + " " + p.Digest
}

// TestDeterminism holds every scenario's digest against the one on record, whatever the
// number of processors and whoever else uses the engine.
func TestDeterminism(t *testing.T) {
	path := filepath.Join(scenarios, "digests.txt")
	all := scenarioNames(t)
	e, err := NewEngine()
	require.NoError(t, err)
	if *rewrite {
		require.NoError(t, os.WriteFile(path, []byte(strings.Join(digestLines(e, all), "\n")+"\n"), 0o644))
	}
	data, err := os.ReadFile(path)
	require.NoError(t, err, "go test ./internal/app -rewrite writes it anew")
	record := strings.Split(strings.TrimSuffix(string(data), "\n"), "\n")
	require.Len(t, record, len(all), "one line a scenario")

	names, want := all, record
	if testing.Short() {
		names, want = nil, nil
		for i := 0; i < len(all); i += 3 {
			names, want = append(names, all[i]), append(want, record[i])
		}
	}
	for i, name := range names {
		require.True(t, strings.HasPrefix(want[i], name+" "), "line %q is not that of %s", want[i], name)
	}

	for _, procs := range []int{1, 2} {
		t.Run(fmt.Sprintf("procs=%d", procs), func(t *testing.T) {
			before := runtime.GOMAXPROCS(procs)
			defer runtime.GOMAXPROCS(before)
			require.Equal(t, want, digestLines(e, names))
		})
	}
	t.Run("together", func(t *testing.T) {
		// One engine for all, twice over, so that shared state would show.
		got := [2][]string{make([]string, len(names)), make([]string, len(names))}
		var wg sync.WaitGroup
		for round := range got {
			for i, name := range names {
				wg.Go(func() { got[round][i] = digestLine(e, name) })
			}
		}
		wg.Wait()
		require.Equal(t, want, got[0])
		require.Equal(t, want, got[1])
	})
}
