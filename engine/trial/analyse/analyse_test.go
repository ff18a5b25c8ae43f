package analyse

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

var (
	key   = draw.Key(strings.Repeat("k", draw.KeyBytes))
	rules = Rules{Level: 0.95, Smallest: 1, Range: plan.Some([2]float64{-50, 50}), Prior: stat.Plain(stat.Normal{SD: 2}), Draws: 199}
)

func designs() []assign.Design {
	two := []assign.Arm{{ID: "A", Ratio: 1}, {ID: "B", Ratio: 1}}
	f, c := []string{"sex"}, []string{"squat"}
	return []assign.Design{
		{Trial: "t", Arms: two, Scheme: assign.Complete},
		{Trial: "t", Arms: two, Scheme: assign.FixedTotals},
		{Trial: "t", Arms: two, Scheme: assign.PermutedBlocks, Blocks: []int{2, 4}, Factors: f},
		{Trial: "t", Arms: []assign.Arm{{ID: "A", Ratio: 2}, {ID: "B", Ratio: 1}, {ID: "C", Ratio: 1}}, Scheme: assign.PermutedBlocks, Blocks: []int{4}, Factors: f},
		{Trial: "t", Arms: two, Scheme: assign.MatchedPairs, Covariates: c},
		{Trial: "t", Arms: two, Scheme: assign.SequentialPairs, Covariates: c, Factors: f, Sequential: assign.Sequential{Spread: []int64{10}, CaliperMilli: 1000}},
		{Trial: "t", Arms: two, Scheme: assign.Minimisation, Factors: f, Minimise: assign.Minimise{BestPermille: 800}},
		{Trial: "t", Arms: two, Scheme: assign.Rerandomisation, Covariates: c, Rerandomise: assign.Rerandomise{MostMicro: 20_000_000}},
	}
}

// invented makes a trial of n units with an effect of arm on outcome.
func invented(t require.TestingT, d assign.Design, n int, effect float64, seed uint64) *Data {
	z := draw.Normal{Source: draw.Fast(seed, 1)}
	m, err := assign.New(d, assign.Keyed(key))
	require.NoError(t, err)
	out := &Data{Design: d}
	var level []float64
	for i := range n {
		x := 10 * z.Next()
		u := assign.Unit{ID: fmt.Sprint("u", i)}
		for range d.Factors {
			u.Levels = append(u.Levels, []string{"f", "m"}[draw.Below(z.Source, 2)])
		}
		for range d.Covariates {
			u.Covariates = append(u.Covariates, int64(math.Round(x)))
		}
		require.NoError(t, m.Enrol(u))
		level = append(level, x)
		out.Baseline = append(out.Baseline, plan.Some(x+z.Next()))
	}
	require.NoError(t, m.Close())
	out.Units, out.Assigned = m.Units(), m.Assigned()
	for i, a := range out.Assigned {
		out.Outcome = append(out.Outcome, plan.Some(level[i]+effect*float64(a.Arm)+z.Next()))
	}
	return out
}

func TestEveryDesignFindsItsEffect(t *testing.T) {
	for _, d := range designs() {
		data := invented(t, d, 80, 3, 4)
		data.Kept = make([]bool, 80)
		for i := range data.Kept {
			data.Kept[i] = i%5 != 0
		}
		r, err := Analyse(data, rules)
		require.NoError(t, err)
		a := r.Answers[0]
		require.NotNil(t, a.Primary, "%s: %v", d.Scheme, r.Refused)
		require.InDelta(t, 3, a.Primary.Value, 4*a.Primary.SE, d.Scheme)
		require.Less(t, a.Primary.P, 1e-3)
		require.InDelta(t, 3, a.Kept.Value, 4*a.Kept.SE)
		require.Equal(t, a.Reading, Read(a.Primary.Low, a.Primary.High, 1))
		require.NotNil(t, a.Simple)
		require.NotNil(t, a.Standardised)
		require.NotNil(t, a.Belief)
		require.Nil(t, a.Worst, "nothing is missing")
		require.Greater(t, a.Equivalence.P, 0.5)
		if len(d.Arms) == 2 {
			require.NotNil(t, a.Randomisation, "%s: %v", d.Scheme, r.Refused)
			require.InDelta(t, a.Primary.Value, a.Randomisation.Observed, 1e-9, "the test looks at the same contrast")
			require.LessOrEqual(t, a.Randomisation.P, 0.02)
			require.Less(t, a.Randomisation.Low.Value, 3.0)
			require.Greater(t, a.Randomisation.High.Value, 2.0)
		} else {
			require.Len(t, r.Answers, 2)
			require.Len(t, r.Adjusted, 2)
			require.NotNil(t, r.Overall)
		}
	}
}

// Pairs held equal is the regression of differences on differences; so many degrees of
// freedom has it.
func TestAnswersRespectTheDesign(t *testing.T) {
	df := map[assign.Scheme]float64{
		assign.Complete: 40 - 3, assign.FixedTotals: 40 - 3, assign.MatchedPairs: 20 - 2,
		assign.Minimisation: 40 - 4, assign.Rerandomisation: 40 - 4,
	}
	for _, d := range designs() {
		want, in := df[d.Scheme]
		if !in {
			continue
		}
		r, err := Analyse(invented(t, d, 40, 0, 2), rules)
		require.NoError(t, err)
		require.Equal(t, want, r.Answers[0].Primary.DF, d.Scheme)
	}
}

