package exercise

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/plan"
)

var presets = []plan.Preset{plan.PresetFullGym, plan.PresetDumbbells, plan.PresetHome, plan.PresetBodyweight,
	plan.PresetBarbellGarage, plan.PresetMachines}

func preset(p plan.Preset, u plan.MassUnit) plan.Place {
	return ExpandPreset(plan.Place{ID: "p", Preset: p}, u)
}

func oneKettlebell() plan.Place {
	return ExpandPreset(plan.Place{ID: "home", Preset: plan.PresetBodyweight,
		Kettlebells: []plan.HeldStock{{Mass: plan.Kg(16_000), Count: 1}}}, plan.Kilogram)
}

func TestPresetItems(t *testing.T) {
	gym := preset(plan.PresetFullGym, plan.Kilogram)
	for e := plan.Equipment(1); e < plan.EquipmentCount; e++ {
		require.True(t, gym.Has(e), e)
	}
	require.Equal(t, []plan.Equipment{plan.FlatBench, plan.InclineBench, plan.Dumbbells}, preset(plan.PresetDumbbells, plan.Kilogram).Items)
	require.Equal(t, []plan.Equipment{plan.Bands, plan.Box}, preset(plan.PresetHome, plan.Kilogram).Items)
	require.Empty(t, preset(plan.PresetBodyweight, plan.Kilogram).Items)
	require.Equal(t, []plan.Equipment{plan.Barbell, plan.Rack, plan.FlatBench, plan.PullUpBar}, preset(plan.PresetBarbellGarage, plan.Kilogram).Items)
	machines := preset(plan.PresetMachines, plan.Kilogram)
	require.True(t, machines.Has(plan.CableStation))
	for _, free := range []plan.Equipment{plan.Barbell, plan.Dumbbells, plan.Kettlebells, plan.Rack, plan.Landmine, plan.Bands, plan.FlatBench} {
		require.False(t, machines.Has(free), free)
	}
	require.Empty(t, preset(plan.PresetUnspecified, plan.Kilogram).Items)
}

func TestPresetsAreStockedInTheirUnitAndNeverHaveSafeties(t *testing.T) {
	for _, pr := range presets {
		for _, u := range []plan.MassUnit{plan.Kilogram, plan.Pound, plan.UnitUnspecified} {
			p := preset(pr, u)
			want := u
			if u == plan.UnitUnspecified {
				want = plan.Kilogram
			}
			require.False(t, p.Safeties.Set, pr)
			require.Empty(t, Unstocked(&p), pr)
			for _, b := range p.Bars {
				require.Equal(t, want, b.Mass.Unit)
			}
			for _, s := range p.Plates {
				require.Equal(t, want, s.Mass.Unit)
				require.Zero(t, s.Count%2, "plates come in pairs")
			}
			for _, s := range slices.Concat(p.Dumbbells, p.Kettlebells) {
				require.Equal(t, want, s.Mass.Unit)
				require.EqualValues(t, 2, s.Count)
			}
			for _, s := range p.Stacks {
				require.Equal(t, want, s.First.Unit)
				require.Positive(t, s.Step.Milli)
				require.Zero(t, (s.Last.Milli-s.First.Milli)%s.Step.Milli)
			}
			require.True(t, slices.IsSortedFunc(p.Plates, func(a, b plan.PlateStock) int { return b.Mass.Cmp(a.Mass) }))
			require.True(t, slices.IsSortedFunc(p.Dumbbells, func(a, b plan.HeldStock) int { return a.Mass.Cmp(b.Mass) }))
		}
	}
	lb := preset(plan.PresetFullGym, plan.Pound)
	require.Contains(t, lb.Bars, plan.Bar{Kind: plan.Barbell, Mass: plan.Lb(45_000)})
	require.Contains(t, lb.Plates, plan.PlateStock{Mass: plan.Lb(45_000), Count: 16})
	require.Equal(t, plan.Lb(120_000), lb.Dumbbells[len(lb.Dumbbells)-1].Mass)
	kg := preset(plan.PresetFullGym, plan.Kilogram)
	require.Contains(t, kg.Bars, plan.Bar{Kind: plan.Barbell, Mass: plan.Kg(20_000)})
	require.Equal(t, plan.Kg(1_250), kg.Plates[len(kg.Plates)-1].Mass)
}

