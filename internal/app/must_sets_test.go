package app

import (
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// setsMust holds conditions against all sets of a selection, or some.
type setsMust struct {
	Of        string   `json:"of"`
	Weeks     weekList `json:"weeks"`
	Some      bool     `json:"some"`
	Count     *span    `json:"count"`
	Reps      *span    `json:"reps"`
	ExactReps bool     `json:"exact_reps"`
	Expected  *span    `json:"expected"`
	RIR       *span    `json:"rir"`
	ToFailure *bool    `json:"to_failure"`
	Intensity *span    `json:"intensity"`
	Load      *span    `json:"load"`
	Rest      *span    `json:"rest"`
	Deferred  *bool    `json:"deferred"`
	Kind      string   `json:"kind"`
}

// selected tells which sets of an exercise a selector means.
type selected func(l *lift, s *plan.Set) bool

func (v *view) selector(of string) (selected, error) {
	working := func(is func(l *lift) bool) selected {
		return func(l *lift, s *plan.Set) bool { return s.Kind != plan.SetWarmup && is(l) }
	}
	switch of {
	case "all":
		return working(func(*lift) bool { return true }), nil
	case "loaded":
		return func(_ *lift, s *plan.Set) bool { return s.Load.Set && s.Load.Value.Milli != 0 }, nil
	case "under a bar":
		return working(func(l *lift) bool { return l.x.Is(exercise.UnderBar) }), nil
	}
	if name, ok := strings.CutPrefix(of, "role "); ok {
		role, ok := called(name, plan.GoalLift, plan.RoleCount-1)
		if !ok {
			return nil, fmt.Errorf("there is no role %q", name)
		}
		return working(func(l *lift) bool { return l.Role == role }), nil
	}
	if bad := v.exercises([]string{of}); bad != nil {
		return nil, fmt.Errorf("of is all, loaded, under a bar, role NAME or an exercise: %s", bad[0])
	}
	return working(func(l *lift) bool { return l.ExerciseID == of }), nil
}

// condition is one thing wanted of a set. Sets that it can't be asked of are passed
// over; got is what the set has where it isn't what is wanted.
type condition struct {
	name  string
	asks  func(s *plan.Set) bool
	fails func(s *plan.Set) (got string, fails bool)
	asked int
}

func always(*plan.Set) bool     { return true }
func inReps(s *plan.Set) bool   { return s.Hold.IsZero() }
func followed(s *plan.Set) bool { return s.Rest > 0 }
func number(n int64) string     { return plan.Kg(n).Number() }
func orNone(set bool, n int64) string {
	if !set {
		return "none"
	}
	return number(n)
}

func (m *setsMust) conditions(unit plan.MassUnit) ([]*condition, error) {
	var list []*condition
	add := func(name string, asks func(*plan.Set) bool, fails func(*plan.Set) (string, bool)) {
		list = append(list, &condition{name: name, asks: asks, fails: fails})
	}
	within := func(name string, want *span, asks func(*plan.Set) bool, value func(*plan.Set) (int64, bool)) {
		if want == nil {
			return
		}
		add(name+" "+want.String(), asks, func(s *plan.Set) (string, bool) {
			n, set := value(s)
			return orNone(set, n), !set || !want.has(n)
		})
	}
	if want := m.Reps; want != nil {
		if m.ExactReps {
			add("exactly "+want.String()+" repetitions", inReps, func(s *plan.Set) (string, bool) {
				got := plan.Range{Min: int32(want.lo / 1000), Max: int32(want.hi / 1000)}
				return repsOf(s), s.Reps != got
			})
		} else {
			add("repetitions within "+want.String(), inReps, func(s *plan.Set) (string, bool) {
				return repsOf(s), !want.count(int(s.Reps.Min)) || !want.count(int(s.Reps.Max))
			})
		}
	} else if m.ExactReps {
		return nil, fmt.Errorf("exact_reps needs reps")
	}
	within("expected", m.Expected, inReps, func(s *plan.Set) (int64, bool) { return int64(s.Expected) * 1000, s.Expected > 0 })
	within("RIR", m.RIR, inReps, func(s *plan.Set) (int64, bool) { return int64(s.RIR.Value) * 1000, s.RIR.Set })
	within("intensity %", m.Intensity, inReps, func(s *plan.Set) (int64, bool) { return int64(s.Intensity.Value) * 100, s.Intensity.Set })
	within("load", m.Load, always, func(s *plan.Set) (int64, bool) { return s.Load.Value.Milli, s.Load.Set && s.Load.Value.Unit == unit })
	within("rest s", m.Rest, followed, func(s *plan.Set) (int64, bool) { return int64(s.Rest) * 1000, true })
	flag := func(name string, want *bool, value func(*plan.Set) bool) {
		if want != nil {
			add(fmt.Sprintf("%s %v", name, *want), always, func(s *plan.Set) (string, bool) {
				return fmt.Sprint(value(s)), value(s) != *want
			})
		}
	}
	flag("to failure", m.ToFailure, func(s *plan.Set) bool { return s.ToFailure })
	flag("deferred", m.Deferred, func(s *plan.Set) bool { return s.Deferred.Set })
	if m.Kind != "" {
		kinds, bad := allCalled(strings.Split(m.Kind, " or "), plan.SetWarmup, plan.SetAttempt)
		if bad != nil {
			return nil, fmt.Errorf("kind: %s", bad[0])
		}
		add("kind "+m.Kind, always, func(s *plan.Set) (string, bool) {
			for _, k := range kinds {
				if s.Kind == k {
					return "", false
				}
			}
			return s.Kind.String(), true
		})
	}
	if len(list) == 0 && m.Count == nil {
		return nil, fmt.Errorf("asks nothing of the sets")
	}
	if m.Some && m.Count != nil {
		return nil, fmt.Errorf("some and count don't go together")
	}
	return list, nil
}

func repsOf(s *plan.Set) string { return fmt.Sprintf("%d-%d", s.Reps.Min, s.Reps.Max) }

func (m *setsMust) broken(v *view) []string {
	is, err := v.selector(m.Of)
	if err != nil {
		return []string{err.Error()}
	}
	conditions, err := m.conditions(v.program.Request.Constraints.Unit)
	if err != nil {
		return []string{err.Error()}
	}
	seen, good := 0, 0
	var wrong []string
	bad := v.lifts(&m.Weeks, func(l *lift) {
		here := 0
		for i := range l.Sets {
			s := &l.Sets[i]
			if !is(l, s) {
				continue
			}
			here++
			asked, failed := 0, 0
			for _, c := range conditions {
				if !c.asks(s) {
					continue
				}
				c.asked++
				asked++
				if got, fails := c.fails(s); fails {
					failed++
					wrong = append(wrong, fmt.Sprintf("%s, set %d: %s wanted, is %s", l.at(), i+1, c.name, got))
				}
			}
			if asked == len(conditions) && failed == 0 {
				good++
			}
		}
		seen += here
		if m.Count != nil && here > 0 && !m.Count.count(here) {
			wrong = append(wrong, fmt.Sprintf("%s: %d sets, wanted %s", l.at(), here, m.Count))
		}
	})
	if seen == 0 {
		return append(bad, fmt.Sprintf("no set of %q in %s", m.Of, &m.Weeks))
	}
	if m.Some {
		if good > 0 {
			return bad
		}
		return append(append(bad, fmt.Sprintf("none of %d sets of %q has it", seen, m.Of)), wrong...)
	}
	for _, c := range conditions {
		if c.asked == 0 {
			bad = append(bad, fmt.Sprintf("%s can't be asked of any set of %q", c.name, m.Of))
		}
	}
	return append(bad, wrong...)
}
