package prescribe

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// Seconds gives the time of an exercise with these sets, as Exercise counts it: setting
// up, warm-up sets with their rest, working sets with the upper end of their
// repetitions, rest between them; one-sided work counts both sides and half the rest.
func Seconds(ex *exercise.Exercise, sets []plan.Set) plan.Seconds {
	var room [16]load.WorkSet
	all := room[:0]
	warm := 0
	for i := range sets {
		if sets[i].Kind == plan.SetWarmup {
			all = append(all, workSet(ex, &sets[i]))
			warm++
		}
	}
	for i := range sets {
		if sets[i].Kind != plan.SetWarmup {
			all = append(all, workSet(ex, &sets[i]))
		}
	}
	return load.ExerciseSeconds(load.Timing{SetUp: ex.Setup, Unilateral: ex.Unilateral, Warm: all[:warm], Work: all[warm:]})
}

func workSet(ex *exercise.Exercise, s *plan.Set) load.WorkSet {
	w := load.WorkSet{Reps: max(s.Reps.Max, s.Expected), RepTenths: repTenths(ex, s.Tempo), SetUp: ex.SetSetup, Rest: s.Rest}
	if s.Kind == plan.SetWarmup {
		w.SetUp = 0 // its rest holds it
	}
	if s.OpenEnded && s.Expected == 0 {
		w.Reps = max(w.Reps, openReps)
	}
	if !s.Hold.IsZero() {
		w.Reps, w.RepTenths = 1, s.Hold.Max*10
	}
	return w
}

func repTenths(ex *exercise.Exercise, t plan.Tempo) int32 {
	if !t.IsZero() {
		return 10 * (t.Down + t.Hold + t.Up)
	}
	return int32(ex.Rep) * 10
}

func (m *maker) sets() []plan.Set {
	out := make([]plan.Set, 0, len(m.warm)+len(m.work))
	return append(append(out, m.warm...), m.work...)
}

// fitBudget leaves out warm-up steps, the lightest first, where time is short. Work of
// 85 % and more keeps them all, other work its last one.
func (m *maker) fitBudget() {
	budget := m.in.Budget
	if budget <= 0 {
		return
	}
	took := Seconds(m.in.Exercise, m.sets())
	cut := 0
	for took > budget && len(m.warm) > 1 && !m.calibrating && m.str.permille(m.top) < heavyIntensity {
		m.warm = m.warm[1:]
		cut++
		took = Seconds(m.in.Exercise, m.sets())
	}
	if cut > 0 {
		m.notes.say(noteWarmCut)
	}
	if took > budget {
		m.off.say(offTime, "took", took.String(), "budget", budget.String())
	}
}

// Bound gives an upper bound of an exercise's time for any number of sets n from 1 up:
// Exercise(...).Seconds is at most fixed + n·perSet. Fixed is setting up and the longest
// warm-up or ramp, less the last rest; it may be negative where that rest is longer.
//
// Of the input it reads Exercise, Role, Schemes (whose sets need not be settled),
// Limits, Warmup and Calibrate, and whether a counterweight has a Menu; set them as for the heaviest week. It holds for every
// load and place, and for every athlete unless Athlete.Curve is set.
func Bound(in Input) (fixed, perSet plan.Seconds) {
	base := int64(in.Exercise.Setup)*10 + warmTenths(&in)
	if len(in.Schemes) == 1 {
		// Every set costs at most perSet, so one set alone is the worst case.
		c, rest := setTenths(&in, &in.Schemes[0]), restTenths(&in, &in.Schemes[0])
		perSet = plan.Seconds((c + rest + 9) / 10)
		return plan.Seconds(-floorDiv64(-(base + c - int64(perSet)*10), 10)), perSet
	}
	total := int32(0)
	for i := range in.Schemes {
		total += in.Schemes[i].Sets.Max
	}
	total = max(total, 1)
	cost := make([]int64, 0, len(in.Schemes))
	var slope int64
	for i := range in.Schemes {
		c := setTenths(&in, &in.Schemes[i]) + restTenths(&in, &in.Schemes[i])
		cost = append(cost, c)
		slope = max(slope, c)
	}
	perSet = plan.Seconds((slope + 9) / 10)
	worst := int64(-1) << 60
	for n := int32(1); n <= total; n++ {
		sum, last := base, -1
		for i, k := range counts(in.Schemes, n) {
			sum += int64(k) * cost[i]
			if k > 0 {
				last = i
			}
		}
		if last >= 0 {
			sum -= restTenths(&in, &in.Schemes[last])
		}
		worst = max(worst, sum-int64(n)*int64(perSet)*10)
	}
	return plan.Seconds(-floorDiv64(-worst, 10)), perSet
}

