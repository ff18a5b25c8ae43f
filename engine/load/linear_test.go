package load

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestLogAndExp(t *testing.T) {
	require.Zero(t, logOf(1))
	require.Equal(t, 1.0, expOf(0))
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(1e-9, 1e9).Draw(t, "v")
		require.InDelta(t, math.Log(v), logOf(v), 1e-13)
		x := rapid.Float64Range(-30, 30).Draw(t, "x")
		require.InEpsilon(t, math.Exp(x), expOf(x), 1e-13)
		require.InEpsilon(t, v, expOf(logOf(v)), 1e-13)
	})
}

func TestFactorSolves(t *testing.T) {
	// [[4 2][2 3]]: the inverse is [[3 -2][-2 4]] / 8.
	l, ok := factor([][]float64{{4}, {2, 3}})
	require.True(t, ok)
	require.InDeltaSlice(t, []float64{-0.125, 0.75}, l.solve([]float64{1, 2}), 1e-15)
	require.InDeltaSlice(t, []float64{0.375, 0.5}, l.inverseDiagonal(), 1e-15)
	_, ok = factor([][]float64{{1}, {2, 1}})
	require.False(t, ok)
	_, ok = factor([][]float64{{math.NaN()}})
	require.False(t, ok)
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "n")
		root := make([][]float64, n)
		for i := range root {
			root[i] = rapid.SliceOfN(rapid.Float64Range(-1, 1), n, n).Draw(t, "row")
		}
		full, lower := make([][]float64, n), make([][]float64, n)
		for i := range full {
			full[i] = make([]float64, n)
			for j := range full[i] {
				full[i][j] = dot(root[i], root[j])
			}
			full[i][i] += 0.1
			lower[i] = full[i][:i+1]
		}
		l, ok := factor(lower)
		require.True(t, ok)
		want := rapid.SliceOfN(rapid.Float64Range(-5, 5), n, n).Draw(t, "x")
		b := make([]float64, n)
		for i := range b {
			b[i] = dot(full[i], want)
		}
		require.InDeltaSlice(t, want, l.solve(b), 1e-9)
	})
}

func TestWholeOf(t *testing.T) {
	for v, want := range map[float64]int64{0: 0, 0.49: 0, 0.5: 1, -0.5: -1, 2.51: 3, -2.4: -2} {
		require.Equal(t, want, wholeOf(v))
	}
}
