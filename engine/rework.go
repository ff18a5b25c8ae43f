package engine

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// rework is what a generation keeps of an earlier program.
type rework struct {
	how    plan.Rework
	base   *plan.Program
	weeks  []*plan.Week             // of the base
	week   int                      // 0-based, of the first day that is made again
	day    int32                    // that day, counted from the first of the week
	before *generation              // the base's request laid out, to see what has changed since
	same   bool                     // whatever shapes a set that stays where it is
	found  map[foundKey]calibration // in the past
}

// Rework makes a program again from a day on, for a request that may differ from the
// one it was made for, with parts of it locked. What lies before that day stays to the
// byte. After it, days of which the request asks what it asked before keep their
// sessions; the others are solved again, with as few changes as the best answer allows.
//
// What was shown up to that day counts, also inside the program: the 1RM of such lifts is
// planned anew from the week in which they were last shown.
//
// Errors are those of Generate, paths of the request as there; those about how begin with
// "rework", those about base are "program". The past must be the request's past: same start, same days before.
//
// An Infeasible fault names what clashes, locks and swaps among it, and has ways out, of the
// request or of how, each tried by making the program again.
func (e *Engine) Rework(ctx context.Context, base *plan.Program, r plan.Request, how plan.Rework) (plan.Program, error) {
	p, err := e.rework(ctx, base, r, how)
	if err != nil {
		return plan.Program{}, e.reworkable(ctx, base, r, how, err)
	}
	return p, nil
}

func (e *Engine) rework(ctx context.Context, base *plan.Program, r plan.Request, how plan.Rework) (plan.Program, error) {
	digest, err := plan.DigestOf(r)
	if err != nil {
		return plan.Program{}, fault.Wrap(fault.Internal, "ENCODING", err)
	}
	if e, err = e.bring(base.External); err != nil {
		return plan.Program{}, err
	}
	g, k, err := e.reworking(ctx, base, r, how)
	if err != nil {
		return plan.Program{}, err
	}
	of := *base
	of.Digest = ""
	made := plan.Reworked{Week: int32(k.week + 1), Day: k.day, Asked: how}
	if made.Base, err = plan.DigestOf(&of); err != nil {
		return plan.Program{}, fault.Wrap(fault.Internal, "ENCODING", err)
	}
	g.program.Reworked = plan.Some(made)
	if err := k.remember(ctx, e, g); err != nil {
		return plan.Program{}, err
	}
	g.rework = k
	return g.complete(ctx, digest)
}

// reworking lays out the request of a program that is made again, and what it keeps, which
// the generation does not know yet.
func (e *Engine) reworking(ctx context.Context, base *plan.Program, r plan.Request, how plan.Rework) (*generation, *rework, error) {
	g, err := e.prepare(ctx, r, firstAnew(base, &how))
	if err != nil {
		return nil, nil, err
	}
	if reflect.DeepEqual(r, base.Request) {
		g.brief.Assumptions = base.Assumptions // it is settled: nothing was left to assume
	}
	k := &rework{how: how, base: base}
	for i := range base.Phases {
		for j := range base.Phases[i].Weeks {
			k.weeks = append(k.weeks, &base.Phases[i].Weeks[j])
		}
	}
	if err := k.settle(g); err != nil {
		return nil, nil, err
	}
	if k.before, err = e.prepare(ctx, base.Request, madeAnew(base)); err != nil {
		if f, ok := fault.As(err); ok && (f.Kind == fault.Unavailable || f.Kind == fault.Canceled) {
			return nil, nil, err // another time it would be another program
		}
		k.before = nil // made by other rules: nothing of it can be taken for unchanged
	}
	k.same = k.before != nil && sameShape(&k.before.brief.Request, &g.brief.Request)
	return g, k, nil
}

// sameShape reports requests that differ at most in what says which exercises are where:
// a session that keeps its exercises keeps its numbers.
func sameShape(a, b *plan.Request) bool {
	x, y := shaping(a), shaping(b)
	x.Own, y.Own = shared(a.Own, b.Own), shared(b.Own, a.Own)
	return reflect.DeepEqual(x, y)
}

