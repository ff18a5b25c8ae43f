package engine

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Strategy is a way to order training over weeks, before any parameter is chosen.
// It is used in two steps: Parse once, then Outline on the instance as often as
// wanted. Both methods may be called from many goroutines at once.
//
// Package conform has its laws, and package strategytest makes tests of them.
type Strategy interface {
	// Describe gives the same descriptor every time, its parameters sorted by name.
	// The caller owns what it gets.
	Describe() plan.Descriptor

	// Parse checks parameters and keeps what it needs of them; the slice stays the
	// caller's. A parameter left out gets its default, nil is all defaults.
	//
	// It refuses with a fault of kind Invalid that carries every violation, each with
	// the field "parameters.<name>": unknown names (the nearest known one is named),
	// names given twice, values of the wrong kind, outside their bounds or not among
	// the choices. A value inside its own bounds is only refused where it can't stand
	// beside another one, or is a hole in them that ParamSpec.Says names, with the
	// reason PARAMETERS_CLASH. ParseParams does all but the last.
	Parse(params []plan.Param) (Instance, error)
}

// Instance is a strategy with its parameters. It never changes.
type Instance interface {
	// Outline plans all weeks of the request. Equal requests give equal outlines; the
	// request stays the caller's, the outline becomes the caller's and shares no memory
	// with later ones. Phases, weeks and sessions are in the order of time; targets are
	// in the order of plan.Role.
	//
	// What comes back passes CheckOutline. Otherwise the error is a fault: Invalid with
	// the field "weeks" for a length outside the descriptor's bounds, with
	// "parameters.<name>" for a parameter that can't hold for this request, with
	// another field of the request (in its JSON spelling) where that is wrong in
	// itself; Canceled, wrapping the context's error, when ctx ended first. A strategy in
	// another process also has Unavailable, when that does not answer or not in time, and
	// Broken, when it answers what can't be. Neither is remembered: a call after it may
	// succeed, with the outline that the one before would have had.
	Outline(ctx context.Context, r plan.OutlineRequest) (plan.Outline, error)
}

// Reasons with which parameters are refused.
const (
	ReasonParameterUnknown = "PARAMETER_UNKNOWN"
	ReasonParameterTwice   = "PARAMETER_TWICE"
	ReasonParameterKind    = "PARAMETER_KIND"
	ReasonParameterBounds  = "PARAMETER_OUT_OF_BOUNDS"
	ReasonParameterChoice  = "PARAMETER_NOT_A_CHOICE"
	ReasonParameterSets    = "PARAMETER_NOT_SETS"
	ReasonParametersClash  = "PARAMETERS_CLASH"
)

// maxListValues bounds a list parameter.
const maxListValues = 64

// ParameterField gives the path under which a parameter is named in faults.
func ParameterField(name string) string { return "parameters." + name }

// Values are the parsed parameters of a strategy, defaults filled in. A name that
// was not declared, or is of another kind, gives the zero value.
type Values struct {
	specs  []plan.ParamSpec
	values []plan.Value
	given  []bool
}

// ParseParams checks parameters against their specifications and fills in defaults,
// as Strategy.Parse has to. The error carries all violations.
func ParseParams(specs []plan.ParamSpec, params []plan.Param) (Values, error) {
	v := Values{
		specs:  slices.Clone(specs),
		values: make([]plan.Value, len(specs)),
		given:  make([]bool, len(specs)),
	}
	known := make([]string, len(specs))
	for i := range specs {
		known[i] = specs[i].Name
		v.values[i] = specs[i].Default
		v.values[i].List = slices.Clone(specs[i].Default.List)
	}
	c := fault.NewCollector(fault.Invalid)
	for _, p := range params {
		i := slices.Index(known, p.Name)
		if i < 0 {
			c.Add(ReasonParameterUnknown, ParameterField(p.Name),
				fmt.Sprintf("there is no parameter %q; %s", p.Name, suggestion(p.Name, known)))
			continue
		}
		if v.given[i] {
			c.Add(ReasonParameterTwice, ParameterField(p.Name), "is given twice; once is right")
			continue
		}
		v.given[i] = true
		if reason, says := checkValue(&specs[i], p.Value); reason != "" {
			c.Add(reason, ParameterField(p.Name), says)
			continue
		}
		v.values[i] = p.Value
		v.values[i].List = slices.Clone(p.Value.List)
	}
	if err := c.Err(); err != nil {
		return Values{}, err
	}
	return v, nil
}

