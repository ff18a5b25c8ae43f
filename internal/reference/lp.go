package reference

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"slices"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// Weights of the objective, read off the package comment of schedule and not from its
// code, so that a slip there shows.
const (
	floorCost     = 1000
	restFactor    = 4
	clashCost     = 24
	balanceCost   = 5
	pairChange    = 8
	distinctCost  = 20
	duplicateCost = 60
	denseCost     = 12
	longCost      = 8
	longSets      = 4
	emptyCost     = 200
	exerciseCount = 1000
)

// term is a coefficient and its variable.
type term struct {
	k int64
	v string
}

// sum is a linear expression.
type sum []term

func (s sum) times(k int64) sum {
	out := slices.Clone(s)
	for i := range out {
		out[i].k *= k
	}
	return out
}

// row is a constraint: left op right, op one of <=, >=, =.
type row struct {
	left  sum
	op    string
	right int64
}

// program is an integer program of a model: rows of the hard limits and of the costs, and
// the cost of each level as an expression and what is always added to it.
type program struct {
	m     *schedule.Model
	prior *schedule.Assignment
	rows  []row
	ints  []string
	bins  []string
	upper map[string]int64 // of continuous variables; the others have none
	order []string         // of upper
	cost  [schedule.LevelCount]sum
	fixed [schedule.LevelCount]int64
}

// newProgram states a model; prior may be nil.
func newProgram(m *schedule.Model, prior *schedule.Assignment) *program {
	p := &program{m: m, prior: prior, upper: map[string]int64{}}
	p.pairs()
	p.days()
	p.candidates()
	p.lifts()
	for i := range m.Muscles {
		p.muscle(i)
	}
	p.patterns()
	for i := range m.Clashes {
		p.clash(i)
	}
	for i := range m.Balances {
		p.balance(i)
	}
	p.stability()
	p.duplicates()
	return p
}

func y(c, d int) string { return fmt.Sprintf("y_%d_%d", c, d) }
func s(c, d int) string { return fmt.Sprintf("s_%d_%d", c, d) }
func u(c int) string    { return fmt.Sprintf("u_%d", c) }

func (p *program) need(left sum, op string, right int64) {
	if len(left) > 0 || op == "<=" && right < 0 || op == ">=" && right > 0 {
		p.rows = append(p.rows, row{left, op, right})
	}
}

func (p *program) pay(level int, k int64, v string) {
	if k != 0 {
		p.cost[level] = append(p.cost[level], term{k, v})
	}
}

func (p *program) binary(v string) string { p.bins = append(p.bins, v); return v }
func (p *program) integer(v string) string {
	p.ints = append(p.ints, v)
	return v
}

func (p *program) upTo(v string, most int64) string {
	p.upper[v] = most
	p.order = append(p.order, v)
	return v
}

// each calls f for the allowed pairs of the candidates that which lets in.
func (p *program) each(which func(*schedule.Candidate) int64, f func(c, d int, o *schedule.Option, k int64)) {
	for c := range p.m.Candidates {
		k := which(&p.m.Candidates[c])
		if k == 0 {
			continue
		}
		for d := range p.m.Candidates[c].Options {
			if o := &p.m.Candidates[c].Options[d]; o.Allowed {
				f(c, d, o, k)
			}
		}
	}
}

func everyone(*schedule.Candidate) int64 { return 1 }

// supply sums sets in the window, each candidate's by its factor.
func (p *program) supply(which func(*schedule.Candidate) int64) sum {
	var out sum
	p.each(which, func(c, d int, _ *schedule.Option, k int64) {
		out = append(out, term{k * int64(p.m.Days[d].Times), s(c, d)})
	})
	return out
}

// direct sums direct half sets of a muscle on one day.
func (p *program) direct(m plan.Muscle, day int) (out sum, most int64) {
	p.each(func(x *schedule.Candidate) int64 {
		if x.Involve[m] == 2 {
			return 2
		}
		return 0
	}, func(c, d int, o *schedule.Option, k int64) {
		if d == day {
			out = append(out, term{k, s(c, d)})
			most += k * int64(o.Hi)
		}
	})
	return out, most
}

func (p *program) pairs() {
	for c := range p.m.Candidates {
		p.binary(u(c))
		p.pay(schedule.LevelPreference, distinctCost, u(c))
		p.pay(schedule.LevelSimplicity, exerciseCount, u(c))
	}
	p.each(everyone, func(c, d int, o *schedule.Option, _ int64) {
		p.binary(y(c, d))
		p.integer(s(c, d))
		p.need(sum{{1, s(c, d)}, {-int64(o.Lo), y(c, d)}}, ">=", 0)
		p.need(sum{{1, s(c, d)}, {-int64(o.Hi), y(c, d)}}, "<=", 0)
		p.need(sum{{1, u(c)}, {-1, y(c, d)}}, ">=", 0)
		p.pay(schedule.LevelPreference, int64(100-p.m.Candidates[c].Preference), y(c, d))
		p.pay(schedule.LevelSimplicity, 1, y(c, d))
		if p.m.Candidates[c].Lift < 0 && o.Hi > longSets {
			long := p.upTo(fmt.Sprintf("long_%d_%d", c, d), int64(o.Hi-longSets))
			p.need(sum{{1, long}, {-1, s(c, d)}}, ">=", -longSets)
			p.pay(schedule.LevelPreference, longCost, long)
		}
	})
}

