package strategies_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies/block"
)

var blockNames = []string{"accumulation", "transmutation", "realization"}

// fullest is the highest dose of a phase.
func fullest(p *plan.OutlinePhase) plan.Permille {
	top := plan.Permille(0)
	for i := range p.Weeks {
		top = max(top, p.Weeks[i].Dose)
	}
	return top
}

func schemeOf(p *plan.OutlinePhase, role plan.Role) plan.Scheme {
	return p.Weeks[0].Sessions[0].Find(role, "")[0]
}

// From block to block the dose doesn't rise and the goal lift gets heavier (common
// practice, no source).
func TestBlocksGoFromVolumeToIntensity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t, descriptor("block"))
		for i := range r.Sessions {
			r.Sessions[i] = max(r.Sessions[i], 1)
		}
		o := drawn(t, "block", r)
		require.Zero(t, len(o.Phases)%3)
		for i := range o.Phases {
			p := &o.Phases[i]
			require.True(t, strings.HasPrefix(p.Name, blockNames[i%3]))
			for _, role := range []plan.Role{plan.MultiJoint, plan.SingleJoint} {
				require.GreaterOrEqual(t, schemeOf(p, role).Reps.Min, int32(6), "doubles and triples are for goal lifts")
			}
			if r.Status == plan.Novice {
				require.GreaterOrEqual(t, schemeOf(p, plan.GoalLift).Reps.Min, int32(5))
			}
			if i%3 == 0 {
				continue
			}
			before := &o.Phases[i-1]
			require.LessOrEqual(t, fullest(p), fullest(before))
			for role := plan.GoalLift; role <= plan.SingleJoint; role++ {
				a, b := schemeOf(before, role), schemeOf(p, role)
				require.LessOrEqual(t, b.Reps.Min, a.Reps.Min)
				require.LessOrEqual(t, b.Reps.Max, a.Reps.Max)
				require.LessOrEqual(t, b.Sets.Max, a.Sets.Max)
				require.GreaterOrEqual(t, b.Rest, a.Rest)
			}
			require.Less(t, schemeOf(p, plan.GoalLift).Reps.Max, schemeOf(before, plan.GoalLift).Reps.Max)
		}
	})
}

// Deloads come when they are due, a week later at most, and not in realization, which
// is light by itself.
func TestBlockDeloads(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t, descriptor("block"))
		every := rapid.Int64Range(2, 12).Draw(t, "every")
		o := drawn(t, "block", r, number("deload_every", every))
		hard := int64(0)
		for i := range o.Phases {
			for w := range o.Phases[i].Weeks {
				week := &o.Phases[i].Weeks[w]
				deload := week.Kind == plan.WeekDeload
				if i%3 == 2 {
					require.False(t, deload)
				}
				if hard++; deload || i%3 == 2 {
					hard = 0
				}
				require.LessOrEqual(t, hard, every+1)
			}
		}
	})
	o := outlineOf(t, "block", outlineRequest(20, 3, plan.Intermediate, true, true), number("deload_every", 0))
	for _, w := range weeksIn(&o) {
		require.Equal(t, plan.WeekTraining, w.Kind)
	}
}

func TestBlockWeeks(t *testing.T) {
	for _, c := range []struct {
		weeks  int32
		params []plan.Param
		want   []int
	}{
		{4, nil, []int{2, 1, 1}},
		{8, nil, []int{4, 3, 1}},
		{12, nil, []int{6, 4, 2}},
		{13, nil, []int{4, 2, 1, 3, 2, 1}},
		{16, nil, []int{4, 3, 1, 4, 3, 1}},
		{16, []plan.Param{number("cycles", 1)}, []int{8, 6, 2}},
		{24, nil, []int{6, 4, 2, 6, 4, 2}},
		{12, []plan.Param{number("accumulation_weeks", 3), number("transmutation_weeks", 2), number("realization_weeks", 1)}, []int{3, 2, 1, 3, 2, 1}},
		{16, []plan.Param{number("accumulation_weeks", 3), number("transmutation_weeks", 2), number("realization_weeks", 1)}, []int{5, 2, 1, 5, 2, 1}},
		{12, []plan.Param{number("accumulation_weeks", 2)}, []int{2, 1, 1, 2, 1, 1, 2, 1, 1}},
		{10, []plan.Param{number("transmutation_weeks", 4)}, []int{4, 4, 2}},
		{12, []plan.Param{number("realization_weeks", 1)}, []int{7, 4, 1}},
		{16, []plan.Param{number("accumulation_weeks", 12)}, []int{12, 2, 2}},
		{8, []plan.Param{number("accumulation_weeks", 6)}, []int{6, 1, 1}},
	} {
		o := outlineOf(t, "block", outlineRequest(c.weeks, 3, plan.Intermediate, true, true), c.params...)
		var got []int
		for _, p := range o.Phases {
			got = append(got, len(p.Weeks))
		}
		require.Equal(t, c.want, got, "%d weeks with %v", c.weeks, c.params)
	}
}

