package exercise

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Bounds of the fields. They catch slips of the pen, not strong people.
const (
	maxID           = 64
	maxText         = 120 // bytes of a name or source
	maxAlternatives = 8
	maxItems        = 6 // things needed together
	maxShare        = 1000
	maxSetup        = 600
	maxRep          = 15
	maxSetSetup     = 120
	maxStepMilli    = 50_000
	maxMinReps      = 30
	maxRatio        = 3000
	maxPlausibleKg  = 1500
)

// Reasons of the faults that this package reports.
const (
	ReasonInvalid   = "EXERCISE_INVALID"
	ReasonDuplicate = "EXERCISE_DUPLICATE"
	ReasonUnknown   = "EXERCISE_UNKNOWN"
	ReasonFile      = "CATALOGUE_FILE_INVALID"
)

// Validate checks one exercise for itself. The fault (Invalid) has one
// violation a mistake, with the data file's column as the field. That related
// lifts exist and ids are unique is checked by Catalogue.With.
func Validate(e Exercise) error {
	c := fault.NewCollector(fault.Invalid)
	check(&e, func(column, says string) { c.Add(ReasonInvalid, column, says) })
	return c.Err()
}

func check(e *Exercise, bad func(column, says string)) {
	checkIdentity(e, bad)
	checkMuscles(e, bad)
	checkEquipment(e, bad)
	checkLoading(e, bad)
	checkTimes(e, bad)
	checkFlags(e, bad)
	checkRelated(e, bad)
}

func checkIdentity(e *Exercise, bad func(column, says string)) {
	if !isKebab(e.ID) {
		bad("id", fmt.Sprintf("%q must be kebab-case of a-z, 0-9 and hyphens, at most %d long, like back-squat", clip(e.ID), maxID))
	}
	if !isText(e.Name) {
		bad("name", fmt.Sprintf("must be 1 to %d bytes of printable text without spaces at the ends", maxText))
	}
	if !isText(e.Source) {
		bad("source", fmt.Sprintf("must be 1 to %d bytes of printable text: where the muscles come from, or \"judgement\"", maxText))
	}
	if !isKebab(e.Group) {
		bad("group", fmt.Sprintf("%q must be kebab-case, shared with near-copies; the id itself where there are none", clip(e.Group)))
	}
	if e.Pattern == plan.PatternUnspecified || e.Pattern >= plan.PatternCount {
		bad("pattern", "must be one of "+strings.Join(tokens(plan.PatternCount), ", "))
	}
	switch {
	case e.Role < plan.MultiJoint || e.Role >= plan.RoleCount:
		bad("role", "must be one of "+strings.Join(roleTokens(), ", ")+"; which lift is a goal is said by the request")
	case (e.Role == plan.Explosive) != e.Pattern.Explosive():
		bad("role", "must be explosive with an explosive pattern, and only with one")
	case e.Role == plan.Unloadable && e.Loading.Loadable():
		bad("role", "cannot be unloadable with a loading that takes loads in numbers")
	case (e.Role == plan.MultiJoint || e.Role == plan.SingleJoint) && !e.Loading.Loadable():
		bad("role", "must be unloadable (or trunk) where no load in numbers is prescribed")
	}
	if e.Skill == plan.SkillUnspecified || e.Skill >= skillCount {
		bad("skill", "must be one of "+strings.Join(tokens(skillCount), ", "))
	}
	if e.Standing == StandingUnspecified || e.Standing >= StandingCount {
		bad("standing", "must be one of "+strings.Join(tokens(StandingCount), ", "))
	}
	if e.Region == RegionUnspecified || e.Region >= RegionCount {
		bad("region", "must be one of "+strings.Join(tokens(RegionCount), ", "))
	}
}

