package app

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func bytesOf(t testing.TB, v any) string {
	b, err := plan.Canonical(v)
	require.NoError(t, err)
	return string(b)
}

func weeksIn(p *plan.Program) []*plan.Week {
	var out []*plan.Week
	for i := range p.Phases {
		for j := range p.Phases[i].Weeks {
			out = append(out, &p.Phases[i].Weeks[j])
		}
	}
	return out
}

// ownRequest is a request that can be changed without the program's.
func ownRequest(t testing.TB, r *plan.Request) plan.Request {
	var out plan.Request
	require.NoError(t, json.Unmarshal([]byte(bytesOf(t, r)), &out))
	return out
}

// trainedOn spells exercises and sets of the weeks' training sessions on a weekday; all
// days for none.
func trainedOn(p *plan.Program, day plan.Weekday) string {
	out := ""
	for _, w := range weeksIn(p) {
		for i := range w.Sessions {
			s := &w.Sessions[i]
			if s.Kind != plan.SessionTraining || day != plan.WeekdayUnspecified && s.Weekday != day {
				continue
			}
			out += fmt.Sprintf("%d %s:", w.Number, s.Weekday)
			for j := range s.Exercises {
				out += fmt.Sprintf(" %s %d", s.Exercises[j].ExerciseID, s.Exercises[j].Working())
			}
			out += "\n"
		}
	}
	return out
}

// Asked for the same, with or without a past, nothing moves: every week to the byte, and
// all that was said of them.
func TestReworkOfTheSameChangesNothing(t *testing.T) {
	t.Parallel()
	e, err := NewEngine()
	require.NoError(t, err)
	n := 0
	for _, name := range scenarioNames(t) {
		base, err := generate(e, name)
		if err != nil {
			continue // a refusal
		}
		n++
		t.Run(name, func(t *testing.T) {
			for _, from := range []int32{0, 2, int32(base.WeekCount())} {
				p, err := e.Rework(context.Background(), &base, base.Request, plan.Rework{FromWeek: from})
				require.NoError(t, err)
				was, is := weeksIn(&base), weeksIn(&p)
				require.Len(t, is, len(was))
				for i := range was {
					if bytesOf(t, was[i]) != bytesOf(t, is[i]) {
						t.Fatalf("from %d: week %d is not what it was", from, i+1)
					}
				}
				// Of the past the audit is silent: the request is about what comes.
				said := slices.DeleteFunc(slices.Clone(base.Findings), func(f plan.Finding) bool {
					return f.Week > 0 && f.Week < from && strings.HasPrefix(string(f.Rule), "audit.")
				})
				if !assert.ElementsMatch(t, findingTexts(said), findingTexts(p.Findings), "from %d", from) {
					return
				}
			}
		})
	}
	require.Greater(t, n, 15)
}

func findingTexts(list []plan.Finding) []string {
	var out []string
	for _, f := range list {
		out = append(out, fmt.Sprintf("%d %s %s", f.Week, f.Rule, f.Says))
	}
	return out
}

func threeDays(t testing.TB) (*engine.Engine, plan.Program) {
	e, err := NewEngine()
	require.NoError(t, err)
	base, err := generate(e, "three-unequal-days")
	require.NoError(t, err)
	return e, base
}

// With a day cut, that day changes and the others don't.
func TestReworkWithADayCut(t *testing.T) {
	e, base := threeDays(t)
	r := ownRequest(t, &base.Request)
	r.Constraints.Days[1].Minutes -= 15
	p, err := e.Rework(context.Background(), &base, r, plan.Rework{FromWeek: 3})
	require.NoError(t, err)
	for _, day := range []plan.Weekday{plan.Monday, plan.Saturday} {
		require.Equal(t, trainedOn(&base, day), trainedOn(&p, day))
	}
	was, is := weeksIn(&base), weeksIn(&p)
	for i := range was {
		if i < 2 {
			require.Equal(t, bytesOf(t, was[i]), bytesOf(t, is[i]))
			continue
		}
		for k, s := range is[i].Sessions {
			if s.Weekday == plan.Wednesday {
				require.LessOrEqual(t, s.Seconds, plan.Seconds(45*60))
				require.EqualValues(t, 45*60, s.Limit)
			} else {
				require.Equal(t, bytesOf(t, was[i].Sessions[k]), bytesOf(t, s), "week %d, %s", i+1, s.Weekday)
			}
		}
	}
}

