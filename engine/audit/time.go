package audit

import "github.com/phasewright/phasewright/engine/plan"

// The clock for an exercise that the catalogue doesn't know (judgement).
const (
	unknownSetup    = 60
	unknownRep      = 4
	unknownSetSetup = 15
)

// seconds re-derives the time of an exercise (training time model: setting up, every
// set's repetitions, rests; both sides of one-sided work, with half the rest). The
// rest after a warm-up set counts, that after the last working set doesn't, and the
// set-up of a set belongs to working sets: between warm-up sets it fits in the rest.
func (l *lift) seconds() plan.Seconds {
	setup, rep, each := int64(unknownSetup), int64(unknownRep), int64(unknownSetSetup)
	oneSided := false
	if l.x != nil {
		setup, rep, each, oneSided = int64(l.x.Setup), int64(l.x.Rep), int64(l.x.SetSetup), l.x.Unilateral
	}
	half := 2 * setup // in half seconds
	count := func(s *set, working, rested bool) {
		work := int64(s.hi) * rep
		if t := s.s.Tempo; t.Down >= 0 && t.Hold >= 0 && t.Up >= 0 && !t.IsZero() {
			work = int64(s.hi) * min(int64(t.Down)+int64(t.Hold)+int64(t.Up), maxHold)
		}
		if s.hi == 0 {
			work = int64(min(max(s.s.Hold.Max, 0), maxHold))
		}
		rest := int64(min(max(s.s.Rest, 0), maxRest))
		if oneSided {
			work *= 2
			half -= rest * b2i(rested)
		}
		if working {
			half += 2 * each
		}
		half += 2*work + 2*rest*b2i(rested)
	}
	for i := range l.warm {
		count(&l.warm[i], false, true)
	}
	for i := range l.work {
		count(&l.work[i], true, i < len(l.work)-1)
	}
	return plan.Seconds((half + 1) / 2)
}

func b2i(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

// seconds re-derives the time of a session.
func (s *session) seconds() plan.Seconds {
	total := max(plan.GeneralWarmup(s.limit), min(max(s.s.Warmup, 0), maxRest)) + plan.SessionEnd
	for i := range s.lifts {
		total += s.lifts[i].seconds()
	}
	return total
}

func (a *auditor) time() {
	a.eachSession(func(w *week, s *session) {
		need := s.seconds()
		if most := max(need, s.s.Seconds); s.limit > 0 && most > s.limit {
			f := s.about(ruleMinutes)
			if s.day != nil {
				f.Field = fieldDay(s.s.Day)
			}
			a.finding(f, "The session takes %s, the day has %s.", most, s.limit)
		}
		if s.day != nil && s.s.Limit != s.limit {
			a.finding(s.about(ruleLimitStated), "The session says that the day has %s; the request gives %s.", s.s.Limit, s.limit)
		}
		slack := plan.Tick * plan.Seconds(len(s.lifts)) // rounding, a tick an exercise
		if s.s.Seconds < need-slack {
			a.finding(s.about(ruleSecondsStated), "The session is stated as %s; its sets and rests take %s.", s.s.Seconds, need)
			return
		}
		for i := range s.lifts {
			l := &s.lifts[i]
			if t := l.seconds(); l.e.Seconds < t-plan.Tick {
				a.finding(l.about(ruleExerciseSeconds), "%s is stated as %s; its sets and rests take %s.", l.name(), l.e.Seconds, t)
			}
		}
	})
}

func (l *lift) name() string {
	if l.e.Name != "" {
		return l.e.Name
	}
	if l.x != nil {
		return l.x.Name
	}
	return l.e.ExerciseID
}
