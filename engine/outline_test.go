package engine

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func goodOutline() (plan.Outline, plan.OutlineRequest) {
	r := plan.OutlineRequest{Weeks: 3, Sessions: []int32{2, 2, 0}, Status: plan.Intermediate}
	o := plan.Outline{Strategy: "mine@1", Phases: []plan.OutlinePhase{{Name: "p", Aim: "a"}, {Name: "q", Aim: "b"}}}
	for w, n := range r.Sessions {
		week := plan.OutlineWeek{Kind: plan.WeekTraining, Dose: 1000}
		for range n {
			s := plan.OutlineSession{Kind: plan.SessionTraining}
			for role := plan.GoalLift; role < plan.RoleCount; role++ {
				s.Targets = append(s.Targets, plan.Target{Role: role, Schemes: []plan.Scheme{{
					Kind: plan.SetWorking, Sets: plan.ScaledSets(2, 4), Reps: plan.Range{Min: 5, Max: 8},
					Effort: plan.Effort{RIR: plan.Some(int32(2))}, Rest: 120,
				}}})
			}
			week.Sessions = append(week.Sessions, s)
		}
		p := &o.Phases[min(w, 1)]
		p.Weeks = append(p.Weeks, week)
	}
	return o, r
}

func TestCheckOutlineTakesGoodOnes(t *testing.T) {
	o, r := goodOutline()
	require.NoError(t, CheckOutline(&o, r))

	scheme := func(role plan.Role) *plan.Scheme {
		return &o.Phases[0].Weeks[0].Sessions[0].Targets[role-plan.GoalLift].Schemes[0]
	}
	scheme(plan.GoalLift).Reps = plan.Range{Min: 1, Max: 1}
	scheme(plan.GoalLift).Effort = plan.Effort{ToFailure: true, RIR: plan.Some(int32(0))}
	scheme(plan.MultiJoint).Effort = plan.Effort{Intensity: plan.Some(plan.Permille(900)), Reference: plan.Reference{Kind: plan.RefRM, RM: 6}}
	scheme(plan.MultiJoint).OpenEnded = true
	scheme(plan.Trunk).Reps, scheme(plan.Trunk).Hold = plan.Range{}, plan.Range{Min: 20, Max: 40}
	scheme(plan.SingleJoint).Progress.Kind = plan.ProgressAdjustTable
	scheme(plan.SingleJoint).Adjust = []plan.AdjustStep{
		{Reps: plan.Range{Min: 0, Max: 2}, From: -10_000, To: -5_000, Unit: plan.Pound},
		{Reps: plan.Range{Min: 3, Max: 4}, From: -5_000, To: 0, Unit: plan.Pound},
	}
	// A retest asks for the goal lift only, and a recovery week may be all rest.
	o.Phases[0].Weeks[0].Sessions[1].Kind = plan.SessionRetest
	o.Phases[0].Weeks[0].Sessions[1].Targets = o.Phases[0].Weeks[0].Sessions[1].Targets[:1]
	o.Phases[1].Weeks[0].Kind, o.Phases[1].Weeks[0].Sessions = plan.WeekRecovery, nil
	require.NoError(t, CheckOutline(&o, r))
}

