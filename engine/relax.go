package engine

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// mostWays is how many ways out of a conflict are told.
const mostWays = 5

// Prices order the changes that are proposed: what giving something up is taken to cost
// a person, a minute of training being 1 (judgement: common practice, no source).
const (
	priceMinute   = 1
	priceExercise = 6  // more a session
	priceSet      = 3  // more a session, or for a muscle
	priceLessPin  = 10 // for each session a week fewer
	priceSession  = 20 // beside its minutes
	priceRecovery = 15 // for each day less
	pricePin      = 40
	priceItem     = 45
	priceGoal     = 80
)

// step is one change that a person may agree to.
type step struct {
	changes []fault.Change
	subject string // begins a sentence: "10 more minutes on Thursday"
	many    bool   // the subject is a plural
	price   int32
	apply   func(*plan.Request) // to a copy whose lists are its own; nil: it stays as it is
	rework  func(*plan.Rework)  // the same of how a program is made again
}

// ladder is one kind of step, smaller ones first.
type ladder []step

// with gives the request with a step taken.
func (s *step) with(r plan.Request) plan.Request {
	if s.apply == nil {
		return r
	}
	r = clone(r)
	c := &r.Constraints
	c.Recovery = slices.Clone(c.Recovery)
	c.Limits.MuscleSetsPerWeek = slices.Clone(c.Limits.MuscleSetsPerWeek)
	for i := range c.Places {
		c.Places[i].Items = slices.Clone(c.Places[i].Items)
		c.Places[i].Absent = slices.Clone(c.Places[i].Absent)
	}
	s.apply(&r)
	return r
}

func (s *step) possible() fault.Way {
	verb := " makes it possible."
	if s.many {
		verb = " make it possible."
	}
	return fault.Way{Changes: s.changes, Says: s.subject + verb, Price: s.price}
}

// relaxed adds to a conflict the cheapest changes of the request that end it, each
// generated to see that it does. Other errors stay as they are.
func (e *Engine) relaxed(ctx context.Context, r plan.Request, err error) error {
	f, ok := fault.As(err)
	if !ok || f.Kind != fault.Infeasible {
		return err
	}
	b, settled := e.settle(r, plan.Opt[plan.Date]{})
	if settled != nil {
		return err
	}
	t := stepper{engine: e, asked: &r, brief: b}
	var found []step
	for _, l := range t.outOf(f) {
		s, ok := e.least(ctx, r, l)
		if ctx.Err() != nil {
			return fault.Wrap(fault.Canceled, "CANCELED", context.Cause(ctx))
		}
		if ok {
			found = append(found, s)
		}
	}
	slices.SortStableFunc(found, func(a, b step) int { return cmp.Compare(a.price, b.price) })
	out := *f
	out.Ways = nil
	for i := range found {
		if len(out.Ways) == mostWays {
			break
		}
		switch _, err := e.generate(ctx, found[i].with(r)); {
		case ctx.Err() != nil:
			return fault.Wrap(fault.Canceled, "CANCELED", context.Cause(ctx))
		case err == nil:
			out.Ways = append(out.Ways, found[i].possible())
		}
	}
	return &out
}

// least finds the smallest step of a ladder that makes all windows possible; more of the
// same is taken to be no worse.
func (e *Engine) least(ctx context.Context, r plan.Request, l ladder) (step, bool) {
	if len(l) == 0 || !e.possible(ctx, l[len(l)-1].with(r)) {
		return step{}, false
	}
	at, _ := slices.BinarySearchFunc(l, true, func(s step, _ bool) int {
		if e.possible(ctx, s.with(r)) {
			return 0
		}
		return -1
	})
	return l[min(at, len(l)-1)], true
}

// possible reports that each window of a request has some allocation, by finding one.
func (e *Engine) possible(ctx context.Context, r plan.Request) bool {
	g, err := e.prepare(ctx, r, plan.Opt[plan.Date]{})
	if err != nil {
		return false
	}
	wins := windows(&g.outline, g.slots)
	if g.everywhere(wins) != nil {
		return false
	}
	for i := range wins {
		if len(wins[i].sessions) == 0 {
			continue
		}
		g.blocked = g.tooSoon(&wins[i], nil)
		m, err := g.allocationModel(&wins[i], g.shortlist(&wins[i]), false)
		if err != nil {
			return false
		}
		if ok, _ := schedule.Feasible(ctx, m, e.budget/4); !ok {
			return false
		}
	}
	return true
}

// stepper makes the steps that a request has.
type stepper struct {
	engine *Engine
	asked  *plan.Request // as it came: what is changed
	brief  *Brief        // settled: what holds
}

