package engine_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func armsOf(strategies ...string) []plan.Arm {
	var out []plan.Arm
	for i, s := range strategies {
		out = append(out, plan.Arm{Label: fmt.Sprintf("%d %s", i+1, s), Plan: plan.Plan{Tracks: []plan.Track{{Segments: []plan.Segment{{Strategy: s}}}}}})
	}
	return out
}

// shared is the request of the benchmarks without a plan.
func shared() plan.Request {
	r := twelveWeeks()
	r.Plan = plan.Plan{}
	return r
}

// An arm alone and the same plan without arms need not be the same program; two arms of one
// plan are, but for what they say of each other.
func TestArmsOfOnePlanAreOneProgram(t *testing.T) {
	arms := armsOf("block", "block")
	for rule := plan.EquateHardSets; rule < plan.EquatingCount; rule++ {
		c, err := newEngine(t).Arms(context.Background(), shared(), arms, rule)
		require.NoError(t, err)
		a, b := c.Arms[0], c.Arms[1]
		require.Equal(t, a.Program.Phases, b.Program.Phases)
		require.Equal(t, a.Total, b.Total)
		for _, x := range c.Balances {
			require.True(t, x.Equal, x.Says)
			require.Zero(t, x.Gap)
		}
		require.Len(t, c.EqualWeeks, 12)
	}
}

// As they are, sets are what the strategies ask for: those of equal hard sets are never more.
func TestArmsGiveSetsUp(t *testing.T) {
	arms := armsOf("constant", "linear", "block")
	free, err := newEngine(t).Arms(context.Background(), shared(), arms, plan.EquateNothing)
	require.NoError(t, err)
	even, err := newEngine(t).Arms(context.Background(), shared(), arms, plan.EquateHardSets)
	require.NoError(t, err)
	least := free.Arms[0].Total.HardSets
	for i := range arms {
		require.LessOrEqual(t, even.Arms[i].Total.HardSets, free.Arms[i].Total.HardSets)
		least = min(least, free.Arms[i].Total.HardSets)
	}
	require.Less(t, even.Arms[0].Total.HardSets, free.Arms[0].Total.HardSets, "constant has no block that is light by itself")
	require.LessOrEqual(t, even.Arms[0].Total.HardSets, least)
}

// Sets that two strategies fix differently can't be equated: that is said, with the gap.
func TestArmsThatCantBeEquated(t *testing.T) {
	arms := armsOf("constant", "constant")
	for i, n := range []int32{3, 5} {
		arms[i].Plan.Tracks[0].Segments[0].Params = []plan.Param{
			{Name: "deload_every", Value: plan.Value{Kind: plan.ValueNumber}}, {Name: "goal_sets", Value: plan.Value{Kind: plan.ValueRange, Lo: n, Hi: n}},
		}
	}
	c, err := newEngine(t).Arms(context.Background(), shared(), arms, plan.EquateHardSets)
	require.NoError(t, err)
	require.False(t, c.Balances[0].Equal)
	require.Contains(t, c.Balances[0].Says, "can't be equated")
	var lifts []plan.Balance
	for _, b := range c.Balances {
		if b.ExerciseID != "" {
			lifts = append(lifts, b)
		}
	}
	require.Len(t, lifts, 2, "the two goal lifts, nothing else")
	for _, b := range lifts {
		require.Equal(t, b.Values[0]*5, b.Values[1]*3, b.Says)
		require.EqualValues(t, 667, b.Share)
		require.Equal(t, b.Values[1]-b.Values[0], b.Gap)
	}
}

