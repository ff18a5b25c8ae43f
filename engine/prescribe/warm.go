package prescribe

import (
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// Warm-up borders. Common practice, no source.
const (
	warmRestLeast  = plan.Seconds(60)
	warmRestMost   = plan.Seconds(75)
	warmBelowWork  = 960 // permille of the first working load; closer is no warm-up
	barWorthIt     = 800 // an empty bar above this share of the work is no warm-up
	barStandsFor   = 800 // a step below this share of the empty bar is that bar
	heavyIntensity = plan.Permille(850)
)

// Calibration set: 5 to 12 repetitions with about 3 in reserve. RIR is called best in
// sets of fewer than 12 repetitions (Halperin et al., Sports Med 52:377-390, 2022).
const (
	calibrationLeast = 5
	calibrationMost  = 12
	calibrationRIR   = 3
	rampReps         = 6
	rampRest         = plan.Seconds(45)

	calibrationCapped = 15 // most where the intensity is capped
)

// under gives the fewest repetitions to failure whose load keeps a cap on intensity; 0
// without a cap.
func under(c *load.Curve, limit plan.Permille) int32 {
	if limit <= 0 {
		return 0
	}
	n := int32(1)
	for n <= c.MaxTenths()/10 && c.IntensityBP(10*n) > int32(limit)*10 {
		n++
	}
	return n
}

// Calibration gives the repetitions and the RIR of the calibration set that Exercise
// makes of the first working set; ten times their sum is Input.CalibratedTenths of the
// weeks after. False where no scheme has repetitions, or where the cap on intensity is
// so low that no set shows the strength.
func Calibration(in Input) (reps, rir int32, ok bool) {
	for i := range in.Schemes {
		s := &in.Schemes[i]
		if s.Sets.Min <= 0 || timed(in.Exercise, s) {
			continue
		}
		d := demandOf(s, in.Limits, func(string, ...string) {})
		reps = min(max((d.lo+d.hi)/2, calibrationLeast), calibrationMost)
		rir = max(calibrationRIR, d.floor)
		if d.asked {
			rir = max(rir, d.rir)
		}
		if in.Athlete.Curve == nil {
			return reps, rir, true
		}
		// A cap on intensity asks for more repetitions or reserve, but a reserve that
		// nobody can call shows no strength.
		for missing := under(in.Athlete.Curve, in.Limits.MaxIntensity) - reps - rir; missing > 0; missing-- {
			switch {
			case reps < calibrationMost:
				reps++
			case rir < hiddenRIR:
				rir++
			case reps < calibrationCapped:
				reps++
			default:
				return 0, 0, false
			}
		}
		return reps, rir, true
	}
	return 0, 0, false
}

func (m *maker) calibrationAt() int {
	for i := range m.in.Schemes {
		if s := &m.in.Schemes[i]; s.Sets.Min > 0 && !timed(m.in.Exercise, s) {
			return i
		}
	}
	return -1
}

// calibrate prepares an exercise whose first set shows its load: a ramp before it, and
// everything after it a share of it.
func (m *maker) calibrate() {
	reps, rir, ok := Calibration(*m.in)
	if !ok {
		m.calibrating = false
		return
	}
	m.relative(10*(reps+rir), 1000, 1000)
	n := ramps(m.in)
	r := min(reps, rampReps)
	for range n {
		m.warm = append(m.warm, plan.Set{Kind: plan.SetWarmup, Reps: plan.Range{Min: r, Max: r}, Rest: rampRest})
	}
	m.notes.say(noteCalibrate, "ramp", itoa(r), "most", itoa(n), "reps", itoa(reps), "rir", itoa(rir))
	if most := m.in.Limits.Most; most > reps && m.light() {
		m.notes.say(noteHeaviest, "most", itoa(most))
	}
}

// ramps is how many lighter sets finding a load takes at most: one more under a bar,
// where the way from the empty bar is longer.
func ramps(in *Input) int32 {
	if in.Exercise.Loading == plan.LoadingBar && in.Role != plan.SingleJoint && in.Role != plan.Trunk {
		return 3
	}
	return 2
}

func (m *maker) calibrationSet(r *run) {
	reps, rir, _ := Calibration(*m.in)
	d := r.d
	d.failure = false
	set := m.blank(&d, plan.Range{Min: reps, Max: reps})
	set.Kind, set.OpenEnded, set.Adjust = plan.SetCalibration, false, nil
	set.Expected = reps
	set.RIR = plan.Some(rir)
	x := m.lad.(relative).rung(1000)
	set.Intensity = plan.Some(m.str.permille(x.moved))
	m.work = append(m.work, set)
	m.remember(x)
	m.debt = after(&d, 10*(reps+rir), m.debt, shot{capacity: 10 * (reps + rir), reps: reps})
	r.calibrated = true
}

// warmUp puts the lighter sets before the work: loads that exist, rising, distinct,
// clearly lighter than the first working set.
func (m *maker) warmUp() {
	if m.calibrating || !m.in.Warmup || !m.firstKnown || m.lad == nil || m.str.oneRM <= 0 {
		return
	}
	if _, is := m.lad.(alone); is {
		return
	}
	lowest, _ := m.lad.near(0, false)
	var before int64
	for _, step := range load.WarmUp(m.in.Role, m.str.permille(m.top)) {
		target := m.top * int64(step.OfWork) / 1000
		r, _ := m.lad.near(target, false)
		if target*1000 < lowest.moved*barStandsFor && lowest.moved*1000 > m.first.moved*barWorthIt {
			continue
		}
		if r.moved <= before || r.moved*1000 > m.first.moved*warmBelowWork {
			continue
		}
		before = r.moved
		set := plan.Set{
			Kind: plan.SetWarmup, Reps: plan.Range{Min: step.Reps, Max: step.Reps}, Expected: step.Reps,
			Intensity: plan.Some(m.str.permille(r.moved)), Rest: warmRest(step.Rest),
		}
		if m.real {
			set.Load, set.Plates = plan.Some(r.opt.Load), r.opt.PerSide
		} else {
			set.Deferred = plan.Some(plan.Deferred{Reference: plan.Reference{Kind: plan.RefCalibration}, Share: r.share})
		}
		m.warm = append(m.warm, set)
	}
}

func warmRest(r plan.Seconds) plan.Seconds { return min(max(r, warmRestLeast), warmRestMost) }

// light reports a stock of loads that ends at a third of what strong people use in the
// exercise: many find nothing heavy enough there.
func (m *maker) light() bool {
	n := m.in.Menu.Len()
	return m.in.Exercise.MaxPlausibleKg > 0 && m.in.Menu.At(n-1).Load.Grams()*3 <= int64(m.in.Exercise.MaxPlausibleKg)*1000
}
