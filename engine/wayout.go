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

// Prices of giving up what is asked of a program that is made again, beside those of its
// request.
const (
	priceLock      = 25 // of an exercise in the sessions of a day or workout
	priceWideLock  = 50 // of an exercise wherever it is, or of all of some sessions
	priceSwap      = 40
	priceExclusion = 60
	priceLater     = 30 // a week
)

// mostGivenUp is how many locks and swaps are tried, and given up together; mostMade is how
// often a program is made again at most to see that a step is enough.
const (
	mostGivenUp = 8
	mostMade    = 24
)

// reworkable adds to a conflict of a program made again the cheapest changes that end it,
// of its request or of how, each made to see that it does. Other errors stay as they are.
func (e *Engine) reworkable(ctx context.Context, base *plan.Program, r plan.Request, how plan.Rework, err error) error {
	f, ok := fault.As(err)
	if !ok || f.Kind != fault.Infeasible {
		return err
	}
	e, failed := e.bring(base.External)
	if failed != nil {
		return err
	}
	b, settled := e.settle(r, firstAnew(base, &how))
	if settled != nil {
		return err
	}
	t := again{stepper: stepper{engine: e, asked: &r, brief: b}, base: base, how: &how}
	ways := t.ways(ctx, f)
	if ctx.Err() != nil {
		return fault.Wrap(fault.Canceled, "CANCELED", context.Cause(ctx))
	}
	told := *f
	told.Ways = ways
	return &told
}

// again makes the steps that there are where a program is made again.
type again struct {
	stepper
	base *plan.Program
	how  *plan.Rework
	made int
}

// outOf lists the ladders of the request that could lead out of a conflict.
func (t *again) outOf(f *fault.Error) []ladder {
	out := t.stepper.outOf(f)
	var i int
	for _, v := range f.Violations {
		switch {
		case at(v.Field, "constraints.excluded_exercise_ids[%d]", &i) && i < len(t.asked.Constraints.Excluded):
			id := t.asked.Constraints.Excluded[i]
			out = append(out, ladder{{
				changes: []fault.Change{{Field: v.Field, From: id}},
				subject: "Not excluding " + t.exerciseName(id), price: priceExclusion,
				apply: func(r *plan.Request) {
					r.Constraints.Excluded = slices.Delete(slices.Clone(r.Constraints.Excluded), i, i+1)
				},
			}})
		case at(v.Field, "constraints.places[%d]", &i) && i < len(t.asked.Constraints.Places):
			out = append(out, t.lackingLocked(f, i)...)
		case at(v.Field, "rework.swaps[%d].with_exercise_id", &i) && i < len(t.how.Swaps):
			out = append(out, t.lackingSwapped(&t.how.Swaps[i])...)
		}
	}
	return out
}

// lackingLocked proposes the one item that a place lacks for a locked exercise.
func (t *again) lackingLocked(f *fault.Error, place int) []ladder {
	for _, i := range t.named(f) {
		if i < len(t.how.Locks) {
			return t.itemFor(t.how.Locks[i].ExerciseID, place)
		}
	}
	return nil
}

// lackingSwapped proposes, place by place, the one item that each lacks for an exercise
// that is to come there.
func (t *again) lackingSwapped(s *plan.Swap) []ladder {
	var out []ladder
	for p := range t.asked.Constraints.Places {
		out = append(out, t.itemFor(s.With, p)...)
	}
	return out
}

func (t *again) itemFor(id string, place int) []ladder {
	ex, ok := t.brief.Catalogue.ByID(id)
	if !ok {
		return nil
	}
	if lack := ex.Missing(&t.brief.Request.Constraints.Places[place]); len(lack) == 1 {
		return []ladder{t.item(place, lack[0])}
	}
	return nil
}

// givenUp lists each lock and swap of a conflict.
func (t *again) givenUp(f *fault.Error) []ladder {
	var out []ladder
	for _, i := range t.named(f) {
		if len(out) < mostGivenUp {
			out = append(out, ladder{t.without([]int{i})})
		}
	}
	return out
}

// eachGivenUp lists each lock and swap, and all together where there are several.
func (t *again) eachGivenUp() []step {
	var out []step
	var all []int
	for i := range min(len(t.how.Locks)+len(t.how.Swaps), mostGivenUp) {
		out, all = append(out, t.without([]int{i})), append(all, i)
	}
	if len(all) > 1 {
		out = append(out, t.without(all))
	}
	return out
}

// named lists the locks and swaps that a conflict names, swaps counted after locks.
func (t *again) named(f *fault.Error) []int {
	var out []int
	for i := range len(t.how.Locks) + len(t.how.Swaps) {
		if slices.ContainsFunc(f.Violations, func(v fault.Violation) bool {
			return v.Field == holdPath(t.how, i) || strings.HasPrefix(v.Field, holdPath(t.how, i)+".")
		}) {
			out = append(out, i)
		}
	}
	return out
}