func checkMuscles(e *Exercise, bad func(column, says string)) {
	primes := 0
	for m, share := range e.Involvement {
		switch {
		case share == Prime && m > 0:
			primes++
		case share == Secondary && m > 0, share == 0:
		default:
			bad("prime", fmt.Sprintf("involvement of %s must be 0, %d or %d half sets, not %d", plan.Muscle(m), Secondary, Prime, int32(share)))
		}
	}
	if primes == 0 {
		bad("prime", "must name at least one muscle that moves the load: "+strings.Join(tokens(plan.MuscleCount), ", "))
	}
	for j, level := range e.Stress {
		if level > StressMarked || j == 0 && level > 0 {
			bad("joints", fmt.Sprintf("stress on %s must be 0, 1 (mild) or 2 (marked), not %d", plan.Joint(j), level))
		}
	}
}

func checkEquipment(e *Exercise, bad func(column, says string)) {
	checkAlternatives(e.Equipment, "equipment", bad)
	checkAlternatives(e.AddedNeeds, "added_needs", bad)
	if len(e.AddedNeeds) > 0 && e.Loading != plan.LoadingAdded {
		bad("added_needs", "must be empty unless the loading is body-mass-and-added-load")
	}
	if len(e.AddedNeeds) == 0 && e.Loading == plan.LoadingAdded {
		bad("added_needs", "must say what holds the added load, such as dip-belt")
	}
	needs := func(item plan.Equipment, because string) {
		for _, alt := range e.Equipment {
			if !contains(alt, item) {
				bad("equipment", "every alternative must have "+token(item.String())+" "+because)
				return
			}
		}
		if len(e.Equipment) == 0 {
			bad("equipment", "must have "+token(item.String())+" "+because)
		}
	}
	const load = "for this loading"
	switch e.Loading {
	case plan.LoadingDumbbell, plan.LoadingDumbbellPair:
		needs(plan.Dumbbells, load)
	case plan.LoadingKettlebell, plan.LoadingKettlebellPair:
		needs(plan.Kettlebells, load)
	case plan.LoadingBand:
		needs(plan.Bands, load)
	case plan.LoadingAssisted:
		needs(plan.AssistedPullUpMachine, load)
	case plan.LoadingStack, plan.LoadingPlateMachine:
		if len(e.Equipment) == 0 {
			bad("equipment", "must name the machine "+load)
		}
	case plan.LoadingBar:
		switch e.Bar {
		case plan.Barbell, plan.EZBar, plan.TrapBar:
			needs(e.Bar, "because it is the bar")
		}
	}
}

func checkAlternatives(alts [][]plan.Equipment, column string, bad func(column, says string)) {
	if len(alts) > maxAlternatives {
		bad(column, fmt.Sprintf("must have at most %d alternatives", maxAlternatives))
		return
	}
	for i, alt := range alts {
		if len(alt) == 0 || len(alt) > maxItems {
			bad(column, fmt.Sprintf("an alternative must have 1 to %d items; no alternatives at all is the floor", maxItems))
			return
		}
		for k, item := range alt {
			if item == plan.EquipmentUnspecified || item >= plan.EquipmentCount {
				bad(column, "must be of "+strings.Join(tokens(plan.EquipmentCount), ", "))
				return
			}
			if slices.Contains(alt[:k], item) {
				bad(column, token(item.String())+" stands twice in one alternative")
				return
			}
		}
		for _, earlier := range alts[:i] {
			if slices.Equal(earlier, alt) {
				bad(column, "an alternative stands twice")
				return
			}
		}
	}
}