// A swap puts the other exercise in its place, with its sets, and nothing else moves.
func TestReworkWithASwap(t *testing.T) {
	e, base := threeDays(t)
	var from, with string
	for i := range weeksIn(&base)[0].Sessions {
		for _, x := range weeksIn(&base)[0].Sessions[i].Exercises {
			for _, c := range x.Contingencies {
				if c.Case == plan.CaseEquipmentTaken && len(c.Swap) > 0 && x.Role == plan.MultiJoint && x.ExerciseID != "deadlift" {
					from, with = x.ExerciseID, c.Swap[0]
				}
			}
		}
	}
	require.NotEmpty(t, from)
	p, err := e.Rework(context.Background(), &base, base.Request, plan.Rework{FromWeek: 2, Swaps: []plan.Swap{{ExerciseID: from, With: with}}})
	require.NoError(t, err)
	was, is := weeksIn(&base), weeksIn(&p)
	require.Equal(t, bytesOf(t, was[0]), bytesOf(t, is[0]))
	swapped := 0
	for i := 1; i < len(was); i++ {
		for k := range was[i].Sessions {
			want, got := map[string]int32{}, map[string]int32{}
			for _, x := range was[i].Sessions[k].Exercises {
				id := x.ExerciseID
				if id == from {
					id = with
					swapped++
				}
				want[id] = x.Working()
			}
			for _, x := range is[i].Sessions[k].Exercises {
				got[x.ExerciseID] = x.Working()
			}
			require.NotContains(t, got, from)
			if n, ok := want[with]; ok {
				require.Equal(t, n, got[with], "week %d", i+1)
			} else {
				require.Equal(t, want, got, "week %d %s", i+1, was[i].Sessions[k].Weekday)
			}
		}
	}
	require.Positive(t, swapped)
}

// From a day within a week on: what lies before it in that week stays too.
func TestReworkWithinAWeek(t *testing.T) {
	e, base := threeDays(t)
	r := ownRequest(t, &base.Request)
	r.Constraints.Excluded = append(r.Constraints.Excluded, weeksIn(&base)[2].Sessions[0].Exercises[1].ExerciseID)
	start := r.Constraints.Start.Value
	p, err := e.Rework(context.Background(), &base, r, plan.Rework{From: plan.Some(start.AddDays(15))}) // Tuesday of week 3
	require.NoError(t, err)
	was, is := weeksIn(&base), weeksIn(&p)
	require.Equal(t, bytesOf(t, was[2].Sessions[0]), bytesOf(t, is[2].Sessions[0]))
	for i := 2; i < len(is); i++ {
		for k := range is[i].Sessions {
			for _, x := range is[i].Sessions[k].Exercises {
				require.False(t, x.ExerciseID == r.Constraints.Excluded[0] && (i > 2 || k > 0), "week %d", i+1)
			}
		}
	}
	for _, f := range e.Audit(&p) {
		require.NotEqual(t, plan.LevelViolation, f.Level, f.Says)
	}
}

// Locks hold through a change that would move what they hold.
func TestReworkWithLocks(t *testing.T) {
	e, base := threeDays(t)
	r := ownRequest(t, &base.Request)
	r.Constraints.Days[0].Minutes, r.Constraints.Days[2].Minutes = 75, 60
	how := plan.Rework{Locks: []plan.Lock{{Weekday: plan.Monday}, {ExerciseID: weeksIn(&base)[0].Sessions[2].Exercises[2].ExerciseID, Weekday: plan.Saturday}}}
	p, err := e.Rework(context.Background(), &base, r, how)
	require.NoError(t, err)
	for i, w := range weeksIn(&base) {
		now := weeksIn(&p)[i]
		for _, x := range w.Sessions[0].Exercises {
			require.True(t, hasSets(&now.Sessions[0], x.ExerciseID, x.Working()), "week %d: %s", i+1, x.ExerciseID)
		}
		for _, x := range w.Sessions[2].Exercises {
			if x.ExerciseID == how.Locks[1].ExerciseID {
				require.True(t, hasSets(&now.Sessions[2], x.ExerciseID, x.Working()), "week %d: %s", i+1, x.ExerciseID)
			}
		}
	}
}

