package engine

import (
	"context"
	"fmt"
	"reflect"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// hold is what of a window's earlier sets may not move: single cells (locks), whole
// columns, or nothing.
type hold struct {
	was   [][]int32 // by pick and column: the most sets of any of the window's weeks
	cells [][]bool  // locked
	gone  [][]bool  // swapped out
	whole []bool    // columns that stay as they are, swaps done
	only  []bool    // columns that get no exercise that they have not
	there []bool    // columns of which the base has every session
	gap   []bool    // columns with an exercise that can't be there any more
	swap  []bool    // columns with a swap
}

// like is a hold of locks and swaps alone.
func (h *hold) like() *hold {
	out := *h
	out.whole, out.only, out.cells = make([]bool, len(h.whole)), make([]bool, len(h.whole)), make([][]bool, len(h.cells))
	for i := range h.cells {
		out.cells[i] = slices.Clone(h.cells[i])
	}
	return &out
}

// held reports a cell that keeps its sets, none included.
func (h *hold) held(pick, col int) bool { return h.whole[col] || h.cells[pick][col] }

// holding is how much of a window may stay.
type holding struct {
	open, stays, less, least *hold // see reallocate; open holds locks and swaps alone
	all                      bool  // everything stays, as nothing else is asked
}

// holding reads what may stay of a window out of the base and both requests.
func (g *generation) holding(w *window, picks []pick) (*holding, error) {
	h := g.rework.holdOf(g, w, picks)
	days, rows, err := g.unchanged(w, picks)
	if err != nil {
		return nil, err
	}
	out := &holding{open: h.like(), stays: h.like(), less: h.like(), least: h.like(), all: true}
	for c := range w.columns {
		same := rows && days[c] && h.there[c]
		out.stays.whole[c] = same && !h.gap[c] && !h.swap[c]
		out.least.whole[c] = same && !h.gap[c]
		out.least.only[c] = rows && !days[c] && h.there[c]
		out.less.whole[c] = out.stays.whole[c]
		out.less.only[c] = out.least.only[c] || same && !h.gap[c] && h.swap[c]
		if same && h.gap[c] {
			for i := range picks {
				out.least.cells[i][c] = out.least.cells[i][c] || h.was[i][c] > 0
				out.less.cells[i][c] = out.least.cells[i][c]
			}
		}
		out.all = out.all && out.stays.whole[c]
	}
	return out, nil
}

// reallocations is how many times reallocate has a window solved at most.
const reallocations = 4

// reallocate allocates a window of a program that is made again, with as little change as
// can be. In turn it is asked for
//
//   - nothing to move, where the request asks of all its days what it asked before;
//   - the days of which it does to stay, and in the others a swap to change nothing else, an
//     exercise that is gone to leave a gap to fill, a shorter day to keep to what it has;
//   - the same, but a day with a swap only to keep to what it has, with other sets;
//   - those days to stay and the others to be solved;
//   - all to be solved, locks aside.
//
// The first that is possible is taken, as long as it costs no goal and no floor anything
// against the last.
func (g *generation) reallocate(ctx context.Context, w *window, done []*allocated) (*allocated, error) {
	picks := g.withBase(w, g.shortlist(w))
	g.blocked = g.tooSoon(w, done)
	h, err := g.holding(w, picks)
	if err != nil {
		return nil, err
	}
	if h.all {
		return g.asItWas(w, picks, h.stays)
	}
	if err := g.lost(w); err != nil {
		return nil, err
	}
	free, err := g.solveHeld(ctx, w, picks, h.open)
	switch {
	case infeasible(err) && g.rework.holds() > 0:
		return nil, g.clash(ctx, w, err)
	case err != nil:
		return nil, err
	}
	for _, held := range [...]*hold{h.least, h.less, h.stays} {
		a, err := g.solveHeld(ctx, w, picks, held)
		if err != nil && !infeasible(err) {
			return nil, err
		}
		if err == nil && a.answer.Value[0] <= free.answer.Value[0] && g.keepsFloors(a, free) {
			return g.settled(a), nil
		}
	}
	return g.settled(free), nil
}

// asItWas takes a window over as it is, and what was said of its allocation.
func (g *generation) asItWas(w *window, picks []pick, h *hold) (*allocated, error) {
	a := &allocated{window: w, picks: picks, held: h, whole: h.whole}
	var err error
	if a.model, err = g.allocationModel(w, picks, true); err != nil {
		return nil, err
	}
	a.answer.Sets = h.was
	for i := range g.rework.base.Allocations {
		if x := &g.rework.base.Allocations[i]; int(x.FromWeek)-1 <= w.list[0] && w.list[0] < int(x.ToWeek) {
			a.answer.Value, a.answer.Bound, a.answer.Proven, a.answer.Work = x.Value, x.Bound, x.Proven, x.Work
		}
	}
	return g.settled(a), nil
}

func infeasible(err error) bool {
	f, ok := fault.As(err)
	return ok && f.Kind == fault.Infeasible
}

// settled lists what the solver says of an answer.
func (g *generation) settled(a *allocated) *allocated {
	for _, r := range a.window.runs() {
		g.program.Allocations = append(g.program.Allocations, plan.Allocation{
			FromWeek: r[0], ToWeek: r[1], Candidates: int32(len(a.picks)),
			Value: a.answer.Value, Bound: a.answer.Bound, Proven: a.answer.Proven, Work: a.answer.Work,
		})
	}
	return a
}

// keepsFloors reports that no muscle falls under its floor for keeping the days.
func (g *generation) keepsFloors(stays, free *allocated) bool {
	peak := g.heaviest(stays.window)
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if floor := peak.Muscles[m].Floor; g.achieved(stays, m) < floor && g.achieved(free, m) > g.achieved(stays, m) {
			return false
		}
	}
	return true
}

