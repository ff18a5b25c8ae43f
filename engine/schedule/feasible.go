package schedule

import "context"

// Feasible reports whether some assignment keeps every hard limit and meets every
// minimum, and whether that is proven within the budget (DefaultBudget where it is 0).
// A malformed model or a cancelled context gives false, false.
func Feasible(ctx context.Context, m *Model, budget int64) (bool, bool) {
	if m.Check() != nil {
		return false, false
	}
	if budget <= 0 {
		budget = DefaultBudget
	}
	mt := &meter{ctx: ctx, limit: budget}
	if ctx.Err() != nil {
		return false, false
	}
	_, ok, proven := feasible(m, mt)
	return ok, proven && !mt.canceled
}

// feasible searches for any assignment; it gives one if there is one.
func feasible(m *Model, mt *meter) (sets []int32, ok, proven bool) {
	f := newFinder(compile(m, nil), mt)
	ended := f.node(0, 0)
	if f.found {
		return f.st.sets, true, true
	}
	return nil, false, ended && !mt.canceled
}

// finder is the search for feasibility: over the candidates that a minimum needs, one
// after the other. Leaving the others out breaks nothing.
type finder struct {
	pb    *problem
	st    *state
	meter *meter
	need  []int   // candidates, pinned ones first, fewest days first
	twin  []int   // by day: the interchangeable one before it, or -1
	ticks []int64 // by position in need: least ticks of all pins from there on
	slots []int64 // by position: least exercises
	least []int64 // by position: least sets
	brief []int64 // by position: ticks of the briefest pin on its briefest day
	found bool
}

func newFinder(pb *problem, mt *meter) *finder {
	f := &finder{pb: pb, st: newState(pb), meter: mt}
	room := func(c int) int {
		n := 0
		for d := range pb.D {
			if pb.allowed[c*pb.D+d] {
				n++
			}
		}
		return n
	}
	for slack := 0; slack <= pb.D; slack++ {
		for c := range pb.m.Candidates {
			if k := int(pb.m.Candidates[c].MinDays); k > 0 && max(0, room(c)-k) == slack {
				f.need = append(f.need, c)
			}
		}
	}
	for c := range pb.m.Candidates {
		x := &pb.m.Candidates[c]
		if x.MinDays == 0 && x.Lift >= 0 && pb.m.Lifts[x.Lift].MinDays > 0 {
			f.need = append(f.need, c)
		}
	}
	n := len(f.need)
	f.ticks, f.slots, f.least, f.brief = make([]int64, n+1), make([]int64, n+1), make([]int64, n+1), make([]int64, n+1)
	f.brief[n] = maxTicks
	for i := n - 1; i >= 0; i-- {
		c := f.need[i]
		k := int(pb.m.Candidates[c].MinDays)
		f.ticks[i], f.slots[i], f.least[i] = f.ticks[i+1], f.slots[i+1]+int64(k), f.least[i+1]
		var ticks, sets []int64
		for d := range pb.D {
			if p := c*pb.D + d; pb.allowed[p] {
				ticks = insert(ticks, int64(pb.fixed[p]+pb.per[p]*pb.lo[p]))
				sets = insert(sets, int64(pb.lo[p]))
			}
		}
		f.brief[i] = f.brief[i+1]
		if k > 0 && len(ticks) > 0 {
			f.brief[i] = min(f.brief[i], ticks[0])
		}
		for j := 0; j < k && j < len(ticks); j++ {
			f.ticks[i] += ticks[j]
			f.least[i] += sets[j]
		}
	}
	f.twin = make([]int, pb.D)
	for d := range f.twin {
		f.twin[d] = -1
		for e := d - 1; e >= 0; e-- {
			if pb.interchangeable(d, e) {
				f.twin[d] = e
				break
			}
		}
	}
	return f
}

// insert keeps a list in rising order.
func insert(list []int64, v int64) []int64 {
	list = append(list, v)
	for i := len(list) - 1; i > 0 && list[i] < list[i-1]; i-- {
		list[i], list[i-1] = list[i-1], list[i]
	}
	return list
}

