package schedule

import (
	"math"
	"math/bits"
	"slices"
)

const (
	shortLap  = 25_000 // work from hot to cold
	staleLaps = 10     // without gain, then it ends
	awayPart  = 4      // one in so many of a lap
)

// heats are the temperatures at the start of a lap, in sixteenths of what a proposal costs.
var heats = [...]int64{2, 8, 4, 1}

const (
	lossTrials = 400
	lossFew    = 8  // are too few for a median
	lossUsual  = 80 // then
)

// anneal walks at random from the best assignment and takes worse ones too, by less
// and less, lap after lap. Being worse at a graver level has a price that adapts, so
// that the walk goes through walls and comes back; only what is better by the levels
// in order is kept. Ties at the level are decided in the same way by preference.
// gap is how far the level is from its bound.
func (s *search) anneal(level int, gap, lap, work int64) {
	end := s.meter.used + work
	stale := 0
	unit := s.loss(level, gap)
	away := int64(0)
	if level == LevelPreference {
		away = s.loss(LevelRest, math.MaxInt64/4) / 2
	}
	for i := 0; len(s.pb.pairs) > 0 && !s.meter.done() && s.meter.used < end && stale < staleLaps; i++ {
		was := s.bestV
		s.restart(s.best)
		if away > 0 && i%2 == 1 {
			// What level 2 admits lies in many places: this goes to another of them.
			s.lap(1+LevelRest, away, min(lap/awayPart, end-s.meter.used))
		}
		s.lap(1+level, max(1, heats[i%len(heats)]*unit/16), min(lap, end-s.meter.used))
		if stale++; s.bestV != was {
			stale = 0
		}
	}
	s.restart(s.best)
}

// loss is the median of what random proposals from the best assignment cost at a level,
// of those that leave the levels before it alone; but no more than four times the gap, as
// a walk need not go far above what it can win.
func (s *search) loss(level int, gap int64) int64 {
	s.restart(s.best)
	s.costs = s.costs[:0]
	for range min(lossTrials, lossTrials*len(s.pb.pairs)) {
		s.mv, s.was = s.mv[:0], s.st.tally
		if s.propose() && slices.Equal(s.st.val[:1+level], s.cur[:1+level]) {
			if by := s.st.val[1+level] - s.cur[1+level]; by > 0 {
				s.costs = append(s.costs, by)
			}
		}
		s.undo()
	}
	unit := int64(lossUsual)
	if len(s.costs) >= lossFew {
		slices.Sort(s.costs)
		unit = s.costs[len(s.costs)/2]
	}
	return min(unit, 4*gap)
}

func (s *search) lap(k int, hot, work int64) {
	s.wall = 256
	from := s.meter.used
	for !s.meter.done() {
		gone := s.meter.used - from
		if gone >= work {
			return
		}
		if gone%64 == 0 {
			s.lean(k)
		}
		// The temperature, in sixteenths, falls as the square of what is left.
		left := (work - gone) * 1024 / work
		s.mv, s.was = s.mv[:0], s.st.tally
		if s.propose() && s.accept(k, hot*left*left/(1024*64)+2) {
			s.cur = s.st.val
			s.keep()
		} else {
			s.undo()
		}
	}
}

// accept decides on the state after a proposal.
func (s *search) accept(k int, temperature int64) bool {
	v := &s.st.val
	if s.st.over > 0 || v[0] > 0 {
		return false
	}
	by := v[k] - s.cur[k]
	for i := 1; i < k; i++ {
		by += (max(v[i], s.bestV[i]) - max(s.cur[i], s.bestV[i])) * s.wall / 256
	}
	if by == 0 && k < 1+LevelPreference {
		by, temperature = v[1+LevelPreference]-s.cur[1+LevelPreference], 16*20
	}
	return by <= 0 || by*256 <= temperature*s.chance()
}

