package engine

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func exampleSpecs() []plan.ParamSpec {
	return []plan.ParamSpec{
		{Name: "flag", Kind: plan.ValueBool, Default: plan.Value{Kind: plan.ValueBool, Bool: true}},
		{Name: "list", Kind: plan.ValueList, Default: plan.Value{Kind: plan.ValueList, List: []int32{8, 6}}, Min: 1, Max: 20},
		{Name: "mode", Kind: plan.ValueText, Default: plan.Value{Kind: plan.ValueText, Text: "a"}, Choices: []string{"a", "b"}},
		{Name: "reps", Kind: plan.ValueRange, Default: plan.Value{Kind: plan.ValueRange, Lo: 8, Hi: 12}, Min: 1, Max: 30, Unit: "repetitions"},
		{Name: "share", Kind: plan.ValueNumber, Default: plan.Value{Kind: plan.ValueNumber, Milli: 500}, Min: 0, Max: 1000},
		{Name: "weeks", Kind: plan.ValueNumber, Default: plan.Value{Kind: plan.ValueNumber, Milli: 3000}, Min: 1000, Max: 9000, Unit: "weeks", Whole: true},
	}
}

func TestParseParamsFillsDefaultsIn(t *testing.T) {
	list := []int32{5, 3}
	v, err := ParseParams(exampleSpecs(), []plan.Param{
		{Name: "weeks", Value: plan.Value{Kind: plan.ValueNumber, Milli: 4000}},
		{Name: "list", Value: plan.Value{Kind: plan.ValueList, List: list}},
	})
	require.NoError(t, err)
	list[0] = 99
	require.Equal(t, int32(4), v.Whole("weeks"))
	require.Equal(t, []int32{5, 3}, v.List("list"))
	require.True(t, v.Given("weeks"))
	require.False(t, v.Given("reps"))
	require.False(t, v.Given("nothing"))
	require.Equal(t, plan.Range{Min: 8, Max: 12}, v.Range("reps"))
	require.Equal(t, "a", v.Text("mode"))
	require.True(t, v.Bool("flag"))
	require.Equal(t, int64(500), v.Milli("share"))
	require.Zero(t, v.Milli("reps"), "another kind")
}

func TestParseParamsReportsEverythingAtOnce(t *testing.T) {
	value := func(k plan.ValueKind, change func(*plan.Value)) plan.Value {
		v := plan.Value{Kind: k}
		change(&v)
		return v
	}
	_, err := ParseParams(exampleSpecs(), []plan.Param{
		{Name: "flga", Value: plan.Value{Kind: plan.ValueBool}},
		{Name: "list", Value: value(plan.ValueList, func(v *plan.Value) { v.List = []int32{4, 21} })},
		{Name: "mode", Value: value(plan.ValueText, func(v *plan.Value) { v.Text = "c" })},
		{Name: "reps", Value: value(plan.ValueRange, func(v *plan.Value) { v.Lo, v.Hi = 12, 8 })},
		{Name: "share", Value: value(plan.ValueNumber, func(v *plan.Value) { v.Milli = 1250 })},
		{Name: "weeks", Value: value(plan.ValueNumber, func(v *plan.Value) { v.Milli = 2500 })},
		{Name: "flag", Value: value(plan.ValueText, func(v *plan.Value) { v.Text = "yes" })},
		{Name: "flag", Value: plan.Value{Kind: plan.ValueBool}},
	})
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.Invalid, f.Kind)
	require.Equal(t, `parameters.flag: is a text; it has to be yes or no [PARAMETER_KIND]
parameters.flag: is given twice; once is right [PARAMETER_TWICE]
parameters.flga: there is no parameter "flga"; did you mean flag? [PARAMETER_UNKNOWN]
parameters.list: holds 21; 1 to 20 is possible [PARAMETER_OUT_OF_BOUNDS]
parameters.mode: is "c"; possible: a, b [PARAMETER_NOT_A_CHOICE]
parameters.reps: runs from 12 to 8; the lower end comes first [PARAMETER_OUT_OF_BOUNDS]
parameters.share: is 1.25; 0 to 1 is possible [PARAMETER_OUT_OF_BOUNDS]
parameters.weeks: is 2.5; a whole number is needed [PARAMETER_OUT_OF_BOUNDS]`, f.Error())
}

func TestParseParamsBounds(t *testing.T) {
	for _, c := range []struct {
		p    plan.Param
		says string
	}{
		{plan.Param{Name: "weeks", Value: plan.Value{Kind: plan.ValueNumber, Milli: 10000}}, "is 10; 1 to 9 weeks is possible"},
		{plan.Param{Name: "weeks", Value: plan.Value{Kind: plan.ValueNumber, Milli: -1000}}, "is -1;"},
		{plan.Param{Name: "reps", Value: plan.Value{Kind: plan.ValueRange, Lo: 8, Hi: 31}}, "within 1 to 30 repetitions"},
		{plan.Param{Name: "list", Value: plan.Value{Kind: plan.ValueList}}, "has 0 values"},
		{plan.Param{Name: "list", Value: plan.Value{Kind: plan.ValueList, List: make([]int32, 65)}}, "has 65 values"},
		{plan.Param{Name: "mode"}, "without a value"},
		{plan.Param{Name: ""}, "there is flag, list, mode, reps, share, weeks"},
	} {
		_, err := ParseParams(exampleSpecs(), []plan.Param{c.p})
		require.ErrorContains(t, err, c.says)
	}
}
