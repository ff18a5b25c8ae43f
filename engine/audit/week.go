package audit

import (
	"fmt"
	"sort"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

func fieldDay(day int32) string { return fmt.Sprintf("constraints.days[%d]", day) }

func title(m plan.Muscle) string {
	s := m.String()
	return strings.ToUpper(s[:1]) + s[1:]
}

// calendar checks weeks, days, dates and places.
func (a *auditor) calendar() {
	c := &a.r.Constraints
	if c.Weeks.Set && int(c.Weeks.Value) != len(a.weeks) {
		a.finding(plan.Finding{Rule: ruleWeekCount, Field: "constraints.weeks"}, "The program has %d weeks; the request asks for %d.", len(a.weeks), c.Weeks.Value)
	}
	for i := range a.weeks {
		w := &a.weeks[i]
		if w.w.Number != w.n {
			a.finding(w.about(ruleWeekNumber), "Week %d calls itself week %d.", w.n, w.w.Number)
		}
		if want, ok := a.expectedStart(i); ok && w.w.Start.Set && w.w.Start.Value != want {
			a.finding(w.about(ruleWeekStart), "Week %d starts on %s; it follows on %s.", w.n, date(w.w.Start.Value), date(want))
		}
		a.missingSessions(w)
	}
	type point struct {
		scale scale
		at    int64
	}
	seen := map[point]bool{}
	last := point{}
	a.eachSession(func(w *week, s *session) {
		a.dayAndPlace(w, s)
		now := point{s.scale, s.at}
		if s.scale == unplaced {
			now.at = 7*int64(w.n) + int64(s.s.Day)
		}
		switch {
		case seen[now]:
			a.finding(s.about(ruleTwoADay), "A second session on %s.", s.when())
		case last.scale == now.scale && now.scale != unplaced && now.at < last.at:
			a.finding(s.about(ruleDateOrder), "%s comes before the session listed ahead of it.", s.when())
		}
		seen[now] = true
		if now.scale != last.scale || now.at > last.at {
			last = now
		}
	})
}

func (a *auditor) expectedStart(i int) (plan.Date, bool) {
	if s := a.r.Constraints.Start; s.Set {
		return s.Value.AddDays(7 * i), true
	}
	if i > 0 && a.weeks[i-1].w.Start.Set {
		return a.weeks[i-1].w.Start.Value.AddDays(7), true
	}
	return 0, false
}

// date prints dates that a calendar has, and the bare number of the others.
func date(d plan.Date) string {
	if d < -1_000_000 || d > 3_000_000 {
		return fmt.Sprintf("day %d", d)
	}
	return d.String()
}

func (s *session) when() string {
	switch {
	case s.scale == byDate:
		return date(plan.Date(s.at))
	case s.scale == byWeek:
		return fmt.Sprintf("%s of week %d", plan.Weekday(s.at%7+1), s.week)
	}
	return fmt.Sprintf("day %d of week %d", s.s.Day+1, s.week)
}

func (s *session) weekday() plan.Weekday {
	switch s.scale {
	case byDate:
		return plan.Date(s.at).Weekday()
	case byWeek:
		return plan.Weekday(s.at%7 + 1)
	}
	return plan.WeekdayUnspecified
}

func (a *auditor) dayAndPlace(w *week, s *session) {
	c := &a.r.Constraints
	switch {
	case s.s.Kind == plan.SessionAttempt:
		if !s.s.Date.Set || !a.peaks(s.s.Date.Value) {
			a.finding(s.about(ruleDay), "Attempts are for the day of a peak; no goal peaks on this one.")
		}
	case s.day == nil:
		a.finding(s.about(ruleDay), "The session is on day %d; the request offers %d.", s.s.Day+1, len(c.Days))
	case s.s.Date.Set && s.s.Weekday != plan.WeekdayUnspecified && s.s.Weekday != s.s.Date.Value.Weekday():
		a.finding(s.about(ruleDay), "%s is a %s, not a %s.", date(s.s.Date.Value), s.s.Date.Value.Weekday(), s.s.Weekday)
	case s.day.Weekday != plan.WeekdayUnspecified && s.scale != unplaced && s.weekday() != s.day.Weekday:
		f := s.about(ruleDay)
		f.Field = fieldDay(s.s.Day)
		a.finding(f, "The session is on a %s; that day of the request is a %s.", s.weekday(), s.day.Weekday)
	}
	if s.scale == byDate {
		d := plan.Date(s.at)
		for i, off := range c.NoTraining {
			if d >= off.From && d <= off.To && s.s.Kind != plan.SessionAttempt { // which is no training
				f := s.about(ruleNoTraining)
				f.Field = fmt.Sprintf("constraints.no_training[%d]", i)
				a.finding(f, "No training is asked for on %s.", date(d))
				break
			}
		}
		start, ok := a.expectedStart(int(w.n) - 1)
		if !ok {
			start, ok = w.w.Start.Value, w.w.Start.Set
		}
		if ok && (s.at < int64(start) || s.at > int64(start)+6) {
			a.finding(s.about(ruleDateWeek), "%s is not in week %d, which starts on %s.", date(d), w.n, date(start))
		} else if c.Target.Set && d > c.Target.Value {
			f := s.about(ruleAfterTarget)
			f.Field = "constraints.target_date"
			a.finding(f, "%s is after the target date %s.", date(d), date(c.Target.Value))
		}
	}
	a.place(w, s)
}

// peaks reports a day on which a goal lift peaks; whatever the week offers, its attempts
// take place then.
func (a *auditor) peaks(d plan.Date) bool {
	for _, g := range a.r.Goals {
		if g.Kind == plan.GoalPeak && g.Date.Set && g.Date.Value == d {
			return true
		}
	}
	return false
}

// place: the last period that covers the session decides, else the day's own place.
func (a *auditor) place(w *week, s *session) {
	c := &a.r.Constraints
	want, period := "", -1
	if s.day != nil {
		want = s.day.PlaceID
	}
	for i := range c.Periods {
		p := &c.Periods[i]
		byDates := p.FromDate.Set && p.ToDate.Set && s.scale == byDate && s.at >= int64(p.FromDate.Value) && s.at <= int64(p.ToDate.Value)
		byWeeks := p.FromWeek.Set && p.ToWeek.Set && w.n >= p.FromWeek.Value && w.n <= p.ToWeek.Value
		if byDates || byWeeks {
			want, period = p.PlaceID, i
		}
	}
	if s.place != nil && (want == "" || s.s.PlaceID == want) {
		return
	}
	f := s.about(rulePlace)
	switch {
	case period >= 0:
		f.Field = fmt.Sprintf("constraints.place_periods[%d]", period)
	case s.day != nil:
		f.Field = fieldDay(s.s.Day)
	}
	switch {
	case s.place == nil:
		a.finding(f, "The request knows no place %q.", s.s.PlaceID)
	default:
		a.finding(f, "The session is at %q; that day it is at %q.", s.s.PlaceID, want)
	}
}

// missingSessions: days offered in a full week and not used, as far as nothing forbids them.
func (a *auditor) missingSessions(w *week) {
	if !w.training() {
		return
	}
	c := &a.r.Constraints
	offered := 0
	start, dated := a.weekStart(w)
	for i := range c.Days {
		if d := c.Days[i].Weekday; dated && d != plan.WeekdayUnspecified && d <= plan.Sunday {
			on := start.AddDays(int((d + 7 - start.Weekday()) % 7))
			if a.off(on) || c.Target.Set && on >= c.Target.Value {
				continue
			}
		}
		offered++
	}
	if most := a.r.Plan.SessionsPerWeek; most.Set {
		offered = min(offered, int(most.Value))
	}
	if n := len(w.sessions); n < offered {
		a.finding(w.about(ruleSessionsShort), "%d of %d days are used.", n, offered)
	}
}

func (a *auditor) off(d plan.Date) bool {
	for _, o := range a.r.Constraints.NoTraining {
		if d >= o.From && d <= o.To {
			return true
		}
	}
	return false
}

// hardDirect counts direct sets for a muscle that are not stated as easy.
func (s *session) hardDirect(m plan.Muscle) int32 {
	n := int32(0)
	for k := range s.lifts {
		l := &s.lifts[k]
		if l.x == nil || !l.x.Direct(m) {
			continue
		}
		for i := range l.work {
			if r := l.work[i].rir; !r.Set || r.Value <= exactRIR {
				n++
			}
		}
	}
	return n
}

const (
	hardDay      = 3 // direct sets that make a day hard for a muscle (judgement)
	lowerBackDay = 3 // sets that make a day hard for the lower back (judgement)
)

// quick muscles recover by the next day (judgement).
func quick(m plan.Muscle) bool {
	return m == plan.Abs || m == plan.Obliques || m == plan.Calves || m == plan.Forearms
}

// neighbours looks at sessions on days close to each other, across weeks too.
func (a *auditor) neighbours() {
	var all []*session
	a.eachSession(func(w *week, s *session) {
		a.lowerBackInSession(s)
		a.beforeMatch(s)
		if s.scale != unplaced {
			all = append(all, s)
		}
	})
	sort.SliceStable(all, func(i, j int) bool {
		if all[i].scale != all[j].scale {
			return all[i].scale < all[j].scale
		}
		return all[i].at < all[j].at
	})
	for i, rec := range a.r.Constraints.Recovery {
		if rec.Muscle == plan.MuscleUnspecified || rec.Muscle >= plan.MuscleCount {
			continue
		}
		a.recovery(all, i, rec)
	}
	for i := 1; i < len(all); i++ {
		if x, y := all[i-1], all[i]; x.scale == y.scale && y.at-x.at == 1 {
			a.consecutive(x, y)
		}
	}
	a.testRest(all)
}

const testHours = 48 // at least, between training and a test

// testRest: what was trained the day before makes a test show too little. Sessions are
// taken to start at the same hour.
func (a *auditor) testRest(all []*session) {
	last := (*session)(nil)
	for _, s := range all {
		if s.s.Kind != plan.SessionRetest {
			if s.s.Kind == plan.SessionTraining && len(s.lifts) > 0 {
				last = s
			}
			continue
		}
		if last == nil || last.scale != s.scale || len(s.lifts) == 0 {
			continue
		}
		if h := (s.at - last.at) * 24; h > 0 && h < testHours {
			a.finding(s.about(ruleTestRest), "The test comes %d hours after the last training session; 48 to 96 are the custom.", h)
		}
	}
}

// recovery: asked hours between direct sets for a muscle, by days (sessions are taken
// to start at the same hour). Two sessions on one day are another finding.
func (a *auditor) recovery(all []*session, i int, rec plan.Recovery) {
	var last *session
	for _, s := range all {
		if s.direct(rec.Muscle) == 0 || s.s.Kind == plan.SessionAttempt { // its day is the goal's
			continue
		}
		if last != nil && last.scale == s.scale {
			if d := s.at - last.at; d > 0 && d*24 < int64(rec.Hours) {
				f := s.about(ruleRecovery)
				f.Muscle, f.Field = rec.Muscle, fmt.Sprintf("constraints.recovery[%d]", i)
				a.finding(f, "%s gets direct sets %d hours after the last; %d are asked for.", title(rec.Muscle), d*24, rec.Hours)
			}
		}
		last = s
	}
}

func (a *auditor) consecutive(x, y *session) {
	var names []string
	first := plan.MuscleUnspecified
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if quick(m) || a.asked(m) || x.hardDirect(m) < hardDay || y.hardDirect(m) < hardDay {
			continue
		}
		if first == plan.MuscleUnspecified {
			first = m
		}
		names = append(names, m.String())
	}
	if len(names) > 0 {
		f := y.about(ruleConsecutive)
		f.Muscle = first
		a.finding(f, "Hard direct work on two days running: %s.", strings.Join(names, ", "))
		return
	}
	if x.lowerBack() >= lowerBackDay && y.lowerBack() >= lowerBackDay {
		a.finding(y.about(ruleLowerBack), "Hard lower-back work on two days running (%d and %d sets).", x.lowerBack(), y.lowerBack())
	}
}

