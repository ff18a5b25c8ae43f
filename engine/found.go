package engine

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// calibration is what an exercise of unknown strength found, and when.
type calibration struct {
	tenths int32 // repetitions to failure that the found load stands for
	week   int
	guided bool // a related lift said where to look, and says what later loads will be about
}

// foundKey says where a found load holds: kilograms of a bar or a dumbbell anywhere, the
// pin of a stack or the plates of a machine only at the place of that machine.
type foundKey struct {
	id    string
	place int32
}

func (g *generation) foundKey(ex *exercise.Exercise, place int32) foundKey {
	switch ex.Loading {
	case plan.LoadingStack, plan.LoadingPlateMachine, plan.LoadingAssisted:
	default:
		place = 0
	}
	return foundKey{ex.ID, place}
}