// holdOf reads a window's sets, locks and swaps out of the base.
func (k *rework) holdOf(g *generation, w *window, picks []pick) *hold {
	n := len(w.columns)
	h := &hold{was: make([][]int32, len(picks)), cells: make([][]bool, len(picks)), gone: make([][]bool, len(picks)),
		whole: make([]bool, n), only: make([]bool, n), there: make([]bool, n), gap: make([]bool, n), swap: make([]bool, n)}
	for i := range picks {
		h.was[i], h.cells[i], h.gone[i] = make([]int32, n), make([]bool, n), make([]bool, n)
	}
	for c := range h.there {
		h.there[c] = true
	}
	at := func(id string) int { return slices.IndexFunc(picks, func(p pick) bool { return p.ex.ID == id }) }
	for i := range w.sessions {
		o := &w.sessions[i]
		s := k.session(o)
		if s == nil {
			h.there[o.column] = false
			continue
		}
		for j := range s.Exercises {
			id, swapped := k.now(s.Exercises[j].ExerciseID, s)
			if swapped {
				h.swap[o.column] = true
				if i := at(s.Exercises[j].ExerciseID); i >= 0 {
					h.gone[i][o.column] = true
				}
			}
			i := at(id)
			if i < 0 {
				h.gap[o.column] = true
				continue
			}
			h.was[i][o.column] = max(h.was[i][o.column], s.Exercises[j].Working())
			h.cells[i][o.column] = h.cells[i][o.column] || swapped || k.locked(id, s)
		}
	}
	return h
}

