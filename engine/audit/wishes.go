package audit

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// wishes checks what the request rules out, pins and aims at.
func (a *auditor) wishes() {
	a.eachLift(func(w *week, s *session, l *lift) {
		for i, id := range a.r.Constraints.Excluded {
			if id == l.e.ExerciseID && id != "" {
				f := l.about(ruleExcluded)
				f.Field = fmt.Sprintf("constraints.excluded_exercise_ids[%d]", i)
				a.finding(f, "%s is excluded.", l.name())
				return
			}
		}
		if l.x == nil {
			return
		}
		for i := range a.r.Athlete.Restrictions {
			if why := restricts(&a.r.Athlete.Restrictions[i], l.x); why != "" {
				f := l.about(ruleRestricted)
				f.Field = fmt.Sprintf("athlete.restrictions[%d]", i)
				a.finding(f, "%s is ruled out: %s.", l.name(), why)
				return
			}
		}
	})
	for i := range a.r.Constraints.Pinned {
		a.pin(i, &a.r.Constraints.Pinned[i])
	}
	for i := range a.r.Goals {
		if g := &a.r.Goals[i]; g.Lift() {
			a.goalLift(i, g)
		}
	}
}

// restricts says why a restriction rules an exercise out, or nothing. A mild one leaves
// light stress of a joint; a pattern or an exercise that is named is out altogether.
func restricts(r *plan.Restriction, x *exercise.Exercise) string {
	switch {
	case r.Joint != plan.JointUnspecified:
		n := x.Stresses(r.Joint)
		if n >= exercise.StressMarked || n >= exercise.StressMild && r.Severity != plan.SeverityMild {
			return fmt.Sprintf("it stresses the %s, which is restricted", r.Joint)
		}
	case r.Pattern != plan.PatternUnspecified:
		if r.Pattern == x.Pattern {
			return fmt.Sprintf("its pattern, %s, is restricted", r.Pattern)
		}
	case r.ExerciseID == x.ID:
		return "it is restricted by name"
	}
	return ""
}

// forbids says why an exercise may not be in the program at all, or nothing.
func (a *auditor) forbids(x *exercise.Exercise) string {
	for _, id := range a.r.Constraints.Excluded {
		if id == x.ID {
			return "it is excluded"
		}
	}
	for i := range a.r.Athlete.Restrictions {
		if why := restricts(&a.r.Athlete.Restrictions[i], x); why != "" {
			return why
		}
	}
	return ""
}

func (s *session) holds(id string) bool {
	for k := range s.lifts {
		if s.lifts[k].e.ExerciseID == id && len(s.lifts[k].work) > 0 {
			return true
		}
	}
	return false
}

// pin: in full weeks, in the sessions that can hold it.
func (a *auditor) pin(i int, p *plan.Pin) {
	x, ok := a.cat.ByID(p.ExerciseID)
	for j := range a.weeks {
		w := &a.weeks[j]
		if !w.training() || a.cut(w) || a.trackRests(w, p.ExerciseID) {
			continue
		}
		if a.rotates(j) {
			if !a.nearby(j, p.ExerciseID) && !w.holds(p.ExerciseID) && a.rotationCould(j, p, x) {
				f := w.about(rulePin)
				f.ExerciseID, f.Field = p.ExerciseID, fmt.Sprintf("constraints.pinned[%d]", i)
				a.finding(f, "%s is pinned and in no session of three weeks running.", a.name(p.ExerciseID))
				return
			}
			continue
		}
		could, has := int32(0), int32(0)
		for k := range w.sessions {
			s := &w.sessions[k]
			if s.s.Kind != plan.SessionTraining || p.Group != "" && s.s.Group != p.Group {
				continue
			}
			holds := s.holds(p.ExerciseID)
			if !holds && (ok && !a.couldHold(s, x) || a.past(s.about(rulePin))) {
				continue
			}
			could++
			if holds {
				has++
			}
		}
		want := max(p.PerWeek, 1)
		if p.EverySession {
			want = could
		}
		if want = min(want, could); has < want && !(ok && a.resting(x)) {
			f := w.about(rulePin)
			f.ExerciseID, f.Field = p.ExerciseID, fmt.Sprintf("constraints.pinned[%d]", i)
			a.finding(f, "%s is in %d session(s) of the week; it is pinned for %d.", a.name(p.ExerciseID), has, want)
			return
		}
	}
}

