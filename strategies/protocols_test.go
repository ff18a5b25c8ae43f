package strategies_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

func number(name string, n int64) plan.Param {
	return plan.Param{Name: name, Value: plan.Value{Kind: plan.ValueNumber, Milli: n * 1000}}
}

func reps(name string, lo, hi int32) plan.Param {
	return plan.Param{Name: name, Value: plan.Value{Kind: plan.ValueRange, Lo: lo, Hi: hi}}
}

func text(name, s string) plan.Param {
	return plan.Param{Name: name, Value: plan.Value{Kind: plan.ValueText, Text: s}}
}

func yes(name string) plan.Param {
	return plan.Param{Name: name, Value: plan.Value{Kind: plan.ValueBool, Bool: true}}
}

func sets(name, s string) plan.Param { return text(name, s) }

func list(name string, n ...int32) plan.Param {
	return plan.Param{Name: name, Value: plan.Value{Kind: plan.ValueList, List: n}}
}

// week is what a protocol says of one week: the same for goal and other multi-joint lifts.
type week struct {
	kind     plan.WeekKind
	groups   string // one letter a session; a dot where the day has its own exercises
	sets     int32
	reps     plan.Range
	failure  bool
	rir      int32
	rest     plan.Seconds
	deferred bool
}

// weeksOf reads them back, and fails where sessions or the two roles disagree.
func weeksOf(t *testing.T, o plan.Outline) []week {
	var out []week
	for _, p := range o.Phases {
		for _, w := range p.Weeks {
			var one week
			groups := ""
			for i := range w.Sessions {
				s := &w.Sessions[i]
				if s.Group == "" {
					groups += "."
				} else {
					groups += s.Group
				}
				for _, role := range []plan.Role{plan.GoalLift, plan.MultiJoint} {
					schemes := s.Find(role, "")
					require.Len(t, schemes, 1)
					c := schemes[0]
					require.True(t, c.Sets.Fixed)
					now := week{kind: w.Kind, sets: c.Sets.Max, reps: c.Reps, failure: c.Effort.ToFailure, rir: c.Effort.RIR.Value,
						rest: c.Rest, deferred: c.Effort.Reference.Kind == plan.RefLatest}
					require.False(t, c.Effort.Intensity.Set, "load follows from repetitions and effort")
					if i > 0 || role != plan.GoalLift {
						require.Equal(t, one, now)
					}
					one = now
				}
			}
			one.groups = groups
			out = append(out, one)
		}
	}
	return out
}

// Facts of the trade (common practice, no source).
func TestProtocols(t *testing.T) {
	t.Run("strength then size, 8 weeks", func(t *testing.T) {
		r := outlineRequest(8, 2, plan.Intermediate, true, true)
		o := outlineOf(t, "strength-then-size", r,
			number("heavy_weeks", 3), reps("heavy_sets", 4, 4), reps("heavy_reps", 1, 3), reps("heavy_other_reps", 1, 3),
			text("heavy_effort", "failure"), number("heavy_rest", 180),
			reps("size_sets", 4, 4), reps("size_reps", 8, 12), text("size_effort", "failure"), number("size_rest", 60),
			yes("deferred"), number("ease", 0), number("deload_every", 0))
		heavy := week{plan.WeekTraining, "..", 4, plan.Range{Min: 1, Max: 3}, true, 0, 180, false}
		size := week{plan.WeekTraining, "..", 4, plan.Range{Min: 8, Max: 12}, true, 0, 60, true}
		require.Equal(t, []week{heavy, heavy, heavy, size, size, size, size, size}, weeksOf(t, o))
		require.Equal(t, "strength", o.Phases[0].Name)
		require.Len(t, o.Phases[0].Weeks, 3)
		require.Equal(t, "size", o.Phases[1].Name)
	})
	t.Run("its control, 8 weeks", func(t *testing.T) {
		r := outlineRequest(8, 2, plan.Intermediate, true, true)
		o := outlineOf(t, "constant", r,
			reps("goal_sets", 4, 4), reps("sets", 4, 4), reps("goal_reps", 8, 12), reps("other_reps", 8, 12), text("effort", "failure"),
			number("rest", 60), number("deferred_from", 4), number("ease", 0), number("deload_every", 0))
		now := week{plan.WeekTraining, "..", 4, plan.Range{Min: 8, Max: 12}, true, 0, 60, false}
		later := now
		later.deferred = true
		require.Equal(t, []week{now, now, now, later, later, later, later, later}, weeksOf(t, o))
	})

	training := func(groups string, lo, hi int32) week {
		return week{kind: plan.WeekTraining, groups: groups, sets: 3, reps: plan.Range{Min: lo, Max: hi}, failure: true, rest: 120}
	}
	recovery := func(groups string) week {
		return week{kind: plan.WeekRecovery, groups: groups, sets: 3, reps: plan.Range{Min: 12, Max: 12}, rir: 3, rest: 120}
	}
	params := []plan.Param{
		reps("goal_sets", 3, 3), reps("sets", 3, 3), text("effort", "failure"), number("rest", 120), number("ease", 0),
		number("workouts", 2), number("recovery_every", 4), reps("recovery_reps", 12, 12), number("recovery_sessions", 2),
	}
	linear := []week{
		training("ABA", 12, 14), training("BAB", 11, 13), training("ABA", 10, 12), recovery("BA"),
		training("BAB", 9, 11), training("ABA", 8, 10), training("BAB", 7, 9), recovery("AB"),
		training("ABA", 6, 8), training("BAB", 5, 7), training("ABA", 4, 6), recovery("BA"),
	}
	r := outlineRequest(12, 3, plan.Intermediate, true, true)
	t.Run("linear, 12 weeks", func(t *testing.T) {
		o := outlineOf(t, "linear", r, append(params, reps("first_reps", 12, 14), reps("last_reps", 4, 6))...)
		require.Equal(t, linear, weeksOf(t, o))
		require.Equal(t, o, outlineOf(t, "linear", r, params...), "the ranges are the defaults")
		// Curls never get that heavy, planks keep their own repetitions.
		last := o.Phases[0].Weeks[10].Sessions[0]
		require.Equal(t, plan.Range{Min: 8, Max: 10}, last.Find(plan.SingleJoint, "")[0].Reps)
		require.Equal(t, plan.Range{Min: 10, Max: 15}, last.Find(plan.Trunk, "")[0].Reps)
		require.Equal(t, plan.Range{Min: 8, Max: 20}, last.Find(plan.Unloadable, "")[0].Reps)
	})
	t.Run("reverse linear, 12 weeks", func(t *testing.T) {
		o := outlineOf(t, "reverse-linear", r, append(params, reps("first_reps", 4, 6), reps("last_reps", 12, 14))...)
		mirror := append([]week(nil), linear...)
		trained := []int{0, 1, 2, 4, 5, 6, 8, 9, 10}
		for i, w := range trained {
			mirror[w].reps = linear[trained[len(trained)-1-i]].reps
		}
		require.Equal(t, mirror, weeksOf(t, o))
	})
}