func shaping(r *plan.Request) plan.Request {
	out := *r
	c := &out.Constraints
	out.Athlete.Performances = nil // lift by lift: asStrongAs
	c.Days, c.NoTraining, c.Pinned, c.Excluded, c.Limits, c.Recovery, c.Weeks, c.Target = nil, nil, nil, nil, plan.Limits{}, nil, plan.Opt[int32]{}, plan.Opt[plan.Date]{}
	out.Seed = 0
	return out
}

// shared gives those of a list whose ids another has, by id.
func shared(list, other []plan.OwnExercise) []plan.OwnExercise {
	var out []plan.OwnExercise
	for i := range list {
		if slices.ContainsFunc(other, func(o plan.OwnExercise) bool { return o.ID == list[i].ID }) {
			out = append(out, list[i])
		}
	}
	slices.SortFunc(out, func(a, b plan.OwnExercise) int { return strings.Compare(a.ID, b.ID) })
	return out
}

// remember walks the past through once more, with its own sets, for what loads to come go
// on from: a program says what is on the bar and not why.
func (k *rework) remember(ctx context.Context, e *Engine, g *generation) error {
	if k.before == nil || k.week == 0 && k.day == 0 {
		return nil
	}
	b, err := e.prepare(ctx, k.base.Request, madeAnew(k.base))
	if err != nil {
		return err
	}
	b.rework = &rework{base: k.base, weeks: k.weeks, before: k.before}
	anew := false
	for _, w := range windows(&b.outline, b.slots) {
		picks := b.withBase(&w, b.shortlist(&w))
		h := b.rework.holdOf(b, &w, picks)
		a := &allocated{window: &w, picks: picks, held: h, answer: schedule.Assignment{Sets: h.was}}
		for c := range h.whole {
			h.whole[c] = true
		}
		for _, week := range w.list {
			if week > k.week {
				break
			}
			sets := b.weekSets(&w, a, week)
			for i := range w.sessions {
				o := &w.sessions[i]
				if o.week != week || !k.past(week, b.offset(o.slot)) || k.session(o) == nil {
					continue
				}
				if r := &k.base.Reworked; r.Set && !anew && !earlier(o.week, b.offset(o.slot), &r.Value) {
					anew = true // loads that were planned anew then did not go on from those before
					b.forget(func(ex *exercise.Exercise) bool { return b.strengths.latest(ex).week > 0 })
				}
				if _, err := b.session(&w, a, o, sets); err != nil {
					continue // made for another request: its loads begin anew
				}
			}
		}
	}
	k.found = b.found
	g.before = b.before
	b.forget(func(ex *exercise.Exercise) bool { return !g.asStrongAs(b, ex) })
	return nil
}

// firstAnew gives the first day that is to be made again, where there are dates.
func firstAnew(base *plan.Program, how *plan.Rework) plan.Opt[plan.Date] {
	start := base.Request.Constraints.Start
	switch {
	case how.From.Set:
		return how.From
	case start.Set:
		return plan.Some(start.Value.AddDays(7 * (int(max(how.FromWeek, 1)) - 1)))
	}
	return plan.Opt[plan.Date]{}
}

// madeAnew gives the first day that was made again of a program, where there are dates.
func madeAnew(p *plan.Program) plan.Opt[plan.Date] {
	start := p.Request.Constraints.Start
	if !p.Reworked.Set || !start.Set {
		return plan.Opt[plan.Date]{}
	}
	r := &p.Reworked.Value
	return plan.Some(start.Value.AddDays(7*(int(r.Week)-1) + int(r.Day)))
}

