package engine

import (
	"sort"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// place in a session: explosive, goal lifts by priority, other multi-joint work, small
// work, trunk. Inside a class what a goal wants comes first, then lower body before
// upper, and what tires the grip or the lower back after what needs it fresh.
// ACSM 2009 (large before small, multi- before single-joint); the rest is common practice.
func (g *generation) ordered(picks []pick) []pick {
	out := append([]pick(nil), picks...)
	sort.SliceStable(out, func(i, j int) bool {
		a, b := g.orderKey(&out[i]), g.orderKey(&out[j])
		for k := range a {
			if a[k] != b[k] {
				return a[k] < b[k]
			}
		}
		return out[i].ex.ID < out[j].ex.ID
	})
	return g.alternate(out)
}

func (g *generation) orderKey(p *pick) [5]int32 {
	var k [5]int32
	e := p.ex
	switch {
	case e.Pattern.Explosive():
		k[0] = 0
	case p.role == plan.GoalLift:
		k[0] = 1
		k[1] = g.brief.Request.Goals[p.goal].Priority
	case e.Role == plan.MultiJoint || e.Role == plan.Unloadable && multiJoint(e):
		k[0] = 2
	case e.Region == exercise.Midsection:
		k[0] = 4
	default:
		k[0] = 3
	}
	k[2] = g.muscleRank(e)
	if k[1] == 0 && p.pin < 0 {
		k[1] = 4 // pinned ones first
	}
	if e.Region != exercise.Lower {
		k[3] = 1
	}
	if e.Is(exercise.Grip) && e.Pattern != plan.Hinge && k[0] >= 2 {
		k[4] = 1 // after the hinges, which need the grip most
	}
	return k
}

// multiJoint reports compound patterns, for exercises whose role is unloadable.
func multiJoint(e *exercise.Exercise) bool {
	switch e.Pattern {
	case plan.Squat, plan.Lunge, plan.Hinge, plan.HorizontalPush, plan.VerticalPush, plan.HorizontalPull, plan.VerticalPull:
		return true
	}
	return false
}

// muscleRank is the best priority among goals about the exercise's prime muscles.
func (g *generation) muscleRank(e *exercise.Exercise) int32 {
	rank := int32(4)
	for _, goal := range g.brief.Request.Goals {
		if goal.Kind == plan.GoalGrow && e.Direct(goal.Muscle) {
			rank = min(rank, goal.Priority)
		}
	}
	return rank
}

// alternate lets pushes and pulls (or upper and lower work) take turns among equal
// neighbours, so that one muscle rests while another works.
func (g *generation) alternate(in []pick) []pick {
	for i := 1; i+1 < len(in); i++ {
		a, b, c := &in[i-1], &in[i], &in[i+1]
		if !sharesPrime(a.ex, b.ex) || sharesPrime(a.ex, c.ex) {
			continue
		}
		kb, kc := g.orderKey(b), g.orderKey(c)
		if kb[0] == kc[0] && kb[1] == kc[1] && kb[2] == kc[2] && kb[0] >= 2 && kb[3] == kc[3] {
			in[i], in[i+1] = in[i+1], in[i]
		}
	}
	return in
}

func sharesPrime(a, b *exercise.Exercise) bool { return primesShared(a, b) > 0 }

// primesShared counts the muscles that both exercises train directly.
func primesShared(a, b *exercise.Exercise) int32 {
	n := int32(0)
	for m := range a.Involvement {
		if a.Involvement[m] == exercise.Prime && b.Involvement[m] == exercise.Prime {
			n++
		}
	}
	return n
}
