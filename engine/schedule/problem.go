package schedule

import (
	"slices"

	"github.com/phasewright/phasewright/engine/plan"
)

// Weights of the objective; doc.go explains them.
const (
	floorCost     = 1000
	restFactor    = 4
	overCost      = 2
	farOverCost   = 6
	clashCost     = 24
	pairChange    = 8
	distinctCost  = 20
	duplicateCost = 60
	denseCost     = 12
	longCost      = 8
	longSets      = 4
	balanceCost   = 5
	emptyCost     = 200
	fullTenths    = 20
	distinctCount = 1000
)

// Levels of the objective, as indices of Assignment.Value.
const (
	LevelGoals = iota
	LevelRest
	LevelStability
	LevelPreference
	LevelSimplicity
	LevelCount
)

// term is what a set of a candidate gives to a row, before Times.
type term struct{ row, coef int32 }

// row is a weekly quantity with its costs, tables by supply in the window, and a hard
// maximum (-1: none). Costs are of levels 1, 2 and, for what is above the aim, 4.
type row struct {
	cost [][3]int64
	best [2]int32 // where the table is least
	max  int64
	aim  int64 // weekly, beyond which level 4 counts; 0: none
}

// side says that a candidate counts for one side of a balance.
type side struct {
	balance int32
	right   bool
}

// clash is a Clash in terms of tracked muscles.
type clash struct {
	a, b int32 // indices into state.direct
	cap  int32
	hard bool
}

// dense is how much of a tracked muscle a session may hold.
type dense struct {
	max int32 // hard, -1: none
	aim int32 // soft, -1: none
}

// room is what a day holds, bounds what a candidate may do over the window: the parts of
// the model that every trial looks at, close together.
type room struct{ capacity, sets, exercises, least int32 }

type bounds struct {
	window, most     int64 // sets in it at least where it is chosen (0: none), and at most (0: none)
	days, mostDays   int32
	lift, preference int32
}

// problem is a model compiled for search: flat arrays, a pair p = candidate*D + day.
type problem struct {
	m       *Model
	C, D    int
	weeks   int64
	allowed []bool
	lo, hi  []int32
	fixed   []int32
	per     []int32
	prior   []int32 // nil: none
	times   []int64
	terms   [][]term
	rows    []row
	most    int64     // half sets that the days could hold at all
	tracked [][]int32 // by candidate: tracked muscles that it trains directly
	muscles []dense   // by tracked muscle
	clashes []clash
	clashAt [][]int32 // by tracked muscle and day: clashes that it is in
	rooms   []room
	bounds  []bounds
	variant []int32 // by candidate, -1: none
	nvar    int
	dup     []int32 // by candidate: pattern and first prime muscle
	ndup    int
	sides   [][]side
	pairs   []int32 // allowed ones, by candidate
}

func compile(m *Model, prior *Assignment) *problem {
	pb := &problem{m: m, C: len(m.Candidates), D: len(m.Days), weeks: int64(m.Weeks)}
	n := pb.C * pb.D
	pb.allowed = make([]bool, n)
	ints := make([]int32, 4*n)
	pb.lo, pb.hi, pb.fixed, pb.per = ints[:n], ints[n:2*n], ints[2*n:3*n], ints[3*n:]
	for _, d := range m.Days {
		pb.times = append(pb.times, int64(d.Times))
	}
	for c := range m.Candidates {
		for d, o := range m.Candidates[c].Options {
			if !o.Allowed {
				continue
			}
			p := c*pb.D + d
			pb.allowed[p], pb.lo[p], pb.hi[p], pb.fixed[p], pb.per[p] = true, o.Lo, o.Hi, o.Fixed, o.PerSet
			pb.pairs = append(pb.pairs, int32(p))
		}
	}
	if prior != nil {
		pb.prior = make([]int32, 0, n)
		for _, r := range prior.Sets {
			pb.prior = append(pb.prior, r...)
		}
	}
	pb.terms = make([][]term, pb.C)
	pb.sides = make([][]side, pb.C)
	pb.compileRows()
	pb.compilePatterns()
	pb.compileTracked()
	pb.compileGroups()
	pb.compileBounds()
	return pb
}

