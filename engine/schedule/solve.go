package schedule

import (
	"context"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
)

// DefaultBudget is the work for a week of ordinary size: some tens of milliseconds.
const DefaultBudget = 400_000

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
	s := solver{m: m, mt: &meter{ctx: ctx, limit: budget}, budget: budget}
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
	budget int64
	ls     *search
	bound  [LevelCount]int64
	proven [LevelCount]bool
}

// stage gives the next stage at most n units of work.
func (s *solver) stage(n int64) { s.mt.limit = min(s.budget, s.mt.used+n) }

func (s *solver) run(prior *Assignment) (Assignment, error) {
	s.pb = compile(s.m, prior)
	s.ls = newSearch(s.pb, s.mt)
	if prior != nil {
		s.adopt()
	}
	s.ls.grow()
	s.stage(s.budget / 4)
	s.ls.climb(true)
	if s.ls.cur[0] > 0 {
		if err := s.rescue(); err != nil || s.mt.canceled {
			return Assignment{}, err
		}
	}
	s.ls.keep()
	s.levels()
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
	s.stage(s.budget / 2)
	s.mt.limit = max(s.mt.limit, s.mt.used+s.budget/4)
	sets, ok, proven := feasible(s.m.without(nil, nil), s.mt)
	switch {
	case s.mt.canceled:
		return nil
	case !ok && proven:
		return s.m.conflict(s.mt, s.budget)
	case !ok:
		return unproven(s.mt.used)
	}
	s.ls.restart(sets)
	s.ls.grow()
	s.stage(s.budget / 8)
	s.ls.climb(true)
	return nil
}

// mixes are tried as weights of level 1 in the bound of level 2.
var mixes = [...]int64{4, 1}

// Shares of the budget, in sixteenths.
const (
	shareTrial  = 1 // a first attempt at a proof
	shareBound  = 2
	shareAnneal = 3
)

// levels improves, bounds and proves the levels, gravest first: bound, a short
// attempt at a proof, the random walk, the bound again, and what is left at the end
// for a longer attempt at the first proof that is missing.
func (s *solver) levels() {
	x := newExact(s.pb, s.mt, s.ls.best, s.ls.bestV)
	open := LevelCount // the first level without proof
	for level := range LevelCount {
		if open == LevelCount && !s.proof(x, level, s.budget*shareTrial/16) {
			open = level
		}
		if open < LevelCount && level != LevelStability && level != LevelSimplicity && !s.met(level) {
			work := s.budget * shareAnneal / 16
			if level == LevelPreference {
				work = (s.budget - s.mt.used) * 5 / 8
			}
			s.stage(work)
			s.ls.anneal(level, work)
			s.stage(s.budget / 32)
			s.ls.climb(level == LevelPreference)
			s.ls.keep()
			x.bestV = s.ls.bestV
		}
		if open == level && s.met(level) {
			s.proven[level], open = true, LevelCount
		}
		if s.mt.canceled {
			return
		}
	}
	for level := open; level < LevelCount && !s.mt.canceled; level++ {
		if !s.proof(x, level, s.budget) {
			return
		}
	}
}

// met reports that the value is at the bound.
func (s *solver) met(level int) bool { return s.ls.bestV[1+level] == s.bound[level] }

// proof bounds a level, those before it being proven, and searches for its proof.
func (s *solver) proof(x *exact, level int, work int64) bool {
	s.bound[level] = max(s.bound[level], x.root(level))
	if level <= LevelRest && x.bound[level] == nil && !s.met(level) {
		s.stage(s.budget * shareBound / 16)
		s.price(x, level)
		s.bound[level] = max(s.bound[level], x.root(level))
	}
	s.stage(work)
	ended := x.prove(level)
	s.ls.bestV = x.bestV
	if !ended {
		return false
	}
	s.bound[level], s.proven[level] = x.bestV[1+level], true
	return true
}

// price finds prices for the bound of a level.
func (s *solver) price(x *exact, level int) {
	b := newBounder(s.pb, s.mt)
	if b == nil {
		return
	}
	st := newState(s.pb)
	st.load(s.ls.best)
	if level == LevelGoals {
		b.start([2]int64{1, 0}, st.supply, math.MaxInt64)
		b.raise(x.bestV[1], 300)
		x.use(level, b)
		return
	}
	for _, mu := range mixes {
		b.start([2]int64{mu, 1}, st.supply, x.bestV[1])
		b.raise(x.bestV[2]+mu*x.bestV[1], 300)
		was := x.bound[level]
		x.use(level, b)
		if v := x.root(level); was != nil && v <= s.bound[level] {
			x.use(level, was)
			continue
		} else {
			s.bound[level] = max(s.bound[level], v)
		}
		if b = newBounder(s.pb, s.mt); b == nil {
			return
		}
	}
}

// settle lets the seed decide among equals: it moves to neighbours of equal value
// with a smaller key until there is none.
func (s *solver) settle() {
	ls, pb := s.ls, s.pb
	ls.restart(ls.best)
	s.mt.limit = s.mt.used + s.budget
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
