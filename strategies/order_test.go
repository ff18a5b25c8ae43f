package strategies_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies"
)

// drawn is an outline for a drawn request.
func drawn(t *rapid.T, id string, r plan.OutlineRequest, params ...plan.Param) plan.Outline {
	reg, err := engine.NewRegistry(strategies.Builtin()...)
	require.NoError(t, err)
	s, err := reg.Lookup(id)
	require.NoError(t, err)
	in, err := s.Parse(params)
	require.NoError(t, err)
	o, err := in.Outline(t.Context(), r)
	require.NoError(t, err)
	require.NoError(t, engine.CheckOutline(&o, r))
	return o
}

func descriptor(id string) plan.Descriptor {
	for _, s := range strategies.Builtin() {
		if d := s.Describe(); d.Name == id {
			return d
		}
	}
	return plan.Descriptor{}
}

func weeksIn(o *plan.Outline) []plan.OutlineWeek {
	var out []plan.OutlineWeek
	for _, p := range o.Phases {
		out = append(out, p.Weeks...)
	}
	return out
}

func goal(w *plan.OutlineWeek, session int) plan.Scheme {
	return w.Sessions[session].Find(plan.GoalLift, "")[0]
}

// Daily undulating mixes repetition ranges inside every week (common practice, no
// source).
func TestUndulatingMixesRangesInsideEveryWeek(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t, descriptor("undulating"))
		o := drawn(t, "undulating", r, number("zones", rapid.Int64Range(2, 4).Draw(t, "zones")))
		for _, w := range weeksIn(&o) {
			for i := 1; i < len(w.Sessions); i++ {
				for _, role := range []plan.Role{plan.GoalLift, plan.MultiJoint} {
					require.NotEqual(t, w.Sessions[i-1].Find(role, "")[0].Reps, w.Sessions[i].Find(role, "")[0].Reps)
				}
				require.NotEqual(t, w.Sessions[i-1].Label, w.Sessions[i].Label)
			}
		}
	})
}

// The rotation counts sessions, whatever weeks they fall in.
func TestUndulatingCountsSessions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t, descriptor("undulating"))
		zones := rapid.IntRange(2, 4).Draw(t, "zones")
		params := []plan.Param{number("zones", int64(zones))}
		for i := range zones {
			n := int32(20 - 4*i)
			params = append(params, reps(fmt.Sprintf("zone_%d_reps", i+1), n, n))
		}
		o := drawn(t, "undulating", r, params...)
		k := 0
		for _, w := range weeksIn(&o) {
			for i := range w.Sessions {
				require.Equal(t, int32(20-4*(k%zones)), goal(&w, i).Reps.Min)
				k++
			}
		}
	})
}

// Where workouts take turns, each meets every zone.
func TestUndulatingWorkoutsMeetEveryZone(t *testing.T) {
	for _, turn := range []string{"session", "workout"} {
		for workouts := int64(2); workouts <= 4; workouts++ {
			for zones := int64(2); zones <= 4; zones++ {
				r := outlineRequest(int32(workouts*zones), 2, plan.Intermediate, true, true)
				o := outlineOf(t, "undulating", r, text("turn", turn), number("workouts", workouts), number("zones", zones))
				met := map[string]map[plan.Range]bool{}
				for _, w := range weeksIn(&o) {
					for i := range w.Sessions {
						g := w.Sessions[i].Group
						if met[g] == nil {
							met[g] = map[plan.Range]bool{}
						}
						met[g][goal(&w, i).Reps] = true
					}
				}
				require.Len(t, met, int(workouts))
				for g := range met {
					require.Len(t, met[g], int(zones), "%s: workout %s of %d with %d zones", turn, g, workouts, zones)
				}
			}
		}
	}
}

