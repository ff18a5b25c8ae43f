package audit

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// Training reference, section 14 (common practice, no source).
func TestPublishedWeeklySets(t *testing.T) {
	for status, want := range map[plan.Status][2]int32{plan.Novice: {10, 6}, plan.Intermediate: {16, 10}, plan.Advanced: {20, 12}} {
		muscle, lift := weeklyMost(status)
		require.Equal(t, plan.HalfSets(2*want[0]), muscle, status)
		require.Equal(t, want[1], lift, status)
	}
	require.Equal(t, 8, sessionDirectSets)
}

// Growth of 1RM that a plan may assume a week: 2, 0.75 and 0.25 % (common practice, no source).
func TestPublishedGrowth(t *testing.T) {
	require.EqualValues(t, 200, growthCap(plan.Novice))
	require.EqualValues(t, 75, growthCap(plan.Intermediate))
	require.EqualValues(t, 25, growthCap(plan.Advanced))
}

// The cap itself draws nothing, a ten-thousandth more does.
func TestGrowthAtTheCap(t *testing.T) {
	for status, bp := range map[plan.Status]int64{plan.Novice: 200, plan.Intermediate: 75, plan.Advanced: 25} {
		p := &plan.Program{Request: plan.Request{Athlete: plan.Athlete{Status: status}},
			Phases: []plan.Phase{{Weeks: make([]plan.Week, 2)}}}
		count := func(rise int64) int {
			p.Strengths = []plan.Strength{{ExerciseID: "back-squat", OneRMGrams: 100_000, Planned: []int64{100_000, 100_000 + 10*rise}}}
			n := 0
			for _, f := range Program(p, catalogue(t)) {
				if f.Rule == ruleGrowth {
					n++
				}
			}
			return n
		}
		require.Zero(t, count(bp), status)
		require.Equal(t, 1, count(bp+1), status)
	}
}

// After a layoff the plan may give back 1 % a week of what was shown, and no more than
// was shown (common practice, no source).
func TestGrowthAfterALayoff(t *testing.T) {
	p := &plan.Program{Request: plan.Request{Athlete: plan.Athlete{Status: plan.Advanced, LayoffWeeks: plan.Some[int32](13)}},
		Phases: []plan.Phase{{Weeks: make([]plan.Week, 2)}}}
	count := func(from, to int64) int {
		p.Strengths = []plan.Strength{{ExerciseID: "back-squat", OneRMGrams: from, Planned: []int64{from, to}}}
		n := 0
		for _, f := range Program(p, catalogue(t)) {
			if f.Rule == ruleGrowth {
				n++
			}
		}
		return n
	}
	require.Zero(t, count(89_000, 90_000), "100 kg less 11 %")
	require.Equal(t, 1, count(89_000, 90_100))
	p.Request.Athlete.LayoffWeeks = plan.Some[int32](3)
	require.Zero(t, count(99_000, 100_000))
	require.Equal(t, 1, count(99_900, 101_000), "beyond what was shown the cap by status holds")
	p.Request.Athlete.LayoffWeeks = plan.Some[int32](2)
	require.Equal(t, 1, count(85_000, 86_000), "two weeks are no layoff")
}

// Strength taper (section 14): days out of the last heavy session, common practice.
func TestPublishedLastHeavy(t *testing.T) {
	for curve, want := range map[exercise.Curve][2]int64{exercise.CurveDeadlift: {7, 10}, exercise.CurveSquat: {5, 8}, exercise.CurveBench: {4, 6}} {
		from, to, ok := lastHeavy(curve)
		require.True(t, ok)
		require.Equal(t, want, [2]int64{from, to}, curve)
	}
	_, _, ok := lastHeavy(exercise.CurveBodyweight)
	require.False(t, ok)
}

// Heavy lifting from about 80 % is vigorous (section 11a); 85 % and 2 min: NSCA textbook ch. 17 (from memory).
func TestPublishedIntensities(t *testing.T) {
	require.EqualValues(t, 800, vigorous)
	require.EqualValues(t, 850, heavy)
	require.EqualValues(t, 120, heavyRest)
}

// Balance 0.7 to 1.4 (common practice): 10 to 7 and 14 to 10 are inside, 15 to 10 is not;
// a set or two of difference is grain.
func TestPublishedBalance(t *testing.T) {
	require.False(t, lopsided(10, 14))
	require.True(t, lopsided(10, 15))
	require.True(t, lopsided(15, 10))
	require.False(t, lopsided(1, 3))
	require.False(t, lopsided(0, 0))
}

// The worked example of the time model (training reference, section 13) in catalogue
// terms: setting up 90 s, warm-up sets of 8, 5 and 3 with 75 s after each, work 4 × 6
// with 180 s, 3 s a repetition and 15 s a set for the bench press.
func TestPublishedTimeModel(t *testing.T) {
	x, ok := catalogue(t).ByID("bench-press")
	require.True(t, ok)
	l := lift{x: x}
	for _, n := range []int32{8, 5, 3} {
		l.warm = append(l.warm, set{s: &plan.Set{Kind: plan.SetWarmup, Rest: 75}, lo: n, hi: n})
	}
	for range 4 {
		l.work = append(l.work, set{s: &plan.Set{Kind: plan.SetWorking, Rest: 180}, lo: 6, hi: 6})
	}
	require.EqualValues(t, 90+(16*3+3*75)+4*(6*3+15)+3*180, l.seconds())

	// One-sided work: both sides, half the rest.
	one, ok := catalogue(t).ByID("walking-lunge")
	require.True(t, ok)
	require.True(t, one.Unilateral)
	l = lift{x: one}
	for range 2 {
		l.work = append(l.work, set{s: &plan.Set{Kind: plan.SetWorking, Rest: 90}, lo: 10, hi: 10})
	}
	require.Equal(t, one.Setup+2*(2*10*one.Rep+one.SetSetup)+45, l.seconds())
}

func TestRulesHaveSentencesAndSources(t *testing.T) {
	seen := map[plan.RuleID]bool{}
	for _, r := range Rules() {
		require.False(t, seen[r.ID], r.ID)
		seen[r.ID] = true
		require.NotEmpty(t, r.Says, r.ID)
		require.NotEmpty(t, r.Source, r.ID)
		require.True(t, own(r.ID), r.ID)
	}
}
