package audit

import (
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

func (a *auditor) phases() {
	a.exerciseChanges()
	a.deloads()
	a.phaseStarts()
}

// slot says which sessions of different weeks are the same one.
type slot struct {
	group, label, place string
	day                 int32
	kind                plan.SessionKind
}

func slotOf(s *session) slot {
	k := slot{group: s.s.Group, label: s.s.Label, place: s.s.PlaceID, kind: s.s.Kind}
	if k.group == "" {
		k.day = s.s.Day
	}
	return k
}

// exerciseChanges: inside a phase an exercise may be left out of a lighter week, but
// not swapped for another, at the same place.
func (a *auditor) exerciseChanges() {
	last := map[slot]*session{}
	phase := -1
	for i := range a.weeks {
		w := &a.weeks[i]
		if w.phase != phase {
			phase = w.phase
			clear(last)
		}
		if r := &a.p.Reworked; r.Set && w.n == r.Value.Week {
			clear(last) // there exercises may change: somebody wanted it
		}
		if !w.training() {
			continue
		}
		for j := range w.sessions {
			s := &w.sessions[j]
			if a.past(s.about(ruleExerciseChange)) {
				continue
			}
			key := slotOf(s)
			before := last[key]
			last[key] = s
			if before == nil {
				continue
			}
			if gone, come := only(before, s), only(s, before); len(gone) > 0 && len(come) > 0 {
				a.finding(s.about(ruleExerciseChange), "Inside the phase %s give(s) way to %s; exercises stay through a phase so that progress can be seen.", strings.Join(gone, ", "), strings.Join(come, ", "))
			}
		}
	}
}

// only lists the exercises of x that y doesn't hold.
func only(x, y *session) []string {
	var out []string
next:
	for k := range x.lifts {
		id := x.lifts[k].e.ExerciseID
		for n := range y.lifts {
			if y.lifts[n].e.ExerciseID == id {
				continue next
			}
		}
		if !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out
}

// easy reports weeks that take fatigue away: by their kind, by having no sessions, or
// by holding at most 60 % of the sets of the week before.
func (a *auditor) easy(i int) bool {
	w := &a.weeks[i]
	if w.w.Kind != plan.WeekTraining || len(w.sessions) == 0 {
		return true
	}
	return i > 0 && w.sets()*10 <= a.weeks[i-1].sets()*6
}

func (a *auditor) deloads() {
	most := 8
	if a.r.Athlete.Status == plan.Novice {
		most = 10
	}
	run := 0
	for i := range a.weeks {
		w := &a.weeks[i]
		if a.easy(i) {
			run = 0
		} else if run++; run == most+1 {
			a.finding(w.about(ruleDeloadMissing), "%d weeks of full work without a lighter one; every four to eight is the custom.", run)
		}
		if w.w.Kind == plan.WeekDeload && i > 0 && a.weeks[i-1].training() {
			a.deloadDepth(&a.weeks[i-1], w)
		}
	}
}

// deloadDepth: sets or repetitions clearly down (40 to 60 % is the custom, 30 % the
// least that is let pass), or the effort clearly further from failure.
func (a *auditor) deloadDepth(before, w *week) {
	s0, s1 := before.sets(), w.sets()
	r0, r1 := before.reps(), w.reps()
	if s0 == 0 || s1*10 <= s0*7 || r1*10 <= r0*7 {
		return
	}
	if e0, e1 := before.meanRIR(), w.meanRIR(); e0 >= 0 && e1 >= e0+20 {
		return
	}
	a.finding(w.about(ruleDeloadDepth), "The deload holds %d sets after %d; 40 to 60 %% fewer is the custom.", s1, s0)
}

func (w *week) reps() int64 {
	n := int64(0)
	for j := range w.sessions {
		n += w.sessions[j].reps()
	}
	return n
}

// reps counts repetitions of work, tests and attempts left out; a hold is one.
func (s *session) reps() int64 {
	n := int64(0)
	for k := range s.lifts {
		for i := range s.lifts[k].work {
			if st := &s.lifts[k].work[i]; st.s.Kind != plan.SetTest && st.s.Kind != plan.SetAttempt {
				n += int64(max(st.hi, 1))
			}
		}
	}
	return n
}

// meanRIR is in tenths, -1 where none is stated.
func (w *week) meanRIR() int64 {
	sum, n := int64(0), int64(0)
	for j := range w.sessions {
		for k := range w.sessions[j].lifts {
			for i := range w.sessions[j].lifts[k].work {
				if r := w.sessions[j].lifts[k].work[i].rir; r.Set {
					sum += 10 * int64(r.Value)
					n++
				}
			}
		}
	}
	if n == 0 {
		return -1
	}
	return sum / n
}

// phaseStarts: where a phase brings a new repetition range, its first week doesn't take
// heavy work to failure at once.
func (a *auditor) phaseStarts() {
	last := map[string]plan.Range{}
	phase := -1
	for i := range a.weeks {
		w := &a.weeks[i]
		first := w.phase != phase
		phase = w.phase
		for j := range w.sessions {
			for k := range w.sessions[j].lifts {
				l := &w.sessions[j].lifts[k]
				if len(l.work) == 0 {
					continue
				}
				s := &l.work[0]
				before, known := last[l.e.ExerciseID]
				last[l.e.ExerciseID] = s.s.Reps
				if !first || known && before == s.s.Reps || w.w.Kind == plan.WeekTest || s.s.Kind != plan.SetWorking {
					continue
				}
				for n := range l.work {
					if st := &l.work[n]; st.s.Kind == plan.SetWorking && st.rir.Set && st.rir.Value == 0 && l.intensityOf(st) >= vigorous {
						a.finding(l.about(rulePhaseStart), "%s goes to failure at %s in the first week of a new range; that week starts conservatively.", l.name(), l.intensityOf(st))
						break
					}
				}
			}
		}
	}
}
