package engine

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// What a descriptor may hold, in bytes and items.
const (
	descriptorMaxSays    = 4000
	descriptorMaxParams  = 100
	descriptorMaxChoices = 100
	descriptorMaxUnit    = 32
	descriptorMaxVaries  = 1000
	descriptorMaxSource  = 1000
	descriptorMaxMeaning = 2000
	descriptorMaxBound   = 1_000_000_000 // of whole numbers; of numbers in their unit
)

// CheckDescriptor checks how a strategy from outside describes itself. The fault is of
// kind Internal, as a wrong description is the strategy's bug, and names paths such as
// description.parameters[2].default.
func CheckDescriptor(d *plan.Descriptor) error {
	k := descriptorCheck{fault.NewCollector(fault.Internal), "description"}
	if !validName(d.Name) {
		k.bad("name", "is %q; lower-case letters, digits and single hyphens are right, at most %d, a letter first", clip(d.Name), maxNameLength)
	}
	if _, ok := parseVersion(d.Version); !ok {
		k.bad("version", "is %q; numbers joined by dots are right (1, 1.2)", clip(d.Version))
	}
	k.text("description", d.Says, 1, descriptorMaxSays)
	k.text("claims", d.Claims, 1, descriptorMaxSays)
	if d.MinWeeks < 1 || d.MinWeeks > outlineMaxWeeks {
		k.bad("min_weeks", "is %d; 1 to %d is possible", d.MinWeeks, outlineMaxWeeks)
	}
	if d.MaxWeeks < d.MinWeeks || d.MaxWeeks > outlineMaxWeeks {
		k.bad("max_weeks", "is %d; min_weeks to %d is possible", d.MaxWeeks, outlineMaxWeeks)
	}
	if len(d.Params) > descriptorMaxParams {
		k.bad("parameters", "are %d; at most %d are possible", len(d.Params), descriptorMaxParams)
		return k.c.Err()
	}
	for i := range d.Params {
		k.path = fmt.Sprintf("description.parameters[%d]", i)
		if i > 0 && d.Params[i-1].Name >= d.Params[i].Name {
			k.bad("name", "is %q after %q; rising order, each once, is right", clip(d.Params[i].Name), clip(d.Params[i-1].Name))
		}
		k.spec(&d.Params[i])
	}
	return k.c.Err()
}

type descriptorCheck struct {
	c    *fault.Collector
	path string
}

func (k *descriptorCheck) bad(field, format string, args ...any) {
	if k.c.Len() < outlineMaxFaults {
		k.c.Add("DESCRIPTION", k.path+"."+field, fmt.Sprintf(format, args...))
	}
}

func (k *descriptorCheck) text(field, s string, least, most int) {
	switch {
	case len(s) < least:
		k.bad(field, "is empty; a text is needed")
	case len(s) > most:
		k.bad(field, "has %d bytes; at most %d are possible", len(s), most)
	case !utf8.ValidString(s) || strings.ContainsFunc(s, func(c rune) bool { return !unicode.IsPrint(c) }):
		k.bad(field, "holds letters that can't be printed")
	}
}

func (k *descriptorCheck) spec(s *plan.ParamSpec) {
	if !validParamName(s.Name) {
		k.bad("name", "is %q; lower-case words joined by _ are right, a letter first, at most %d bytes", clip(s.Name), maxNameLength)
	}
	k.text("description", s.Says, 1, descriptorMaxMeaning)
	k.text("source", s.Source, 1, descriptorMaxSource)
	k.text("varies", s.Varies, 0, descriptorMaxVaries)
	switch s.Kind {
	case plan.ValueNumber, plan.ValueRange, plan.ValueList:
		k.bounds(s)
	case plan.ValueText:
		if len(s.Choices) < 2 || len(s.Choices) > descriptorMaxChoices {
			k.bad("choices", "are %d; 2 to %d are possible", len(s.Choices), descriptorMaxChoices)
			return
		}
		for i, c := range s.Choices {
			k.text(fmt.Sprintf("choices[%d]", i), c, 1, maxNameLength)
		}
	case plan.ValueBool, plan.ValueSets:
	default:
		k.bad("type", "is missing or unknown")
		return
	}
	if reason, says := checkValue(s, s.Default); reason != "" {
		k.bad("default", "%s", says)
	}
}

func (k *descriptorCheck) bounds(s *plan.ParamSpec) {
	most := int64(descriptorMaxBound)
	if s.Kind == plan.ValueNumber {
		most *= 1000
	}
	if s.Min < -most || s.Min >= s.Max {
		k.bad("min", "has to lie below max, and at or above -%d", descriptorMaxBound)
	}
	if s.Max > most {
		k.bad("max", "goes beyond %d", descriptorMaxBound)
	}
	k.text("unit", s.Unit, 1, descriptorMaxUnit)
}

func validParamName(s string) bool {
	if s == "" || len(s) > maxNameLength || s[0] < 'a' || s[0] > 'z' {
		return false
	}
	return !strings.ContainsFunc(s, func(c rune) bool { return (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '_' })
}

// clip shortens what is repeated of a stranger's text.
func clip(s string) string {
	if r := []rune(s[:min(len(s), 4*maxNameLength)]); len(r) > maxNameLength {
		return string(r[:maxNameLength]) + "…"
	}
	return s
}
