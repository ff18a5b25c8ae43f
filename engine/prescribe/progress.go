package prescribe

import (
	"math"

	"github.com/phasewright/phasewright/engine/plan"
)

// stepUnknown is the step that is reckoned with where no kilograms are known, in permille.
const stepUnknown = 25

// Before is what a scheme came to the time before, as Output.Loads gives it.
//
// What an athlete can do at a load follows from the 1RM planned for the week, whose growth
// is capped, so no rule can go beyond it: the rules say whether the planned growth shows
// as repetitions or as load.
//
//   - repetitions then load: the load of the time before stays while it leaves the wanted
//     reserve in the range; when every set was at the top, one step up, back down the range.
//   - planned: in a range the load stays as long as repetitions can take the growth: until
//     the planned 1RM calls for a whole step more, or the range ends above the reserve.
//   - step, percent: that much more than the time before where it leaves the wanted reserve,
//     else the same again.
//   - hold: the same again while it allows the repetitions.
//
// Where the same again has become too light for the range, the load goes up by one step.
//
// Schemes to failure, of as many repetitions as possible, and those whose load is a given
// share go by their load alone.
type Before struct {
	Moved  int64 // of the first set; 0: nothing to go on from
	Aim    int64 // the same before rounding, where a rule adds a share a week
	Real   bool  // in grams, not on the scale of a calibration
	Fell   bool  // from set to set: no rule goes on from it, but the first set stays within a step
	Topped bool  // every set was at the upper end of its range with the wanted reserve
	Long   bool  // so long ago that the load does not go up now; set by the caller
}

func (m *maker) before(i int) Before {
	if i >= len(m.in.Before) || m.in.Before[i].Real != m.real {
		return Before{}
	}
	return m.in.Before[i]
}

// loads tells what the schemes came to.
func (m *maker) loads() []Before {
	out := make([]Before, len(m.in.Schemes))
	for i := range m.runs {
		r := &m.runs[i]
		if len(r.shots) == 0 || !r.shots[0].rung.load && m.real {
			continue
		}
		b := Before{Moved: r.shots[0].rung.moved, Aim: max(r.aim, r.shots[0].rung.moved), Real: m.real, Fell: r.fell, Topped: true}
		for _, x := range r.shots {
			b.Topped = b.Topped && x.reps >= r.d.hi && x.rir >= r.d.rir
		}
		out[r.at] = b
	}
	return out
}

// carryOn goes on from the time before by the scheme's rule; false: look for a load anew.
func (s *solver) carryOn(b Before, step func(rung) (rung, bool)) bool {
	d := s.d
	r, ok := s.last(b)
	if !ok || b.Fell {
		return false
	}
	up, higher := step(r)
	higher = higher && !b.Long
	switch p := d.src.Progress; p.Kind {
	case plan.ProgressRepsThenLoad:
		return higher && b.Topped && s.fits(up) || s.fits(r) || b.Real && higher && s.fits(up)
	case plan.ProgressStep:
		return higher && s.fits(up) || s.fits(r)
	case plan.ProgressPercent:
		s.aim = b.Aim
		if aim := b.Aim * int64(1000+p.By) / 1000; !b.Long {
			to, ok := s.lad.near(aim, true)
			if ok && higher && to.moved > up.moved && to.moved*10 > r.moved*11 {
				to, aim = up, up.moved // what rounding kept back is not made up for at once
			}
			if ok && to.moved >= r.moved && s.fits(to) {
				s.aim = aim
				return true
			}
		}
		return s.fits(r) || higher && s.fits(up)
	case plan.ProgressHold:
		return s.holds(r)
	case plan.ProgressPlanned:
		if d.lo == d.hi || b.Topped || higher && s.str.moved(s.ideal()) >= up.moved || !s.fits(r) {
			return false
		}
		for _, x := range s.best {
			if x.rir > d.rir { // the range ends before the wanted reserve
				s.best = s.best[:0]
				return false
			}
		}
		return true
	}
	return false
}

// last is the load of the time before, where there is one to go on from and it can still
// be set.
func (s *solver) last(b Before) (rung, bool) {
	if b.Moved <= 0 || s.d.failure || s.d.open || !s.d.asked {
		return rung{}, false
	}
	r, ok := s.lad.near(b.Moved, false)
	return r, ok && r.moved == b.Moved
}

// withinStep puts a load that was looked for anew within a step of the time before, where
// that keeps the range and the first set its reserve: under a plan that grows, no real load is
// raised by two steps at once, and none is taken back because other sets fit a little better.
func (s *solver) withinStep(b Before, step func(rung) (rung, bool)) bool {
	r, ok := s.last(b)
	if !ok || !b.Real || b.Long {
		return false
	}
	up, higher := step(r)
	switch first := s.best[0].rung.moved; {
	case first < r.moved:
		return s.prefer(r, leftOver)
	case higher && first > up.moved && first*10 > r.moved*11:
		return s.prefer(up, math.MaxInt32)
	}
	return false
}

// leftOver is how much reserve beyond the wanted, over all sets, a load may leave before a
// lighter one is better (judgement).
const leftOver = 2

// prefer takes sets from a load down in place of better ones, unless they leave more.
func (s *solver) prefer(r rung, most int32) bool {
	if !s.str.allowed(r.moved, s.limit) {
		return false
	}
	was := *s
	s.best, s.tmp = nil, nil
	s.fall(r)
	if s.miss.short > 0 || s.miss.over > max(most, was.miss.over) || s.best[0].rir < s.d.rir {
		*s = was
		return false
	}
	return true
}

// holds takes a load that has become light.
func (s *solver) holds(r rung) bool {
	s.best = s.best[:0]
	s.try(r)
	for _, x := range s.best {
		if x.reps < s.d.lo || x.rir < s.d.rir {
			s.best = s.best[:0]
			return false
		}
	}
	return s.str.allowed(r.moved, s.limit)
}

// fits plays all sets at one load and takes it where each keeps the range and the reserve.
func (s *solver) fits(r rung) bool {
	if !s.str.allowed(r.moved, s.limit) {
		return false
	}
	s.best = s.best[:0]
	ok := s.try(r)
	for _, x := range s.best {
		ok = ok && x.reps > 0 && x.rir >= s.d.rir
	}
	if !ok {
		s.best = s.best[:0]
	}
	return ok
}

// stepUp is the smallest step that can be set and is worth it for the exercise.
func (m *maker) stepUp(r rung) (rung, bool) {
	if !m.real {
		up, ok := m.lad.near(r.moved+(r.moved*stepUnknown+999)/1000, false)
		return up, ok && up.moved > r.moved
	}
	return m.lad.above(r)
}
