package audit

import "github.com/phasewright/phasewright/engine/plan"

// repsFirst: in a phase, and in one session of the week, a scheme of repetitions before
// load raises the load only after all its sets were expected at the top of the range.
func (a *auditor) repsFirst() {
	type key struct {
		slot
		phase int
		id    string
		reps  plan.Range
	}
	type mark struct {
		load   plan.Load
		topped bool
	}
	last := map[key]mark{}
	a.eachLift(func(w *week, s *session, l *lift) {
		if l.e.Progress.Kind != plan.ProgressRepsThenLoad || !w.training() || len(l.work) == 0 || a.outdated(l) {
			return
		}
		first := l.work[0].s
		if first.Kind != plan.SetWorking || !first.Load.Set {
			return
		}
		k := key{slotOf(s), w.phase, l.e.ExerciseID, first.Reps}
		now := mark{first.Load.Value, true}
		for i := range l.work {
			now.topped = now.topped && l.work[i].lo >= l.work[i].s.Reps.Max
		}
		if before, ok := last[k]; ok && !before.topped && a.heavier(k.id, now.load, before.load) {
			a.finding(l.about(ruleRepsFirst), "%s goes from %s to %s, yet not all sets were at %d repetitions before.", l.name(), before.load, now.load, first.Reps.Max)
		}
		last[k] = now
	})
}
