package match

import "math"

// The matching of least cost in a complete graph, by Edmonds's blossoms with the duals
// kept as whole numbers (Edmonds 1965, J Res NBS 69B:125-130; the bookkeeping that makes
// it O(n^3): Gabow 1976, J ACM 23:221-234). In the linear program
//
//	min sum c x,   x(edges at v) = 1,   x(edges inside B) <= (|B|-1)/2
//
// vertex v has a dual y and every odd set B one z >= 0; the slack of an edge is
// c - y_u - y_v + (z of the sets that hold both) and never negative. Only edges without
// slack are matched, and sets are full where z > 0, so at the end the dual objective
// sum y - sum z (|B|-1)/2 equals the cost: the proof that certify checks anew.
//
// Costs are doubled and all first duals even. A dual changes by whole numbers only, as
// all unmatched vertices stay of one parity and a tree's edges have no slack.

type label int8

const (
	unreached label = iota
	outside         // reached over an even way from an unmatched vertex: its dual rises
	inside          // over an odd way: its dual falls
)

const none = int32(-1)

// edge goes from an outside vertex to one in another node. Its slack is kept up with
// the duals, so that comparing needs no look at the costs.
type edge struct {
	u, v  int32
	slack int64
}

type blossom struct {
	n, size  int     // vertices; room for nodes: vertices, then odd sets
	cost     []int64 // n x n, doubled
	dual     []int64 // y of vertices, z of sets
	top      []int32 // the outermost set that holds a node; none for a set not in use
	mate     []int32 // by node: the vertex at the other end of its matched edge
	near     []int32 // size x size: of the least slack edge between two nodes, the end in the first
	holder   []int32 // sets x n: the part of a set that holds a vertex
	parts    [][]int32
	label    []label
	parent   []int32 // of an inside node: the vertex it was reached from
	tightest []edge  // to a node from an outside vertex: the one with the least slack
	seen     []int32
	stamp    int32
	queue    []int32
	used     int // nodes ever in use
}

func newBlossom(n int, cost []int64) *blossom {
	size := n + n/2 + 1
	b := &blossom{
		n: n, size: size, cost: make([]int64, n*n), dual: make([]int64, size), top: make([]int32, size),
		mate: make([]int32, size), near: make([]int32, size*size), holder: make([]int32, (size-n)*n),
		parts: make([][]int32, size), label: make([]label, size), parent: make([]int32, size),
		tightest: make([]edge, size), seen: make([]int32, size), used: n,
	}
	for i := range b.cost {
		b.cost[i] = 2 * cost[i]
	}
	for x := range size {
		b.top[x], b.mate[x] = none, none
		if x < n {
			b.top[x] = int32(x)
			for v := range n {
				b.near[x*size+v] = int32(x)
			}
		}
	}
	b.start()
	return b
}

// start gives every vertex the most that is surely feasible and takes edges without slack.
func (b *blossom) start() {
	for v := range b.n {
		least := int64(math.MaxInt64)
		for u := range b.n {
			if u != v {
				least = min(least, b.cost[v*b.n+u]/2)
			}
		}
		b.dual[v] = least &^ 1
	}
	for v := range b.n {
		for u := 0; u < v && b.mate[v] == none; u++ {
			if b.mate[u] == none && b.slack(int32(u), int32(v)) == 0 {
				b.mate[u], b.mate[v] = int32(v), int32(u)
			}
		}
	}
}

func (b *blossom) slack(u, v int32) int64 {
	return b.cost[int(u)*b.n+int(v)] - b.dual[u] - b.dual[v]
}

// ends are the vertices of the least slack edge from node x to node y.
func (b *blossom) ends(x, y int32) (int32, int32) {
	return b.near[int(x)*b.size+int(y)], b.near[int(y)*b.size+int(x)]
}

func (b *blossom) between(x, y int32) int64 { return b.slack(b.ends(x, y)) }

func (b *blossom) holds(set, v int32) int32 {
	if int(set) < b.n {
		return set
	}
	return b.holder[(int(set)-b.n)*b.n+int(v)]
}

func (b *blossom) consider(u, v, x int32, slack int64) {
	if t := &b.tightest[x]; t.u == none || slack < t.slack {
		*t = edge{u, v, slack}
	}
}

func (b *blossom) reconsider(x int32) {
	b.tightest[x].u = none
	for u := range int32(b.n) {
		if b.top[u] != x && b.label[b.top[u]] == outside {
			from, to := b.ends(u, x)
			b.consider(from, to, x, b.slack(from, to))
		}
	}
}

