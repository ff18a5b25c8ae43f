package export

import (
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// run is a run of sets that are written as one: 4 × 8–12 @ 102.5 kg.
type run struct{ sets []plan.Set }

func (r *run) first() *plan.Set { return &r.sets[0] }

// grouped splits sets of one exercise into runs, warm-up sets left out.
func grouped(sets []plan.Set) []run {
	var out []run
	for i := range sets {
		s := &sets[i]
		if s.Kind == plan.SetWarmup {
			continue
		}
		if n := len(out); n > 0 && alike(out[n-1].first(), s) {
			out[n-1].sets = append(out[n-1].sets, *s)
			continue
		}
		out = append(out, run{sets: []plan.Set{*s}})
	}
	return out
}

func alike(a, b *plan.Set) bool {
	return a.Kind == b.Kind && a.Reps == b.Reps && a.Hold == b.Hold && a.OpenEnded == b.OpenEnded &&
		a.ToFailure == b.ToFailure && a.Load == b.Load && a.Deferred == b.Deferred && a.Tempo == b.Tempo &&
		(a.Rest == b.Rest || b.Rest == 0) && len(a.Adjust) == len(b.Adjust)
}

// work prints "8–12", "8+", "max" or "30–45 s".
func work(s *plan.Set) string {
	if !s.Hold.IsZero() {
		return span(s.Hold) + " s"
	}
	if s.OpenEnded {
		if s.Reps.Min > 1 {
			return number(s.Reps.Min) + "+"
		}
		return "max"
	}
	return span(s.Reps)
}

// workInWords is work for a line of its own.
func workInWords(s *plan.Set) string {
	switch {
	case !s.OpenEnded:
		return work(s)
	case s.Reps.Min > 1:
		return number(s.Reps.Min) + " or more"
	}
	return "as many as possible"
}

// reserve prints the RIR of sets: "2", "1–2", "failure" or "".
func reserve(sets []plan.Set) string {
	var r plan.Range
	any := false
	for i := range sets {
		s := &sets[i]
		if s.ToFailure {
			return "failure"
		}
		if !s.RIR.Set || !s.Hold.IsZero() { // a hold has no repetitions to keep
			continue
		}
		v := s.RIR.Value
		if !any {
			r, any = plan.Range{Min: v, Max: v}, true
		}
		r.Min, r.Max = min(r.Min, v), max(r.Max, v)
	}
	if !any {
		return ""
	}
	return span(r)
}

// rest is the rest of a run: that of any set but the last of the exercise, which has none.
func rest(sets []plan.Set) plan.Seconds {
	r := plan.Seconds(0)
	for i := range sets {
		r = max(r, sets[i].Rest)
	}
	return r
}

// tail prints what follows the load.
func tail(sets []plan.Set) string {
	out := ""
	switch rir := reserve(sets); {
	case rir == "failure" && len(sets) > 0 && sets[0].Kind == plan.SetWorking:
		out += ", to failure"
	case rir != "" && rir != "failure":
		out += ", RIR " + rir
	}
	if tempo := sets[0].Tempo; !tempo.IsZero() {
		out += ", tempo " + number(tempo.Down) + "-" + number(tempo.Hold) + "-" + number(tempo.Up)
	}
	if r := rest(sets); r > 0 {
		out += ", rest " + r.String()
	}
	return out
}

// head prints "4 × 8–12 each side @ 102.5 kg".
func (t *text) head(e *plan.ProgramExercise, r *run, week int32) string {
	s := r.first()
	out := ""
	switch s.Kind {
	case plan.SetCalibration:
		out = "find the load: a set of " + work(s)
		if t.helped(e) {
			out = "find the help: a set of " + work(s)
		}
		if rir := reserve(r.sets); rir != "" && rir != "failure" {
			out += " that leaves " + rir + " in reserve"
		}
		if s.Load.Set {
			out += ", at about " + t.fixed(e.ExerciseID, s.Load)
		}
		return out
	case plan.SetTest:
		out = "test: "
	case plan.SetAttempt:
		out = "attempt: "
	}
	out += number(int32(len(r.sets))) + " × " + workInWords(s)
	if x := t.exercise(e.ExerciseID); x != nil && x.Unilateral {
		out += " each side"
	}
	if l := t.load(e, s, week); l != "" {
		out += " @ " + l
	}
	return out
}

// setLines gives the working sets, one line where what follows the loads is the same.
func (t *text) setLines(e *plan.ProgramExercise, week int32) []string {
	all := grouped(e.Sets)
	if len(all) == 0 {
		return nil
	}
	var out []string
	for i := 0; i < len(all); {
		j := i + 1
		sets := all[i].sets
		heads := t.head(e, &all[i], week)
		for j < len(all) && together(&all[i], &all[j], sets) {
			heads += " · " + t.head(e, &all[j], week)
			sets = append(sets[:len(sets):len(sets)], all[j].sets...)
			j++
		}
		if h := t.falling(e, all[i:j]); h != "" {
			heads = h
		}
		end := tail(sets)
		if all[i].first().Kind == plan.SetCalibration {
			end = ""
			if r := rest(sets); r > 0 {
				end = ", rest " + r.String()
			}
		}
		out = append(out, heads+end)
		i = j
	}
	return out
}

// falling writes runs that differ in their load alone as one: "4 × 8–12 @ 102.5, 92.5,
// 87.5, 80 kg", or the shares of the latest 1RM with what they will be; "" for others.
func (t *text) falling(e *plan.ProgramExercise, runs []run) string {
	if len(runs) < 2 {
		return ""
	}
	n, first := 0, runs[0].first()
	var share, load []string
	unit := first.Load.Value.Unit
	for i := range runs {
		s := runs[i].first()
		latest := s.Deferred.Set && s.Deferred.Value.Reference.Kind == plan.RefLatest
		if !s.Load.Set || s.Load.Value.Unit != unit || s.Kind != plan.SetWorking || s.Reps != first.Reps || s.OpenEnded != first.OpenEnded ||
			s.Deferred.Set != first.Deferred.Set || s.Deferred.Set && !latest {
			return ""
		}
		for range runs[i].sets {
			n++
			share = append(share, s.Deferred.Value.Share.String())
			load = append(load, s.Load.Value.Short())
		}
	}
	x := t.exercise(e.ExerciseID)
	if x != nil && x.Loading == plan.LoadingAdded {
		return ""
	}
	out := number(int32(n)) + " × " + work(first)
	if x != nil && x.Unilateral {
		out += " each side"
	}
	loads := strings.Join(load, ", ") + " " + unit.String()
	if t.helped(e) {
		loads = "help " + loads
	}
	if x != nil && x.Loading.PerHand() {
		loads += " a hand"
	}
	if first.Deferred.Set {
		return out + " @ " + strings.Join(share, ", ") + " of your latest 1RM estimate (about " + loads + " if all goes as planned)"
	}
	return out + " @ " + loads
}

// together reports whether two runs share what follows the load: kind, rest, tempo,
// effort and RIR; RIR may drift by one where the repetitions are the same.
func together(a, b *run, so []plan.Set) bool {
	x, y := a.first(), b.first()
	if x.Kind != y.Kind || x.Kind == plan.SetCalibration || x.Tempo != y.Tempo || x.ToFailure != y.ToFailure || x.RIR.Set != y.RIR.Set {
		return false
	}
	if rest(b.sets) != 0 && rest(a.sets) != rest(b.sets) {
		return false
	}
	if reserve(so) == reserve(b.sets) {
		return true
	}
	lo, hi := x.RIR.Value, x.RIR.Value
	for _, list := range [][]plan.Set{so, b.sets} {
		for i := range list {
			lo, hi = min(lo, list[i].RIR.Value), max(hi, list[i].RIR.Value)
		}
	}
	return x.Reps == y.Reps && hi-lo <= 1
}

// aims gives the repetitions to expect where a range is meant.
func aims(e *plan.ProgramExercise) string {
	var out []string
	ranged := false
	for i := range e.Sets {
		s := &e.Sets[i]
		if s.Kind != plan.SetWorking || s.Expected == 0 {
			continue
		}
		ranged = ranged || s.Reps.Min != s.Reps.Max || s.OpenEnded
		out = append(out, number(s.Expected))
	}
	if !ranged {
		return ""
	}
	return "aim " + strings.Join(out, ", ")
}

// ruleIntensity is the rule of loads that the strategy asks for as a share of the 1RM.
const ruleIntensity plan.RuleID = "load.intensity"

// shares gives the loads in percent of the 1RM where that is the prescription, and for
// goal lifts, whose coach thinks in it.
func shares(e *plan.ProgramExercise) string {
	asked := e.Role == plan.GoalLift
	for _, b := range e.Basis {
		asked = asked || b.Rule == ruleIntensity
	}
	var out []string
	for i := range e.Sets {
		s := &e.Sets[i]
		if s.Kind == plan.SetWarmup || s.Kind == plan.SetCalibration || !s.Intensity.Set || s.Deferred.Set {
			continue
		}
		if asked || !s.RIR.Set && !s.ToFailure {
			out = distinct(out, s.Intensity.Value.String())
		}
	}
	if len(out) == 0 {
		return ""
	}
	return strings.Join(out, ", ") + " of 1RM"
}
