package build

import (
	"fmt"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Names of the parameters that are lists of sets for a role.
const (
	GoalList   = "goal_list"
	OtherList  = "other_list"
	SingleList = "single_list"
)

// Fewest repetitions of a single-joint exercise in an outline.
const smallest = 4

const listed = " as a list, such as 3x3@90%/3min, 10@70%. Given, it comes before sets, repetitions, effort and rest; what an item leaves open is taken from these. Whatever the weekly dose, the sets are kept."

// ListParams specifies a list for goal lifts, other multi-joint lifts and single-joint
// exercises, in this order; where says where the latter two hold.
func ListParams(where string) []plan.ParamSpec {
	return []plan.ParamSpec{
		SetsList(GoalList, "", "Sets of a goal lift"+listed, Practice),
		SetsList(OtherList, "", "Sets of other multi-joint lifts"+where+listed, Practice),
		SetsList(SingleList, "", "Sets of single-joint exercises"+where+listed+fmt.Sprintf(" Repetitions are %d or more.", smallest), Practice),
	}
}

// CheckLists refuses single-joint sets of fewer repetitions than these may have.
func CheckLists(c *fault.Collector, v *engine.Values) {
	for i, s := range v.Sets(SingleList) {
		if s.Reps.Min < smallest {
			c.Add(engine.ReasonParametersClash, engine.ParameterField(SingleList),
				fmt.Sprintf("begins at %d repetitions in item %d; single-joint exercises take %d or more", s.Reps.Min, i+1, smallest))
		}
	}
}

// Small makes a list fit for single-joint exercises: sets of few repetitions get more,
// and every given load gives way to one of their own, as does as many as possible.
func Small(list []plan.Scheme) []plan.Scheme {
	out := append([]plan.Scheme(nil), list...)
	for i := range out {
		s := &out[i]
		s.Reps = Floored(s.Reps)
		s.OpenEnded = false
		if s.Effort.Intensity.Set {
			s.Effort = plan.Effort{}
		}
	}
	return out
}

// listed spells a list out.
func (w Work) listed(role plan.Role, l *Line) []plan.Scheme {
	out := append([]plan.Scheme(nil), l.List...)
	for i := range out {
		s := &out[i]
		if s.Effort == (plan.Effort{}) {
			s.Effort = l.outline(w.Deferred)
		}
		if w.Deferred && s.Effort.Reference.Kind == plan.RefPlanned {
			s.Effort.Reference.Kind = plan.RefLatest
		}
		if s.Effort.Reference.Kind == plan.RefLatest {
			s.Progress.Kind = plan.ProgressFromLastTest
		}
		if s.Rest == 0 {
			s.Rest = l.Rest
		}
		if s.Rest == 0 {
			s.Rest = Rest(role, s.Reps)
		}
	}
	return out
}

// Most gives the highest repetitions of a list that is given, else of a range.
func Most(list []plan.Scheme, reps plan.Range) int32 {
	if len(list) == 0 {
		return reps.Max
	}
	most := int32(0)
	for i := range list {
		most = max(most, list[i].Reps.Max)
	}
	return most
}

const longestListText = 40

// ListText names a list in a sentence, cut where it is long; or else the range.
func ListText(list []plan.Scheme, reps plan.Range) string {
	if len(list) == 0 {
		return RangeText(reps)
	}
	out := engine.SetsText(list)
	if len(out) > longestListText {
		out = out[:longestListText] + "…"
	}
	return out
}
