package engine

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// What can't be there is refused, each with its own field.
func TestStocksThatCantBe(t *testing.T) {
	small := []plan.PlateStock{{Mass: plan.Kg(2500), Count: 2}}
	for field, p := range map[string]plan.Place{
		"bars[0].collars":                        {Bars: []plan.Bar{{Kind: plan.Barbell, Mass: plan.Kg(20_000), Collars: plan.Some(plan.Kg(0))}}},
		"plates[0].count":                        {Plates: []plan.PlateStock{{Mass: plan.Kg(20_000), Count: -1}}},
		"stacks[0]":                              {Stacks: []plan.Stack{{Kind: plan.CableStation, Settings: []plan.Load{plan.Kg(5000)}, Step: plan.Kg(5000)}}},
		"stacks[0].settings[1]":                  {Stacks: []plan.Stack{{Kind: plan.CableStation, Settings: []plan.Load{plan.Kg(5000), plan.Kg(5000)}}}},
		"stacks[0].add_ons[0].mass":              {Stacks: []plan.Stack{{Kind: plan.CableStation, Settings: []plan.Load{plan.Kg(5000)}, AddOns: []plan.PlateStock{{Mass: plan.Kg(40_000), Count: 1}}}}},
		"adjustable_dumbbells[0]":                {Adjustables: []plan.Adjustable{{Count: 1, Handle: plan.Some(plan.Kg(2000)), Settings: []plan.Load{plan.Kg(5000)}}}},
		"adjustable_dumbbells[0].count":          {Adjustables: []plan.Adjustable{{Handle: plan.Some(plan.Kg(2000)), Plates: small}}},
		"adjustable_dumbbells[0].handle":         {Adjustables: []plan.Adjustable{{Count: 1, Handle: plan.Some(plan.Kg(30_000)), Plates: small}}},
		"adjustable_dumbbells[0].settings[1]":    {Adjustables: []plan.Adjustable{{Count: 1, Settings: []plan.Load{plan.Kg(5000), plan.Kg(4000)}}}},
		"adjustable_dumbbells[0].plates[0].mass": {Adjustables: []plan.Adjustable{{Count: 1, Handle: plan.Some(plan.Kg(2000)), Plates: []plan.PlateStock{{Count: 2}}}}},
	} {
		p.Preset = plan.PresetBodyweight
		s := &settler{bad: fault.NewCollector(fault.Invalid)}
		s.stocks("here", &p)
		f, ok := fault.As(s.bad.Err())
		require.True(t, ok, field)
		require.Len(t, f.Violations, 1, field)
		require.Equal(t, "here."+field, f.Violations[0].Field)
		require.NotEmpty(t, f.Violations[0].Says)
	}
	good := plan.Place{
		Bars:   []plan.Bar{{Kind: plan.Barbell, Mass: plan.Kg(20_000), Collars: plan.Some(plan.Kg(5000))}},
		Stacks: []plan.Stack{{Kind: plan.CableStation, Settings: []plan.Load{plan.Kg(5000), plan.Kg(12_000)}, AddOns: small}},
		Adjustables: []plan.Adjustable{{Count: 2, Handle: plan.Some(plan.Kg(2000)), Plates: small},
			{Count: 1, Settings: []plan.Load{plan.Lb(5000), plan.Lb(7500)}}},
	}
	s := &settler{bad: fault.NewCollector(fault.Invalid)}
	s.stocks("here", &good)
	require.NoError(t, s.bad.Err())
	once := exercise.ExpandPreset(good, plan.Kilogram)
	require.True(t, once.Has(plan.Dumbbells), "handles are dumbbells")
	require.Equal(t, once, exercise.ExpandPreset(once, plan.Kilogram))
}
