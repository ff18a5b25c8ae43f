package schedule

import (
	"context"

	"github.com/phasewright/phasewright/engine/fault"
)

// DefaultBudget is the work for a week of ordinary size: some milliseconds where all is
// proven early, some hundreds where it is not.
const DefaultBudget = 600_000

// ThoroughBudget is the work for a caller who would rather wait, some ten seconds.
const ThoroughBudget = 32 * DefaultBudget

// Solve gives the best assignment of a model under the objective in the package
// comment. budget is work (trials, nodes), never time; 0 or less means DefaultBudget.
// With a prior, of the model's shape, changes against it count.
//
// Errors are faults: Internal for a malformed model or prior, Infeasible with an
// irreducible set of clashing wishes, Canceled where the context ended.
func Solve(ctx context.Context, m *Model, prior *Assignment, budget int64) (Assignment, error) {
	if err := m.Check(); err != nil {
		return Assignment{}, err
	}
	if err := m.checkPrior(prior); err != nil {
		return Assignment{}, err
	}
	if budget <= 0 {
		budget = DefaultBudget
	}
	return solve(ctx, m, prior, min(budget, DefaultBudget), budget)
}

// solve is Solve with a first pass of so much work.
func solve(ctx context.Context, m *Model, prior *Assignment, first, budget int64) (Assignment, error) {
	s := solver{m: m, mt: &meter{ctx: ctx, limit: budget}, first: first, budget: budget}
	if ctx.Err() != nil {
		return Assignment{}, canceled(ctx)
	}
	a, err := s.run(prior)
	if s.mt.canceled || ctx.Err() != nil {
		return Assignment{}, canceled(ctx)
	}
	return a, err
}

func canceled(ctx context.Context) error {
	return fault.Wrap(fault.Canceled, "CANCELED", context.Cause(ctx))
}

// solver runs the stages of the method, each with its share of the work.
type solver struct {
	m      *Model
	pb     *problem
	mt     *meter
	first  int64 // work of the first pass
	budget int64 // of both
	start  int64 // of the pass
	work   int64 // of the whole pass
	part   int64 // what shares are parts of
	end    int64 // of what the pass may use now
	ls     *search
	x      *exact
	bound  [LevelCount]int64
	open   int        // the first level without proof
	kept   [2]*branch // its programs
}

// begin starts a pass of so much work: all of it but the last part.
func (s *solver) begin(work int64) {
	s.start, s.work = s.mt.used, work
	s.part = work - work/lastPart
	s.end = s.start + s.part
}

// pass improves, bounds and proves from the best answer there is: level by level, and with
// the last part what these leave open.
func (s *solver) pass() {
	s.levels(0)
	s.part, s.end = s.work, s.start+s.work
	for s.open < LevelCount && !s.mt.canceled && s.press() {
		s.levels(s.open + 1)
	}
	s.again()
}

// ended reports that every level is at its bound.
func (s *solver) ended() bool {
	for level := range LevelCount {
		if !s.met(level) {
			return false
		}
	}
	return true
}

// longer is how many times as long as usual walks of a pass are.
func (s *solver) longer() int64 { return max(1, s.part/(2*DefaultBudget)) }

// stage gives the next stage at most n units of work.
func (s *solver) stage(n int64) { s.mt.limit = min(s.end, s.mt.used+n) }

func (s *solver) run(prior *Assignment) (Assignment, error) {
	s.begin(s.first)
	s.pb = compile(s.m, prior)
	s.ls = newSearch(s.pb, s.mt)
	if prior != nil {
		s.adopt()
	}
	s.ls.grow()
	s.stage(s.part / 4)
	s.ls.climb(true)
	if s.ls.cur[0] > 0 {
		if err := s.rescue(); err != nil || s.mt.canceled {
			return Assignment{}, err
		}
	}
	s.ls.keep()
	s.pass()
	if more := s.budget - s.mt.used; s.budget > s.first && !s.mt.canceled && !s.ended() {
		s.begin(more)
		s.pass()
	}
	if !s.mt.canceled {
		s.settle()
	}
	return s.answer(), nil
}