// outOf lists the ladders that could lead out of a conflict: one has to give up some of
// what clashes, and a session more may spread the rest.
func (t *stepper) outOf(f *fault.Error) []ladder {
	var out []ladder
	days, spread := false, false
	seen := map[string]bool{}
	for _, v := range f.Violations {
		if seen[v.Field] {
			continue
		}
		seen[v.Field] = true
		var i int
		switch {
		case v.Reason == "EQUIPMENT":
			out = append(out, t.lacking(v.Field)...)
			out = append(out, t.asking(v.Field)...)
		case at(v.Field, "constraints.days[%d].minutes", &i):
			days = true
			out = append(out, t.minutes(i))
		case at(v.Field, "constraints.pinned[%d]", &i), at(v.Field, "goals[%d]", &i):
			spread = true
			out = append(out, t.asking(v.Field)...)
		case v.Field == limitsPath+"exercises_per_session":
			out = append(out, t.exercises(4))
		case v.Field == limitsPath+"sets_per_session":
			out = append(out, t.sets(10))
		case v.Field == limitsPath+"muscle_sets_per_session":
			out = append(out, t.muscleSession(6))
		case at(v.Field, limitsPath+"muscle_sets_per_week[%d]", &i):
			out = append(out, t.muscleWeek(i)...)
		case at(v.Field, "constraints.recovery[%d]", &i):
			out = append(out, t.recovery(i)...)
		}
	}
	if days && len(t.asked.Constraints.Days) > 1 {
		out = append(out, t.everyDay())
	}
	if days || spread {
		out = append(out, t.session())
	}
	if spread && len(t.asked.Constraints.Pinned) > 1 {
		out = append(out, t.fewerPins())
	}
	return out
}

// at reads an index out of a path.
func at(field, format string, i *int) bool {
	if _, err := fmt.Sscanf(field, format, i); err != nil {
		return false
	}
	return field == fmt.Sprintf(format, *i)
}

// upTo is the most minutes more a day that are proposed.
const upTo = 90

func (t *stepper) minutes(day int) ladder {
	if day >= len(t.asked.Constraints.Days) {
		return nil
	}
	var out ladder
	was := t.asked.Constraints.Days[day].Minutes
	for more := int32(5); more <= upTo && was+more <= maxMinutes; more += 5 {
		out = append(out, step{
			changes: []fault.Change{minutesChange(day, was, more)},
			subject: fmt.Sprintf("%d more minutes on %s", more, t.dayName(day)), many: true, price: priceMinute * more,
			apply: func(r *plan.Request) { r.Constraints.Days[day].Minutes += more },
		})
	}
	return out
}

func minutesChange(day int, was, more int32) fault.Change {
	return fault.Change{Field: fmt.Sprintf("constraints.days[%d].minutes", day), From: fmt.Sprint(was), To: fmt.Sprint(was + more)}
}

func (t *stepper) everyDay() ladder {
	var out ladder
	days := t.asked.Constraints.Days
	for more := int32(5); more <= upTo; more += 5 {
		s := step{subject: fmt.Sprintf("%d more minutes on every training day", more), many: true}
		for i := range days {
			if days[i].Minutes+more > maxMinutes {
				return out
			}
			s.changes = append(s.changes, minutesChange(i, days[i].Minutes, more))
			s.price += priceMinute * more
		}
		s.apply = func(r *plan.Request) {
			for i := range r.Constraints.Days {
				r.Constraints.Days[i].Minutes += more
			}
		}
		out = append(out, s)
	}
	return out
}

func (t *stepper) dayName(day int) string {
	if w := t.asked.Constraints.Days[day].Weekday; w != plan.WeekdayUnspecified {
		return w.String()
	}
	return fmt.Sprintf("day %d", day+1)
}

// session adds a training day like the shortest there is, on the weekday that lies
// furthest from the others.
func (t *stepper) session() ladder {
	c := &t.asked.Constraints
	if len(c.Days) == 0 || len(c.Days) >= maxDays || t.asked.Plan.SessionsPerWeek.Set {
		return nil
	}
	like := slices.MinFunc(c.Days, func(a, b plan.Day) int { return cmp.Compare(a.Minutes, b.Minutes) })
	var best, furthest int32
	for w := int32(plan.Monday); w <= int32(plan.Sunday); w++ {
		near := int32(7)
		for _, d := range c.Days {
			if d.Weekday == plan.WeekdayUnspecified {
				return nil
			}
			gap := (int32(d.Weekday) - w + 7) % 7
			near = min(near, gap, 7-gap)
		}
		if near > furthest {
			best, furthest = w, near
		}
	}
	if best == 0 {
		return nil
	}
	like.Weekday = plan.Weekday(best)
	at := len(c.Days)
	for at > 0 && c.Days[at-1].Weekday > like.Weekday {
		at--
	}
	return ladder{{
		changes: []fault.Change{{Field: "constraints.days", To: fmt.Sprintf("%s, %d minutes", like.Weekday, like.Minutes)}},
		subject: fmt.Sprintf("One session more, on %s with %d minutes,", like.Weekday, like.Minutes), price: priceSession + priceMinute*like.Minutes,
		apply: func(r *plan.Request) { r.Constraints.Days = slices.Insert(r.Constraints.Days, at, like) },
	}}
}