// settle checks what is asked against the base and the new request.
func (k *rework) settle(g *generation) error {
	bad := fault.NewCollector(fault.Invalid)
	c, was := &g.brief.Request.Constraints, &k.base.Request.Constraints
	from := k.how.From
	switch {
	case len(k.weeks) == 0:
		bad.Add("REQUIRED", "program", "has no weeks; give a program")
		return bad.Err()
	case from.Set && k.how.FromWeek != 0:
		bad.Add("ONE_OF", "rework.from_date", "stands beside rework.from_week; give one of them")
	case from.Set && !was.Start.Set:
		bad.Add("NO_DATES", "rework.from_date", "needs a program with dates; this one has none, give rework.from_week instead")
	case from.Set && (from.Value < was.Start.Value || from.Value >= was.Start.Value.AddDays(7*len(k.weeks))):
		bad.Add("OUT_OF_RANGE", "rework.from_date", fmt.Sprintf("is not a day of the program, which lasts from %s to %s", was.Start.Value, was.Start.Value.AddDays(7*len(k.weeks)-1)))
	case from.Set:
		days := int32(from.Value - was.Start.Value)
		k.week, k.day = int(days/7), days%7
	case k.how.FromWeek < 0 || int(k.how.FromWeek) > len(k.weeks):
		bad.Add("OUT_OF_RANGE", "rework.from_week", fmt.Sprintf("must be between 1 and %d, the program's last week", len(k.weeks)))
	case k.how.FromWeek > 0:
		k.week = int(k.how.FromWeek) - 1
	}
	if k.week > 0 || k.day > 0 {
		if c.Start != was.Start {
			bad.Add("PAST", "constraints.start_date", "must stay what it was, as the weeks before stay")
		}
		if k.week >= len(g.slots) {
			bad.Add("PAST", "constraints.weeks", fmt.Sprintf("end before week %d, from which the program is to be made again", k.week+1))
		}
	}
	k.keepOwn(g, bad)
	lacks := fault.NewCollector(fault.Infeasible)
	comes := k.comesAgain(g)
	for i, l := range k.how.Locks {
		path := fmt.Sprintf("rework.locks[%d]", i)
		switch {
		case l.ExerciseID == "" && l.Weekday == plan.WeekdayUnspecified && l.Group == "":
			bad.Add("REQUIRED", path, "names neither an exercise nor a weekday or workout; give at least one")
		case !k.has(l.ExerciseID, l.Weekday, l.Group):
			bad.Add("NOT_THERE", path, "locks what the program doesn't have from then on"+rotating(l.Weekday))
		case !comes(l.ExerciseID, l.Weekday, l.Group):
			lacks.Add(ReasonLock, path, "can't be kept: the request leaves none of these sessions; keep their days or give the lock up")
		}
	}
	for i, s := range k.how.Swaps {
		path := fmt.Sprintf("rework.swaps[%d]", i)
		if !k.has(s.ExerciseID, s.Weekday, s.Group) || s.ExerciseID == "" {
			bad.Add("NOT_THERE", path+".exercise_id", fmt.Sprintf("%q is not in such sessions of the program from then on", s.ExerciseID)+rotating(s.Weekday))
		}
		switch ex, ok := g.brief.Catalogue.ByID(s.With); {
		case !ok:
			bad.Add("UNKNOWN_EXERCISE", path+".with_exercise_id", fmt.Sprintf("no exercise %q", s.With))
		case !g.allowed(ex):
			bad.Add("RESTRICTED", path+".with_exercise_id", ex.Name+" is excluded, restricted or beyond the athlete's skill; choose another")
		case !comes(s.ExerciseID, s.Weekday, s.Group):
			lacks.Add(ReasonLock, path, "can't be made: the request leaves none of these sessions; keep their days or give the swap up")
		case k.lacking(g, s, ex):
			lacks.Add("EQUIPMENT", path+".with_exercise_id", ex.Name+" can't be done at every place where it would come up; name a weekday or workout where it can, or choose another")
		case k.together(s):
			bad.Add("DUPLICATE", path+".with_exercise_id", ex.Name+" is in such a session already")
		case g.goalOf(s.ExerciseID) >= 0 || g.pinOf(s.ExerciseID) >= 0:
			bad.Add("PINNED", path+".exercise_id", "is a goal lift or pinned in the request; take it out there first")
		}
	}
	if err := bad.Err(); err != nil {
		return err
	}
	return lacks.Err()
}

