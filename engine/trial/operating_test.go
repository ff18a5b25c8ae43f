package trial_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/power"
	"github.com/phasewright/phasewright/engine/trial/sequential"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

var figures = flag.Bool("figures", false, "write docs/trial-figures.md; with PHASEWRIGHT_LONG=1 from the long form")

// figure is what a method did over many invented trials, against what is known of it.
type figure struct {
	what        string
	repetitions int
	value, se   float64 // se: of the simulation
	known       string  // by theory, or a reference run in R
	low, high   float64 // what is accepted: what is known, and four standard errors
}

// repetitions are those given; twelve times as many with PHASEWRIGHT_LONG, a quarter with
// -short.
func repetitions(n int) int {
	switch {
	case os.Getenv("PHASEWRIGHT_LONG") != "":
		return 12 * n
	case testing.Short():
		return n / 4
	}
	return n
}

// TestOperating holds methods to what they promise over many trials whose truth is known.
// R's figures are of runs of 10,000 to 40,000 in R 4.2.2.
func TestOperating(t *testing.T) {
	var all []figure
	for _, c := range []struct {
		name string
		of   func(*testing.T) []figure
	}{
		{"analysis of covariance", ofAncova}, {"sign flips", ofSignFlips}, {"unequal spreads", ofWelch}, {"standardised effect", ofHedges},
		{"interval of the randomisation test", ofRandomisation}, {"schemes", ofSchemes}, {"power", ofPower}, {"groups of coaches", ofClusters},
		{"looks", ofLooks}, {"any time", ofAnytime}, {"minimisation", ofMinimisation}, {"adaptive", ofAdaptive},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, f := range c.of(t) {
				t.Logf("%s: %s of %d; %s", f.what, f.shown(), f.repetitions, f.known)
				if !(f.low <= f.value && f.value <= f.high) {
					t.Errorf("%s is %s; want %.4f to %.4f", f.what, f.shown(), f.low, f.high)
				}
				all = append(all, f)
			}
		})
	}
	if *figures && !t.Failed() {
		writeFigures(t, all)
	}
}

func (f figure) shown() string { return fmt.Sprintf("%.4f ± %.4f", f.value, f.se) }

func writeFigures(t *testing.T, all []figure) {
	t.Helper()
	var w strings.Builder
	w.WriteString("# What the methods of a trial do over many trials\n\n" +
		"Made by `PHASEWRIGHT_LONG=1 go test ./engine/trial -run TestOperating -args -figures` from invented trials whose truth is known; seeds are fixed. " +
		"± is the standard error of the simulation. Every run of the tests holds a shorter form to the last column, which is what is known, widened by four such errors of that run.\n\n" +
		"| what | found | trials | known | accepted here |\n|---|---|---|---|---|\n")
	for _, f := range all {
		fmt.Fprintf(&w, "| %s | %s | %d | %s | %.4f to %.4f |\n", f.what, f.shown(), f.repetitions, f.known, f.low, f.high)
	}
	writeSizes(t, &w)
	require.NoError(t, os.WriteFile(filepath.Join("..", "..", "docs", "trial-figures.md"), []byte(w.String()), 0o644))
}

// writeSizes tells what trials of a size find in two invented worlds, by closed forms.
func writeSizes(t *testing.T, w *strings.Builder) {
	t.Helper()
	w.WriteString("\n## What trials of a size find\n\n" +
		"By the closed forms of `power.World.Predict`, with the baseline held equal, nobody lost. The worlds are a judgement: squat 1RM of trained lifters (log scale: spread 0.20, typical error and own response 0.03), " +
		"muscle thickness (spread 3 mm, typical error 0.8 mm, own response 0.5 mm). Found: the difference between arms that four of five trials find. Interval: how far it reaches to each side.\n\n" +
		"| athletes an arm | squat: found | squat: interval | thickness: found | thickness: interval |\n|---|---|---|---|---|\n")
	squat, thickness := strength(), power.World{Spread: 3, TypicalError: 0.8, Gain: []float64{1, 1.3}, Response: []float64{0.5, 0.5}}
	for _, n := range [...]int{10, 15, 20, 30, 40, 80, 160} {
		s, err := squat.Predict(n, 0.05)
		require.NoError(t, err)
		m, err := thickness.Predict(n, 0.05)
		require.NoError(t, err)
		percent := func(x float64) float64 { return 100 * (math.Exp(x) - 1) }
		fmt.Fprintf(w, "| %d | %.1f %% | %.1f %% | %.2f mm | %.2f mm |\n", n, percent(s.DetectableByAncova), percent(s.HalfWidth), m.DetectableByAncova, m.HalfWidth)
	}
}

