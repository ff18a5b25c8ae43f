package app

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/plan"
)

// Properties of sessions: time, size, order.

type minutesKept struct{ yes }

func (m *minutesKept) broken(v *view) []string {
	seen := 0
	var wrong []string
	days := v.program.Request.Constraints.Days
	bad := v.sessions(&weekList{}, func(w *plan.Week, s *plan.Session) {
		seen++
		at := fmt.Sprintf("week %d %s", w.Number, s.Weekday)
		all := s.Warmup
		for i := range s.Exercises {
			all += s.Exercises[i].Seconds
		}
		if all > s.Seconds {
			wrong = append(wrong, fmt.Sprintf("%s: the parts take %s, the session says %s", at, all, s.Seconds))
		}
		if s.Seconds <= 0 || s.Seconds > s.Limit {
			wrong = append(wrong, fmt.Sprintf("%s: takes %s of %s", at, s.Seconds, s.Limit))
		}
		if s.Day < 0 || int(s.Day) >= len(days) || s.Limit > plan.Seconds(days[s.Day].Minutes)*60 {
			wrong = append(wrong, fmt.Sprintf("%s: is given %s, more than the day has", at, s.Limit))
		}
	})
	if seen == 0 {
		bad = append(bad, "the program has no sessions")
	}
	return append(bad, wrong...)
}

// on selects sessions by day of the week; empty means any.
func on(day string) (func(*plan.Session) bool, error) {
	if day == "" {
		return func(*plan.Session) bool { return true }, nil
	}
	d, ok := called(day, plan.Monday, plan.Sunday)
	if !ok {
		return nil, fmt.Errorf("there is no day %q", day)
	}
	return func(s *plan.Session) bool { return s.Weekday == d }, nil
}

// fill is the share of a session's minutes that is used, in weeks that are not
// lighter on purpose.
type fill struct {
	Day     string   `json:"day"`
	Weeks   weekList `json:"weeks"`
	Percent *span    `json:"percent"`
}

func (m *fill) broken(v *view) []string {
	is, err := on(m.Day)
	if err != nil {
		return []string{err.Error()}
	}
	if m.Percent == nil {
		return []string{"asks nothing"}
	}
	seen := 0
	var wrong []string
	bad := v.sessions(&m.Weeks, func(w *plan.Week, s *plan.Session) {
		if w.Kind != plan.WeekTraining || !is(s) || s.Limit <= 0 {
			return
		}
		seen++
		if !m.Percent.has(int64(s.Seconds) * 100_000 / int64(s.Limit)) {
			wrong = append(wrong, fmt.Sprintf("week %d %s uses %d of %d minutes, wanted %s %%", w.Number, s.Weekday, s.Seconds/60, s.Limit/60, m.Percent))
		}
	})
	if seen == 0 {
		bad = append(bad, "no such session in a training week")
	}
	return append(bad, wrong...)
}

// sessionSize counts exercises in all weeks, and working sets in weeks that are not
// lighter on purpose.
type sessionSize struct {
	Day       string   `json:"day"`
	Weeks     weekList `json:"weeks"`
	Exercises *span    `json:"exercises"`
	Sets      *span    `json:"sets"`
}

func (m *sessionSize) broken(v *view) []string {
	is, err := on(m.Day)
	if err != nil {
		return []string{err.Error()}
	}
	if m.Exercises == nil && m.Sets == nil {
		return []string{"asks nothing"}
	}
	seen, counted := 0, 0
	var wrong []string
	bad := v.sessions(&m.Weeks, func(w *plan.Week, s *plan.Session) {
		if !is(s) {
			return
		}
		seen++
		if w.Kind == plan.WeekTraining {
			counted++
		}
		if m.Exercises != nil && !m.Exercises.count(len(s.Exercises)) {
			wrong = append(wrong, fmt.Sprintf("week %d %s has %d exercises, wanted %s", w.Number, s.Weekday, len(s.Exercises), m.Exercises))
		}
		if m.Sets != nil && w.Kind == plan.WeekTraining && !m.Sets.count(workOf(s)) {
			wrong = append(wrong, fmt.Sprintf("week %d %s has %d working sets, wanted %s", w.Number, s.Weekday, workOf(s), m.Sets))
		}
	})
	if seen == 0 || m.Sets != nil && counted == 0 {
		bad = append(bad, "no such session")
	}
	return append(bad, wrong...)
}

// first lets only explosive work and other goal lifts come before an exercise.
type first struct {
	Exercise string   `json:"exercise"`
	Weeks    weekList `json:"weeks"`
}

func (m *first) broken(v *view) []string {
	bad := v.exercises([]string{m.Exercise})
	seen := 0
	var wrong []string
	missing := v.sessions(&m.Weeks, func(w *plan.Week, s *plan.Session) {
		before := ""
		for i := range s.Exercises {
			e := &s.Exercises[i]
			if e.ExerciseID == m.Exercise {
				seen++
				if before != "" {
					wrong = append(wrong, fmt.Sprintf("week %d %s: %s comes before %s", w.Number, s.Weekday, before, m.Exercise))
				}
			} else if e.Role != plan.GoalLift && e.Role != plan.Explosive && before == "" {
				before = e.ExerciseID
			}
		}
	})
	if seen == 0 {
		bad = append(bad, fmt.Sprintf("%s is in no session of %s", m.Exercise, &m.Weeks))
	}
	return append(append(bad, missing...), wrong...)
}
