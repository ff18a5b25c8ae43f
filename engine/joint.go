package engine

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// joint is several plans for one athlete with one allocation.
type joint struct {
	engine *Engine
	arms   []*arm
}

// arm is one of them. Its windows are all weeks at the same places, whatever phases they
// are in: exercises don't change within them.
type arm struct {
	label   string
	request plan.Request
	digest  string
	g       *generation // laid out; what is prescribed starts from a blank copy
	wins    []window
	of      []int     // window of each week
	often   [][]int32 // sessions by week and column of its window
	done    []*allocated

	own, least, most [][][]int32 // sets by week, candidate, column: as the strategy has them, and its bounds
	sets             [][][]int32 // as equated
	last             made        // with what sets it was made last
}

// lay puts the weeks of an arm into windows.
func (a *arm) lay() {
	one := plan.Outline{Phases: make([]plan.OutlinePhase, 1)}
	for i := range a.g.outline.Phases {
		one.Phases[0].Weeks = append(one.Phases[0].Weeks, a.g.outline.Phases[i].Weeks...)
	}
	a.wins = windows(&one, a.g.slots)
	a.of = make([]int, len(a.g.slots))
	for i := range a.wins {
		for _, week := range a.wins[i].list {
			a.of[week] = i
		}
	}
	a.done = make([]*allocated, len(a.wins))
	a.often = make([][]int32, len(a.of))
	for week, i := range a.of {
		a.often[week] = make([]int32, len(a.wins[i].columns))
		for k := range a.wins[i].sessions {
			if o := &a.wins[i].sessions[k]; o.week == week {
				a.often[week][o.column]++
			}
		}
	}
}

// allocate chooses exercises and days for every window once, for all arms.
func (j *joint) allocate(ctx context.Context) error {
	first := j.arms[0]
	if err := first.g.everywhere(first.wins); err != nil {
		return err
	}
	for i := range first.wins {
		if len(first.wins[i].sessions) == 0 {
			continue
		}
		j.engine.expect(len(first.wins)-i, 1)
		if err := j.window(ctx, i); err != nil {
			return err
		}
	}
	return nil
}

// window allocates one: every zone that any arm asks for, or none.
func (j *joint) window(ctx context.Context, at int) error {
	first := j.arms[0]
	picks := j.picks(at)
	var models []*schedule.Model
	var m *schedule.Model
	var answer schedule.Assignment
	var err error
	for _, zones := range [...]bool{true, false} {
		if models, err = j.models(at, picks, zones); err != nil {
			return err
		}
		m = union(models)
		mine := &allocated{window: &first.wins[at], picks: picks[0]}
		answer, err = j.engine.solve(ctx, m, first.g.prior(mine, nearest(mine.window, first.done)))
		if !infeasible(err) {
			break
		}
	}
	if infeasible(err) {
		return j.conflict(ctx, models, err)
	}
	if err != nil {
		return err
	}
	for i, a := range j.arms {
		a.done[at] = &allocated{window: &a.wins[at], picks: picks[i], model: m, answer: answer}
	}
	return nil
}

// conflict says what clashes: in the first arm that has no answer alone, else that each has
// one and all together none.
func (j *joint) conflict(ctx context.Context, models []*schedule.Model, all error) error {
	for _, m := range models {
		if _, err := schedule.Solve(ctx, m, nil, j.engine.budget); err != nil {
			return err
		}
	}
	f, _ := fault.As(all)
	out := *f
	out.Violations = append(slices.Clone(f.Violations), fault.Violation{Reason: "ARMS_TOGETHER", Field: "arms",
		Says: fmt.Sprintf("are %d, each of which fits alone; the same exercises and days, with the longest warm-ups, sets and rests of any of them, don't fit. Fewer arms, arms that are more alike, or more minutes may", len(j.arms))})
	return &out
}

// picks gives the candidates that every arm has on its shortlist, for each arm.
func (j *joint) picks(at int) [][]pick {
	lists := make([][]pick, len(j.arms))
	count := map[string]int{}
	for i, a := range j.arms {
		lists[i] = a.g.shortlist(&a.wins[at])
		for _, p := range lists[i] {
			count[p.ex.ID]++
		}
	}
	for i := range lists {
		lists[i] = slices.DeleteFunc(lists[i], func(p pick) bool { return count[p.ex.ID] < len(j.arms) })
	}
	return lists
}

