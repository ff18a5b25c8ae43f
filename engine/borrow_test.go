package engine

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// stateOf estimates an exercise of an intermediate without stated body mass, so that the
// population says nothing, from tested 1RMs in kilograms.
func stateOf(t *testing.T, id string, a plan.Athlete, tested map[string]int64) *state {
	cat, err := exercise.Load()
	require.NoError(t, err)
	slots, _ := places(0, 0, 0)
	b := &Brief{Request: plan.Request{Athlete: a}, Catalogue: cat}
	b.Request.Athlete.Status = plan.Intermediate
	b.Request.Constraints.Places = []plan.Place{exercise.ExpandPreset(plan.Place{ID: "gym", Preset: plan.PresetFullGym}, plan.Kilogram)}
	for _, e := range cat.All() { // in one order
		if kg, ok := tested[e.ID]; ok {
			b.Request.Athlete.Performances = append(b.Request.Athlete.Performances,
				plan.Performance{ExerciseID: e.ID, Load: plan.Some(plan.Kg(kg * 1000)), Reps: 1, ToFailure: true})
		}
	}
	ex, ok := cat.ByID(id)
	require.True(t, ok)
	st, err := newStrengths(b, weeksOfTraining(3), slots).of(ex)
	require.NoError(t, err)
	return st
}

// A test is worth 2.5 % (20 of the day, 15 of the effort, in permille), a ratio of like
// lifts 15 %, of unlike ones 20 %: all numbers below are worked out from these.
const (
	ofTest  = 25.0
	ofLike  = 150.0
	ofOther = 200.0
)

func root(v ...float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x * x
	}
	return math.Sqrt(sum)
}

func TestBorrow(t *testing.T) {
	for _, c := range []struct {
		id, from string
		tested   map[string]int64
		kg, sd   float64
	}{
		{"front-squat", "back-squat", map[string]int64{"back-squat": 140}, 140 * 0.85, root(ofTest, ofLike)},
		{"overhead-press", "bench-press", map[string]int64{"bench-press": 100}, 62, root(ofTest, ofOther)},
		{"dumbbell-bench-press", "bench-press", map[string]int64{"bench-press": 100}, 40, root(ofTest, ofOther)},
		// The other way, and on to a third through the big lift.
		{"back-squat", "front-squat", map[string]int64{"front-squat": 100}, 100 / 0.85, root(ofTest, ofLike)},
		{"paused-back-squat", "front-squat", map[string]int64{"front-squat": 100}, 100 * 0.9 / 0.85, root(ofTest, ofLike, ofLike)},
		{"romanian-deadlift", "sumo-deadlift", map[string]int64{"sumo-deadlift": 200}, 144, root(ofTest, ofLike, ofLike)},
		// Both are explosive.
		{"hang-power-clean", "power-clean", map[string]int64{"power-clean": 80}, 76, root(ofTest, ofLike)},
	} {
		st := stateOf(t, c.id, plan.Athlete{}, c.tested)
		require.False(t, st.known, c.id)
		require.Equal(t, c.from, st.borrowed, c.id)
		require.InEpsilon(t, c.kg*1000, st.mean, 0.003, c.id)
		require.InDelta(t, c.sd, st.sd, 1.5, c.id)
		// 0.8416 SD: four of five people are stronger.
		require.InEpsilon(t, c.kg*1000*math.Exp(-0.8416*c.sd/1000), st.planned[0], 0.005, c.id)
	}
}

