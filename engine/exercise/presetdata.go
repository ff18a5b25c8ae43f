package exercise

import "github.com/phasewright/phasewright/engine/plan"

// What the presets hold. Bars, discs and dumbbell steps are those of common kg
// and lb gyms (from memory); how many of each, how heavy the heaviest dumbbell
// and kettlebell and the mass of EZ and trap bars are assumptions that a caller
// replaces by listing what is there. Pounds are pounds, not converted kilograms;
// kettlebells are the competition sizes of 8 to 32 kg, which in pounds are sold as 18, 26,
// 35, 44, 53, 62 and 70 (from memory).

type stocks struct {
	bars        []plan.Bar
	plates      []plan.PlateStock
	dumbbells   []plan.HeldStock
	kettlebells []plan.HeldStock
	stacks      []plan.Stack
}

func presetItems(p plan.Preset) []plan.Equipment {
	switch p {
	case plan.PresetFullGym:
		var all []plan.Equipment
		for e := plan.Equipment(1); e < plan.EquipmentCount; e++ {
			all = append(all, e)
		}
		return all
	case plan.PresetDumbbells:
		return []plan.Equipment{plan.Dumbbells, plan.FlatBench, plan.InclineBench}
	case plan.PresetHome:
		return []plan.Equipment{plan.Bands, plan.Box}
	case plan.PresetBarbellGarage:
		return []plan.Equipment{plan.Barbell, plan.Rack, plan.FlatBench, plan.PullUpBar}
	case plan.PresetMachines:
		var all []plan.Equipment
		for e := plan.Equipment(1); e < plan.EquipmentCount; e++ {
			switch {
			case e == plan.Landmine:
			case stackMachine(e), plateMachine(e), e == plan.BackExtensionBench, e == plan.AssistedPullUpMachine:
				all = append(all, e)
			}
		}
		return all
	}
	return nil
}

func presetStock(p plan.Preset, unit plan.MassUnit) stocks {
	lb := unit == plan.Pound
	switch p {
	case plan.PresetFullGym:
		if lb {
			return stocks{
				bars:   []plan.Bar{{Kind: plan.Barbell, Mass: plan.Lb(45_000)}, {Kind: plan.EZBar, Mass: plan.Lb(20_000)}, {Kind: plan.TrapBar, Mass: plan.Lb(60_000)}},
				plates: plates(plan.Pound, 45_000, 16, 35_000, 4, 25_000, 4, 10_000, 8, 5_000, 4, 2_500, 4),
				dumbbells: append(pairs(plan.Pound, 2_500, 2_500, 7_500),
					pairs(plan.Pound, 10_000, 5_000, 120_000)...),
				kettlebells: each(plan.Pound, 18_000, 26_000, 35_000, 44_000, 53_000, 62_000, 70_000),
				stacks:      gymStacks(plan.Pound),
			}
		}
		return stocks{
			bars:   []plan.Bar{{Kind: plan.Barbell, Mass: plan.Kg(20_000)}, {Kind: plan.EZBar, Mass: plan.Kg(10_000)}, {Kind: plan.TrapBar, Mass: plan.Kg(25_000)}},
			plates: plates(plan.Kilogram, 25_000, 8, 20_000, 8, 15_000, 4, 10_000, 8, 5_000, 4, 2_500, 4, 1_250, 4),
			dumbbells: append(pairs(plan.Kilogram, 1_000, 1_000, 10_000),
				pairs(plan.Kilogram, 12_500, 2_500, 50_000)...),
			kettlebells: pairs(plan.Kilogram, 8_000, 4_000, 32_000),
			stacks:      gymStacks(plan.Kilogram),
		}
	case plan.PresetDumbbells:
		if lb {
			return stocks{dumbbells: append(pairs(plan.Pound, 2_500, 2_500, 7_500), pairs(plan.Pound, 10_000, 5_000, 65_000)...)}
		}
		return stocks{dumbbells: append(pairs(plan.Kilogram, 1_000, 1_000, 10_000), pairs(plan.Kilogram, 12_500, 2_500, 30_000)...)}
	case plan.PresetBarbellGarage:
		if lb {
			return stocks{
				bars:   []plan.Bar{{Kind: plan.Barbell, Mass: plan.Lb(45_000)}},
				plates: plates(plan.Pound, 45_000, 6, 35_000, 2, 25_000, 2, 10_000, 4, 5_000, 4, 2_500, 2),
			}
		}
		return stocks{
			bars:   []plan.Bar{{Kind: plan.Barbell, Mass: plan.Kg(20_000)}},
			plates: plates(plan.Kilogram, 20_000, 6, 15_000, 2, 10_000, 4, 5_000, 4, 2_500, 2, 1_250, 2),
		}
	case plan.PresetMachines:
		if lb {
			return stocks{
				plates: plates(plan.Pound, 45_000, 16, 35_000, 4, 25_000, 4, 10_000, 8, 5_000, 4, 2_500, 4),
				stacks: gymStacks(plan.Pound),
			}
		}
		return stocks{
			plates: plates(plan.Kilogram, 20_000, 16, 15_000, 4, 10_000, 8, 5_000, 4, 2_500, 4, 1_250, 4),
			stacks: gymStacks(plan.Kilogram),
		}
	}
	return stocks{}
}

// gymStacks gives selector stacks of 5 kg or 10 lb plates; stations for arms
// and shoulders have half-step add-ons. The counterweight of the assisted pull-up
// machine has the same plates.
func gymStacks(u plan.MassUnit) []plan.Stack {
	half, full, fine, coarse := int64(2_500), int64(5_000), int64(100_000), int64(150_000)
	if u == plan.Pound {
		half, full, fine, coarse = 5_000, 10_000, 200_000, 300_000
	}
	var out []plan.Stack
	for e := plan.Equipment(1); e < plan.EquipmentCount; e++ {
		if !stackMachine(e) && e != plan.AssistedPullUpMachine {
			continue
		}
		s := plan.Stack{Kind: e, First: plan.Load{Milli: full, Unit: u}, Step: plan.Load{Milli: full, Unit: u}, Last: plan.Load{Milli: coarse, Unit: u}}
		switch e {
		case plan.CableStation, plan.FlyMachine:
			s.First.Milli, s.Step.Milli, s.Last.Milli = half, half, fine
		case plan.AssistedPullUpMachine:
			s.Last.Milli = fine
		case plan.LatPulldownStation, plan.SeatedRowStation, plan.LyingLegCurlMachine, plan.SeatedLegCurlMachine, plan.LegExtensionMachine:
			s.Step.Milli = half
		}
		out = append(out, s)
	}
	return out
}

// plates takes mass, count, mass, count ... in thousandths.
func plates(u plan.MassUnit, massCount ...int64) []plan.PlateStock {
	out := make([]plan.PlateStock, 0, len(massCount)/2)
	for i := 0; i+1 < len(massCount); i += 2 {
		out = append(out, plan.PlateStock{Mass: plan.Load{Milli: massCount[i], Unit: u}, Count: int32(massCount[i+1])})
	}
	return out
}

// each gives two of every mass listed.
func each(u plan.MassUnit, masses ...int64) []plan.HeldStock {
	var out []plan.HeldStock
	for _, m := range masses {
		out = append(out, plan.HeldStock{Mass: plan.Load{Milli: m, Unit: u}, Count: 2})
	}
	return out
}

func pairs(u plan.MassUnit, first, step, last int64) []plan.HeldStock {
	var out []plan.HeldStock
	for m := first; m <= last; m += step {
		out = append(out, plan.HeldStock{Mass: plan.Load{Milli: m, Unit: u}, Count: 2})
	}
	return out
}
