package prescribe

import (
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// shot is one set as it is expected to go.
type shot struct {
	rung      rung
	capacity  int32 // tenths, at its start
	reps, rir int32
}

// neighbours is how many loads beside the ideal one are tried.
const neighbours = 8

// fatigue is the one set of numbers for the drop from set to set; it is only read.
var fatigue = load.DefaultFatigue()

// shoot does one set at a fresh capacity and leaves the debt for the next.
func shoot(d *demand, fresh int32, debt load.Debt) (shot, load.Debt) {
	s := shot{capacity: fatigue.Capacity(fresh, debt)}
	s.reps, s.rir = d.assess(s.capacity)
	return s, after(d, fresh, debt, s)
}

func after(d *demand, fresh int32, debt load.Debt, s shot) load.Debt {
	done := 10 * s.reps
	if d.failure && s.rir == 0 {
		done = max(done, s.capacity)
	}
	return fatigue.Next(debt, fresh, load.Done{RepsTenths: done, Rest: d.rest})
}

// solver finds the loads of one scheme's sets.
type solver struct {
	d     *demand
	str   strength
	lad   ladder
	limit plan.Permille
	from  load.Debt
	best  []shot
	miss  miss
	debt  load.Debt
	tmp   []shot
	aim   int64 // see Before
}

// solve gives the sets, what they miss, and the debt after them and their rest.
func (s *solver) solve() bool {
	ideal := s.str.moved(s.ideal())
	if s.str.oneRM > 0 && !s.str.allowed(ideal, s.limit) {
		ideal = s.str.oneRM * int64(s.limit) / 1000
	}
	return s.startAt(ideal)
}

// startAt looks around a moved mass: one load for all sets, else loads that fall.
func (s *solver) startAt(ideal int64) bool {
	first, ok := s.lad.near(ideal, s.d.down)
	if !ok {
		return false
	}
	for !s.str.allowed(first.moved, s.limit) {
		lower, ok := s.lad.below(first)
		if !ok {
			break // the lightest load there is; said by the miss
		}
		first = lower
	}
	if !s.try(first) {
		s.around(first)
	}
	switch {
	case s.miss.none():
	case s.d.n > 1:
		s.falling()
	case s.miss.short > 0: // after hard sets with little rest the right load is far from the one before
		if r, ok := s.fit(10*(s.d.lo+s.d.goal()), s.from, nil); ok && r.moved < s.best[0].rung.moved {
			s.try(r)
		}
	}
	return true
}

// try plays all sets at one load and keeps them if they are the best so far.
func (s *solver) try(r rung) bool {
	if cap(s.tmp) == 0 {
		s.tmp = make([]shot, 0, s.d.n)
	}
	s.tmp = s.tmp[:0]
	debt, sum, fresh := s.from, miss{}, s.str.fresh(r.moved)
	for range s.d.n {
		var x shot
		x, debt = shoot(s.d, fresh, debt)
		x.rung = r
		sum = sum.add(s.d.miss(x.reps, x.rir))
		s.tmp = append(s.tmp, x)
	}
	s.keep(sum, debt)
	return sum.none()
}

func (s *solver) keep(sum miss, debt load.Debt) {
	better := len(s.best) == 0 || sum.cost() < s.miss.cost() ||
		sum.cost() == s.miss.cost() && s.tmp[0].rung.moved < s.best[0].rung.moved && !s.miss.none()
	if better {
		s.best, s.tmp = s.tmp, s.best
		s.miss, s.debt = sum, debt
	}
}

// around tries the loads beside one. Too heavy sets send it down, too light ones up,
// sets of both kinds nowhere: no single load fits them.
func (s *solver) around(first rung) {
	switch {
	case s.miss.short > 0 && s.miss.over > 0:
		return
	case s.miss.short > 0:
		for r, i := first, 0; i < neighbours; i++ {
			lower, ok := s.lad.below(r)
			if !ok || s.try(lower) {
				return
			}
			r = lower
		}
	default:
		for r, i := first, 0; i < neighbours; i++ {
			higher, ok := s.lad.above(r)
			if !ok || !s.str.allowed(higher.moved, s.limit) || s.try(higher) {
				return
			}
			r = higher
		}
	}
}

// falling lets the load fall from set to set: it starts near the top of the range, or
// at the best single load, and is kept as long as it allows the range. It wins only
// where it misses less.
func (s *solver) falling() {
	single := s.best[0].rung
	start := 10 * (s.d.hi + s.d.rir)
	if s.d.lo == s.d.hi && s.d.rir > 0 {
		start += 5
	}
	if r, ok := s.fit(start, s.from, nil); ok {
		s.fall(r)
		if higher, ok := s.lad.above(r); ok && s.miss.soft > 0 && s.str.allowed(higher.moved, s.limit) {
			s.fall(higher)
		}
	}
	if !s.miss.none() {
		s.fall(single)
	}
}

// fall plays the sets from a first load down.
func (s *solver) fall(r rung) {
	s.tmp = s.tmp[:0]
	debt, sum := s.from, miss{}
	for k := range s.d.n {
		x, next := s.at(r, debt)
		if m := s.d.miss(x.reps, x.rir); k > 0 && m.short > 0 {
			if lower, ok := s.fit(10*(s.d.lo+s.d.goal()), debt, &r); ok {
				r = lower
				x, next = s.at(r, debt)
			}
		}
		sum = sum.add(s.d.miss(x.reps, x.rir))
		s.tmp = append(s.tmp, x)
		debt = next
	}
	s.keep(sum, debt)
}

func (s *solver) at(r rung, debt load.Debt) (shot, load.Debt) {
	x, next := shoot(s.d, s.str.fresh(r.moved), debt)
	x.rung = r
	return x, next
}

// fit gives the load at which a tired athlete has that capacity (tenths) or the next
// lighter ones that keep the range; with under, only loads below that one.
func (s *solver) fit(capacity int32, debt load.Debt, under *rung) (rung, bool) {
	left := 10_000 - debt.Fast - debt.Slow
	if left <= 0 {
		return rung{}, false
	}
	need := min((capacity*10_000+left-1)/left, s.str.curve.MaxTenths())
	r, ok := s.lad.near(s.str.moved(need), true)
	if !ok {
		return rung{}, false
	}
	if under != nil && r.moved >= under.moved {
		if r, ok = s.lad.below(*under); !ok {
			return rung{}, false
		}
	}
	for range neighbours {
		x, _ := s.at(r, debt)
		if s.str.allowed(r.moved, s.limit) && s.d.miss(x.reps, x.rir).short == 0 {
			return r, true
		}
		lower, ok := s.lad.below(r)
		if !ok {
			return r, true
		}
		r = lower
	}
	return r, true
}

// share solves a scheme whose load is given: the load is kept as long as it allows the
// repetitions, and falls where it does not.
func (s *solver) share(moved int64) (lowered, ok bool) {
	r, ok := s.lad.near(moved, s.d.down)
	if !ok {
		return false, false
	}
	for {
		x, _ := s.at(r, s.from)
		if s.str.allowed(r.moved, s.limit) && s.d.miss(x.reps, x.rir).short == 0 {
			break
		}
		lower, ok := s.lad.below(r)
		if !ok {
			break
		}
		r, lowered = lower, true
	}
	s.best = s.best[:0]
	s.fall(r)
	return lowered, true
}

// ideal gives the fresh repetitions (tenths) at which the load is right: for fixed
// repetitions the wanted RIR is that of the last set; in a range the first and the
// last set lie evenly about its middle.
func (s *solver) ideal() int32 {
	lo, hi := int32(10), s.str.curve.MaxTenths()
	for lo < hi {
		mid := (lo + hi) / 2
		if s.enough(mid) {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

func (s *solver) enough(fresh int32) bool {
	debt := s.from
	var first, last int32
	for k := range s.d.n {
		var x shot
		x, debt = shoot(s.d, fresh, debt)
		if k == 0 {
			first = x.capacity
		}
		last = x.capacity
	}
	if s.d.lo == s.d.hi {
		return last >= 10*(s.d.lo+s.d.rir)
	}
	return first+last >= 20*s.d.rir+10*(s.d.lo+s.d.hi)
}