func checkLoading(e *Exercise, bad func(column, says string)) {
	if e.Loading == plan.LoadingUnspecified || e.Loading >= plan.LoadingCount {
		bad("loading", "must be one of "+strings.Join(tokens(plan.LoadingCount), ", "))
		return
	}
	isBar := e.Bar == plan.Barbell || e.Bar == plan.EZBar || e.Bar == plan.TrapBar
	if e.Loading == plan.LoadingBar && !isBar {
		bad("bar", "must be barbell, ez-bar or trap-bar")
	}
	if e.Loading != plan.LoadingBar && e.Bar != plan.EquipmentUnspecified {
		bad("bar", "must be empty unless the loading is bar-and-plates")
	}
	if e.BodyMassShare < 0 || e.BodyMassShare > maxShare {
		bad("body_mass_permille", fmt.Sprintf("must be 0 to %d permille (%d %%)", maxShare, maxShare/10))
	}
	if e.Loading == plan.LoadingAdded && e.BodyMassShare == 0 {
		bad("body_mass_permille", "must be above 0 where load is added to body mass")
	}
	checkStep := func(column string, milli int64) {
		switch {
		case !e.Loading.Loadable() && milli != 0:
			bad(column, "must be 0 where no load in numbers is prescribed")
		case e.Loading.Loadable() && (milli <= 0 || milli > maxStepMilli):
			bad(column, fmt.Sprintf("must be above 0 and at most %d", maxStepMilli/1000))
		}
	}
	checkStep("step_kg", e.StepMilliKg)
	checkStep("step_lb", e.StepMilliLb)
	switch {
	case !e.Loading.Loadable() && e.MaxPlausibleKg != 0:
		bad("max_plausible_kg", "must be 0 where no load in numbers is prescribed")
	case e.Loading.Loadable() && (e.MaxPlausibleKg <= 0 || e.MaxPlausibleKg > maxPlausibleKg):
		bad("max_plausible_kg", fmt.Sprintf("must be 1 to %d", maxPlausibleKg))
	}
	if !slices.Contains(curves[:], e.Curve) {
		bad("curve", "must be one of "+curveList())
	}
	if (e.Curve == CurveBodyweight) != (!e.Loading.Loadable() || e.Loading == plan.LoadingAdded) {
		bad("curve", "must be bodyweight where body mass or a band is the load, and only there")
	}
}

func checkTimes(e *Exercise, bad func(column, says string)) {
	within := func(column string, v, low, high int32) {
		if v < low || v > high {
			bad(column, fmt.Sprintf("must be %d to %d", low, high))
		}
	}
	within("setup_s", int32(e.Setup), 0, maxSetup)
	within("rep_s", int32(e.Rep), 1, maxRep)
	within("set_setup_s", int32(e.SetSetup), 0, maxSetSetup)
	within("min_reps", e.MinReps, 1, maxMinReps)
}

func checkFlags(e *Exercise, bad func(column, says string)) {
	if e.Flags&^allFlags != 0 {
		bad("flags", "must be of "+strings.Join(flagNames[:], ", "))
	}
	if e.Is(UnderBar | FailureOK) {
		bad("flags", "failure-ok contradicts under-bar")
	}
	if e.Is(FailureOK) && e.Role == plan.Explosive {
		bad("flags", "failure-ok contradicts an explosive pattern")
	}
	if e.Is(Supine | Prone) {
		bad("flags", "supine contradicts prone")
	}
	if e.Is(MaxTest) && (e.Is(Timed) || !e.Loading.Loadable()) {
		bad("flags", "max-test needs a load in numbers and repetitions")
	}
	if e.Is(Timed) && e.MinReps > 1 {
		bad("min_reps", "must be 1 where the exercise is prescribed in seconds")
	}
}

func checkRelated(e *Exercise, bad func(column, says string)) {
	if e.RelatedTo == "" {
		if e.RelatedRatio != 0 {
			bad("related_permille", "must be 0 without a related lift")
		}
		return
	}
	if !isKebab(e.RelatedTo) || e.RelatedTo == e.ID {
		bad("related", "must be the id of another exercise")
	}
	if e.RelatedRatio <= 0 || e.RelatedRatio > maxRatio {
		bad("related_permille", fmt.Sprintf("must be 1 to %d permille (0.1 to %d %%)", maxRatio, maxRatio/10))
	}
	if !e.Loading.Loadable() {
		bad("related", "must be empty where no load in numbers is prescribed")
	}
}

func isText(s string) bool {
	if s == "" || len(s) > maxText || strings.TrimSpace(s) != s {
		return false
	}
	for _, r := range s {
		if !unicode.IsPrint(r) || r == unicode.ReplacementChar {
			return false
		}
	}
	return true
}

// clip keeps a quoted mistake short.
func clip(s string) string {
	if len(s) > maxID {
		return strings.ToValidUTF8(s[:maxID], "") + "..."
	}
	return s
}

func curveList() string {
	out := make([]string, len(curves))
	for i, c := range curves {
		out[i] = string(c)
	}
	return strings.Join(out, ", ")
}