func setTenths(in *Input, s *plan.Scheme) int64 {
	ex := in.Exercise
	each, reps := int64(repTenths(ex, s.Tempo)), int64(0)
	if timed(ex, s) {
		each, reps = int64(s.Hold.Max)*10, 1
	} else {
		_, hi := floored(s, in.Limits.RepsFloor)
		hi = max(hi, in.Limits.Stretch)
		if s.OpenEnded {
			hi = max(hi, mostReps)
		}
		if in.Calibrate {
			// A cap on intensity can ask for more repetitions in the calibration set.
			hi = max(hi, calibrationLeast)
			if in.Related != "" {
				hi += guideMore
			}
			if in.Limits.MaxIntensity > 0 {
				hi = max(hi, calibrationCapped)
			}
		}
		reps = int64(hi)
	}
	t := reps * each
	if ex.Unilateral {
		t *= 2
	}
	return t + int64(ex.SetSetup)*10
}

func restTenths(in *Input, s *plan.Scheme) int64 {
	if in.Exercise.Unilateral {
		return int64(s.Rest) * 5
	}
	return int64(s.Rest) * 10
}

// warmTenths is the longest warm-up that can come: load.WarmUp's grows with the
// intensity, so that of the heaviest load that a scheme can lead to.
func warmTenths(in *Input) int64 {
	loadable := in.Exercise.Loading.Loadable() || settable(in)
	rep, rest := int64(in.Exercise.Rep)*10, int64(10)
	if in.Exercise.Unilateral {
		rep, rest = rep*2, 5
	}
	var sum, ramp int64
	if in.Warmup && loadable {
		for _, w := range load.WarmUp(warmRole(in), heaviest(in)) {
			sum += int64(w.Reps)*rep + int64(warmRest(w.Rest))*rest
		}
	}
	if in.Calibrate && loadable && in.Exercise.Loading != plan.LoadingAdded {
		ramp = int64(ramps(in)) * (rampReps*rep + int64(rampRest)*rest)
	}
	return max(sum, ramp)
}

// heaviest is the highest intensity that the schemes can lead to. Without the
// athlete's curve it is taken for the most enduring athlete there is.
func heaviest(in *Input) plan.Permille {
	top := plan.Permille(0)
	for i := range in.Schemes {
		s := &in.Schemes[i]
		if timed(in.Exercise, s) || s.Sets.Max <= 0 {
			continue
		}
		e := &s.Effort
		if e.Intensity.Set && e.Reference.Kind != plan.RefRM && e.Reference.Kind != plan.RefSetBefore {
			// A load rounded up may be a little heavier than the share.
			top = max(top, min(e.Intensity.Value*11/10, 1000))
			continue
		}
		d := demandOf(s, Limits{MinRIR: in.Limits.MinRIR, Failure: in.Limits.Failure}, func(string, ...string) {})
		tenths := 10*d.lo + max(10*d.least()-5, 0)
		if d.least() == 0 {
			tenths -= 5
		}
		if e.Intensity.Set && e.Reference.Kind == plan.RefRM {
			tenths = 10*e.Reference.RM - 10
		}
		top = max(top, intensityAt(in, tenths))
	}
	if l := in.Limits.MaxIntensity; l > 0 {
		top = min(top, l)
	}
	return min(top, 1000)
}

func intensityAt(in *Input, tenths int32) plan.Permille {
	c := in.Athlete.Curve
	if c == nil {
		var err error
		if c, err = load.CurveFor(string(in.Exercise.Curve)); err != nil {
			return 1000
		}
		if c, err = load.Shifted(c, load.MaxShift); err != nil {
			return 1000
		}
	}
	bp := c.IntensityBP(min(max(tenths, 10), c.MaxTenths()))
	return plan.Permille(bp/10 + 10)
}

func floorDiv64(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
