package engine

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// ReasonLock is of a lock or swap that clashes with others or with the request.
const ReasonLock = "CONFLICT_LOCK"

// heldPath stands in a model for all that locks and swaps hold.
const heldPath = "rework"

// holds counts what is asked to stay: locks, then swaps. A nil rework has none.
func (k *rework) holds() int {
	if k == nil {
		return 0
	}
	return len(k.how.Locks) + len(k.how.Swaps)
}

// holdPath is the path of one of them.
func holdPath(how *plan.Rework, i int) string {
	if i < len(how.Locks) {
		return fmt.Sprintf("rework.locks[%d]", i)
	}
	return fmt.Sprintf("rework.swaps[%d]", i-len(how.Locks))
}

// onlyHolds gives a rework with those locks and swaps that are marked.
func onlyHolds(how plan.Rework, marked []bool) plan.Rework {
	out := how
	out.Locks, out.Swaps = nil, nil
	for i, in := range marked {
		switch n := len(how.Locks); {
		case !in:
		case i < n:
			out.Locks = append(out.Locks, how.Locks[i])
		default:
			out.Swaps = append(out.Swaps, how.Swaps[i-n])
		}
	}
	return out
}

// lost refuses locks of an exercise that the request rules out where it is locked, and
// those of what a swap takes away: the first of them, with what it clashes with. A lock of
// whole sessions is about what may stay.
func (g *generation) lost(w *window) error {
	k := g.rework
	for i, l := range k.how.Locks {
		if l.ExerciseID == "" {
			continue
		}
		for j := range w.sessions {
			o := &w.sessions[j]
			s := k.session(o)
			if s == nil || !s.In(l.Weekday, l.Group) || !holds(s, l.ExerciseID) {
				continue
			}
			ex, known := g.brief.Catalogue.ByID(l.ExerciseID)
			if !known {
				return fault.New(fault.Infeasible, ReasonLock, holdPath(&k.how, i), fmt.Sprintf("%q can't stay: the request has no such exercise any more", l.ExerciseID))
			}
			var other fault.Violation
			if at := slices.IndexFunc(k.how.Swaps, func(x plan.Swap) bool { return x.ExerciseID == l.ExerciseID && s.In(x.Weekday, x.Group) }); at >= 0 {
				other = fault.Violation{Reason: ReasonLock, Field: holdPath(&k.how, len(k.how.Locks)+at), Says: "takes " + ex.Name + " away there"}
			} else if g.allowed(ex) && g.possibleIn(ex, &w.columns[o.column]) {
				continue
			} else {
				other = g.ruling(ex, w, o.column)
			}
			bad := fault.NewCollector(fault.Infeasible)
			where := placed(w, o.column)
			bad.Add(ReasonLock, holdPath(&k.how, i), fmt.Sprintf("%s can't stay %s %s%s", ex.Name, where, inWeeks(w), because(&other)))
			if other.Field != "" {
				bad.Add(other.Reason, other.Field, other.Says)
			}
			return bad.Err()
		}
	}
	return nil
}

// because ends a sentence where no field of the request stands beside it.
func because(other *fault.Violation) string {
	if other.Field == "" && other.Says != "" {
		return ": it " + other.Says
	}
	return ""
}

// ruling says what of a request keeps an exercise out of a column; without a field where
// that is none that a person would change.
func (g *generation) ruling(ex *exercise.Exercise, w *window, col int) fault.Violation {
	r := &g.brief.Request
	if i := slices.Index(r.Constraints.Excluded, ex.ID); i >= 0 {
		return fault.Violation{Reason: ReasonLock, Field: fmt.Sprintf("constraints.excluded_exercise_ids[%d]", i), Says: "excludes " + ex.Name}
	}
	if i := g.restriction(ex); i >= 0 {
		return fault.Violation{Reason: "RESTRICTED", Field: fmt.Sprintf("athlete.restrictions[%d]", i), Says: "rules " + ex.Name + " out"}
	}
	switch {
	case ex.Flags&g.safety.Forbidden != 0:
		return fault.Violation{Says: "is not done in this stage of pregnancy"}
	case !g.allowed(ex):
		return fault.Violation{Says: "is beyond the athlete's skill as stated"}
	}
	for _, p := range w.columns[col].places {
		place := &r.Constraints.Places[p]
		if ex.Available(place) {
			continue
		}
		says := placeName(place) + " has no load that fits " + ex.Name
		var lack []string
		for _, item := range ex.Missing(place) {
			lack = append(lack, item.String())
		}
		if len(lack) > 0 {
			says = fmt.Sprintf("%s lacks %s for %s", placeName(place), strings.Join(lack, ", "), ex.Name)
		}
		return fault.Violation{Reason: "EQUIPMENT", Field: fmt.Sprintf("constraints.places[%d]", p), Says: says}
	}
	for i, rest := range r.Constraints.Recovery {
		if g.blocked[col][rest.Muscle] && ex.Direct(rest.Muscle) {
			return fault.Violation{Reason: schedule.ReasonRecovery, Field: fmt.Sprintf("constraints.recovery[%d]", i),
				Says: fmt.Sprintf("%s is trained less than %d hours before or after", rest.Muscle, rest.Hours)}
		}
	}
	if i := g.pinOf(ex.ID); i >= 0 && !g.pinnedTo(ex.ID, w.columns[col].group) {
		return fault.Violation{Reason: schedule.ReasonPin, Field: fmt.Sprintf("constraints.pinned[%d]", i), Says: ex.Name + " is pinned to another workout"}
	}
	return fault.Violation{Says: "has no sets there in the plan"}
}

