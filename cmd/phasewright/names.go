package main

import (
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// named is a value that people write by its printed name: "lat pulldown station" or
// lat-pulldown-station.
type named interface {
	~uint8
	String() string
}

func token(s string) string {
	return strings.ReplaceAll(strings.ReplaceAll(strings.ToLower(strings.TrimSpace(s)), " ", "-"), "_", "-")
}

func tokens[T named](first, last T) []string {
	var out []string
	for v := first; v <= last; v++ {
		out = append(out, token(v.String()))
	}
	return out
}

// parse finds a value by name; 0 for an empty one.
func parse[T named](flag, s string, first, last T) (T, error) {
	if s == "" {
		return 0, nil
	}
	for v := first; v <= last; v++ {
		if token(v.String()) == token(s) {
			return v, nil
		}
	}
	all := tokens(first, last)
	if near := nearest(token(s), all); near != "" {
		return 0, wrong("--%s: there is no %q; did you mean %s?", flag, s, near)
	}
	return 0, wrong("--%s: there is no %q; there is %s", flag, s, strings.Join(all, ", "))
}

func parseMuscle(s string) (plan.Muscle, error) {
	return parse("muscle", s, plan.MuscleUnspecified+1, plan.MuscleCount-1)
}

func parsePattern(s string) (plan.Pattern, error) {
	return parse("pattern", s, plan.PatternUnspecified+1, plan.PatternCount-1)
}

func parseEquipment(s string) (plan.Equipment, error) {
	return parse("equipment", s, plan.EquipmentUnspecified+1, plan.EquipmentCount-1)
}

func parsePreset(s string) (plan.Preset, error) {
	return parse("place-preset", s, plan.PresetFullGym, plan.PresetMachines)
}