func (b *blossom) enqueue(x int32) {
	if int(x) < b.n {
		b.queue = append(b.queue, x)
		return
	}
	for _, p := range b.parts[x] {
		b.enqueue(p)
	}
}

func (b *blossom) setTop(x, t int32) {
	b.top[x] = t
	if int(x) >= b.n {
		for _, p := range b.parts[x] {
			b.setTop(p, t)
		}
	}
}

// even is the number of steps from the base of a set to a part, the cycle turned so
// that the way is even.
func (b *blossom) even(set, part int32) int {
	ps := b.parts[set]
	at := 0
	for ps[at] != part {
		at++
	}
	if at%2 == 0 {
		return at
	}
	for i, j := 1, len(ps)-1; i < j; i, j = i+1, j-1 {
		ps[i], ps[j] = ps[j], ps[i]
	}
	return len(ps) - at
}

// join matches node x towards node y, and inside x everything else anew.
func (b *blossom) join(x, y int32) {
	at, other := b.ends(x, y)
	b.mate[x] = other
	if int(x) < b.n {
		return
	}
	part := b.holds(x, at)
	steps := b.even(x, part)
	for i := range steps {
		b.join(b.parts[x][i], b.parts[x][i^1])
	}
	b.join(part, y)
	b.parts[x] = append(append([]int32(nil), b.parts[x][steps:]...), b.parts[x][:steps]...)
}

// augment turns matched into unmatched from x up to its root, x going to y.
func (b *blossom) augment(x, y int32) {
	for {
		m := b.mate[x]
		b.join(x, y)
		if m == none {
			return
		}
		t := b.top[m]
		up := b.top[b.parent[t]]
		b.join(t, up)
		x, y = up, t
	}
}

// meeting is the node where the ways from x and y to their roots meet, none if they don't.
func (b *blossom) meeting(x, y int32) int32 {
	b.stamp++
	for x != none || y != none {
		if x != none {
			if b.seen[x] == b.stamp {
				return x
			}
			b.seen[x] = b.stamp
			if m := b.mate[x]; m == none {
				x = none
			} else {
				x = b.top[b.parent[b.top[m]]]
			}
		}
		x, y = y, x
	}
	return none
}

// shrink makes an odd set of the cycle x .. meet .. y.
func (b *blossom) shrink(x, meet, y int32) {
	set := int32(b.n)
	for b.top[set] != none {
		set++
	}
	b.used = max(b.used, int(set)+1)
	b.dual[set], b.label[set], b.mate[set] = 0, outside, b.mate[meet]
	ps := []int32{meet}
	climb := func(from int32) {
		for at := from; at != meet; {
			in := b.top[b.mate[at]]
			ps = append(ps, at, in)
			b.enqueue(in)
			at = b.top[b.parent[in]]
		}
	}
	climb(x)
	for i, j := 1, len(ps)-1; i < j; i, j = i+1, j-1 {
		ps[i], ps[j] = ps[j], ps[i]
	}
	climb(y)
	b.parts[set] = ps
	b.setTop(set, set)
	b.measure(set)
	b.reconsider(set)
}

// measure finds for a new set its least slack edge to every node, and who holds whom.
func (b *blossom) measure(set int32) {
	row := b.near[int(set)*b.size : (int(set)+1)*b.size]
	who := b.holder[(int(set)-b.n)*b.n : (int(set)-b.n+1)*b.n]
	for i := range who {
		who[i] = none
	}
	for i, p := range b.parts[set] {
		for x := range int32(b.used) {
			if b.top[x] == none || b.top[x] == set {
				continue
			}
			if i == 0 || b.between(p, x) < b.between(set, x) {
				row[x] = b.near[int(p)*b.size+int(x)]
				b.near[int(x)*b.size+int(set)] = b.near[int(x)*b.size+int(p)]
			}
		}
		if int(p) < b.n {
			who[p] = p
			continue
		}
		for v, h := range b.holder[(int(p)-b.n)*b.n : (int(p)-b.n+1)*b.n] {
			if h != none {
				who[v] = p
			}
		}
	}
}

