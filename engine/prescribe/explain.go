package prescribe

import (
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// Ids of the rules that this stage sets numbers by.
const (
	ruleReps      plan.RuleID = "outline.reps"
	ruleRIR       plan.RuleID = "outline.rir"
	ruleRest      plan.RuleID = "outline.rest"
	ruleHold      plan.RuleID = "outline.hold"
	ruleCurve     plan.RuleID = "load.curve"
	ruleDrop      plan.RuleID = "load.drop"
	ruleDown      plan.RuleID = "load.round-down"
	ruleIntensity plan.RuleID = "load.intensity"
	ruleDeferred  plan.RuleID = "load.deferred"
	ruleCalibrate plan.RuleID = "load.calibrate"
	ruleWarm      plan.RuleID = "load.warmup"
	ruleFree      plan.RuleID = "load.body-mass"
	ruleByFeel    plan.RuleID = "load.by-reserve"
	ruleCap       plan.RuleID = "safety.cap"
	ruleMinRIR    plan.RuleID = "safety.rir"
	ruleFailure   plan.RuleID = "safety.failure"
	ruleFloor     plan.RuleID = "safety.reps-floor"
	ruleTime      plan.RuleID = "time.exercise"
)

const commonPractice = "common practice, no source"

// Rules gives the rules that a basis of this package can name.
func Rules() []plan.Rule {
	return []plan.Rule{
		{ID: ruleReps, Says: "The strategy sets the repetitions; expected is what the athlete's curve gives at the load, less the drop from the sets before.", Source: "Nuzzo et al., Sports Med 54:303-321, 2024, for the curves"},
		{ID: ruleRIR, Says: "The strategy sets the repetitions in reserve; each set is within one of it, the repetitions move in their range first.", Source: "Zourdos et al., J Strength Cond Res 30(1):267-275, 2016; the margin of one: " + commonPractice},
		{ID: ruleRest, Says: "The strategy sets the rest; the drop from set to set is reckoned at it.", Source: "ACSM position stand, Med Sci Sports Exerc 41(3):687-708, 2009 (from memory)"},
		{ID: ruleHold, Says: "Timed sets are held for the seconds of the strategy.", Source: commonPractice},
		{ID: ruleCurve, Says: "The load is the buildable one at which the first and last set lie evenly in the range with the wanted reserve; for fixed repetitions the last set has it.", Source: "Nuzzo et al., Sports Med 54:303-321, 2024, for the curves; the choice in the range: " + commonPractice},
		{ID: ruleDrop, Says: "The load falls from set to set where one load cannot keep the repetitions and the reserve at this rest.", Source: "Willardson & Burkett, J Strength Cond Res 19(1):23-26, 2005 (from memory), for the loss of repetitions; the answer to it: " + commonPractice},
		{ID: ruleDown, Says: "Loads are rounded to the nearest that can be set, down where repetitions are 3 or fewer, RIR is 1 or less, or the reserve is the least that safety allows.", Source: commonPractice},
		{ID: ruleIntensity, Says: "The strategy sets the load as a share of a reference; it is lowered only where the repetitions would not be possible or safety forbids it.", Source: "the strategy"},
		{ID: ruleDeferred, Says: "The load is fixed on the day as a share of what the athlete's latest estimate or the set before shows.", Source: commonPractice},
		{ID: ruleCalibrate, Says: "Unknown strength: a ramp to one set with about 3 in reserve shows the load; later loads are shares of it by the curve and the planned growth.", Source: "Halperin et al., Sports Med 52:377-390, 2022, for how well reserve is called; the procedure: " + commonPractice},
		{ID: ruleWarm, Says: "Lighter sets with fewer repetitions as the load climbs, before heavy work and the first lift of a pattern.", Source: "NSCA, Essentials of Strength Training and Conditioning, 4th ed., and Iversen et al., Sports Med 51:2079-2095, 2021 (both from memory)"},
		{ID: ruleFree, Says: "With body mass alone the repetitions follow from the most the athlete can do, less the drop from set to set.", Source: commonPractice},
		{ID: ruleByFeel, Says: "Where no load in numbers is known, the repetitions in reserve alone decide.", Source: "Helms et al., Front Physiol 9:247, 2018"},
		{ID: ruleCap, Says: "No load is above the intensity that safety allows this athlete.", Source: commonPractice},
		{ID: ruleMinRIR, Says: "No set leaves fewer in reserve than safety allows this athlete here.", Source: commonPractice},
		{ID: ruleFailure, Says: "Sets to failure become sets with a repetition in reserve where failure is not safe or not yet sensible.", Source: commonPractice},
		{ID: ruleFloor, Says: "Repetitions are raised to the fewest that make sense for the exercise, the width of the range and RIR kept.", Source: commonPractice},
		{ID: ruleTime, Says: "Setting up, warm-up sets and their rest, working sets at the upper end of their repetitions, rest between; both sides of one-sided work at half the rest.", Source: "ACSM 2009 for tempo; the rest: " + commonPractice},
	}
}

// explain writes the basis of every number, scheme by scheme.
func (m *maker) explain(took plan.Seconds) []plan.Basis {
	m.basis = make([]plan.Basis, 0, 8*len(m.runs)+2)
	whole := len(m.runs) == 1
	for i := range m.runs {
		r := &m.runs[i]
		var sets []int32
		if !whole {
			for k := r.from; k <= r.to; k++ {
				sets = append(sets, k)
			}
		}
		m.explainRun(r, sets)
	}
	if len(m.warm) > 0 {
		input := itoa(int32(len(m.warm))) + " before " + m.str.permille(m.top).String() + " of the 1RM"
		rule := ruleWarm
		if m.calibrating {
			rule, input = ruleCalibrate, "at most "+itoa(int32(len(m.warm)))+" lighter sets"
		}
		m.because(plan.NumberWarmup, rule, nil, input)
	}
	m.because(plan.NumberDuration, ruleTime, nil, took.String())
	return m.basis
}

func (m *maker) because(n plan.Number, rule plan.RuleID, sets []int32, input string) {
	m.basis = append(m.basis, plan.Basis{Number: n, Rule: rule, Sets: sets, Input: input})
}

func (m *maker) explainRun(r *run, sets []int32) {
	d, l := &r.d, &m.in.Limits
	s := d.src
	m.because(plan.NumberRest, ruleRest, sets, s.Rest.String())
	if r.timed {
		m.because(plan.NumberReps, ruleHold, sets, rangeText(s.Hold)+" s")
		return
	}
	asked := rangeText(s.Reps) + " asked"
	if d.open {
		asked += ", as many as possible"
	}
	m.because(plan.NumberReps, ruleReps, sets, asked+expected(r.shots))
	if d.lo != s.Reps.Min && l.RepsFloor > s.Reps.Min {
		m.because(plan.NumberReps, ruleFloor, sets, "at least "+itoa(l.RepsFloor))
	}
	if d.asked {
		want := s.Effort.Wanted()
		input := "RIR " + itoa(want.Or(defaultRIR)) + " asked"
		switch {
		case s.Effort.ToFailure:
			input = "to failure asked"
		case !want.Set:
			input = "nothing asked, RIR " + itoa(defaultRIR) + " taken"
		}
		m.because(plan.NumberRIR, ruleRIR, sets, input)
	}
	if s.Effort.ToFailure && !d.failure {
		m.because(plan.NumberRIR, ruleFailure, sets, "RIR "+itoa(d.rir)+" instead of failure")
	} else if d.asked && d.floor > s.Effort.Wanted().Or(defaultRIR) {
		m.because(plan.NumberRIR, ruleMinRIR, sets, "RIR at least "+itoa(d.floor))
	}
	m.explainLoad(r, sets)
}

func (m *maker) explainLoad(r *run, sets []int32) {
	d, e := &r.d, &r.d.src.Effort
	if r.calibrated {
		reps, rir, _ := Calibration(*m.in)
		m.because(plan.NumberLoad, ruleCalibrate, []int32{r.from}, itoa(reps)+" repetitions, RIR "+itoa(rir))
	}
	if r.unknown {
		switch {
		case d.src.Effort.Reference.Kind == plan.RefSetBefore:
			m.because(plan.NumberLoad, ruleDeferred, sets, "from the set before")
		case r.deferred:
			m.because(plan.NumberLoad, ruleDeferred, sets, e.Intensity.Value.String()+" of what the day shows")
		default:
			m.because(plan.NumberLoad, ruleByFeel, sets, "no strength known")
		}
		if r.capped {
			m.because(plan.NumberRIR, ruleCap, sets, "at most "+m.in.Limits.MaxIntensity.String())
		}
		return
	}
	if len(r.shots) == 0 {
		return
	}
	switch {
	case m.str.oneRM <= 0:
		m.because(plan.NumberLoad, ruleFree, sets, tenths(m.str.free)+" repetitions possible with body mass")
		return
	case e.Intensity.Set:
		m.because(plan.NumberLoad, ruleIntensity, sets, m.loadInput(r, e.Intensity.Value.String()+" asked"))
	case m.calibrating:
		m.because(plan.NumberLoad, ruleCalibrate, sets, m.loadInput(r, "the load just found"))
	case !m.real:
		m.because(plan.NumberLoad, ruleCalibrate, sets, m.loadInput(r, "growth "+(plan.Permille(growth(m.in))-1000).String()))
	default:
		m.because(plan.NumberLoad, ruleCurve, sets, m.loadInput(r, "1RM "+m.maxText()))
	}
	if r.deferred && m.real {
		m.because(plan.NumberLoad, ruleDeferred, sets, "the load shown is what it will be if all goes as planned")
	}
	if r.fell {
		m.because(plan.NumberLoad, ruleDrop, sets, "rest "+d.rest.String())
	}
	if d.down && m.real && r.shots[0].rung.load {
		m.because(plan.NumberLoad, ruleDown, sets, rangeText(plan.Range{Min: d.lo, Max: d.hi})+" repetitions, RIR "+itoa(d.rir))
	}
	if r.capped {
		m.because(plan.NumberLoad, ruleCap, sets, "at most "+m.in.Limits.MaxIntensity.String())
	}
}

// loadInput is the numbers behind a load: "1RM 140 kg, 5 of 6.9 possible repetitions
// in the last set: 87.5 % of the 1RM".
func (m *maker) loadInput(r *run, first string) string {
	last := r.shots[len(r.shots)-1]
	return first + ", " + itoa(last.reps) + " of " + tenths(last.capacity) + " possible repetitions in the last set: " + m.str.permille(last.rung.moved).String() + " of the 1RM"
}

func expected(shots []shot) string {
	if len(shots) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString("; expected ")
	for i, x := range shots {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(itoa(x.reps))
	}
	return b.String()
}

func tenths(v int32) string {
	if v%10 == 0 {
		return itoa(v / 10)
	}
	return itoa(v/10) + "." + itoa(v%10)
}
