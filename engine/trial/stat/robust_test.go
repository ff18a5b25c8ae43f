package stat

import (
	"fmt"
	"math"
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
)

// sane fails on any NaN below v.
func sane(t require.TestingT, v any) {
	walk(t, reflect.ValueOf(v), "result")
}

func walk(t require.TestingT, v reflect.Value, path string) {
	switch v.Kind() {
	case reflect.Float64:
		require.False(t, math.IsNaN(v.Float()), path)
	case reflect.Pointer:
		if !v.IsNil() {
			walk(t, v.Elem(), path)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			walk(t, v.Field(i), path+"."+v.Type().Field(i).Name)
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			walk(t, v.Index(i), fmt.Sprintf("%s[%d]", path, i))
		}
	}
}

// told is an answer without NaN, or a fault of the domain.
func told(t require.TestingT, v any, err error) {
	if err != nil {
		f, ok := fault.As(err)
		require.True(t, ok, "%v", err)
		require.NotEqual(t, fault.Internal, f.Kind)
		return
	}
	sane(t, v)
}

// awkward are numbers with ties, constants, extremes, and now and then no number.
func awkward() *rapid.Generator[float64] {
	return rapid.OneOf(
		rapid.SampledFrom([]float64{0, 0, 1, 1, 1, 2, -1, 1e-300, 1e9, 1e149, -1e149, 0.1, math.NaN(), math.Inf(1)}),
		rapid.Float64Range(-5, 5), rapid.Map(rapid.IntRange(-3, 3), func(i int) float64 { return float64(i) }),
		rapid.Map(rapid.IntRange(-3, 3), func(i int) float64 { return float64(i) }),
	)
}

func TestAnswersOrFaultsNeverNaN(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 9).Draw(t, "n")
		draws := func(name string) []float64 { return rapid.SliceOfN(awkward(), n, n).Draw(t, name) }
		x, y, z := draws("x"), draws("y"), draws("z")
		group := rapid.SliceOfN(rapid.IntRange(0, 3), n, n).Draw(t, "group")
		arm := rapid.SliceOfN(rapid.IntRange(0, 2), n, n).Draw(t, "arm")
		const level = 0.95

		e, err := OneSample(x, level)
		told(t, e, err)
		if err == nil {
			q, err := TOST(e, -1, 1, 0.05)
			told(t, q, err)
			b, err := Plain(Normal{0, 1}).Posterior(e.Value, e.SE)
			told(t, b, err)
			if err == nil {
				sane(t, b.Believe(0.2, level))
			}
		}
		p, err := PairedDifference(x, y, level)
		told(t, p, err)
		sx, errX := Summarise(x)
		sy, errY := Summarise(y)
		told(t, sx, errX)
		if errX == nil && errY == nil {
			w, err := Welch(sx, sy, level)
			told(t, w, err)
			w, err = Pooled(sx, sy, level)
			told(t, w, err)
			d, err := StandardisedDifference(sx, sy, level)
			told(t, d, err)
			r, err := CompareSpread(sx.SD, sx.N, sy.SD, sy.N, level)
			told(t, r, err)
		}
		s, err := SignedRankTest(x, Zeros(rapid.IntRange(0, 1).Draw(t, "zeros")))
		told(t, s, err)
		a, err := Ancova(Comparison{Y: y, Arm: arm, Arms: 3, Covariates: [][]float64{x, z, x}, Group: group}, level)
		told(t, a, err)
		a, err = Ancova(Comparison{Y: y, Arm: arm, Arms: 2, Covariates: [][]float64{x}}, level)
		told(t, a, err)
		r, err := RandomIntercepts(Model{y, [][]float64{x}, group})
		told(t, r, err)
		var rows [][]float64
		for i := range x {
			rows = append(rows, []float64{x[i], y[i], z[i]})
		}
		rel, err := Repeats(rows, level)
		told(t, rel, err)
		adj, err := Adjust(Adjustment(rapid.IntRange(0, 4).Draw(t, "by")), x)
		told(t, adj, err)
		c, err := Combine(x, y, 10, level)
		told(t, c, err)
		ww, err := WorstCase([2][]float64{x, y}, [2]int{rapid.IntRange(0, 2).Draw(t, "m0"), rapid.IntRange(0, 2).Draw(t, "m1")}, -5, 5)
		told(t, ww, err)
	})
}

