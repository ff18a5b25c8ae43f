package schedule

import (
	"container/heap"
	"math"
	"slices"
)

// branch is branch and bound over a collapsed program. The node with the least bound
// goes first, and down from it as long as the child's bound is no worse; every node's
// linear program starts from the basis of the one before. What it prunes, it prunes on
// bounds in integers.
type branch struct {
	k      *collapsed
	sx     *simplex
	mt     *meter
	st     *state // scratch, empty between uses
	ls     *search
	first  int // rows that it began with
	due    int // nodes at which values are rounded next
	bestV  value
	nodes  []node
	open   []int32 // heap by bound
	rootLo []int64
	rootUp []int64
	least  int64   // floor of the first node, in 2^-20
	reduce []int64 // reduced costs there, nil: none
	fixed  value   // incumbent for which they were used
	lost   int64   // least bound of nodes that could not be decided
	list   []torn
	saved  saved
}

// node is a part of the solutions: its parent's with one more limit.
type node struct {
	parent int32
	at     int32   // bond, -1 for the first node
	bound  int64   // proven, without base
	exact  float64 // the same before it was rounded to the grid; guides only
	lo, up int64
}

const (
	rowRoom   = 160 // rows that may join a program
	laterRoom = 320 // and one of the levels that have many from the start
	slack     = 20  // rows more than it began with before those that do not bind go
	lpPivots  = 400 // pivots of one node
	cutRounds = 40
	rootCuts  = 12    // of a round, by the inverse
	rootFew   = 4     // cuts of sums of rows that make those needless
	rootStale = 2     // rounds without gain, then sums of rows have no more to give
	roundWork = 6000  // trials from rounded values
	maxNodes  = 20000 // and of a search
)

func newBranch(k *collapsed, ls *search) *branch {
	b := &branch{k: k, mt: ls.meter, st: newState(k.pb), ls: ls, bestV: ls.bestV, lost: math.MaxInt64, due: 1}
	b.first = len(k.l.rows)
	room := rowRoom
	if k.level >= LevelPreference {
		room = laterRoom
	}
	b.sx = newSimplex(k.l, b.first+room, k.grid)
	b.sx.part = k.marks()
	return b
}

// goal is what a node's bound must reach to be pruned: more than the last value of the
// grid below the incumbent. (The incumbent may lie off the grid: misses too dear to beat
// it have no columns.)
func (b *branch) goal() int64 {
	return -ceilDiv(b.k.base+1-b.bestV[1+b.k.level], b.k.grid)*b.k.grid + 1
}

// join takes a bond into the program; false: there is no room.
func (b *branch) join(i int32) bool {
	x := &b.k.pool[i]
	if x.at >= 0 {
		return true
	}
	if len(b.k.l.rows) == b.sx.most {
		return false
	}
	x.at = b.k.l.addRow(x.row, x.lo, x.up)
	b.sx.grow()
	return true
}

// search goes on until the level is proven, the work is spent or the nodes are. It
// gives the bound of the level.
func (b *branch) search() (bound int64, proven bool) {
	next := int32(-1)
	b.bestV = b.ls.bestV
	if len(b.nodes) == 0 {
		b.rootLo = append([]int64(nil), b.k.l.lo...)
		b.rootUp = append([]int64(nil), b.k.l.up...)
		least, _ := b.k.l.floor(nil, nil)
		b.nodes = append(b.nodes, node{parent: -1, at: -1, bound: whole(least, b.k.grid)})
		next = 0
		if b.nodes[0].bound >= b.goal() || !b.root() {
			return b.bestV[1+b.k.level], true
		}
	}
	for {
		if next < 0 {
			if len(b.open) == 0 {
				break
			}
			next = heap.Pop(b).(int32)
		}
		if b.nodes[next].bound >= b.goal() {
			next = -1
			continue
		}
		if b.mt.done() || len(b.nodes) > maxNodes {
			heap.Push(b, next)
			break
		}
		next = b.visit(next)
		b.bestV = b.ls.bestV
	}
	bound = b.bestV[1+b.k.level]
	for _, i := range b.open {
		if v := b.nodes[i].bound; v < b.goal() {
			bound = min(bound, v+b.k.base)
		}
	}
	if b.lost < b.goal() {
		bound = min(bound, b.lost+b.k.base)
	}
	return bound, bound == b.bestV[1+b.k.level]
}