// expand takes apart an inside set whose dual is spent.
func (b *blossom) expand(set int32) {
	for _, p := range b.parts[set] {
		b.setTop(p, p)
	}
	at, _ := b.ends(set, b.parent[set])
	entry := b.holds(set, at)
	steps := b.even(set, entry)
	ps := b.parts[set]
	for i := 0; i < steps; i += 2 {
		in, out := ps[i], ps[i+1]
		b.parent[in], _ = b.ends(out, in)
		b.label[in], b.label[out] = inside, outside
		b.tightest[in].u = none
		b.reconsider(out)
		b.enqueue(out)
	}
	b.label[entry], b.parent[entry], b.tightest[entry].u = inside, b.parent[set], none
	for _, p := range ps[steps+1:] {
		b.label[p] = unreached
		b.reconsider(p)
	}
	b.top[set], b.parts[set] = none, nil
}

// follow uses an edge without slack from outside vertex u to v; true when it made the
// matching larger.
func (b *blossom) follow(u, v int32) bool {
	x, y := b.top[u], b.top[v]
	switch b.label[y] {
	case unreached:
		b.parent[y], b.label[y] = u, inside
		next := b.top[b.mate[y]]
		b.tightest[y].u, b.tightest[next].u = none, none
		b.label[next] = outside
		b.enqueue(next)
	case outside:
		meet := b.meeting(x, y)
		if meet == none {
			b.augment(x, y)
			b.augment(y, x)
			return true
		}
		b.shrink(x, meet, y)
	}
	return false
}

// grow matches one pair more; false when all are matched.
func (b *blossom) grow() bool {
	b.queue = b.queue[:0]
	for x := range int32(b.used) {
		b.label[x], b.tightest[x].u = unreached, none
	}
	for x := range int32(b.used) {
		if b.top[x] == x && b.mate[x] == none {
			b.parent[x], b.label[x] = none, outside
			b.enqueue(x)
		}
	}
	if len(b.queue) == 0 {
		return false
	}
	for {
		if b.scan() || b.shift() {
			return true
		}
	}
}

// scan looks along all edges of outside vertices not looked at yet.
func (b *blossom) scan() bool {
	for len(b.queue) > 0 {
		u := b.queue[0]
		b.queue = b.queue[1:]
		if b.label[b.top[u]] == inside {
			continue
		}
		row, own := b.cost[int(u)*b.n:(int(u)+1)*b.n], b.dual[u]
		mine := b.top[u]
		for v, x := range b.top[:b.n] {
			if x == mine || b.label[x] == inside {
				continue
			}
			slack := row[v] - own - b.dual[v]
			if slack > 0 {
				b.consider(u, int32(v), x, slack)
				continue
			}
			if b.follow(u, int32(v)) {
				return true
			}
			mine = b.top[u] // an odd set may hold it now
		}
	}
	return false
}

// shift changes the duals by the most that leaves no slack negative, and follows what
// it opened; true when that made the matching larger.
func (b *blossom) shift() bool {
	by := b.room()
	for v := range b.n {
		switch b.label[b.top[v]] {
		case outside:
			b.dual[v] += by
		case inside:
			b.dual[v] -= by
		}
	}
	for s := b.n; s < b.used; s++ {
		if b.top[s] != int32(s) {
			continue
		}
		switch b.label[s] {
		case outside:
			b.dual[s] += 2 * by
		case inside:
			b.dual[s] -= 2 * by
		}
	}
	b.queue = b.queue[:0]
	for x := range int32(b.used) {
		switch b.label[x] {
		case outside:
			b.tightest[x].slack -= 2 * by
		case unreached:
			b.tightest[x].slack -= by
		}
	}
	for x := range int32(b.used) {
		if t := b.tightest[x]; b.top[x] == x && t.u != none && b.top[t.u] != x && b.label[x] != inside && t.slack == 0 {
			if b.follow(t.u, t.v) {
				return true
			}
		}
	}
	for s := int32(b.n); s < int32(b.used); s++ {
		if b.top[s] == s && b.label[s] == inside && b.dual[s] == 0 {
			b.expand(s)
		}
	}
	return false
}

func (b *blossom) room() int64 {
	by := int64(math.MaxInt64)
	for s := b.n; s < b.used; s++ {
		if b.top[s] == int32(s) && b.label[s] == inside {
			by = min(by, b.dual[s]/2)
		}
	}
	for x := range int32(b.used) {
		if b.top[x] != x || b.tightest[x].u == none {
			continue
		}
		switch b.label[x] {
		case unreached:
			by = min(by, b.tightest[x].slack)
		case outside:
			by = min(by, b.tightest[x].slack/2)
		}
	}
	return by
}