// goalLift: a lift that a goal is about is trained in every full week in which it can
// be; a lift to be raised first of all, twice where there are three sessions or more.
func (a *auditor) goalLift(i int, g *plan.Goal) {
	x, ok := a.cat.ByID(g.ExerciseID)
	if !ok || a.forbids(x) != "" {
		return
	}
	absent, seldom := false, false
	for j := range a.weeks {
		w := &a.weeks[j]
		if !w.training() || a.cut(w) || a.trackRests(w, g.ExerciseID) {
			continue
		}
		could, has := 0, 0
		for k := range w.sessions {
			s := &w.sessions[k]
			if s.place != nil && s.s.Kind == plan.SessionTraining && a.couldHold(s, x) {
				could++
			}
			if s.holds(g.ExerciseID) {
				has++
			}
		}
		f := w.about(ruleGoalLiftAbsent)
		f.ExerciseID, f.Field = g.ExerciseID, fmt.Sprintf("goals[%d]", i)
		switch {
		case could == 0:
		case has == 0 && (could == 1 || a.rotates(j)) && a.nearby(j, g.ExerciseID): // a rotation
		case has == 0 && !absent:
			absent = true
			a.finding(f, "%s is a goal and not trained in week %d.", x.Name, w.n)
		case has == 1 && could >= 3 && raised(g) && g.Priority == 1 && x.Curve != exercise.CurveDeadlift && !seldom && !absent:
			seldom = true
			f.Rule = ruleGoalLiftSeldom
			a.finding(f, "%s is the first goal and trained once in week %d; twice or more is the guidance.", x.Name, w.n)
		}
	}
}

// cut reports a week that trains on fewer days than the request offers and the plan uses.
func (a *auditor) cut(w *week) bool {
	days := len(a.r.Constraints.Days)
	if n := a.r.Plan.SessionsPerWeek; n.Set {
		days = min(days, int(n.Value))
	}
	return w.trainings() < days
}

// trackRests reports a week of a plan of several tracks in which an exercise has fewer
// sessions as its own track has a lighter week; the program has to say so.
func (a *auditor) trackRests(w *week, id string) bool {
	if len(a.r.Plan.Tracks) < 2 {
		return false
	}
	for i := range a.p.Findings {
		if f := &a.p.Findings[i]; f.Level == plan.LevelShort && f.Week == w.n && f.ExerciseID == id && !own(f.Rule) {
			return true
		}
	}
	return false
}

// trainings counts a week's sessions, tests and attempts left out.
func (w *week) trainings() int {
	n := 0
	for i := range w.sessions {
		if k := w.sessions[i].s.Kind; k != plan.SessionRetest && k != plan.SessionAttempt {
			n++
		}
	}
	return n
}

// couldHold reports a session whose place has what an exercise needs; with a rotation
// group, which has one list of exercises, every place that the group falls on.
func (a *auditor) couldHold(s *session, x *exercise.Exercise) bool {
	if s.place != nil && !x.Available(s.place) {
		return false
	}
	if s.s.Group == "" {
		return true
	}
	for i := range a.weeks {
		for k := range a.weeks[i].sessions {
			o := &a.weeks[i].sessions[k]
			if o.s.Group == s.s.Group && o.place != nil && !x.Available(o.place) {
				return false
			}
		}
	}
	return true
}

// resting reports an exercise for a muscle that the request wants rested for hours: in
// single weeks that comes before its pin.
func (a *auditor) resting(x *exercise.Exercise) bool {
	for _, r := range a.r.Constraints.Recovery {
		if x.Direct(r.Muscle) {
			return true
		}
	}
	return false
}

// rotates reports more rotation groups about a week than it has sessions: then not every
// group comes up in it.
func (a *auditor) rotates(at int) bool {
	groups := map[string]bool{}
	for j := max(0, at-1); j <= min(at+1, len(a.weeks)-1); j++ {
		for k := range a.weeks[j].sessions {
			if g := a.weeks[j].sessions[k].s.Group; g != "" {
				groups[g] = true
			}
		}
	}
	return len(groups) > len(a.weeks[at].sessions)
}

func (w *week) holds(id string) bool {
	for i := range w.sessions {
		if w.sessions[i].holds(id) {
			return true
		}
	}
	return false
}

// rotationCould reports that a pin's group, or for one without any session, comes up in
// the week or beside it at a place that has what the exercise needs.
func (a *auditor) rotationCould(at int, p *plan.Pin, x *exercise.Exercise) bool {
	for j := max(0, at-1); j <= min(at+1, len(a.weeks)-1); j++ {
		for k := range a.weeks[j].sessions {
			s := &a.weeks[j].sessions[k]
			if (p.Group == "" || s.s.Group == p.Group) && (x == nil || a.couldHold(s, x)) {
				return true
			}
		}
	}
	return false
}

// nearby reports the exercise in the week before or after.
func (a *auditor) nearby(at int, id string) bool {
	for _, j := range [...]int{at - 1, at + 1} {
		if j < 0 || j >= len(a.weeks) {
			continue
		}
		for k := range a.weeks[j].sessions {
			if a.weeks[j].sessions[k].holds(id) {
				return true
			}
		}
	}
	return false
}
