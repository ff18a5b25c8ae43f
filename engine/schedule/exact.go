package schedule

// exact is the depth-first search over pairs, day by day.
type exact struct {
	pb    *problem
	st    *state
	meter *meter
	order [][]int32
	start []int     // by day: index of its first pair in the order of the search
	room  [][]int64 // by index and row: most supply that may still be added
	prior []int64   // by index: pairs of the prior from there on
	twin  []int     // by day: the interchangeable day before it, or -1
	level int       // that is minimised
	opt   value     // proven values of the levels before it
	best  []int32
	bestV value
}

func newExact(pb *problem, mt *meter, best []int32, bestV value) *exact {
	x := &exact{pb: pb, st: newState(pb), meter: mt, best: best, bestV: bestV}
	n := 0
	for d := range pb.D {
		o := pb.column(d)
		x.order = append(x.order, o)
		x.start = append(x.start, n)
		n += len(o)
	}
	R := len(pb.rows)
	flat := make([]int64, (n+1)*R)
	x.room = make([][]int64, n+1)
	x.prior = make([]int64, n+1)
	x.room[n] = flat[n*R:]
	for d := pb.D - 1; d >= 0; d-- {
		for i := len(x.order[d]) - 1; i >= 0; i-- {
			k, p := x.start[d]+i, int(x.order[d][i])
			x.room[k] = flat[k*R : (k+1)*R]
			copy(x.room[k], x.room[k+1])
			for _, t := range pb.terms[p/pb.D] {
				x.room[k][t.row] += int64(t.coef) * int64(pb.hi[p]) * pb.times[d]
			}
			x.prior[k] = x.prior[k+1]
			if pb.prior != nil && pb.prior[p] > 0 {
				x.prior[k]++
			}
		}
	}
	x.twin = make([]int, pb.D)
	for d := range x.twin {
		x.twin[d] = -1
		for e := d - 1; e >= 0 && pb.prior == nil; e-- {
			if pb.interchangeable(d, e) {
				x.twin[d] = e
				break
			}
		}
	}
	return x
}

// column lists the pairs of a day, candidates of a variant side by side.
func (pb *problem) column(d int) []int32 {
	var order []int32
	for v := -1; v < pb.nvar; v++ {
		for c := range pb.C {
			if p := c*pb.D + d; pb.allowed[p] && int(pb.variant[c]) == v {
				order = append(order, int32(p))
			}
		}
	}
	return order
}

// interchangeable reports two days that differ in nothing but their place.
func (pb *problem) interchangeable(d, e int) bool {
	a, b := pb.m.Days[d], pb.m.Days[e]
	a.Path, b.Path = "", ""
	if a != b {
		return false
	}
	for c := range pb.m.Candidates {
		o := pb.m.Candidates[c].Options
		if o[d].Allowed != o[e].Allowed || o[d].Allowed && o[d] != o[e] {
			return false
		}
	}
	for _, k := range pb.m.Clashes {
		if int(k.A) == d || int(k.B) == d || int(k.A) == e || int(k.B) == e {
			return false
		}
	}
	return true
}

// root is the bound of a level before anything is decided.
func (x *exact) root(level int) int64 {
	x.opt = x.bestV
	return x.lower(level, 0, 0)
}

// prove minimises a level with the ones before it fixed. It reports whether it went
// through to the end.
func (x *exact) prove(level int) bool {
	x.level = level
	if x.root(level) >= x.bestV[1+level] {
		return true
	}
	done := x.node(0, 0, false)
	x.st.clear()
	return done
}

// lower bounds a level in the subtree where day d is decided up to position i.
func (x *exact) lower(level, d, i int) int64 {
	st, pb := x.st, x.pb
	k := len(x.prior) - 1
	if d < pb.D {
		k = x.start[d] + i
	}
	v := st.val[1+level]
	switch level {
	case LevelStability:
		return v - pairChange*x.prior[k]
	case LevelRest:
		v -= st.bal // sets to come may mend a balance
	case LevelPreference:
		v -= st.empty
		for e := range d {
			v += emptyCost * int64(max(0, pb.m.Days[e].MinExercises-st.count[e]))
		}
		return v
	case LevelSimplicity:
		return v
	}
	room := x.room[k]
	for r := range pb.rows {
		t := &pb.rows[r]
		s := st.supply[r]
		if b := int64(t.best[level]); s < b {
			to := min(b, s+room[r])
			if t.max >= 0 {
				to = max(s, min(to, t.max))
			}
			v += t.at(level, to) - t.at(level, s)
		}
	}
	return v
}

// cut reports that nothing in the subtree can beat the incumbent at the level.
func (x *exact) cut(d, i int) bool {
	for l := range x.level {
		if x.lower(l, d, i) > x.opt[1+l] {
			return true
		}
	}
	return x.lower(x.level, d, i) >= x.bestV[1+x.level]
}

// node searches below a partial decision; false: out of work. tied says that the day
// equals its twin so far.
func (x *exact) node(d, i int, tied bool) bool {
	st, pb := x.st, x.pb
	x.meter.spend(1)
	if x.meter.done() {
		return false
	}
	for d < pb.D && i == len(x.order[d]) {
		d, i = d+1, 0
		if !x.reachable(d) {
			return true
		}
		tied = d < pb.D && x.twin[d] >= 0
	}
	if d == pb.D {
		if st.feasible() && st.val.less(&x.bestV) {
			copy(x.best, st.sets)
			x.bestV = st.val
		}
		return true
	}
	if x.cut(d, i) {
		return true
	}
	p := int(x.order[d][i])
	top := pb.hi[p]
	if tied {
		top = st.sets[p-d+x.twin[d]]
	}
	for v := int32(0); v <= top; v++ {
		if v > 0 && v < pb.lo[p] {
			v = pb.lo[p]
			if v > top {
				break
			}
		}
		st.set(p, v)
		ok := st.over > 0 || x.node(d, i+1, tied && v == top)
		over := st.over > 0
		if !ok {
			return false
		}
		if over { // more sets exceed it too
			break
		}
	}
	st.set(p, 0)
	return true
}

// reachable reports whether the days from d on can still meet every minimum.
func (x *exact) reachable(d int) bool {
	st, pb := x.st, x.pb
	if st.val[0] == 0 {
		return true
	}
	for c := range pb.m.Candidates {
		if st.unmet(c) == 0 {
			continue
		}
		days, window := st.days[c], st.window[c]
		for e := d; e < pb.D; e++ {
			if p := c*pb.D + e; pb.allowed[p] {
				days++
				window += int64(pb.hi[p]) * pb.times[e]
			}
		}
		m := &pb.m.Candidates[c]
		if days < m.MinDays || window < pb.weeks*int64(m.MinSets) {
			return false
		}
	}
	for l := range pb.m.Lifts {
		n := st.trains[l]
		need := pb.weeks * int64(pb.m.Lifts[l].MinDays)
		for e := d; e < pb.D && n < need; e++ {
			for c := range pb.m.Candidates {
				if int(pb.m.Candidates[c].Lift) == l && pb.allowed[c*pb.D+e] {
					n += pb.times[e]
					break
				}
			}
		}
		if n < need {
			return false
		}
	}
	return true
}

// clear takes everything out.
func (s *state) clear() {
	for _, p := range s.pb.pairs {
		s.set(int(p), 0)
	}
}
