package wire

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/plan"
)

func TestMassIsExact(t *testing.T) {
	for text, want := range map[string]plan.Load{
		"pounds: 225": plan.Lb(225_000), "pounds: 2.5": plan.Lb(2500), "pounds: 1.25": plan.Lb(1250), "pounds: 0.1": plan.Lb(100),
		"kilograms: 0.1": plan.Kg(100), "kilograms: 102.5": plan.Kg(102_500), "kilograms: 0.001": plan.Kg(1), "kilograms: 1999.999": plan.Kg(1_999_999),
		"kilograms: 102.058": plan.Kg(102_058), "kilograms: 0": plan.Kg(0), "pounds: 0": plan.Lb(0),
	} {
		d := readOK(t, "athlete: {age_band: AGE_BAND_ADULT, body_mass: {"+text+"}}\n"+minimalConstraints)
		require.Equal(t, plan.Some(want), d.Athlete.BodyMass, text)
		b, err := Marshal(massTo(want))
		require.NoError(t, err)
		require.Equal(t, d.Athlete.BodyMass, load(newReader(), "", massTo(want)))
		require.Contains(t, text, number(t, b), "%s is written as it was read", text)
	}
	for _, text := range []string{"kilograms: 102.5005", "pounds: 0.0001", "kilograms: 102.05828325"} {
		m, err := ReadRequest([]byte("athlete: {age_band: AGE_BAND_ADULT, body_mass: {" + text + "}}\n" + minimalConstraints))
		require.NoError(t, err)
		_, err = RequestFromProto(m)
		require.ErrorContains(t, err, "athlete.body_mass.", text)
		require.ErrorContains(t, err, "at most three decimals", text)
	}
}

// number digs the only number out of {"kilograms": 102.5}.
func number(t *testing.T, b []byte) string {
	var m map[string]json.Number
	require.NoError(t, json.Unmarshal(b, &m))
	require.Len(t, m, 1)
	for _, n := range m {
		return n.String()
	}
	return ""
}

// Any decimal with as many digits as the domain keeps comes in exactly and goes out
// as it was written.
func TestSteps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		per := rapid.SampledFrom([]float64{perUnit, perPercent, perSet}).Draw(t, "per")
		n := rapid.Int64Range(-1e10, 1e10).Draw(t, "n")
		got, ok := steps(float64(n)/per, per)
		require.True(t, ok)
		require.Equal(t, n, got)
		_, ok = steps((float64(n)+0.25)/per, per)
		require.False(t, ok, "a quarter of a step is no step")
	})
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1.1e10, math.MaxFloat64} {
		_, ok := steps(v, perUnit)
		require.False(t, ok, fmt.Sprint(v))
	}
}
