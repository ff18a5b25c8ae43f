package load

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/plan"
)

func repeat(n int, s WorkSet) []WorkSet {
	out := make([]WorkSet, n)
	for i := range out {
		out[i] = s
	}
	return out
}

func TestPublishedSessionTime(t *testing.T) {
	a := Timing{
		SetUp: 90,
		Warm:  []WorkSet{{Reps: 8, RepTenths: 35, Rest: 75}, {Reps: 5, RepTenths: 35, Rest: 75}, {Reps: 3, RepTenths: 35, Rest: 75}},
		Work:  repeat(4, WorkSet{Reps: 6, RepTenths: 35, SetUp: 12, Rest: 180}),
	}
	b := Timing{SetUp: 60, Work: repeat(3, WorkSet{Reps: 10, RepTenths: 30, SetUp: 10, Rest: 120})}
	require.Equal(t, plan.Seconds(1043), ExerciseSeconds(a))
	require.Equal(t, plan.Seconds(420), ExerciseSeconds(b))
	require.Equal(t, plan.Seconds(2063), SessionSeconds(480, 120, ExerciseSeconds(a), ExerciseSeconds(b)))
	require.Equal(t, plan.Seconds(33), SetSeconds(a.Work[0], false))
}

func TestBothSides(t *testing.T) {
	s := WorkSet{Reps: 10, RepTenths: 30, SetUp: 10, Rest: 90}
	one := Timing{SetUp: 60, Work: repeat(3, s), Unilateral: true}
	// Twice 30 s of work and half of 90 s of rest: 60 + 3*(60+10) + 2*45.
	require.Equal(t, plan.Seconds(360), ExerciseSeconds(one))
	require.Equal(t, plan.Seconds(70), SetSeconds(s, true))
	require.Equal(t, plan.Seconds(4), SetSeconds(WorkSet{Reps: 1, RepTenths: 35}, false), "rounded up")
	require.Equal(t, plan.Seconds(0), ExerciseSeconds(Timing{}))
}

func TestPairs(t *testing.T) {
	a := Timing{SetUp: 60, Work: repeat(3, WorkSet{Reps: 10, RepTenths: 30, SetUp: 10, Rest: 90})}
	b := Timing{SetUp: 60, Work: repeat(3, WorkSet{Reps: 10, RepTenths: 30, SetUp: 10, Rest: 120})}
	require.Equal(t, plan.Seconds(120+6*40+2*120), PairSeconds(a, b))
	c := Timing{SetUp: 60, Work: repeat(4, a.Work[0])}
	require.Equal(t, plan.Seconds(120+7*40+3*120), PairSeconds(c, b), "the fourth set is done alone")
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) Timing {
			tm := Timing{SetUp: plan.Seconds(rapid.Int32Range(0, 120).Draw(t, name)), Unilateral: rapid.Bool().Draw(t, name)}
			for range rapid.IntRange(1, 5).Draw(t, name) {
				tm.Work = append(tm.Work, WorkSet{rapid.Int32Range(1, 20).Draw(t, name), 35, 12, plan.Seconds(rapid.Int32Range(30, 240).Draw(t, name))})
			}
			return tm
		}
		a, b := draw("a"), draw("b")
		alone := ExerciseSeconds(a) + ExerciseSeconds(b)
		last := max(a.Work[len(a.Work)-1].Rest, b.Work[len(b.Work)-1].Rest)
		require.LessOrEqual(t, PairSeconds(a, b), alone+last)
		require.Equal(t, PairSeconds(a, b), PairSeconds(b, a))
		require.GreaterOrEqual(t, PairSeconds(a, b), max(ExerciseSeconds(a), ExerciseSeconds(b)))
	})
}
