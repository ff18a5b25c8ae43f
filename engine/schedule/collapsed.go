package schedule

import (
	"math"
	"slices"
)

// collapsed is a level of a problem as a linear program over classes of days instead of
// days: the days of a class are interchangeable, and a column counts those of them on
// which a candidate has so many sets. What it leaves out (how the sets of a class fit
// its single days) only makes it cheaper, so its bounds hold for the problem.
type collapsed struct {
	pb    *problem
	level int
	l     *linear
	base  int64 // cost that no column pays
	grid  int64 // of the values of the level, counted from base
	class []int32
	days  [][]int32 // by class
	alike [][]bool  // by class and position: interchangeable with the day before
	loose bool      // clashes between days of a class are not in it
	merge bool      // days that come as often are one class, alike or not
	items []item
	ticks []int64 // by column of an item
	of    []int32 // item of candidate*classes + class, -1: none
	pool  []bond
	ties  []tie // in order of branching
	clash []clashColumn
	part  []int32 // columns that need not be whole
}

// item is a candidate on a class of days.
type item struct {
	c, class int32
	first    int32 // column of lo sets; those of more follow
	lo, hi   int32
	count    int32 // bond: days that have it
	sets     int32 // bond: its sets
}

// bond is a row that joins the program where it is broken or branched on.
type bond struct {
	row    []entry
	lo, up int64
	at     int32      // row of the program, -1 while it is not in
	kept   bool       // while others go
	rise   [2]float64 // of the bound, by a unit down and up, in all
	seen   [2]int     // times
}

// tie is a sum that must be whole: the days or sets of some like items.
type tie struct {
	bond int32
	tier int32
}

// clashColumn is the excess of a clash, in units, and the rows of its two sides.
type clashColumn struct {
	column int32
	side   [2]int32 // bonds: what day a, day b has beyond the excess; cap bounds one of them
	cap    int64
}

// collapse makes the program of a level, the values of those before it being fixed and
// the incumbent's to be beaten. With merge all days that come as often are a class: it
// has their minutes and places together, each exercise as on the day where it is
// briefest. That is a smaller program with a weaker bound.
func (pb *problem) collapse(level int, best *value, merge bool) *collapsed {
	k := &collapsed{pb: pb, level: level, l: &linear{}, merge: merge}
	k.classes()
	k.columns()
	before := make([][]entry, level) // cost of the levels before it
	bases := make([]int64, level)
	k.supplies(best, before, bases)
	if level >= LevelRest {
		k.balances(before)
		k.clashes(before, bases)
	}
	if level >= LevelPreference {
		k.later(before, bases)
	}
	for l, row := range before {
		unit := int64(0)
		for _, e := range row {
			unit = gcd(unit, e.by)
		}
		for i := range row {
			row[i].by /= unit
		}
		if len(row) > 0 {
			k.l.addRow(row, -endless, (best[1+l]-bases[l])/unit)
		}
	}
	k.limits()
	k.bonds()
	if k.grid == 0 {
		k.grid = 1
	}
	return k
}

// classes puts days together.
func (k *collapsed) classes() {
	pb := k.pb
	k.class = make([]int32, pb.D)
	apart := k.level >= LevelStability // the levels from there on tell days apart
	for d := range pb.D {
		k.class[d] = int32(len(k.days))
		like := false
		for e := d - 1; e >= 0 && !apart; e-- {
			like = pb.interchangeable(d, e)
			if like || k.merge && pb.times[d] == pb.times[e] {
				k.class[d] = k.class[e]
				break
			}
		}
		g := k.class[d]
		if int(g) == len(k.days) {
			k.days, k.alike = append(k.days, nil), append(k.alike, nil)
		}
		k.days[g] = append(k.days[g], int32(d))
		k.alike[g] = append(k.alike[g], like)
	}
}

// apart reports that every class is one day.
func (k *collapsed) apart() bool { return len(k.days) == k.pb.D }

func (k *collapsed) columns() {
	pb := k.pb
	k.of = make([]int32, pb.C*len(k.days))
	for c := range pb.C {
		for g, days := range k.days {
			it := item{c: int32(c), class: int32(g), first: int32(len(k.l.cost)), lo: maxHi + 1}
			for _, d := range days {
				if p := c*pb.D + int(d); pb.allowed[p] {
					it.lo, it.hi = min(it.lo, pb.lo[p]), max(it.hi, pb.hi[p])
				}
			}
			k.of[c*len(k.days)+g] = -1
			if it.hi == 0 {
				continue
			}
			for s := it.lo; s <= it.hi; s++ {
				cost := k.pairCost(k.level, c*pb.D+int(days[0]), s)
				most, ticks := k.brief(&it, s)
				k.l.addColumn(cost, 0, most)
				k.ticks = append(k.ticks, ticks)
				k.grid = gcd(k.grid, cost)
			}
			k.of[c*len(k.days)+g] = int32(len(k.items))
			k.items = append(k.items, it)
		}
	}
	if k.level == LevelStability {
		k.base += pb.undone()
	}
}

