package load

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func TestEstimateTestedOneRM(t *testing.T) {
	s, out, err := Estimate(curve(t, FamilySquat), []Evidence{{Grams: 140_000, Reps: 1, Tested: true}}, plan.Advanced)
	require.NoError(t, err)
	require.Empty(t, out)
	require.Equal(t, int64(140_000), s.OneRMGrams)
	require.Equal(t, 1, s.N)
	require.InDelta(t, 29, s.SDPermille, 2) // 2.5 % repeatability and the shared part
	require.InDelta(t, 138_000, WorkingOneRM(s), 500)
}

func TestEstimateFromSets(t *testing.T) {
	c := curve(t, FamilyBench)
	one := func(e Evidence) Strength {
		s, _, err := Estimate(c, []Evidence{e}, plan.Intermediate)
		require.NoError(t, err)
		return s
	}
	fail := one(Evidence{Grams: 90_000, Reps: 4, Failure: true}) // 4.0 repetitions are 90 %
	require.Equal(t, int64(100_000), fail.OneRMGrams)
	require.InDelta(t, 58, fail.SDPermille, 3) // 5 % and the curve's own error

	eight := one(Evidence{Grams: 80_000, Reps: 8, Failure: true})
	require.Greater(t, eight.SDPermille, fail.SDPermille)
	twelve := one(Evidence{Grams: 73_000, Reps: 12, Failure: true})
	require.Greater(t, twelve.SDPermille, eight.SDPermille)

	// Reported reserve: half a repetition on top, since people call too few.
	rir0 := one(Evidence{Grams: 80_000, Reps: 8, RIR: plan.Some(int32(0))})
	require.Equal(t, eight.OneRMGrams, rir0.OneRMGrams)
	rir2 := one(Evidence{Grams: 80_000, Reps: 6, RIR: plan.Some(int32(2))})
	require.Equal(t, roundDiv(80_000*10_000, int64(c.IntensityBP(85))), rir2.OneRMGrams)
	require.Greater(t, rir2.SDPermille, one(Evidence{Grams: 80_000, Reps: 8, Failure: true}).SDPermille-1)
	// Failure makes a reported reserve irrelevant; no report at all widens the SD.
	require.Equal(t, eight, one(Evidence{Grams: 80_000, Reps: 8, Failure: true, RIR: plan.Some(int32(3))}))
	silent := one(Evidence{Grams: 80_000, Reps: 8})
	require.Equal(t, eight.OneRMGrams, silent.OneRMGrams)
	require.Greater(t, silent.SDPermille, eight.SDPermille)
	// Old evidence is worth less, and less so for those who change slowly.
	old := one(Evidence{Grams: 80_000, Reps: 8, Failure: true, AgeDays: 120})
	require.Greater(t, old.SDPermille, eight.SDPermille)
	adv, _, err := Estimate(c, []Evidence{{Grams: 80_000, Reps: 8, Failure: true, AgeDays: 120}}, plan.Advanced)
	require.NoError(t, err)
	require.Less(t, adv.SDPermille, old.SDPermille)
}