func (p *program) days() {
	for day := range p.m.Days {
		x := &p.m.Days[day]
		var time, count, sets sum
		variants := map[string]sum{}
		var names []string
		p.each(everyone, func(c, d int, o *schedule.Option, _ int64) {
			if d != day {
				return
			}
			time = append(time, term{int64(o.Fixed), y(c, d)}, term{int64(o.PerSet), s(c, d)})
			count = append(count, term{1, y(c, d)})
			sets = append(sets, term{1, s(c, d)})
			if v := p.m.Candidates[c].Variant; v != "" {
				if variants[v] == nil {
					names = append(names, v)
				}
				variants[v] = append(variants[v], term{1, y(c, d)})
			}
		})
		p.need(time, "<=", int64(x.Capacity))
		p.need(count, "<=", int64(x.MaxExercises))
		p.need(sets, "<=", int64(x.MaxSets))
		for _, v := range names {
			p.need(variants[v], "<=", 1)
		}
		if x.MinExercises > 0 {
			empty := p.upTo(fmt.Sprintf("empty_%d", day), int64(x.MinExercises))
			p.need(append(sum{{1, empty}}, count...), ">=", int64(x.MinExercises))
			p.pay(schedule.LevelPreference, emptyCost, empty)
		}
		// A quarter for every tick above 60 %, and again above 80 %, rounded up: in
		// twentieths, 5 for a tick.
		a, b, full := fmt.Sprintf("above60_%d", day), fmt.Sprintf("above80_%d", day), p.integer(fmt.Sprintf("full_%d", day))
		p.need(append(sum{{1, a}}, time.times(-5)...), ">=", -3*int64(x.Capacity))
		p.need(append(sum{{1, b}}, time.times(-5)...), ">=", -4*int64(x.Capacity))
		p.need(sum{{20, full}, {-1, a}, {-1, b}}, ">=", 0)
		p.pay(schedule.LevelPreference, 1, full)
	}
}

func (p *program) candidates() {
	weeks := int64(p.m.Weeks)
	for i := range p.m.Candidates {
		x := &p.m.Candidates[i]
		var on, sets sum
		p.each(everyone, func(c, d int, _ *schedule.Option, _ int64) {
			if c == i {
				on = append(on, term{1, y(c, d)})
				sets = append(sets, term{int64(p.m.Days[d].Times), s(c, d)})
			}
		})
		p.need(append(sum{{-1, u(i)}}, on...), ">=", 0)
		p.need(on, "<=", int64(x.MaxDays))
		if x.MinDays > 0 {
			p.need(on, ">=", int64(x.MinDays))
		}
		if x.MaxSets > 0 {
			p.need(sets, "<=", weeks*int64(x.MaxSets))
		}
		switch {
		case x.MinSets > 0 && x.MinDays > 0:
			p.need(sets, ">=", weeks*int64(x.MinSets))
		case x.MinSets > 0:
			p.need(append(sum{{-weeks * int64(x.MinSets), u(i)}}, sets...), ">=", 0)
		}
	}
}

func (p *program) lifts() {
	for l := range p.m.Lifts {
		x := &p.m.Lifts[l]
		mine := func(c *schedule.Candidate) int64 {
			if int(c.Lift) == l {
				return 1
			}
			return 0
		}
		if x.Wanted > 0 {
			half := p.supply(mine).times(2)
			p.miss(fmt.Sprintf("lift_%d", l), half, 2*int64(x.Wanted), schedule.LevelGoals, int64(x.Weight))
			p.beyond(fmt.Sprintf("lift_%d", l), half, 2*int64(x.Wanted))
		}
		if x.MinDays == 0 {
			continue
		}
		var trained sum
		for day := range p.m.Days {
			here := sum{{-1, fmt.Sprintf("t_%d_%d", l, day)}}
			p.each(mine, func(c, d int, _ *schedule.Option, _ int64) {
				if d == day {
					here = append(here, term{1, y(c, d)})
				}
			})
			p.binary(here[0].v)
			p.need(here, ">=", 0)
			trained = append(trained, term{int64(p.m.Days[day].Times), here[0].v})
		}
		p.need(trained, ">=", int64(p.m.Weeks)*int64(x.MinDays))
	}
}