// root solves the first node and cuts it as long as that raises its bound; false: the
// incumbent is the optimum.
func (b *branch) root() bool {
	first := &b.nodes[0]
	b.bind(0)
	stale := 0
	for round := 0; round < cutRounds && stale < 5; round++ {
		was := first.bound
		for {
			v := b.sx.run(b.goal(), lpPivots, b.mt)
			switch v {
			case exceeded:
				return false
			case stuck:
				return true
			}
			if sum, ok := b.sx.prices(nil); ok {
				first.bound = max(first.bound, whole(sum, b.k.grid))
				first.exact = float64(sum) / (1 << priceBits)
			}
			if first.bound >= b.goal() {
				return false
			}
			if !b.separate() {
				break
			}
		}
		reduced := make([]int64, len(b.k.l.cost))
		if sum, ok := b.sx.prices(reduced); ok && (b.reduce == nil || sum > b.least) {
			b.least, b.reduce = sum, reduced
		}
		if first.bound > was {
			stale = 0
		} else {
			stale++
		}
		b.loosen()
		n := b.cut(stale)
		if n == 0 {
			return true
		}
		for i := len(b.k.pool) - n; i < len(b.k.pool); i++ {
			b.join(int32(i))
		}
	}
	return true
}

// cut puts cuts into the pool that the values break, as far as there is room, and says how
// many.
func (b *branch) cut(stale int) int {
	n, room := 0, (b.first+b.sx.most)/2-len(b.k.l.rows)
	if stale < rootStale {
		for _, c := range b.sx.roundings(b.mt) {
			if n == room {
				break
			}
			b.k.bond(c.row, c.least, endless)
			n++
		}
	}
	if n >= rootFew {
		return n
	}
	room = min(room, n+rootCuts)
	for _, k := range b.sx.fractional() {
		if n >= room {
			break
		}
		if row, least, ok := b.sx.cut(k); ok {
			b.k.bond(row, least, endless)
			n++
		}
	}
	return n
}

// fix closes in on the boxes: a whole column that can't move by one from the end that
// the first node's reduced cost wants without reaching the goal stays there.
func (b *branch) fix() {
	if b.reduce == nil || b.fixed == b.bestV {
		return
	}
	b.fixed = b.bestV
	room := b.goal()<<priceBits - b.least
	for j, r := range b.reduce {
		if r == 0 || b.rootUp[j] == b.rootLo[j] || b.sx.part != nil && b.sx.part[j] {
			continue
		}
		switch {
		case r > 0:
			b.rootUp[j] = min(b.rootUp[j], b.rootLo[j]+max(0, (room-1)/r))
		case r < 0:
			b.rootLo[j] = max(b.rootLo[j], b.rootUp[j]-max(0, (room-1)/-r))
		}
	}
}

// loosen takes out the bonds that do not bind. Those that were broken once may come
// back by separate.
func (b *branch) loosen() {
	for i := range b.k.pool {
		x := &b.k.pool[i]
		if x.at < 0 || x.kept || b.sx.where[x.at] < 0 {
			continue
		}
		b.sx.drop(x.at)
		for j := range b.k.pool {
			if b.k.pool[j].at > x.at {
				b.k.pool[j].at--
			}
		}
		x.at = -1
	}
}

// trim takes out what does not bind and what only other nodes need.
func (b *branch) trim(i int32) {
	for ; i >= 0; i = b.nodes[i].parent {
		if at := b.nodes[i].at; at >= 0 {
			b.k.pool[at].kept = true
		}
	}
	b.loosen()
	for r := range b.k.pool {
		b.k.pool[r].kept = false
	}
}

// bind puts the limits of a node into the program; false: it has no room for them.
func (b *branch) bind(i int32) bool {
	l := b.k.l
	if len(l.rows) > b.first+slack {
		b.trim(i)
	}
	for r := range b.k.pool {
		if x := &b.k.pool[r]; x.at >= 0 {
			l.rlo[x.at], l.rup[x.at] = x.lo, x.up
		}
	}
	b.fix()
	copy(l.lo, b.rootLo)
	copy(l.up, b.rootUp)
	for ; i >= 0; i = b.nodes[i].parent {
		n := &b.nodes[i]
		if n.at < 0 {
			continue
		}
		if !b.join(n.at) {
			return false
		}
		at := b.k.pool[n.at].at
		l.rlo[at], l.rup[at] = max(l.rlo[at], n.lo), min(l.rup[at], n.up)
	}
	return true
}