// placed says where a column is: "on Monday", "in workout A".
func placed(w *window, col int) string {
	if c := &w.columns[col]; c.group != "" {
		return "in " + columnName(c)
	}
	return "on " + columnName(&w.columns[col])
}

// inWeeks names a window's weeks within a sentence.
func inWeeks(w *window) string {
	name := w.name()
	return "in " + strings.ToLower(name[:1]) + name[1:]
}

// part is a window with some of the locks and swaps.
type part struct {
	rework *rework
	picks  []pick
	hold   *hold
	model  *schedule.Model
	out    error // what is held can't be there, whatever else there is
}

// part states what a window is asked with those locks and swaps alone.
func (g *generation) part(w *window, list []pick, marked []bool) (*part, error) {
	k := *g.rework
	k.how = onlyHolds(k.how, marked)
	defer func(was *rework) { g.rework = was }(g.rework)
	g.rework = &k
	p := &part{rework: &k, picks: g.withBase(w, slices.Clone(list))}
	p.hold = k.holdOf(g, w, p.picks).like()
	var err error
	if p.model, err = g.allocationModel(w, p.picks, false); err != nil {
		return nil, err
	}
	g.countPast(w, p.picks, p.model)
	if _, err = p.hold.bind(p.model, p.picks); err != nil && !infeasible(err) {
		return nil, err
	}
	p.out = err
	return p, nil
}

// fits reports whether there is some answer, and whether that is sure.
func (p *part) fits(ctx context.Context, budget int64) (ok, sure bool) {
	if p.out != nil {
		return false, true
	}
	return schedule.Feasible(ctx, p.model, budget)
}

// clash says what can't be together in a window that has no answer: as few locks and swaps
// as can be, and the wishes of the request beside which they can't be, so that without any
// one of them the others can. Of several such sets it is one. cause is what the solver said.
func (g *generation) clash(ctx context.Context, w *window, cause error) error {
	list := g.shortlist(w)
	budget := g.engine.budget / 4
	kept := make([]bool, g.rework.holds())
	for i := range kept {
		kept[i] = true
	}
	now, err := g.part(w, list, kept)
	if err != nil {
		return err
	}
	if ok, sure := now.fits(ctx, budget); ok || !sure {
		return cause // nobody knows what it is
	}
	// Locks are left out first, the last of them first: what was asked to change is told
	// rather than what was asked to stay.
	doubt := false
	locks := len(g.rework.how.Locks)
	leave := func(i int) error {
		kept[i] = false
		p, err := g.part(w, list, kept)
		if err != nil {
			return err
		}
		switch ok, sure := p.fits(ctx, budget); {
		case !ok && sure:
			now = p
		default:
			doubt = doubt || !ok
			kept[i] = true
		}
		return nil
	}
	for i := locks - 1; i >= 0; i-- {
		if err := leave(i); err != nil {
			return err
		}
	}
	for i := len(kept) - 1; i >= locks; i-- {
		if err := leave(i); err != nil {
			return err
		}
	}
	if ctx.Err() != nil {
		return fault.Wrap(fault.Canceled, "CANCELED", context.Cause(ctx))
	}
	bad := fault.NewCollector(fault.Infeasible)
	for i := range kept {
		if kept[i] {
			says := g.holdSays(w, now, i)
			if doubt {
				says += " (part of a set that clashes; it may be larger than it need be)"
			}
			bad.Add(ReasonLock, holdPath(&g.rework.how, i), says)
		}
	}
	if now.out != nil {
		if v, ok := g.outThere(w, now); ok {
			bad.Add(v.Reason, v.Field, v.Says)
		}
		return bad.Err()
	}
	now.mark()
	f, ok := fault.As(now.model.Conflict(ctx, g.engine.budget))
	if !ok {
		return fault.Wrap(fault.Canceled, "CANCELED", context.Cause(ctx))
	}
	for _, v := range f.Violations {
		if v.Field != heldPath {
			bad.Add(v.Reason, v.Field, v.Says)
		}
	}
	return bad.Err()
}

