package strategies_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies"
)

func anyRequest(t *rapid.T, d plan.Descriptor) plan.OutlineRequest {
	r := plan.OutlineRequest{
		Weeks:    rapid.Int32Range(d.MinWeeks, min(d.MaxWeeks, 26)).Draw(t, "weeks"),
		Status:   plan.Status(rapid.Uint8Range(1, 3).Draw(t, "status")),
		Strength: rapid.Bool().Draw(t, "strength"),
		Size:     rapid.Bool().Draw(t, "size"),
	}
	r.Sessions = rapid.SliceOfN(rapid.Int32Range(0, 7), int(r.Weeks), int(r.Weeks)).Draw(t, "sessions")
	return r
}

// What a coach takes for granted of every default outline.
func TestDefaultOutlinesAreSane(t *testing.T) {
	for _, s := range strategies.Builtin() {
		d := s.Describe()
		in, err := s.Parse(nil)
		require.NoError(t, err)
		t.Run(d.Name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				r := anyRequest(t, d)
				o, err := in.Outline(t.Context(), r)
				require.NoError(t, err)
				require.NoError(t, engine.CheckOutline(&o, r))
				saneOutline(t, &o, r)
			})
		})
	}
}

func saneOutline(t require.TestingT, o *plan.Outline, r plan.OutlineRequest) {
	at := 0
	for _, p := range o.Phases {
		rir, dose := int32(6), plan.Permille(0)
		for w, week := range p.Weeks {
			require.Len(t, week.Sessions, int(r.Sessions[at]), "every day is used")
			at++
			if week.Kind == plan.WeekDeload {
				require.NotZero(t, w, "a phase opens with a deload")
				require.Equal(t, plan.Permille(500), week.Dose)
			} else {
				require.GreaterOrEqual(t, week.Dose, dose, "sets climb inside a phase")
				require.LessOrEqual(t, week.Dose, plan.Permille(1000))
				dose = week.Dose
			}
			for i := range week.Sessions {
				for role := plan.GoalLift; role < plan.RoleCount; role++ {
					s := week.Sessions[i].Find(role, "")[0]
					if s.Effort.Intensity.Set {
						require.Equal(t, "autoregulated@1", o.Strategy, "only there loads are given shares")
						continue
					}
					wanted := s.Effort.Wanted()
					require.True(t, wanted.Set)
					require.NotZero(t, wanted.Value, "failure is nobody's default")
					if r.Status == plan.Novice {
						require.GreaterOrEqual(t, wanted.Value, int32(2))
					}
					if role == plan.SingleJoint || role == plan.Trunk {
						require.GreaterOrEqual(t, s.Reps.Min, int32(8))
					}
					if s.Reps.Max <= 6 && role != plan.Explosive {
						require.GreaterOrEqual(t, s.Rest, plan.Seconds(180), "heavy work has long rest")
					}
				}
				if week.Kind == plan.WeekTraining {
					now := week.Sessions[i].Find(plan.MultiJoint, "")[0].Effort.Wanted().Value
					require.LessOrEqual(t, now, rir, "effort doesn't fall inside a phase")
					rir = now
				}
			}
		}
	}
}

// A deload is the training week without half its sets and nearer to easy.
func TestDeloadKeepsRepetitionsAndHalvesSets(t *testing.T) {
	r := outlineRequest(8, 3, plan.Intermediate, true, true)
	for _, id := range []string{"constant", "linear", "reverse-linear", "strength-then-size", "undulating"} {
		o := outlineOf(t, id, r, number("deload_every", 6))
		var weeks []plan.OutlineWeek
		for _, p := range o.Phases {
			weeks = append(weeks, p.Weeks...)
		}
		require.Equal(t, plan.WeekDeload, weeks[5].Kind, id)
		before, deload := weeks[4].Sessions[0].Find(plan.MultiJoint, "")[0], weeks[5].Sessions[0].Find(plan.MultiJoint, "")[0]
		require.Equal(t, before.Reps, deload.Reps, id)
		require.Equal(t, plan.ScaledSets((before.Sets.Min+1)/2, (before.Sets.Max+1)/2), deload.Sets, id)
		require.Equal(t, min(before.Effort.Wanted().Value+2, 4), deload.Effort.Wanted().Value, id)
	}
	o := outlineOf(t, "constant", r, number("deload_every", 6), reps("sets", 4, 4), text("effort", "failure"))
	deload := o.Phases[0].Weeks[5].Sessions[0].Find(plan.MultiJoint, "")[0]
	require.Equal(t, plan.FixedSets(2), deload.Sets, "fixed sets too")
	require.False(t, deload.Effort.ToFailure)
}

