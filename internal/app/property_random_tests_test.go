package app_test

import (
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// composition holds the program's weeks and sessions against the course: what each week
// is, on which days it trains, and where tests and attempts stand.
func (v *verdict) composition() {
	v.shortened()
	number := 0
	for i := range v.p.Phases {
		for j := range v.p.Phases[i].Weeks {
			w := &v.p.Phases[i].Weeks[j]
			if number >= len(v.course.weeks) {
				return // told already
			}
			want := &v.course.weeks[number]
			number++
			if w.Kind != want.kind {
				v.wrong("week-kind", "week %d is %s, not %s", w.Number, w.Kind, want.kind)
			}
			at := -1
			for k := range w.Sessions {
				s := &w.Sessions[k]
				switch s.Kind {
				case plan.SessionTraining:
					if now := v.position(w.Number, s); now <= at {
						v.wrong("days", "week %d trains on day %d; its days are %v", w.Number, s.Day, want.days)
					} else {
						at = now
					}
				case plan.SessionRetest, plan.SessionAttempt:
					if v.testOf(w.Number, s) == nil {
						v.wrong("tests", "week %d has a %s on %s", w.Number, s.Kind, s.Weekday)
					}
				default:
					v.wrong("days", "week %d has a session of kind %s", w.Number, s.Kind)
				}
			}
			for _, d := range want.days {
				if !slices.ContainsFunc(w.Sessions, func(s plan.Session) bool { return s.Kind == plan.SessionTraining && s.Day == d.day }) && !v.says(func(f *plan.Finding) bool {
					return f.Rule == "dose.short" && f.Week <= w.Number && strings.Contains(f.Says, "is left out")
				}) {
					v.wrong("days", "week %d lacks its session of day %d, and nothing says why", w.Number, d.day)
				}
			}
		}
	}
	for i := range v.course.tests {
		v.test(&v.course.tests[i])
	}
}

// testOf gives the test that a session is, nil where none is due.
func (v *verdict) testOf(week int32, s *plan.Session) *courseTest {
	for i := range v.course.tests {
		t := &v.course.tests[i]
		if t.week == int(week)-1 && t.kind == s.Kind && t.day.date == s.Date && (t.day.day == s.Day || t.kind == plan.SessionAttempt) {
			return t
		}
	}
	return nil
}

// test wants each lift of a test in it, done as it may be, or a word on why not.
func (v *verdict) test(t *courseTest) {
	w := v.weekOf(int32(t.week) + 1)
	var in *plan.Session
	for k := range w.Sessions {
		if v.testOf(w.Number, &w.Sessions[k]) == t {
			in = &w.Sessions[k]
		}
	}
	for _, id := range t.lifts {
		x, _ := v.cat.ByID(id)
		var e *plan.ProgramExercise
		if in != nil {
			if k := slices.IndexFunc(in.Exercises, func(e plan.ProgramExercise) bool { return e.ExerciseID == id }); k >= 0 {
				e = &in.Exercises[k]
			}
		}
		if e == nil {
			if !v.says(func(f *plan.Finding) bool { return f.Rule == "test.steps" && f.Week == w.Number && f.ExerciseID == id }) {
				v.wrong("tests", "%s has no %s in week %d, and nothing says why", id, t.kind, w.Number)
			}
			continue
		}
		v.seen.tests++
		b := &v.bounds
		least := b.rir
		if !x.Pattern.Explosive() {
			least = b.least(&v.p.Request, x, placeOf(&v.p.Request, in.PlaceID))
		}
		may := b.failure && b.cap == 0 && least == 0 && v.strength(id) != nil && v.strength(id).Borrowed == ""
		near := false
		for i := range e.Sets {
			s := &e.Sets[i]
			near = near || s.Kind.Counts() == false && s.Kind != plan.SetWarmup && s.Reps.Max == 1
			if s.Kind != plan.SetWarmup && s.Kind != plan.SetCalibration && s.Kind != plan.SetTest && s.Kind != plan.SetAttempt {
				v.wrong("tests", "%s: a %s set in a %s", at(w, in, id), s.Kind, t.kind)
			}
			// A reserve beyond what can be judged is not stated.
			if !may && s.Kind == plan.SetTest && (s.ToFailure || s.RIR.Or(mostRIR) < 2 || s.Reps.Max < 3) {
				v.wrong("tests", "%s: leaves %v in reserve", at(w, in, id), s.RIR)
			}
		}
		if near != may {
			v.wrong("tests", "%s: singles %t, possible %t", at(w, in, id), near, may)
		}
		if !near && !v.says(func(f *plan.Finding) bool { return f.Rule == "test.steps" && f.ExerciseID == id && f.Week <= w.Number }) {
			v.wrong("tests", "%s is not tested near its 1RM, and nothing says why", at(w, in, id))
		}
	}
}

// refers wants loads after a test to be a share of what it shows, and of no test that
// has not been.
func (v *verdict) refers(w *plan.Week, s *plan.Session, x *exercise.Exercise, set *plan.Set, where string) {
	if set.Kind != plan.SetWorking || s.Kind != plan.SessionTraining {
		return
	}
	t := v.tested[x.ID]
	named := set.Deferred.Set && set.Deferred.Value.Reference.Kind == plan.RefEstimate
	switch {
	case t == nil && named:
		v.wrong("after-test", "%s refers to %q, and there was none", where, set.Deferred.Value.Reference.Name)
	case t == nil:
	case named && set.Deferred.Value.Reference.Name != t.name():
		v.wrong("after-test", "%s refers to %q, not to %s", where, set.Deferred.Value.Reference.Name, t.name())
	case named:
		v.seen.referred++
	case set.Load.Or(plan.Load{}).Milli == 0 && x.BodyMassShare == 0:
		// An empty machine is no share of a result.
	case v.strength(x.ID) != nil && set.Load.Set && !(set.Deferred.Set && set.Deferred.Value.Reference.Kind == plan.RefSetBefore) && !v.ofRM(w, s, x):
		v.wrong("after-test", "%s does not refer to %s", where, t.name())
	}
}

// ofRM reports sets whose load the strategy gives by a repetition maximum or a set before.
func (v *verdict) ofRM(w *plan.Week, s *plan.Session, x *exercise.Exercise) bool {
	at := v.position(w.Number, s)
	if at < 0 {
		return false
	}
	t := v.course.weeks[w.Number-1].tracks[track(&v.p.Request, x)]
	if t.at[at] < 0 {
		return false
	}
	for r := plan.GoalLift; r < plan.RoleCount; r++ {
		for _, c := range t.sessions[t.at[at]].Find(r, "") {
			if k := c.Effort.Reference.Kind; k == plan.RefRM || k == plan.RefSetBefore {
				return true
			}
		}
	}
	return false
}

// shortened holds the weeks of the segments against those asked for: as they were, or
// cut where the plan may be: the longest first, the last one last, none below what its
// strategy needs.
func (v *verdict) shortened() {
	asked, got := &v.asked.Plan, &v.p.Request.Plan
	weeks := v.p.Request.Constraints.Weeks.Value
	for i := range asked.Tracks {
		was, is := asked.Tracks[i].Segments, got.Tracks[i].Segments
		if len(was) != len(is) || !slices.Equal(asked.Tracks[i].ExerciseIDs, got.Tracks[i].ExerciseIDs) || !slices.Equal(asked.Tracks[i].Muscles, got.Tracks[i].Muscles) {
			v.wrong("segments", "of track %d are not the request's", i)
			return
		}
		sum, cut, last := got.LeadIn.Value.Weeks, false, len(is)-1
		most := int32(0)
		least := func(k int) int32 { return max(1, strategyOf(v.known, is[k].Strategy).Describe().MinWeeks) }
		for k := range is {
			sum += is[k].Weeks.Value
			most += max(was[k].Weeks.Or(1), least(k))
		}
		if sum != weeks {
			v.wrong("segments", "of track %d have %d weeks of %d", i, sum, weeks)
		}
		fits := most+asked.LeadIn.Value.Weeks <= weeks
		for k := range is {
			n, before := is[k].Weeks.Value, was[k].Weeks
			if before.Set && n != before.Value && (!got.Shorten || fits && n < before.Value && n != least(k)) {
				v.wrong("segments", "%d of track %d has %d weeks, asked were %d", k, i, n, before.Value)
			}
			if cut = before.Set && n < before.Value; !cut {
				continue
			}
			if n < least(k) {
				v.wrong("segments", "%d of track %d has %d weeks and needs %d", k, i, n, least(k))
			}
			for o := range is[:last] {
				if m := is[o].Weeks.Value; m > least(o) && (k == last || m > n+1) {
					v.wrong("segments", "%d of track %d was cut to %d weeks beside one of %d", k, i, n, m)
				}
			}
		}
	}
}