// compileRows makes the rows: total and direct half sets of muscles, sets of lifts.
func (pb *problem) compileRows() {
	m := pb.m
	for d, day := range m.Days {
		var sets int64
		for c := 0; c < pb.C; c++ {
			sets += int64(pb.hi[c*pb.D+d])
		}
		pb.most += 2 * pb.times[d] * min(sets, int64(day.MaxSets))
	}
	for _, r := range m.Muscles {
		if r.Wanted == 0 && r.Floor == 0 && r.DirectWanted == 0 && r.MaxWeek == 0 {
			continue // nothing that a week's sum decides
		}
		total := row{max: -1}
		if r.MaxWeek > 0 {
			total.max = pb.weeks * int64(r.MaxWeek)
		}
		w1, w2 := int64(r.Weight), int64(0)
		if !r.PrioritySoft {
			w1, w2 = 0, restFactor*w1
		}
		aim := int64(r.Wanted)
		pb.fill(&total, 0, func(s int64) int64 {
			return floorCost*pb.convex(int64(r.Floor), s) + w1*pb.convex(aim, s)
		})
		pb.fill(&total, 1, func(s int64) int64 { return w2 * pb.convex(aim, s) })
		total.aim = aim
		pb.fill(&total, 2, func(s int64) int64 { return pb.beyond(aim, s) })
		pb.addRow(total, func(c *Candidate) int32 { return int32(c.Involve[r.Muscle]) })
		if r.DirectWanted > 0 {
			direct := row{max: -1}
			aim := int64(r.DirectWanted)
			pb.fill(&direct, 0, func(s int64) int64 { return w1 * pb.convex(aim, s) })
			pb.fill(&direct, 1, func(s int64) int64 { return w2 * pb.convex(aim, s) })
			pb.addRow(direct, func(c *Candidate) int32 {
				if c.Involve[r.Muscle] == 2 {
					return 2
				}
				return 0
			})
		}
	}
	for l := range m.Lifts {
		if m.Lifts[l].Wanted == 0 {
			continue
		}
		lift := row{max: -1}
		aim, w := 2*int64(m.Lifts[l].Wanted), int64(m.Lifts[l].Weight)
		pb.fill(&lift, 0, func(s int64) int64 { return w * pb.convex(aim, s) })
		lift.aim = aim
		pb.fill(&lift, 2, func(s int64) int64 { return pb.beyond(aim, s) })
		pb.addRow(lift, func(c *Candidate) int32 {
			if c.Lift == int32(l) {
				return 2
			}
			return 0
		})
	}
}

// compilePatterns makes the rows of the movement wishes, counted in half sets like all.
func (pb *problem) compilePatterns() {
	for i := range pb.m.Patterns {
		w := &pb.m.Patterns[i]
		r := row{max: -1}
		pb.fill(&r, 1, func(s int64) int64 { return restFactor * int64(w.Weight) * pb.convex(2*int64(w.Wanted), s) })
		pb.addRow(r, func(c *Candidate) int32 {
			if slices.Contains(w.Any, c.Pattern) {
				return 2
			}
			return 0
		})
	}
}

func (pb *problem) addRow(r row, coef func(*Candidate) int32) {
	for level := range r.best {
		for s := range r.cost {
			if r.cost[s][level] < r.cost[r.best[level]][level] {
				r.best[level] = int32(s)
			}
		}
	}
	i := int32(len(pb.rows))
	pb.rows = append(pb.rows, r)
	for c := range pb.m.Candidates {
		if k := coef(&pb.m.Candidates[c]); k > 0 {
			pb.terms[c] = append(pb.terms[c], term{row: i, coef: k})
		}
	}
}

// fill makes the table of one cost of a row.
func (pb *problem) fill(r *row, level int, f func(int64) int64) {
	if r.cost == nil {
		r.cost = make([][3]int64, pb.most+1)
	}
	for s := range r.cost {
		r.cost[s][level] = f(int64(s))
	}
}

// convex is the cost of supply s against a weekly aim.
func (pb *problem) convex(aim, s int64) int64 {
	miss := max(0, pb.weeks*aim-s)
	q, r := miss/pb.weeks, miss%pb.weeks
	return pb.weeks*q*(q+1)/2 + r*(q+1)
}

