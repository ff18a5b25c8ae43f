package load

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func TestPopulation(t *testing.T) {
	for _, k := range []struct {
		family string
		status plan.Status
		sex    plan.Sex
		age    plan.AgeBand
		mean   int64
		sd     int32
	}{
		{FamilyBench, plan.Intermediate, plan.Male, plan.AgeAdult, 105_600, 300}, // 80 kg × 1.32
		{FamilyBench, plan.Novice, plan.Female, plan.AgeAdult, 44_000, 300},
		{FamilyBench, plan.Novice, plan.Male, plan.AgeOlder, 47_600, 300},
		{FamilySquat, plan.Advanced, plan.Male, plan.AgeUnspecified, 175_280, 350},
		{FamilyDeadlift, plan.Novice, plan.SexUnspecified, plan.AgeAdult, 103_680, 450},
		{FamilyBench, plan.Novice, plan.Male, plan.AgeAdolescent, 0, 0},
		{FamilyBench, plan.StatusUnspecified, plan.Male, plan.AgeAdult, 0, 0},
		{FamilyLegPress, plan.Novice, plan.Male, plan.AgeAdult, 0, 0},
	} {
		p := Population(k.family, k.status, k.sex, k.age, 80_000)
		require.Equal(t, k.mean, p.MeanGrams, k.family)
		require.Equal(t, k.sd, p.SDPermille, k.family)
		require.Equal(t, int32(225), p.SlopeSDPermille)
		require.NoError(t, p.check())
	}
	require.Zero(t, Population(FamilyBench, plan.Novice, plan.Male, plan.AgeAdult, 0).MeanGrams)
	for _, id := range Families() {
		if id != FamilyTextbook {
			require.Positive(t, MaxPlausible(id), id)
		}
	}
	require.Zero(t, MaxPlausible("no such"))
}

// TestPublishedNorms: the published percentiles that the population stands on.
func TestPublishedNorms(t *testing.T) {
	ratio := func(family string, status plan.Status) [2]int64 {
		r, ok := populationRatio(family, status)
		require.True(t, ok)
		return r
	}
	// Cooper Institute 2002, bench press over body mass at 20 to 29 years, as reprinted:
	// 20, 40, 60, 80th percentile 0.88 0.99 1.14 1.32 (men), 0.51 0.59 0.70 0.80 (women).
	novice, middle := ratio(FamilyBench, plan.Novice), ratio(FamilyBench, plan.Intermediate)
	require.True(t, novice[0] >= 880 && novice[0] <= 990 && novice[1] >= 510 && novice[1] <= 590)
	require.Equal(t, [2]int64{1320, 800}, middle)
	// van den Hoek et al. 2024, 90th percentile of young lifters; 1.28 SD of 20 % less.
	for family, want := range map[string][2]float64{FamilyBench: {1.95, 1.35}, FamilySquat: {2.83, 2.26}, FamilyDeadlift: {3.25, 2.66}} {
		got := ratio(family, plan.Advanced)
		for i := range want {
			require.InEpsilon(t, want[i]*1000/expOf(0.256), got[i], 0.005, family)
		}
		if family != FamilyBench {
			for _, s := range []plan.Status{plan.Novice, plan.Intermediate} {
				bench := ratio(FamilyBench, s)
				for i, b := range [2]float64{1.95, 1.35} {
					require.InEpsilon(t, want[i]/b, float64(ratio(family, s)[i])/float64(bench[i]), 0.005, family)
				}
			}
		}
	}
}

func TestBorrow(t *testing.T) {
	// A front squat at 0.85 of a 140 kg ± 4 % back squat, ratio ± 15 %: 119 kg, √(4² + 15²) = 15.5 %.
	got, err := flat(plan.Intermediate).Borrow(Related{Grams: 140_000, SDPermille: 40, Ratio: 850, RatioSD: UsualRatioSD})
	require.NoError(t, err)
	require.Equal(t, int64(119_000), got.MeanGrams)
	require.Equal(t, int32(155), got.SDPermille)
	// Equal SDs meet in the (geometric) middle, √(100 × 121) = 110, and shrink by √2.
	p := known(100_000, plan.Intermediate)
	p.SDPermille = 170
	both, err := p.Borrow(Related{Grams: 121_000, SDPermille: 80, Ratio: 1000, RatioSD: 150})
	require.NoError(t, err)
	require.Equal(t, int64(110_000), both.MeanGrams)
	require.Equal(t, int32(120), both.SDPermille) // 170/√2
	// A precise test outweighs what is borrowed; without any evidence it is all there is.
	c := curve(t, FamilySquat)
	own := posterior(t, c, got, Observation{Grams: 130_000, Reps: 1, Tested: true})
	require.InDelta(t, 129_700, own.MeanGrams, 100)
	alone := posterior(t, c, got)
	require.Equal(t, Posterior{MeanGrams: 119_000, SDPermille: 155, SlopePermille: 1000, SlopeSDPermille: 225}, alone)
	// Borrowed strength makes one noisy set surer.
	noisy := Observation{Grams: 80_000, Reps: 8, RIR: plan.Some(int32(5))}
	require.Less(t, posterior(t, c, got, noisy).SDPermille, posterior(t, c, flat(plan.Intermediate), noisy).SDPermille)
	require.Equal(t, Related{Grams: own.MeanGrams, SDPermille: own.SDPermille, Ratio: 850, RatioSD: 120}, own.As(850, 120))

	_, err = flat(plan.Novice).Borrow(Related{SDPermille: -1, RatioSD: 10})
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.Invalid, f.Kind)
	require.Len(t, f.Violations, 4)
	_, err = Prior{}.Borrow(own.As(850, 120))
	require.Error(t, err)
}

func TestPriorRefuses(t *testing.T) {
	for _, p := range []Prior{
		{MeanGrams: 2_000_001, SDPermille: 100, SlopePermille: 1000, SlopeSDPermille: 200},
		{MeanGrams: 100_000, SlopePermille: 1000, SlopeSDPermille: 200},
		{SlopePermille: 499, SlopeSDPermille: 200},
		{SlopePermille: 1000},
		{SlopePermille: 1000, SlopeSDPermille: 200, LayoffWeeks: 5201},
	} {
		_, _, err := curve(t, FamilyBench).Posterior(p, []Observation{{Grams: 100_000, Reps: 1, Tested: true}})
		f, ok := fault.As(err)
		require.True(t, ok)
		require.Equal(t, fault.Invalid, f.Kind)
		require.Len(t, f.Violations, 1)
	}
}