// keepOwn refuses a request whose own exercises are not what the weeks that stay have: a
// program explains its past with them too.
func (k *rework) keepOwn(g *generation, bad *fault.Collector) {
	for i := range k.base.Request.Own {
		was := &k.base.Request.Own[i]
		if !k.pastHolds(was.ID) {
			continue
		}
		at := slices.IndexFunc(g.brief.Request.Own, func(o plan.OwnExercise) bool { return o.ID == was.ID })
		switch {
		case at < 0:
			bad.Add("PAST", "own_exercises", fmt.Sprintf("leave out %q, which the weeks before have; give it as it was", was.ID))
		case !reflect.DeepEqual(*was, g.brief.Request.Own[at]):
			bad.Add("PAST", fmt.Sprintf("own_exercises[%d]", at), fmt.Sprintf("%q must stay what it was, as the weeks before have it; give the new one another id", was.ID))
		}
	}
}

// pastHolds reports an exercise in what stays as it was.
func (k *rework) pastHolds(id string) bool {
	for w := range k.weeks {
		for i := range k.weeks[w].Sessions {
			if s := &k.weeks[w].Sessions[i]; k.past(w, k.offset(s)) && holds(s, id) {
				return true
			}
		}
	}
	return false
}

// has reports an exercise (any for "") in what is made again of a weekday and a workout.
func (k *rework) has(id string, day plan.Weekday, group string) bool {
	return k.anySession(func(s *plan.Session) bool { return s.In(day, group) && (id == "" || holds(s, id)) })
}

// rotating ends what is said of a weekday that names nothing.
func rotating(day plan.Weekday) string {
	if day == plan.WeekdayUnspecified {
		return ""
	}
	return "; where workouts rotate over the days, name the workout as group instead of a weekday"
}

// together reports a session that has both exercises of a swap.
func (k *rework) together(w plan.Swap) bool {
	return k.anySession(func(s *plan.Session) bool {
		return s.In(w.Weekday, w.Group) && holds(s, w.ExerciseID) && holds(s, w.With)
	})
}

// lacking reports a swap's session at a place that has not what the coming exercise needs.
func (k *rework) lacking(g *generation, w plan.Swap, ex *exercise.Exercise) bool {
	return k.anySession(func(s *plan.Session) bool {
		return s.In(w.Weekday, w.Group) && holds(s, w.ExerciseID) && !ex.Available(g.place(s.PlaceID))
	})
}

// comesAgain tells of an exercise (any for ""), a weekday and a workout, as has does, whether
// the new request still has such a session.
func (k *rework) comesAgain(g *generation) func(id string, day plan.Weekday, group string) bool {
	var again []*plan.Session
	for _, w := range k.remaining(g, windows(&g.outline, g.slots)) {
		for i := range w.sessions {
			if s := k.session(&w.sessions[i]); s != nil {
				again = append(again, s)
			}
		}
	}
	return func(id string, day plan.Weekday, group string) bool {
		return slices.ContainsFunc(again, func(s *plan.Session) bool { return s.In(day, group) && (id == "" || holds(s, id)) })
	}
}

func (k *rework) anySession(is func(*plan.Session) bool) bool {
	for w := k.week; w < len(k.weeks); w++ {
		for i := range k.weeks[w].Sessions {
			s := &k.weeks[w].Sessions[i]
			if s.Kind == plan.SessionTraining && !k.past(w, k.offset(s)) && is(s) {
				return true
			}
		}
	}
	return false
}

func holds(s *plan.Session, id string) bool {
	return slices.ContainsFunc(s.Exercises, func(e plan.ProgramExercise) bool { return e.ExerciseID == id })
}

// past reports a day that stays as it was. A nil rework has no past.
func (k *rework) past(week int, offset int32) bool {
	return k != nil && (week < k.week || week == k.week && offset < k.day)
}

