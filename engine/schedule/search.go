package schedule

// change puts v sets on a pair.
type change struct {
	p int
	v int32
}

// search improves an assignment by trials.
type search struct {
	pb    *problem
	st    *state
	meter *meter
	mv    []change // of the running trial
	old   []int32  // what it replaced
	was   tally    // what it counted before
	cur   value
	here  []int32 // chosen pairs, scratch
	costs []int64 // of proposals, scratch
	best  []int32
	bestV value
	rng   uint64
	wall  int64 // price of being worse at a graver level, in 256ths
}

func newSearch(pb *problem, mt *meter) *search {
	n := pb.C * pb.D
	room := 2*pb.D + 10 // changes of the longest trial: an exchange with its ejections
	s := &search{
		pb: pb, st: newState(pb), meter: mt, mv: make([]change, 0, room), old: make([]int32, room),
		here: make([]int32, 0, n), best: make([]int32, n), rng: 0x9e3779b97f4a7c15,
	}
	s.cur = s.st.val
	s.bestV = s.cur
	return s
}

// next is an xorshift generator with a fixed start: the seed of the model decides
// only among equals and must not steer the search.
func (s *search) next(n int) int {
	s.rng ^= s.rng << 13
	s.rng ^= s.rng >> 7
	s.rng ^= s.rng << 17
	return int(uint32(s.rng>>33) % uint32(n)) // 32 bits divide faster
}

// apply makes the changes in mv; undo takes them back.
func (s *search) apply() {
	s.was = s.st.tally
	for i, c := range s.mv {
		s.old[i] = s.st.sets[c.p]
		s.st.set(c.p, c.v)
	}
	s.meter.spend(1)
}

func (s *search) undo() {
	for i := len(s.mv) - 1; i >= 0; i-- {
		s.st.back(s.mv[i].p, s.old[i])
	}
	s.st.tally = s.was
}

// try keeps the changes if they are allowed and better.
func (s *search) try() bool {
	s.apply()
	if s.st.over == 0 && s.st.val.less(&s.cur) {
		s.cur = s.st.val
		return true
	}
	s.undo()
	return false
}

func (s *search) try1(p int, v int32) bool {
	s.mv = append(s.mv[:0], change{p, v})
	return s.try()
}

func (s *search) try2(p int, v int32, q int, w int32) bool {
	s.mv = append(s.mv[:0], change{p, v}, change{q, w})
	return s.try()
}

// grow adds what gains most a tick until nothing gains at the minima or the first
// two levels.
func (s *search) grow() {
	for !s.meter.canceled {
		at, to := -1, int32(0)
		var top int
		var gain, ticks int64
		for _, q := range s.pb.pairs {
			p := int(q)
			v := s.st.sets[p]
			switch {
			case v == 0:
				v = s.pb.lo[p]
			case v < s.pb.hi[p]:
				v++
			default:
				continue
			}
			t := int64(s.pb.per[p])
			if s.st.sets[p] == 0 {
				t = int64(s.pb.per[p]*v + s.pb.fixed[p])
			}
			t = max(t, 1)
			s.mv = append(s.mv[:0], change{p, v})
			s.apply()
			if s.st.over == 0 {
				for level := range 3 {
					g := s.cur[level] - s.st.val[level]
					if g < 0 {
						break
					}
					if g == 0 {
						continue
					}
					if at < 0 || level < top || level == top && g*ticks > gain*t {
						at, to, top, gain, ticks = p, v, level, g, t
					}
					break
				}
			}
			s.undo()
		}
		if at < 0 {
			return
		}
		s.st.set(at, to)
		s.cur = s.st.val
	}
}

// chosen lists the pairs in use.
func (s *search) chosen() []int32 {
	s.here = s.here[:0]
	for _, p := range s.pb.pairs {
		if s.st.sets[p] > 0 {
			s.here = append(s.here, p)
		}
	}
	return s.here
}

// climb makes improving trials until none is left or the work is spent. wide adds
// the larger neighbourhoods.
func (s *search) climb(wide bool) {
	for !s.meter.done() {
		if s.singles() || s.shifts() || s.swaps() || s.trades() {
			continue
		}
		if wide && (s.everywhere() || s.twoForOne()) {
			continue
		}
		return
	}
}

// singles: another number of sets for one pair.
func (s *search) singles() bool {
	hit := false
	for _, q := range s.pb.pairs {
		p := int(q)
		if v := s.st.sets[p]; v > 0 && s.try1(p, 0) {
			hit = true
			continue
		}
		for v := s.pb.lo[p]; v <= s.pb.hi[p]; v++ {
			if v != s.st.sets[p] && s.try1(p, v) {
				hit = true
			}
		}
		if s.meter.done() {
			break
		}
	}
	return hit
}