func TestCheckOutlineNamesThePath(t *testing.T) {
	const session = "outline.phases[1].weeks[0].sessions[1]"
	const scheme = session + ".targets[2].schemes[0]" // single-joint
	type outline = plan.Outline
	at := func(change func(*plan.OutlineSession)) func(*outline) {
		return func(o *outline) { change(&o.Phases[1].Weeks[0].Sessions[1]) }
	}
	in := func(role plan.Role, change func(*plan.Scheme)) func(*outline) {
		return at(func(s *plan.OutlineSession) { change(&s.Targets[role-plan.GoalLift].Schemes[0]) })
	}
	small := func(change func(*plan.Scheme)) func(*outline) { return in(plan.SingleJoint, change) }
	cases := []struct {
		name  string
		spoil func(*outline)
		field string
	}{
		{"no strategy", func(o *outline) { o.Strategy = "" }, "outline.strategy"},
		{"week missing", func(o *outline) { o.Phases[1].Weeks = o.Phases[1].Weeks[:1] }, "outline.phases"},
		{"week too many", func(o *outline) { o.Phases[1].Weeks = append(o.Phases[1].Weeks, plan.OutlineWeek{Kind: plan.WeekTest}) }, "outline.phases"},
		{"phase without name", func(o *outline) { o.Phases[1].Name = "" }, "outline.phases[1].name"},
		{"phase without aim", func(o *outline) { o.Phases[1].Aim = "" }, "outline.phases[1].aim"},
		{"long name", func(o *outline) { o.Phases[1].Name = strings.Repeat("ä", 65) }, "outline.phases[1].name"},
		{"control letters", func(o *outline) { o.Phases[1].Aim = "a\x1b[31mb" }, "outline.phases[1].aim"},
		{"broken letters", func(o *outline) { o.Phases[1].Aim = "a\xffb" }, "outline.phases[1].aim"},
		{"empty phase", func(o *outline) { o.Phases = append(o.Phases, plan.OutlinePhase{Name: "r", Aim: "c"}) }, "outline.phases[2].weeks"},
		{"week without kind", func(o *outline) { o.Phases[1].Weeks[0].Kind = 0 }, "outline.phases[1].weeks[0].kind"},
		{"dose", func(o *outline) { o.Phases[1].Weeks[0].Dose = 1501 }, "outline.phases[1].weeks[0].dose_percent"},
		{"too many sessions", func(o *outline) {
			w := &o.Phases[1].Weeks[0]
			w.Sessions = append(w.Sessions, w.Sessions[0])
		}, "outline.phases[1].weeks[0].sessions"},
		{"idle training week", func(o *outline) { o.Phases[0].Weeks[0].Sessions = nil }, "outline.phases[0].weeks[0].sessions"},
		{"session without kind", at(func(s *plan.OutlineSession) { s.Kind = 0 }), session + ".kind"},
		{"long group", at(func(s *plan.OutlineSession) { s.Group = strings.Repeat("x", 65) }), session + ".group"},
		{"role left out", at(func(s *plan.OutlineSession) { s.Targets = s.Targets[:5] }), session + ".targets"},
		{"role twice", at(func(s *plan.OutlineSession) { s.Targets = append(s.Targets, s.Targets[0]) }), session + ".targets[6].role"},
		{"role of a track twice", at(func(s *plan.OutlineSession) {
			t := s.Targets[0]
			t.Track = "bench"
			s.Targets = append(s.Targets, t, t)
		}), session + ".targets[7].role"},
		{"no role", at(func(s *plan.OutlineSession) {
			s.Targets = append(s.Targets, plan.Target{Track: "x", Schemes: s.Targets[0].Schemes})
		}), session + ".targets[6].role"},
		{"no schemes", at(func(s *plan.OutlineSession) { s.Targets[2].Schemes = nil }), session + ".targets[2].schemes"},
		{"set without kind", small(func(s *plan.Scheme) { s.Kind = 0 }), scheme + ".kind"},
		{"no set", small(func(s *plan.Scheme) { s.Sets.Min = 0 }), scheme + ".sets"},
		{"11 sets", small(func(s *plan.Scheme) { s.Sets.Max = 11 }), scheme + ".sets"},
		{"fixed range", small(func(s *plan.Scheme) { s.Sets.Fixed = true }), scheme + ".sets"},
		{"51 repetitions", small(func(s *plan.Scheme) { s.Reps.Max = 51 }), scheme + ".reps"},
		{"falling range", small(func(s *plan.Scheme) { s.Reps.Max = 4 }), scheme + ".reps"},
		{"no repetitions", small(func(s *plan.Scheme) { s.Reps = plan.Range{} }), scheme + ".reps"},
		{"timed curl", small(func(s *plan.Scheme) { s.Reps, s.Hold = plan.Range{}, plan.Range{Min: 20, Max: 30} }), scheme + ".reps"},
		{"long hold", small(func(s *plan.Scheme) { s.Hold = plan.Range{Min: 20, Max: 301} }), scheme + ".hold_seconds"},
		{"triple of curls", small(func(s *plan.Scheme) { s.Reps.Min = 3 }), scheme + ".reps"},
		{"triple of trunk work", in(plan.Trunk, func(s *plan.Scheme) { s.Reps.Min = 1 }), session + ".targets[3].schemes[0].reps"},
		{"no effort", small(func(s *plan.Scheme) { s.Effort = plan.Effort{} }), scheme + ".effort"},
		{"RIR 7", small(func(s *plan.Scheme) { s.Effort.RIR.Value = 7 }), scheme + ".effort.rir"},
		{"RIR below none", small(func(s *plan.Scheme) { s.Effort.RIR.Value = -1 }), scheme + ".effort.rir"},
		{"failure with reserve", small(func(s *plan.Scheme) { s.Effort.ToFailure = true }), scheme + ".effort.rir"},
		{"intensity 1101", small(func(s *plan.Scheme) { s.Effort.Intensity = plan.Some(plan.Permille(1101)) }), scheme + ".effort.intensity_percent"},
		{"intensity 199", small(func(s *plan.Scheme) { s.Effort.Intensity = plan.Some(plan.Permille(199)) }), scheme + ".effort.intensity_percent"},
		{"RM without number", small(func(s *plan.Scheme) { s.Effort.Reference.Kind = plan.RefRM }), scheme + ".effort.reference.rm"},
		{"number without RM", small(func(s *plan.Scheme) { s.Effort.Reference.RM = 5 }), scheme + ".effort.reference.rm"},
		{"estimate without name", small(func(s *plan.Scheme) { s.Effort.Reference.Kind = plan.RefEstimate }), scheme + ".effort.reference.name"},
		{"name without estimate", small(func(s *plan.Scheme) { s.Effort.Reference.Name = "x" }), scheme + ".effort.reference.name"},
		{"no set before", small(func(s *plan.Scheme) {
			s.Effort.Reference.Kind, s.Sets = plan.RefSetBefore, plan.FixedSets(1)
		}), scheme + ".effort.reference.kind"},
		{"explosive to failure", in(plan.Explosive, func(s *plan.Scheme) { s.Effort = plan.Effort{ToFailure: true} }), session + ".targets[4].schemes[0].effort"},
		{"explosive with RIR 0", in(plan.Explosive, func(s *plan.Scheme) { s.Effort.RIR.Value = 0 }), session + ".targets[4].schemes[0].effort"},
		{"explosive, as many as possible", in(plan.Explosive, func(s *plan.Scheme) { s.OpenEnded = true }), session + ".targets[4].schemes[0].effort"},
		{"rest", small(func(s *plan.Scheme) { s.Rest = 601 }), scheme + ".rest_seconds"},
		{"tempo", small(func(s *plan.Scheme) { s.Tempo.Down = 31 }), scheme + ".tempo"},
		{"growth", small(func(s *plan.Scheme) { s.Progress = plan.Progression{Kind: plan.ProgressPercent, By: 101} }), scheme + ".progression.percent_per_week"},
		{"long adjust table", small(func(s *plan.Scheme) {
			for i := range int32(21) {
				s.Adjust = append(s.Adjust, plan.AdjustStep{Reps: plan.Range{Min: i, Max: i}, Unit: plan.Pound})
			}
		}), scheme + ".adjust"},
		{"adjust by tons", small(func(s *plan.Scheme) {
			s.Adjust = []plan.AdjustStep{{Reps: plan.Range{Min: 0, Max: 3}, To: 200_001, Unit: plan.Kilogram}}
		}), scheme + ".adjust"},
		{"adjust down by tons", small(func(s *plan.Scheme) {
			s.Adjust = []plan.AdjustStep{{Reps: plan.Range{Min: 0, Max: 3}, From: -200_001, Unit: plan.Kilogram}}
		}), scheme + ".adjust"},
		{"adjust after a hundred", small(func(s *plan.Scheme) {
			s.Adjust = []plan.AdjustStep{{Reps: plan.Range{Min: 0, Max: 101}, Unit: plan.Kilogram}}
		}), scheme + ".adjust"},
		{"no table", small(func(s *plan.Scheme) { s.Progress.Kind = plan.ProgressAdjustTable }), scheme + ".adjust"},
		{"overlapping table", small(func(s *plan.Scheme) {
			s.Adjust = []plan.AdjustStep{{Reps: plan.Range{Min: 0, Max: 3}, Unit: plan.Pound}, {Reps: plan.Range{Min: 3, Max: 5}, Unit: plan.Pound}}
		}), scheme + ".adjust"},
		{"table without unit", small(func(s *plan.Scheme) { s.Adjust = []plan.AdjustStep{{Reps: plan.Range{Min: 0, Max: 3}}} }), scheme + ".adjust"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			o, r := goodOutline()
			r.Sessions[2] = 2
			// The second phase has the week with two sessions.
			o.Phases[0].Weeks, o.Phases[1].Weeks = o.Phases[0].Weeks[:1], append(o.Phases[1].Weeks[:0:0], o.Phases[1].Weeks...)
			o.Phases[1].Weeks[1].Kind = plan.WeekRecovery
			require.NoError(t, CheckOutline(&o, r))
			c.spoil(&o)
			err := CheckOutline(&o, r)
			f, ok := fault.As(err)
			require.True(t, ok, "nothing found")
			require.Equal(t, fault.Internal, f.Kind)
			require.Len(t, f.Violations, 1, err)
			require.Equal(t, c.field, f.Violations[0].Field)
		})
	}
}