// Two lifts over their ratios join by precision, and a lift's own performance counts once.
func TestBorrowJoins(t *testing.T) {
	joined := func(x, sx, y, sy float64) (float64, float64) {
		wx, wy := 1/(sx*sx), 1/(sy*sy)
		return math.Exp((wx*math.Log(x) + wy*math.Log(y)) / (wx + wy)), 1 / math.Sqrt(wx+wy)
	}
	// Back squat from front squat (100/0.85) and paused squat (100/0.9).
	both := stateOf(t, "back-squat", plan.Athlete{}, map[string]int64{"front-squat": 100, "paused-back-squat": 100})
	kg, sd := joined(100/0.85, root(ofTest, ofLike), 100/0.9, root(ofTest, ofLike))
	require.InEpsilon(t, kg*1000, both.mean, 0.003)
	require.InDelta(t, sd, both.sd, 1.5)

	// A lift with a test of its own: the related one moves it by its weight, 2.6 %.
	own := stateOf(t, "front-squat", plan.Athlete{}, map[string]int64{"front-squat": 100, "back-squat": 140})
	kg, sd = joined(100, ofTest, 140*0.85, root(ofTest, ofLike))
	require.True(t, own.known)
	require.Empty(t, own.borrowed)
	require.InEpsilon(t, kg*1000, own.mean, 0.003)
	require.InDelta(t, sd, own.sd, 1)

	// Alone it does not come back to itself through the big lift.
	alone := stateOf(t, "front-squat", plan.Athlete{}, map[string]int64{"front-squat": 100})
	c, err := load.CurveFor(string(exercise.CurveSquat))
	require.NoError(t, err)
	want, _, err := c.Posterior(load.Prior{SlopePermille: 1000, SlopeSDPermille: 225, MaxGrams: 650_000},
		[]load.Observation{{Grams: 100_000, Reps: 1, Failure: true, Tested: true}})
	require.NoError(t, err)
	require.Equal(t, []int64{want.MeanGrams, int64(want.SDPermille)}, []int64{alone.mean, int64(alone.sd)})
}

// What is no share of another lift borrows nothing.
func TestBorrowNothing(t *testing.T) {
	all := map[string]int64{"back-squat": 140, "bench-press": 100, "deadlift": 180, "pull-up": 20}
	for _, id := range []string{"push-press", "chin-up", "split-squat", "goblet-squat", "leg-press", "barbell-curl", "power-clean", "smith-squat"} {
		st := stateOf(t, id, plan.Athlete{BodyMass: plan.Some(plan.Kg(80_000)), Sex: plan.Male}, all)
		require.False(t, st.known || st.borrowed != "", id)
	}
	// Nor does the population alone stand for anybody.
	st := stateOf(t, "front-squat", plan.Athlete{BodyMass: plan.Some(plan.Kg(80_000)), Sex: plan.Male}, nil)
	require.False(t, st.known || st.borrowed != "")
	require.Empty(t, st.planned)
}

// A layoff lowers what is lent, which comes back as the lift itself does.
func TestBorrowAfterALayoff(t *testing.T) {
	fresh := stateOf(t, "front-squat", plan.Athlete{}, map[string]int64{"back-squat": 140})
	back := stateOf(t, "front-squat", plan.Athlete{LayoffWeeks: plan.Some(int32(12))}, map[string]int64{"back-squat": 140})
	require.InEpsilon(t, float64(fresh.mean)*0.9, back.mean, 0.01)
	require.Greater(t, back.sd, fresh.sd-1)
	require.Less(t, back.planned[0], back.planned[2])
	require.InEpsilon(t, float64(back.planned[2]-back.planned[0]), float64(2*fresh.planned[0])/100, 0.1, "1 % of what was there a week")
}

// No status grows faster than a plan may assume: 2, 0.75 and 0.25 % a week.
func TestGrowthCaps(t *testing.T) {
	for status, most := range map[plan.Status]int64{plan.Novice: 200, plan.Intermediate: 75, plan.Advanced: 25} {
		at := make([]int32, 30)
		got := planned(t, plan.Athlete{Status: status}, weeksOfTraining(30), at...)
		for w := 1; w < len(got); w++ {
			require.Greater(t, got[w], got[w-1])
			require.LessOrEqual(t, got[w], got[w-1]+got[w-1]*most/10_000, "%s, week %d", status, w+1)
		}
	}
}
