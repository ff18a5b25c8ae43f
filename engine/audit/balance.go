package audit

import "github.com/phasewright/phasewright/engine/plan"

// balances looks at whole phases, so that a rotation over unequal weeks evens out.
func (a *auditor) balances() {
	for ph := range a.p.Phases {
		var push, pull, knee, hip int32
		var first *week
		for i := range a.weeks {
			w := &a.weeks[i]
			if w.phase != ph || !w.training() {
				continue
			}
			if first == nil {
				first = w
			}
			for j := range w.sessions {
				for k := range w.sessions[j].lifts {
					l := &w.sessions[j].lifts[k]
					if l.x == nil {
						continue
					}
					n := l.hard()
					switch p := l.x.Pattern; {
					case p.Push():
						push += n
					case p.Pull():
						pull += n
					case p.KneeDominant():
						knee += n
					case p.HipDominant():
						hip += n
					}
				}
			}
		}
		if first == nil {
			continue
		}
		if lopsided(push, pull) && !a.leans(push > pull, plan.Pattern.Push, plan.Pattern.Pull) && !a.limited(plan.Shoulder, plan.Elbow) {
			a.finding(first.about(rulePushPull), "Pushing gets %d sets in the phase and pulling %d; within 0.7 to 1.4 of each other is the custom.", push, pull)
		}
		if lopsided(knee, hip) && !a.leans(knee > hip, plan.Pattern.KneeDominant, plan.Pattern.HipDominant) && !a.limited(plan.Knee, plan.Hip, plan.LowerBack) {
			a.finding(first.about(ruleKneeHip), "Knee-dominant work gets %d sets in the phase and hip-dominant work %d; within 0.7 to 1.4 of each other is the custom.", knee, hip)
		}
	}
}

// lopsided: outside 0.7 to 1.4, and by more than the grain of a set or two.
func lopsided(x, y int32) bool {
	lo, hi := min(x, y), max(x, y)
	return hi-lo > 2 && lo*14 < hi*10
}

// leans reports a goal on the heavier side and none on the lighter.
func (a *auditor) leans(leftHeavier bool, left, right func(plan.Pattern) bool) bool {
	if !leftHeavier {
		left, right = right, left
	}
	heavy, light := false, false
	for i := range a.r.Goals {
		g := &a.r.Goals[i]
		var ps []plan.Pattern
		switch {
		case raised(g):
			if x, ok := a.cat.ByID(g.ExerciseID); ok {
				ps = []plan.Pattern{x.Pattern}
			}
		case g.Kind == plan.GoalGrow:
			ps = patternsOf(g.Muscle)
		}
		for _, p := range ps {
			heavy = heavy || left(p)
			light = light || right(p)
		}
	}
	return heavy && !light
}

func patternsOf(m plan.Muscle) []plan.Pattern {
	switch m {
	case plan.Chest, plan.FrontDelt, plan.Triceps:
		return []plan.Pattern{plan.HorizontalPush}
	case plan.Lats, plan.MidBack, plan.Biceps, plan.RearDelt:
		return []plan.Pattern{plan.HorizontalPull}
	case plan.Quads:
		return []plan.Pattern{plan.Squat}
	case plan.Glutes, plan.Hamstrings, plan.Erectors:
		return []plan.Pattern{plan.Hinge}
	}
	return nil
}

// limited reports a restriction that may be behind an imbalance.
func (a *auditor) limited(joints ...plan.Joint) bool {
	for i := range a.r.Athlete.Restrictions {
		r := &a.r.Athlete.Restrictions[i]
		if r.Pattern != plan.PatternUnspecified || r.ExerciseID != "" {
			return true
		}
		for _, j := range joints {
			if r.Joint == j {
				return true
			}
		}
	}
	return false
}
