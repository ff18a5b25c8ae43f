package audit

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// Days before a peak on which the last heavy session of a lift is, by custom.
func lastHeavy(c exercise.Curve) (from, to int64, ok bool) {
	switch c {
	case exercise.CurveDeadlift:
		return 7, 10, true
	case exercise.CurveSquat:
		return 5, 8, true
	case exercise.CurveBench:
		return 4, 6, true
	}
	return 0, 0, false
}

// taper looks at every lift that has to peak on a date.
func (a *auditor) taper() {
	told := false // volume is that of the whole program: once is enough
	for i := range a.r.Goals {
		g := &a.r.Goals[i]
		if g.Kind != plan.GoalPeak {
			continue
		}
		d := g.Date
		if !d.Set {
			d = a.r.Constraints.Target
		}
		if !d.Set || len(a.weeks) == 0 {
			continue
		}
		day, ok := a.dayNumber(d.Value)
		if !ok {
			continue
		}
		from := day - a.taperDays(day)
		if !told {
			told = a.taperVolume(from, day, i)
		}
		if !a.taperIntensity(g, i, from, day) {
			a.lastHeavyDay(g, i, day)
		}
		a.vanishes(g, i, day)
	}
}

// dayNumber puts a date on the sessions' scale. It fails where the program ends more
// than a week before it or starts after it: then it is not a program up to that date.
func (a *auditor) dayNumber(d plan.Date) (int64, bool) {
	first, ok := a.weekStart(&a.weeks[0])
	day := int64(d)
	end := int64(first) + 7*int64(len(a.weeks))
	if !ok {
		// Without dates the date is the last day of the last week.
		return 7*int64(len(a.weeks)) - 1, true
	}
	return day, day > int64(first)+7 && day <= end+7
}

func (a *auditor) onScale(s *session) bool {
	_, dated := a.weekStart(&a.weeks[0])
	return dated && s.scale == byDate || !dated && s.scale == byWeek
}

// taperDays: as the plan asks, else from the first of the taper weeks that lead up to
// the date, else one week.
func (a *auditor) taperDays(day int64) int64 {
	if t := a.r.Plan.Taper; t.Set && t.Value.Days > 0 {
		return int64(min(max(t.Value.Days, 5), 28))
	}
	first := int64(-1)
	for i := range a.weeks {
		w := &a.weeks[i]
		if w.w.Kind != plan.WeekTaper && w.w.Kind != plan.WeekTest {
			first = -1
			continue
		}
		if start := a.startDay(w); first < 0 && start < day {
			first = start
		}
	}
	if first >= 0 && day-first >= 5 {
		return min(day-first, 28)
	}
	return 7
}

// onePlace reports a program whose sessions are all at one place: elsewhere the exercises
// differ, and so do their repetitions.
func (a *auditor) onePlace() bool {
	first, one := "", true
	a.eachSession(func(_ *week, s *session) {
		if first == "" {
			first = s.s.PlaceID
		}
		one = one && s.s.PlaceID == first
	})
	return one
}

func (a *auditor) startDay(w *week) int64 {
	if d, ok := a.weekStart(w); ok {
		return int64(d)
	}
	return 7 * int64(w.n-1)
}

// taperVolume compares the repetitions of the taper with those of the last full weeks
// before it.
func (a *auditor) taperVolume(from, day int64, goal int) bool {
	// Whole weeks, as the days of a week are not alike.
	span := 7 * max(1, (day-from+3)/7)
	from = min(from, day-span)
	in, left := int64(0), int64(0)
	a.eachSession(func(w *week, s *session) {
		if a.onScale(s) && s.at >= day-span && s.at < day {
			in += s.reps()
			left += int64(s.sets())
		}
	})
	full, fullest, weeks, sets, most := int64(0), int64(0), int64(0), int64(0), 0
	for i := range a.weeks {
		if a.weeks[i].training() {
			most = max(most, a.weeks[i].trainings())
		}
	}
	for i := len(a.weeks) - 1; i >= 0 && weeks < 4; i-- {
		// Weeks with days off, or with a test for a session, say nothing of what is usual.
		if w := &a.weeks[i]; w.training() && w.trainings() == most && a.startDay(w)+7 <= from {
			full, fullest = full+w.reps(), max(fullest, w.reps())
			sets += int64(w.sets())
			weeks++
		}
	}
	if full == 0 {
		return false
	}
	kept := in * 7 * weeks * 1000 / (span * full)
	f := plan.Finding{Field: fmt.Sprintf("goals[%d].date", goal)}
	switch {
	case kept > 900:
		f.Rule = ruleTaperMissing
		// A handful of sets a week leaves nothing to cut; where sets are cut, more
		// repetitions are those of another segment; and of weeks unlike each other the
		// taper may follow the light ones.
		if a.r.Plan.Taper.Set && in*7 >= span*fullest && weeks >= 3 && sets >= 8*weeks && left*7*weeks >= span*sets && a.onePlace() {
			f.Level = plan.LevelViolation
			f.Field = "plan.taper"
		}
		a.finding(f, "The last %d days before the peak hold %s of the usual repetitions: there is no taper.", span, plan.Permille(kept))
	case kept > 700 || kept < 300:
		f.Rule = ruleTaperDepth
		a.finding(f, "The last %d days before the peak hold %s of the usual repetitions; 30 to 70 %% fewer is the guidance.", span, plan.Permille(kept))
	default:
		return false
	}
	return true
}

