package engine

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

type menuKey struct {
	place   int32
	loading plan.Loading
	kind    plan.Equipment
	moved   int64 // of body mass, for a counterweight
}

// mostStretch is how far repetitions may go where no load is heavy enough. Size is
// similar over a wide range of loads when sets end near failure (Lopez et al. 2021).
const mostStretch = 25

// fewLoads is how many loads have to be there before repetitions need not stretch.
const fewLoads = 4

// menu gives the loads that can be set for an exercise at a place; nil where it takes none.
// A counterweight has some where it has a stack, and where the body mass is known.
func (g *generation) menu(ex *exercise.Exercise, place int32) *load.Menu {
	p := &g.brief.Request.Constraints.Places[place]
	key := menuKey{place: place, loading: ex.Loading, kind: ex.Bar}
	switch ex.Loading {
	case plan.LoadingAdded:
		if !ex.Addable(p) {
			return nil
		}
	case plan.LoadingStack:
		key.kind = stackOf(ex, p)
	case plan.LoadingAssisted:
		key.kind, key.moved = stackOf(ex, p), g.strengths.carried(ex)
	default:
		if !ex.Loading.Loadable() {
			return nil
		}
	}
	m, ok := g.menus[key]
	if !ok {
		made := load.MenuFor(key.loading, key.kind, p).In(g.brief.Request.Constraints.Unit)
		if ex.Loading == plan.LoadingAssisted {
			made = made.Help(key.moved)
		}
		m = &made
		g.menus[key] = m
	}
	if ex.Loading == plan.LoadingAssisted && m.Len() == 0 {
		return nil
	}
	return m
}

// stackOf finds which machine's stack the exercise uses here.
func stackOf(ex *exercise.Exercise, p *plan.Place) plan.Equipment {
	for _, alt := range ex.Equipment {
		for _, item := range alt {
			for _, s := range p.Stacks {
				if s.Kind == item {
					return item
				}
			}
		}
	}
	return plan.EquipmentUnspecified
}
