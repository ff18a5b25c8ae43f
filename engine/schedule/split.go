package schedule

import (
	"container/heap"
	"math"
	"slices"
)

// tierWeight prefers sums over many items: the single ones have too many substitutes.
var tierWeight = [...]float64{4, 2, 1}

const (
	reliable    = 2
	strongTries = 4
	strongMoves = 8
)

// split branches on a node; lost: its program was not solved. It gives the child to go
// on with, or -1.
func (b *branch) split(i int32, lost bool) int32 {
	if b.mt.done() {
		heap.Push(b, i)
		return -1
	}
	closed := false
	if !lost {
		for c := range b.k.clash {
			x := &b.k.clash[c]
			if b.over(x.side[0], x.cap) && b.over(x.side[1], x.cap) && b.join(x.side[0]) && b.join(x.side[1]) {
				return b.children(i, x.side[0], x.cap, x.side[1], x.cap, false)
			}
		}
		if t, v := b.choose(i); t >= 0 {
			f := math.Floor(v)
			return b.halves(i, t, int64(f), v-f > 0.5)
		}
		if b.nodes[i].bound >= b.goal() {
			return -1
		}
		closed = b.offer()
		if b.nodes[i].bound >= b.goal() {
			return -1
		}
	}
	// Whole, but not to be had, or dearer than it looks: anything free is split.
	for _, t := range b.k.ties {
		x := &b.k.pool[t.bond]
		if t.tier < 2 {
			continue
		}
		lo, up := b.reach(x)
		if lo >= up {
			continue
		}
		if !b.join(t.bond) {
			closed = false
			break
		}
		v := min(max(int64(math.Round(b.sx.activity(x.row))), lo), up-1)
		return b.halves(i, t.bond, v, false)
	}
	if !closed {
		b.lost = min(b.lost, b.nodes[i].bound)
	}
	return -1
}

// over reports that a row is above a limit.
func (b *branch) over(bond int32, limit int64) bool {
	return b.sx.activity(b.k.pool[bond].row) > float64(limit)+1e-5
}

// torn is a sum that is not whole.
type torn struct {
	bond  int32
	value float64
	score float64
}

// choose takes the sum to split by: of those furthest from whole, where both halves cost
// most. What is not known yet from splits before is tried, a few pivots each way. -1: all
// are whole, or the node's bound has reached the goal.
func (b *branch) choose(i int32) (bond int32, v float64) {
	b.list = b.list[:0]
	for _, t := range b.k.ties {
		x := &b.k.pool[t.bond]
		a := b.sx.activity(x.row)
		off := math.Abs(a - math.Round(a))
		if off < 1e-4 || x.at < 0 && len(b.k.l.rows) >= b.sx.most {
			continue
		}
		b.list = append(b.list, torn{t.bond, a, b.guess(x, a) * tierWeight[t.tier]})
	}
	slices.SortStableFunc(b.list, func(x, y torn) int {
		switch {
		case x.score > y.score:
			return -1
		case x.score < y.score:
			return 1
		}
		return 0
	})
	best := torn{bond: -1, score: -1}
	tried := 0
	for n := range b.list {
		c := &b.list[n]
		x := &b.k.pool[c.bond]
		if x.seen[0] < reliable || x.seen[1] < reliable {
			if tried == strongTries {
				continue
			}
			tried++
			if !b.try(i, c) {
				return -1, 0
			}
		}
		if c.score > best.score {
			best = *c
		}
		if n > 12 {
			break
		}
	}
	return best.bond, best.value
}

// guess is the product of what the halves of a sum are expected to cost.
func (b *branch) guess(x *bond, v float64) float64 {
	f := v - math.Floor(v)
	return float64(max(x.cost(0)*f, 1e-3) * max(x.cost(1)*(1-f), 1e-3))
}

// cost is the mean rise of the bound by a unit down or up.
func (x *bond) cost(side int) float64 {
	if x.seen[side] == 0 {
		return 1
	}
	return x.rise[side] / float64(x.seen[side])
}

// try looks at both halves of a sum. false: the node is done with.
func (b *branch) try(i int32, c *torn) bool {
	if !b.join(c.bond) {
		return true
	}
	x := &b.k.pool[c.bond]
	f := math.Floor(c.value)
	lo, up := b.k.l.rlo[x.at], b.k.l.rup[x.at]
	b.sx.box()
	b.sx.save(&b.saved)
	var gain [2]float64
	var dead [2]bool
	for side := range 2 {
		b.k.l.rlo[x.at], b.k.l.rup[x.at] = lo, min(up, int64(f))
		if side == 1 {
			b.k.l.rlo[x.at], b.k.l.rup[x.at] = max(lo, int64(f)+1), up
		}
		v := b.sx.run(b.goal(), strongMoves, b.mt)
		far := c.value - f
		if side == 1 {
			far = 1 - far
		}
		if v == exceeded {
			dead[side] = true
			gain[side] = float64(b.goal() - b.nodes[i].bound)
		} else if sum, ok := b.sx.prices(nil); ok {
			gain[side] = max(0, float64(float64(sum)/(1<<priceBits))-b.nodes[i].exact)
		}
		x.rise[side] += gain[side] / far
		x.seen[side]++
		b.sx.restore(&b.saved)
		b.k.l.rlo[x.at], b.k.l.rup[x.at] = lo, up
	}
	if dead[0] && dead[1] {
		b.nodes[i].bound = b.goal()
		return false
	}
	c.score = float64(max(gain[0], 1e-3) * max(gain[1], 1e-3))
	return true
}

// halves splits a node in two by a sum: at most v, at least v+1.
func (b *branch) halves(i, bond int32, v int64, upper bool) int32 {
	b.join(bond)
	n := int32(len(b.nodes))
	bound, exact := b.nodes[i].bound, b.nodes[i].exact
	b.nodes = append(b.nodes, node{parent: i, bound: bound, exact: exact, at: bond, lo: -endless, up: v},
		node{parent: i, bound: bound, exact: exact, at: bond, lo: v + 1, up: endless})
	return b.take(n, upper)
}

// children splits a node in two, one sum or another being at most so much.
func (b *branch) children(i, one int32, v int64, other int32, w int64, second bool) int32 {
	n := int32(len(b.nodes))
	bound, exact := b.nodes[i].bound, b.nodes[i].exact
	b.nodes = append(b.nodes, node{parent: i, bound: bound, exact: exact, at: one, lo: -endless, up: v},
		node{parent: i, bound: bound, exact: exact, at: other, lo: -endless, up: w})
	return b.take(n, second)
}

func (b *branch) take(n int32, second bool) int32 {
	if second {
		heap.Push(b, n)
		return n + 1
	}
	heap.Push(b, n+1)
	return n
}

// reach is what a sum may be in the node at hand.
func (b *branch) reach(x *bond) (lo, up int64) {
	l := b.k.l
	lo, up = x.lo, x.up
	if x.at >= 0 {
		lo, up = l.rlo[x.at], l.rup[x.at]
	}
	var least, most int64
	for _, e := range x.row {
		least += e.by * l.lo[e.at]
		most += e.by * l.up[e.at]
	}
	return max(lo, least), min(up, most)
}