// visit solves a node and gives the child to go on with, or -1.
func (b *branch) visit(i int32) int32 {
	if !b.bind(i) {
		b.lost = min(b.lost, b.nodes[i].bound)
		return -1
	}
	for range 12 {
		switch b.sx.run(b.goal(), lpPivots, b.mt) {
		case exceeded:
			return -1
		case stuck:
			return b.split(i, true)
		}
		if sum, ok := b.sx.prices(nil); ok {
			b.nodes[i].bound = max(b.nodes[i].bound, whole(sum, b.k.grid))
			b.nodes[i].exact = max(b.nodes[i].exact, float64(sum)/(1<<priceBits))
		}
		if b.nodes[i].bound >= b.goal() {
			return -1
		}
		if !b.separate() {
			break
		}
	}
	if len(b.nodes) >= b.due {
		b.due = 2*len(b.nodes) + 6
		b.round()
	}
	return b.split(i, false)
}

// round makes an assignment of the broken values and improves it by local search.
func (b *branch) round() {
	ls, pb := b.ls, b.k.pb
	type share struct {
		it   *item
		days float64
	}
	var list []share
	for i := range b.k.items {
		it := &b.k.items[i]
		if n := b.sx.activity(b.k.pool[it.count].row); n > 0.2 {
			list = append(list, share{it, n})
		}
	}
	slices.SortStableFunc(list, func(x, y share) int {
		switch {
		case x.days > y.days:
			return -1
		case x.days < y.days:
			return 1
		}
		return 0
	})
	ls.st.clear()
	for _, x := range list {
		sets := b.sx.activity(b.k.pool[x.it.sets].row) / x.days
		n := int(math.Ceil(x.days - 0.3))
		for _, d := range b.k.days[x.it.class] {
			if n <= 0 {
				break
			}
			p := int(x.it.c)*pb.D + int(d)
			if !pb.allowed[p] {
				continue
			}
			ls.st.set(p, min(max(int32(math.Round(sets)), pb.lo[p]), pb.hi[p]))
			if ls.st.over > 0 {
				ls.st.set(p, 0)
				continue
			}
			n--
		}
	}
	ls.cur = ls.st.val
	ls.grow()
	limit := b.mt.limit
	b.mt.limit = min(limit, b.mt.used+roundWork/2)
	ls.climb(false)
	ls.keep()
	if len(b.nodes) > 1 && len(b.nodes) < 120 && ls.cur[0] == 0 {
		b.mt.limit = min(limit, b.mt.used+roundWork)
		ls.lap(1+b.k.level, 20, roundWork)
	}
	b.mt.limit = limit
	b.bestV = ls.bestV
}

// separate lets bonds join that the values break, at most eight at a time.
func (b *branch) separate() bool {
	n := 0
	for i := range b.k.pool {
		x := &b.k.pool[i]
		if x.at >= 0 {
			continue
		}
		v := b.sx.activity(x.row)
		if x.lo != -endless && v < float64(x.lo)-1e-5 || x.up != endless && v > float64(x.up)+1e-5 {
			if !b.join(int32(i)) {
				return false
			}
			if n++; n == 8 {
				break
			}
		}
	}
	return n > 0
}

// offer puts the values onto the days and keeps the assignment if it is the best so
// far. closed: nothing else has the same days and sets by class and fits.
func (b *branch) offer() (closed bool) {
	ok, closed := b.place()
	if ok && b.st.feasible() {
		if b.st.val.less(&b.bestV) {
			copy(b.ls.best, b.st.sets)
			b.ls.bestV, b.bestV = b.st.val, b.st.val
		}
	} else if ok {
		closed = b.k.apart()
	}
	closed = closed && !b.k.loose
	b.st.clear()
	return closed
}

// Len, Less, Swap, Push and Pop are the heap of open nodes.
func (b *branch) Len() int { return len(b.open) }
func (b *branch) Less(i, j int) bool {
	x, y := b.open[i], b.open[j]
	if b.nodes[x].bound != b.nodes[y].bound {
		return b.nodes[x].bound < b.nodes[y].bound
	}
	return x > y
}
func (b *branch) Swap(i, j int) { b.open[i], b.open[j] = b.open[j], b.open[i] }
func (b *branch) Push(x any)    { b.open = append(b.open, x.(int32)) }
func (b *branch) Pop() any {
	x := b.open[len(b.open)-1]
	b.open = b.open[:len(b.open)-1]
	return x
}
