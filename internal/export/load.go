package export

import (
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// load prints what to load in plain words; "" where nothing is to be said.
func (t *text) load(e *plan.ProgramExercise, s *plan.Set, week int32) string {
	if s.Deferred.Set {
		return t.deferred(e, s, week)
	}
	return t.fixed(e.ExerciseID, s.Load)
}

// fixed prints a load that is known now.
func (t *text) fixed(id string, l plan.Opt[plan.Load]) string {
	loading := plan.LoadingUnspecified
	if x := t.exercise(id); x != nil {
		loading = x.Loading
	}
	switch {
	case loading == plan.LoadingBand:
		return "band"
	case loading == plan.LoadingAssisted:
		if l.Set {
			return "help " + l.Value.String()
		}
		return "counterweight"
	case loading == plan.LoadingBodyweight, loading == plan.LoadingAdded && l.Value.IsZero():
		return "body mass"
	case !l.Set && loading == plan.LoadingUnspecified:
		return ""
	case !l.Set:
		return "a load that leaves the RIR"
	case loading == plan.LoadingAdded:
		return "body mass + " + l.Value.String()
	case loading.PerHand():
		return l.Value.String() + " a hand"
	}
	return l.Value.String()
}

// deferred prints a load that is fixed only on the day.
func (t *text) deferred(e *plan.ProgramExercise, s *plan.Set, week int32) string {
	d := s.Deferred.Value
	out := ""
	switch d.Reference.Kind {
	case plan.RefCalibration:
		if t.helped(e) {
			out = "the help " + t.foundWhen(e, week) + t.helpOf(e, d.Share, " ")
			break
		}
		out = "the load " + t.foundWhen(e, week)
		if d.Share != 1000 && d.Share != 0 {
			out += " × " + factor(d.Share)
		}
	case plan.RefSetBefore:
		out = "the load that the set before shows"
	case plan.RefEstimate:
		out = share(d.Share) + "your 1RM estimate from " + d.Reference.Name
	case plan.RefRM:
		out = share(d.Share) + "your latest " + number(d.Reference.RM) + "RM"
	case plan.RefLatest:
		out = share(d.Share) + "your latest 1RM estimate"
	default:
		out = share(d.Share) + "the 1RM planned for the week"
	}
	if s.Load.Set && d.Reference.Kind == plan.RefCalibration {
		out += ", about " + t.fixed(e.ExerciseID, s.Load)
	} else if s.Load.Set {
		out += ", about " + t.fixed(e.ExerciseID, s.Load) + " if all goes as planned"
	}
	return out
}

// helped reports an exercise on a counterweight.
func (t *text) helped(e *plan.ProgramExercise) bool {
	x := t.exercise(e.ExerciseID)
	return x != nil && x.Loading == plan.LoadingAssisted
}

// helpOf says what help a share of what was moved with the found help asks for:
// " × 0.95 + 4 kg", as the rest of the body mass is taken off too; "" for all of it.
func (t *text) helpOf(e *plan.ProgramExercise, p plan.Permille, space string) string {
	if p == 1000 || p == 0 {
		return ""
	}
	r, body := &t.p.Request, int64(0)
	if x := t.exercise(e.ExerciseID); x != nil {
		body = r.Athlete.BodyMass.Value.Grams() * int64(x.BodyMassShare) / 1000
	}
	unit := r.Constraints.Unit
	if unit == plan.UnitUnspecified {
		unit = plan.Kilogram
	}
	sign, off := "+", body*int64(1000-p)/1000
	if off < 0 {
		sign, off = "−", -off
	}
	more := plan.Kg(off).In(unit)
	more.Milli = (more.Milli + 250) / 500 * 500
	out := space + "×" + space + factor(p) + space + sign + space + more.Number()
	if space != "" {
		out += " " + unit.String()
	}
	return out
}

func share(p plan.Permille) string {
	if p == 1000 || p == 0 {
		return ""
	}
	return p.String() + " of "
}

// foundWhen says when the calibration set is that a load refers to.
func (t *text) foundWhen(e *plan.ProgramExercise, week int32) string {
	for i := range e.Sets {
		if e.Sets[i].Kind == plan.SetCalibration {
			return "just found"
		}
	}
	w, ok := t.found[foundAt{e.ExerciseID, t.at}]
	if !ok {
		w, ok = t.found[foundAt{e.ExerciseID, ""}]
	}
	switch {
	case !ok:
		return "found before"
	case w == week:
		return "found this week"
	default:
		return "found in week " + number(w)
	}
}

// cell prints the loads of working sets for a table; "" where there are none.
func (t *text) cell(e *plan.ProgramExercise) string {
	var list []string
	for _, r := range grouped(e.Sets) {
		s := r.first()
		ref := s.Deferred.Value.Reference.Kind
		switch {
		case s.Kind == plan.SetCalibration:
			list = distinct(list, "find") // about what, stands in the week in full
		case s.Deferred.Set && ref == plan.RefCalibration && s.Load.Set:
			list = distinct(list, "~"+s.Load.Value.Number())
		case s.Deferred.Set && ref == plan.RefCalibration && t.helped(e) && s.Deferred.Value.Share != 1000:
			list = distinct(list, t.helpOf(e, s.Deferred.Value.Share, ""))
		case s.Deferred.Set && ref == plan.RefCalibration:
			list = distinct(list, "×"+factor(s.Deferred.Value.Share))
		case s.Deferred.Set && s.Load.Set:
			list = distinct(list, "≈"+t.marked(s.Load.Value))
		case s.Deferred.Set && ref == plan.RefSetBefore:
			list = distinct(list, "≈")
		case s.Deferred.Set:
			list = distinct(list, "≈"+s.Deferred.Value.Share.String())
		case s.Load.Set:
			list = distinct(list, t.marked(s.Load.Value))
		}
	}
	return strings.Join(list, "/")
}

// marked prints a load for a table, whose heading says the request's unit.
func (t *text) marked(l plan.Load) string {
	if u := t.p.Request.Constraints.Unit; u != plan.UnitUnspecified && l.Unit != u {
		return l.String()
	}
	return l.Short()
}

// warmups prints the warm-up sets on one line: "8 @ 20, 5 @ 60, 3 @ 85 kg".
func (t *text) warmups(e *plan.ProgramExercise, week int32) string {
	var list []string
	unit, of := "", ""
	mixed := false
	for i := range e.Sets {
		s := &e.Sets[i]
		mixed = mixed || s.Kind == plan.SetWarmup && s.Load.Set && (s.Load.Value.Unit != e.Sets[0].Load.Value.Unit || foreign(s))
	}
	for i := range e.Sets {
		s := &e.Sets[i]
		if s.Kind != plan.SetWarmup {
			continue
		}
		one := work(s)
		switch {
		case s.Deferred.Set && !s.Load.Set && t.helped(e) && s.Deferred.Value.Reference.Kind == plan.RefCalibration:
			of = " (the help " + t.foundWhen(e, week) + ")"
			one += " @ help" + t.helpOf(e, s.Deferred.Value.Share, " ")
		case s.Deferred.Set && !s.Load.Set:
			of = " of the load " + t.foundWhen(e, week)
			one += " @ " + s.Deferred.Value.Share.String()
			if s.Deferred.Value.Reference.Kind != plan.RefCalibration {
				of = " of your latest 1RM estimate"
			}
		case s.Load.Set && s.Load.Value.IsZero():
			one += " @ body mass"
		case s.Load.Set:
			one += " @ " + s.Load.Value.Short()
			if u := " " + s.Load.Value.Unit.String(); mixed {
				one += u
			} else {
				unit = u
			}
			if foreign(s) {
				one += " (" + t.warmupPieces(e, s) + ")"
			}
		}
		list = append(list, one)
	}
	if len(list) == 0 {
		return ""
	}
	if unit == "" && of == "" && !mixed {
		step := "a step heavier each time"
		if t.helped(e) {
			step = "less help each time"
		}
		return "lighter sets first, up to " + number(int32(len(list))) + " × " + list[0] + ", " + step
	}
	if of == "" && t.helped(e) {
		of = " of help"
	}
	return "warm-up " + strings.Join(list, ", ") + unit + of
}
