package load

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

// checks are the kinds of row in testdata/checks.csv, each with what the code says.
var checks = map[string]func(t *testing.T, of string, in []float64) float64{
	"equation": func(t *testing.T, of string, in []float64) float64 {
		e := equation(t, of)
		raw := e.Raw(in[0], in[1])
		got, err := e.Estimate(plan.Kg(int64(math.Round(in[0]*1000))), int(in[1]))
		switch {
		case int(in[1]) < e.MinReps || int(in[1]) > e.MaxReps:
			require.Error(t, err, "the guarded call stays in its range")
		case in[1] == 1:
			require.Equal(t, int64(math.Round(in[0]*1000)), got.Milli)
		default:
			require.InDelta(t, raw*1000, got.Milli, 0.51)
		}
		return raw
	},
	"table": func(t *testing.T, of string, in []float64) float64 {
		got, ok := tableNamed(t, of)(int32(in[0]))
		require.True(t, ok)
		return float64(got) / 10
	},
	"rir": func(t *testing.T, of string, in []float64) float64 {
		got, ok := tableNamed(t, of).ByRIR(int32(in[0]), int32(in[1]))
		require.True(t, ok)
		return float64(got) / 10
	},
	"reps": func(t *testing.T, of string, in []float64) float64 {
		// Beyond 30 repetitions the curve says nothing; the anchor shapes it all the same.
		bp := int32(math.Round(in[0] * 100))
		if got := curve(t, of).NearestTenths(bp); got < maxTenths {
			return float64(got) / 10
		}
		wide := curve(t, of).wide
		for i := range wide {
			if wide[i] <= bp {
				return float64(oneRep+i) / 10
			}
		}
		for _, a := range Anchors(of) { // beyond the inner grid too
			if a.IntensityBP == bp {
				return float64(a.RepsTenths) / 10
			}
		}
		return 0
	},
	"share": func(t *testing.T, of string, in []float64) float64 {
		return float64(curve(t, of).IntensityBP(int32(math.Round(in[0]*10)))) / 100
	},
	"shifted": func(t *testing.T, of string, in []float64) float64 {
		c, err := Shifted(curve(t, of), int32(math.Round(in[0]*1000)))
		require.NoError(t, err)
		return float64(c.IntensityBP(int32(math.Round(in[1]*10)))) / 100
	},
	"spread": func(t *testing.T, _ string, in []float64) float64 {
		got, ok := BetweenPersonSD(int32(math.Round(in[0] * 100)))
		require.True(t, ok)
		return float64(got) / 1000
	},
	"rating": func(t *testing.T, of string, in []float64) float64 {
		low, high, ok := RIRFromRating(int32(math.Round(in[0] * 10)))
		require.True(t, ok)
		if of == "most" {
			return float64(high)
		}
		return float64(low)
	},
	"total": func(_ *testing.T, _ string, in []float64) float64 {
		_, total := toFailure(int32(10*in[0]), int(in[2]), plan.Seconds(in[1]))
		return float64(total) / 10
	},
	"second": func(_ *testing.T, _ string, in []float64) float64 {
		return float64(DefaultFatigue().Sequence(int32(10*in[0]), []Done{{int32(10 * in[1]), plan.Seconds(in[2])}})[1]) / 10
	},
	"layoff": func(_ *testing.T, _ string, in []float64) float64 {
		return float64(AfterLayoff(int64(in[0]*1000), int32(in[1]))) / 1000
	},
	"borrow": func(t *testing.T, of string, in []float64) float64 {
		const scale = 100_000 // grams that a log of 0 stands for
		permille := func(sd float64) int32 { return int32(math.Round(1000 * sd)) }
		p := flat(plan.Intermediate)
		p.MeanGrams, p.SDPermille = int64(math.Round(scale*math.Exp(in[0]))), permille(in[1])
		from := Related{Grams: int64(math.Round(scale * math.Exp(in[2]))), Ratio: 1000, RatioSD: minRatioSD}
		from.SDPermille = permille(math.Sqrt(in[3]*in[3] - 0.05*0.05)) // the ratio's own is the rest
		got, err := p.Borrow(from)
		require.NoError(t, err)
		if of == "sd" {
			return float64(got.SDPermille) / 1000
		}
		return float64(got.MeanGrams) / scale
	},
	"interval": func(_ *testing.T, of string, in []float64) float64 {
		const scale = 100_000
		p := Posterior{MeanGrams: int64(math.Round(scale * in[0])), SDPermille: int32(math.Round(1000 * in[1]))}
		low, high := p.Interval(plan.Permille(in[2]))
		if of == "high" {
			return float64(high) / scale
		}
		return float64(low) / scale
	},
}