// node decides candidate need[i] on day d and on; false: out of work. It leaves the
// state as it is when found.
func (f *finder) node(i, d int) bool {
	pb, st := f.pb, f.st
	f.meter.spend(1)
	if f.meter.done() {
		return false
	}
	if st.val[0] == 0 {
		f.found = true
		return true
	}
	if i == len(f.need) {
		return true
	}
	if d == pb.D {
		if st.unmet(f.need[i]) > 0 || !f.fits(i+1) {
			return true
		}
		return f.node(i+1, 0)
	}
	if !f.reachable(i, d) {
		return true
	}
	c := f.need[i]
	p := c*pb.D + d
	x := &pb.m.Candidates[c]
	if pb.allowed[p] && (st.unmet(c) > 0 || f.helps(c, d) || f.starts(c)) {
		// More sets than are still missing never help.
		missing := (pb.weeks*int64(x.MinSets) - st.window[c] + pb.times[d] - 1) / pb.times[d]
		top := min(max(pb.lo[p], int32(missing)), pb.hi[p])
		if e := f.twin[d]; e >= 0 && f.alike(i, d, e) {
			top = min(top, st.sets[c*pb.D+e])
		}
		for v := top; v >= pb.lo[p]; v-- {
			st.set(p, v)
			if st.over == 0 && (!f.node(i, d+1) || f.found) {
				return f.found
			}
		}
		st.set(p, 0)
	}
	return f.node(i, d+1)
}

// helps reports that a candidate on a day would be a session that its lift lacks.
func (f *finder) helps(c, d int) bool {
	l := int(f.pb.m.Candidates[c].Lift)
	return l >= 0 && f.st.lifts[l*f.pb.D+d] == 0 && f.st.trains[l] < f.pb.weeks*int64(f.pb.m.Lifts[l].MinDays)
}

// starts reports that a candidate not yet used may have to be on days that are no session its
// lift lacks, as its sets of a week need more days than the one that is.
func (f *finder) starts(c int) bool {
	x := &f.pb.m.Candidates[c]
	return x.MinSets > 0 && f.st.days[c] == 0 && x.Lift >= 0 &&
		f.st.trains[x.Lift] < f.pb.weeks*int64(f.pb.m.Lifts[x.Lift].MinDays)
}

// alike reports that two days hold the same of every candidate decided so far.
func (f *finder) alike(i, d, e int) bool {
	for _, c := range f.need[:i] {
		if f.st.sets[c*f.pb.D+d] != f.st.sets[c*f.pb.D+e] {
			return false
		}
	}
	return true
}

// fits reports whether what the days have left could hold the pins from i on.
func (f *finder) fits(i int) bool {
	var ticks, slots, sets int64
	for d := range f.pb.m.Days {
		x := &f.pb.m.Days[d]
		ticks += int64(x.Capacity - f.st.time[d])
		room := int64(x.MaxExercises - f.st.count[d])
		if f.brief[i] > 0 { // a pin that takes no time fits a full day
			room = min(room, int64(x.Capacity-f.st.time[d])/f.brief[i])
		}
		slots += room
		sets += int64(x.MaxSets - f.st.total[d])
	}
	return f.ticks[i] <= ticks && f.slots[i] <= slots && f.least[i] <= sets
}

// reachable reports whether the running candidate can still meet its minima on the
// days from d on, and every lift its own with the candidates that are left.
func (f *finder) reachable(i, d int) bool {
	pb, st := f.pb, f.st
	c := f.need[i]
	x := &pb.m.Candidates[c]
	days, window := st.days[c], st.window[c]
	for e := d; e < pb.D; e++ {
		if p := c*pb.D + e; pb.allowed[p] {
			days++
			window += int64(pb.hi[p]) * pb.times[e]
		}
	}
	if days < x.MinDays || (x.MinDays > 0 || st.days[c] > 0) && window < pb.weeks*int64(x.MinSets) {
		return false
	}
	for l := range pb.m.Lifts {
		short := pb.weeks*int64(pb.m.Lifts[l].MinDays) - st.trains[l]
		if short <= 0 {
			continue
		}
		for e := 0; e < pb.D && short > 0; e++ {
			if st.lifts[l*pb.D+e] > 0 {
				continue
			}
			for j := i; j < len(f.need); j++ {
				b := f.need[j]
				if int(pb.m.Candidates[b].Lift) == l && pb.allowed[b*pb.D+e] && (j > i || e >= d) {
					short -= pb.times[e]
					break
				}
			}
		}
		if short > 0 {
			return false
		}
	}
	return true
}
