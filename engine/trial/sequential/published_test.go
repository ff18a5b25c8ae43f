package sequential

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/trial/draw"
)

func (v vector) list(t *testing.T, field string, got []float64) {
	t.Helper()
	want := read[[]float64](t, v.Expected, field)
	require.Len(t, got, len(want), field)
	for i := range want {
		v.near(t, field, want[i], got[i])
	}
}

func even(k int) []float64 {
	var out []float64
	for i := 1; i <= k; i++ {
		out = append(out, float64(i)/float64(k))
	}
	return out
}

// O'Brien & Fleming 1979; Pocock 1977; Jennison & Turnbull 2000, Tables 2.1 and 2.3.
func TestPublishedConstantBounds(t *testing.T) {
	for _, name := range []string{"gs_exact_K3", "gs_exact_K5"} {
		v := published(t, name)
		looks, alpha := even(read[int](t, v.Inputs, "K")), read[float64](t, v.Inputs, "alpha_two_sided")
		b, err := Constant(0.5, looks, alpha)
		require.NoError(t, err)
		v.list(t, "obf_z", b.Z)
		v.near(t, "obf_constant", read[float64](t, v.Expected, "obf_constant"), b.Z[len(b.Z)-1])
		b, err = Constant(0, looks, alpha)
		require.NoError(t, err)
		v.near(t, "pocock_constant", read[float64](t, v.Expected, "pocock_constant"), b.Z[0])
	}
}

// Lan & DeMets 1983.
func TestPublishedSpending(t *testing.T) {
	v := published(t, "gs_lan_demets_K5")
	looks := read[[]float64](t, v.Inputs, "t")
	b, err := Spend(OBrienFleming, looks, 0.05)
	require.NoError(t, err)
	v.list(t, "obf_z", b.Z)
	v.list(t, "obf_cumulative_alpha", b.Spent)
	v.list(t, "obf_nominal_p", b.Nominal)
	b, err = Spend(Pocock, looks, 0.05)
	require.NoError(t, err)
	v.list(t, "pocock_z", b.Z)
	v.list(t, "pocock_cumulative_alpha", b.Spent)
	v = published(t, "gs_lan_demets_unequal")
	b, err = Spend(OBrienFleming, read[[]float64](t, v.Inputs, "t"), 0.05)
	require.NoError(t, err)
	v.list(t, "obf_z", b.Z)
	v.list(t, "cumulative_alpha", b.Spent)
	v = published(t, "gs_lan_demets_wrong_convention")
	b, err = Spend(WholeOBrienFleming, read[[]float64](t, v.Inputs, "t"), 0.05)
	require.NoError(t, err)
	v.list(t, "obf_z", b.Z)
}

// Robbins 1970; Howard et al. 2021; Johari et al. 2022; Lai 1976.
func TestPublishedAnytime(t *testing.T) {
	v := published(t, "cs_normal_mixture")
	alpha := read[float64](t, v.Inputs, "alpha")
	rho, err := TunedFor(read[float64](t, v.Inputs, "optimise_at_t"), alpha)
	require.NoError(t, err)
	v.near(t, "rho", read[float64](t, v.Expected, "rho"), rho)
	m := Mixture{read[float64](t, v.Inputs, "sigma"), rho, alpha}
	var radius, fixed []float64
	for _, n := range read[[]float64](t, v.Inputs, "t") {
		r, err := m.Radius(n)
		require.NoError(t, err)
		radius, fixed = append(radius, r), append(fixed, 1.959963984540054/math.Sqrt(n))
	}
	v.list(t, "radius", radius)
	v.list(t, "fixed_n_radius", fixed)
	at, _ := m.Radius(100)
	for _, k := range []float64{0.97, 1.03} {
		other, err := Mixture{1, rho * k, alpha}.Radius(100)
		require.NoError(t, err)
		require.Greater(t, other, at, "tuned for 100")
	}

	v = published(t, "evalue_normal_mixture")
	m = Mixture{read[float64](t, v.Inputs, "sigma"), read[float64](t, v.Inputs, "rho"), 0.05}
	var e, p []float64
	ns := read[[]float64](t, v.Inputs, "t")
	for i, s := range read[[]float64](t, v.Inputs, "S") {
		x, err := m.Evidence(s, ns[i])
		require.NoError(t, err)
		e = append(e, x)
		p = append(p, AnytimeP(e))
	}
	v.list(t, "e", e)
	v.list(t, "anytime_p_running", p[:3])

	v = published(t, "evalue_t_mixture")
	e = nil
	ts, gs := read[[]float64](t, v.Inputs, "t"), read[[]float64](t, v.Inputs, "g")
	for i, n := range read[[]int](t, v.Inputs, "n") {
		x, err := TMixture(ts[i], n, gs[i])
		require.NoError(t, err)
		e = append(e, x)
	}
	v.list(t, "e", e)
}

// Jennison & Turnbull 2000: crossing adds up to alpha without an effect, and one look is
// the fixed test.
func TestCrossingAddsUp(t *testing.T) {
	for _, s := range []Spending{OBrienFleming, Pocock, WholeOBrienFleming} {
		b, err := Spend(s, []float64{0.25, 0.6, 1}, 0.05)
		require.NoError(t, err)
		c, err := b.Crossing(0)
		require.NoError(t, err)
		var sum float64
		for i := range c {
			sum += c[i]
			require.InDelta(t, b.Spent[i], sum, 1e-8)
		}
		require.InDelta(t, 0.05, sum, 1e-8)
		// 3.2415 is the drift of a fixed test with power 0.9; looks cost little of it.
		c, err = b.Crossing(1.959963984540054 + 1.2815515655446004)
		require.NoError(t, err)
		require.InDelta(t, 0.88, c[0]+c[1]+c[2], 0.04)
	}
	one, err := Spend(OBrienFleming, []float64{1}, 0.05)
	require.NoError(t, err)
	require.InDelta(t, 1.959963984540054, one.Z[0], 1e-9)
	low, high, err := one.Repeated(0, 2, 1)
	require.NoError(t, err)
	require.InDelta(t, 2-1.959963984540054, low, 1e-9)
	require.InDelta(t, 2+1.959963984540054, high, 1e-9)
}