// lean moves the price of being worse at a graver level so that the walk is at
// peace with them about half of the time.
func (s *search) lean(k int) {
	for i := 1; i < k; i++ {
		if s.cur[i] > s.bestV[i] {
			s.wall = min(s.wall+s.wall/16+1, 256*64)
			return
		}
	}
	s.wall = max(s.wall-s.wall/16, 4)
}

// chance is about -log2 of a uniform number, in sixteenths: the leading zeros and,
// linearly, what follows them.
func (s *search) chance() int64 {
	s.next(1)
	u := s.rng >> 16 << 16
	n := bits.LeadingZeros64(u | 1)
	return int64(n)*16 + int64(15-(u<<uint(n)<<1>>60))
}

// put adds a change to the running proposal and makes it.
func (s *search) put(p int, v int32) {
	i := len(s.mv)
	s.mv = append(s.mv, change{p, v})
	s.old[i] = s.st.sets[p]
	s.st.set(p, v)
}

// propose makes a random change; false: it led nowhere.
func (s *search) propose() bool {
	s.meter.spend(1)
	pb, st, D := s.pb, s.st, s.pb.D
	p := int(pb.pairs[s.next(len(pb.pairs))])
	c, d := p/D, p%D
	v := st.sets[p]
	switch kind := s.next(16); {
	case v > 0 && kind < 2 && D > 1:
		return s.exchange(p)
	case v > 0 && kind < 4: // a set less, or out
		s.put(p, s.lessOf(p))
	case v > 0 && kind < 6:
		s.put(p, 0)
	case v > 0 && kind < 9 && D > 1: // to another day
		e := s.next(D)
		t := c*D + e
		if !pb.allowed[t] || st.sets[t] > 0 {
			return false
		}
		s.put(p, 0)
		s.put(t, min(max(v, pb.lo[t]), pb.hi[t]))
		s.eject(t)
	case v > 0: // a set more
		if v == pb.hi[p] {
			return false
		}
		s.put(p, v+1)
		s.eject(p)
	default: // in, perhaps for another
		w := pb.lo[p] + int32(s.next(int(pb.hi[p]-pb.lo[p])+1))
		if kind < 7 {
			q := s.mate(p)
			if q < 0 {
				return false
			}
			w = min(max(st.sets[q], pb.lo[p]), pb.hi[p])
			s.put(q, 0)
		} else if kind < 9 {
			o := c*D + s.next(D) // its sets come from another of its days
			if u := st.sets[o]; u > 0 && o%D != d {
				s.put(o, s.lessOf(o))
			}
		}
		s.put(p, w)
		s.eject(p)
	}
	return st.over == 0
}

// exchange makes an exercise and a random one of another day change days.
func (s *search) exchange(p int) bool {
	pb, st, D := s.pb, s.st, s.pb.D
	d := p % D
	e := s.next(D - 1)
	if e >= d {
		e++
	}
	t := p - d + e
	if !pb.allowed[t] || st.sets[t] > 0 {
		return false
	}
	q := s.mate(t)
	if q < 0 {
		return false
	}
	u := q - e + d
	if !pb.allowed[u] || st.sets[u] > 0 {
		return false
	}
	v, w := st.sets[p], st.sets[q]
	s.put(p, 0)
	s.put(q, 0)
	s.put(t, min(max(v, pb.lo[t]), pb.hi[t]))
	s.put(u, min(max(w, pb.lo[u]), pb.hi[u]))
	s.eject(t)
	s.eject(u)
	return st.over == 0
}

// mate is a random pair in use on the same day, or -1.
func (s *search) mate(p int) int {
	c, d := p/s.pb.D, p%s.pb.D
	if c = s.st.from(s.next(s.pb.C), d, c); c < 0 {
		return -1
	}
	return c*s.pb.D + d
}

// eject takes sets from other exercises of the day until it fits, a few times.
func (s *search) eject(p int) {
	for range 3 {
		if s.st.over == 0 {
			return
		}
		q := s.mate(p)
		if q < 0 {
			return
		}
		v := s.lessOf(q)
		if s.next(3) == 0 {
			v = 0
		}
		s.put(q, v)
	}
}