// pairCost is what so many sets of a pair cost by themselves at the levels from
// stability on.
func (k *collapsed) pairCost(level, p int, s int32) int64 {
	pb := k.pb
	x := &pb.m.Candidates[p/pb.D]
	switch level {
	case LevelStability:
		if pb.prior != nil {
			return pb.change(p, s) - pb.change(p, 0)
		}
	case LevelPreference:
		cost := int64(100 - x.Preference)
		if x.Lift < 0 {
			cost += longCost * int64(max(0, s-longSets))
		}
		return cost
	case LevelSimplicity:
		return 1
	}
	return 0
}

// undone is the stability of an empty assignment.
func (pb *problem) undone() int64 {
	n := int64(0)
	for _, v := range pb.prior {
		if v > 0 {
			n += pairChange
		}
	}
	return n
}

// brief is on how many days of its class an item may have so many sets, and the fewest
// ticks they take.
func (k *collapsed) brief(it *item, s int32) (days, ticks int64) {
	pb := k.pb
	ticks = math.MaxInt64
	for _, d := range k.days[it.class] {
		p := int(it.c)*pb.D + int(d)
		if !pb.allowed[p] || s < pb.lo[p] || s > pb.hi[p] {
			continue
		}
		if t := int64(pb.fixed[p]) + int64(pb.per[p])*int64(s); t <= int64(pb.m.Days[d].Capacity) {
			days, ticks = days+1, min(ticks, t)
		}
	}
	return days, ticks
}

// each calls f with the columns of the items that pass, their sets and times.
func (k *collapsed) each(pass func(it *item) bool, f func(column int32, sets int64, it *item)) {
	for i := range k.items {
		it := &k.items[i]
		if !pass(it) {
			continue
		}
		for s := it.lo; s <= it.hi; s++ {
			f(it.first+s-it.lo, int64(s), it)
		}
	}
}

// on is the number of days of its class that allow an item.
func (k *collapsed) on(it *item) int64 {
	n := int64(0)
	for _, d := range k.days[it.class] {
		if k.pb.allowed[int(it.c)*k.pb.D+int(d)] {
			n++
		}
	}
	return n
}

func (k *collapsed) times(it *item) int64 { return k.pb.times[k.days[it.class][0]] }

// supplies makes the rows of muscles, lifts and movements: supply and misses together
// reach the aim. A supply is what the pins bring and a multiple of what all other sets have in
// common; a miss is a column for each such step, dearer the more are missing.
func (k *collapsed) supplies(best *value, before [][]entry, bases []int64) {
	pb := k.pb
	counts := make([][]entry, len(pb.rows))
	unit, base, most := make([]int64, len(pb.rows)), make([]int64, len(pb.rows)), make([]int64, len(pb.rows))
	for i := range k.items {
		it := &k.items[i]
		for _, t := range pb.terms[it.c] {
			by := int64(t.coef) * k.times(it)
			most[t.row] += by * int64(it.hi) * k.on(it)
			sure := pb.everywhere(int(it.c))
			if sure {
				base[t.row] += by * int64(it.lo) * k.on(it)
			}
			for s := it.lo; s <= it.hi; s++ {
				counts[t.row] = append(counts[t.row], entry{it.first + s - it.lo, by * int64(s)})
				if sure {
					unit[t.row] = gcd(unit[t.row], by*int64(s-it.lo))
				} else {
					unit[t.row] = gcd(unit[t.row], by*int64(s))
				}
			}
		}
	}
	levels := min(k.level, LevelRest) + 1
	var floor [2]int64
	top := make([]int64, len(pb.rows))
	for r := range pb.rows {
		t := &pb.rows[r]
		if unit[r] == 0 {
			unit[r] = 1
		}
		if t.max >= 0 {
			most[r] = min(most[r], t.max)
		}
		for l := range levels {
			top[r] = max(top[r], int64(t.best[l]))
		}
		top[r] = base[r] + max(0, min(ceilDiv(top[r]-base[r], unit[r]), (most[r]-base[r])/unit[r]))*unit[r]
		for l := range levels {
			floor[l] += t.at(l, top[r])
		}
	}
	for r := range pb.rows {
		t := &pb.rows[r]
		low := top[r]
		for low > base[r] {
			dear := false
			for l := range levels {
				if l <= k.level {
					dear = dear || tooDear(floor[l]+t.at(l, low-unit[r])-t.at(l, top[r]), best[1+l], l == k.level)
				}
			}
			if dear {
				break
			}
			low -= unit[r]
		}
		k.misses(r, unit[r], low, top[r], counts[r], before)
	}
	for l := range levels {
		if l == k.level {
			k.base += floor[l]
		} else {
			bases[l] += floor[l]
		}
	}
}

