package build

import (
	"context"
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Names of the parameters for sets that several strategies have.
const (
	GoalSetsName  = "goal_sets"
	OtherSetsName = "sets"
)

// GoalSets are the sets of a goal lift in a session: 2-5 as a rule, more
// for a goal lift (common practice, no source; Krieger 2009 and 2010 find several sets
// better than one).
func GoalSets(s plan.Status) plan.Range {
	switch s {
	case plan.Novice:
		return plan.Range{Min: 2, Max: 4}
	case plan.Advanced:
		return plan.Range{Min: 3, Max: 6}
	}
	return plan.Range{Min: 3, Max: 5}
}

// OtherSets are those of every other loaded exercise.
func OtherSets(s plan.Status) plan.Range {
	if s == plan.Novice {
		return plan.Range{Min: 2, Max: 3}
	}
	return plan.Range{Min: 2, Max: 4}
}

// SetsParams specifies the sets of goal lifts and of everything else.
func SetsParams() []plan.ParamSpec {
	const of = " in a session. One number (3 to 3) is kept whatever the weekly dose; a range lets the dose choose."
	const source = "Krieger 2009, 2010 (from memory); " + Practice
	return []plan.ParamSpec{
		Varying(Range(GoalSetsName, GoalSets(plan.Intermediate), 1, 8, "sets", "Sets of a goal lift"+of, source),
			"novice: 2 to 4; advanced: 3 to 6"),
		Varying(Range(OtherSetsName, OtherSets(plan.Intermediate), 1, 6, "sets", "Sets of every other exercise but trunk and explosive ones"+of, source),
			"novice: 2 to 3"),
	}
}

// SetsOf reads them.
func SetsOf(v *engine.Values, s plan.Status) (goal, other plan.SetCount) {
	return Sets(RangeOr(v, GoalSetsName, GoalSets(s))), Sets(RangeOr(v, OtherSetsName, OtherSets(s)))
}

// LastEffort is the effort at the end of a phase. Novices judge reserves badly and
// gain without going near failure (training practice: RIR 2 and more; Refalo 2023 and
// Robinson 2024 for what failure adds).
func LastEffort(s plan.Status) Effort {
	if s == plan.Novice {
		return Effort{RIR: 2}
	}
	return Effort{RIR: 1}
}

// EffortSource is the source of default efforts.
const EffortSource = "Refalo 2023; Robinson 2024; novices: " + Practice

// Check is what every Outline begins with.
func Check(ctx context.Context, r plan.OutlineRequest, minWeeks, maxWeeks int32) error {
	if err := ctx.Err(); err != nil {
		return fault.Wrap(fault.Canceled, "CANCELED", err)
	}
	return engine.CheckOutlineRequest(r, minWeeks, maxWeeks)
}

// NotHere refuses a parameter that can't hold for a request.
func NotHere(name, says string) error {
	return fault.New(fault.Invalid, engine.ReasonParameterBounds, engine.ParameterField(name), says)
}

// Hole refuses 1 for a parameter that counts weeks from one rest to the next.
func Hole(c *fault.Collector, v *engine.Values, name string) {
	if v.Whole(name) == 1 {
		c.Add(engine.ReasonParametersClash, engine.ParameterField(name), "is 1, which leaves no week to train; 0 (none) or 2 and more is right")
	}
}

// CheckCommon refuses what the parameters that all strategies have can't be.
func CheckCommon(c *fault.Collector, v *engine.Values) { Hole(c, v, DeloadEveryName) }

// EffortText names an effort.
func EffortText(e Effort) string {
	if e.Failure {
		return "failure"
	}
	return "RIR " + itoa(e.RIR)
}

// Course says how effort and dose run through a phase of n training weeks.
func Course(last Effort, easeBy, n int32, sets ...plan.SetCount) string {
	out := "Effort stays at " + EffortText(last)
	if first := Eased(last, easeBy, 0, n); first != last {
		out = "Effort rises from " + EffortText(first) + " to " + EffortText(Eased(last, easeBy, n-1, n))
		if n == 1 {
			out = "Effort is " + EffortText(first) + ", as the range is new"
		}
	}
	for _, s := range sets {
		if !s.Fixed && n > 1 {
			return out + fmt.Sprintf(", weekly sets from %s to %s of the dose.", Dose(0, n), Dose(n-1, n))
		}
	}
	return out + "."
}

// WeekList names weeks (from 0) as people count them.
func WeekList(marked []bool) string {
	var out []string
	for i, m := range marked {
		if m {
			out = append(out, itoa(int32(i+1)))
		}
	}
	switch len(out) {
	case 0:
		return ""
	case 1:
		return "week " + out[0]
	}
	return "weeks " + strings.Join(out[:len(out)-1], ", ") + " and " + out[len(out)-1]
}