// A deload due when the size phase begins closes the strength phase instead.
func TestDeloadNeverOpensAPhase(t *testing.T) {
	o := outlineOf(t, "strength-then-size", outlineRequest(8, 3, plan.Intermediate, true, true), number("heavy_weeks", 3), number("deload_every", 4))
	var kinds [][]plan.WeekKind
	for _, p := range o.Phases {
		var list []plan.WeekKind
		for _, w := range p.Weeks {
			list = append(list, w.Kind)
		}
		kinds = append(kinds, list)
	}
	const T, D = plan.WeekTraining, plan.WeekDeload
	require.Equal(t, [][]plan.WeekKind{{T, T, D}, {T, T, T, T, D}}, kinds)
}

func TestGoalsAndStatusShow(t *testing.T) {
	goal := func(s plan.Status, strength bool) plan.Scheme {
		o := outlineOf(t, "constant", outlineRequest(8, 3, s, strength, !strength))
		return o.Phases[0].Weeks[7].Sessions[0].Find(plan.GoalLift, "")[0]
	}
	require.Equal(t, plan.Range{Min: 5, Max: 8}, goal(plan.Novice, true).Reps)
	require.Equal(t, plan.Range{Min: 4, Max: 6}, goal(plan.Intermediate, true).Reps)
	require.Equal(t, plan.Range{Min: 3, Max: 6}, goal(plan.Advanced, true).Reps)
	require.Equal(t, plan.Range{Min: 8, Max: 12}, goal(plan.Novice, false).Reps)
	require.Equal(t, plan.Range{Min: 6, Max: 12}, goal(plan.Advanced, false).Reps)
	require.Equal(t, int32(2), goal(plan.Advanced, true).Effort.Wanted().Value)
	require.Equal(t, int32(1), goal(plan.Advanced, false).Effort.Wanted().Value)
}

func TestParametersThatClash(t *testing.T) {
	for _, c := range []struct {
		strategy string
		params   []plan.Param
		field    string
	}{
		{"linear", []plan.Param{reps("first_reps", 4, 6), reps("last_reps", 12, 14)}, "parameters.last_reps"},
		{"reverse-linear", []plan.Param{reps("first_reps", 12, 14), reps("last_reps", 4, 6)}, "parameters.last_reps"},
		{"linear", []plan.Param{number("recovery_every", 1)}, "parameters.recovery_every"},
		{"constant", []plan.Param{number("deload_every", 1)}, "parameters.deload_every"},
		{"block", []plan.Param{number("deload_every", 1)}, "parameters.deload_every"},
		{"block", []plan.Param{reps("accumulation_reps", 6, 8), reps("realization_reps", 4, 9)}, "parameters.realization_reps"},
		{"block", []plan.Param{reps("transmutation_other_reps", 9, 15), reps("accumulation_other_reps", 8, 15)}, "parameters.transmutation_other_reps"},
		{"undulating", []plan.Param{number("zones", 2), list("zone_sets", 2, 3, 4)}, "parameters.zone_sets"},
		{"undulating", []plan.Param{list("zone_rests", 60, 90, 120, 180)}, "parameters.zone_rests"},
		{"undulating", []plan.Param{text("turn", "workout")}, "parameters.turn"},
	} {
		reg, err := engine.NewRegistry(strategies.Builtin()...)
		require.NoError(t, err)
		s, err := reg.Lookup(c.strategy)
		require.NoError(t, err)
		_, err = s.Parse(c.params)
		f, ok := fault.As(err)
		require.True(t, ok, c.field)
		require.Len(t, f.Violations, 1)
		require.Equal(t, c.field, f.Violations[0].Field)
		require.Equal(t, engine.ReasonParametersClash, f.Violations[0].Reason)
	}
}