func hasExercise(s *plan.Session, id string) bool {
	return slices.ContainsFunc(s.Exercises, func(x plan.ProgramExercise) bool { return x.ExerciseID == id })
}

func hasSets(s *plan.Session, id string, sets int32) bool {
	for i := range s.Exercises {
		if s.Exercises[i].ExerciseID == id {
			return s.Exercises[i].Working() == sets
		}
	}
	return false
}

func TestReworkRefuses(t *testing.T) {
	e, base := threeDays(t)
	start := base.Request.Constraints.Start.Value
	moved := ownRequest(t, &base.Request)
	moved.Constraints.Start = plan.Some(start.AddDays(7))
	tight := ownRequest(t, &base.Request)
	tight.Constraints.Days[2].Minutes = 20
	fewer := ownRequest(t, &base.Request)
	fewer.Constraints.Days = fewer.Constraints.Days[:2]
	var only string // that is nowhere but on the third day
	for _, x := range weeksIn(&base)[0].Sessions[2].Exercises {
		if !hasExercise(&weeksIn(&base)[0].Sessions[0], x.ExerciseID) && !hasExercise(&weeksIn(&base)[0].Sessions[1], x.ExerciseID) && x.ExerciseID != "deadlift" {
			only = x.ExerciseID
		}
	}
	require.NotEmpty(t, only)
	for name, c := range map[string]struct {
		request plan.Request
		how     plan.Rework
		kind    fault.Kind
		reason  string
		field   string
	}{
		"both":          {base.Request, plan.Rework{From: plan.Some(start), FromWeek: 1}, fault.Invalid, "ONE_OF", "rework.from_date"},
		"before":        {base.Request, plan.Rework{From: plan.Some(start - 1)}, fault.Invalid, "OUT_OF_RANGE", "rework.from_date"},
		"after":         {base.Request, plan.Rework{FromWeek: 9}, fault.Invalid, "OUT_OF_RANGE", "rework.from_week"},
		"moved":         {moved, plan.Rework{FromWeek: 2}, fault.Invalid, "PAST", "constraints.start_date"},
		"empty lock":    {base.Request, plan.Rework{Locks: make([]plan.Lock, 1)}, fault.Invalid, "REQUIRED", "rework.locks[0]"},
		"not there":     {base.Request, plan.Rework{Locks: []plan.Lock{{Weekday: plan.Sunday}}}, fault.Invalid, "NOT_THERE", "rework.locks[0]"},
		"goal swapped":  {base.Request, plan.Rework{Swaps: []plan.Swap{{ExerciseID: "deadlift", With: "back-squat"}}}, fault.Invalid, "PINNED", "rework.swaps[0].exercise_id"},
		"unknown":       {base.Request, plan.Rework{Swaps: []plan.Swap{{ExerciseID: weeksIn(&base)[0].Sessions[0].Exercises[0].ExerciseID, With: "nothing"}}}, fault.Invalid, "UNKNOWN_EXERCISE", "rework.swaps[0].with_exercise_id"},
		"day gone":      {fewer, plan.Rework{FromWeek: 2, Locks: []plan.Lock{{Weekday: plan.Monday}, {Weekday: plan.Saturday}}}, fault.Infeasible, "CONFLICT_LOCK", "rework.locks[1]"},
		"lift gone":     {fewer, plan.Rework{Locks: []plan.Lock{{ExerciseID: only}}}, fault.Infeasible, "CONFLICT_LOCK", "rework.locks[0]"},
		"swap gone":     {fewer, plan.Rework{Swaps: []plan.Swap{{ExerciseID: only, With: "push-up"}}}, fault.Infeasible, "CONFLICT_LOCK", "rework.swaps[0]"},
		"locked to fit": {tight, plan.Rework{Locks: []plan.Lock{{Weekday: plan.Saturday}}}, fault.Infeasible, "CONFLICT_LOCK", "rework.locks[0]"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := e.Rework(context.Background(), &base, c.request, c.how)
			f, ok := fault.As(err)
			require.True(t, ok, "%v", err)
			require.Equal(t, c.kind, f.Kind, f.Error())
			require.True(t, slices.ContainsFunc(f.Violations, func(v fault.Violation) bool { return v.Reason == c.reason && v.Field == c.field }), f.Error())
		})
	}
}