// miss charges the convex cost of a supply below a weekly aim, in half sets.
func (p *program) miss(name string, supply sum, aim int64, level int, weight int64) {
	weeks := int64(p.m.Weeks)
	if aim == 0 || weight == 0 {
		return
	}
	left := slices.Clone(supply)
	for k := int64(1); k <= aim; k++ {
		v := p.upTo(fmt.Sprintf("miss%d_%s_%d", level, name, k), weeks)
		left = append(left, term{1, v})
		p.pay(level, weight*k, v)
	}
	p.need(left, ">=", weeks*aim)
}

// beyond charges 2 for each half set above a weekly aim and 6 more above one and a half
// times it, over the window, divided by the weeks and rounded up.
func (p *program) beyond(name string, supply sum, aim int64) {
	if aim == 0 || len(supply) == 0 {
		return
	}
	weeks := int64(p.m.Weeks)
	a, b, over := "over_"+name, "far_"+name, p.integer("beyond_"+name)
	p.need(append(sum{{1, a}}, supply.times(-1)...), ">=", -weeks*aim)
	p.need(append(sum{{1, b}}, supply.times(-1)...), ">=", -weeks*(aim+(aim+1)/2))
	p.need(sum{{weeks, over}, {-2, a}, {-6, b}}, ">=", 0)
	p.pay(schedule.LevelPreference, 1, over)
}

func (p *program) muscle(i int) {
	x := &p.m.Muscles[i]
	name, weeks := fmt.Sprintf("m%d", x.Muscle), int64(p.m.Weeks)
	all := p.supply(func(c *schedule.Candidate) int64 { return int64(c.Involve[x.Muscle]) })
	if x.MaxWeek > 0 {
		p.need(all, "<=", weeks*int64(x.MaxWeek))
	}
	level, weight := schedule.LevelGoals, int64(x.Weight)
	if !x.PrioritySoft {
		level, weight = schedule.LevelRest, restFactor*weight
	}
	p.miss("floor_"+name, all, int64(x.Floor), schedule.LevelGoals, floorCost)
	p.miss("all_"+name, all, int64(x.Wanted), level, weight)
	p.beyond(name, all, int64(x.Wanted))
	if x.DirectWanted > 0 {
		prime := p.supply(func(c *schedule.Candidate) int64 { return int64(c.Involve[x.Muscle]) / 2 * 2 })
		p.miss("direct_"+name, prime, int64(x.DirectWanted), level, weight)
	}
	var sessions int64
	for d := range p.m.Days {
		sessions += int64(p.m.Days[d].Times)
	}
	for d := range p.m.Days {
		there, most := p.direct(x.Muscle, d)
		if x.MaxSession > 0 {
			p.need(there, "<=", int64(x.MaxSession))
		}
		if x.Wanted >= 8 && sessions >= 2*weeks && len(there) > 0 {
			aim := (int64(x.Wanted) + 3) / 4 * 2 // half of the week, in whole sets
			if most <= aim {
				continue
			}
			v := p.upTo(fmt.Sprintf("dense_%s_%d", name, d), most)
			p.need(append(sum{{1, v}}, there.times(-1)...), ">=", -aim)
			p.pay(schedule.LevelPreference, denseCost, v)
		}
	}
}

func (p *program) patterns() {
	for i := range p.m.Patterns {
		x := &p.m.Patterns[i]
		p.miss(fmt.Sprintf("p%d", i), p.supply(func(c *schedule.Candidate) int64 {
			if slices.Contains(x.Any, c.Pattern) {
				return 2
			}
			return 0
		}), 2*int64(x.Wanted), schedule.LevelRest, restFactor*int64(x.Weight))
	}
}

func (p *program) clash(i int) {
	x := &p.m.Clashes[i]
	a, mostA := p.direct(x.Muscle, int(x.A))
	b, mostB := p.direct(x.Muscle, int(x.B))
	limit := int64(x.Cap)
	if mostA <= limit || mostB <= limit {
		return
	}
	which := p.binary(fmt.Sprintf("which_%d", i)) // 1: a may exceed
	var excess sum
	if !x.Hard {
		v := p.upTo(fmt.Sprintf("clash_%d", i), max(mostA, mostB))
		excess = sum{{-1, v}}
		p.pay(schedule.LevelRest, clashCost*int64(p.m.Weeks), v)
	}
	p.need(append(append(sum{{-(mostA - limit), which}}, excess...), a...), "<=", limit)
	p.need(append(append(sum{{mostB - limit, which}}, excess...), b...), "<=", limit+mostB-limit)
}