func TestCheckOutlineStopsCounting(t *testing.T) {
	o, r := goodOutline()
	for i := range o.Phases[0].Weeks[0].Sessions {
		s := &o.Phases[0].Weeks[0].Sessions[i]
		for range 20 {
			s.Targets = append(s.Targets, plan.Target{}, plan.Target{})
		}
	}
	f, ok := fault.As(CheckOutline(&o, r))
	require.True(t, ok)
	require.Len(t, f.Violations, outlineMaxFaults)
}

func TestCheckOutlineRequest(t *testing.T) {
	good := plan.OutlineRequest{Weeks: 2, Sessions: []int32{7, 0}, Status: plan.Novice}
	require.NoError(t, CheckOutlineRequest(good, 2, 2))
	for _, c := range []struct {
		change func(*plan.OutlineRequest)
		says   string
	}{
		{func(r *plan.OutlineRequest) { r.Weeks, r.Sessions = 1, r.Sessions[:1] }, "weeks: are 1; 2 to 2 are possible here"},
		{func(r *plan.OutlineRequest) { r.Sessions = r.Sessions[:1] }, "sessions: are given for 1 weeks"},
		{func(r *plan.OutlineRequest) { r.Sessions = []int32{8, 0} }, "sessions[0]: is 8"},
		{func(r *plan.OutlineRequest) { r.Sessions = []int32{0, -1} }, "sessions[1]: is -1"},
		{func(r *plan.OutlineRequest) { r.Status = plan.StatusUnspecified }, "status: is missing"},
		{func(r *plan.OutlineRequest) { r.Status = 9 }, "status: is missing"},
	} {
		r := good
		c.change(&r)
		err := CheckOutlineRequest(r, 2, 2)
		require.ErrorContains(t, err, c.says)
		f, _ := fault.As(err)
		require.Equal(t, fault.Invalid, f.Kind)
		o, _ := goodOutline()
		require.Error(t, CheckOutline(&o, r))
	}
	require.ErrorContains(t, CheckOutlineRequest(plan.OutlineRequest{Weeks: 53, Sessions: make([]int32, 53), Status: plan.Novice}, 0, 100), "1 to 52")
}