func TestArmsThatAreNone(t *testing.T) {
	e := newEngine(t)
	long := armsOf("constant", "linear")
	long[1].Plan.Tracks[0].Segments[0].Weeks = plan.Some(int32(9))
	own := armsOf("constant", "linear")
	own[1].Plan.Deload = plan.Some(plan.Deload{EveryWeeks: 3})
	wrong := armsOf("constant", "linear")
	wrong[1].Plan.Deload = plan.Some(plan.Deload{EveryWeeks: 1})
	odd := armsOf("constant", "linear")
	odd[1].Label = "li\nnear"
	for name, c := range map[string]struct {
		arms   []plan.Arm
		shared plan.Plan
		rule   plan.Equating
		kind   fault.Kind
		field  string
	}{
		"none":            {nil, plan.Plan{}, 0, fault.Invalid, "arms"},
		"one":             {armsOf("constant"), plan.Plan{}, 0, fault.Invalid, "arms"},
		"nine":            {armsOf("a", "b", "c", "d", "e", "f", "g", "h", "i"), plan.Plan{}, 0, fault.Invalid, "arms"},
		"rule":            {armsOf("constant", "linear"), plan.Plan{}, plan.EquatingCount, fault.Invalid, "equating"},
		"strategy":        {armsOf("constant", "linearr"), plan.Plan{}, 0, fault.Invalid, "arms[1].plan.tracks[0].segments[0].strategy"},
		"weeks":           {long, plan.Plan{}, 0, fault.Invalid, "arms[1].plan.tracks[0].segments"},
		"shared strategy": {armsOf("constant", "linear"), armsOf("block")[0].Plan, 0, fault.Invalid, "plan.tracks"},
		"twice":           {own, plan.Plan{Deload: plan.Some(plan.Deload{EveryWeeks: 4})}, 0, fault.Invalid, "arms[1].plan.deload"},
		"own deload":      {wrong, plan.Plan{}, 0, fault.Invalid, "arms[1].plan.deload.every_weeks"},
		"shared deload":   {armsOf("constant", "linear"), plan.Plan{Deload: plan.Some(plan.Deload{EveryWeeks: 1})}, 0, fault.Invalid, "plan.deload.every_weeks"},
		"label":           {odd, plan.Plan{}, 0, fault.Invalid, "arms[1].label"},
	} {
		r := shared()
		r.Plan = c.shared
		_, err := e.Arms(context.Background(), r, c.arms, c.rule)
		f, ok := fault.As(err)
		require.True(t, ok, "%s: %v", name, err)
		require.Equal(t, c.kind, f.Kind, name)
		require.Len(t, f.Violations, 1, "%s: %v", name, err)
		require.Equal(t, c.field, f.Violations[0].Field, "%s: %v", name, err)
	}
}

// An ended context ends a comparison wherever it is, and soon.
func TestArmsAreCanceled(t *testing.T) {
	for _, after := range []time.Duration{0, 5 * time.Millisecond, 50 * time.Millisecond} {
		ctx, cancel := context.WithCancel(context.Background())
		if after == 0 {
			cancel()
		} else {
			time.AfterFunc(after, cancel)
		}
		_, err := newEngine(t).WithBudget(1<<40).Arms(ctx, shared(), armsOf("constant", "linear", "undulating", "block"), 0)
		cancel()
		f, ok := fault.As(err)
		require.True(t, ok, "%v", err)
		require.Equal(t, fault.Canceled, f.Kind)
	}
}

// BenchmarkArms makes five arms of 12 weeks, 4 days, and the most that can be asked for.
func BenchmarkArms(b *testing.B) {
	e := newEngine(b)
	five := armsOf("constant", "linear", "undulating", "block", "strength-then-size")
	most := shared()
	most.Constraints.Weeks = plan.Some(int32(52))
	most.Constraints.Days = nil
	for d := plan.Monday; d <= plan.Sunday; d++ {
		most.Constraints.Days = append(most.Constraints.Days, plan.Day{Weekday: d, Minutes: 120})
	}
	eight := armsOf("constant", "linear", "undulating", "block", "strength-then-size", "reverse-linear", "linear", "block")
	for _, c := range []struct {
		name string
		r    plan.Request
		arms []plan.Arm
		rule plan.Equating
	}{
		{"five", shared(), five, plan.EquateHardSets}, {"five by volume load", shared(), five, plan.EquateVolumeLoad}, {"most", most, eight, plan.EquateVolumeLoad},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				_, err := e.Arms(context.Background(), c.r, c.arms, c.rule)
				require.NoError(b, err)
			}
		})
	}
}
