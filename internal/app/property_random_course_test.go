package app_test

import (
	"context"
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// course is what a settled request and its strategies say of every week: worked out
// anew, day by day, without the engine's calendar and composition.
type course struct {
	weeks []courseWeek
	tests []courseTest
}

type courseWeek struct {
	kind   plan.WeekKind
	days   []courseDay // of training sessions, in order
	tracks map[string]*trackWeek
}

type courseDay struct {
	day    int32 // of the request
	offset int   // days from the start of the week
	date   plan.Opt[plan.Date]
}

// trackWeek is a week as it is for one track. Nil sessions of a lead-in: it is the same
// for all.
type trackWeek struct {
	kind     plan.WeekKind
	eased    int32 // repetitions that the plan adds to the reserve
	sessions []plan.OutlineSession
	at       []int // which of them a day has, -1 for none
}

type courseTest struct {
	week  int // from 0
	day   courseDay
	kind  plan.SessionKind
	lifts []string
}

func (t *courseTest) name() string { return fmt.Sprintf("the test of week %d", t.week+1) }

// offered gives the days of a week that training may use.
func offered(r *plan.Request, week int) []courseDay {
	c := &r.Constraints
	var out []courseDay
	for offset := range 7 {
		d := courseDay{offset: offset}
		weekday := plan.Weekday(offset + 1)
		if c.Start.Set {
			d.date = plan.Some(c.Start.Value.AddDays(7*week + offset))
			weekday = d.date.Value.Weekday()
		}
		free := !slices.ContainsFunc(c.NoTraining, func(n plan.DateRange) bool {
			return d.date.Set && n.From <= d.date.Value && d.date.Value <= n.To
		}) && !(d.date.Set && c.Target.Set && d.date.Value > c.Target.Value)
		for _, g := range r.Goals { // the day of a peak and the one before
			free = free && !(g.Kind == plan.GoalPeak && g.Date.Set && d.date.Set && (g.Date.Value == d.date.Value || g.Date.Value == d.date.Value+1))
		}
		for i := range c.Days {
			if free && c.Days[i].Weekday == weekday {
				d.day = int32(i)
				out = append(out, d)
			}
		}
	}
	return out
}

// places gives where k of n sessions lie: as far apart as whole places allow, the first
// and the last used.
func places(n, k int) []int {
	out := make([]int, 0, k)
	for i := range k {
		at := 0
		if k > 1 {
			at = i * (n - 1) / (k - 1)
		}
		out = append(out, at)
	}
	return out
}

func chosen(days []courseDay, k int) (used, free []courseDay) {
	at := places(len(days), k)
	for i := range days {
		if slices.Contains(at, i) {
			used = append(used, days[i])
		} else {
			free = append(free, days[i])
		}
	}
	return used, free
}

// chart works out the course; false where a strategy does not answer.
func (v *verdict) chart(known []engine.Strategy) bool {
	r := &v.p.Request
	p := &r.Plan
	n := int(r.Constraints.Weeks.Value)
	lead := int(p.LeadIn.Value.Weeks)
	days, spare := make([][]courseDay, n), make([][]courseDay, n)
	told, rests := make([]int32, n), make([]bool, n)
	for w := range days {
		days[w] = offered(r, w)
		if most := p.SessionsPerWeek; most.Set && len(days[w]) > int(most.Value) {
			days[w], spare[w] = days[w][:most.Value], days[w][most.Value:]
		}
		told[w] = int32(len(days[w]))
		every := int(p.Recovery.Value.EveryWeeks)
		if rests[w] = p.Recovery.Set && w >= lead && (w-lead+1)%every == 0 && w < n-1 && told[w] > 0; rests[w] {
			fewer := p.Recovery.Value.Sessions
			if fewer == 0 {
				fewer = told[w] - 1
			}
			told[w] = min(told[w], max(fewer, 1))
		}
	}
	lanes, ends, ok := v.lanes(known, told, lead)
	if !ok {
		return false
	}
	count := func(w int) int {
		if w < lead {
			return int(told[w])
		}
		most := 0
		for _, l := range lanes {
			most = max(most, len(l[w].Sessions))
		}
		return most
	}
	trained := slices.Clone(days)
	again := false
	for _, w := range v.testWeeks(ends) {
		used, free := chosen(days[w], count(w))
		free = append(free, spare[w]...)
		t := courseTest{week: w, kind: plan.SessionRetest, lifts: p.Retest.Value.ExerciseIDs}
		switch {
		case len(free) > 0:
			t.day = longest(used, free)
		case len(used) > 0: // it takes a training session's place
			t.day, used, again = used[len(used)-1], used[:len(used)-1], true
		default:
			continue
		}
		trained[w], told[w] = used, int32(len(used))
		v.course.tests = append(v.course.tests, t)
	}
	if again {
		if lanes, _, ok = v.lanes(known, told, lead); !ok {
			return false
		}
	}
	v.attempts(n)
	for w := range n {
		week := courseWeek{tracks: map[string]*trackWeek{}}
		week.days, _ = chosen(trained[w], count(w))
		v.kinds(&week, w, lead, lanes, days[w], rests[w])
		v.course.weeks = append(v.course.weeks, week)
	}
	return true
}

// lanes asks every track's strategies for its weeks, and tells where phases end.
func (v *verdict) lanes(known []engine.Strategy, told []int32, lead int) (map[string][]plan.OutlineWeek, map[int]bool, bool) {
	r := &v.p.Request
	out, ends := map[string][]plan.OutlineWeek{}, map[int]bool{}
	if lead > 0 {
		ends[lead] = true
	}
	for _, t := range r.Plan.Tracks {
		weeks := make([]plan.OutlineWeek, lead, len(told))
		for _, seg := range t.Segments {
			s := strategyOf(known, seg.Strategy)
			if s == nil {
				v.wrong("outline", "nothing is called %s", seg.Strategy)
				return nil, nil, false
			}
			desc := s.Describe()
			params := slices.Clone(seg.Params)
			own := func(p plan.Param) bool { return p.Name == "deload_every" }
			if r.Plan.Deload.Set && !slices.ContainsFunc(params, own) && slices.ContainsFunc(desc.Params, func(p plan.ParamSpec) bool { return p.Name == "deload_every" }) {
				params = append(params, plan.Param{Name: "deload_every", Value: plan.Value{Kind: plan.ValueNumber}})
			}
			from := len(weeks)
			if from+int(seg.Weeks.Value) > len(told) {
				v.wrong("outline", "%q has more than %d weeks", t.Name, len(told))
				return nil, nil, false
			}
			req := plan.OutlineRequest{Weeks: seg.Weeks.Value, Status: r.Athlete.Status, Seed: r.Seed, Sessions: told[from : from+int(seg.Weeks.Value)]}
			for _, g := range r.Goals {
				req.Strength = req.Strength || g.Kind == plan.GoalRaise1RM || g.Kind == plan.GoalPeak || g.Kind == plan.GoalGeneral
				req.Size = req.Size || g.Kind == plan.GoalGrow || g.Kind == plan.GoalGeneral
			}
			in, err := s.Parse(params)
			if err != nil {
				v.wrong("outline", "%v", err)
				return nil, nil, false
			}
			o, err := in.Outline(context.Background(), req)
			if err != nil {
				v.wrong("outline", "%v", err)
				return nil, nil, false
			}
			for i := range o.Phases {
				weeks = append(weeks, o.Phases[i].Weeks...)
				ends[len(weeks)] = true
			}
		}
		if len(weeks) != len(told) {
			v.wrong("outline", "%q has %d weeks of %d", t.Name, len(weeks), len(told))
			return nil, nil, false
		}
		out[t.Name] = weeks
	}
	return out, ends, true
}

// testWeeks lists the weeks that end with a test, from 0, each once.
func (v *verdict) testWeeks(ends map[int]bool) []int {
	r := &v.p.Request
	at := map[int]bool{}
	for _, w := range r.Plan.Retest.Value.AfterWeeks {
		at[int(w)] = true
	}
	for w := range ends {
		if r.Plan.Retest.Value.PhaseEnds && w < int(r.Constraints.Weeks.Value) {
			at[w] = true
		}
	}
	var out []int
	for w := range r.Constraints.Weeks.Value {
		if at[int(w)+1] {
			out = append(out, int(w))
		}
	}
	return out
}

// longest is the free day that comes longest after training, the latest of equals.
func longest(used, free []courseDay) courseDay {
	best, most := free[0], -1
	for _, f := range free {
		gap := 0
		for _, u := range used {
			if u.offset < f.offset {
				gap = f.offset - u.offset
			}
		}
		if gap >= most {
			best, most = f, gap
		}
	}
	return best
}

// attempts puts a session on the date of every peak in the program.
func (v *verdict) attempts(weeks int) {
	r := &v.p.Request
	start := r.Constraints.Start
	if r.Plan.NoAttempts || !start.Set {
		return
	}
	for _, g := range r.Goals {
		if g.Kind != plan.GoalPeak || g.Date.Value < start.Value || int(g.Date.Value-start.Value) >= 7*weeks {
			continue
		}
		w := int(g.Date.Value-start.Value) / 7
		i := slices.IndexFunc(v.course.tests, func(t courseTest) bool { return t.kind == plan.SessionAttempt && t.day.date == g.Date })
		if i < 0 {
			i = len(v.course.tests)
			v.course.tests = append(v.course.tests, courseTest{week: w, kind: plan.SessionAttempt, day: courseDay{offset: int(g.Date.Value-start.Value) % 7, date: g.Date}})
		}
		v.course.tests[i].lifts = append(v.course.tests[i].lifts, g.ExerciseID)
	}
}

// kinds lays the wrappers over a week: the lead-in outermost; the taper, then a recovery
// week, then a deload where the week still trains. Each eases the tracks that train.
func (v *verdict) kinds(week *courseWeek, w, lead int, lanes map[string][]plan.OutlineWeek, days []courseDay, rests bool) {
	p := &v.p.Request.Plan
	last := w == len(lanes[""])-1
	for name, l := range lanes {
		t := &trackWeek{kind: l[w].Kind, sessions: l[w].Sessions, at: slices.Repeat([]int{-1}, len(week.days))}
		if w < lead {
			t.kind = plan.WeekLeadIn
		}
		for i, at := range places(len(week.days), len(t.sessions)) {
			t.at[at] = i
		}
		week.tracks[name] = t
	}
	week.kind = week.tracks[""].kind
	for _, t := range week.tracks {
		if t.kind == plan.WeekTraining {
			week.kind = plan.WeekTraining
		}
	}
	if w < lead {
		return
	}
	if p.Taper.Set {
		in, dated := 0, 0
		for _, d := range days {
			if d.date.Set {
				dated++
				if int32(v.p.Request.Constraints.Target.Value-d.date.Value) <= p.Taper.Value.Days {
					in++
				}
			}
		}
		if in > 0 && 2*in >= dated || dated == 0 && last {
			week.kind = plan.WeekTaper
			for _, t := range week.tracks {
				t.kind = plan.WeekTaper
			}
		}
	}
	ease := func(kind plan.WeekKind, by int32) {
		week.kind = kind
		for _, t := range week.tracks {
			if t.kind == plan.WeekTraining {
				t.kind, t.eased = kind, by
			}
		}
	}
	if rests && week.kind == plan.WeekTraining {
		ease(plan.WeekRecovery, 1)
	}
	if p.Deload.Set && (w-lead+1)%int(p.Deload.Value.EveryWeeks) == 0 && !last && week.kind == plan.WeekTraining {
		ease(plan.WeekDeload, 2)
	}
}

// track gives the track that an exercise follows: the one that names it, else the first
// that names a muscle which it trains directly.
func track(r *plan.Request, x *exercise.Exercise) string {
	for _, t := range r.Plan.Tracks {
		if slices.Contains(t.ExerciseIDs, x.ID) {
			return t.Name
		}
	}
	for _, t := range r.Plan.Tracks {
		if slices.ContainsFunc(t.Muscles, func(m plan.Muscle) bool { return x.Involvement[m] == exercise.Prime }) {
			return t.Name
		}
	}
	return ""
}

// position gives which of its week's days a training session is on, -1 for none.
func (v *verdict) position(week int32, s *plan.Session) int {
	return slices.IndexFunc(v.course.weeks[week-1].days, func(d courseDay) bool { return d.day == s.Day && d.date == s.Date })
}
