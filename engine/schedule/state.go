package schedule

import "math/bits"

// value is what two states are compared by: unmet minima first, then the levels.
type value [1 + LevelCount]int64

func (v *value) less(o *value) bool {
	for i := range v {
		if v[i] != o[i] {
			return v[i] < o[i]
		}
	}
	return false
}

// state is an assignment with every sum kept up to date. set is its only change;
// nothing in it allocates.
type state struct {
	pb     *problem
	sets   []int32
	time   []int32
	full   []int64 // cost of its fullness
	count  []int32 // exercises by day
	total  []int32 // sets by day
	vars   []int32 // variant*D + day
	dups   []int32
	days   []int32  // by candidate
	on     []uint64 // by day: candidates there, a bit each, in words of 64
	words  int      // of a day
	window []int64  // sets in the window by candidate
	supply []int64  // by row
	direct []int32  // tracked muscle*D + day
	left   []int64  // by balance
	right  []int64
	lifts  []int32 // lift*D + day: candidates there
	trains []int64 // by lift: sessions in the window

	tally
}

// tally is what a state counts as a whole.
type tally struct {
	over   int   // hard limits exceeded
	val    value // val[0]: unmet minima
	bal    int64 // part of val[rest] from balances
	empty  int64 // part of val[preference] from MinExercises
	active int32 // exercises used
}

func newState(pb *problem) *state {
	n := pb.C * pb.D
	words := (pb.C + 63) / 64
	s := &state{
		pb: pb, on: make([]uint64, words*pb.D), words: words, sets: make([]int32, n), time: make([]int32, pb.D), full: make([]int64, pb.D), count: make([]int32, pb.D), total: make([]int32, pb.D),
		vars: make([]int32, pb.nvar*pb.D), dups: make([]int32, pb.ndup*pb.D), days: make([]int32, pb.C),
		window: make([]int64, pb.C), supply: make([]int64, len(pb.rows)), direct: make([]int32, len(pb.muscles)*pb.D),
		left: make([]int64, len(pb.m.Balances)), right: make([]int64, len(pb.m.Balances)),
		lifts: make([]int32, len(pb.m.Lifts)*pb.D), trains: make([]int64, len(pb.m.Lifts)),
	}
	for i := range pb.rows {
		for level := range 2 {
			s.val[1+level] += pb.rows[i].at(level, 0)
		}
	}
	for _, v := range pb.prior {
		if v > 0 {
			s.val[1+LevelStability] += pairChange
		}
	}
	for d := range pb.m.Days {
		s.empty += emptyCost * int64(pb.m.Days[d].MinExercises)
	}
	s.val[1+LevelPreference] += s.empty
	for c := range pb.m.Candidates {
		s.val[0] += s.unmet(c)
	}
	for l := range pb.m.Lifts {
		s.val[0] += pb.weeks * int64(pb.m.Lifts[l].MinDays)
	}
	return s
}

// at is the cost of a supply; beyond the table a hard limit is exceeded anyway.
func (r *row) at(level int, s int64) int64 { return r.costs(s)[level] }

// costs are the three costs of a supply, which lie side by side.
func (r *row) costs(s int64) *[3]int64 {
	return &r.cost[min(s, int64(len(r.cost))-1)]
}

// unmet is what a candidate lacks of its minima.
func (s *state) unmet(c int) int64 {
	x := &s.pb.bounds[c]
	short := int64(max(0, x.days-s.days[c]))
	if x.window > 0 && (x.days > 0 || s.days[c] > 0) {
		short += max(0, x.window-s.window[c])
	}
	return short
}

func exceeds(a, b int32) int {
	if a > b {
		return 1
	}
	return 0
}

