package engine

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// mostRelaxations is how many changes are told, and mostItems how many pieces of
// equipment are tried.
const (
	mostRelaxations = 8
	mostItems       = 4
)

// Relaxation is a change of a request that was tried by making the program again, and
// what it gains.
type Relaxation struct {
	fault.Way
	Gains []Gain // muscles in their order, then goal lifts
}

// Gain is what of a muscle's or goal lift's wish is met more, over the whole program, in
// half sets; below zero it is met less. What is beyond a wish does not count.
type Gain struct {
	Muscle     plan.Muscle
	ExerciseID string // a goal lift; then Muscle is unspecified
	Sets       plan.HalfSets
}

// Relaxations tries small changes of a request: 5, 10 and 15 minutes on a day, a session
// more, a wider limit, a pin given up, an item of equipment. It gives those that gain
// something, the most for their price first, one of a kind. None where the program has
// all that is wanted. Faults are those of Generate; the work is that of a few dozen
// programs at most.
func (e *Engine) Relaxations(ctx context.Context, r plan.Request) ([]Relaxation, error) {
	p, err := e.Generate(ctx, r)
	if err != nil {
		return nil, err
	}
	before := missing(&p)
	if len(before) == 0 {
		return nil, nil
	}
	b, err := e.settle(r, plan.Opt[plan.Date]{})
	if err != nil {
		return nil, err
	}
	t := stepper{engine: e, asked: &r, brief: b}
	weeks := trained(&p)
	var out []Relaxation
	var net []int32 // by out
	for _, l := range t.towards(before) {
		var best Relaxation
		most := int32(0)
		// The largest step first: where it gains nothing, a smaller one of the kind doesn't.
		for i := len(l) - 1; i >= 0 && (i == len(l)-1 || most > 0); i-- {
			q, err := e.generate(ctx, l[i].with(r))
			if ctx.Err() != nil {
				return nil, fault.Wrap(fault.Canceled, "CANCELED", context.Cause(ctx))
			}
			if err != nil {
				continue // a change that asks too much in turn
			}
			gains, sum := gained(before, missing(&q))
			// The most for its price: 10 minutes stand before 15 that gain no more.
			if sum > 0 && (most == 0 || int64(sum)*int64(best.Price) >= int64(most)*int64(l[i].price)) {
				best, most = Relaxation{Way: fault.Way{Changes: l[i].changes, Price: l[i].price}, Gains: gains}, sum
				best.Says = t.gainSays(&l[i], gains, weeks)
			}
		}
		if most > 0 {
			out, net = append(out, best), append(net, most)
		}
	}
	order := make([]int, len(out))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(int64(net[b])*int64(out[a].Price), int64(net[a])*int64(out[b].Price))
	})
	var ranked []Relaxation
	for _, i := range order[:min(len(order), mostRelaxations)] {
		ranked = append(ranked, out[i])
	}
	return ranked, nil
}

// aim is a muscle or a goal lift.
type aim struct {
	muscle plan.Muscle
	lift   string
}

// miss is what an aim lacks over a program.
type miss struct {
	aim
	sets plan.HalfSets
}

// missing sums what each week of a program has less than is wanted, muscles in their
// order, then goal lifts in theirs.
func missing(p *plan.Program) []miss {
	var muscles [plan.MuscleCount]plan.HalfSets
	var lifts []miss
	for i := range p.Phases {
		for w := range p.Phases[i].Weeks {
			week := &p.Phases[i].Weeks[w]
			for _, m := range week.Muscles {
				muscles[m.Muscle] += max(0, m.Wanted-m.Sets)
			}
			for _, l := range week.Lifts {
				at := slices.IndexFunc(lifts, func(m miss) bool { return m.lift == l.ExerciseID })
				if at < 0 {
					at = len(lifts)
					lifts = append(lifts, miss{aim: aim{lift: l.ExerciseID}})
				}
				lifts[at].sets += plan.HalfSets(2 * max(0, l.Wanted-l.Sets))
			}
		}
	}
	var out []miss
	for m, n := range muscles {
		if n > 0 {
			out = append(out, miss{aim{muscle: plan.Muscle(m)}, n})
		}
	}
	for _, l := range lifts {
		if l.sets > 0 {
			out = append(out, l)
		}
	}
	return out
}

// trained counts the weeks with a session.
func trained(p *plan.Program) int32 {
	n := int32(0)
	for i := range p.Phases {
		for w := range p.Phases[i].Weeks {
			if len(p.Phases[i].Weeks[w].Sessions) > 0 {
				n++
			}
		}
	}
	return n
}