// share counts how often a trial says yes.
func share(n int, seed uint64, trial func(z *draw.Normal) bool) float64 {
	hits := 0
	for i := range n {
		if trial(&draw.Normal{Source: draw.Fast(seed, uint64(i))}) {
			hits++
		}
	}
	return float64(hits) / float64(n)
}

func binomial(p float64, n int) float64 { return math.Sqrt(p * (1 - p) / float64(n)) }

// about accepts a share that is known to within slack.
func about(what string, n int, found, want, slack float64, known string) figure {
	e := binomial(want, n)
	return figure{what, n, found, binomial(found, n), known, want - slack - 4*e, want + slack + 4*e}
}

func summarised(t *testing.T, xs []float64) stat.Summary {
	s, err := stat.Summarise(xs)
	require.NoError(t, err)
	return s
}

func normals(z *draw.Normal, n int, mean, sd float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = mean + sd*z.Next()
	}
	return out
}

func ofAncova(t *testing.T) []figure {
	n := repetitions(6000)
	covered := 0
	run := func(d float64) float64 {
		covered = 0
		return share(n, 22, func(z *draw.Normal) bool {
			var y, x []float64
			var arm []int
			for i := range 30 {
				b := z.Next()
				x, arm = append(x, b), append(arm, i%2)
				y = append(y, 0.7*b+math.Sqrt(1-0.49)*z.Next()+d*float64(i%2))
			}
			a, err := stat.Ancova(stat.Comparison{Y: y, Arm: arm, Arms: 2, Covariates: [][]float64{x}}, 0.95)
			require.NoError(t, err)
			e := a.Effects[0]
			if e.Low <= d && d <= e.High {
				covered++
			}
			return e.P < 0.05
		})
	}
	none := run(0)
	out := []figure{about("analysis of covariance, 15 an arm, no effect: p below 0.05", n, none, 0.05, 0, "0.05; R 0.0505")}
	found := run(0.5)
	return append(out,
		about("the same, effect 0.5, correlation 0.7: power", n, found, 0.4423, 0.006, "formula 0.4423; R 0.4386"),
		about("the same: its interval holds the effect", n, float64(covered)/float64(n), 0.95, 0, "0.95"))
}

func ofSignFlips(t *testing.T) []figure {
	var arm, pair []int
	for i := range 9 {
		arm, pair = append(arm, 0, 1), append(pair, i+1, i+1)
	}
	ref := reference(t, assign.MatchedPairs, arm, pair)
	n := repetitions(1200)
	p := share(n, 21, func(z *draw.Normal) bool {
		y := make([]float64, 18)
		for i := range 9 {
			// A skewed difference whose sign is a coin.
			y[2*i+1] = -math.Log(draw.Uniform(z.Source)) * float64(int(draw.Below(z.Source, 2))*2-1)
		}
		c, err := stat.NewContrast(first(18), y, nil, pair, false)
		require.NoError(t, err)
		r, err := stat.TestAssignment(ref, arm, c, 0, nil, 0.95)
		require.NoError(t, err)
		return r.P <= 0.05
	})
	f := about("randomisation test of 9 pairs with skewed differences, no effect: p at most 0.05", n, p, 0.05, 0, "at most 0.05; R 0.0463")
	f.low -= 0.015 // 512 deals give few p-values
	return []figure{f}
}