func TestMissingIsShown(t *testing.T) {
	for _, d := range designs() {
		data := invented(t, d, 60, 0, 9)
		for i := range 60 {
			if i%7 == 0 {
				data.Outcome[i] = plan.Opt[float64]{}
			}
			if i%11 == 3 {
				data.Baseline[i] = plan.Opt[float64]{}
			}
		}
		r, err := Analyse(data, rules)
		require.NoError(t, err)
		absent, unknown := 0, 0
		for _, f := range r.Flow {
			absent += f.Absent
			unknown += f.NoBaseline
			require.Equal(t, f.Assigned, f.Measured+f.Absent)
		}
		require.Equal(t, 9, absent)
		require.Equal(t, 6, unknown)
		require.Contains(t, strings.Join(r.Notes, "\n"), "No outcome of 9 of 60")
		w := r.Answers[0].Worst
		require.NotNil(t, w)
		require.Less(t, w.Least, w.Most)
		if d.Scheme == assign.MatchedPairs {
			require.NotNil(t, r.Answers[0].Singles)
			require.Contains(t, strings.Join(r.Notes, "\n"), "Measured without a measured partner")
		}
	}
}

func TestHardCasesAreAnsweredOrRefused(t *testing.T) {
	refused := func(r *Report, part string) string {
		for _, x := range r.Refused {
			if strings.HasSuffix(x.Part, part) {
				return x.Reason
			}
		}
		return ""
	}
	pairs := designs()[4]

	data := invented(t, pairs, 2, 0, 1)
	r, err := Analyse(data, rules)
	require.NoError(t, err)
	require.Equal(t, stat.ReasonFew, refused(r, "primary"), "one pair")
	require.Nil(t, r.Answers[0].Primary)

	data = invented(t, pairs, 7, 0, 1)
	r, err = Analyse(data, rules)
	require.NoError(t, err)
	require.NotNil(t, r.Answers[0].Primary, "odd n: %v", r.Refused)
	require.NotNil(t, r.Answers[0].Singles)

	for _, d := range designs() {
		data = invented(t, d, 24, 0, 1)
		for i, a := range data.Assigned {
			if a.Arm == 1 {
				data.Outcome[i] = plan.Opt[float64]{}
			}
		}
		r, err = Analyse(data, rules)
		require.NoError(t, err)
		require.Nil(t, r.Answers[0].Primary, "all withdrawn in one arm")
		require.NotEmpty(t, refused(r, "primary"))
		require.NotEmpty(t, refused(r, "B: randomisation"))
		require.NotNil(t, r.Answers[0].Worst, "what the missing could hide is still bounded")

		data = invented(t, d, 24, 0, 1)
		for i := range data.Outcome {
			data.Outcome[i].Value, data.Baseline[i].Value = 5, 5
		}
		r, err = Analyse(data, rules)
		require.NoError(t, err)
		require.Equal(t, stat.ReasonSpread, refused(r, "primary"), "zero variance")
	}
}

func sane(t require.TestingT, v reflect.Value, path string) {
	switch v.Kind() {
	case reflect.Float64:
		require.False(t, math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0), path)
	case reflect.Pointer:
		if !v.IsNil() {
			sane(t, v.Elem(), path)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			sane(t, v.Field(i), path+"."+v.Type().Field(i).Name)
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			sane(t, v.Index(i), fmt.Sprintf("%s[%d]", path, i))
		}
	}
}

// Whatever is missing, tied or constant: a report without NaN.
func TestReportsNeverHoldNaN(t *testing.T) {
	quick := rules
	quick.Draws = 99
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(designs()).Draw(t, "design")
		n := rapid.IntRange(0, 14).Draw(t, "n")
		data := invented(t, d, n, 0, rapid.Uint64().Draw(t, "seed"))
		data.Kept = make([]bool, n)
		for i := range n {
			for _, list := range [][]plan.Opt[float64]{data.Baseline, data.Outcome} {
				switch rapid.IntRange(0, 4).Draw(t, "what") {
				case 0:
					list[i] = plan.Opt[float64]{}
				case 1, 2:
					list[i].Value = float64(rapid.IntRange(0, 2).Draw(t, "tie"))
				case 3:
					list[i].Value = rapid.SampledFrom([]float64{1e9, -1e9, 1e-9, 0}).Draw(t, "far")
				}
			}
			data.Kept[i] = rapid.Bool().Draw(t, "kept")
		}
		quick.Student = rapid.Bool().Draw(t, "student")
		r, err := Analyse(data, quick)
		require.NoError(t, err)
		sane(t, reflect.ValueOf(r), "report")
		require.Len(t, r.Answers, len(d.Arms)-1)
		for _, x := range r.Refused {
			require.NotEmpty(t, x.Reason, "%+v", x)
			require.NotEqual(t, "", x.Says)
		}
	})
}