func (k *collapsed) misses(r int, unit, low, top int64, row []entry, before [][]entry) {
	t := &k.pb.rows[r]
	cost := func(l int, s int64) int64 { return t.at(l, s-unit) - t.at(l, s) }
	levels := min(k.level, LevelRest) + 1
	want := false
	for s := top; s > low; {
		var step [2]int64
		n := int64(0)
		for ; s > low; s, n = s-unit, n+1 {
			var this [2]int64
			for l := range levels {
				this[l] = cost(l, s)
			}
			if n > 0 && this != step {
				break
			}
			step = this
		}
		own := int64(0)
		if k.level < levels {
			own = step[k.level]
		}
		j := k.l.addColumn(own, 0, n)
		k.grid = gcd(k.grid, own)
		row = append(row, entry{j, unit})
		for l := range min(k.level, levels) {
			if step[l] > 0 {
				before[l] = append(before[l], entry{j, step[l]})
			}
		}
		want = true
	}
	if want || low > 0 {
		k.l.addRow(row, top, endless)
	}
	if t.max >= 0 {
		k.bond(slices.Clone(row[:len(row):len(row)])[:k.structural(row)], -endless, t.max)
	}
}

// structural is how many entries at the front of a row are of items.
func (k *collapsed) structural(row []entry) int {
	if len(k.items) == 0 {
		return 0
	}
	last := k.items[len(k.items)-1]
	end := last.first + last.hi - last.lo
	n := 0
	for n < len(row) && row[n].at <= end {
		n++
	}
	return n
}

// bond notes a row for later. Without a limit it is held to what the boxes allow.
func (k *collapsed) bond(row []entry, lo, up int64) int32 {
	if lo == -endless && up == endless {
		lo, up = 0, 0
		for _, e := range row {
			lo += min(e.by*k.l.lo[e.at], e.by*k.l.up[e.at])
			up += max(e.by*k.l.lo[e.at], e.by*k.l.up[e.at])
		}
	}
	k.pool = append(k.pool, bond{row: row, lo: lo, up: up, at: -1})
	return int32(len(k.pool) - 1)
}

// own is a cost if it is of the program's level.
func (k *collapsed) own(level int, cost int64) int64 {
	if level != k.level {
		return 0
	}
	k.grid = gcd(k.grid, cost)
	return cost
}

// clashes makes a column for the excess of each clash. It is at least the excess of
// one of the two days: branching says of which. What pins bring to both days it has.
func (k *collapsed) clashes(before [][]entry, bases []int64) {
	pb := k.pb
	for i := range pb.clashes {
		x := &pb.clashes[i]
		var direct [2][]entry
		var pinned, most [2]int64
		muscle := x.a / int32(pb.D)
		limit := int64(x.cap)
		for side, at := range [2]int32{x.a, x.b} {
			d := int(at) % pb.D
			k.each(func(it *item) bool {
				return it.class == k.class[d] && pb.allowed[int(it.c)*pb.D+d] && slices.Contains(pb.tracked[it.c], muscle)
			}, func(j int32, sets int64, it *item) {
				p := int(it.c)*pb.D + d
				direct[side] = append(direct[side], entry{j, 2 * sets})
				if sets == int64(pb.hi[p]) {
					most[side] += 2 * sets
				}
				if sets == int64(pb.lo[p]) && pb.everywhere(int(it.c)) {
					pinned[side] += 2 * sets
				}
			})
		}
		sure := max(0, min(pinned[0], pinned[1])-limit)
		if !k.apart() && (len(k.days[k.class[int(x.a)%pb.D]]) > 1 || len(k.days[k.class[int(x.b)%pb.D]]) > 1) {
			k.loose = true
			if !x.hard && k.level == LevelRest {
				k.base += clashCost * pb.weeks * sure
				k.grid = gcd(k.grid, clashCost*pb.weeks)
			} else if !x.hard {
				bases[LevelRest] += clashCost * pb.weeks * sure
			}
			continue
		}
		if min(most[0], most[1]) <= limit {
			continue
		}
		unit := int64(1)
		if limit%2 == 0 {
			unit = 2
		}
		cost := clashCost * pb.weeks * unit
		col := clashColumn{column: -1, cap: limit}
		if !x.hard {
			own := k.own(LevelRest, cost)
			lo := (sure + unit - 1) / unit
			col.column = k.l.addColumn(own, lo, (min(most[0], most[1])-limit+unit-1)/unit)
			if k.level > LevelRest {
				before[LevelRest] = append(before[LevelRest], entry{col.column, cost})
			}
		}
		for side := range direct {
			row := direct[side]
			if !x.hard {
				row = append(row, entry{col.column, -unit})
			}
			col.side[side] = k.bond(row, -endless, endless) // branching limits it by Cap
		}
		k.clash = append(k.clash, col)
	}
}

// everywhere reports that a candidate is pinned to all days that allow it.
func (pb *problem) everywhere(c int) bool {
	n := int32(0)
	for d := range pb.D {
		if pb.allowed[c*pb.D+d] {
			n++
		}
	}
	return n > 0 && pb.m.Candidates[c].MinDays == n
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return max(a, -a)
}

// tooDear tells what a single row may not cost: more than is allowed, or as much where
// that must be beaten.
func tooDear(cost, allowed int64, beat bool) bool { return cost > allowed || beat && cost == allowed }
