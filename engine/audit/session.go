package audit

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

const (
	heavy     plan.Permille = 850 // long rest from here on
	vigorous  plan.Permille = 800 // counts as vigorous exercise (with failure and tests)
	heavyRest plan.Seconds  = 120
)

func (a *auditor) session() {
	a.eachSession(func(w *week, s *session) {
		a.order(s)
		a.nearCopies(s)
		a.warmups(s)
		a.failures(s)
		for k := range s.lifts {
			a.rests(&s.lifts[k])
			a.fewReps(&s.lifts[k])
			a.skill(&s.lifts[k])
		}
	})
	a.contingencies()
}

// Places in the order of a session.
const (
	rankNone = iota // bands and body mass alone may stand anywhere
	rankExplosive
	rankMulti
	rankSmall
)

func (a *auditor) rank(l *lift) int {
	switch {
	case l.x == nil:
		return rankNone
	case l.x.Pattern.Explosive():
		return rankExplosive
	case l.goal != nil || l.x.Role == plan.MultiJoint:
		return rankMulti
	case l.x.Role == plan.SingleJoint || l.x.Role == plan.Trunk:
		return rankSmall
	}
	return rankNone
}

// wanted reports an exercise that is there for a muscle which a goal puts first.
func (a *auditor) wanted(l *lift, priority int32) bool {
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if p := a.grows(m); p > 0 && p <= priority && l.x != nil && l.x.Direct(m) {
			return true
		}
	}
	return false
}

// order gives at most one finding a session: the gravest.
func (a *auditor) order(s *session) {
	for j := range s.lifts {
		later := &s.lifts[j]
		for i := range s.lifts[:j] {
			sooner := &s.lifts[i]
			x, y := a.rank(sooner), a.rank(later)
			if x > y && y != rankNone && !(x == rankSmall && y == rankMulti && a.wanted(sooner, 1)) {
				a.finding(later.about(ruleOrder), "%s comes after %s: explosive before multi-joint before small.", later.name(), sooner.name())
				return
			}
		}
	}
	for j := range s.lifts {
		later := &s.lifts[j]
		if !raised(later.goal) {
			continue
		}
		for i := range s.lifts[:j] {
			sooner := &s.lifts[i]
			if sooner.goal == nil && a.rank(sooner) == rankMulti && !a.wanted(sooner, later.goal.Priority) {
				a.finding(later.about(ruleGoalFirst), "%s is a goal and comes after %s, which is none.", later.name(), sooner.name())
				return
			}
		}
	}
	for j := 1; j < len(s.lifts); j++ {
		x, y := s.lifts[j-1].x, s.lifts[j].x
		if x != nil && y != nil && x.Is(exercise.Grip) && y.Is(exercise.Grip) && (y.Pattern == plan.Hinge || y.Pattern == plan.ExplosivePull) &&
			x.Pattern != plan.Hinge && !x.Pattern.Explosive() {
			a.finding(s.lifts[j].about(ruleGripFirst), "%s tires the grip just before %s, which needs it.", x.Name, y.Name)
			return
		}
	}
}

// nearCopies: two of one group share a session only where one is being specialised in.
func (a *auditor) nearCopies(s *session) {
	for j := range s.lifts {
		for i := range s.lifts[:j] {
			x, y := &s.lifts[i], &s.lifts[j]
			if x.x == nil || y.x == nil || x.x.Group == "" || x.x.Group != y.x.Group || raised(x.goal) || raised(y.goal) {
				continue
			}
			a.finding(y.about(ruleNearCopies), "%s and %s are near-copies of one exercise.", x.name(), y.name())
			return
		}
	}
}

// warmups: warm-up sets before the first heavy lift of each pattern.
func (a *auditor) warmups(s *session) {
	var seen [plan.PatternCount]bool
	for k := range s.lifts {
		l := &s.lifts[k]
		if l.x == nil || l.x.Pattern >= plan.PatternCount || !l.x.Loading.Loadable() || seen[l.x.Pattern] {
			continue
		}
		seen[l.x.Pattern] = true
		if r := l.role(); r != plan.GoalLift && r != plan.MultiJoint || len(l.warm) > 0 {
			continue
		}
		for i := range l.work {
			if p := l.intensityOf(&l.work[i]); p >= vigorous {
				a.finding(l.about(ruleWarmupMissing), "%s goes to %s without a warm-up set; it is the first of its pattern.", l.name(), p)
				break
			}
		}
	}
}

// rests: heavy multi-joint work needs its rest.
func (a *auditor) rests(l *lift) {
	if r := l.role(); r != plan.GoalLift && r != plan.MultiJoint {
		return
	}
	for i := range l.work {
		s := &l.work[i]
		if i == len(l.work)-1 || s.s.Rest >= heavyRest {
			continue
		}
		if p := l.intensityOf(s); p >= heavy {
			a.finding(l.about(ruleRestHeavy), "%s rest after a set at %s; two to five minutes keep the load up.", max(s.s.Rest, 0), p)
			return
		}
	}
}