// adopt starts from the prior, as far as it is allowed.
func (s *solver) adopt() {
	for _, q := range s.pb.pairs {
		p := int(q)
		v := min(s.pb.prior[p], s.pb.hi[p])
		if v < s.pb.lo[p] {
			continue
		}
		s.ls.st.set(p, v)
		if s.ls.st.over > 0 {
			s.ls.st.set(p, 0)
		}
	}
	s.ls.cur = s.ls.st.val
}

// rescue finds any feasible assignment and goes on from there, or says why not.
func (s *solver) rescue() error {
	work := s.budget - s.budget/lastPart // whether there is an answer at all may take what a later pass would
	s.mt.limit = max(min(work, s.mt.used+work/2), s.mt.used+work/4)
	sets, ok, proven := feasible(s.m.without(nil, nil), s.mt)
	switch {
	case s.mt.canceled:
		return nil
	case !ok && proven:
		return s.m.conflict(s.mt, work)
	case !ok:
		return unproven(s.mt.used)
	}
	s.ls.restart(sets)
	s.ls.grow()
	s.stage(s.part / 8)
	s.ls.climb(true)
	return nil
}

// shares of the budget of branch and bound by level, in 64ths: a first attempt at the
// program of merged days and at the other, and a second where the first left a gap.
var shares = [LevelCount][2][2]int64{{{3, 4}, {24, 12}}, {{3, 8}, {26, 14}}, {{0, 4}, {0, 12}}, {{0, 12}, {0, 8}}, {{0, 8}, {0, 0}}}

const (
	lastPart   = 6 // one in so many of the budget is kept for what the levels in turn leave open
	shareWalk  = 4 // in 64ths
	shareExact = 4 // of the search over pairs
	// fewPairs is how many a model may have for the search over pairs to get what is left.
	fewPairs = 60
	// narrow is the part of a value that a gap at level 4 may be for a second attempt.
	narrow = 16
	// hopeless is the part of a wide gap at level 2 that half of the second share must close.
	hopeless = 4
)

// levels improves, bounds and proves the levels from one on, gravest first.
func (s *solver) levels(from int) {
	s.open = LevelCount
	for level := from; level < LevelCount; level++ {
		s.linear(level)
		if s.mt.canceled {
			return
		}
		if s.open == LevelCount && !s.exact(level, s.part*shareExact/64) {
			s.open = level
		}
	}
	for level := s.open; level < LevelCount && len(s.pb.pairs) <= fewPairs && !s.mt.canceled; level++ {
		if !s.exact(level, s.part) {
			return
		}
	}
}

// linear proves a level by branch and bound, as far as the work goes: over all days that
// come as often together, then over interchangeable ones; first a little of each, then a
// random walk, and more of each from a better incumbent. Below a level without proof it
// still improves, but claims no bound.
func (s *solver) linear(level int) {
	switch {
	case level == LevelStability && s.pb.prior == nil, s.met(level) && s.open == LevelCount:
		return
	case len(s.pb.pairs) == 0:
		return
	}
	claim := s.open == LevelCount
	var programs [2]*branch
	if claim {
		defer func() { s.kept = programs }()
	}
	for round := range 2 {
		for i, share := range shares[level][round] {
			if share == 0 {
				continue
			}
			if programs[i] == nil {
				k := s.pb.collapse(level, &s.ls.bestV, i == 0)
				if i == 1 && programs[0] != nil && len(k.days) == len(programs[0].k.days) {
					continue
				}
				programs[i] = newBranch(k, s.ls)
			}
			steps := int64(1)
			first := s.gap(level)
			if round == 1 && level == LevelRest && 2*first > s.ls.bestV[1+level] {
				steps = 2
			}
			for range steps {
				s.stage(s.part * share / 64 / steps)
				bound, proven := programs[i].search()
				if claim {
					s.bound[level] = max(s.bound[level], bound)
				}
				if proven || s.met(level) || s.mt.canceled {
					return
				}
				if steps == 2 && hopeless*(first-s.gap(level)) < first {
					return // again does more with the work
				}
			}
		}
		if round == 0 {
			s.walk(level)
			switch level {
			case LevelRest:
				s.days(level, s.part*8/64)
			case LevelPreference:
				s.days(level, (s.end-s.mt.used)*3/4)
			}
		}
		if level == LevelPreference && narrow*(s.ls.bestV[1+level]-s.bound[level]) > s.ls.bestV[1+level] {
			s.walk(level)
			s.days(level, (s.end-s.mt.used)*3/4)
			return
		}
	}
}

