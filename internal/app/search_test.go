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
	require.Greater(t, now.Work, 8*was.Work)
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

// TestThoroughSearchIsShared: however many parts a program has, what it takes beyond the
// usual is bounded, for one that is made again too.
func TestThoroughSearchIsShared(t *testing.T) {
	const budget = 20_000
	e, err := NewEngine()
	require.NoError(t, err)
	request := scenarioRequest(t, "travel-weeks")
	request.Search = plan.SearchThorough
	solved := int64(0)
	e = e.WithBudget(budget).Watched(func(*schedule.Model, *schedule.Assignment) { solved++ })
	spent := func(p plan.Program) int64 {
		work, seen := int64(0), map[int64]bool{}
		for _, a := range p.Allocations {
			if !seen[a.Work] { // a part of several runs of weeks is listed with each
				work += a.Work
			}
			seen[a.Work] = true
		}
		most := budget * (schedule.ThoroughBudget/schedule.DefaultBudget - 1 + solved)
		t.Logf("%d of at most %d in %d solves", work, most, solved)
		require.Positive(t, solved)
		require.Less(t, work, most+most/10)
		solved = 0
		return work
	}
	p, err := e.Generate(t.Context(), request)
	require.NoError(t, err)
	require.Greater(t, spent(p), int64(20*budget), "nothing was added")
	request = ownRequest(t, &p.Request)
	request.Constraints.Days[0].Minutes -= 10
	p, err = e.Rework(t.Context(), &p, request, plan.Rework{FromWeek: 2})
	require.NoError(t, err)
	spent(p)
}
