package build

import (
	"slices"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/plan"
)

// Practice marks what no publication sets.
const Practice = "common practice, no source"

func itoa(n int32) string { return strconv.FormatInt(int64(n), 10) }

// Number specifies a whole number.
func Number(name string, def, lo, hi int64, unit, says, source string) plan.ParamSpec {
	return plan.ParamSpec{
		Name: name, Kind: plan.ValueNumber, Default: plan.Value{Kind: plan.ValueNumber, Milli: def * 1000},
		Min: lo * 1000, Max: hi * 1000, Unit: unit, Whole: true, Says: says, Source: source,
	}
}

// Range specifies a range.
func Range(name string, def plan.Range, lo, hi int64, unit, says, source string) plan.ParamSpec {
	return plan.ParamSpec{
		Name: name, Kind: plan.ValueRange, Default: plan.Value{Kind: plan.ValueRange, Lo: def.Min, Hi: def.Max},
		Min: lo, Max: hi, Unit: unit, Says: says, Source: source,
	}
}

// List specifies a list of whole numbers, a single 0 by default.
func List(name string, lo, hi int64, unit, says, source string) plan.ParamSpec {
	return plan.ParamSpec{
		Name: name, Kind: plan.ValueList, Default: plan.Value{Kind: plan.ValueList, List: []int32{0}},
		Min: lo, Max: hi, Unit: unit, Says: says, Source: source,
	}
}

// SetsList specifies a list of sets.
func SetsList(name, def, says, source string) plan.ParamSpec {
	return plan.ParamSpec{
		Name: name, Kind: plan.ValueSets, Default: plan.Value{Kind: plan.ValueText, Text: def}, Says: says, Source: source,
	}
}

// Choice specifies one of some words.
func Choice(name string, choices []string, def, says, source string) plan.ParamSpec {
	return plan.ParamSpec{
		Name: name, Kind: plan.ValueText, Default: plan.Value{Kind: plan.ValueText, Text: def},
		Choices: choices, Says: says, Source: source,
	}
}

// YesNo specifies a yes or no, no by default.
func YesNo(name, says, source string) plan.ParamSpec {
	return plan.ParamSpec{Name: name, Kind: plan.ValueBool, Default: plan.Value{Kind: plan.ValueBool}, Says: says, Source: source}
}

// Varying adds how the value depends on the athlete when it is left out.
func Varying(s plan.ParamSpec, how string) plan.ParamSpec {
	s.Varies = how
	return s
}

const failure = "failure"

// EffortParam specifies an effort: failure or repetitions in reserve.
func EffortParam(name, def, says, source string) plan.ParamSpec {
	return plan.ParamSpec{
		Name: name, Kind: plan.ValueText, Default: plan.Value{Kind: plan.ValueText, Text: def},
		Choices: []string{failure, "0", "1", "2", "3", "4", "5"}, Unit: "repetitions in reserve", Says: says, Source: source,
	}
}

// EffortOf reads what EffortParam specified.
func EffortOf(text string) Effort {
	if text == failure {
		return Effort{Failure: true}
	}
	n, _ := strconv.ParseInt(text, 10, 32) // a choice
	return Effort{RIR: int32(n)}
}

// Names of the parameters that all strategies have.
const (
	DeloadEveryName = "deload_every"
	ease            = "ease"
	workouts        = "workouts"
	Rests           = "rest"
)

// Common gives the parameters that all strategies have.
func Common(easeDefault int64, easeVaries string) []plan.ParamSpec {
	return []plan.ParamSpec{
		Varying(Number(DeloadEveryName, 6, 0, 12, "weeks",
			"Every so many weeks is a deload: half the sets, two repetitions more in reserve; never the first week of a phase. 0: none.",
			"Rogerson 2024 (every 5.6 weeks on average); by status: "+Practice),
			"novice: none in plans up to 8 weeks, else every 8th week; advanced: every 5th week"),
		Varying(Number(ease, easeDefault, 0, 3, "repetitions in reserve",
			"So many repetitions more are left in reserve in the first week of a phase than in its last; falls evenly.", Practice),
			easeVaries),
		Number(workouts, 1, 1, 4, "workouts",
			"1: every day of the week has its own exercises. 2 to 4: so many workouts A, B, ... take turns from session to session, whatever day they fall on.", Practice),
	}
}

// RestParam specifies one rest for all loaded sets.
func RestParam(name, of string) plan.ParamSpec {
	return Number(name, 0, 0, 600, "s",
		"Rest after each set of loaded exercises"+of+". 0: as repetitions and kind of exercise ask, 75 s to 4 min.",
		"ACSM 2009 (from memory); Singer 2024")
}

// Sorted puts the parameters in order of name.
func Sorted(specs ...plan.ParamSpec) []plan.ParamSpec {
	slices.SortFunc(specs, func(a, b plan.ParamSpec) int { return strings.Compare(a.Name, b.Name) })
	return specs
}

// Reworded says something else about one parameter.
func Reworded(specs []plan.ParamSpec, name, says string) []plan.ParamSpec {
	for i := range specs {
		if specs[i].Name == name {
			specs[i].Says = says
		}
	}
	return specs
}

// Shared are the values of the parameters that all strategies have.
type Shared struct {
	v *engine.Values
}

// SharedOf reads them.
func SharedOf(v *engine.Values) Shared { return Shared{v} }

// Deload gives how often a deload comes.
func (s Shared) Deload(r plan.OutlineRequest) int32 {
	if s.v.Given(DeloadEveryName) {
		return s.v.Whole(DeloadEveryName)
	}
	return DeloadEvery(r.Status, r.Weeks)
}

// Ease gives the first week's extra reserve, or what the status asks for.
func (s Shared) Ease(byStatus int32) int32 {
	if s.v.Given(ease) {
		return s.v.Whole(ease)
	}
	return byStatus
}

// Rotation begins the rotation of workouts.
func (s Shared) Rotation() Rotation { return Rotation{Workouts: s.v.Whole(workouts)} }

// RangeOr gives a range that was set, or else the one that suits the athlete.
func RangeOr(v *engine.Values, name string, suits plan.Range) plan.Range {
	if v.Given(name) {
		return v.Range(name)
	}
	return suits
}

// EffortOr gives an effort that was set, or else the one that suits the athlete.
func EffortOr(v *engine.Values, name string, suits Effort) Effort {
	if v.Given(name) {
		return EffortOf(v.Text(name))
	}
	return suits
}
