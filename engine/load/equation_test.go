package load

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func equation(t require.TestingT, name string) Equation {
	e, ok := FindEquation(name)
	require.True(t, ok, name)
	return e
}

func TestEquationLaws(t *testing.T) {
	epley, brzycki, lombardi := equation(t, "Epley"), equation(t, "Brzycki"), equation(t, "Lombardi")
	atOne := map[string]float64{"Epley": 1.0333, "Brzycki": 1, "Lander": 1.0139, "OConner": 1.025, "Lombardi": 1,
		"Mayhew": 1.0886, "Wathan": 1.0130, "Adams": 1.0204, "Kemmler": 1.0002}
	for name, want := range atOne {
		require.InDelta(t, want, equation(t, name).Raw(1, 1), 0.00006, name)
	}
	rapid.Check(t, func(t *rapid.T) {
		w := rapid.Float64Range(1, 500).Draw(t, "w")
		require.InEpsilon(t, epley.Raw(w, 10), brzycki.Raw(w, 10), 1e-12)
		require.InEpsilon(t, w, brzycki.Raw(w, 1), 1e-12)
		require.InEpsilon(t, w, lombardi.Raw(w, 1), 1e-12)
		for r := 1.0; r <= 20; r++ {
			switch {
			case r < 10:
				require.Less(t, brzycki.Raw(w, r), epley.Raw(w, r))
			case r > 10:
				require.Greater(t, brzycki.Raw(w, r), epley.Raw(w, r))
			}
			if r <= 10 {
				printed := w / (1.0278 - 0.0278*r)
				require.Less(t, math.Abs(printed/brzycki.Raw(w, r)-1), 0.0003)
			}
		}
		for name := range atOne {
			e := equation(t, name)
			for r := 1.0; r < 12; r++ {
				require.Less(t, e.Raw(w, r), e.Raw(w, r+1), "%s at %g", name, r)
			}
		}
	})
}

func TestEquationEstimateIsGuarded(t *testing.T) {
	seen := map[string]bool{}
	for _, e := range Equations() {
		require.False(t, seen[e.Name], e.Name)
		seen[e.Name] = true
		require.NotEmpty(t, e.Source)
		require.NotEmpty(t, e.Formula)
		for _, reps := range []int{-1, 0, e.MinReps - 1, e.MaxReps + 1, 37, 50} {
			_, err := e.Estimate(plan.Kg(100_000), reps)
			f, ok := fault.As(err)
			require.True(t, ok, "%s at %d", e.Name, reps)
			require.Equal(t, fault.Invalid, f.Kind)
		}
		for reps := e.MinReps; reps <= e.MaxReps; reps++ {
			got, err := e.Estimate(plan.Kg(100_000), reps)
			require.NoError(t, err)
			require.Positive(t, got.Milli)
		}
	}
	require.Len(t, seen, 14)
	_, err := equation(t, "Epley").Estimate(plan.Kg(0), 5)
	require.Error(t, err)
	_, err = equation(t, "Epley").Estimate(plan.Load{Milli: 100_000}, 5)
	require.Error(t, err)
	_, err = Equation{}.Estimate(plan.Kg(100_000), 5)
	require.Error(t, err)
	_, ok := FindEquation("nobody")
	require.False(t, ok)
}

func TestEquationEstimateKeepsUnits(t *testing.T) {
	got, err := equation(t, "Epley").Estimate(plan.Lb(225_000), 6)
	require.NoError(t, err)
	require.Equal(t, plan.Lb(270_000), got)
	got, err = equation(t, "Epley").Estimate(plan.Kg(100_000), 1)
	require.NoError(t, err)
	require.Equal(t, plan.Kg(100_000), got)
	// A line in kilograms has to be fed kilograms: 100 kg is 220.462 lb.
	got, err = equation(t, "ReynoldsChestPress").Estimate(plan.Lb(220_462), 5)
	require.NoError(t, err)
	require.Equal(t, plan.Pound, got.Unit)
	require.InDelta(t, 113_770, got.In(plan.Kilogram).Milli, 2)
}
