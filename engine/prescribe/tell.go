package prescribe

import "github.com/phasewright/phasewright/engine/plan"

// limited reports sets that a cap on intensity holds down.
func (m *maker) limited(r *run, missed miss) bool {
	limit := m.in.Limits.MaxIntensity
	if limit <= 0 || m.str.oneRM <= 0 {
		return false
	}
	e := &r.d.src.Effort
	if e.Intensity.Set {
		return !m.str.allowed(m.reference(e)*int64(e.Intensity.Value)/1000, limit)
	}
	up, ok := m.lad.above(r.shots[0].rung)
	return missed.over > 0 && ok && !m.str.allowed(up.moved, limit)
}

// tell says what a scheme's sets could not keep.
func (m *maker) tell(r *run, missed miss) {
	d, e := &r.d, &r.d.src.Effort
	limit := m.in.Limits.MaxIntensity
	if r.capped {
		m.notes.say(noteCapped, "cap", limit.String())
	} else if e.Intensity.Set && (r.lowered || r.fell) {
		m.notes.say(noteLowered, "asked", e.Intensity.Value.String())
	}
	if missed.short > 0 {
		m.tellShort(r)
	}
	if missed.over == 0 {
		return
	}
	worst := r.shots[0]
	for _, x := range r.shots {
		if x.rir > worst.rir {
			worst = x
		}
	}
	rir, want := itoa(worst.rir), itoa(d.rir)
	up, more := m.lad.above(worst.rung)
	if m.real && !more && helped(m.in) {
		m.notes.say(noteUnhelped, "load", worst.rung.opt.Load.String())
	}
	switch {
	case r.capped:
		m.off.say(offCapped, "cap", limit.String(), "rir", rir, "want", want)
	case e.Intensity.Set:
		m.off.say(offShare, "rir", rir, "want", want)
	case !worst.rung.load && m.real:
		m.off.say(offOverBody, "rir", rir, "want", want)
	case more:
		m.off.say(offOver, "load", m.loadText(worst.rung), "rir", rir, "want", want, "next", m.loadText(up))
	default:
		m.off.say(offOverTop, "load", m.loadText(worst.rung), "rir", rir, "want", want)
	}
}

func (m *maker) tellShort(r *run) {
	d := &r.d
	least := r.shots[0]
	for _, x := range r.shots {
		if x.reps < least.reps {
			least = x
		}
	}
	want := rangeText(plan.Range{Min: d.lo, Max: d.hi})
	bodyOnly := !least.rung.load || m.in.Exercise.Loading == plan.LoadingAdded && least.rung.opt.Load.IsZero()
	if bodyOnly && m.real && least.reps >= repsTogether {
		m.notes.say(noteFewer, "reps", want, "new", rangeText(d.printed(r.shots)))
		return
	}
	if lower, ok := m.lad.below(least.rung); ok {
		m.off.say(offShortGap, "load", m.loadText(least.rung), "got", itoa(least.reps), "rir", itoa(least.rir), "reps", want, "next", m.loadText(lower))
		return
	}
	m.off.say(offShort, "load", m.loadText(least.rung), "got", itoa(least.reps), "rir", itoa(least.rir), "reps", want)
}

func (m *maker) loadText(x rung) string {
	switch {
	case !m.real:
		if x.share == 1000 {
			return "the load of the calibration set"
		}
		return x.share.String() + " of the calibration load"
	case !x.load:
		return "body mass"
	case m.in.Exercise.Loading == plan.LoadingAdded && x.opt.Load.IsZero():
		return "body mass with nothing added"
	case m.in.Exercise.Loading == plan.LoadingAdded:
		return "body mass and " + x.opt.Load.String()
	case m.in.Exercise.Loading == plan.LoadingAssisted:
		return "body mass less " + x.opt.Load.String()
	}
	return x.opt.Load.String()
}

// maxText is the 1RM in the unit of the loads, to a tenth.
func (m *maker) maxText() string {
	unit := plan.Kilogram
	if m.in.Menu != nil && m.in.Menu.Len() > 0 {
		unit = m.in.Menu.At(0).Load.Unit
	}
	l := plan.Kg(m.str.oneRM).In(unit)
	l.Milli = (l.Milli + 50) / 100 * 100
	return l.String()
}