func (j *joint) models(at int, picks [][]pick, zones bool) ([]*schedule.Model, error) {
	out := make([]*schedule.Model, len(j.arms))
	for i, a := range j.arms {
		w := &a.wins[at]
		a.g.blocked = a.g.tooSoon(w, a.done)
		var err error
		if out[i], err = a.g.allocationModel(w, picks[i], zones); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// union states what all models ask at once: the days that each of them may use, bounds
// that each can keep, the time of the slowest, and the largest wish for every muscle and
// lift.
func union(models []*schedule.Model) *schedule.Model {
	m := *models[0]
	m.Candidates, m.Muscles, m.Lifts = slices.Clone(m.Candidates), slices.Clone(m.Muscles), slices.Clone(m.Lifts)
	for i := range m.Muscles {
		for _, o := range models[1:] {
			r, x := &m.Muscles[i], &o.Muscles[i]
			r.Wanted, r.Floor, r.DirectWanted = max(r.Wanted, x.Wanted), max(r.Floor, x.Floor), max(r.DirectWanted, x.DirectWanted)
			r.Weight, r.PrioritySoft = max(r.Weight, x.Weight), r.PrioritySoft || x.PrioritySoft
		}
	}
	for i := range m.Lifts {
		for _, o := range models[1:] {
			l, x := &m.Lifts[i], &o.Lifts[i]
			l.Wanted, l.Weight, l.MinDays = max(l.Wanted, x.Wanted), max(l.Weight, x.Weight), max(l.MinDays, x.MinDays)
		}
	}
	for i := range m.Candidates {
		c := &m.Candidates[i]
		c.Options = slices.Clone(c.Options)
		for d := range c.Options {
			all := make([]schedule.Option, len(models))
			for k, o := range models {
				all[k] = o.Candidates[i].Options[d]
			}
			c.Options[d] = slowest(all)
		}
		for _, o := range models[1:] {
			x := &o.Candidates[i]
			c.MinDays, c.MaxDays = max(c.MinDays, x.MinDays), min(c.MaxDays, x.MaxDays)
		}
		c.MaxDays = max(c.MaxDays, c.MinDays)
	}
	return &m
}

// slowest joins what one exercise may do on one day in several arms. Sets are bounded by
// the arm that has the fewest of them, but never below what an arm has to have. Time is the
// line over the times of all arms from one set to the most, which is below the sum of
// their largest parts.
func slowest(of []schedule.Option) schedule.Option {
	out := of[0]
	for _, o := range of {
		if !o.Allowed {
			return schedule.Option{}
		}
		out.Lo, out.Hi = max(out.Lo, o.Lo), min(out.Hi, o.Hi)
	}
	out.Hi = max(out.Hi, out.Lo)
	one, most := int32(0), int32(0)
	for i, o := range of {
		a, b := o.Fixed+o.PerSet, o.Fixed+o.PerSet*out.Hi
		if i == 0 {
			one, most = a, b
		}
		one, most = max(one, a), max(most, b)
	}
	switch {
	case out.Hi == 1:
		out.PerSet = of[0].PerSet
		for _, o := range of {
			out.PerSet = max(out.PerSet, o.PerSet)
		}
	default:
		out.PerSet = (most - one + out.Hi - 2) / (out.Hi - 1)
	}
	out.Fixed = one - out.PerSet
	return out
}

// blank gives a generation that is laid out as this one and has made nothing yet.
func (g *generation) blank() *generation {
	c := &generation{engine: g.engine, brief: g.brief, safety: g.safety, bender: g.bender, slots: g.slots, outline: g.outline, weeks: g.weeks,
		weekKind: g.weekKind, weekShare: g.weekShare, tests: slices.Clone(g.tests), caps: g.caps, doses: g.doses, excluded: g.excluded,
		strengths: newStrengths(g.brief, g.weekKind, g.slots), menus: maps.Clone(g.menus),
		found: map[foundKey]calibration{}, finding: map[string]calibration{}, before: map[beforeKey]before{}, being: map[beforeKey]before{},
		told: map[string]bool{}, different: map[roleKey][]*occurrence{}, twins: map[roleKey]int{}, swapped: map[swapKey][]string{}}
	c.safety.Why = slices.Clone(g.safety.Why)
	return c
}

// make prescribes all weeks of an arm with the sets that were settled for it.
func (j *joint) make(ctx context.Context, at int) (*generation, error) {
	a := j.arms[at]
	g := a.g.blank()
	g.settledSets = a.sets
	for week, i := range a.of {
		if err := ctx.Err(); err != nil {
			return nil, fault.Wrap(fault.Canceled, "CANCELED", context.Cause(ctx))
		}
		w := &a.wins[i]
		if len(w.sessions) == 0 {
			if err := g.emptyWeek(w, week); err != nil {
				return nil, err
			}
			continue
		}
		if err := g.prescribe(w, a.done[i], week); err != nil {
			return nil, err
		}
	}
	return g, nil
}

// complete makes an arm's program and says in it what it was made beside.
func (j *joint) complete(ctx context.Context, at int, rule plan.Equating) (plan.Program, error) {
	a := j.arms[at]
	g, err := j.make(ctx, at)
	if err != nil {
		return plan.Program{}, err
	}
	for i, d := range a.done {
		if d == nil {
			continue
		}
		g.settled(d)
		g.shortfalls(&a.wins[i], d)
		g.weekMisses(&a.wins[i])
	}
	if err := g.filled(); err != nil {
		return plan.Program{}, err
	}
	g.find(plan.Finding{Level: plan.LevelNote, Rule: RuleArms, Says: j.beside(at, rule)})
	return g.seal(a.digest)
}

// beside says what an arm was made together with.
func (j *joint) beside(at int, rule plan.Equating) string {
	others := ""
	for i, a := range j.arms {
		if i == at {
			continue
		}
		if others != "" {
			others += ", "
		}
		others += a.label
	}
	how := map[plan.Equating]string{
		plan.EquateHardSets: "with equal hard sets", plan.EquateVolumeLoad: "with volume load as equal as sets allow",
		plan.EquateMinutes: "with minutes as equal as sets allow", plan.EquateNothing: "each with the sets that its strategy asks for",
	}[rule]
	return fmt.Sprintf("%s was made to be compared with %s: the same exercises on the same days, %s.", j.arms[at].label, others, how)
}
