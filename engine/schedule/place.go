package schedule

import (
	"math"
	"slices"
)

const placeNodes = 4000 // of the search for one class

// part is what a class has of a candidate: on how many of its days, and sets in all.
type part struct {
	item       *item
	days, sets int64
	ticks      int64
}

// place puts the whole values of the program onto single days. closed: it looked
// everywhere, so that where it fails these values don't fit.
func (b *branch) place() (ok, closed bool) {
	k := b.k
	parts := make([][]part, len(k.days))
	for i := range k.items {
		it := &k.items[i]
		n := int64(math.Round(b.sx.activity(k.pool[it.count].row)))
		if n == 0 {
			continue
		}
		s := int64(math.Round(b.sx.activity(k.pool[it.sets].row)))
		parts[it.class] = append(parts[it.class], part{it, n, s, k.ticks[it.first] * n})
	}
	ok, closed = true, true
	for g, list := range parts {
		slices.SortStableFunc(list, func(x, y part) int { return int(y.ticks - x.ticks) })
		f := filler{b: b, days: k.days[g], alike: k.alike[g], list: list, left: placeNodes}
		if !f.fill(0, 0, 0, 0) {
			ok = false
			closed = closed && f.left > 0
			if closed {
				return false, true
			}
		}
	}
	return ok, closed
}

// filler fills the days of a class with its parts, depth first.
type filler struct {
	b     *branch
	days  []int32
	alike []bool // interchangeable with the day before
	list  []part
	left  int
}

// fill decides part i from day at on, n days and s sets of it being placed.
func (f *filler) fill(i, at int, n, s int64) bool {
	if i == len(f.list) {
		return true
	}
	x := &f.list[i]
	st, pb := f.b.st, f.b.k.pb
	if n == x.days {
		return s == x.sets && f.fill(i+1, 0, 0, 0)
	}
	lo, hi := int64(x.item.lo), int64(x.item.hi)
	open := x.days - n
	if at == len(f.days) || int64(len(f.days)-at) < open || s+open*lo > x.sets || s+open*hi < x.sets {
		return false
	}
	if f.left--; f.left < 0 {
		return false
	}
	f.b.mt.spend(1)
	p := int(x.item.c)*pb.D + int(f.days[at])
	if !pb.allowed[p] {
		return f.fill(i, at+1, n, s)
	}
	lo, hi = int64(pb.lo[p]), int64(pb.hi[p])
	if at > 0 && f.same(i, at-1, at) {
		hi = min(hi, int64(st.sets[p-int(f.days[at])+int(f.days[at-1])]))
	}
	for v := hi; v >= lo; v-- {
		over := st.over
		st.set(p, int32(v))
		if st.over <= over && f.fill(i, at+1, n+1, s+v) {
			return true
		}
		st.set(p, 0)
	}
	return f.fill(i, at+1, n, s)
}

// same reports that two interchangeable days hold the same of the parts before i.
func (f *filler) same(i, d, e int) bool {
	if !f.alike[e] {
		return false
	}
	for _, x := range f.list[:i] {
		c := int(x.item.c) * f.b.k.pb.D
		if f.b.st.sets[c+int(f.days[d])] != f.b.st.sets[c+int(f.days[e])] {
			return false
		}
	}
	return true
}
