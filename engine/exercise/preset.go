package exercise

import (
	"cmp"
	"reflect"
	"slices"

	"github.com/phasewright/phasewright/engine/plan"
)

// ExpandPreset settles a place's equipment: Items become the preset's items and
// the caller's, plus what the caller's stocks imply (a list of dumbbells means
// dumbbells), less Absent; stocks that the caller doesn't list come from the
// preset, in the request's unit (kg unless Pound). A caller's list replaces the
// preset's per kind: bars and stacks by kind of bar and machine (a stack
// without a kind replaces all), plates, kettlebells and dumbbells, fixed and
// adjustable ones together, whole. What is absent loses its stock. Items added to a preset bring no stock with them,
// see Unstocked. Safeties are never set: whoever trains must say that they are
// there. The result is sorted, and expanding it again changes nothing.
func ExpandPreset(p plan.Place, unit plan.MassUnit) plan.Place {
	items, stock := presetItems(p.Preset), presetStock(p.Preset, unit)

	items = append(items, p.Items...)
	for _, b := range p.Bars {
		items = append(items, b.Kind)
	}
	for _, s := range p.Stacks {
		items = append(items, s.Kind)
	}
	if len(p.Dumbbells)+len(p.Adjustables) > 0 {
		items = append(items, plan.Dumbbells)
	}
	if len(p.Kettlebells) > 0 {
		items = append(items, plan.Kettlebells)
	}
	slices.Sort(items)
	items = slices.DeleteFunc(slices.Compact(items), func(e plan.Equipment) bool {
		return e == plan.EquipmentUnspecified || slices.Contains(p.Absent, e)
	})
	if len(items) == 0 {
		items = nil // so that expanding twice changes nothing
	}
	p.Items = items

	p.Bars = settleBars(p.Bars, stock.bars, items)
	p.Stacks = settleStacks(p.Stacks, stock.stacks, items)
	p.Plates = settlePlates(p.Plates, stock.plates)
	if len(p.Adjustables) > 0 {
		stock.dumbbells = nil
	}
	p.Dumbbells = settleHeld(p.Dumbbells, stock.dumbbells, slices.Contains(items, plan.Dumbbells))
	if !slices.Contains(items, plan.Dumbbells) {
		p.Adjustables = nil
	}
	p.Kettlebells = settleHeld(p.Kettlebells, stock.kettlebells, slices.Contains(items, plan.Kettlebells))
	return p
}

// Unstocked lists items of a settled place that exercises are loaded with, but
// for which it has no load: bars without their mass, dumbbells and kettlebells
// without a list, plate and stack machines without plates and stacks. Exercises
// on them are not Available, so a request should be told.
func Unstocked(p *plan.Place) []plan.Equipment {
	var out []plan.Equipment
	for _, item := range p.Items {
		switch item {
		case plan.Barbell, plan.EZBar, plan.TrapBar:
			if !slices.ContainsFunc(p.Bars, func(b plan.Bar) bool { return b.Kind == item }) {
				out = append(out, item)
			}
		case plan.Dumbbells:
			if !dumbbells(p, 1) {
				out = append(out, item)
			}
		case plan.Kettlebells:
			if !held(p.Kettlebells, 1) {
				out = append(out, item)
			}
		default:
			needsStack, needsPlates := stackMachine(item), plateMachine(item)
			stacked := slices.ContainsFunc(p.Stacks, func(s plan.Stack) bool {
				return s.Kind == plan.EquipmentUnspecified || s.Kind == item
			})
			plated := slices.ContainsFunc(p.Plates, func(s plan.PlateStock) bool { return s.Count >= 2 })
			if needsStack && !stacked || needsPlates && !plated {
				out = append(out, item)
			}
		}
	}
	return out
}

// stackMachine and plateMachine say how the built-in catalogue loads a machine.
func stackMachine(e plan.Equipment) bool {
	switch e {
	case plan.CableStation, plan.LatPulldownStation, plan.SeatedRowStation, plan.LegExtensionMachine,
		plan.LyingLegCurlMachine, plan.SeatedLegCurlMachine, plan.StandingCalfMachine, plan.ChestPressMachine,
		plan.ShoulderPressMachine, plan.RowMachine, plan.FlyMachine, plan.HipAbductionMachine,
		plan.HipAdductionMachine, plan.AbdominalMachine:
		return true
	}
	return false
}

func plateMachine(e plan.Equipment) bool {
	switch e {
	case plan.LegPressMachine, plan.HackSquatMachine, plan.SeatedCalfMachine, plan.SmithMachine,
		plan.HipThrustMachine, plan.Landmine:
		return true
	}
	return false
}

func settleBars(own, preset []plan.Bar, items []plan.Equipment) []plan.Bar {
	out := slices.Clone(own)
	for _, b := range preset {
		if !slices.ContainsFunc(own, func(o plan.Bar) bool { return o.Kind == b.Kind }) {
			out = append(out, b)
		}
	}
	out = slices.DeleteFunc(out, func(b plan.Bar) bool { return !slices.Contains(items, b.Kind) })
	slices.SortStableFunc(out, func(a, b plan.Bar) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), compareLoads(a.Mass, b.Mass), compareLoads(a.Collars.Value, b.Collars.Value))
	})
	return slices.Compact(out)
}

func settleStacks(own, preset []plan.Stack, items []plan.Equipment) []plan.Stack {
	out := slices.Clone(own)
	all := slices.ContainsFunc(own, func(s plan.Stack) bool { return s.Kind == plan.EquipmentUnspecified })
	if !all {
		for _, s := range preset {
			if !slices.ContainsFunc(own, func(o plan.Stack) bool { return o.Kind == s.Kind }) {
				out = append(out, s)
			}
		}
	}
	out = slices.DeleteFunc(out, func(s plan.Stack) bool {
		return s.Kind != plan.EquipmentUnspecified && !slices.Contains(items, s.Kind)
	})
	slices.SortStableFunc(out, func(a, b plan.Stack) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), compareLoads(a.First, b.First), compareLoads(a.Step, b.Step), compareLoads(a.Last, b.Last))
	})
	return slices.CompactFunc(out, func(a, b plan.Stack) bool { return reflect.DeepEqual(a, b) })
}

// settlePlates sorts heaviest first, as they go on the bar.
func settlePlates(own, preset []plan.PlateStock) []plan.PlateStock {
	if len(own) == 0 {
		own = preset
	}
	out := slices.Clone(own)
	slices.SortStableFunc(out, func(a, b plan.PlateStock) int { return compareLoads(b.Mass, a.Mass) })
	merged := out[:0]
	for _, s := range out {
		if n := len(merged); n > 0 && merged[n-1].Mass == s.Mass {
			merged[n-1].Count += s.Count
			continue
		}
		merged = append(merged, s)
	}
	return merged
}

func settleHeld(own, preset []plan.HeldStock, there bool) []plan.HeldStock {
	if !there {
		return nil
	}
	if len(own) == 0 {
		own = preset
	}
	out := slices.Clone(own)
	slices.SortStableFunc(out, func(a, b plan.HeldStock) int { return compareLoads(a.Mass, b.Mass) })
	merged := out[:0]
	for _, s := range out {
		if n := len(merged); n > 0 && merged[n-1].Mass == s.Mass {
			merged[n-1].Count += s.Count
			continue
		}
		merged = append(merged, s)
	}
	return merged
}

// compareLoads orders by mass, then by unit, so that equal masses in two units
// have an order too.
func compareLoads(a, b plan.Load) int {
	return cmp.Or(a.Cmp(b), cmp.Compare(a.Unit, b.Unit))
}
