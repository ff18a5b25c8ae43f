package schedule

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// What is taken back leaves nothing behind.
func TestUndo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := small(t, 12)
		pb := compile(m, randomPrior(t, m))
		if len(pb.pairs) == 0 {
			return
		}
		ls := newSearch(pb, &meter{ctx: context.Background(), limit: math.MaxInt64})
		draw := func() {
			ls.mv = ls.mv[:0]
			for range rapid.IntRange(1, 4).Draw(t, "changes") {
				p := int(rapid.SampledFrom(pb.pairs).Draw(t, "pair"))
				ls.mv = append(ls.mv, change{p, rapid.Int32Range(0, pb.hi[p]).Draw(t, "sets")})
			}
			ls.apply()
		}
		draw()
		kept := append([]int32(nil), ls.st.sets...)
		for range 3 {
			draw()
			ls.undo()
		}
		fresh := newState(pb)
		fresh.load(kept)
		require.Equal(t, fresh, ls.st)
	})
}

// Who is next on a day is who a look at each in turn finds.
func TestNextOnADay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.SampledFrom([]int{1, 5, 63, 64, 65, 130}).Draw(t, "candidates")
		st := &state{pb: &problem{C: n, D: 2}, words: (n + 63) / 64}
		st.on = make([]uint64, 2*st.words)
		there := rapid.SliceOfN(rapid.Bool(), n, n).Draw(t, "there")
		for c, on := range there {
			if on {
				st.on[st.words+c/64] |= 1 << (c % 64)
			}
		}
		from, but := rapid.IntRange(0, n-1).Draw(t, "from"), rapid.IntRange(0, n-1).Draw(t, "but")
		want := -1
		for i := n - 1; i >= 0; i-- {
			if c := (from + i) % n; there[c] && c != but {
				want = c
			}
		}
		require.Equal(t, want, st.from(from, 1, but))
	})
}

// A proposal of a walk that is taken back leaves nothing behind; one that stands is
// counted like the same sets from nothing.
func TestProposals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := small(t, 1_000_000)
		pb := compile(m, randomPrior(t, m))
		if len(pb.pairs) == 0 {
			return
		}
		ls := newSearch(pb, &meter{ctx: context.Background(), limit: math.MaxInt64})
		ls.rng ^= rapid.Uint64().Draw(t, "sequence") >> 1
		ls.grow()
		for range 100 {
			was := append([]int32(nil), ls.st.sets...)
			ls.mv, ls.was = ls.mv[:0], ls.st.tally
			if !ls.propose() {
				ls.undo()
				require.Equal(t, was, ls.st.sets)
			}
		}
		fresh := newState(pb)
		fresh.load(ls.st.sets)
		require.Equal(t, fresh, ls.st)
	})
}
