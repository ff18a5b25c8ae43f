package engine_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/schedule"
)

// However many parts a program has, and however often each is solved, what a thorough search
// takes beyond the usual is bounded, and each gets a like share of it.
func TestThoroughWorkIsShared(t *testing.T) {
	const budget, extra = 20_000, 20_000 * (schedule.ThoroughBudget/schedule.DefaultBudget - 1)
	e := newEngine(t)
	var m *schedule.Model
	_, err := e.Watched(func(x *schedule.Model, _ *schedule.Assignment) { m = x.Clone() }).Generate(t.Context(), fit())
	require.NoError(t, err)
	for _, shared := range [][2]int{{3, 1}, {1, 4}, {3, 4}} {
		works, err := e.WithBudget(budget).Thorough(t.Context(), m, shared[0], shared[1])
		require.NoError(t, err)
		require.Len(t, works, shared[0]*shared[1])
		sum, like := int64(0), int64(extra/len(works))
		for _, w := range works {
			sum += w - budget
			require.InDelta(t, like, w-budget, float64(like)/4+budget/2, "%v: %v", shared, works)
		}
		require.InDelta(t, extra, sum, extra/10, "%v: %v", shared, works)
	}
	// With so little that each takes more than its share, the last get none, and no more.
	works, err := e.WithBudget(budget/20).Thorough(t.Context(), m, 3, 4)
	require.NoError(t, err)
	for _, w := range works {
		require.Less(t, w, int64(budget), "%v", works)
	}
}