// asking lists ways to ask less of a pin or a goal lift.
func (t *stepper) asking(field string) []ladder {
	var i int
	field = strings.TrimSuffix(field, ".exercise_id")
	if at(field, "goals[%d]", &i) && i < len(t.asked.Goals) {
		return []ladder{{t.dropGoal(field, i)}}
	}
	if !at(field, "constraints.pinned[%d]", &i) || i >= len(t.asked.Constraints.Pinned) {
		return nil
	}
	p := t.asked.Constraints.Pinned[i]
	name := t.exerciseName(p.ExerciseID)
	var less ladder
	for n := p.PerWeek - 1; n >= 1; n-- {
		less = append(less, step{
			changes: []fault.Change{{Field: field + ".per_week", From: fmt.Sprint(p.PerWeek), To: fmt.Sprint(n)}},
			subject: fmt.Sprintf("%s in %s a week instead of %d", name, counted(int(n), "session"), p.PerWeek), price: priceLessPin * (p.PerWeek - n),
			apply: func(r *plan.Request) { r.Constraints.Pinned[i].PerWeek = n },
		})
	}
	if p.EverySession {
		less = append(less, step{
			changes: []fault.Change{{Field: field + ".every_session", From: "true", To: "false"}},
			subject: fmt.Sprintf("%s in one session a week instead of every one", name), price: 2 * priceLessPin,
			apply: func(r *plan.Request) { r.Constraints.Pinned[i].EverySession = false },
		})
	}
	drop := step{
		changes: []fault.Change{{Field: field, From: p.ExerciseID}},
		subject: fmt.Sprintf("Leaving %s to the allocation instead of pinning it", name), price: pricePin,
		apply: func(r *plan.Request) { r.Constraints.Pinned = slices.Delete(r.Constraints.Pinned, i, i+1) },
	}
	return []ladder{less, {drop}}
}

// fewerPins gives up two pins and more, from the last on.
func (t *stepper) fewerPins() ladder {
	var out ladder
	pins := t.asked.Constraints.Pinned
	var names []string
	var changes []fault.Change
	for i := len(pins) - 1; i >= 0; i-- {
		changes = append(slices.Clip(changes), fault.Change{Field: fmt.Sprintf("constraints.pinned[%d]", i), From: pins[i].ExerciseID})
		names = append([]string{t.exerciseName(pins[i].ExerciseID)}, names...)
		if len(names) == 1 {
			continue
		}
		n := len(names)
		out = append(out, step{
			changes: changes, price: pricePin * int32(n),
			subject: fmt.Sprintf("Leaving %s and %s to the allocation instead of pinning them", strings.Join(names[:n-1], ", "), names[n-1]),
			apply:   func(r *plan.Request) { r.Constraints.Pinned = r.Constraints.Pinned[:i] },
		})
	}
	return out
}

func (t *stepper) dropGoal(field string, i int) step {
	return step{
		changes: []fault.Change{{Field: field, From: t.asked.Goals[i].ExerciseID}},
		subject: "Giving up the goal for " + t.exerciseName(t.asked.Goals[i].ExerciseID), price: priceGoal,
		apply: func(r *plan.Request) { r.Goals = slices.Delete(r.Goals, i, i+1) },
	}
}

func (t *stepper) exerciseName(id string) string {
	if ex, ok := t.brief.Catalogue.ByID(id); ok {
		return ex.Name
	}
	return id
}

// raise is a ladder that raises a limit of a session.
func (t *stepper) raise(field, noun string, was, by, most, price int32, set func(*plan.Limits, int32)) ladder {
	var out ladder
	for more := by; more <= most; more += by {
		out = append(out, step{
			changes: []fault.Change{{Field: limitsPath + field, From: fmt.Sprint(was), To: fmt.Sprint(was + more)}},
			subject: fmt.Sprintf("Up to %d instead of %d %s", was+more, was, noun), price: price * more,
			apply: func(r *plan.Request) { set(&r.Constraints.Limits, was+more) },
		})
	}
	return out
}

func (t *stepper) exercises(most int32) ladder {
	was := t.brief.Request.Constraints.Limits.ExercisesPerSession.Value
	return t.raise("exercises_per_session", "exercises a session", was, 1, most, priceExercise,
		func(l *plan.Limits, n int32) { l.ExercisesPerSession = plan.Some(n) })
}