func (p *program) balance(i int) {
	x := &p.m.Balances[i]
	side := func(list []plan.Pattern) sum {
		return p.supply(func(c *schedule.Candidate) int64 {
			n := int64(0)
			for _, k := range list {
				if k == c.Pattern {
					n++
				}
			}
			return n
		})
	}
	l, r := side(x.Left), side(x.Right)
	v := fmt.Sprintf("balance_%d", i)
	p.need(append(append(sum{{1, v}}, r.times(-7)...), l.times(10)...), ">=", 0)
	p.need(append(append(sum{{1, v}}, l.times(-10)...), r.times(14)...), ">=", 0)
	p.pay(schedule.LevelRest, balanceCost, v)
}

func (p *program) stability() {
	if p.prior == nil {
		return
	}
	for c := range p.m.Candidates {
		for d := range p.m.Candidates[c].Options {
			was, o := int64(p.prior.Sets[c][d]), &p.m.Candidates[c].Options[d]
			if was > 0 {
				p.fixed[schedule.LevelStability] += pairChange
			}
			switch {
			case !o.Allowed:
			case was == 0:
				p.pay(schedule.LevelStability, pairChange, y(c, d))
			default:
				v := p.upTo(fmt.Sprintf("diff_%d_%d", c, d), max(was, int64(o.Hi)))
				p.need(sum{{1, v}, {-1, s(c, d)}}, ">=", -was)
				p.need(sum{{1, v}, {1, s(c, d)}, {-was, y(c, d)}}, ">=", 0)
				p.pay(schedule.LevelStability, -pairChange, y(c, d))
				p.pay(schedule.LevelStability, 1, v)
			}
		}
	}
}

// duplicates charges exercises of a pattern and first prime muscle that share a day.
func (p *program) duplicates() {
	type kind struct {
		pattern plan.Pattern
		prime   int
		day     int
	}
	groups := map[kind]sum{}
	var order []kind
	p.each(everyone, func(c, d int, _ *schedule.Option, _ int64) {
		x := &p.m.Candidates[c]
		prime := 1 + slices.Index(x.Involve[1:], 2)
		k := kind{x.Pattern, prime, d}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], term{1, y(c, d)})
	})
	for i, k := range order {
		on := groups[k]
		if len(on) < 2 {
			continue
		}
		left := slices.Clone(on)
		for n := range on {
			v := p.upTo(fmt.Sprintf("dup_%d_%d", i, n), 1)
			left = append(left, term{-1, v})
			p.pay(schedule.LevelPreference, duplicateCost*int64(n), v)
		}
		p.need(left, "<=", 0)
	}
}

// fix leaves nothing to choose.
func (p *program) fix(sets [][]int32) {
	p.each(everyone, func(c, d int, _ *schedule.Option, _ int64) { p.need(sum{{1, s(c, d)}}, "=", int64(sets[c][d])) })
}

// write states a level in the CPLEX LP format, with the levels before it at most at held.
func (p *program) write(w io.Writer, level int, held []int64) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "Minimize\n cost:")
	expression(b, p.cost[level])
	fmt.Fprintf(b, "\nSubject To\n")
	n := 0
	put := func(r row) {
		n++
		fmt.Fprintf(b, " r%d:", n)
		expression(b, r.left)
		fmt.Fprintf(b, " %s %d\n", r.op, r.right)
	}
	for _, r := range p.rows {
		put(r)
	}
	for l := range level {
		if len(p.cost[l]) > 0 {
			put(row{p.cost[l], "<=", held[l] - p.fixed[l]})
		}
	}
	fmt.Fprintf(b, "Bounds\n")
	p.each(everyone, func(c, d int, o *schedule.Option, _ int64) { fmt.Fprintf(b, " 0 <= %s <= %d\n", s(c, d), o.Hi) })
	for _, v := range p.order {
		fmt.Fprintf(b, " 0 <= %s <= %d\n", v, p.upper[v])
	}
	fmt.Fprintf(b, "Generals\n")
	for _, v := range p.ints {
		fmt.Fprintf(b, " %s\n", v)
	}
	fmt.Fprintf(b, "Binaries\n")
	for _, v := range p.bins {
		fmt.Fprintf(b, " %s\n", v)
	}
	fmt.Fprintf(b, "End\n")
	return b.Flush()
}

// expression writes a sum with each variable once, a few terms a line.
func expression(b *bufio.Writer, list sum) {
	at := map[string]int{}
	var whole sum
	for _, t := range list {
		if i, ok := at[t.v]; ok {
			whole[i].k += t.k
			continue
		}
		at[t.v] = len(whole)
		whole = append(whole, t)
	}
	whole = slices.DeleteFunc(whole, func(t term) bool { return t.k == 0 })
	if len(whole) == 0 {
		whole = sum{{0, cmp.Or(first(list), u(0))}}
	}
	for i, t := range whole {
		if i > 0 && i%8 == 0 {
			b.WriteString("\n  ")
		}
		fmt.Fprintf(b, " %+d %s", t.k, t.v)
	}
}

func first(list sum) string {
	if len(list) == 0 {
		return ""
	}
	return list[0].v
}
