package app

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// TestThoroughSearch: who asks for it gets more work on every part that leaves a gap, a
// first part that is no worse, and the same program every time.
func TestThoroughSearch(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds long")
	}
	e, err := NewEngine()
	require.NoError(t, err)
	e = e.WithBudget(schedule.DefaultBudget / 6)
	request := scenarioRequest(t, "three-unequal-days")
	usual, err := e.Generate(t.Context(), request)
	require.NoError(t, err)
	request.Search = plan.SearchThorough
	longer, err := e.Generate(t.Context(), request)
	require.NoError(t, err)

	was, now := usual.Allocations[0], longer.Allocations[0]
	require.False(t, was.Proven[schedule.LevelRest], "it shows nothing where all is proven at once")
	require.Greater(t, now.Work, 16*was.Work)
	for l := range was.Value {
		if was.Value[l] != now.Value[l] {
			require.Less(t, now.Value[l], was.Value[l])
			break
		}
		require.GreaterOrEqual(t, now.Bound[l], was.Bound[l])
	}
	t.Logf("usual %v of %v, thorough %v of %v", was.Value, was.Bound, now.Value, now.Bound)
	again, err := e.Generate(t.Context(), request)
	require.NoError(t, err)
	require.Equal(t, longer.Digest, again.Digest)
}