// Weekly undulating changes from training week to training week; a deload keeps the
// range of the week before and uses none up.
func TestUndulatingByWeek(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t, descriptor("undulating"))
		o := drawn(t, "undulating", r, text("turn", "week"), number("deload_every", rapid.Int64Range(2, 6).Draw(t, "deload")))
		var zones []plan.Range
		before := plan.Range{}
		for _, w := range weeksIn(&o) {
			if len(w.Sessions) == 0 {
				continue
			}
			now := goal(&w, 0).Reps
			for i := range w.Sessions {
				require.Equal(t, now, goal(&w, i).Reps, "one range a week")
			}
			if w.Kind == plan.WeekTraining {
				require.NotEqual(t, before, now)
				zones = append(zones, now)
			} else if len(zones) > 0 {
				require.Equal(t, before, now)
			}
			if len(zones) > 0 {
				before = now
			}
		}
		for i := 3; i < len(zones); i++ {
			require.Equal(t, zones[i-3], zones[i])
		}
	})
}

// Only what is said to undulate does.
func TestUndulatingScope(t *testing.T) {
	for scope, moves := range map[string][3]bool{"all": {true, true, true}, "multi-joint": {true, true, false}, "goal": {true, false, false}} {
		o := outlineOf(t, "undulating", outlineRequest(4, 3, plan.Intermediate, true, true), text("undulates", scope), list("zone_sets", 5, 4, 3), list("zone_rests", 240))
		w := o.Phases[0].Weeks[0]
		for i, role := range []plan.Role{plan.GoalLift, plan.MultiJoint, plan.SingleJoint} {
			first, last := w.Sessions[0].Find(role, "")[0], w.Sessions[2].Find(role, "")[0]
			require.Equal(t, moves[i], first.Reps != last.Reps, "%s: %s", scope, role)
			require.Equal(t, moves[i], first.Sets != last.Sets, "%s: %s", scope, role)
			require.Equal(t, moves[i], first.Rest == 240, "%s: %s", scope, role)
		}
	}
}

// Novices get no very heavy zone, and nobody a heavy curl.
func TestUndulatingIsMildForNovices(t *testing.T) {
	for _, strength := range []bool{false, true} {
		for _, size := range []bool{false, true} {
			o := outlineOf(t, "undulating", outlineRequest(4, 4, plan.Novice, strength, size), number("zones", 4))
			for _, w := range weeksIn(&o) {
				for i := range w.Sessions {
					require.GreaterOrEqual(t, goal(&w, i).Reps.Min, int32(6))
				}
			}
		}
	}
	heaviest := func(strength, size bool) int32 {
		o := outlineOf(t, "undulating", outlineRequest(4, 3, plan.Intermediate, strength, size))
		return goal(&o.Phases[0].Weeks[0], 0).Reps.Min
	}
	require.Less(t, heaviest(true, false), heaviest(false, true), "strength is trained heavier than size")
}

// Linear lowers repetitions and raises load over many weeks: the load for fewer
// repetitions to failure is the heavier one (common practice, no source).
func TestLinearRaisesLoadAndLowersRepetitions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := descriptor("linear")
		d.MinWeeks = 6
		r := anyRequest(t, d)
		for i := range r.Sessions {
			r.Sessions[i] = max(r.Sessions[i], 1)
		}
		o := drawn(t, "linear", r)
		first, last := plan.Scheme{}, plan.Scheme{}
		most := func(s plan.Scheme) int32 { return s.Reps.Max + s.Effort.Wanted().Value }
		for _, w := range weeksIn(&o) {
			if w.Kind != plan.WeekTraining {
				continue
			}
			now := goal(&w, 0)
			if first.Kind == plan.SetUnspecified {
				first, last = now, now
			}
			require.LessOrEqual(t, now.Reps.Max, last.Reps.Max)
			require.LessOrEqual(t, most(now), most(last))
			last = now
		}
		require.GreaterOrEqual(t, first.Reps.Max-last.Reps.Max, int32(6))
		require.Less(t, most(last), most(first))
	})
}