func TestEstimateWeighsAndLeavesOut(t *testing.T) {
	c := curve(t, FamilyBench)
	fresh := Evidence{Grams: 90_000, Reps: 4, Failure: true}            // 100 kg
	old := Evidence{Grams: 81_000, Reps: 4, Failure: true, AgeDays: 90} // 90 kg
	s, out, err := Estimate(c, []Evidence{fresh, old}, plan.Novice)
	require.NoError(t, err)
	require.Empty(t, out)
	require.Greater(t, s.OneRMGrams, int64(98_000))
	require.Less(t, s.OneRMGrams, int64(100_000))

	typo := Evidence{Grams: 190_000, Reps: 4, Failure: true, AgeDays: 2}
	week := Evidence{Grams: 91_000, Reps: 4, Failure: true, AgeDays: 7}
	s, out, err = Estimate(c, []Evidence{fresh, typo, week}, plan.Intermediate)
	require.NoError(t, err)
	require.Equal(t, []Outlier{{Index: 1, Grams: 211_111, Why: LeftOutFar}}, out)
	require.Equal(t, 2, s.N)
	require.InDelta(t, 100_500, s.OneRMGrams, 300)

	long := Evidence{Grams: 50_000, Reps: 25, Failure: true, AgeDays: 1}
	s, out, err = Estimate(c, []Evidence{long, fresh}, plan.Intermediate)
	require.NoError(t, err)
	require.Equal(t, []Outlier{{Index: 0, Grams: 89_944, Why: LeftOutManyReps}}, out)
	require.Equal(t, int64(100_000), s.OneRMGrams)
	s, out, err = Estimate(c, []Evidence{long}, plan.Intermediate)
	require.NoError(t, err)
	require.Empty(t, out)
	require.Greater(t, s.SDPermille, int32(250))
	// Beyond the curve its end is a floor.
	s, _, err = Estimate(c, []Evidence{{Grams: 48_830, Reps: 60, Failure: true}}, plan.Intermediate)
	require.NoError(t, err)
	require.InDelta(t, 100_000, s.OneRMGrams, 100)

	// Sets of one day share an error: three of them are not three days.
	day, _, err := Estimate(c, []Evidence{fresh, fresh, fresh}, plan.Intermediate)
	require.NoError(t, err)
	one, _, err := Estimate(c, []Evidence{fresh}, plan.Intermediate)
	require.NoError(t, err)
	require.InDelta(t, one.SDPermille, day.SDPermille, 1)
	w1, w2 := fresh, fresh
	w1.AgeDays, w2.AgeDays = 3, 6
	days, _, err := Estimate(c, []Evidence{fresh, w1, w2}, plan.Intermediate)
	require.NoError(t, err)
	require.Less(t, days.SDPermille, one.SDPermille)

	// Two camps: none is called wrong, the SD says it instead.
	low := Evidence{Grams: 50_000, Reps: 4, Failure: true, AgeDays: 1}
	low2, high2 := low, fresh
	low2.AgeDays, high2.AgeDays = 2, 3
	s, out, err = Estimate(c, []Evidence{fresh, high2, low, low2}, plan.Intermediate)
	require.NoError(t, err)
	require.Empty(t, out)
	require.Greater(t, s.SDPermille, int32(100))
}

func TestEstimateRefuses(t *testing.T) {
	c := curve(t, FamilyBench)
	_, _, err := Estimate(c, nil, plan.Novice)
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.NotFound, f.Kind)
	_, _, err = Estimate(c, []Evidence{
		{Grams: 100_000, Reps: 5},
		{Grams: 0, Reps: 0, RIR: plan.Some(int32(11)), AgeDays: -1},
		{Grams: 100_000, Reps: 3, Tested: true},
	}, plan.Novice)
	f, ok = fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.Invalid, f.Kind)
	var fields []string
	for _, v := range f.Violations {
		fields = append(fields, v.Field)
	}
	require.Equal(t, []string{"evidence[1].age_days", "evidence[1].grams", "evidence[1].reps", "evidence[1].rir", "evidence[2].reps"}, fields)
}

func TestEstimateLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := curve(t, rapid.SampledFrom(Families()).Draw(t, "family"))
		list := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Evidence {
			e := Evidence{
				Grams: rapid.Int64Range(1, 2_000_000).Draw(t, "grams"), Reps: rapid.Int32Range(1, 60).Draw(t, "reps"),
				Failure: rapid.Bool().Draw(t, "failure"), AgeDays: rapid.Int32Range(0, 2000).Draw(t, "age"),
			}
			if rapid.Bool().Draw(t, "known") {
				e.RIR = plan.Some(rapid.Int32Range(0, 10).Draw(t, "rir"))
			}
			return e
		}), 1, 12).Draw(t, "evidence")
		s, out, err := Estimate(c, list, plan.Novice)
		require.NoError(t, err)
		require.Equal(t, len(list), s.N+len(out))
		require.Positive(t, s.N)
		require.GreaterOrEqual(t, s.SDPermille, int32(15))
		require.LessOrEqual(t, s.SDPermille, int32(500))
		require.LessOrEqual(t, WorkingOneRM(s), s.OneRMGrams)
		lo, hi := int64(1)<<62, int64(0)
		for _, e := range list {
			got, _, err := Estimate(c, []Evidence{e}, plan.Novice)
			require.NoError(t, err)
			require.GreaterOrEqual(t, got.OneRMGrams, e.Grams)
			lo, hi = min(lo, got.OneRMGrams), max(hi, got.OneRMGrams)
		}
		require.True(t, s.OneRMGrams >= lo && s.OneRMGrams <= hi)
		again, _, err := Estimate(c, list, plan.Novice)
		require.NoError(t, err)
		require.Equal(t, s, again)
	})
}

func TestIsqrt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Int64Range(-5, 1<<60).Draw(t, "v")
		r := isqrt(v)
		if v <= 0 {
			require.Zero(t, r)
			return
		}
		require.LessOrEqual(t, r*r, v)
		require.Greater(t, (r+1)*(r+1), v)
	})
}