func checkValue(s *plan.ParamSpec, v plan.Value) (reason, says string) {
	if s.Kind == plan.ValueSets && v.Kind == plan.ValueText {
		if _, err := ParseSets(v.Text); err != nil {
			return ReasonParameterSets, setsFault(v.Text, err)
		}
		return "", ""
	}
	if v.Kind != s.Kind || s.Kind == plan.ValueSets {
		return ReasonParameterKind, "is " + valueKindName(v.Kind) + "; it has to be " + valueKindName(s.Kind)
	}
	unit := ""
	if s.Unit != "" {
		unit = " " + s.Unit
	}
	switch s.Kind {
	case plan.ValueNumber:
		if v.Milli < s.Min || v.Milli > s.Max {
			return ReasonParameterBounds, fmt.Sprintf("is %s; %s to %s%s is possible",
				milliText(v.Milli), milliText(s.Min), milliText(s.Max), unit)
		}
		if s.Whole && v.Milli%1000 != 0 {
			return ReasonParameterBounds, fmt.Sprintf("is %s; a whole number is needed", milliText(v.Milli))
		}
	case plan.ValueRange:
		if v.Lo > v.Hi {
			return ReasonParameterBounds, fmt.Sprintf("runs from %d to %d; the lower end comes first", v.Lo, v.Hi)
		}
		if int64(v.Lo) < s.Min || int64(v.Hi) > s.Max {
			return ReasonParameterBounds, fmt.Sprintf("is %d to %d; it has to stay within %d to %d%s", v.Lo, v.Hi, s.Min, s.Max, unit)
		}
	case plan.ValueText:
		if !slices.Contains(s.Choices, v.Text) {
			return ReasonParameterChoice, fmt.Sprintf("is %q; possible: %s", v.Text, strings.Join(s.Choices, ", "))
		}
	case plan.ValueList:
		if len(v.List) == 0 || len(v.List) > maxListValues {
			return ReasonParameterBounds, fmt.Sprintf("has %d values; 1 to %d are possible", len(v.List), maxListValues)
		}
		for _, n := range v.List {
			if int64(n) < s.Min || int64(n) > s.Max {
				return ReasonParameterBounds, fmt.Sprintf("holds %d; %d to %d%s is possible", n, s.Min, s.Max, unit)
			}
		}
	}
	return "", ""
}

func valueKindName(k plan.ValueKind) string {
	switch k {
	case plan.ValueNumber:
		return "a number"
	case plan.ValueRange:
		return "a range"
	case plan.ValueText:
		return "a text"
	case plan.ValueBool:
		return "yes or no"
	case plan.ValueList:
		return "a list"
	case plan.ValueSets:
		return "a list of sets written as text, such as 3x8-12"
	}
	return "without a value"
}

// milliText prints thousandths as a plain number.
func milliText(m int64) string { return plan.Load{Milli: m}.Number() }

func (v *Values) find(name string, kind plan.ValueKind) plan.Value {
	for i := range v.specs {
		if v.specs[i].Name == name && v.specs[i].Kind == kind {
			return v.values[i]
		}
	}
	return plan.Value{}
}

// Given reports whether the caller set the parameter, be it to its default.
func (v *Values) Given(name string) bool {
	for i := range v.specs {
		if v.specs[i].Name == name {
			return v.given[i]
		}
	}
	return false
}

// Milli gives a number in thousandths.
func (v *Values) Milli(name string) int64 { return v.find(name, plan.ValueNumber).Milli }

// Whole gives a number that was declared whole.
func (v *Values) Whole(name string) int32 { return int32(v.Milli(name) / 1000) }

// Range gives a range.
func (v *Values) Range(name string) plan.Range {
	r := v.find(name, plan.ValueRange)
	return plan.Range{Min: r.Lo, Max: r.Hi}
}

// Text gives a text.
func (v *Values) Text(name string) string { return v.find(name, plan.ValueText).Text }

// Bool gives a yes or no.
func (v *Values) Bool(name string) bool { return v.find(name, plan.ValueBool).Bool }

// List gives a list; it must not be changed.
func (v *Values) List(name string) []int32 { return v.find(name, plan.ValueList).List }

// Sets gives a list of sets, fresh every time; what an item leaves open (effort, rest)
// is unset in it.
func (v *Values) Sets(name string) []plan.Scheme {
	out, err := ParseSets(v.find(name, plan.ValueSets).Text)
	if err != nil {
		return nil // ParseParams has refused it
	}
	return out
}