// beyond is the cost of supply above a weekly aim.
func (pb *problem) beyond(aim, s int64) int64 {
	if aim == 0 {
		return 0
	}
	over := overCost*max(0, s-pb.weeks*aim) + farOverCost*max(0, s-pb.weeks*(aim+(aim+1)/2))
	return (over + pb.weeks - 1) / pb.weeks
}

// compileTracked finds the muscles whose direct sets a session must watch.
func (pb *problem) compileTracked() {
	m := pb.m
	var index [plan.MuscleCount]int32 // one-based
	pb.tracked = make([][]int32, pb.C)
	track := func(k plan.Muscle) int32 {
		if index[k] == 0 {
			pb.muscles = append(pb.muscles, dense{max: -1, aim: -1})
			index[k] = int32(len(pb.muscles))
			for c := range m.Candidates {
				if m.Candidates[c].Involve[k] == 2 {
					pb.tracked[c] = append(pb.tracked[c], index[k]-1)
				}
			}
		}
		return index[k] - 1
	}
	var sessions int64
	for _, t := range pb.times {
		sessions += t
	}
	for _, r := range m.Muscles {
		if r.MaxSession > 0 {
			pb.muscles[track(r.Muscle)].max = int32(r.MaxSession)
		}
		if r.Wanted >= 8 && sessions >= 2*pb.weeks {
			i := track(r.Muscle)
			pb.muscles[i].aim = (int32(r.Wanted) + 3) / 4 * 2
		}
	}
	for _, k := range m.Clashes {
		i := track(k.Muscle)
		pb.clashes = append(pb.clashes, clash{a: i*int32(pb.D) + k.A, b: i*int32(pb.D) + k.B, cap: int32(k.Cap), hard: k.Hard})
	}
}

// compileBounds gathers what every trial looks at.
func (pb *problem) compileBounds() {
	for d := range pb.m.Days {
		x := &pb.m.Days[d]
		pb.rooms = append(pb.rooms, room{x.Capacity, x.MaxSets, x.MaxExercises, x.MinExercises})
	}
	for c := range pb.m.Candidates {
		x := &pb.m.Candidates[c]
		pb.bounds = append(pb.bounds, bounds{
			window: pb.weeks * int64(x.MinSets), most: pb.weeks * int64(x.MaxSets),
			days: x.MinDays, mostDays: x.MaxDays, lift: x.Lift, preference: x.Preference,
		})
	}
	pb.clashAt = make([][]int32, len(pb.muscles)*pb.D)
	for j, k := range pb.clashes {
		pb.clashAt[k.a] = append(pb.clashAt[k.a], int32(j))
		if k.b != k.a {
			pb.clashAt[k.b] = append(pb.clashAt[k.b], int32(j))
		}
	}
}

// compileGroups numbers variants, duplicates and balances.
func (pb *problem) compileGroups() {
	names := map[string]int32{}
	kinds := map[[2]int32]int32{}
	for c := range pb.m.Candidates {
		x := &pb.m.Candidates[c]
		v := int32(-1)
		if x.Variant != "" {
			i, ok := names[x.Variant]
			if !ok {
				i = int32(len(names))
				names[x.Variant] = i
			}
			v = i
		}
		pb.variant = append(pb.variant, v)
		key := [2]int32{int32(x.Pattern), 0}
		for k, inv := range x.Involve {
			if inv == 2 && k > 0 {
				key[1] = int32(k)
				break
			}
		}
		g, ok := kinds[key]
		if !ok {
			g = int32(len(kinds))
			kinds[key] = g
		}
		pb.dup = append(pb.dup, g)
		for i, b := range pb.m.Balances {
			for _, p := range b.Left {
				if p == x.Pattern {
					pb.sides[c] = append(pb.sides[c], side{balance: int32(i)})
				}
			}
			for _, p := range b.Right {
				if p == x.Pattern {
					pb.sides[c] = append(pb.sides[c], side{balance: int32(i), right: true})
				}
			}
		}
	}
	pb.nvar, pb.ndup = len(names), len(kinds)
}