// several gives up more and more locks and swaps: those of the conflict, as others may
// clash too, then the others, locks first and from the last on.
func (t *again) several(f *fault.Error) ladder {
	list := t.named(f)
	least := max(1, min(2, len(list)+1)) // one that is named has been tried
	locks := len(t.how.Locks)
	rest := func(from, to int) {
		for i := to - 1; i >= from; i-- {
			if !slices.Contains(list, i) {
				list = append(list, i)
			}
		}
	}
	rest(0, locks)
	rest(locks, locks+len(t.how.Swaps))
	var out ladder
	for n := least; n <= min(len(list), mostGivenUp); n++ {
		out = append(out, t.without(slices.Clone(list[:n])))
	}
	return out
}

// without gives up locks and swaps.
func (t *again) without(list []int) step {
	slices.Sort(list)
	var s step
	var says []string
	locks := len(t.how.Locks)
	for _, i := range list {
		if i < locks {
			l := &t.how.Locks[i]
			what := t.lockName(l)
			says = append(says, "giving up the lock on "+what)
			s.changes = append(s.changes, fault.Change{Field: holdPath(t.how, i), From: what})
			if s.price += priceWideLock; l.ExerciseID != "" && (l.Weekday != plan.WeekdayUnspecified || l.Group != "") {
				s.price += priceLock - priceWideLock
			}
			continue
		}
		q := &t.how.Swaps[i-locks]
		what := fmt.Sprintf("%s for %s%s", t.exerciseName(q.With), t.exerciseName(q.ExerciseID), inSessions(q.Weekday, q.Group))
		says = append(says, "undoing the swap of "+what)
		s.changes = append(s.changes, fault.Change{Field: holdPath(t.how, i), From: what})
		s.price += priceSwap
	}
	s.subject = andList(says)
	s.subject = strings.ToUpper(s.subject[:1]) + s.subject[1:]
	s.many = len(list) > 1
	kept := make([]bool, locks+len(t.how.Swaps))
	for i := range kept {
		kept[i] = !slices.Contains(list, i)
	}
	s.rework = func(h *plan.Rework) { *h = onlyHolds(*h, kept) }
	return s
}

func (t *again) lockName(l *plan.Lock) string {
	if l.ExerciseID == "" {
		return "everything" + inSessions(l.Weekday, l.Group)
	}
	return t.exerciseName(l.ExerciseID) + inSessions(l.Weekday, l.Group)
}

func inSessions(day plan.Weekday, group string) string {
	out := ""
	if day != plan.WeekdayUnspecified {
		out += " on " + day.String()
	}
	if group != "" {
		out += " in workout " + group
	}
	return out
}

// later begins with a later week, as long as there is something left to be made again.
// Earlier days are never proposed: they may be trained already.
func (t *again) later() ladder {
	k := &rework{base: t.base}
	for i := range t.base.Phases {
		for j := range t.base.Phases[i].Weeks {
			k.weeks = append(k.weeks, &t.base.Phases[i].Weeks[j])
		}
	}
	start := t.base.Request.Constraints.Start
	first := max(1, t.how.FromWeek)
	if t.how.From.Set {
		if !start.Set {
			return nil
		}
		first = int32(t.how.From.Value-start.Value)/7 + 1
	}
	var out ladder
	for week := first + 1; int(week) <= len(k.weeks); week++ {
		if k.week = int(week) - 1; !k.has("", plan.WeekdayUnspecified, "") {
			break
		}
		s := step{price: priceLater * (week - first)}
		switch day := start.Value.AddDays(7 * int(week-1)); {
		case t.how.From.Set:
			s.changes = []fault.Change{{Field: "rework.from_date", From: t.how.From.Value.String(), To: day.String()}}
			s.subject = fmt.Sprintf("Leaving all before %s, week %d, as it is", day, week)
			s.rework = func(h *plan.Rework) { h.From = plan.Some(day) }
		default:
			s.changes = []fault.Change{{Field: "rework.from_week", To: fmt.Sprint(week)}}
			if t.how.FromWeek > 0 {
				s.changes[0].From = fmt.Sprint(t.how.FromWeek)
			}
			s.subject = fmt.Sprintf("Leaving all before week %d as it is", week)
			s.rework = func(h *plan.Rework) { h.FromWeek = week }
		}
		out = append(out, s)
	}
	return out
}