// mark puts what is held into one wish of the model.
func (p *part) mark() {
	for i := range p.picks {
		if p.hold.holdsAny(i) {
			p.model.Candidates[i].Path = heldPath
		}
	}
}

// holdsAny reports a pick with sets that are held.
func (h *hold) holdsAny(pick int) bool {
	for c, n := range h.was[pick] {
		if n > 0 && h.held(pick, c) {
			return true
		}
	}
	return false
}

// outThere says what rules out, where it is held, the first of what is.
func (g *generation) outThere(w *window, p *part) (fault.Violation, bool) {
	defer func(was *rework) { g.rework = was }(g.rework)
	g.rework = p.rework
	m, err := g.allocationModel(w, p.picks, false)
	if err != nil {
		return fault.Violation{}, false
	}
	for i := range p.picks {
		for c, n := range p.hold.was[i] {
			if n > 0 && p.hold.held(i, c) && (p.hold.gone[i][c] || !m.Candidates[i].Options[c].Allowed) {
				v := g.ruling(p.picks[i].ex, w, c)
				return v, v.Field != ""
			}
		}
	}
	return fault.Violation{}, false
}

// holdSays tells what a lock or swap holds in a window, and how long it takes there.
func (g *generation) holdSays(w *window, p *part, i int) string {
	k, locks := g.rework, len(g.rework.how.Locks)
	sets := make([]map[int]bool, len(w.columns)) // picks by column
	var ids []string
	for j := range w.sessions {
		o := &w.sessions[j]
		s := k.session(o)
		if s == nil {
			continue
		}
		for x := range s.Exercises {
			id, swapped := p.rework.now(s.Exercises[x].ExerciseID, s)
			mine := false
			if i < locks {
				l := &k.how.Locks[i]
				mine = (l.ExerciseID == "" || l.ExerciseID == id) && s.In(l.Weekday, l.Group)
			} else {
				q := &k.how.Swaps[i-locks]
				mine = swapped && q.With == id && q.ExerciseID == s.Exercises[x].ExerciseID && s.In(q.Weekday, q.Group)
			}
			at := slices.IndexFunc(p.picks, func(p pick) bool { return p.ex.ID == id })
			if !mine || at < 0 {
				continue
			}
			if sets[o.column] == nil {
				sets[o.column] = map[int]bool{}
			}
			sets[o.column][at] = true
			if !slices.Contains(ids, id) {
				ids = append(ids, id)
			}
		}
	}
	name := func(id string) string {
		if ex, ok := g.brief.Catalogue.ByID(id); ok {
			return ex.Name
		}
		return id
	}
	subject, one, many, ex := "", "stays", "stay", ""
	if i >= locks {
		q := &k.how.Swaps[i-locks]
		ids, one, ex = []string{q.With}, "comes", " for "+name(q.ExerciseID)
	}
	if p.out != nil {
		one, many = "can't "+strings.TrimSuffix(one, "s"), "can't all stay"
	}
	if len(ids) == 1 {
		subject = name(ids[0]) + " " + one + ex
	} else {
		subject = counted(len(ids), "exercise") + " " + many
	}
	var where []string
	for c := range sets {
		if len(sets[c]) == 0 {
			continue
		}
		ticks := int32(0)
		for at := range p.picks {
			if o := &p.model.Candidates[at].Options[c]; sets[c][at] && o.Allowed {
				ticks += o.Fixed + o.PerSet*o.Lo
			}
		}
		says := placed(w, c)
		if p.out == nil && ticks > 0 {
			says += " (" + strconv.FormatFloat(float64(ticks)/4, 'f', -1, 64) + " min)"
		}
		where = append(where, says)
	}
	return fmt.Sprintf("%s %s %s", subject, andList(where), inWeeks(w))
}

func andList(list []string) string {
	if n := len(list); n > 1 {
		return strings.Join(list[:n-1], ", ") + " and " + list[n-1]
	}
	return strings.Join(list, "")
}