// top is the heaviest load of a lift in a span of days, attempts included, in grams.
func (a *auditor) top(id string, from, to int64) int64 {
	best := int64(0)
	a.eachLift(func(w *week, s *session, l *lift) {
		if l.e.ExerciseID != id || !a.onScale(s) || s.at < from || s.at >= to {
			return
		}
		for i := range l.work {
			best = max(best, l.work[i].moved)
		}
	})
	return best
}

// taperIntensity: in the taper, or from the first day on which the last heavy session
// may be, the load is still there.
func (a *auditor) taperIntensity(g *plan.Goal, i int, from, day int64) bool {
	reach := int64(10)
	if x, ok := a.cat.ByID(g.ExerciseID); ok {
		if _, to, ok := lastHeavy(x.Curve); ok {
			reach = to
		}
	}
	window := min(from, day-reach)
	before, last := a.top(g.ExerciseID, window-28, window), a.top(g.ExerciseID, window, day)
	if before == 0 || last*10 >= before*9 {
		return false
	}
	f := plan.Finding{Rule: ruleTaperIntensity, ExerciseID: g.ExerciseID, Field: fmt.Sprintf("goals[%d]", i)}
	a.finding(f, "The heaviest load of the last %d days is %s, after %s before: a taper cuts sets and keeps the load.", day-window, kg(last), kg(before))
	return true
}

func (a *auditor) lastHeavyDay(g *plan.Goal, i int, day int64) {
	x, ok := a.cat.ByID(g.ExerciseID)
	if !ok {
		return
	}
	lo, hi, ok := lastHeavy(x.Curve)
	if !ok {
		return
	}
	// Heavy is vigorous and near the heaviest of the last six weeks.
	top := a.top(g.ExerciseID, day-42, day)
	last := (*session)(nil)
	a.eachLift(func(w *week, s *session, l *lift) {
		if l.e.ExerciseID != g.ExerciseID || !a.onScale(s) || s.at >= day || last != nil && s.at <= last.at {
			return
		}
		for k := range l.work {
			if st := &l.work[k]; st.s.Kind != plan.SetAttempt && l.intensityOf(st) >= vigorous && st.moved*100 >= top*95 {
				last = s
				return
			}
		}
	})
	if last == nil {
		return
	}
	if out := day - last.at; out < lo || out > hi {
		f := last.about(ruleLastHeavy)
		f.ExerciseID, f.Field = g.ExerciseID, fmt.Sprintf("goals[%d].date", i)
		a.finding(f, "The last heavy %s is %d days before the peak; %d to %d is the custom.", x.Name, out, lo, hi)
	}
}

// vanishes: in the last three weeks but the final one the lift stays in the program.
func (a *auditor) vanishes(g *plan.Goal, i int, day int64) {
	for j := range a.weeks {
		w := &a.weeks[j]
		start := a.startDay(w)
		if w.training() || len(w.sessions) == 0 || start+7 <= day-21 || start+7 > day-3 {
			continue
		}
		has := false
		for k := range w.sessions {
			has = has || w.sessions[k].holds(g.ExerciseID)
		}
		if !has {
			f := w.about(ruleGoalVanishes)
			f.ExerciseID, f.Field = g.ExerciseID, fmt.Sprintf("goals[%d]", i)
			a.finding(f, "%s has to peak soon and is not in week %d.", g.ExerciseID, w.n)
			return
		}
	}
}
