package prescribe

import (
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// maker puts one exercise's sets together.
type maker struct {
	in    *Input
	str   strength
	lad   ladder // nil where no load can be given
	debt  load.Debt
	real  bool // loads are real ones, not shares of a calibration
	notes lines
	off   lines

	warm, work []plan.Set
	basis      []plan.Basis
	runs       []run
	top        int64 // heaviest moved mass of the working sets
	first      rung  // of the working sets
	firstKnown bool
	last       rung
	lastKnown  bool

	calibrating bool
}

// run remembers what was decided for one scheme, for the explanation.
type run struct {
	at         int   // the scheme
	aim        int64 // of a rule that adds a share a week
	d          demand
	from, to   int32 // working sets, 1-based
	shots      []shot
	fell       bool // the load falls from set to set
	lowered    bool // the given share was too heavy
	capped     bool
	deferred   bool
	calibrated bool
	unknown    bool
	timed      bool
}

func newMaker(in *Input) *maker {
	n := int32(0)
	for i := range in.Schemes {
		n += in.Schemes[i].Sets.Min
	}
	m := &maker{in: in, real: true, work: make([]plan.Set, 0, n)}
	a := &in.Athlete
	body := bodyShare(a)
	m.str = strength{curve: a.Curve, oneRM: a.OneRMGrams}
	switch loading := in.Exercise.Loading; {
	case loading == plan.LoadingAdded:
		m.added(body)
	case !loading.Loadable() && !helped(in):
		if a.FreeRepsTenths > 0 {
			m.str = strength{curve: a.Curve, free: a.FreeRepsTenths}
		} else if body <= 0 {
			m.str.oneRM = 0
		}
		if chosenByFeel(loading) {
			m.str = strength{curve: a.Curve}
		}
		if m.str.known() {
			m.lad = alone{body}
		}
	case in.Calibrate:
		m.calibrating = true
	case a.OneRMGrams > 0 && helped(in):
		m.lad = counterweight{in.Menu, body}
	case a.OneRMGrams > 0:
		if in.Menu != nil && in.Menu.Len() > 0 {
			m.lad = buildable{menu: in.Menu, body: body}
		}
	case in.CalibratedTenths > 0:
		m.relative(in.CalibratedTenths, growth(in), relativeMax)
	}
	return m
}

// chosenByFeel reports loads without a number that are there in steps all the same.
func chosenByFeel(l plan.Loading) bool { return l == plan.LoadingBand || l == plan.LoadingAssisted }

// added is the case of body mass plus a load that may be nothing. Repetitions with
// body mass alone stand for a 1RM where body mass is known.
func (m *maker) added(body int64) {
	a := &m.in.Athlete
	if m.str.oneRM == 0 && a.FreeRepsTenths > 0 && body > 0 {
		if bp := int64(a.Curve.IntensityBP(a.FreeRepsTenths)); bp > 0 {
			m.str.oneRM = body * 10_000 / bp
		}
	}
	if body <= 0 {
		m.str.oneRM = 0
	}
	switch {
	case m.str.oneRM > 0 && m.in.Menu != nil && m.in.Menu.Len() > 0:
		m.lad = buildable{m.in.Menu, body, m.in.Exercise.Step(m.in.Menu.At(0).Load.Unit).Milli}
	case m.str.oneRM > 0:
		m.lad = alone{body}
	case a.FreeRepsTenths > 0:
		m.str.free = a.FreeRepsTenths
		m.lad = alone{body}
	}
}

// relative makes loads shares of what a calibration set of that effort showed.
func (m *maker) relative(tenths, growth int32, limit plan.Permille) {
	m.real = false
	m.str = strength{curve: m.in.Athlete.Curve, oneRM: relativeOneRM / 1000 * int64(growth)}
	m.lad = relative{bp: int64(max(m.in.Athlete.Curve.IntensityBP(tenths), 1)), max: limit}
}

func growth(in *Input) int32 {
	if in.GrowthPermille <= 0 {
		return 1000
	}
	return in.GrowthPermille
}

// scheme prescribes the sets of one scheme.
func (m *maker) scheme(i int) {
	s := &m.in.Schemes[i]
	if s.Sets.Min <= 0 {
		return
	}
	if timed(m.in.Exercise, s) {
		m.hold(s)
		return
	}
	d := demandOf(s, m.in.Limits, m.notes.say)
	r := run{at: i, d: d, from: int32(len(m.work)) + 1}
	if m.calibrating && i == m.calibrationAt() {
		m.calibrationSet(&r)
		r.d.n-- // the rest follow at what it showed
		d = r.d
	}
	switch {
	case d.n == 0:
	case s.Effort.Reference.Kind == plan.RefSetBefore:
		m.bySetBefore(&r)
	case m.lad == nil:
		m.unknown(&r)
	default:
		m.known(&r)
	}
	r.to = int32(len(m.work))
	m.runs = append(m.runs, r)
}

// known prescribes sets whose loads follow from the curve.
func (m *maker) known(r *run) {
	d := &r.d
	sol := solver{d: d, str: m.str, lad: m.lad, limit: m.in.Limits.MaxIntensity, from: m.debt}
	e := &d.src.Effort
	var ok bool
	if e.Intensity.Set {
		r.lowered, ok = sol.share(m.reference(e) * int64(e.Intensity.Value) / 1000)
	} else if m.calibrating {
		// The load just found is kept if it can be.
		ok = sol.startAt(1000 * m.lad.(relative).bp)
	} else if sol.carryOn(m.before(r.at), m.stepUp) {
		ok = true
	} else if ok = sol.solve(); ok && sol.withinStep(m.before(r.at), m.stepUp) {
		// Near the time before.
	} else if ok && sol.miss.over > 0 && m.in.Limits.Stretch > d.hi {
		// Nothing is heavy enough: more repetitions instead.
		wide := *d
		wide.hi = m.in.Limits.Stretch
		again := solver{d: &wide, str: m.str, lad: m.lad, limit: m.in.Limits.MaxIntensity, from: m.debt}
		if again.share(sol.best[0].rung.moved); again.miss.cost() < sol.miss.cost() {
			m.notes.say(noteStretch, "reps", rangeText(plan.Range{Min: d.lo, Max: d.hi}), "most", itoa(peak(again.best)))
			*d = wide
			sol = again
			sol.d = d
		}
	}
	if ok && !e.Intensity.Set && !m.calibrating && sol.miss.over > 1 && m.in.Role != plan.GoalLift && d.src.Progress.Kind != plan.ProgressHold {
		m.fewerButHeavier(d, &sol)
	}
	if !ok || !m.doable(sol.best) {
		m.impossible(r, &sol)
		return
	}
	m.debt = sol.debt
	r.shots, r.aim = sol.best, sol.aim
	m.write(r, sol.miss)
}

// fewerButHeavier goes below the range where the loads come in steps so big that the
// lighter one is next to no work: better a few repetitions less at the heavier one.
func (m *maker) fewerButHeavier(d *demand, sol *solver) {
	for by := int32(1); by <= belowRange; by++ {
		low := *d
		if low.lo -= by; low.lo < max(m.in.Limits.RepsFloor, fewReps+1) {
			return
		}
		again := solver{d: &low, str: m.str, lad: m.lad, limit: m.in.Limits.MaxIntensity, from: m.debt}
		if !again.solve() || !again.miss.none() || !m.doable(again.best) {
			continue
		}
		m.notes.say(noteBelow, "reps", rangeText(plan.Range{Min: d.lo, Max: d.hi}))
		*d = low
		*sol = again
		sol.d = d
		return
	}
}

// doable reports sets of at least one repetition each, none above the cap.
func (m *maker) doable(shots []shot) bool {
	for _, x := range shots {
		if x.reps <= 0 || !m.str.allowed(x.rung.moved, m.in.Limits.MaxIntensity) {
			return false
		}
	}
	return true
}

func peak(shots []shot) int32 {
	p := int32(0)
	for _, x := range shots {
		p = max(p, x.reps)
	}
	return p
}

// reference gives the mass (on the ladder's scale) that an intensity is a share of.
func (m *maker) reference(e *plan.Effort) int64 {
	if e.Reference.Kind == plan.RefRM {
		return m.str.moved(10 * max(e.Reference.RM, 1))
	}
	return m.str.oneRM
}

// write turns shots into sets.
func (m *maker) write(r *run, missed miss) {
	d := &r.d
	reps := d.printed(r.shots)
	start := r.shots[0].rung
	for i := range r.shots {
		x := &r.shots[i]
		set := m.blank(d, reps)
		set.Expected = x.reps
		// A set that the range ends before failure is none to failure.
		set.ToFailure = d.failure && x.rir == 0
		single := !set.Kind.Counts() && reps.Max == 1 // a test or an attempt: it goes up or it doesn't
		if !single && ((d.asked || d.open) && x.rir <= mostRIR || x.rir <= hiddenRIR) {
			set.RIR = plan.Some(x.rir)
		}
		if p := m.str.permille(x.rung.moved); m.str.oneRM > 0 && p > 0 {
			set.Intensity = plan.Some(p)
		}
		if m.real && x.rung.load {
			m.put(&set, x.rung.opt)
		}
		set.Deferred = m.deferral(d, x.rung, start, r.lowered)
		r.deferred = r.deferred || set.Deferred.Set
		r.fell = r.fell || x.rung.moved != start.moved
		m.work = append(m.work, set)
		m.remember(x.rung)
	}
	r.capped = m.limited(r, missed)
	m.tell(r, missed)
}

// put says how the load is made: plates a side, and what else is in it where the load
// does not show it.
func (m *maker) put(set *plan.Set, o load.Option) {
	set.Load, set.Plates, set.AddOns = plan.Some(o.Load), o.PerSide, o.AddOns
	if o.Collars.Milli > 0 {
		set.Collars = plan.Some(o.Collars)
	}
	if o.Bar.Milli > 0 && (o.Bar.Unit != o.Load.Unit || len(o.AddOns) > 0 || m.in.Menu.Several()) {
		set.Base = plan.Some(o.Bar)
	}
	for _, l := range o.Hung {
		if l.Unit != o.Load.Unit {
			set.Plates = o.Hung // the load alone would not say what to take
		}
	}
}

func (m *maker) remember(x rung) {
	m.top = max(m.top, x.moved)
	if !m.firstKnown {
		m.first, m.firstKnown = x, true
	}
	m.last, m.lastKnown = x, true
}

// deferral says whether the load is fixed on the day only, and as a share of what.
func (m *maker) deferral(d *demand, x, start rung, lowered bool) plan.Opt[plan.Deferred] {
	e := &d.src.Effort
	if !m.real {
		return plan.Some(plan.Deferred{Reference: plan.Reference{Kind: plan.RefCalibration}, Share: x.share})
	}
	if m.str.oneRM <= 0 || !x.load {
		return plan.Opt[plan.Deferred]{}
	}
	if own := e.Reference.Kind == plan.RefLatest || e.Reference.Kind == plan.RefEstimate; m.in.Related != "" && m.in.CalibratedTenths > 0 && !own {
		return m.ofFound(x)
	}
	ref := plan.Reference{Kind: plan.RefLatest}
	if e.Intensity.Set && (e.Reference.Kind == plan.RefLatest || e.Reference.Kind == plan.RefEstimate) {
		ref = e.Reference
		if x.moved == start.moved && !lowered {
			return plan.Some(plan.Deferred{Reference: ref, Share: e.Intensity.Value})
		}
	} else if e.Reference.Kind == plan.RefEstimate {
		ref = e.Reference
	} else if !m.in.Deferred && e.Reference.Kind != plan.RefLatest {
		return plan.Opt[plan.Deferred]{}
	}
	share := m.str.permille(x.moved)
	if share <= 0 {
		return plan.Opt[plan.Deferred]{} // an empty machine is no share of anything
	}
	return plan.Some(plan.Deferred{Reference: ref, Share: share})
}

// ofFound states a load as a share of what the calibration set showed, to whole percents.
func (m *maker) ofFound(x rung) plan.Opt[plan.Deferred] {
	then := m.str.oneRM * 1000 / int64(growth(m.in)) * int64(m.in.Athlete.Curve.IntensityBP(m.in.CalibratedTenths)) / 10_000
	share := (plan.Permille(x.moved*1000/max(then, 1)) + relativeStep/2) / relativeStep * relativeStep
	if share <= 0 || share > relativeMax {
		return plan.Opt[plan.Deferred]{}
	}
	return plan.Some(plan.Deferred{Reference: plan.Reference{Kind: plan.RefCalibration}, Share: share})
}

// blank is a set with what the scheme says of it.
func (m *maker) blank(d *demand, reps plan.Range) plan.Set {
	kind := d.src.Kind
	if kind == plan.SetUnspecified {
		kind = plan.SetWorking
	}
	return plan.Set{Kind: kind, Reps: reps, OpenEnded: d.open, Rest: d.rest, Tempo: d.src.Tempo, Adjust: d.src.Adjust}
}

// printed is the range that stands on paper: the scheme's, the few repetitions that
// are possible, or of a wide range the part that is expected.
func (d *demand) printed(shots []shot) plan.Range {
	lo, hi := mostReps*2, int32(0)
	for _, x := range shots {
		lo, hi = min(lo, int(x.reps)), max(hi, x.reps)
	}
	least := int32(lo)
	switch {
	case d.open:
		return plan.Range{Min: d.lo, Max: max(d.hi, d.lo)}
	case least < d.lo:
		return plan.Range{Min: max(least, 1), Max: max(hi, 1)}
	case d.hi-d.lo >= 6 && d.hi-d.lo > 2*(hi-least+1):
		return plan.Range{Min: least, Max: min(hi+2, d.hi)}
	}
	return plan.Range{Min: d.lo, Max: d.hi}
}

// hold prescribes timed sets: seconds and effort, no repetitions and no load.
func (m *maker) hold(s *plan.Scheme) {
	r := run{d: demand{src: s, n: s.Sets.Min, rest: s.Rest}, from: int32(len(m.work)) + 1, timed: true}
	for range s.Sets.Min {
		set := m.blank(&r.d, plan.Range{})
		set.Hold = s.Hold
		if w := s.Effort.Wanted(); w.Set {
			set.RIR = plan.Some(max(w.Value, m.in.Limits.MinRIR))
		}
		m.work = append(m.work, set)
	}
	if m.in.Exercise.Loading.Loadable() {
		m.notes.say(noteHoldLoad)
	}
	r.to = int32(len(m.work))
	m.runs = append(m.runs, r)
}

// unknown prescribes repetitions and RIR where no load can be given.
func (m *maker) unknown(r *run) {
	d := &r.d
	e := &d.src.Effort
	loadable := m.in.Exercise.Loading.Loadable()
	if limit := m.in.Limits.MaxIntensity; limit > 0 && (loadable || m.in.Exercise.Loading == plan.LoadingAssisted) && d.asked && !e.Intensity.Set {
		// Chosen by reserve, a load keeps the cap where the reserve is large enough.
		if need := under(m.str.curve, limit) - d.lo; need > d.rir {
			if need > d.rir+1 {
				m.off.say(offCapped, "cap", limit.String(), "rir", itoa(need), "want", itoa(d.rir))
			}
			// Nobody can tell twenty in reserve from ten: more repetitions then, as far as they go.
			if more := min(need-mostRIR, m.in.Limits.Most-d.lo); more > 0 {
				d.lo, d.hi, need = d.lo+more, max(d.hi, d.lo+more), need-more
			}
			need = min(need, mostStated)
			d.rir, d.failure, r.capped = need, false, true
		}
	}
	for range d.n {
		set := m.blank(d, plan.Range{Min: d.lo, Max: d.hi})
		if d.asked {
			set.RIR = plan.Some(d.rir)
		}
		set.ToFailure = d.failure
		if e.Intensity.Set && loadable {
			ref := e.Reference
			if ref.Kind == plan.RefPlanned {
				ref = plan.Reference{Kind: plan.RefLatest}
			}
			set.Deferred = plan.Some(plan.Deferred{Reference: ref, Share: m.capShare(e.Intensity.Value)})
			r.deferred = true
		}
		m.work = append(m.work, set)
	}
	r.unknown = true
	switch {
	case r.deferred:
		m.notes.say(noteDeferred)
	case m.in.Exercise.Loading == plan.LoadingBand:
		m.notes.say(noteBand)
	case m.in.Exercise.Loading == plan.LoadingAssisted:
		m.notes.say(noteAssist)
	case loadable && m.in.Exercise.Loading != plan.LoadingAdded:
		m.notes.say(noteChooseLoad)
	default:
		m.notes.say(noteStopAtRIR)
	}
}

func (m *maker) capShare(p plan.Permille) plan.Permille {
	if l := m.in.Limits.MaxIntensity; l > 0 {
		return min(p, l)
	}
	return p
}

// bySetBefore leaves the load to the athlete, who moves it by the table.
func (m *maker) bySetBefore(r *run) {
	d := &r.d
	for range d.n {
		set := m.blank(d, plan.Range{Min: d.lo, Max: d.hi})
		if d.asked {
			set.RIR = plan.Some(d.rir)
		}
		set.ToFailure = d.failure
		set.Deferred = plan.Some(plan.Deferred{Reference: d.src.Effort.Reference, Share: d.src.Effort.Intensity.Or(1000)})
		m.work = append(m.work, set)
		if m.lastKnown {
			// Its cost is that of a like set at the load before.
			_, m.debt = shoot(d, m.str.fresh(m.last.moved), m.debt)
		}
	}
	r.deferred, r.unknown = true, true
	m.notes.say(noteSetBefore)
}

// impossible keeps the sets without a load and says why.
func (m *maker) impossible(r *run, sol *solver) {
	d := &r.d
	for range d.n {
		set := m.blank(d, plan.Range{Min: d.lo, Max: d.hi})
		set.RIR = plan.Some(d.rir)
		m.work = append(m.work, set)
	}
	r.unknown = true
	if len(sol.best) == 0 {
		m.off.say(offNoLoad)
		return
	}
	low := sol.best[len(sol.best)-1].rung
	if limit := m.in.Limits.MaxIntensity; !m.str.allowed(low.moved, limit) {
		m.off.say(offAboveCap, "load", m.loadText(low), "cap", limit.String(), "share", m.str.permille(low.moved).String())
		return
	}
	m.off.say(offTooHeavy, "load", m.loadText(low), "rir", itoa(d.rir), "sets", itoa(d.n))
}
