package engine

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// cells draws an exercise on a day over some weeks, for some arms. Bounds hold what the
// strategies ask for.
func cells(t *rapid.T, rotating bool) ([]cellWeek, int) {
	arms := rapid.IntRange(2, 4).Draw(t, "arms")
	list := make([]cellWeek, rapid.IntRange(1, 4).Draw(t, "weeks"))
	for k := range list {
		x := &list[k]
		x.week, x.times, x.unlike = k, 1, rapid.Bool().Draw(t, "unlike")
		if rotating {
			x.times = rapid.Int32Range(1, 2).Draw(t, "times")
		}
		for range arms {
			lo := rapid.Int32Range(0, 3).Draw(t, "lo")
			most := rapid.Int32Range(lo, 5).Draw(t, "most")
			x.lo, x.most, x.sets = append(x.lo, lo), append(x.most, most), append(x.sets, rapid.Int32Range(lo, most).Draw(t, "sets"))
		}
	}
	return list, arms
}

func cellsCopied(list []cellWeek) []cellWeek {
	out := slices.Clone(list)
	for k := range out {
		out[k].sets = slices.Clone(list[k].sets)
	}
	return out
}

// Every choice within the bounds is tried: where one has equal sums, evened finds equal ones;
// where none has, its gap is the smallest there is.
func TestReferenceSolverOfEvenSets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, arms := cells(t, false)
		was := cellsCopied(list)
		evened(list, arms)
		sums := make([]int32, arms)
		for i := range sums {
			sums[i] = sumOf(list, func(x *cellWeek) int32 { return x.sets[i] })
		}
		require.Equal(t, smallestGap(was, arms), slices.Max(sums)-slices.Min(sums), "%v", sums)
		for k := range list {
			for i := range arms {
				require.GreaterOrEqual(t, list[k].sets[i], list[k].lo[i])
				require.LessOrEqual(t, list[k].sets[i], list[k].most[i])
			}
		}
	})
}

// smallestGap tries every sum that each arm can have.
func smallestGap(list []cellWeek, arms int) int32 {
	best := int32(1 << 30)
	var choose func(i int, least, most int32)
	choose = func(i int, least, most int32) {
		if i == arms {
			best = min(best, most-least)
			return
		}
		for n := range possibleSums(list, i) {
			if i == 0 {
				choose(1, n, n)
			} else {
				choose(i+1, min(least, n), max(most, n))
			}
		}
	}
	choose(0, 0, 0)
	return best
}

func possibleSums(list []cellWeek, arm int) map[int32]bool {
	out := map[int32]bool{0: true}
	for k := range list {
		next := map[int32]bool{}
		for n := range out {
			for s := list[k].lo[arm]; s <= list[k].most[arm]; s++ {
				next[n+list[k].times*s] = true
			}
		}
		out = next
	}
	return out
}

// Arms that ask for the same keep it; weeks of one kind that can be equal and have no sum to
// make up for are; nobody is given sets beyond what was asked while another can come down.
func TestEvenSetsKeepWhatTheyCan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list, arms := cells(t, true)
		for k := range list {
			x := &list[k]
			x.unlike = false
			for i := range arms {
				x.lo[i], x.most[i], x.sets[i] = x.lo[0], x.most[0], x.sets[0]
			}
		}
		was := cellsCopied(list)
		evened(list, arms)
		require.Equal(t, was, list)

		list, arms = cells(t, true)
		for k := range list {
			x := &list[k]
			x.unlike = false
			for i := range arms { // one set is open to all, and all may have what the fewest have
				x.lo[i] = min(x.lo[i], 1)
				x.sets[i] = max(x.sets[i], 1)
				x.most[i] = max(x.most[i], x.sets[i])
			}
		}
		was = cellsCopied(list)
		evened(list, arms)
		for k := range list {
			for i := range arms {
				require.Equal(t, slices.Min(was[k].sets), list[k].sets[i])
			}
		}
	})
}