// offset gives the day of a session of the base in its week, from 0.
func (k *rework) offset(s *plan.Session) int32 {
	return offsetIn(&k.base.Request.Constraints, Slot{Weekday: s.Weekday})
}

// remaining takes the past out of the windows. A week in which the past ends stands alone,
// as it has not the days that the others have.
func (k *rework) remaining(g *generation, all []window) []window {
	if k == nil {
		return all
	}
	var out []window
	part := func(w window, in func(week int) bool) {
		w.list = slices.DeleteFunc(slices.Clone(w.list), func(week int) bool { return !in(week) })
		if len(w.list) == 0 {
			return
		}
		w.sessions = slices.DeleteFunc(slices.Clone(w.sessions), func(o occurrence) bool { return !in(o.week) || k.past(o.week, g.offset(o.slot)) })
		w.columns, w.weeks, w.fewest = nil, 0, 0
		w.fold()
		out = append(out, w)
	}
	for _, w := range all {
		from := k.week
		if k.day > 0 {
			part(w, func(week int) bool { return week == k.week })
			from++
		}
		part(w, func(week int) bool { return week >= from })
	}
	return out
}

// keepWeek takes a week of the past over as it is.
func (g *generation) keepWeek(week int) {
	k := g.rework
	at := 0
	for i := range g.outline.Phases {
		if at += len(g.outline.Phases[i].Weeks); week < at {
			phase := g.phase(i)
			phase.Weeks = append(phase.Weeks, *k.weeks[week])
			break
		}
	}
	for i := range k.weeks[week].Sessions {
		g.replay(week, &k.weeks[week].Sessions[i])
	}
	g.keepFindings(func(f *plan.Finding) bool { return f.Week == int32(week+1) })
}

// keepPast gives the sessions of the week in which the past ends that belong to it.
func (g *generation) keepPast(week int) []plan.Session {
	k := g.rework
	if k == nil || week != k.week || k.day == 0 {
		return nil
	}
	var out []plan.Session
	for i := range k.weeks[week].Sessions {
		s := &k.weeks[week].Sessions[i]
		if k.past(week, k.offset(s)) {
			out = append(out, *s)
			g.replay(week, s)
			g.keepFindings(func(f *plan.Finding) bool {
				return f.Week == int32(week+1) && f.Rule != RuleShort && f.ExerciseID != "" && holds(s, f.ExerciseID)
			})
		}
	}
	return out
}

// keepFindings takes over what was said while the base was made.
func (g *generation) keepFindings(is func(*plan.Finding) bool) {
	for i := range g.rework.base.Findings {
		if f := &g.rework.base.Findings[i]; !strings.HasPrefix(string(f.Rule), "audit.") && is(f) {
			g.find(*f)
		}
	}
}

// replay notes what a session that stays means for those to come: loads that it finds,
// muscles that it tires, tests that it holds.
func (g *generation) replay(week int, s *plan.Session) {
	k, slot := g.rework, Slot{Weekday: s.Weekday}
	g.trained(week, slot, s)
	for i := range g.tests {
		t := &g.tests[i]
		if t.week == week && t.kind == s.Kind && !t.made {
			t.made, t.lifts = true, nil
			for j := range s.Exercises {
				t.lifts = append(t.lifts, s.Exercises[j].ExerciseID)
			}
		}
	}
	at := max(0, slices.IndexFunc(g.brief.Request.Constraints.Places, func(p plan.Place) bool { return p.ID == s.PlaceID }))
	for i := range s.Exercises {
		e := &s.Exercises[i]
		ex, ok := g.brief.Catalogue.ByID(e.ExerciseID)
		if !ok {
			continue
		}
		if _, err := g.strengths.of(ex); err != nil {
			continue // met again where it is prescribed
		}
		if g.toldBefore(ex.ID) {
			g.told[ex.ID] = true
		}
		if c := calibrated(s, ex.ID); c.Set {
			key := g.foundKey(ex, int32(at))
			if made := g.found[key]; made.tenths != c.Value || made.week != week { // else again made it just now
				g.found[key] = calibration{tenths: c.Value, week: week, guided: k.found[key].guided}
			}
		}
	}
}