// set changes the sets of a pair and all that follows from it.
func (s *state) set(p int, v int32) {
	old := s.sets[p]
	if old == v {
		return
	}
	pb := s.pb
	c := int(uint32(p) / uint32(pb.D)) // 32 bits divide faster
	d := p - c*pb.D
	x, day := &pb.bounds[c], &pb.rooms[d]
	s.sets[p] = v
	dv := v - old
	ticks := dv * pb.per[p]
	turn := int32(0) // 1: comes in, -1: goes out
	if old == 0 {
		turn, ticks = 1, ticks+pb.fixed[p]
	} else if v == 0 {
		turn, ticks = -1, ticks-pb.fixed[p]
	}
	s.over += exceeds(s.time[d]+ticks, day.capacity) - exceeds(s.time[d], day.capacity)
	s.time[d] += ticks
	full := fullness(s.time[d], day.capacity)
	s.val[1+LevelPreference] += full - s.full[d]
	s.full[d] = full
	s.over += exceeds(s.total[d]+dv, day.sets) - exceeds(s.total[d], day.sets)
	s.total[d] += dv

	s.val[0] -= s.unmet(c)
	window := int64(dv) * pb.times[d]
	if x.most > 0 {
		if s.window[c] > x.most {
			s.over--
		}
		if s.window[c]+window > x.most {
			s.over++
		}
	}
	s.window[c] += window
	if turn != 0 {
		s.turn(p, c, d, turn)
	}
	s.val[0] += s.unmet(c)

	for _, t := range pb.terms[c] {
		r := &pb.rows[t.row]
		was := s.supply[t.row]
		now := was + window*int64(t.coef)
		s.supply[t.row] = now
		to, from := r.costs(now), r.costs(was)
		s.val[1+LevelGoals] += to[0] - from[0]
		s.val[1+LevelRest] += to[1] - from[1]
		s.val[1+LevelPreference] += to[2] - from[2]
		if r.max >= 0 {
			if was > r.max {
				s.over--
			}
			if now > r.max {
				s.over++
			}
		}
	}
	for _, k := range pb.tracked[c] {
		s.setDirect(int(k), d, 2*dv)
	}
	for _, b := range pb.sides[c] {
		was := s.imbalance(int(b.balance))
		if b.right {
			s.right[b.balance] += window
		} else {
			s.left[b.balance] += window
		}
		gain := s.imbalance(int(b.balance)) - was
		s.bal += gain
		s.val[1+LevelRest] += gain
	}
	if x.lift < 0 {
		s.val[1+LevelPreference] += longCost * int64(max(0, v-longSets)-max(0, old-longSets))
	}
	if pb.prior != nil {
		s.val[1+LevelStability] += pb.change(p, v) - pb.change(p, old)
	}
}

// back changes the sets of a pair like set, but leaves the tally to the caller, who knows
// what it was.
func (s *state) back(p int, v int32) {
	old := s.sets[p]
	if old == v {
		return
	}
	pb := s.pb
	c := int(uint32(p) / uint32(pb.D))
	d := p - c*pb.D
	s.sets[p] = v
	dv := v - old
	ticks, turn := dv*pb.per[p], int32(0)
	if old == 0 {
		turn, ticks = 1, ticks+pb.fixed[p]
	} else if v == 0 {
		turn, ticks = -1, ticks-pb.fixed[p]
	}
	s.time[d] += ticks
	s.full[d] = fullness(s.time[d], pb.rooms[d].capacity)
	s.total[d] += dv
	window := int64(dv) * pb.times[d]
	s.window[c] += window
	for _, t := range pb.terms[c] {
		s.supply[t.row] += window * int64(t.coef)
	}
	for _, k := range pb.tracked[c] {
		s.direct[int(k)*pb.D+d] += 2 * dv
	}
	for _, b := range pb.sides[c] {
		if b.right {
			s.right[b.balance] += window
		} else {
			s.left[b.balance] += window
		}
	}
	if turn == 0 {
		return
	}
	s.count[d] += turn
	if v := pb.variant[c]; v >= 0 {
		s.vars[int(v)*pb.D+d] += turn
	}
	s.dups[int(pb.dup[c])*pb.D+d] += turn
	s.days[c] += turn
	s.on[d*s.words+c/64] ^= 1 << (c % 64)
	if l := pb.bounds[c].lift; l >= 0 {
		i := int(l)*pb.D + d
		was := s.lifts[i]
		s.lifts[i] += turn
		if was == 0 || s.lifts[i] == 0 {
			s.trains[l] += int64(turn) * pb.times[d]
		}
	}
}