func TestZKeepsTheTail(t *testing.T) {
	require.InDelta(t, 1.959963984540054, Z(2.2281388519649385, 10), 1e-9)
	require.InDelta(t, -1.959963984540054, Z(-2.2281388519649385, 10), 1e-9)
	require.Zero(t, Z(0, 3))
}

// The mean of e-values under no effect is 1, by integration over the sum.
func TestEvidenceAveragesOne(t *testing.T) {
	m := Mixture{2, 5, 0.05}
	for _, n := range []float64{1, 10, 300} {
		sd := 2 * math.Sqrt(n)
		// E grows as fast as the density falls; far limits.
		limit := 40 * sd
		var mean float64
		const k = 200_000
		h := 2 * limit / k
		for i := range k {
			s := -limit + (float64(i)+0.5)*h
			logE := 0.5*math.Log(m.Rho/(n+m.Rho)) + s*s/(2*4*(n+m.Rho))
			mean += math.Exp(logE-s*s/(2*sd*sd)) / sd / math.Sqrt(2*math.Pi) * h
			if i == 3*k/5 {
				e, err := m.Evidence(s, n)
				require.NoError(t, err)
				require.InEpsilon(t, math.Exp(logE), e, 1e-12)
			}
		}
		require.InDelta(t, 1, mean, 2e-3)
	}
}

func TestSequentialNeverNaN(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		looks := rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(-0.1, 1.1), rapid.SampledFrom([]float64{0.1, 0.5, 1, math.NaN()})), 0, 5).Draw(t, "looks")
		alpha := rapid.SampledFrom([]float64{0.05, 0.01, 0.4, 1e-6, 0, math.NaN()}).Draw(t, "alpha")
		if b, err := Spend(Spending(rapid.IntRange(0, 3).Draw(t, "s")), looks, alpha); err == nil {
			for _, z := range b.Z {
				require.False(t, math.IsNaN(z))
				require.True(t, z > 0 && z <= 40)
			}
		}
		h, err := CompareEvents([2]int{rapid.IntRange(-1, 5).Draw(t, "a"), rapid.IntRange(0, 5).Draw(t, "b")}, [2]int{rapid.IntRange(0, 6).Draw(t, "na"), rapid.IntRange(0, 6).Draw(t, "nb")}, 2)
		if err == nil {
			require.False(t, math.IsNaN(h.P))
			require.NotEmpty(t, h.Says)
		}
		e, err := TMixture(rapid.Float64().Draw(t, "t"), rapid.IntRange(0, 500).Draw(t, "n"), 1)
		if err == nil {
			require.False(t, math.IsNaN(e) || math.IsInf(e, 0))
		}
	})
}

func TestHarmStops(t *testing.T) {
	h, err := CompareEvents([2]int{1, 9}, [2]int{20, 20}, 2)
	require.NoError(t, err)
	require.True(t, h.Stop)
	h, err = CompareEvents([2]int{9, 1}, [2]int{20, 20}, 2)
	require.NoError(t, err)
	require.False(t, h.Stop, "fewer in arm 1 is no harm of arm 1")
	h, err = CompareEvents([2]int{0, 0}, [2]int{20, 20}, 2)
	require.NoError(t, err)
	require.Equal(t, 1.0, h.P)
}

// The interval ends where the e-value is 1/alpha, and over a path it hardly ever misses.
func TestTIntervalBelongsToItsEvidence(t *testing.T) {
	for _, n := range []int{8, 30, 200} {
		i, err := TInterval(1, 0.25, n, 1, 0.05)
		require.NoError(t, err)
		require.True(t, i.Set)
		e, err := TMixture((1-i.Value[0])/0.25, n, 1)
		require.NoError(t, err)
		require.InEpsilon(t, 20, e, 1e-9)
		require.InDelta(t, 2, i.Value[0]+i.Value[1], 1e-9)
		require.Greater(t, i.Value[1]-1, 1.96*0.25, "wider than a fixed interval")
	}
	few, err := TInterval(1, 0.25, 2, 1, 0.05)
	require.NoError(t, err)
	require.False(t, few.Set, "two values are never enough")

	paths := repetitions(600)
	missed := 0.0
	z := draw.Normal{Source: draw.Fast(8, 2)}
	for range paths {
		var s1, s2 float64
		for n := 1; n <= 200; n++ {
			x := 3 + 2*z.Next()
			s1, s2 = s1+x, s2+x*x
			if n < 2 {
				continue
			}
			m := s1 / float64(n)
			se := math.Sqrt(math.Max(0, s2-s1*m) / float64(n-1) / float64(n))
			i, err := TInterval(m, se, n, 1, 0.05)
			require.NoError(t, err)
			if i.Set && (i.Value[0] > 3 || i.Value[1] < 3) {
				missed++
				break
			}
		}
	}
	p := missed / float64(paths)
	t.Logf("unknown sigma, %d paths: the sequence ever misses by 200 in %.4f (at most 0.05)", paths, p)
	require.LessOrEqual(t, p, 0.05+3*math.Sqrt(0.05*0.95/float64(paths)))
	require.Positive(t, missed)
}
