package load

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/plan"
)

// toFailure gives the repetitions of sets all taken to failure, in tenths.
func toFailure(fresh int32, sets int, rest plan.Seconds) (each []int32, total int32) {
	f := DefaultFatigue()
	var d Debt
	for range sets {
		c := f.Capacity(fresh, d)
		each, total = append(each, c), total+c
		d = f.Next(d, fresh, Done{c, rest})
	}
	return each, total
}

func TestPublishedSetToSetDrop(t *testing.T) {
	t.Run("bench 70 %, 3 sets, 1 min (Silva 2014)", func(t *testing.T) {
		_, total := toFailure(140, 3, 60)
		require.InDelta(t, 266, total, 5)
	})
	t.Run("share of the first set in the second, by rest", func(t *testing.T) {
		// The knee extension gave 52 % at 1 min and 74 % at 3 min (Rev Bras Med Esporte
		// 2007); the bench press keeps more at 3 min, about 85 to 90 % (judgement), about
		// 93 to 95 % at 5 min (Senna 2009) and all but everything at 8 (Hernandez 2021).
		for rest, want := range map[plan.Seconds][2]int32{60: {470, 530}, 180: {840, 900}, 300: {920, 960}, 480: {950, 1000}} {
			each, _ := toFailure(100, 2, rest)
			got := each[1] * 1000 / each[0]
			require.True(t, got >= want[0] && got <= want[1], "%d s: %d", rest, got)
		}
	})
	t.Run("8RM, 4 sets: totals against 1 min (Willardson & Burkett 2005)", func(t *testing.T) {
		// Published: bench 1.26 and 1.50, squat 1.14 and 1.28. One model for all lifts,
		// so it has to stay near the bench press.
		_, one := toFailure(80, 4, 60)
		_, two := toFailure(80, 4, 120)
		_, five := toFailure(80, 4, 300)
		require.InDelta(t, 1.26, float64(two)/float64(one), 0.10)
		require.InDelta(t, 1.50, float64(five)/float64(one), 0.20)
	})
	t.Run("10RM, 3 sets (Senna 2009: 71.1 and 83.7 of 90)", func(t *testing.T) {
		// The published sums run over three exercises that tire each other a little.
		_, two := toFailure(100, 3, 120)
		_, five := toFailure(100, 3, 300)
		require.InDelta(t, 790, two*1000/300, 40)
		require.InDelta(t, 930, five*1000/300, 40)
	})
	t.Run("bench 75 %, 6 sets: failure costs more than 1 RIR, 1 more than 3 (Refalo 2023)", func(t *testing.T) {
		f := DefaultFatigue()
		after := func(left int32) int32 { return f.After(Debt{}, 115, 115-left).Fast }
		require.Greater(t, after(0), 3*after(10)/2)
		require.Greater(t, after(10), 3*after(30)/2)
	})
	t.Run("3RM: nothing lost in whole repetitions at 3 min (Scudese 2015)", func(t *testing.T) {
		each, _ := toFailure(30, 2, 180)
		require.GreaterOrEqual(t, each[1], int32(26))
	})
}

func TestSequence(t *testing.T) {
	f := DefaultFatigue()
	got := f.Sequence(140, []Done{{80, 120}, {80, 120}, {80, 120}})
	require.Len(t, got, 4)
	require.Equal(t, int32(140), got[0])
	for i := 1; i < len(got); i++ {
		require.Less(t, got[i], got[i-1])
	}
	require.Equal(t, []int32{100}, f.Sequence(100, nil))
	// The same debt at another load: the same share of its fresh repetitions.
	d := f.Next(Debt{}, 140, Done{140, 60})
	require.InDelta(t, float64(f.Capacity(100, d))/100, float64(f.Capacity(200, d))/200, 0.01)
	require.Equal(t, Debt{}, f.After(Debt{}, 100, 0))
	require.Equal(t, int32(0), f.Capacity(100, Debt{Fast: 9000, Slow: 3000}))
}

func TestFatigueLaws(t *testing.T) {
	f := DefaultFatigue()
	rapid.Check(t, func(t *rapid.T) {
		fresh := rapid.Int32Range(10, 300).Draw(t, "fresh")
		n := rapid.IntRange(1, 6).Draw(t, "sets")
		sets := make([]Done, n)
		for i := range sets {
			sets[i] = Done{rapid.Int32Range(0, 300).Draw(t, "reps"), plan.Seconds(rapid.Int32Range(0, 900).Draw(t, "rest"))}
		}
		base := f.Sequence(fresh, sets)
		for _, c := range base {
			require.GreaterOrEqual(t, c, int32(0))
			require.LessOrEqual(t, c, fresh)
		}
		at := rapid.IntRange(0, n-1).Draw(t, "at")

		longer := append([]Done(nil), sets...)
		longer[at].Rest += plan.Seconds(rapid.Int32Range(0, 600).Draw(t, "more"))
		for i, c := range f.Sequence(fresh, longer) {
			require.GreaterOrEqual(t, c, base[i], "longer rest never gives less")
		}
		fewer := append([]Done(nil), sets...)
		fewer[at].RepsTenths = max(0, fewer[at].RepsTenths-rapid.Int32Range(0, 100).Draw(t, "fewer"))
		for i, c := range f.Sequence(fresh, fewer) {
			require.GreaterOrEqual(t, c, base[i], "more in reserve never gives less")
		}
	})
}

func TestFreshFor(t *testing.T) {
	f := DefaultFatigue()
	rapid.Check(t, func(t *rapid.T) {
		sets, reps := rapid.Int32Range(1, 6).Draw(t, "sets"), rapid.Int32Range(1, 12).Draw(t, "reps")
		rest := plan.Seconds(rapid.Int32Range(30, 300).Draw(t, "rest"))
		rir := rapid.Int32Range(0, 40).Draw(t, "rir")
		fresh, ok := f.FreshFor(sets, reps, rest, rir, 300)
		if !ok {
			return
		}
		list := make([]Done, sets-1)
		for i := range list {
			list[i] = Done{reps * 10, rest}
		}
		got := f.Sequence(fresh, list)
		require.GreaterOrEqual(t, got[len(got)-1], reps*10+rir)
		if fresh > reps*10+rir {
			got = f.Sequence(fresh-1, list)
			short := got[len(got)-1] < reps*10+rir
			for _, c := range got {
				short = short || c < reps*10
			}
			require.True(t, short, "one tenth less is not enough")
		}
		longer, ok := f.FreshFor(sets, reps, rest+60, rir, 300)
		require.True(t, ok)
		require.LessOrEqual(t, longer, fresh)
	})
	fresh, ok := f.FreshFor(1, 8, 60, 20, 300)
	require.True(t, ok)
	require.Equal(t, int32(100), fresh)
	_, ok = f.FreshFor(5, 20, 30, 0, 300)
	require.False(t, ok)
	// 4 x 8-12 to failure with 1 min rest starts above the range or drops the load.
	fresh, ok = f.FreshFor(4, 8, 60, 0, 300)
	require.True(t, ok)
	require.Greater(t, fresh, int32(110))
}