func TestCallersStockReplacesThePresetsByKind(t *testing.T) {
	own := plan.Place{Preset: plan.PresetFullGym,
		Bars:      []plan.Bar{{Kind: plan.Barbell, Mass: plan.Kg(15_000)}},
		Dumbbells: []plan.HeldStock{{Mass: plan.Kg(12_000), Count: 1}, {Mass: plan.Kg(8_000), Count: 2}, {Mass: plan.Kg(12_000), Count: 1}},
		Stacks:    []plan.Stack{{Kind: plan.CableStation, First: plan.Kg(5_000), Step: plan.Kg(5_000), Last: plan.Kg(60_000)}},
		Absent:    []plan.Equipment{plan.TrapBar, plan.Kettlebells, plan.LegPressMachine, plan.RowMachine}}
	before := slices.Clone(own.Dumbbells)
	p := ExpandPreset(own, plan.Kilogram)
	require.Equal(t, before, own.Dumbbells, "the argument is unchanged")
	require.Equal(t, []plan.Bar{{Kind: plan.Barbell, Mass: plan.Kg(15_000)}, {Kind: plan.EZBar, Mass: plan.Kg(10_000)}}, p.Bars)
	require.Equal(t, []plan.HeldStock{{Mass: plan.Kg(8_000), Count: 2}, {Mass: plan.Kg(12_000), Count: 2}}, p.Dumbbells)
	require.Empty(t, p.Kettlebells)
	require.NotEmpty(t, p.Plates)
	for _, gone := range own.Absent {
		require.False(t, p.Has(gone), gone)
	}
	cables := 0
	for _, s := range p.Stacks {
		require.NotEqual(t, plan.RowMachine, s.Kind)
		if s.Kind == plan.CableStation {
			cables++
			require.Equal(t, plan.Kg(60_000), s.Last)
		}
	}
	require.Equal(t, 1, cables)
	require.Greater(t, len(p.Stacks), 5, "other machines keep the preset's stacks")

	every := ExpandPreset(plan.Place{Preset: plan.PresetMachines,
		Stacks: []plan.Stack{{First: plan.Lb(10_000), Step: plan.Lb(10_000), Last: plan.Lb(200_000)}}}, plan.Kilogram)
	require.Len(t, every.Stacks, 1, "a stack without a kind holds for every machine")
}

func TestStockImpliesItems(t *testing.T) {
	p := ExpandPreset(plan.Place{
		Bars:        []plan.Bar{{Kind: plan.EZBar, Mass: plan.Kg(8_000)}},
		Dumbbells:   []plan.HeldStock{{Mass: plan.Kg(10_000), Count: 2}},
		Kettlebells: []plan.HeldStock{{Mass: plan.Kg(16_000), Count: 1}},
		Stacks:      []plan.Stack{{Kind: plan.CableStation, First: plan.Kg(5_000), Step: plan.Kg(5_000), Last: plan.Kg(50_000)}},
	}, plan.Kilogram)
	require.Equal(t, []plan.Equipment{plan.EZBar, plan.Dumbbells, plan.Kettlebells, plan.CableStation}, p.Items)
}

func TestUnstocked(t *testing.T) {
	p := ExpandPreset(plan.Place{Preset: plan.PresetBodyweight, Items: []plan.Equipment{plan.Kettlebells, plan.Barbell,
		plan.Dumbbells, plan.CableStation, plan.LegPressMachine, plan.Box}}, plan.Kilogram)
	require.Equal(t, []plan.Equipment{plan.Barbell, plan.Dumbbells, plan.Kettlebells, plan.CableStation, plan.LegPressMachine}, Unstocked(&p))
	require.False(t, byID(t, "deadlift").Available(&p), "no bar of a known mass")
	require.False(t, byID(t, "leg-press").Available(&p))
	require.True(t, byID(t, "bodyweight-step-up").Available(&p))
}