// unchanged compares what the request asks of a window with what the base's request asked:
// by column, and of muscles, lifts and pins.
func (g *generation) unchanged(w *window, picks []pick) (days []bool, rows bool, err error) {
	days = make([]bool, len(w.columns))
	b := g.rework.before
	if b == nil {
		return days, false, nil
	}
	wins := g.rework.remaining(b, windows(&b.outline, b.slots))
	at := slices.IndexFunc(wins, func(x window) bool { return slices.Equal(x.list, w.list) })
	if at < 0 {
		return days, false, nil
	}
	was := &wins[at]
	theirs := make([]pick, len(picks))
	for i, p := range picks {
		theirs[i] = pick{ex: p.ex, track: b.trackOf(p.ex), goal: b.goalOf(p.ex.ID), pin: b.pinOf(p.ex.ID), preference: p.preference}
		theirs[i].role = b.roleOf(p.ex, was, theirs[i].goal)
	}
	b.blocked = make([][plan.MuscleCount]bool, len(was.columns))
	old, err := b.allocationModel(was, theirs, true)
	if err != nil {
		return nil, false, err
	}
	now, err := g.allocationModel(w, picks, true)
	if err != nil {
		return nil, false, err
	}
	rows = old.Weeks == now.Weeks && reflect.DeepEqual(old.Muscles, now.Muscles) && reflect.DeepEqual(old.Lifts, now.Lifts) &&
		reflect.DeepEqual(b.brief.Request.Constraints.Recovery, g.brief.Request.Constraints.Recovery)
	for i := range picks {
		o, n := &old.Candidates[i], &now.Candidates[i]
		rows = rows && o.MinDays == n.MinDays && o.MinSets == n.MinSets && o.MaxSets == n.MaxSets && o.Lift == n.Lift && theirs[i].role == picks[i].role
	}
	for c := range w.columns {
		j := slices.IndexFunc(was.columns, func(x column) bool { return g.sameColumn(b, &w.columns[c], &x) })
		if j < 0 {
			continue
		}
		o, n := old.Days[j], now.Days[c]
		o.Path, n.Path = "", ""
		days[c] = o == n
		for i := range picks {
			days[c] = days[c] && old.Candidates[i].Options[j] == now.Candidates[i].Options[c]
		}
	}
	return days, rows, nil
}

// sameColumn matches columns of two requests, whose days may be listed in another order.
func (g *generation) sameColumn(b *generation, now, was *column) bool {
	if now.group != "" || was.group != "" {
		return now.group == was.group
	}
	return g.brief.Request.Constraints.Days[now.day].Weekday == b.brief.Request.Constraints.Days[was.day].Weekday
}

// solveHeld allocates a window around what is held. An exercise that is held on some days
// and free on others is two candidates to the solver.
func (g *generation) solveHeld(ctx context.Context, w *window, picks []pick, h *hold) (*allocated, error) {
	a := &allocated{window: w, picks: picks, held: h, whole: h.whole}
	var err error
	for _, try := range tries(g.taperSets(w)) {
		if a.model, err = g.allocationModel(w, picks, try.zones); err != nil {
			return nil, err
		}
		if a.tapers = try.most > 0; a.tapers {
			w.limitSets(a.model, try.most)
		}
		g.countPast(w, picks, a.model)
		var split []int // of the candidates beyond the picks
		if split, err = h.bind(a.model, picks); err != nil {
			return nil, err
		}
		prior := &schedule.Assignment{Sets: make([][]int32, len(a.model.Candidates))}
		for i := range prior.Sets {
			prior.Sets[i] = make([]int32, len(w.columns))
			for c := range w.columns {
				prior.Sets[i][c] = h.share(a.model, split, len(picks), i, c)
			}
		}
		a.answer, err = g.engine.solve(ctx, a.model, prior)
		if err == nil {
			for k, of := range split {
				for c := range w.columns {
					a.answer.Sets[of][c] += a.answer.Sets[len(picks)+k][c]
				}
			}
			a.answer.Sets = a.answer.Sets[:len(picks)]
			a.model.Candidates = a.model.Candidates[:len(picks)]
			h.restore(a.model)
			return a, nil
		}
		if !infeasible(err) {
			return nil, err
		}
	}
	return nil, err
}

// countPast lets the sessions that stay of a week count for what must be so many times in it.
func (g *generation) countPast(w *window, picks []pick, m *schedule.Model) {
	k := g.rework
	if k.day == 0 || w.list[0] != k.week {
		return
	}
	had := func(id string) int32 {
		n := int32(0)
		for i := range k.weeks[k.week].Sessions {
			if s := &k.weeks[k.week].Sessions[i]; s.Kind == plan.SessionTraining && k.past(k.week, k.offset(s)) && holds(s, id) {
				n++
			}
		}
		return n
	}
	for i := range picks {
		if p := picks[i].pin; p >= 0 && !g.brief.Request.Constraints.Pinned[p].EverySession {
			want := max(1, g.brief.Request.Constraints.Pinned[p].PerWeek)
			m.Candidates[i].MinDays = min(m.Candidates[i].MinDays, max(0, want-had(picks[i].ex.ID)))
		}
	}
	for _, l := range g.heaviest(w).Lifts {
		for i := range m.Lifts {
			if x := &m.Lifts[i]; x.ID == l.ExerciseID {
				x.MinDays = min(x.MinDays, max(0, l.MinDays-had(x.ID)))
			}
		}
	}
}