func (t *stepper) sets(most int32) ladder {
	was := t.brief.Request.Constraints.Limits.SetsPerSession.Value
	return t.raise("sets_per_session", "sets a session", was, 2, most, priceSet,
		func(l *plan.Limits, n int32) { l.SetsPerSession = plan.Some(n) })
}

func (t *stepper) muscleSession(most int32) ladder {
	was := t.brief.Request.Constraints.Limits.MuscleSetsPerSession.Value
	return t.raise("muscle_sets_per_session", "direct sets for a muscle a session", was, 1, most, priceSet,
		func(l *plan.Limits, n int32) { l.MuscleSetsPerSession = plan.Some(n) })
}

func (t *stepper) muscleWeek(i int) []ladder {
	list := t.asked.Constraints.Limits.MuscleSetsPerWeek
	if i >= len(list) {
		return nil
	}
	field, was := fmt.Sprintf(limitsPath+"muscle_sets_per_week[%d]", i), list[i]
	var more ladder
	for n := plan.HalfSets(2); n <= 20; n += 2 {
		more = append(more, step{
			changes: []fault.Change{{Field: field + ".sets", From: was.Sets.String(), To: (was.Sets + n).String()}},
			subject: fmt.Sprintf("Up to %s instead of %s sets a week for %s", was.Sets+n, was.Sets, was.Muscle), price: priceSet * int32(n/2),
			apply: func(r *plan.Request) { r.Constraints.Limits.MuscleSetsPerWeek[i].Sets += n },
		})
	}
	return []ladder{more}
}

func (t *stepper) recovery(i int) []ladder {
	list := t.asked.Constraints.Recovery
	if i >= len(list) {
		return nil
	}
	field, was := fmt.Sprintf("constraints.recovery[%d]", i), list[i]
	var less ladder
	for n := int32(1); was.Hours-24*n > 0; n++ {
		less = append(less, step{
			changes: []fault.Change{{Field: field + ".hours", From: fmt.Sprint(was.Hours), To: fmt.Sprint(was.Hours - 24*n)}},
			subject: fmt.Sprintf("%d instead of %d hours between hard work for %s", was.Hours-24*n, was.Hours, was.Muscle), many: true, price: priceRecovery * n,
			apply: func(r *plan.Request) { r.Constraints.Recovery[i].Hours = was.Hours - 24*n },
		})
	}
	return []ladder{append(less, step{
		changes: []fault.Change{{Field: field, From: fmt.Sprint(was.Hours)}},
		subject: fmt.Sprintf("Asking for no hours between hard work for %s", was.Muscle), price: priceRecovery * (was.Hours + 23) / 24,
		apply: func(r *plan.Request) { r.Constraints.Recovery = slices.Delete(r.Constraints.Recovery, i, i+1) },
	})}
}

// lacking proposes the one item that an asked exercise lacks at a place, place by place.
func (t *stepper) lacking(field string) []ladder {
	var i int
	id := ""
	switch field = strings.TrimSuffix(field, ".exercise_id"); {
	case at(field, "goals[%d]", &i) && i < len(t.asked.Goals):
		id = t.asked.Goals[i].ExerciseID
	case at(field, "constraints.pinned[%d]", &i) && i < len(t.asked.Constraints.Pinned):
		id = t.asked.Constraints.Pinned[i].ExerciseID
	}
	ex, ok := t.brief.Catalogue.ByID(id)
	if !ok {
		return nil
	}
	var out []ladder
	for p := range t.asked.Constraints.Places {
		if lack := ex.Missing(&t.brief.Request.Constraints.Places[p]); len(lack) == 1 {
			out = append(out, t.item(p, lack[0]))
		}
	}
	return out
}

// item adds a piece of equipment to a place.
func (t *stepper) item(place int, e plan.Equipment) ladder {
	name := placeName(&t.brief.Request.Constraints.Places[place])
	return ladder{{
		changes: []fault.Change{{Field: fmt.Sprintf("constraints.places[%d].items", place), To: e.String()}},
		subject: fmt.Sprintf("%s at %s", article(e.String()), name), many: several(e.String()), price: priceItem,
		apply: func(r *plan.Request) {
			p := &r.Constraints.Places[place]
			p.Absent = slices.DeleteFunc(p.Absent, func(x plan.Equipment) bool { return x == e })
			p.Items = append(p.Items, e)
		},
	}}
}

// several reports a plural.
func several(thing string) bool {
	return strings.HasSuffix(thing, "s") && !strings.HasSuffix(thing, "press")
}

// article begins a sentence with a thing: "A barbell", "Dumbbells".
func article(thing string) string {
	if several(thing) {
		return strings.ToUpper(thing[:1]) + thing[1:]
	}
	if strings.ContainsRune("AEIOaeio", rune(thing[0])) {
		return "An " + thing
	}
	return "A " + thing
}