// shifts: an exercise to another day, or another exercise in its place.
func (s *search) shifts() bool {
	hit := false
	for _, q := range s.chosen() {
		p := int(q)
		if s.meter.done() {
			return hit
		}
		hit = s.shift(p) || hit
	}
	return hit
}

func (s *search) shift(p int) bool {
	D := s.pb.D
	c, d := p/D, p%D
	for e := range D {
		if t := c*D + e; e != d && s.into(p, t) {
			return true
		}
	}
	for b := range s.pb.C {
		if t := b*D + d; b != c && s.into(p, t) {
			return true
		}
	}
	return false
}

// into empties p and fills t, which was empty, with any number of sets.
func (s *search) into(p, t int) bool {
	if !s.pb.allowed[t] || s.st.sets[t] > 0 || s.st.sets[p] == 0 {
		return false
	}
	for v := s.pb.hi[t]; v >= s.pb.lo[t]; v-- {
		if s.try2(p, 0, t, v) {
			return true
		}
	}
	return false
}

// swaps: two exercises change days.
func (s *search) swaps() bool {
	hit := false
	D := s.pb.D
	here := s.chosen()
	for i, q := range here {
		p := int(q)
		for _, r := range here[i+1:] {
			if s.meter.done() {
				return hit
			}
			o := int(r)
			a, b := p/D*D+o%D, o/D*D+p%D
			vp, vo := s.st.sets[p], s.st.sets[o]
			if vp == 0 || vo == 0 || p%D == o%D || p/D == o/D || !s.pb.allowed[a] || !s.pb.allowed[b] ||
				s.st.sets[a] > 0 || s.st.sets[b] > 0 {
				continue
			}
			s.mv = append(s.mv[:0], change{p, 0}, change{o, 0},
				change{a, min(max(vp, s.pb.lo[a]), s.pb.hi[a])}, change{b, min(max(vo, s.pb.lo[b]), s.pb.hi[b])})
			hit = s.try() || hit
		}
	}
	return hit
}

// trades: a set less (or the exercise out) here, a set more (or an exercise in) there.
func (s *search) trades() bool {
	hit := false
	for _, q := range s.chosen() {
		p := int(q)
		for _, r := range s.pb.pairs {
			o := int(r)
			v, w := s.st.sets[p], s.st.sets[o]
			if v == 0 || s.meter.done() {
				break
			}
			if o == p || w >= s.pb.hi[o] {
				continue
			}
			less, more := v-1, w+1
			if less < s.pb.lo[p] {
				less = 0
			}
			if w == 0 {
				more = s.pb.lo[o]
			}
			hit = s.try2(p, less, o, more) || hit
		}
	}
	return hit
}

// everywhere: one exercise in place of another on all its days.
func (s *search) everywhere() bool {
	D := s.pb.D
	for c := range s.pb.C {
		if s.st.days[c] < 2 {
			continue
		}
		for b := range s.pb.C {
			if b == c {
				continue
			}
			if s.meter.done() {
				return false
			}
			s.mv = s.mv[:0]
			for d := range D {
				p, t := c*D+d, b*D+d
				if v := s.st.sets[p]; v > 0 {
					s.mv = append(s.mv, change{p, 0})
					if s.pb.allowed[t] && s.st.sets[t] == 0 {
						s.mv = append(s.mv, change{t, min(max(v, s.pb.lo[t]), s.pb.hi[t])})
					}
				}
			}
			if s.try() {
				return true
			}
		}
	}
	return false
}

// twoForOne: a set less in two pairs of a day, a set more or an exercise in there.
func (s *search) twoForOne() bool {
	D := s.pb.D
	here := s.chosen()
	for i, q := range here {
		for _, r := range here[i+1:] {
			p, o := int(q), int(r)
			if p%D != o%D {
				continue
			}
			for c := range s.pb.C {
				t := c*D + p%D
				if t == p || t == o || !s.pb.allowed[t] || s.st.sets[t] >= s.pb.hi[t] {
					continue
				}
				if s.meter.done() {
					return false
				}
				a, b := s.lessOf(p), s.lessOf(o)
				for v := max(s.st.sets[t]+1, s.pb.lo[t]); v <= min(s.pb.hi[t], s.st.sets[t]+3); v++ {
					s.mv = append(s.mv[:0], change{p, a}, change{o, b}, change{t, v})
					if s.try() {
						return true
					}
				}
			}
		}
	}
	return false
}

func (s *search) lessOf(p int) int32 {
	if v := s.st.sets[p] - 1; v >= s.pb.lo[p] {
		return v
	}
	return 0
}

// keep notes the state if it is the best so far.
func (s *search) keep() bool {
	if s.st.over == 0 && s.cur.less(&s.bestV) {
		copy(s.best, s.st.sets)
		s.bestV = s.cur
		return true
	}
	return false
}

// restart goes to a list of sets.
func (s *search) restart(sets []int32) {
	s.st.load(sets)
	s.cur = s.st.val
}