// walk improves a level at random; the last level that has it gets most of what is left.
func (s *solver) walk(level int) {
	work := s.part * shareWalk / 64
	switch level {
	case LevelGoals, LevelRest:
		work *= 4
	case LevelPreference:
		work = (s.end - s.mt.used) / 2
	case LevelSimplicity:
		return
	}
	s.stage(work)
	s.ls.anneal(level, s.gap(level), shortLap*s.longer(), work)
	s.stage(s.part / 32)
	s.ls.climb(level == LevelPreference)
	s.ls.keep()
}

// gap is how far the value is from the bound.
func (s *solver) gap(level int) int64 { return s.ls.bestV[1+level] - s.bound[level] }

// met reports that the value is at the bound.
func (s *solver) met(level int) bool { return s.ls.bestV[1+level] == s.bound[level] }

// exact proves a level, those before it being proven, by the search over pairs.
func (s *solver) exact(level int, work int64) bool {
	if s.met(level) {
		return true
	}
	if s.x == nil {
		s.x = newExact(s.pb, s.mt, s.ls.best, s.ls.bestV)
	}
	s.x.bestV = s.ls.bestV
	s.bound[level] = max(s.bound[level], s.x.root(level))
	s.stage(work)
	ended := s.x.prove(level)
	s.ls.bestV = s.x.bestV
	if ended {
		s.bound[level] = s.ls.bestV[1+level]
	}
	return ended
}

// settle lets the seed decide among equals: it moves to neighbours of equal value
// with a smaller key until there is none.
func (s *solver) settle() {
	ls, pb := s.ls, s.pb
	ls.restart(ls.best)
	s.mt.limit = s.mt.used + s.part
	lower := func() bool {
		var was, now uint64
		for _, c := range ls.mv {
			was += key(s.m.Seed, c.p, ls.st.sets[c.p])
			now += key(s.m.Seed, c.p, c.v)
		}
		if now >= was {
			return false
		}
		ls.apply()
		if ls.st.over == 0 && ls.st.val == ls.bestV {
			return true
		}
		ls.undo()
		return false
	}
	for again := true; again && !s.mt.done(); {
		again = false
		for _, q := range ls.chosen() {
			p := int(q)
			for _, r := range pb.pairs {
				o := int(r)
				v, w := ls.st.sets[p], ls.st.sets[o]
				if v == 0 || o == p {
					continue
				}
				ls.mv = append(ls.mv[:0], change{p, w}, change{o, v})
				if w != 0 && (w < pb.lo[p] || w > pb.hi[p]) || v < pb.lo[o] || v > pb.hi[o] || w == v {
					continue
				}
				again = lower() || again
			}
		}
	}
	copy(ls.best, ls.st.sets)
}

// key is a number for v sets on a pair under a seed.
func key(seed uint32, p int, v int32) uint64 {
	if v == 0 {
		return 0
	}
	x := uint64(seed)<<32 ^ uint64(p)<<8 ^ uint64(v)
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return (x ^ x>>31) >> 16
}

func (s *solver) answer() Assignment {
	a := Assignment{
		Sets: make([][]int32, s.pb.C), Value: make([]int64, LevelCount), Bound: make([]int64, LevelCount),
		Proven: make([]bool, LevelCount), Work: s.mt.used,
	}
	flat := append([]int32(nil), s.ls.best...)
	for c := range a.Sets {
		a.Sets[c] = flat[c*s.pb.D : (c+1)*s.pb.D : (c+1)*s.pb.D]
	}
	prefix := true
	for l := range LevelCount {
		a.Value[l], a.Bound[l] = s.ls.bestV[1+l], s.bound[l]
		prefix = prefix && a.Bound[l] == a.Value[l]
		a.Proven[l] = prefix
	}
	return a
}