func (a *auditor) asked(m plan.Muscle) bool {
	for _, r := range a.r.Constraints.Recovery {
		if r.Muscle == m {
			return true
		}
	}
	return false
}

func (s *session) lowerBack() int32 {
	n := int32(0)
	for k := range s.lifts {
		if l := &s.lifts[k]; l.x != nil && l.x.Is(exercise.HardOnLowerBack) {
			n += l.hard()
		}
	}
	return n
}

func (a *auditor) lowerBackInSession(s *session) {
	n := 0
	for k := range s.lifts {
		if l := &s.lifts[k]; l.x != nil && l.x.Is(exercise.HardOnLowerBack) {
			n++
		}
	}
	if n > 2 {
		a.finding(s.about(ruleLowerBack), "%d exercises in one session are hard on the lower back.", n)
	}
}

// Sets near failure or heavy that make a session hard before a match (judgement).
const hardSession = 4

func (a *auditor) beforeMatch(s *session) {
	day := s.weekday()
	if day == plan.WeekdayUnspecified {
		return
	}
	for _, o := range a.r.Athlete.Other {
		if !o.Match && !o.Hard || o.Weekday == plan.WeekdayUnspecified || o.Weekday != day%7+1 {
			continue
		}
		n := 0
		for k := range s.lifts {
			l := &s.lifts[k]
			if l.x == nil || (o.Lower || o.Upper) && !(o.Lower && l.x.Region == exercise.Lower || o.Upper && l.x.Region == exercise.Upper) {
				continue
			}
			for i := range l.work {
				st := &l.work[i]
				if st.rir.Set && st.rir.Value <= 3 || l.intensityOf(st) >= vigorous {
					n++
				}
			}
		}
		if n >= hardSession {
			name := o.Name
			if name == "" {
				name = "other hard training"
			}
			a.finding(s.about(ruleBeforeMatch), "%d hard sets on the day before %s (%s) tire what it needs.", n, name, o.Weekday)
			return
		}
	}
}