func TestRefusalsSayWhy(t *testing.T) {
	reason := func(err error) string {
		f, ok := fault.As(err)
		require.True(t, ok, "%v", err)
		return f.Violations[0].Reason
	}
	_, err := OneSample([]float64{1}, 0.95)
	require.Equal(t, ReasonFew, reason(err))
	_, err = OneSample([]float64{0.1, 0.1, 0.1}, 0.95)
	require.Equal(t, ReasonSpread, reason(err))
	_, err = Ancova(Comparison{Y: []float64{1, 2, 3, 4}, Arm: []int{0, 0, 0, 0}, Arms: 2}, 0.95)
	require.ErrorContains(t, err, "arms[1]")
	require.Equal(t, ReasonFew, reason(err), "all withdrawn in one arm")
	_, err = Ancova(Comparison{Y: []float64{1, 2, 3, 4, 6}, Arm: []int{0, 0, 1, 1, 1}, Arms: 2, Covariates: [][]float64{{0, 0, 5, 5, 5}}}, 0.95)
	require.Equal(t, ReasonAlias, reason(err), "a covariate that is the arm")
	_, err = Ancova(Comparison{Y: []float64{1, 2, 3, 4}, Arm: []int{0, 0, 1, 1}, Arms: 2, Group: []int{1, 1, 2, 2}}, 0.95)
	require.Equal(t, ReasonAlias, reason(err), "strata that are the arm")
	_, err = Ancova(Comparison{Y: []float64{1, 2}, Arm: []int{0, 1}, Arms: 2, Group: []int{1, 1}}, 0.95)
	require.Equal(t, ReasonFew, reason(err), "one pair")
	a, err := Ancova(Comparison{Y: []float64{1, 2, 3, 5}, Arm: []int{0, 1, 0, 1}, Arms: 2, Covariates: [][]float64{{7, 7, 7, 7}}}, 0.95)
	require.NoError(t, err)
	require.Equal(t, []int{0}, a.Dropped, "a constant covariate is named and left out")
	_, err = Repeats([][]float64{{1, 1}, {1, 1}}, 0.95)
	require.Equal(t, ReasonSpread, reason(err))
	_, err = Fisher(0, 0, 3, 4)
	require.Equal(t, ReasonSpread, reason(err))
	_, err = OneSample([]float64{1, 2}, 1)
	require.Equal(t, ReasonInput, reason(err))
}

// Pairs as groups are the regression of differences on differences.
func TestPairsAreDifferences(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(4, 12).Draw(t, "pairs")
		var y, x, dy, dx []float64
		var arm, pair []int
		for i := range n {
			v := rapid.SliceOfN(rapid.Float64Range(-5, 5), 4, 4).Draw(t, "v")
			y, x = append(y, v[0], v[1]), append(x, v[2], v[3])
			arm, pair = append(arm, 0, 1), append(pair, i, i)
			dy, dx = append(dy, v[1]-v[0]), append(dx, v[3]-v[2])
		}
		a, err := Ancova(Comparison{Y: y, Arm: arm, Arms: 2, Covariates: [][]float64{x}, Group: pair}, 0.95)
		if err != nil {
			t.Skip("no spread")
		}
		if len(a.Dropped) > 0 {
			t.Skip("no spread")
		}
		// The intercept of differences on differences, by hand.
		mx, my := mean(dx), mean(dy)
		var sxy, sxx float64
		for i := range dx {
			sxy += (dx[i] - mx) * (dy[i] - my)
			sxx += (dx[i] - mx) * (dx[i] - mx)
		}
		if sxx < 1e-3 {
			t.Skip("no spread")
		}
		b := sxy / sxx
		tau := my - b*mx
		var rss float64
		for i := range dx {
			rss += math.Pow(dy[i]-tau-b*dx[i], 2)
		}
		se := math.Sqrt(rss / float64(n-2) * (1/float64(n) + mx*mx/sxx))
		require.InDelta(t, tau, a.Effects[0].Value, 1e-6*(1+math.Abs(tau)))
		require.InDelta(t, se, a.Effects[0].SE, 1e-6*(1+se))
		require.Equal(t, float64(n-2), a.Effects[0].DF)
	})
}

func TestIntervalsTurnAndStretch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.SliceOfN(rapid.Float64Range(-5, 5), 3, 9).Draw(t, "a")
		b := rapid.SliceOfN(rapid.Float64Range(-5, 5), 3, 9).Draw(t, "b")
		k := rapid.Float64Range(0.1, 10).Draw(t, "k")
		scaled := func(xs []float64) Summary {
			var out []float64
			for _, x := range xs {
				out = append(out, k*x+3)
			}
			s, err := Summarise(out)
			require.NoError(t, err)
			return s
		}
		sa, _ := Summarise(a)
		sb, _ := Summarise(b)
		if sa.SD < 0.1 || sb.SD < 0.1 {
			t.Skip("no spread")
		}
		e, err := Welch(sa, sb, 0.9)
		require.NoError(t, err)
		turned, err := Welch(sb, sa, 0.9)
		require.NoError(t, err)
		require.InDelta(t, e.Low, -turned.High, 1e-9)
		big, err := Welch(scaled(a), scaled(b), 0.9)
		require.NoError(t, err)
		require.InDelta(t, k*e.High, big.High, 1e-7*k)
		require.InDelta(t, e.P, big.P, 1e-7)
		d, err := StandardisedDifference(sa, sb, 0.9)
		require.NoError(t, err)
		require.True(t, d.DLow < d.D && d.D < d.DHigh)
	})
}

func FuzzAncova(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12})
	f.Fuzz(func(t *testing.T, b []byte) {
		var c Comparison
		c.Arms = 2
		var x, z []float64
		for i := 0; i+3 < len(b) && i < 400; i += 4 {
			c.Y = append(c.Y, float64(int8(b[i]))*math.Pow(10, float64(b[i+3]>>4)-8))
			c.Arm = append(c.Arm, int(b[i+3]&1))
			c.Group = append(c.Group, int(b[i+3]>>1&3))
			x, z = append(x, float64(int8(b[i+1]))), append(z, float64(b[i+2]%3))
		}
		c.Covariates = [][]float64{x, z}
		a, err := Ancova(c, 0.95)
		told(t, a, err)
	})
}