func tableNamed(t *testing.T, name string) LoadTable {
	table := map[string]LoadTable{"textbook": Textbook, "epley": EpleyTable, "brzycki": BrzyckiTable}[name]
	require.NotNil(t, table, name)
	return table
}

// TestPublishedChecks meets every value of testdata/checks.csv, and counts them: a name
// ends with source and tag, and with the computation where there is one.
func TestPublishedChecks(t *testing.T) {
	byKind, all, byHand, memory := map[string]int{}, 0, 0, 0
	for _, r := range rows(t, "testdata/checks.csv") {
		require.Len(t, r, 8)
		kind, of, source, tag, how := r[0], r[1], r[5], r[6], r[7]
		require.Contains(t, []string{"seen", "memory", "computed"}, tag)
		require.NotEmpty(t, source)
		require.False(t, tag == "computed" && how == "", "%v: without its computation", r)
		if tag == "memory" {
			source += " (from memory)"
		}
		var in []float64
		for _, s := range strings.Fields(r[2]) {
			in = append(in, number(t, s))
		}
		check := checks[kind]
		require.NotNil(t, check, kind)
		name := fmt.Sprintf("%s %s %s (%s)", kind, of, r[2], source)
		if how != "" {
			name += " = " + how
			byHand++
		}
		t.Run(name, func(t *testing.T) {
			// A value's own rounding is on top, as binary fractions have it.
			require.InDelta(t, number(t, r[3]), check(t, of, in), number(t, r[4])+1e-9)
		})
		byKind[kind]++
		all++
		if tag == "memory" {
			memory++
		}
	}
	require.Len(t, byKind, len(checks), "every kind has rows")
	t.Logf("%d check values, %d of them computed apart from the code, %d of sources from memory: %v", all, byHand, memory, byKind)
	require.GreaterOrEqual(t, all, 120)
	require.GreaterOrEqual(t, byHand, 30)
}

// TestAnchorsAsListed: testdata/anchors.csv and fatigue.csv, which other tests build an
// athlete from, are what the code has.
func TestAnchorsAsListed(t *testing.T) {
	listed := map[string][]Anchor{}
	for _, r := range rows(t, "testdata/anchors.csv") {
		require.Len(t, r, 5)
		require.Contains(t, []string{"seen", "memory", "judgement"}, r[4])
		listed[r[0]] = append(listed[r[0]], Anchor{RepsTenths: int32(math.Round(10 * number(t, r[2]))), IntensityBP: int32(math.Round(100 * number(t, r[1])))})
	}
	require.Len(t, listed, len(Families())-1)
	for family, want := range listed {
		var got []Anchor
		for _, a := range Anchors(family) {
			got = append(got, Anchor{RepsTenths: a.RepsTenths, IntensityBP: a.IntensityBP})
		}
		require.Equal(t, want, got, family)
	}
	f := DefaultFatigue()
	tables := map[string]struct {
		points []Point
		unit   float64
	}{"fast-left": {f.FastLeft[:], 1}, "slow-left": {f.SlowLeft[:], 1}, "nearness": {f.Nearness[:], 10}, "weight": {f.Weight[:], 10},
		"slow": {[]Point{{0, f.Slow}}, 1}}
	stated := map[string][]Point{}
	for _, r := range rows(t, "testdata/fatigue.csv") {
		require.Contains(t, tables, r[0])
		stated[r[0]] = append(stated[r[0]], Point{int32(math.Round(number(t, r[1]) * tables[r[0]].unit)), int32(math.Round(number(t, r[2]) * whole))})
	}
	require.Len(t, stated, len(tables))
	for name, points := range stated {
		require.Equal(t, tables[name].points, points, name)
	}
}