// share gives the earlier sets of a candidate on a column, of one that was split each half its own.
func (h *hold) share(m *schedule.Model, split []int, picks, cand, col int) int32 {
	of := cand
	if cand >= picks {
		of = split[cand-picks]
	}
	if !m.Candidates[cand].Options[col].Allowed {
		return 0
	}
	return h.was[of][col]
}

// bind narrows a model to what is held and says of which pick each further candidate is
// the free half. Infeasible where something held can't be there any more.
func (h *hold) bind(m *schedule.Model, picks []pick) ([]int, error) {
	var split []int
	bad := fault.NewCollector(fault.Infeasible)
	for i := range picks {
		c := &m.Candidates[i]
		fixed, free := int32(0), int32(0)
		var rest []schedule.Option
		for d := range c.Options {
			o := &c.Options[d]
			if h.gone[i][d] {
				*o = schedule.Option{}
			}
			left := *o
			if h.held(i, d) {
				left = schedule.Option{}
			}
			switch n := h.was[i][d]; {
			case !h.held(i, d) && h.only[d] && n == 0:
				*o, left = schedule.Option{}, schedule.Option{}
			case !h.held(i, d):
				free += allowed(*o)
			case n == 0:
				*o = schedule.Option{}
			case !o.Allowed:
				bad.Add("CONFLICT_LOCK", "rework.locks", fmt.Sprintf("%s can't stay on %s: the place, the strategy or recovery rules it out there now", picks[i].ex.Name, dayName(m, d)))
			default:
				n = min(max(n, o.Lo), o.Hi)
				o.Lo, o.Hi = n, n
				fixed++
			}
			rest = append(rest, left)
		}
		if fixed == 0 {
			c.MinDays = min(c.MinDays, max(free, 0))
			if free == 0 {
				c.MinDays, c.MaxDays = 0, max(1, c.MaxDays)
			}
			continue
		}
		most := c.MaxDays
		if free > 0 && most > fixed && c.MaxSets == 0 {
			half := *c
			half.Options = rest
			half.MinDays, half.MaxDays, half.MinSets = max(0, c.MinDays-fixed), most-fixed, 0
			m.Candidates = append(m.Candidates, half)
			split = append(split, i)
			c = &m.Candidates[i]
		}
		for d := range c.Options {
			if !h.held(i, d) {
				c.Options[d] = schedule.Option{}
			}
		}
		c.MinDays, c.MaxDays, c.MinSets, c.MaxSets = fixed, fixed, 0, 0
	}
	return split, bad.Err()
}

func allowed(o schedule.Option) int32 {
	if o.Allowed {
		return 1
	}
	return 0
}

func dayName(m *schedule.Model, d int) string {
	if n := m.Days[d].Name; n != "" {
		return n
	}
	return m.Days[d].Path
}

// restore lets what is read off the model later see the sets that stay.
func (h *hold) restore(m *schedule.Model) {
	for i := range m.Candidates {
		for d := range m.Candidates[i].Options {
			if o := &m.Candidates[i].Options[d]; h.held(i, d) && h.was[i][d] > 0 {
				o.Allowed = true
			}
		}
	}
}

// heldSets gives the sets of a cell that stays, in one week. False where it is free, or
// new there.
func (g *generation) heldSets(a *allocated, pick, col, week int) (int32, bool) {
	if a == nil || a.held == nil || !a.held.held(pick, col) {
		return 0, false
	}
	id := a.picks[pick].ex.ID
	for i := range a.window.sessions {
		o := &a.window.sessions[i]
		if o.week != week || o.column != col {
			continue
		}
		s := g.rework.session(o)
		if s == nil {
			return 0, false
		}
		for j := range s.Exercises {
			if now, _ := g.rework.now(s.Exercises[j].ExerciseID, s); now == id {
				return s.Exercises[j].Working(), true
			}
		}
		return 0, true
	}
	return 0, false
}

// unmoved reports a window that keeps all its days, of which all is said that there was.
func (g *generation) unmoved(a *allocated) bool {
	return a.held != nil && g.rework.same && !slices.Contains(a.whole, false) && !slices.Contains(a.held.swap, true)
}