// asks gives how a program is made again with a step taken.
func (s *step) asks(how plan.Rework) plan.Rework {
	how.Locks, how.Swaps = slices.Clone(how.Locks), slices.Clone(how.Swaps)
	if s.rework != nil {
		s.rework(&how)
	}
	return how
}

// rung is the least step of a ladder that looks enough, and what is beyond it.
type rung struct {
	step
	more ladder
	made bool // it was tried
}

// ways gives the cheapest steps out of a conflict, each made to see that it is one. Where
// none is enough, as another conflict lies behind it, a step of the request is taken
// together with a lock or swap given up, or with all of them.
func (t *again) ways(ctx context.Context, f *fault.Error) []fault.Way {
	asked, given := t.outOf(f), t.givenUp(f)
	look := t.look(ctx, slices.Concat(asked, given))
	if !slices.ContainsFunc(look, func(x rung) bool { return x.rework != nil }) {
		look = append(look, t.look(ctx, []ladder{t.several(f)})...)
	}
	look = append(look, t.look(ctx, []ladder{t.later()})...)
	if out := t.proven(ctx, look); len(out) > 0 {
		return out
	}
	var both []ladder
	for _, g := range t.eachGivenUp() {
		for _, l := range asked {
			both = append(both, l.with(&g))
		}
	}
	return t.proven(ctx, t.look(ctx, both))
}

// look finds the least step of each ladder that looks enough.
func (t *again) look(ctx context.Context, list []ladder) []rung {
	var out []rung
	for _, l := range list {
		if at, ok := least(l, func(s *step) bool { return t.possible(ctx, s) }); ok {
			out = append(out, rung{step: l[at], more: l[at+1:]})
		}
	}
	return out
}

// proven makes what looks enough, the cheapest first, until there are as many as are told.
func (t *again) proven(ctx context.Context, open []rung) []fault.Way {
	var out []fault.Way
	for len(open) > 0 && len(out) < mostWays {
		slices.SortStableFunc(open, func(a, b rung) int { return cmp.Compare(a.price, b.price) })
		x := open[0]
		open = open[1:]
		if x.made || t.makes(ctx, &x.step) {
			out = append(out, x.possible())
			continue
		}
		// The look was too hopeful: what is beyond it is all made.
		if at, ok := least(x.more, func(s *step) bool { return t.makes(ctx, s) }); ok {
			open = append(open, rung{step: x.more[at], made: true})
		}
	}
	return out
}

// with gives a ladder of the request whose steps are each taken together with one about how.
func (l ladder) with(s *step) ladder {
	out := slices.Clone(l)
	for i := range out {
		x := &out[i]
		x.changes = slices.Concat(x.changes, s.changes)
		x.subject += " and " + strings.ToLower(s.subject[:1]) + s.subject[1:]
		x.many, x.price, x.rework = true, x.price+s.price, s.rework
	}
	return out
}

// least finds the smallest step of a ladder that is enough; more of the same is taken to
// be no worse.
func least(l ladder, enough func(*step) bool) (int, bool) {
	if len(l) == 0 || !enough(&l[len(l)-1]) {
		return 0, false
	}
	at, _ := slices.BinarySearchFunc(l[:len(l)-1], true, func(s step, _ bool) int {
		if enough(&s) {
			return 0
		}
		return -1
	})
	return at, true
}

// makes reports that the program can be made again with a step taken, by doing so. False
// once that was done often enough.
func (t *again) makes(ctx context.Context, s *step) bool {
	if t.made++; t.made > mostMade {
		return false
	}
	_, err := t.engine.rework(ctx, t.base, s.with(*t.asked), s.asks(*t.how))
	return err == nil
}

// possible reports that each window that is made again has some allocation with a step
// taken, by finding one.
func (t *again) possible(ctx context.Context, s *step) bool {
	g, k, err := t.engine.reworking(ctx, t.base, s.with(*t.asked), s.asks(*t.how))
	if err != nil {
		return false
	}
	wins := windows(&g.outline, g.slots)
	if g.everywhere(wins) != nil {
		return false
	}
	wins = k.remaining(g, wins)
	g.rework = k
	for i := range wins {
		w := &wins[i]
		if len(w.sessions) == 0 {
			continue
		}
		g.blocked = g.tooSoon(w, nil)
		list := g.shortlist(w)
		h, err := g.holding(w, g.withBase(w, slices.Clone(list)))
		if err != nil {
			return false
		}
		if h.all {
			continue
		}
		if g.lost(w) != nil {
			return false
		}
		all := make([]bool, k.holds())
		for j := range all {
			all[j] = true
		}
		p, err := g.part(w, list, all)
		if err != nil || p.out != nil {
			return false
		}
		if ok, _ := schedule.Feasible(ctx, p.model, t.engine.budget/4); !ok {
			return false
		}
	}
	return true
}
