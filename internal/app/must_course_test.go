package app

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// Properties of the way through the weeks: how much is done, what stays, and how loads
// stand to what was shown and to a date.

// weekSets counts all working sets of a week.
type weekSets struct {
	Weeks weekList `json:"weeks"`
	Sets  *span    `json:"sets"`
}

func (m *weekSets) broken(v *view) []string {
	if m.Sets == nil {
		return []string{"asks nothing"}
	}
	var wrong []string
	bad := v.over(&m.Weeks, func(w *plan.Week) {
		if n := workIn(w); !m.Sets.count(n) {
			wrong = append(wrong, fmt.Sprintf("week %d has %d working sets, wanted %s", w.Number, n, m.Sets))
		}
	})
	return append(bad, wrong...)
}

// patternSets counts a week's working sets of some movements together.
type patternSets struct {
	Patterns []string `json:"patterns"`
	Weeks    weekList `json:"weeks"`
	Sets     *span    `json:"sets"`
}

func (m *patternSets) broken(v *view) []string {
	list, bad := patterns(m.Patterns)
	if len(list) == 0 || m.Sets == nil {
		return append(bad, "asks nothing")
	}
	count := map[int32]int{}
	bad = append(bad, v.lifts(&m.Weeks, func(l *lift) {
		if slices.Contains(list, l.x.Pattern) {
			count[l.week.Number] += len(work(l.ProgramExercise))
		}
	})...)
	v.over(&m.Weeks, func(w *plan.Week) {
		if n := count[w.Number]; !m.Sets.count(n) {
			bad = append(bad, fmt.Sprintf("week %d has %d sets of %s, wanted %s", w.Number, n, strings.Join(m.Patterns, ", "), m.Sets))
		}
	})
	return bad
}

// sameExercises wants the first of some weeks repeated in the others: on each weekday
// the same exercises in the same order.
type sameExercises struct {
	Weeks weekList `json:"weeks"`
}

func (m *sameExercises) broken(v *view) []string {
	var first map[plan.Weekday]string
	weeks := 0
	var wrong []string
	bad := v.over(&m.Weeks, func(w *plan.Week) {
		weeks++
		now := map[plan.Weekday]string{}
		for i := range w.Sessions {
			var ids []string
			for j := range w.Sessions[i].Exercises {
				ids = append(ids, w.Sessions[i].Exercises[j].ExerciseID)
			}
			now[w.Sessions[i].Weekday] = strings.Join(ids, ", ")
		}
		if first == nil {
			first = now
			return
		}
		for d := plan.Monday; d <= plan.Sunday; d++ {
			if now[d] != first[d] {
				wrong = append(wrong, fmt.Sprintf("week %d has on %s %s, before %s", w.Number, d, now[d], first[d]))
			}
		}
	})
	if weeks < 2 {
		bad = append(bad, "two weeks or more are needed")
	}
	return append(bad, wrong...)
}

// loadShare holds the heaviest working set of every exercise against the load that the
// athlete has shown in it.
type loadShare struct {
	Weeks   weekList `json:"weeks"`
	Percent *span    `json:"percent"`
}

func (m *loadShare) broken(v *view) []string {
	if m.Percent == nil {
		return []string{"asks nothing"}
	}
	seen := 0
	var wrong []string
	bad := v.lifts(&m.Weeks, func(l *lift) {
		var shown, top int64
		for _, p := range v.program.Request.Athlete.Performances {
			if p.ExerciseID == l.ExerciseID && p.Load.Set {
				shown = max(shown, p.Load.Value.Grams())
			}
		}
		for _, s := range work(l.ProgramExercise) {
			if s.Load.Set {
				top = max(top, s.Load.Value.Grams())
			}
		}
		if shown == 0 || top == 0 {
			return
		}
		seen++
		if share := top * 100_000 / shown; !m.Percent.has(share) {
			wrong = append(wrong, fmt.Sprintf("%s: %s %% of the load that was shown, wanted %s", l.at(), number(share), m.Percent))
		}
	})
	if seen == 0 {
		bad = append(bad, "no load in an exercise that was shown")
	}
	return append(bad, wrong...)
}

// lastHeavy wants the last session of a lift with nearly its heaviest load so many days
// before the date that it peaks on.
type lastHeavy struct {
	Exercise string `json:"exercise"`
	Days     *span  `json:"days"`
}

func (m *lastHeavy) broken(v *view) []string {
	bad := v.exercises([]string{m.Exercise})
	var day plan.Opt[plan.Date]
	for _, g := range v.program.Request.Goals {
		if g.Kind == plan.GoalPeak && g.ExerciseID == m.Exercise {
			day = g.Date
		}
	}
	if m.Days == nil || !day.Set {
		return append(bad, "needs days, and a goal that peaks the lift on a date")
	}
	var top int64
	heaviest := func(l *lift) int64 {
		var most int64
		for _, s := range work(l.ProgramExercise) {
			most = max(most, s.Load.Value.Grams())
		}
		return most
	}
	each := func(f func(l *lift)) {
		v.lifts(&weekList{}, func(l *lift) {
			if l.ExerciseID == m.Exercise && l.session.Date.Set && l.session.Date.Value < day.Value {
				f(l)
			}
		})
	}
	each(func(l *lift) { top = max(top, heaviest(l)) })
	var last plan.Date
	each(func(l *lift) {
		if heaviest(l)*100 >= top*95 {
			last = max(last, l.session.Date.Value)
		}
	})
	if top == 0 {
		return append(bad, "no load of "+m.Exercise+" before the date")
	}
	if n := int(day.Value - last); !m.Days.count(n) {
		bad = append(bad, fmt.Sprintf("the last heavy %s is %d days before the date, wanted %s", m.Exercise, n, m.Days))
	}
	return bad
}

// testedMust wants lifts shown in a week: in a session of its own, up to so many percent
// of the planned 1RM.
type testedMust struct {
	Week      int32    `json:"week"`
	Kind      string   `json:"kind"` // retest, attempt
	Exercises []string `json:"exercises"`
	Percent   *span    `json:"percent"` // of the heaviest set
	Date      string   `json:"date"`
}

func (m *testedMust) broken(v *view) []string {
	if len(m.Exercises) == 0 {
		return []string{"asks nothing"}
	}
	for _, t := range v.apart {
		if t.week != m.Week || t.session.Kind.String() != m.Kind {
			continue
		}
		var bad, have []string
		for i := range t.session.Exercises {
			e := &t.session.Exercises[i]
			have = append(have, e.ExerciseID)
			top := plan.Permille(0)
			for k := range e.Sets {
				top = max(top, e.Sets[k].Intensity.Value)
			}
			if m.Percent != nil && !m.Percent.has(int64(top)*100) {
				bad = append(bad, fmt.Sprintf("%s goes to %s, wanted %s %%", e.ExerciseID, top, m.Percent))
			}
		}
		if !slices.Equal(have, m.Exercises) {
			bad = append(bad, fmt.Sprintf("week %d has the %s of %s, wanted %s", m.Week, m.Kind, strings.Join(have, ", "), strings.Join(m.Exercises, ", ")))
		}
		if d := t.session.Date; m.Date != "" && (!d.Set || d.Value.String() != m.Date) {
			bad = append(bad, fmt.Sprintf("the %s is on %s, wanted %s", m.Kind, d.Value, m.Date))
		}
		return bad
	}
	return []string{fmt.Sprintf("week %d has no %s", m.Week, m.Kind)}
}