func TestAnalyseRefusesWhatCantBe(t *testing.T) {
	good := func() *Data { return invented(t, designs()[0], 6, 0, 1) }
	for field, change := range map[string]func(*Data, *Rules){
		"rules.level":    func(_ *Data, r *Rules) { r.Level = 95 },
		"rules.smallest": func(_ *Data, r *Rules) { r.Smallest = 0 },
		"rules.draws":    func(_ *Data, r *Rules) { r.Draws = 0 },
		"rules.range":    func(_ *Data, r *Rules) { r.Range.Value = [2]float64{1, 0} },
		"rules.prior[0]": func(_ *Data, r *Rules) { r.Prior = stat.Plain(stat.Normal{}) },
		"outcome":        func(d *Data, _ *Rules) { d.Outcome = d.Outcome[1:] },
		"outcome[2]":     func(d *Data, _ *Rules) { d.Outcome[2].Value = math.NaN() },
		"baseline[1]":    func(d *Data, _ *Rules) { d.Baseline[1].Value = math.Inf(1) },
		"assigned[0]":    func(d *Data, _ *Rules) { d.Assigned[0].Arm = 7 },
		"kept":           func(d *Data, _ *Rules) { d.Kept = []bool{true} },
		"design.scheme":  func(d *Data, _ *Rules) { d.Design.Scheme = 0 },
	} {
		d, r := good(), rules
		r.Prior = slices.Clone(rules.Prior)
		change(d, &r)
		_, err := Analyse(d, r)
		f, ok := fault.As(err)
		require.True(t, ok, field)
		require.Equal(t, field, f.Violations[0].Field)
	}
}

func TestReadings(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		want      Reading
	}{{1, 2, HigherWorth}, {0.1, 2, Higher}, {-0.5, 0.5, Alike}, {0.2, 0.8, Alike}, {-0.5, 2, Undecided}, {-2, -0.1, Lower}, {-2, -1, LowerWorth}, {-3, 3, Undecided}} {
		require.Equal(t, c.want, Read(c.low, c.high, 1), c)
		require.NotEmpty(t, c.want.String())
	}
}

func TestAverage(t *testing.T) {
	units := []assign.Unit{{ID: "gym 1"}, {ID: "gym 2"}, {ID: "gym 3"}}
	b, o, n, err := Average(units, []Member{
		{"gym 1", plan.Some(1.0), plan.Some(4.0)}, {"gym 1", plan.Some(3.0), plan.Opt[float64]{}}, {"gym 2", plan.Opt[float64]{}, plan.Some(7.0)},
	})
	require.NoError(t, err)
	require.Equal(t, []plan.Opt[float64]{plan.Some(2.0), {}, {}}, b)
	require.Equal(t, []plan.Opt[float64]{plan.Some(4.0), plan.Some(7.0), {}}, o)
	require.Equal(t, []int{1, 1, 0}, n)
	_, _, _, err = Average(units, []Member{{Unit: "gym 9"}})
	require.ErrorContains(t, err, "members[0].unit")
}

// The report is data that a stranger can read.
func TestReportIsJSON(t *testing.T) {
	for _, n := range []int{4, 20} {
		r, err := Analyse(invented(t, designs()[4], n, 1, 1), rules)
		require.NoError(t, err)
		_, err = json.Marshal(r)
		require.NoError(t, err)
	}
}

func TestInterim(t *testing.T) {
	data := invented(t, designs()[4], 60, 3, 4)
	final, err := Primary(data, 1, 0.95)
	require.NoError(t, err)
	early := *data
	early.Outcome = slices.Clone(data.Outcome)
	for i := range early.Outcome {
		if data.Assigned[i].Pair > 14 {
			early.Outcome[i] = plan.Opt[float64]{}
		}
	}
	looks := Looks{PlannedSE: final.SE}
	one, err := Interim(&early, rules, looks, false)
	require.NoError(t, err)
	require.InDelta(t, 14.0/30, one.Share, 0.25, "information goes with pairs")
	require.Equal(t, one.Crossed, math.Abs(one.Z) >= one.Bound)
	require.Equal(t, one.Crossed, one.Low > 0 || one.High < 0, "interval and bound agree")
	require.Greater(t, one.Bound, 1.96)
	require.Positive(t, one.Evidence)
	looks.Before = []float64{one.Share}
	two, err := Interim(data, rules, looks, true)
	require.NoError(t, err)
	require.InDelta(t, 0.05, two.Spent, 1e-9)
	require.True(t, two.Crossed)
	require.Greater(t, two.Evidence, 20.0)
	require.True(t, two.Anytime.Set)
	require.Positive(t, two.Anytime.Value[0], "evidence beyond 20 leaves out no effect")
	require.Contains(t, two.Says, "there is a difference")

	_, err = Interim(&early, rules, Looks{}, false)
	require.ErrorContains(t, err, "looks.planned_se")
	looks.Before = []float64{0.9999}
	_, err = Interim(&early, rules, looks, false)
	require.ErrorContains(t, err, "looks[1]")
}