func first(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// reference are all assignments that a scheme could have made.
func reference(t *testing.T, scheme assign.Scheme, arm, pair []int) *assign.Reference {
	t.Helper()
	d := assign.Design{Trial: "t", Scheme: scheme, Arms: twoArms}
	var units []assign.Unit
	var given []assign.Assignment
	for i, a := range arm {
		u := assign.Unit{ID: fmt.Sprint(i)}
		g := assign.Assignment{Unit: u.ID, Number: i + 1, Arm: a}
		if pair != nil {
			d.Covariates, u.Covariates, g.Pair = []string{"x"}, []int64{0}, pair[i]
		}
		units, given = append(units, u), append(given, g)
	}
	ref, err := assign.NewReference(d, units, given)
	require.NoError(t, err)
	return ref
}

var twoArms = []assign.Arm{{ID: "A", Ratio: 1}, {ID: "B", Ratio: 1}}

func ofWelch(t *testing.T) []figure {
	n := repetitions(10_000)
	pooled := 0
	p := share(n, 23, func(z *draw.Normal) bool {
		a, b := summarised(t, normals(z, 8, 0, 3)), summarised(t, normals(z, 24, 0, 1))
		w, err := stat.Welch(a, b, 0.95)
		require.NoError(t, err)
		s, err := stat.Pooled(a, b, 0.95)
		require.NoError(t, err)
		if s.P < 0.05 {
			pooled++
		}
		return w.P < 0.05
	})
	return []figure{
		about("Welch, 8 against 24, SDs 3 to 1, no effect: p below 0.05", n, p, 0.05, 0.002, "0.05; R 0.0501"),
		about("equal spreads assumed, the same trials (what Welch is for)", n, float64(pooled)/float64(n), 0.2123, 0.004, "R 0.2123"),
	}
}

func ofHedges(t *testing.T) []figure {
	n := repetitions(5000)
	var g, d, g2 float64
	p := share(n, 24, func(z *draw.Normal) bool {
		e, err := stat.StandardisedDifference(summarised(t, normals(z, 8, 0.8, 1)), summarised(t, normals(z, 8, 0, 1)), 0.95)
		require.NoError(t, err)
		g, d, g2 = g+e.G, d+e.D, g2+e.G*e.G
		return e.DLow <= 0.8 && 0.8 <= e.DHigh
	})
	g, d, g2 = g/float64(n), d/float64(n), g2/float64(n)
	e := math.Sqrt((g2 - g*g) / float64(n))
	return []figure{
		{"mean g, true 0.8, 8 an arm", n, g, e, "0.8; R 0.8006", 0.8 - 4*e, 0.8 + 4*e},
		{"mean d, the same trials (what g takes off)", n, d, e, "R 0.8469", 0.8469 - 0.004 - 4*e, 0.8469 + 0.004 + 4*e},
		about("interval of d by the noncentral t holds 0.8", n, p, 0.95, 0, "0.95; R 0.9503"),
	}
}

func ofRandomisation(t *testing.T) []figure {
	n := repetitions(300)
	p := share(n, 26, func(z *draw.Normal) bool {
		arm := []int{0, 0, 0, 0, 0, 1, 1, 1, 1, 1}
		draw.Shuffle(z.Source, 10, func(i, j int) { arm[i], arm[j] = arm[j], arm[i] })
		y := normals(z, 10, 0, 1)
		for i := range y {
			y[i] += 2 * float64(arm[i])
		}
		c, err := stat.NewContrast(first(10), y, nil, nil, false)
		require.NoError(t, err)
		r, err := stat.TestAssignment(reference(t, assign.FixedTotals, arm, nil), arm, c, 0, nil, 0.90)
		require.NoError(t, err)
		return r.Low.Set && r.Low.Value <= 2 && 2 <= r.High.Value
	})
	f := about("interval of the randomisation test, 5 an arm, level 0.90: holds the effect", n, p, 0.90, 0, "at least 0.90")
	f.high = 1 // 252 deals: the interval may be too wide
	return []figure{f}
}

// strength is the virtual trial of the closed forms: log 1RM, 8 weeks.
func strength() power.World {
	return power.World{Spread: 0.2, TypicalError: 0.03, Gain: []float64{0.06, 0.08}, Response: []float64{0.03, 0.03}}
}

func simulated(t *testing.T, x power.Trial) *power.Outlook {
	t.Helper()
	x.Design.Trial, x.Design.Arms, x.Alpha = "t", twoArms, 0.05
	o, err := power.Simulate(t.Context(), x)
	require.NoError(t, err)
	return o
}

func ofSchemes(t *testing.T) []figure {
	w := strength()
	w.Gain[1] = w.Gain[0]
	w.Dropout, w.CovariateR, w.FactorShift = []float64{0.1, 0.1}, []float64{0.5}, []float64{0.6}
	f, c := []string{"sex"}, []string{"baseline", "age"}
	var out []figure
	for _, d := range []assign.Design{
		{Scheme: assign.Complete}, {Scheme: assign.FixedTotals}, {Scheme: assign.PermutedBlocks, Blocks: []int{4, 6}, Factors: f},
		{Scheme: assign.MatchedPairs, Covariates: c}, {Scheme: assign.SequentialPairs, Covariates: c, Sequential: assign.Sequential{Spread: []int64{900, 1000}, CaliperMilli: 600, Together: true}},
		{Scheme: assign.Minimisation, Factors: f, Minimise: assign.Minimise{BestPermille: 800}},
		{Scheme: assign.Rerandomisation, Covariates: c, Rerandomise: assign.Rerandomise{MostMicro: 210_721}},
	} {
		o := simulated(t, power.Trial{Design: d, Units: 30, World: w, Smallest: 0.03, Runs: repetitions(1500), Seed: 3})
		require.InDelta(t, 27, o.Measured.Value, 0.3)
		require.Contains(t, o.Says[0], "Were the arms alike")
		known := "0.05"
		x := about(fmt.Sprintf("%s, 30 athletes, one in ten lost, no effect: p below 0.05", d.Scheme), o.Runs, o.Power.Value, 0.05, 0, known)
		if d.Scheme == assign.Rerandomisation {
			x.low, x.known = 0, "at most 0.05: balance makes it careful"
		}
		out = append(out, x)
	}
	return out
}

func ofPower(t *testing.T) []figure {
	w := strength()
	c, err := w.Predict(40, 0.05)
	require.NoError(t, err)
	o := simulated(t, power.Trial{Design: assign.Design{Scheme: assign.FixedTotals}, Units: 80, World: w, Smallest: 0.01, Runs: repetitions(4000), Seed: 1})
	return []figure{
		about("the virtual strength trial, 40 an arm: power", o.Runs, o.Power.Value, c.Ancova, 0.006, fmt.Sprintf("formula %.4f; R 0.3925", c.Ancova)),
		about("the same: its interval holds the effect", o.Runs, o.Coverage.Value, 0.95, 0, "0.95"),
		{"the same: how many times too large an effect found looks", o.Runs, o.Exaggeration.Value, o.Exaggeration.Error, fmt.Sprintf("formula %.4f", c.Exaggeration), c.Exaggeration - 0.02 - 4*o.Exaggeration.Error, c.Exaggeration + 0.02 + 4*o.Exaggeration.Error},
		{"the same: share of effects found that point the wrong way", o.Runs, o.WrongSign.Value, o.WrongSign.Error, fmt.Sprintf("formula %.4f", c.WrongSign), c.WrongSign - 0.001 - 4*o.WrongSign.Error, c.WrongSign + 0.001 + 4*o.WrongSign.Error},
	}
}

// ofClusters has level and response of unit variance together, ICC 0.05, effect 0.5.
func ofClusters(t *testing.T) []figure {
	w := power.World{Spread: 1e-6, Gain: []float64{0, 0.5}, Response: []float64{1, 1}, ClusterSize: 10, ClusterICC: 0.05}
	o := simulated(t, power.Trial{Design: assign.Design{Scheme: assign.FixedTotals}, Units: 16, World: w, Smallest: 0.2, Runs: repetitions(3000), Seed: 5})
	// On means of clusters, with one covariate that tells nothing: a degree of freedom
	// less than the published 14, and 1/(2k-4) more variance.
	want, err := power.Ancova(8, 0.5/math.Sqrt(power.DesignEffect(10, 0.05, 0)/10), 0, 1, 0.05)
	require.NoError(t, err)
	return []figure{about("8 coaches an arm with 10 athletes each, ICC 0.05, effect 0.5: power", o.Runs, o.Power.Value, want, 0.005, fmt.Sprintf("formula %.4f", want))}
}

func ofLooks(t *testing.T) []figure {
	const looks, naive = 5, 1.959963984540054
	n := repetitions(8000)
	b, err := sequential.Constant(0.5, []float64{0.2, 0.4, 0.6, 0.8, 1}, 0.05)
	require.NoError(t, err)
	s, err := sequential.Spend(sequential.OBrienFleming, []float64{0.2, 0.4, 0.6, 0.8, 1}, 0.05)
	require.NoError(t, err)
	var fooled, spent int
	p := share(n, 8, func(z *draw.Normal) bool {
		var sum float64
		var bounded, plain, spending bool
		for k := range looks {
			sum += z.Next()
			v := math.Abs(sum) / math.Sqrt(float64(k+1))
			bounded, plain, spending = bounded || v >= b.Z[k], plain || v >= naive, spending || v >= s.Z[k]
		}
		if plain {
			fooled++
		}
		if spending {
			spent++
		}
		return bounded
	})
	return []figure{
		about("O'Brien-Fleming bounds, 5 looks, no effect: any crossed", n, p, 0.05, 0, "0.05; R 0.0494"),
		about("alpha spending of that kind, 5 looks, no effect: any crossed", n, float64(spent)/float64(n), 0.05, 0, "0.05"),
		about("p below 0.05 at any of 5 looks without bounds (what they are for)", n, float64(fooled)/float64(n), 0.142, 0.0005, "0.142; R 0.1421"),
	}
}

func ofAnytime(t *testing.T) []figure {
	const end = 1000
	rho, err := sequential.TunedFor(100, 0.05)
	require.NoError(t, err)
	radius := make([]float64, end+1)
	for k := 1; k <= end; k++ {
		radius[k], err = sequential.Mixture{Sigma: 1, Rho: rho, Alpha: 0.05}.Radius(float64(k))
		require.NoError(t, err)
	}
	n := repetitions(1000)
	p := share(n, 9, func(z *draw.Normal) bool {
		sum := 0.0
		for k := 1; k <= end; k++ {
			sum += z.Next()
			if math.Abs(sum)/float64(k) > radius[k] {
				return true
			}
		}
		return false
	})
	f := about("confidence sequence, read after each of 1,000: ever misses", n, p, 0.05, 0, "at most 0.05; R 0.0350")
	f.low = 0.005 // it is still a statement
	return []figure{f}
}

func ofMinimisation(t *testing.T) []figure {
	n := repetitions(1000)
	factors := []string{"a", "b", "c"}
	mean := func(d assign.Design) (value, e float64) {
		d.Trial, d.Arms, d.Factors = "t", twoArms, factors
		var sum, squares float64
		for i := range n {
			x := imbalance(t, d, uint64(i))
			sum, squares = sum+x, squares+x*x
		}
		value = sum / float64(n)
		return value, math.Sqrt((squares/float64(n) - value*value) / float64(n))
	}
	m, me := mean(assign.Design{Scheme: assign.Minimisation, Minimise: assign.Minimise{BestPermille: 800}})
	c, ce := mean(assign.Design{Scheme: assign.Complete})
	return []figure{
		{"complete randomisation, 40 athletes, 3 factors of 2 levels: mean imbalance of a level", n, c, ce, "R 3.553", 3.553 - 0.04 - 4*ce, 3.553 + 0.04 + 4*ce},
		{"minimisation with a chance of 0.8, the same", n, m, me, "less than half of it; R 1.135", 0, 0.5 * c},
	}
}

// imbalance is the mean absolute difference of arms over all levels, of 40 athletes whose
// levels are coins.
func imbalance(t *testing.T, d assign.Design, i uint64) float64 {
	t.Helper()
	levels := draw.Fast(10, i)
	m, err := assign.New(d, assign.From(draw.Fast(11, i)))
	require.NoError(t, err)
	margin := map[string]int{}
	for k := range 40 {
		u := assign.Unit{ID: fmt.Sprint(k)}
		for range d.Factors {
			u.Levels = append(u.Levels, []string{"x", "y"}[draw.Below(levels, 2)])
		}
		require.NoError(t, m.Enrol(u))
	}
	units := m.Units()
	for k, a := range m.Assigned() {
		for f, l := range units[k].Levels {
			margin[d.Factors[f]+l] += 1 - 2*a.Arm
		}
	}
	sum := 0.0
	for _, x := range margin {
		sum += math.Abs(float64(x))
	}
	return sum / float64(2*len(d.Factors))
}

// ofAdaptive has no effect, 80 units and chances of at least 0.2: plain means of an arm
// are biased, weighted ones not.
func ofAdaptive(t *testing.T) []figure {
	n := repetitions(4000)
	var plain, weighted, squares, ws float64
	for i := range n {
		p, w := adaptive(t, uint64(i))
		plain, squares = plain+p, squares+p*p
		weighted, ws = weighted+w, ws+w*w
	}
	r := float64(n)
	plain, weighted = plain/r, weighted/r
	pe, we := math.Sqrt((squares/r-plain*plain)/r), math.Sqrt((ws/r-weighted*weighted)/r)
	return []figure{
		{"arms drawn by how they do so far (chance at least 0.2), no effect: bias of an arm's mean", n, plain, pe, "R -0.0419", -0.0419 - 0.004 - 4*pe, -0.0419 + 0.004 + 4*pe},
		{"the same, each weighted by its chance", n, weighted, we, "0; R 0.0006", -4 * we, 4 * we},
	}
}

func adaptive(t *testing.T, i uint64) (plain, weighted float64) {
	z := &draw.Normal{Source: draw.Fast(25, i)}
	var sum, n [2]float64
	for range 80 {
		p := 0.5
		if n[0] > 0 && n[1] > 0 {
			a, b := stat.Normal{Mean: sum[0] / n[0], SD: 1 / math.Sqrt(n[0])}, stat.Normal{Mean: sum[1] / n[1], SD: 1 / math.Sqrt(n[1])}
			p = stat.Floored(stat.NormalBetter(a, b), 0.2)
		}
		require.True(t, p >= 0.2 && p <= 0.8)
		arm, y := 0, 0.0
		if draw.Uniform(z.Source) < p {
			arm = 1
		}
		y = z.Next()
		sum[arm] += y
		n[arm]++
		if arm == 1 {
			weighted += y / p / 80
		}
	}
	if n[1] > 0 {
		plain = sum[1] / n[1]
	}
	return plain, weighted
}
