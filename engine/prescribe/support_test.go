package prescribe_test

import (
	"fmt"
	"strings"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

func find(t require.TestingT, id string) *exercise.Exercise {
	ex, ok := exercise.Builtin().ByID(id)
	require.True(t, ok, id)
	return ex
}

func curve(t require.TestingT, ex *exercise.Exercise) *load.Curve {
	c, err := load.CurveFor(string(ex.Curve))
	require.NoError(t, err)
	return c
}

// gym is a full gym in a unit.
func gym(unit plan.MassUnit) plan.Place {
	return exercise.ExpandPreset(plan.Place{ID: "gym", Preset: plan.PresetFullGym}, unit)
}

func menu(ex *exercise.Exercise, p plan.Place) *load.Menu {
	kind := ex.Bar
	if (ex.Loading == plan.LoadingStack || ex.Loading == plan.LoadingAssisted) && len(ex.Equipment) > 0 && len(ex.Equipment[0]) > 0 {
		kind = ex.Equipment[0][0]
	}
	m := load.MenuFor(ex.Loading, kind, &p)
	return &m
}

// dumbbells is pairs every 2.5 kg.
func dumbbells(from, to, step int64) *load.Menu {
	var stock []plan.HeldStock
	for m := from; m <= to; m += step {
		stock = append(stock, plan.HeldStock{Mass: plan.Kg(m), Count: 2})
	}
	m := load.HeldMenu(stock, 2)
	return &m
}

func sets(n, lo, hi int32, effort plan.Effort, rest plan.Seconds) plan.Scheme {
	return plan.Scheme{Kind: plan.SetWorking, Sets: plan.FixedSets(n), Reps: plan.Range{Min: lo, Max: hi}, Effort: effort, Rest: rest}
}

func rir(v int32) plan.Effort { return plan.Effort{RIR: plan.Some(v)} }

func failure() plan.Effort { return plan.Effort{ToFailure: true} }

func share(p plan.Permille) plan.Effort { return plan.Effort{Intensity: plan.Some(p)} }

// request is an input in a full gym of kilograms, nothing limited.
func request(t require.TestingT, id string, oneRM int64, schemes ...plan.Scheme) prescribe.Input {
	ex := find(t, id)
	return prescribe.Input{
		Exercise: ex, Role: ex.Role, Schemes: schemes, Menu: menu(ex, gym(plan.Kilogram)),
		Athlete: prescribe.Athlete{OneRMGrams: oneRM, Curve: curve(t, ex), BodyGrams: 80_000, Share: ex.BodyMassShare},
		Limits:  prescribe.Limits{Failure: true}, Warmup: true,
	}
}

// line prints a set as a coach would write it, with what was expected of it.
func line(s *plan.Set) string {
	var b strings.Builder
	kind := map[plan.SetKind]string{plan.SetWarmup: "warm-up", plan.SetWorking: "work", plan.SetCalibration: "find load", plan.SetTest: "test"}[s.Kind]
	fmt.Fprintf(&b, "%-9s ", kind)
	switch {
	case !s.Hold.IsZero():
		fmt.Fprintf(&b, "%d-%d s", s.Hold.Min, s.Hold.Max)
	case s.Reps.Min == s.Reps.Max:
		fmt.Fprintf(&b, "%d", s.Reps.Min)
	default:
		fmt.Fprintf(&b, "%d-%d", s.Reps.Min, s.Reps.Max)
	}
	if s.OpenEnded {
		b.WriteString("+")
	}
	if s.Expected > 0 && s.Kind != plan.SetWarmup {
		fmt.Fprintf(&b, " (%d)", s.Expected)
	}
	if s.Load.Set {
		fmt.Fprintf(&b, " @ %s", s.Load.Value)
	}
	if s.Deferred.Set {
		fmt.Fprintf(&b, " = %s of %d%s", s.Deferred.Value.Share, s.Deferred.Value.Reference.Kind, s.Deferred.Value.Reference.Name)
	}
	if s.Intensity.Set {
		fmt.Fprintf(&b, " [%s]", s.Intensity.Value)
	}
	if s.ToFailure {
		b.WriteString(", to failure")
	} else if s.RIR.Set {
		fmt.Fprintf(&b, ", RIR %d", s.RIR.Value)
	}
	fmt.Fprintf(&b, ", rest %s", s.Rest)
	return b.String()
}

func show(in prescribe.Input, out prescribe.Output) string {
	var b strings.Builder
	for i := range out.Sets {
		b.WriteString(line(&out.Sets[i]) + "\n")
	}
	fixed, per := prescribe.Bound(in)
	n := int32(0)
	for _, s := range in.Schemes {
		n += s.Sets.Min
	}
	fmt.Fprintf(&b, "%d s (bound %d)\n", out.Seconds, int32(fixed)+n*int32(per))
	if out.Note != "" {
		b.WriteString("note: " + out.Note + "\n")
	}
	if out.Off != "" {
		b.WriteString("off: " + out.Off + "\n")
	}
	return b.String()
}