func TestParametersThatDoNotFitTheWeeks(t *testing.T) {
	for _, c := range []struct {
		strategy string
		param    plan.Param
	}{
		{"strength-then-size", number("heavy_weeks", 8)},
		{"constant", number("deferred_from", 9)},
		{"block", number("cycles", 3)},
		{"block", number("accumulation_weeks", 7)},
		{"block", number("transmutation_weeks", 16)},
	} {
		reg, err := engine.NewRegistry(strategies.Builtin()...)
		require.NoError(t, err)
		s, err := reg.Lookup(c.strategy)
		require.NoError(t, err)
		in, err := s.Parse([]plan.Param{c.param})
		require.NoError(t, err)
		_, err = in.Outline(t.Context(), outlineRequest(8, 3, plan.Novice, false, false))
		f, ok := fault.As(err)
		require.True(t, ok)
		require.Equal(t, fault.Invalid, f.Kind)
		require.Equal(t, "parameters."+c.param.Name, f.Violations[0].Field)
	}
}

// FuzzParameters throws parameters at every strategy: whatever is not refused gives an
// outline that passes, twice the same.
func FuzzParameters(f *testing.F) {
	f.Add(uint8(1), "deload_every", uint8(1), int64(4000), int32(0), int32(0), "", false, uint8(8), uint8(3), uint8(2))
	f.Add(uint8(2), "last_reps", uint8(2), int64(0), int32(3), int32(5), "", false, uint8(12), uint8(3), uint8(1))
	f.Add(uint8(3), "recovery_every", uint8(1), int64(2000), int32(0), int32(0), "", false, uint8(4), uint8(1), uint8(3))
	f.Add(uint8(4), "heavy_effort", uint8(3), int64(0), int32(0), int32(0), "failure", false, uint8(8), uint8(2), uint8(2))
	f.Add(uint8(0), "realization_weeks", uint8(1), int64(3000), int32(0), int32(0), "", false, uint8(16), uint8(4), uint8(3))
	f.Add(uint8(5), "turn", uint8(3), int64(0), int32(0), int32(0), "week", false, uint8(8), uint8(3), uint8(2))
	f.Add(uint8(5), "zone_sets", uint8(5), int64(0), int32(2), int32(4), "", false, uint8(6), uint8(2), uint8(1))
	f.Add(uint8(4), "deferred", uint8(4), int64(0), int32(0), int32(0), "", true, uint8(52), uint8(7), uint8(2))
	f.Fuzz(func(t *testing.T, which uint8, name string, kind uint8, milli int64, lo, hi int32, word string, flag bool, weeks, sessions, status uint8) {
		all := strategies.Builtin()
		s := all[int(which)%len(all)]
		in, err := s.Parse([]plan.Param{{Name: name, Value: plan.Value{
			Kind: plan.ValueKind(kind), Milli: milli, Lo: lo, Hi: hi, Text: word, Bool: flag, List: []int32{lo, hi},
		}}})
		if err != nil {
			fe, ok := fault.As(err)
			require.True(t, ok)
			require.Equal(t, fault.Invalid, fe.Kind)
			return
		}
		r := outlineRequest(int32(weeks%60), int32(sessions%9), plan.Status(status%5), flag, !flag)
		o, err := in.Outline(t.Context(), r)
		if err != nil {
			fe, ok := fault.As(err)
			require.True(t, ok)
			require.Equal(t, fault.Invalid, fe.Kind)
			return
		}
		require.NoError(t, engine.CheckOutline(&o, r))
		again, err := in.Outline(t.Context(), r)
		require.NoError(t, err)
		require.Equal(t, o, again)
	})
}

// Twelve weeks of four days.
func BenchmarkOutline(b *testing.B) {
	for _, s := range strategies.Builtin() {
		in, err := s.Parse(nil)
		require.NoError(b, err)
		r := outlineRequest(12, 4, plan.Intermediate, true, true)
		b.Run(s.Describe().Name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := in.Outline(b.Context(), r); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkCheckOutline(b *testing.B) {
	r := outlineRequest(12, 4, plan.Intermediate, true, true)
	o := outlineOf(b, "linear", r)
	b.ReportAllocs()
	for b.Loop() {
		if err := engine.CheckOutline(&o, r); err != nil {
			b.Fatal(err)
		}
	}
}