// Who has no goal about a 1RM gets no doubles; what is only maintained is never taken
// near failure.
func TestBlockRealization(t *testing.T) {
	last := func(s plan.Status, strength, size bool) *plan.OutlineSession {
		o := outlineOf(t, "block", outlineRequest(12, 3, s, strength, size))
		return &o.Phases[2].Weeks[1].Sessions[0]
	}
	require.Equal(t, plan.Range{Min: 2, Max: 3}, last(plan.Advanced, true, false).Find(plan.GoalLift, "")[0].Reps)
	require.Equal(t, plan.Range{Min: 4, Max: 6}, last(plan.Advanced, false, true).Find(plan.GoalLift, "")[0].Reps)
	s := last(plan.Advanced, true, false)
	require.Equal(t, int32(1), s.Find(plan.GoalLift, "")[0].Effort.Wanted().Value)
	for role := plan.MultiJoint; role <= plan.SingleJoint; role++ {
		require.Equal(t, int32(2), s.Find(role, "")[0].Effort.Wanted().Value)
	}
}

// A default gives way to what somebody set for another block.
func TestBlockRepetitionsNeverRise(t *testing.T) {
	goals := func(params ...plan.Param) (out []plan.Range) {
		o := outlineOf(t, "block", outlineRequest(8, 3, plan.Advanced, true, false), params...)
		for i := range o.Phases {
			out = append(out, schemeOf(&o.Phases[i], plan.GoalLift).Reps)
		}
		return out
	}
	require.Equal(t, []plan.Range{{Min: 8, Max: 10}, {Min: 3, Max: 5}, {Min: 2, Max: 3}}, goals())
	require.Equal(t, []plan.Range{{Min: 4, Max: 4}, {Min: 3, Max: 4}, {Min: 2, Max: 3}}, goals(reps("accumulation_reps", 4, 4)))
	require.Equal(t, []plan.Range{{Min: 8, Max: 10}, {Min: 4, Max: 6}, {Min: 4, Max: 6}}, goals(reps("realization_reps", 4, 6)))
	require.Equal(t, []plan.Range{{Min: 12, Max: 15}, {Min: 12, Max: 15}, {Min: 2, Max: 3}}, goals(reps("transmutation_reps", 12, 15)))
	require.Equal(t, []plan.Range{{Min: 6, Max: 8}, {Min: 5, Max: 6}, {Min: 5, Max: 6}}, goals(reps("realization_reps", 5, 6), reps("accumulation_reps", 6, 8)))

	rapid.Check(t, func(t *rapid.T) {
		var params []plan.Param
		for _, b := range blockNames {
			if rapid.Bool().Draw(t, b) {
				lo := rapid.Int32Range(4, 30).Draw(t, "lo")
				params = append(params, reps(b+"_other_reps", lo, rapid.Int32Range(lo, 30).Draw(t, "hi")))
			}
		}
		in, err := block.Strategy{}.Parse(params)
		if err != nil {
			return
		}
		r := anyRequest(t, descriptor("block"))
		o, err := in.Outline(t.Context(), r)
		require.NoError(t, err)
		before := plan.Range{Min: 50, Max: 50}
		for i := range o.Phases {
			if i%3 == 0 {
				before = plan.Range{Min: 50, Max: 50} // a cycle begins anew, be it without a session
			}
			for w := range o.Phases[i].Weeks {
				for k := range o.Phases[i].Weeks[w].Sessions {
					now := o.Phases[i].Weeks[w].Sessions[k].Find(plan.MultiJoint, "")[0].Reps
					require.LessOrEqual(t, now.Min, before.Min)
					require.LessOrEqual(t, now.Max, before.Max)
					before = now
				}
			}
		}
	})
}