func TestExpandingTwiceChangesNothing(t *testing.T) {
	item := rapid.Map(rapid.Uint8Range(1, uint8(plan.EquipmentCount)-1), func(v uint8) plan.Equipment { return plan.Equipment(v) })
	mass := rapid.Custom(func(t *rapid.T) plan.Load {
		return plan.Load{Milli: rapid.Int64Range(1, 40).Draw(t, "m") * 500, Unit: rapid.SampledFrom([]plan.MassUnit{plan.Kilogram, plan.Pound}).Draw(t, "u")}
	})
	stock := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) plan.HeldStock {
		return plan.HeldStock{Mass: mass.Draw(t, "mass"), Count: rapid.Int32Range(1, 4).Draw(t, "n")}
	}), 0, 4)
	rapid.Check(t, func(t *rapid.T) {
		p := plan.Place{
			Preset:      plan.Preset(rapid.Uint8Range(0, uint8(plan.PresetMachines)).Draw(t, "preset")),
			Items:       rapid.SliceOfN(item, 0, 5).Draw(t, "items"),
			Absent:      rapid.SliceOfN(item, 0, 5).Draw(t, "absent"),
			Dumbbells:   stock.Draw(t, "dumbbells"),
			Kettlebells: stock.Draw(t, "kettlebells"),
		}
		for _, kind := range rapid.SliceOfN(rapid.SampledFrom([]plan.Equipment{plan.Barbell, plan.EZBar, plan.TrapBar}), 0, 3).Draw(t, "bars") {
			p.Bars = append(p.Bars, plan.Bar{Kind: kind, Mass: mass.Draw(t, "bar")})
		}
		for _, s := range stock.Draw(t, "plates") {
			p.Plates = append(p.Plates, plan.PlateStock(s))
		}
		for _, kind := range rapid.SliceOfN(rapid.OneOf(item, rapid.Just(plan.EquipmentUnspecified)), 0, 2).Draw(t, "stacks") {
			p.Stacks = append(p.Stacks, plan.Stack{Kind: kind, First: mass.Draw(t, "f"), Step: mass.Draw(t, "s"), Last: mass.Draw(t, "l")})
		}
		unit := rapid.SampledFrom([]plan.MassUnit{plan.Kilogram, plan.Pound}).Draw(t, "unit")
		once := ExpandPreset(p, unit)
		require.Equal(t, once, ExpandPreset(once, unit))
		for _, gone := range p.Absent {
			require.False(t, once.Has(gone))
		}
		for i := 1; i < len(once.Items); i++ {
			require.Less(t, once.Items[i-1], once.Items[i])
		}
		turned := p
		turned.Items, turned.Dumbbells, turned.Plates = slices.Clone(p.Items), slices.Clone(p.Dumbbells), slices.Clone(p.Plates)
		slices.Reverse(turned.Items)
		slices.Reverse(turned.Dumbbells)
		slices.Reverse(turned.Plates)
		require.Equal(t, once, ExpandPreset(turned, unit), "the order of the request does not matter")
	})
}

// The preset knows how machines are loaded; the catalogue says the same.
func TestMachinesAreLoadedAsThePresetsThink(t *testing.T) {
	stack, plated := map[plan.Equipment]bool{}, map[plan.Equipment]bool{}
	for _, e := range builtin(t).All() {
		for _, alt := range e.Equipment {
			switch e.Loading {
			case plan.LoadingStack:
				require.True(t, slices.ContainsFunc(alt, stackMachine), e.ID)
			case plan.LoadingPlateMachine:
				require.True(t, slices.ContainsFunc(alt, plateMachine), e.ID)
			}
			for _, item := range alt {
				stack[item] = stack[item] || e.Loading == plan.LoadingStack
				plated[item] = plated[item] || e.Loading == plan.LoadingPlateMachine
			}
		}
	}
	for item := plan.Equipment(1); item < plan.EquipmentCount; item++ {
		require.False(t, stackMachine(item) && plateMachine(item), item)
		require.False(t, stackMachine(item) && !stack[item], item)
		require.False(t, plateMachine(item) && !plated[item], item)
	}
}

func TestAdjustableDumbbellsReplaceTheFixedOnes(t *testing.T) {
	one := []plan.Adjustable{{Count: 1, Settings: []plan.Load{plan.Kg(5000), plan.Kg(10_000)}}}
	p := ExpandPreset(plan.Place{Preset: plan.PresetDumbbells, Adjustables: one}, plan.Kilogram)
	require.Empty(t, p.Dumbbells, "the preset's are not there as well")
	require.Empty(t, Unstocked(&p))
	row, _ := Builtin().ByID("one-arm-dumbbell-row")
	curl, _ := Builtin().ByID("dumbbell-curl")
	require.True(t, row.Available(&p))
	require.False(t, curl.Available(&p), "one makes no pair")
	p.Adjustables[0].Count = 2
	require.True(t, curl.Available(&p))
	gone := ExpandPreset(plan.Place{Preset: plan.PresetDumbbells, Adjustables: one, Absent: []plan.Equipment{plan.Dumbbells}}, plan.Kilogram)
	require.Empty(t, gone.Adjustables)
	dip := plan.Place{Items: []plan.Equipment{plan.DipBars, plan.DipBelt}, Adjustables: one}
	x, _ := Builtin().ByID("dip")
	require.True(t, x.Addable(&dip), "a dialled dumbbell hangs as well")
}