// gained compares what is missed before and after, and sums it.
func gained(before, after []miss) ([]Gain, int32) {
	lacks := func(list []miss, a aim) plan.HalfSets {
		if i := slices.IndexFunc(list, func(m miss) bool { return m.aim == a }); i >= 0 {
			return list[i].sets
		}
		return 0
	}
	var all []aim
	for _, list := range [][]miss{before, after} {
		for _, m := range list {
			if !slices.Contains(all, m.aim) {
				all = append(all, m.aim)
			}
		}
	}
	slices.SortStableFunc(all, compareAims)
	var out []Gain
	sum := int32(0)
	for _, a := range all {
		if n := lacks(before, a) - lacks(after, a); n != 0 {
			out = append(out, Gain{Muscle: a.muscle, ExerciseID: a.lift, Sets: n})
			sum += int32(n)
		}
	}
	return out, sum
}

// compareAims puts muscles in their order before lifts as they come.
func compareAims(a, b aim) int {
	switch {
	case a.lift == "" && b.lift == "":
		return cmp.Compare(a.muscle, b.muscle)
	case a.lift == "":
		return -1
	case b.lift == "":
		return 1
	}
	return 0
}

// gainSays tells a step and what it gains a week, rounded to half sets.
func (t *stepper) gainSays(s *step, gains []Gain, weeks int32) string {
	var more, less []string
	sum := plan.HalfSets(0)
	for _, g := range gains {
		name := g.Muscle.String()
		if g.ExerciseID != "" {
			name = t.exerciseName(g.ExerciseID)
		}
		n := int32(g.Sets)
		sum += g.Sets
		each := plan.HalfSets((max(n, -n) + weeks/2) / weeks)
		switch {
		case each == 0:
		case n > 0:
			more = append(more, fmt.Sprintf("%s %s", name, each))
		default:
			less = append(less, fmt.Sprintf("%s %s", name, each))
		}
	}
	subject := strings.TrimSuffix(s.subject, ",")
	if len(more) == 0 {
		return fmt.Sprintf("%s: %s sets more of what is wanted, over the whole program.", subject, sum)
	}
	says := subject + ": sets a week towards what is wanted, about " + strings.Join(more, ", ") + " more"
	if len(less) > 0 {
		says += "; " + strings.Join(less, ", ") + " less"
	}
	return says + "."
}

// towards lists the ladders that may gain what is missed, each with a few steps.
func (t *stepper) towards(before []miss) []ladder {
	var out []ladder
	for i := range t.asked.Constraints.Days {
		if l := t.minutes(i); len(l) > 0 {
			out = append(out, l[:min(3, len(l))])
		}
	}
	out = append(out, t.session(), t.exercises(1), t.sets(4), t.muscleSession(2))
	for i := range t.asked.Constraints.Limits.MuscleSetsPerWeek {
		for _, l := range t.muscleWeek(i) {
			out = append(out, l[:min(2, len(l))])
		}
	}
	for i := range t.asked.Constraints.Pinned {
		for _, l := range t.asking(fmt.Sprintf("constraints.pinned[%d]", i)) {
			out = append(out, l[:min(1, len(l))])
		}
	}
	return append(out, t.items(before)...)
}

// items proposes the equipment whose single lack rules out the most exercises that train
// what is missed directly, place by place.
func (t *stepper) items(before []miss) []ladder {
	type offer struct {
		place int
		item  plan.Equipment
		worth plan.HalfSets
	}
	var offers []offer
	for p := range t.asked.Constraints.Places {
		place := &t.brief.Request.Constraints.Places[p]
		var worth [plan.EquipmentCount][plan.MuscleCount]bool
		for _, ex := range t.brief.Catalogue.All() {
			lack := ex.Missing(place)
			if len(lack) != 1 || ex.Standing == exercise.Niche {
				continue
			}
			for _, m := range before {
				if m.lift == "" && ex.Direct(m.muscle) {
					worth[lack[0]][m.muscle] = true
				}
			}
		}
		for item := range worth {
			o := offer{place: p, item: plan.Equipment(item)}
			for _, m := range before {
				if m.lift == "" && worth[item][m.muscle] {
					o.worth += m.sets
				}
			}
			if o.worth > 0 {
				offers = append(offers, o)
			}
		}
	}
	slices.SortStableFunc(offers, func(a, b offer) int { return cmp.Compare(b.worth, a.worth) })
	var out []ladder
	for _, o := range offers[:min(len(offers), mostItems)] {
		out = append(out, t.item(o.place, o.item))
	}
	return out
}
