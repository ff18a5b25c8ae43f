package audit

import "github.com/phasewright/phasewright/engine/plan"

// form checks the document itself: that it is whole, that its numbers can be meant and
// that they can be explained.
func (a *auditor) form() {
	if a.p.Digest != "" {
		if ok, err := a.p.Intact(); err != nil || !ok {
			a.finding(plan.Finding{Rule: ruleDigest}, "The digest does not fit the content: the program was changed after it was made.")
		}
	}
	sessions := 0
	a.eachSession(func(w *week, s *session) {
		sessions++
		if len(s.lifts) == 0 {
			a.finding(s.about(ruleEmpty), "The session has no exercise.")
		}
		if s.s.Kind == plan.SessionUnspecified || s.s.Kind > plan.SessionAttempt {
			a.finding(s.about(ruleKind), "The kind of the session is missing or unknown (%d).", s.s.Kind)
		}
		for k := range s.lifts {
			a.setNumbers(&s.lifts[k])
		}
	})
	if sessions == 0 {
		a.finding(plan.Finding{Rule: ruleEmpty}, "The program has no session.")
	}
	for i := range a.weeks {
		if w := &a.weeks[i]; w.w.Kind == plan.WeekUnspecified || w.w.Kind > plan.WeekTaper {
			a.finding(w.about(ruleKind), "The kind of the week is missing or unknown (%d).", w.w.Kind)
		}
	}
	a.assumptions()
	a.explained()
}

func (a *auditor) setNumbers(l *lift) {
	for i := range l.e.Sets {
		s := &l.e.Sets[i]
		says := ""
		switch {
		case s.Kind == plan.SetUnspecified || s.Kind > plan.SetAttempt:
			says = "its kind is missing or unknown"
		case s.Reps.Min < 0 || s.Reps.Max < s.Reps.Min || s.Reps.Max > maxReps:
			says = "the repetitions are no rising range"
		case s.Hold.Min < 0 || s.Hold.Max < s.Hold.Min || s.Hold.Max > maxHold:
			says = "the seconds to hold are no rising range"
		case s.Reps.Max == 0 && s.Hold.Max == 0:
			says = "it has neither repetitions nor seconds"
		case s.Expected < 0 || s.Expected > maxReps:
			says = "the expected repetitions can't be meant"
		case s.RIR.Set && (s.RIR.Value < 0 || s.RIR.Value > maxRIR):
			says = "the repetitions in reserve can't be meant"
		case s.ToFailure && s.RIR.Set && s.RIR.Value > 0:
			says = "it goes to failure and keeps repetitions in reserve"
		case s.Rest < 0 || s.Rest > maxRest:
			says = "the rest can't be meant"
		case s.Intensity.Set && (s.Intensity.Value <= 0 || s.Intensity.Value > 1200):
			says = "the intensity can't be meant"
		case s.Load.Set && (s.Load.Value.Milli < 0 || s.Load.Value.Milli > maxMilli):
			says = "the load can't be meant"
		case s.Tempo.Down < 0 || s.Tempo.Hold < 0 || s.Tempo.Up < 0:
			says = "the tempo can't be meant"
		}
		if says != "" {
			a.finding(l.about(ruleSetNumbers), "Set %d of %s: %s.", i+1, l.name(), says)
			return
		}
		if s.Expected > 0 && !s.OpenEnded && s.Reps.Max > 0 && (s.Expected < s.Reps.Min || s.Expected > s.Reps.Max) {
			a.finding(l.about(ruleExpected), "Set %d of %s asks for %d to %d repetitions and expects %d.", i+1, l.name(), s.Reps.Min, s.Reps.Max, s.Expected)
			return
		}
	}
}

// assumptions: a settled request that differs from the one that came had gaps, and
// what they were filled with has to stand there.
func (a *auditor) assumptions() {
	if a.p.RequestDigest == "" || len(a.p.Assumptions) > 0 {
		return
	}
	if d, err := plan.DigestOf(&a.p.Request); err == nil && d != a.p.RequestDigest {
		a.finding(plan.Finding{Rule: ruleAssumptions}, "The request was filled in, and nothing says what was assumed.")
	}
}

// explained: every basis leads to a rule, and numbers have one.
func (a *auditor) explained() {
	known := map[plan.RuleID]bool{}
	for i := range a.p.Rules {
		known[a.p.Rules[i].ID] = a.p.Rules[i].Says != ""
	}
	bare, first := 0, (*lift)(nil)
	lost := map[plan.RuleID]bool{}
	a.eachLift(func(w *week, s *session, l *lift) {
		if len(l.e.Basis) == 0 {
			if bare++; first == nil {
				first = l
			}
		}
		for i := range l.e.Basis {
			if id := l.e.Basis[i].Rule; !known[id] && !lost[id] {
				lost[id] = true
				a.finding(l.about(ruleUnresolved), "The rule %q behind a number of %s is in no list of rules.", id, l.name())
			}
		}
	})
	if bare > 0 {
		a.finding(first.about(ruleUnexplained), "%s has numbers that nothing explains (%d such entries in all).", first.name(), bare)
	}
}
