package audit

import (
	"fmt"
	"slices"
	"sort"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// Program audits a program against its own request; exercises that the request brings
// along count beside the catalogue's. Findings are sorted by week,
// session, rule, then exercise and muscle; no finding means nothing to object to.
// The program is not changed. A nil program or catalogue counts as an empty one.
func Program(p *plan.Program, cat *exercise.Catalogue) []plan.Finding {
	if p == nil {
		p = &plan.Program{}
	}
	if cat == nil {
		cat = &exercise.Catalogue{}
	}
	with, err := cat.WithOwn(p.Request.Own)
	if err != nil {
		with = cat
	}
	a := newAuditor(p, with)
	a.own(err)
	a.form()
	a.calendar()
	a.time()
	a.equipment()
	a.wishes()
	a.loads()
	a.dose()
	a.session()
	a.neighbours()
	a.phases()
	a.taper()
	a.safety()
	a.out = slices.DeleteFunc(a.out, a.past)
	return a.sorted()
}

// finding adds to the list; level 0 takes the rule's own.
func (a *auditor) finding(f plan.Finding, format string, args ...any) {
	if f.Level == plan.LevelUnspecified {
		f.Level = a.levels[f.Rule]
	}
	f.Says = fmt.Sprintf(format, args...)
	a.out = append(a.out, f)
}

// about builds a finding's address.
func (s *session) about(rule plan.RuleID) plan.Finding {
	return plan.Finding{Rule: rule, Week: s.week, Session: s.n}
}

func (l *lift) about(rule plan.RuleID) plan.Finding {
	f := l.in.about(rule)
	f.ExerciseID = l.e.ExerciseID
	return f
}

func (w *week) about(rule plan.RuleID) plan.Finding { return plan.Finding{Rule: rule, Week: w.n} }

// past reports a finding about what a program that was made again kept as it was: the
// request is no longer the one that was made for.
func (a *auditor) past(f plan.Finding) bool {
	r := &a.p.Reworked
	if !r.Set || f.Week == 0 || f.Week > r.Value.Week {
		return false
	}
	if f.Week < r.Value.Week {
		return true
	}
	for i := range a.weeks {
		if w := &a.weeks[i]; w.n == f.Week && f.Session > 0 && int(f.Session) <= len(w.sessions) {
			first := plan.Monday
			if c := &a.r.Constraints; c.Start.Set {
				first = c.Start.Value.Weekday()
			}
			return (int32(w.sessions[f.Session-1].s.Weekday)-int32(first)+7)%7 < r.Value.Day
		}
	}
	return false
}

func (a *auditor) sorted() []plan.Finding {
	sort.SliceStable(a.out, func(i, j int) bool {
		x, y := &a.out[i], &a.out[j]
		switch {
		case x.Week != y.Week:
			return x.Week < y.Week
		case x.Session != y.Session:
			return x.Session < y.Session
		case x.Rule != y.Rule:
			return x.Rule < y.Rule
		case x.ExerciseID != y.ExerciseID:
			return x.ExerciseID < y.ExerciseID
		case x.Muscle != y.Muscle:
			return x.Muscle < y.Muscle
		}
		return x.Says < y.Says
	})
	return a.out
}