// toldBefore takes over, once, what the base says of an exercise as a whole.
func (g *generation) toldBefore(id string) bool {
	told := false
	g.keepFindings(func(f *plan.Finding) bool {
		is := f.Week == 0 && f.Rule == RuleSoftened && f.ExerciseID == id
		told = told || is
		return is
	})
	return told
}

// keptInWeek gives what the sessions that stay hold for a muscle in the week in which
// the past ends.
func (g *generation) keptInWeek(week int, m plan.Muscle) plan.HalfSets {
	k := g.rework
	if k == nil || week != k.week {
		return 0
	}
	sum := plan.HalfSets(0)
	for i := range k.weeks[week].Sessions {
		s := &k.weeks[week].Sessions[i]
		if !k.past(week, k.offset(s)) {
			continue
		}
		for j := range s.Exercises {
			if ex, ok := g.brief.Catalogue.ByID(s.Exercises[j].ExerciseID); ok {
				sum += plan.HalfSets(s.Exercises[j].Working()) * ex.SetCountsFor(m)
			}
		}
	}
	return sum
}

// session finds the base's session of a day that comes again, nil where there is none.
func (k *rework) session(o *occurrence) *plan.Session {
	if o.week >= len(k.weeks) {
		return nil
	}
	for i := range k.weeks[o.week].Sessions {
		s := &k.weeks[o.week].Sessions[i]
		if s.Kind == plan.SessionTraining && s.Weekday == o.slot.Weekday && s.Group == o.outline.Group {
			return s
		}
	}
	return nil
}

// now gives an exercise of a session of the base, as swaps leave it.
func (k *rework) now(id string, in *plan.Session) (string, bool) {
	for _, s := range k.how.Swaps {
		if s.ExerciseID == id && in.In(s.Weekday, s.Group) {
			return s.With, true
		}
	}
	return id, false
}

// locked reports an exercise that is to stay where it is.
func (k *rework) locked(id string, in *plan.Session) bool {
	return slices.ContainsFunc(k.how.Locks, func(l plan.Lock) bool {
		return (l.ExerciseID == "" || l.ExerciseID == id) && in.In(l.Weekday, l.Group)
	})
}

// lockedAt reports an exercise that is to stay where it is in the base's session there.
func (k *rework) lockedAt(o *occurrence, id string) bool {
	if k == nil {
		return false
	}
	s := k.session(o)
	return s != nil && k.locked(id, s)
}

// again gives a session of the base that comes again without any change.
func (g *generation) again(a *allocated, o *occurrence, sets [][]int32) (plan.Session, bool) {
	k := g.rework
	if k == nil || !k.same || !a.whole[o.column] || a.held.swap[o.column] || !k.sameWeek(g, o.week) {
		return plan.Session{}, false
	}
	s := k.session(o)
	if s == nil || s.Date != o.slot.Date || s.Limit != o.slot.Limit || s.PlaceID != g.brief.Request.Constraints.Places[o.slot.Place].ID || s.Label != o.outline.Label {
		return plan.Session{}, false
	}
	out := *s
	out.Day = o.slot.Day
	out.Exercises = slices.Clone(s.Exercises)
	var here []pick
	for i := range out.Exercises {
		at := slices.IndexFunc(a.picks, func(p pick) bool { return p.ex.ID == out.Exercises[i].ExerciseID })
		if at < 0 {
			return plan.Session{}, false
		}
		here = append(here, a.picks[at])
		if !g.foundAsBefore(&here[i], s, o) || !g.asStrongAs(k.before, here[i].ex) {
			return plan.Session{}, false
		}
	}
	for i := range here {
		e := &out.Exercises[i]
		e.Contingencies = slices.Clone(e.Contingencies)
		g.swaps(e, &here[i], o, here) // exclusions may be new
	}
	mark := len(g.findings)
	if _, err := g.session(a.window, a, o, sets); err != nil { // for what later loads go on from
		return plan.Session{}, false
	}
	g.findings = g.findings[:mark]
	g.replay(o.week, &out)
	g.keepFindings(func(f *plan.Finding) bool {
		return f.Week == int32(o.week+1) && f.Rule != RuleShort && f.Rule != RuleGap && (f.ExerciseID == "" || holds(s, f.ExerciseID))
	})
	return out, true
}

