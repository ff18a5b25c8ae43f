package prescribe

import (
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// Warm-up borders. Common practice, no source.
const (
	warmRestLeast     = plan.Seconds(60)
	warmRestMost      = plan.Seconds(75)
	warmRestToSingles = plan.Seconds(120)
	warmBelowWork     = 960 // permille of the first working load; closer is no warm-up
	barWorthIt        = 800 // an empty bar above this share of the work is no warm-up
	barStandsFor      = 800 // a step below this share of the empty bar is that bar
	heavyIntensity    = plan.Permille(850)
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
	if reps, rir, ok = calibration(&in); !ok {
		return 0, 0, false
	}
	if x, guided := guideTo(&in, reps, rir); guided {
		reps = x.reps
	}
	return reps, rir, true
}

// calibration is the same without regard to the load that a related lift foretells.
func calibration(in *Input) (reps, rir int32, ok bool) {
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

// Guided reports a calibration whose load a related lift foretells closely enough: it can
// be set, and the repetitions of the set still are those of a calibration.
func Guided(in Input) bool {
	reps, rir, ok := calibration(&in)
	if ok {
		_, ok = guideTo(&in, reps, rir)
	}
	return ok
}

// guideMore is how many repetitions more than meant the load below may give.
const guideMore = 2

// guideTo gives the calibration set that the estimate from a related lift foretells: the
// heaviest load that leaves the reserve after the repetitions, and how many those are then.
func guideTo(in *Input, reps, rir int32) (shot, bool) {
	if in.Related == "" || in.Athlete.OneRMGrams <= 0 || in.Menu == nil {
		return shot{}, false
	}
	str := strength{curve: in.Athlete.Curve, oneRM: in.Athlete.OneRMGrams}
	ideal := str.moved(10 * (reps + rir))
	r, ok := buildable{menu: in.Menu}.near(ideal, true)
	if !ok || r.moved > ideal || r.moved <= 0 {
		return shot{}, false
	}
	x := shot{rung: r, capacity: str.fresh(r.moved), rir: rir}
	x.reps = floorDiv(x.capacity-10*rir+5, 10)
	return x, x.reps >= reps && x.reps <= min(reps+guideMore, max(reps, calibrationMost))
}

// rampTo is the lighter sets before a load that is known about, as shares of it.
var rampTo = [...][]int64{2: {550, 800}, 3: {500, 700, 850}}

// guide writes the ramp to a load that a related lift foretells.
func (m *maker) guide(x shot, warm int32) {
	str := strength{curve: m.in.Athlete.Curve, oneRM: m.in.Athlete.OneRMGrams}
	lad := buildable{menu: m.in.Menu}
	reps := min(x.reps, rampReps)
	var before int64
	for _, share := range rampTo[warm] {
		r, _ := lad.near(x.rung.moved*share/1000, false)
		if r.moved <= before || r.moved*1000 > x.rung.moved*warmBelowWork {
			continue
		}
		before = r.moved
		m.warm = append(m.warm, plan.Set{Kind: plan.SetWarmup, Reps: plan.Range{Min: reps, Max: reps}, Expected: reps, Rest: rampRest,
			Load: plan.Some(r.opt.Load), Plates: r.opt.PerSide, Intensity: plan.Some(str.permille(r.moved))})
	}
	m.notes.say(noteGuided, "lift", m.in.Related, "load", x.rung.opt.Load.String(), "reps", itoa(x.reps), "rir", itoa(x.rir))
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
	reps, rir, ok := calibration(m.in)
	if !ok {
		m.calibrating = false
		return
	}
	n := ramps(m.in)
	if x, guided := guideTo(m.in, reps, rir); guided {
		m.relative(10*(x.reps+rir), 1000, 1000)
		m.guide(x, n)
		return
	}
	m.relative(10*(reps+rir), 1000, 1000)
	r := min(reps, rampReps)
	for range n {
		m.warm = append(m.warm, plan.Set{Kind: plan.SetWarmup, Reps: plan.Range{Min: r, Max: r}, Rest: rampRest})
	}
	if helped(m.in) {
		m.notes.say(noteFindHelp, "ramp", itoa(r), "first", firstHelp(m.in), "most", itoa(n))
		return
	}
	m.notes.say(noteCalibrate, "ramp", itoa(r), "first", m.lightest(), "most", itoa(n))
	if most := m.in.Limits.Most; most > reps && m.light() {
		m.notes.say(noteHeaviest, "most", itoa(most))
	}
}

// lightest names what finding a load starts with.
func (m *maker) lightest() string {
	switch m.in.Exercise.Loading {
	case plan.LoadingBar:
		return "the empty bar"
	case plan.LoadingPlateMachine:
		return "the machine without plates"
	case plan.LoadingStack:
		return "the first plate of the stack"
	case plan.LoadingDumbbell:
		return "the lightest dumbbell"
	case plan.LoadingDumbbellPair:
		return "the lightest dumbbells"
	case plan.LoadingKettlebell:
		return "the lightest kettlebell"
	case plan.LoadingKettlebellPair:
		return "the lightest kettlebells"
	}
	return "the lightest load"
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
	reps, rir, _ := calibration(m.in)
	guide, guided := guideTo(m.in, reps, rir)
	if guided {
		reps = guide.reps
	}
	d := r.d
	d.failure = false
	set := m.blank(&d, plan.Range{Min: reps, Max: reps})
	set.Kind, set.OpenEnded, set.Adjust = plan.SetCalibration, false, nil
	set.Expected = reps
	set.RIR = plan.Some(rir)
	x := m.lad.(relative).rung(1000)
	set.Intensity = plan.Some(m.str.permille(x.moved))
	capacity := 10 * (reps + rir)
	if guided {
		set.Load, set.Plates = plan.Some(guide.rung.opt.Load), guide.rung.opt.PerSide
		set.Intensity = plan.Some(strength{oneRM: m.in.Athlete.OneRMGrams}.permille(guide.rung.moved))
		capacity = guide.capacity
	}
	m.work = append(m.work, set)
	m.remember(x)
	m.debt = after(&d, capacity, m.debt, shot{capacity: capacity, reps: reps})
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
	for _, step := range load.WarmUp(warmRole(m.in), m.str.permille(m.top)) {
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
			Intensity: plan.Some(m.str.permille(r.moved)), Rest: m.warmRest(step.Rest),
		}
		if m.real {
			m.put(&set, r.opt)
		} else {
			set.Deferred = plan.Some(plan.Deferred{Reference: plan.Reference{Kind: plan.RefCalibration}, Share: r.share})
		}
		m.warm = append(m.warm, set)
	}
}

// warmRest is the rest after a lighter set. On the way to singles near the maximum it is
// a minute, then two (NSCA test protocol, from memory).
func (m *maker) warmRest(r plan.Seconds) plan.Seconds {
	if k := m.work[0].Kind; (k == plan.SetTest || k == plan.SetAttempt) && m.work[0].Reps.Max == 1 {
		if len(m.warm) == 0 {
			return warmRestLeast
		}
		return warmRestToSingles
	}
	return warmRest(r)
}

func warmRest(r plan.Seconds) plan.Seconds { return min(max(r, warmRestLeast), warmRestMost) }

// light reports a stock of loads that ends at a third of what strong people use in the
// exercise: many find nothing heavy enough there.
func (m *maker) light() bool {
	n := m.in.Menu.Len()
	return m.in.Exercise.MaxPlausibleKg > 0 && m.in.Menu.At(n-1).Load.Grams()*3 <= int64(m.in.Exercise.MaxPlausibleKg)*1000
}
