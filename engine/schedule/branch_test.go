package schedule

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestBranch: from an incumbent that is worse than the optimum by something, or hardly,
// each level's program, with merged days and without, never proves more than the
// optimum that exhaustion finds, and what it proves is that.
func TestBranch(t *testing.T) {
	var runs, proven [LevelCount]int
	rapid.Check(t, func(t *rapid.T) {
		m := small(t, 3000)
		prior := randomPrior(t, m)
		want := optimum(m, prior)
		if want == nil {
			return
		}
		pb := compile(m, prior)
		for level := range LevelCount {
			for _, merge := range []bool{true, false} {
				if level == LevelStability && prior == nil {
					continue
				}
				ls := newSearch(pb, &meter{ctx: context.Background(), limit: 1 << 40})
				copy(ls.bestV[1:], want)
				ls.bestV[0] = 0
				ls.bestV[1+level] += rapid.Int64Range(0, 200).Draw(t, "worse")
				ls.meter.limit = 200_000
				b := newBranch(pb.collapse(level, &ls.bestV, merge), ls)
				narrow := rapid.IntRange(0, 3).Draw(t, "room") == 3
				if narrow { // what has no room for its rows is left, not lost
					b.sx = newSimplex(b.k.l, len(b.k.l.rows)+rapid.IntRange(0, 5).Draw(t, "rows"), b.k.grid)
					b.sx.part = b.k.marks()
				}
				bound, ok := b.search()
				require.LessOrEqual(t, bound, want[level], "level %d", level)
				if narrow {
					require.True(t, !ok || ls.bestV[1+level] == want[level])
					continue
				}
				runs[level]++
				if ok {
					proven[level]++
					require.Equal(t, want[level], ls.bestV[1+level], "level %d", level)
				}
			}
		}
	})
	t.Logf("proven %v of %v", proven, runs)
	require.Greater(t, 10*proven[LevelGoals], 9*runs[LevelGoals])
}