// foundAsBefore reports that the load of an exercise was found where and as it was in the
// base by the time of a session that it has.
func (g *generation) foundAsBefore(p *pick, s *plan.Session, o *occurrence) bool {
	var was plan.Opt[calibration]
	for w, week := range g.rework.weeks[:o.week+1] {
		for i := range week.Sessions {
			x := &week.Sessions[i]
			if w == o.week && g.rework.offset(x) >= g.rework.offset(s) {
				continue
			}
			if c := calibrated(x, p.ex.ID); c.Set && (x.PlaceID == s.PlaceID || g.foundKey(p.ex, 1) == g.foundKey(p.ex, 0)) {
				was = plan.Some(calibration{tenths: c.Value, week: w})
			}
		}
	}
	is, ok := g.found[g.foundKey(p.ex, o.slot.Place)]
	is.guided = false // follows from the same strengths
	return ok == was.Set && is == was.Value
}

// calibrated gives the repetitions to failure, in tenths, that a session finds the load
// of an exercise for.
func calibrated(s *plan.Session, id string) plan.Opt[int32] {
	for i := range s.Exercises {
		for j := range s.Exercises[i].Sets {
			if x := &s.Exercises[i].Sets[j]; s.Exercises[i].ExerciseID == id && x.Kind == plan.SetCalibration {
				return plan.Some(10 * (x.Reps.Min + x.RIR.Value))
			}
		}
	}
	return plan.Opt[int32]{}
}

// sameWeek reports a week of which outline, kind and tests are what they were.
func (k *rework) sameWeek(g *generation, week int) bool {
	b := k.before
	if week >= len(b.weeks) || week >= len(g.weeks) || b.weekKind[week] != g.weekKind[week] || !reflect.DeepEqual(b.weeks[week].Sessions, g.weeks[week].Sessions) {
		return false
	}
	return reflect.DeepEqual(testedBefore(b, week), testedBefore(g, week))
}

// testedBefore lists the tests up to a week.
func testedBefore(g *generation, week int) []string {
	var out []string
	for i := range g.tests {
		if t := &g.tests[i]; t.week <= week {
			out = append(out, fmt.Sprintf("%d %d %d", t.week, g.offset(t.slot), t.kind))
		}
	}
	return out
}

// withBase adds to a window's candidates what the base has in its days, as far as it may stay.
func (g *generation) withBase(w *window, picks []pick) []pick {
	add := func(ex *exercise.Exercise) {
		if slices.ContainsFunc(picks, func(p pick) bool { return p.ex.ID == ex.ID }) || !g.allowed(ex) || !g.possible(ex, w) {
			return
		}
		p := pick{ex: ex, track: g.trackOf(ex), goal: g.goalOf(ex.ID), pin: g.pinOf(ex.ID)}
		p.role = g.roleOf(ex, w, p.goal)
		p.preference = g.preference(ex, p.role)
		picks = append(picks, p)
	}
	for i := range w.sessions {
		s := g.rework.session(&w.sessions[i])
		if s == nil {
			continue
		}
		for j := range s.Exercises {
			id, _ := g.rework.now(s.Exercises[j].ExerciseID, s)
			if ex, ok := g.brief.Catalogue.ByID(id); ok {
				add(ex)
			}
		}
	}
	slices.SortFunc(picks, func(a, b pick) int { return strings.Compare(a.ex.ID, b.ex.ID) })
	return picks
}
