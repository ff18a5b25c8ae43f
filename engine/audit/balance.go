package audit

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// pair is two kinds of movement whose weekly sets are held against each other.
type pair struct {
	rule        plan.RuleID
	left, right side
	joints      []plan.Joint // whose restriction may be behind it
}

type side struct {
	name string
	is   func(plan.Pattern) bool
}

var pairs = [...]pair{
	{rulePushPull, side{"Pushing", plan.Pattern.Push}, side{"pulling", plan.Pattern.Pull}, []plan.Joint{plan.Shoulder, plan.Elbow}},
	{ruleKneeHip, side{"Knee-dominant work", plan.Pattern.KneeDominant}, side{"hip-dominant work", plan.Pattern.HipDominant}, []plan.Joint{plan.Knee, plan.Hip, plan.LowerBack}},
}

// balances looks at whole phases, so that a rotation over unequal weeks evens out. What the
// request itself brings about is said once.
func (a *auditor) balances() {
	asked := map[plan.RuleID]bool{}
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
		for i, n := range [len(pairs)][2]int32{{push, pull}, {knee, hip}} {
			p := &pairs[i]
			if !lopsided(n[0], n[1]) {
				continue
			}
			heavy, light := p.left.is, p.right.is
			if n[1] > n[0] {
				heavy, light = light, heavy
			}
			says := fmt.Sprintf("%s gets %d sets in the phase and %s %d", p.left.name, n[0], p.right.name, n[1])
			why := a.askedFor(heavy, light, p.joints)
			if why == "" {
				a.finding(first.about(p.rule), "%s; within 0.7 to 1.4 of each other is the custom.", says)
			} else if !asked[p.rule] {
				asked[p.rule] = true
				f := first.about(p.rule)
				f.Level = plan.LevelNote
				a.finding(f, "%s: %s.", says, why)
			}
		}
	}
}

// askedFor tells what in the request makes one side heavier, "" for nothing.
func (a *auditor) askedFor(heavy, light func(plan.Pattern) bool, joints []plan.Joint) string {
	if a.leans(heavy, light) {
		return "the goals ask for the one and not for the other"
	}
	if a.limited(light, joints) {
		return "the restrictions leave less of the other"
	}
	if !slices.ContainsFunc(a.cat.All(), func(x *exercise.Exercise) bool { return light(x.Pattern) && a.there(x) }) {
		return "the places have nothing for the other"
	}
	return ""
}

// there reports an exercise that can be done on some training day.
func (a *auditor) there(x *exercise.Exercise) bool {
	c := &a.r.Constraints
	for i := range c.Days {
		for j := range c.Places {
			if c.Places[j].ID == c.Days[i].PlaceID && x.Available(&c.Places[j]) {
				return true
			}
		}
	}
	return false
}

// lopsided: outside 0.7 to 1.4, and by more than the grain of a set or two.
func lopsided(x, y int32) bool {
	lo, hi := min(x, y), max(x, y)
	return hi-lo > 2 && lo*14 < hi*10
}

// leans reports a goal on the heavier side and none on the lighter.
func (a *auditor) leans(left, right func(plan.Pattern) bool) bool {
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

// limited reports a restriction of a joint that both sides load, or of what is on the lighter one.
func (a *auditor) limited(light func(plan.Pattern) bool, joints []plan.Joint) bool {
	return slices.ContainsFunc(a.r.Athlete.Restrictions, func(r plan.Restriction) bool {
		if x, ok := a.cat.ByID(r.ExerciseID); ok && light(x.Pattern) {
			return true
		}
		return light(r.Pattern) || slices.Contains(joints, r.Joint)
	})
}
