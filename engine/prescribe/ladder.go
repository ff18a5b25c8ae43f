package prescribe

import (
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// rung is a load that can be chosen. moved is the whole mass moved in grams, the body's
// share included; for calibrated strengths, where no kilograms are known, it is on the
// scale of relative.
type rung struct {
	moved int64
	opt   load.Option
	load  bool          // opt holds a load
	share plan.Permille // of the calibration load, where the ladder is a relative one
}

// ladder is the loads that exist, rising.
type ladder interface {
	// near gives the rung nearest to a moved mass, or with down the heaviest not above
	// it; the lowest where all are above. False only for an empty ladder.
	near(moved int64, down bool) (rung, bool)
	below(rung) (rung, bool)
	above(rung) (rung, bool)
}

// buildable is a menu on top of the body's share. What hangs from the body goes by the
// exercise's own step where it can, so that nobody is sent for three small plates.
type buildable struct {
	menu *load.Menu
	body int64
	step int64 // thousandths of the menu's unit; 0: every load
}

func (b buildable) rung(o load.Option) rung {
	return rung{moved: b.body + o.Load.Grams(), opt: o, load: true}
}

func (b buildable) near(moved int64, down bool) (rung, bool) {
	target := plan.Kg(max(moved-b.body, 0))
	o, ok := b.menu.Nearest(target, down)
	if !ok {
		if o, ok = b.menu.Nearest(target, false); !ok {
			return rung{}, false
		}
	}
	if b.step > 0 {
		t := target.In(o.Load.Unit).Milli
		n := t / b.step
		if !down && t%b.step*2 > b.step {
			n++
		}
		even := plan.Load{Milli: n * b.step, Unit: o.Load.Unit}
		if x, ok := b.menu.Nearest(even, false); ok && x.Load == even {
			o = x
		}
	}
	return b.rung(o), true
}

func (b buildable) below(r rung) (rung, bool) { return b.walk(r, b.menu.Below) }

func (b buildable) above(r rung) (rung, bool) { return b.walk(r, b.menu.Above) }

// walk goes to the next load on the step, or to the next one at all within a step.
func (b buildable) walk(r rung, next func(plan.Load) (load.Option, bool)) (rung, bool) {
	first, ok := next(r.opt.Load)
	if !ok || b.step <= 0 {
		return b.rung(first), ok
	}
	for o, ok := first, true; ok; o, ok = next(o.Load) {
		if o.Load.Milli%b.step == 0 {
			return b.rung(o), true
		}
		if d := o.Load.Milli - r.opt.Load.Milli; d > b.step || d < -b.step {
			break
		}
	}
	return b.rung(first), true
}

// alone is body mass and nothing else.
type alone struct{ body int64 }

func (a alone) near(int64, bool) (rung, bool) { return rung{moved: a.body}, true }
func (a alone) below(rung) (rung, bool)       { return rung{}, false }
func (a alone) above(rung) (rung, bool)       { return rung{}, false }

// relative is whole percents of the load that the calibration set showed. Its unit is
// chosen so that relativeOneRM stands for the 1RM at the time of the calibration.
type relative struct {
	bp  int64 // intensity of the calibration set, basis points
	max plan.Permille
}

const (
	relativeOneRM = 10_000 * 1000 // basis points times permille
	relativeStep  = plan.Permille(10)
	relativeMax   = plan.Permille(2000)
)

func (r relative) rung(p plan.Permille) rung { return rung{moved: int64(p) * r.bp, share: p} }

func (r relative) near(moved int64, down bool) (rung, bool) {
	step := int64(relativeStep) * r.bp
	n := moved / step
	if !down && moved%step*2 > step {
		n++
	}
	p := plan.Permille(min(max(n, 1), int64(r.max/relativeStep))) * relativeStep
	return r.rung(p), true
}

func (r relative) below(x rung) (rung, bool) {
	if x.share <= relativeStep {
		return rung{}, false
	}
	return r.rung(x.share - relativeStep), true
}

func (r relative) above(x rung) (rung, bool) {
	if x.share+relativeStep > r.max {
		return rung{}, false
	}
	return r.rung(x.share + relativeStep), true
}

// strength turns a moved mass into repetitions.
type strength struct {
	curve *load.Curve
	oneRM int64 // on the ladder's scale
	free  int32 // repetitions with body mass alone, tenths, where that is all there is
}

func (s strength) known() bool { return s.oneRM > 0 || s.free > 0 }

// fresh gives the repetitions of a fresh set, in tenths.
func (s strength) fresh(moved int64) int32 {
	if s.oneRM <= 0 {
		return s.free
	}
	return s.curve.NearestTenths(int32((moved*10_000 + s.oneRM/2) / s.oneRM))
}

// moved gives the mass that a fresh athlete can move so often; 0 beyond the curve.
func (s strength) moved(repsTenths int32) int64 {
	return s.oneRM * int64(s.curve.IntensityBP(repsTenths)) / 10_000
}

// permille gives the intensity of a moved mass, rounded to the nearest.
func (s strength) permille(moved int64) plan.Permille {
	if s.oneRM <= 0 {
		return 0
	}
	return plan.Permille((moved*1000 + s.oneRM/2) / s.oneRM)
}

// allowed reports whether a mass keeps a cap on intensity.
func (s strength) allowed(moved int64, limit plan.Permille) bool {
	return limit <= 0 || s.oneRM <= 0 || moved*1000 <= int64(limit)*s.oneRM
}