// fewReps: doubles and triples are for goal lifts and other multi-joint lifts that bear it.
// With more in reserve than this a short set is an easy one, not a heavy one.
const fewRepsRIR = 3

func (a *auditor) fewReps(l *lift) {
	if l.x == nil || l.goal != nil {
		return
	}
	for i := range l.work {
		s := l.work[i].s
		if s.Reps.Max <= 0 || s.Kind != plan.SetWorking {
			continue
		}
		small := l.x.Role == plan.SingleJoint || l.x.Role == plan.Trunk
		switch {
		case small && s.Reps.Max <= 3 && l.x.Loading.Loadable() && s.RIR.Or(0) <= fewRepsRIR:
			a.finding(l.about(ruleFewReps), "%s for %d repetitions: triples and fewer are for goal lifts and big multi-joint lifts.", l.name(), s.Reps.Max)
			return
		case s.Reps.Max < l.x.MinReps:
			a.finding(l.about(ruleMinReps), "%s for %d repetitions; %d or more are sensible.", l.name(), s.Reps.Max, l.x.MinReps)
			return
		}
	}
}

// failures: failure belongs on machines, small lifts and the last set. Sets of what is
// safe and cheap to take to failure are not counted.
func (a *auditor) failures(s *session) {
	for k := range s.lifts {
		l := &s.lifts[k]
		if l.x == nil || l.x.Is(exercise.FailureOK) || l.x.Pattern.Explosive() {
			continue
		}
		n := 0
		for i := range l.work {
			if w := &l.work[i]; w.s.Kind == plan.SetWorking && (w.s.ToFailure || w.rir.Set && w.rir.Value == 0) {
				n++
			}
		}
		if n > 1 && !a.failing[l.e.ExerciseID] {
			if a.failing == nil {
				a.failing = map[string]bool{}
			}
			a.failing[l.e.ExerciseID] = true // once is enough
			a.finding(l.about(ruleFailureOften), "%d sets of %s go to failure; there it is for a last set at most.", n, l.name())
		}
	}
}

// skill: nobody is sent alone into a movement that needs a coach.
func (a *auditor) skill(l *lift) {
	if l.x == nil || l.x.Skill != plan.SkillHigh || a.r.Athlete.Supervision == plan.Qualified {
		return
	}
	have := plan.SkillUnspecified
	for _, k := range a.r.Athlete.Skills {
		if k.ExerciseID == l.x.ID || k.ExerciseID == "" && k.Pattern == l.x.Pattern {
			have = max(have, k.Skill)
		}
	}
	if have < plan.SkillHigh && a.r.Athlete.Status != plan.Advanced {
		a.finding(l.about(ruleSkill), "%s needs coaching over weeks; nobody qualified is there and no skill in it is stated.", l.name())
	}
}

// contingencies: what to do when it goes differently, and substitutes that keep every
// promise the program makes.
func (a *auditor) contingencies() {
	silent, first := 0, (*lift)(nil)
	a.eachLift(func(w *week, s *session, l *lift) {
		if len(l.e.Contingencies) == 0 {
			if silent++; first == nil {
				first = l
			}
			return
		}
		for i := range l.e.Contingencies {
			if a.substitutes(l, &l.e.Contingencies[i]) {
				return
			}
		}
	})
	if silent > 0 {
		a.finding(first.about(ruleContingencies), "%s says nothing on missed repetitions, taken equipment, pain or a missed day (%d such entries in all).", first.name(), silent)
	}
}

func (a *auditor) substitutes(l *lift, c *plan.Contingency) bool {
	for _, id := range c.Swap {
		x, ok := a.cat.ByID(id)
		if !ok {
			a.finding(l.about(ruleSubstitute), "The substitute %q for %s is in no catalogue.", id, l.name())
			return true
		}
		if why := a.forbids(x); why != "" {
			a.finding(l.about(ruleSubstituteForbidden), "The substitute %s for %s is ruled out: %s.", x.Name, l.name(), why)
			return true
		}
		if l.x == nil {
			continue
		}
		if !alike(l.x, x) {
			a.finding(l.about(ruleSubstitute), "%s does not train what %s trains.", x.Name, l.name())
			return true
		}
		if l.in.place != nil && !x.Available(l.in.place) {
			a.finding(l.about(ruleSubstitute), "The substitute %s for %s can't be done at %q.", x.Name, l.name(), l.in.s.PlaceID)
			return true
		}
	}
	return false
}

// alike: the same pattern, or a prime muscle in common.
func alike(x, y *exercise.Exercise) bool {
	if x.Pattern == y.Pattern {
		return true
	}
	for m := range x.Involvement {
		if x.Involvement[m] == exercise.Prime && y.Involvement[m] == exercise.Prime {
			return true
		}
	}
	return false
}