// turn books a candidate coming into a day or going out of it.
func (s *state) turn(p, c, d int, turn int32) {
	pb := s.pb
	x, day := &pb.bounds[c], &pb.rooms[d]
	was := s.count[d]
	s.count[d] += turn
	s.over += exceeds(s.count[d], day.exercises) - exceeds(was, day.exercises)
	gain := emptyCost * int64(max(0, day.least-s.count[d])-max(0, day.least-was))
	s.empty += gain
	gain += int64(turn) * int64(100-x.preference)
	if v := pb.variant[c]; v >= 0 {
		i := int(v)*pb.D + d
		s.over += exceeds(s.vars[i]+turn, 1) - exceeds(s.vars[i], 1)
		s.vars[i] += turn
	}
	g := int(pb.dup[c])*pb.D + d
	n := int64(s.dups[g])
	s.dups[g] += turn
	if turn > 0 {
		gain += duplicateCost * n
	} else {
		gain -= duplicateCost * (n - 1)
	}
	s.over += exceeds(s.days[c]+turn, x.mostDays) - exceeds(s.days[c], x.mostDays)
	s.days[c] += turn
	s.on[d*s.words+c/64] ^= 1 << (c % 64)
	if s.days[c] == 0 || turn > 0 && s.days[c] == 1 {
		s.active += turn
		gain += distinctCost * int64(turn)
		s.val[1+LevelSimplicity] += distinctCount * int64(turn)
	}
	s.val[1+LevelSimplicity] += int64(turn)
	s.val[1+LevelPreference] += gain
	if l := x.lift; l >= 0 {
		i := int(l)*pb.D + d
		need := pb.weeks * int64(pb.m.Lifts[l].MinDays)
		s.val[0] -= max(0, need-s.trains[l])
		s.lifts[i] += turn
		if s.lifts[i] == 0 || turn > 0 && s.lifts[i] == 1 {
			s.trains[l] += int64(turn) * pb.times[d]
		}
		s.val[0] += max(0, need-s.trains[l])
	}
}

// setDirect books direct half sets of a tracked muscle on a day.
func (s *state) setDirect(k, d int, by int32) {
	pb := s.pb
	x := &pb.muscles[k]
	i := k*pb.D + d
	for _, j := range pb.clashAt[i] {
		s.bookClash(&pb.clashes[j], -1)
	}
	was := s.direct[i]
	s.direct[i] += by
	for _, j := range pb.clashAt[i] {
		s.bookClash(&pb.clashes[j], 1)
	}
	if x.max >= 0 {
		s.over += exceeds(s.direct[i], x.max) - exceeds(was, x.max)
	}
	if x.aim >= 0 {
		s.val[1+LevelPreference] += denseCost * int64(max(0, s.direct[i]-x.aim)-max(0, was-x.aim))
	}
}

func (s *state) bookClash(k *clash, sign int) {
	excess := min(s.direct[k.a], s.direct[k.b]) - k.cap
	if excess <= 0 {
		return
	}
	if k.hard {
		s.over += sign
	} else {
		s.val[1+LevelRest] += int64(sign) * clashCost * s.pb.weeks * int64(excess)
	}
}

// imbalance is the cost of a balance.
func (s *state) imbalance(b int) int64 {
	l, r := s.left[b], s.right[b]
	return balanceCost * max(0, 7*r-10*l, 10*l-14*r)
}

// change is the stability cost of a pair.
func (pb *problem) change(p int, v int32) int64 {
	was := pb.prior[p]
	if (was > 0) != (v > 0) {
		return pairChange
	}
	return int64(max(v-was, was-v))
}

// fullness is the cost of a day's minutes above 60 and above 80 % of its capacity.
func fullness(ticks, capacity int32) int64 {
	t, c := 5*int64(ticks), int64(capacity)
	return (max(0, t-3*c) + max(0, t-4*c) + fullTenths - 1) / fullTenths
}

// load makes the state equal to a list of sets.
func (s *state) load(sets []int32) {
	for p, v := range sets {
		s.set(p, v)
	}
}

// from is the first candidate on a day at c or after it, going round, other than but; -1
// for none.
func (s *state) from(c, d, but int) int {
	on := s.on[d*s.words : (d+1)*s.words]
	for i := range len(on) + 1 { // the first word twice, as c may lie within it
		w := (c/64 + i) % len(on)
		set := on[w]
		if w == but/64 {
			set &^= 1 << (but % 64)
		}
		if i == 0 {
			set &= ^uint64(0) << (c % 64)
		}
		if set != 0 {
			return w*64 + bits.TrailingZeros64(set)
		}
	}
	return -1
}

// feasible: nothing exceeded, every minimum met.
func (s *state) feasible() bool { return s.over == 0 && s.val[0] == 0 }
