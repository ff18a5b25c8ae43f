package engine

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func goodDescriptor() plan.Descriptor {
	number := func(milli int64) plan.Value { return plan.Value{Kind: plan.ValueNumber, Milli: milli} }
	return plan.Descriptor{Name: "mine", Version: "1.2", Says: "s", Claims: "c", MinWeeks: 1, MaxWeeks: 52, Params: []plan.ParamSpec{
		{Name: "a", Kind: plan.ValueNumber, Default: number(1000), Min: 1000, Max: 3000, Unit: "weeks", Whole: true, Says: "s", Source: "s"},
		{Name: "b", Kind: plan.ValueText, Default: plan.Value{Kind: plan.ValueText, Text: "x"}, Choices: []string{"x", "y"}, Says: "s", Source: "s"},
		{Name: "c", Kind: plan.ValueSets, Default: plan.Value{Kind: plan.ValueText}, Says: "s", Source: "s"},
		{Name: "d", Kind: plan.ValueList, Default: plan.Value{Kind: plan.ValueList, List: []int32{8}}, Min: 1, Max: 8, Unit: "repetitions", Says: "s", Source: "s"},
	}}
}

func TestCheckDescriptorNamesThePath(t *testing.T) {
	good := goodDescriptor()
	require.NoError(t, CheckDescriptor(&good))
	for _, c := range []struct {
		field string
		spoil func(*plan.Descriptor)
	}{
		{"name", func(d *plan.Descriptor) { d.Name = "Mine" }},
		{"name", func(d *plan.Descriptor) { d.Name = strings.Repeat("m", 65) }},
		{"version", func(d *plan.Descriptor) { d.Version = "1.x" }},
		{"description", func(d *plan.Descriptor) { d.Says = "" }},
		{"claims", func(d *plan.Descriptor) { d.Claims = strings.Repeat("c", 4001) }},
		{"claims", func(d *plan.Descriptor) { d.Claims = "\x1b[2J" }},
		{"min_weeks", func(d *plan.Descriptor) { d.MinWeeks = 0 }},
		{"max_weeks", func(d *plan.Descriptor) { d.MaxWeeks = 53 }},
		{"max_weeks", func(d *plan.Descriptor) { d.MinWeeks, d.MaxWeeks = 5, 4 }},
		{"parameters", func(d *plan.Descriptor) { d.Params = make([]plan.ParamSpec, 101) }},
		{"parameters[1].name", func(d *plan.Descriptor) { d.Params[1].Name = "a" }},
		{"parameters[3].name", func(d *plan.Descriptor) { d.Params[3].Name = "d-d" }},
		{"parameters[0].description", func(d *plan.Descriptor) { d.Params[0].Says = "" }},
		{"parameters[0].source", func(d *plan.Descriptor) { d.Params[0].Source = "" }},
		{"parameters[0].varies", func(d *plan.Descriptor) { d.Params[0].Varies = strings.Repeat("v", 1001) }},
		{"parameters[0].unit", func(d *plan.Descriptor) { d.Params[0].Unit = "" }},
		{"parameters[0].min", func(d *plan.Descriptor) { d.Params[0].Min = -1_000_000_000_001 }},
		{"parameters[0].max", func(d *plan.Descriptor) { d.Params[0].Max = 1_000_000_000_001 }},
		{"parameters[0].default", func(d *plan.Descriptor) { d.Params[0].Default.Milli = 3001 }},
		{"parameters[0].default", func(d *plan.Descriptor) { d.Params[0].Default = plan.Value{} }},
		{"parameters[1].choices", func(d *plan.Descriptor) { d.Params[1].Choices = []string{"x"} }},
		{"parameters[1].choices[1]", func(d *plan.Descriptor) { d.Params[1].Choices[1] = "" }},
		{"parameters[1].default", func(d *plan.Descriptor) { d.Params[1].Default.Text = "z" }},
		{"parameters[2].default", func(d *plan.Descriptor) { d.Params[2].Default.Text = "3y8" }},
		{"parameters[2].type", func(d *plan.Descriptor) { d.Params[2].Kind = 99 }},
		{"parameters[3].default", func(d *plan.Descriptor) { d.Params[3].Default.List = nil }},
	} {
		d := goodDescriptor()
		c.spoil(&d)
		f, ok := fault.As(CheckDescriptor(&d))
		require.True(t, ok, c.field)
		require.Equal(t, fault.Internal, f.Kind)
		require.Len(t, f.Violations, 1, "%s: %v", c.field, f)
		require.Equal(t, "description."+c.field, f.Violations[0].Field)
	}
}
