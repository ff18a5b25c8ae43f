package load

import (
	"fmt"
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

func TestPublishedEquations(t *testing.T) {
	names := []string{"Epley", "Brzycki", "Lander", "OConner", "Lombardi", "Mayhew", "Wathan", "Adams", "Kemmler"}
	rows := []struct {
		load, reps float64
		want       []float64
	}{
		{100, 1, []float64{103.3333, 100.0000, 101.3903, 102.5000, 100.0000, 108.8640, 101.3042, 102.0408, 100.0242}},
		{100, 3, []float64{110.0000, 105.8824, 107.1969, 107.5000, 111.6123, 113.9903, 108.9797, 106.3830, 103.4723}},
		{100, 5, []float64{116.6667, 112.5000, 113.7089, 112.5000, 117.4619, 119.0107, 116.5825, 111.1111, 108.0200}},
		{80, 8, []float64{101.3333, 99.3103, 100.0874, 96.0000, 98.4916, 101.0291, 102.1371, 95.2381, 93.0319}},
		{120, 10, []float64{160.0000, 160.0000, 160.8844, 150.0000, 151.0710, 157.1211, 161.6960, 150.0000, 146.8320}},
		{60, 15, []float64{90.0000, 98.1818, 97.9887, 82.5000, 78.6612, 85.0315, 90.5438, 85.7143, 82.4640}},
		{142.5, 4, []float64{161.5000, 155.4545, 157.2586, 156.7500, 163.6895, 166.0345, 160.7336, 154.8913, 150.5174}},
		{225, 6, []float64{270.0000, 261.2903, 263.8596, 258.7500, 269.1520, 273.3140, 270.7438, 255.6818, 248.8918}},
	}
	for _, row := range rows {
		for i, name := range names {
			t.Run(fmt.Sprintf("%s %gx%g", name, row.load, row.reps), func(t *testing.T) {
				require.InDelta(t, row.want[i], equation(t, name).Raw(row.load, row.reps), 0.00005)
			})
		}
	}
	single := []struct {
		name             string
		load, reps, want float64
	}{
		{"ReynoldsChestPress", 100, 5, 113.7699},
		{"ReynoldsChestPress", 60, 5, 68.5419},
		{"ReynoldsLegPress", 200, 5, 233.6546},
		{"ReynoldsLegPress", 120, 5, 145.8946},
		{"KravitzSquat", 105, 12, 151.0560},
		{"KravitzBench", 80, 12, 108.588},
		{"KravitzDeadlift", 120, 9, 152.966},
	}
	for _, s := range single {
		t.Run(s.name, func(t *testing.T) {
			require.InDelta(t, s.want, equation(t, s.name).Raw(s.load, s.reps), 0.00005)
		})
	}
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
