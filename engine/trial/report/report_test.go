package report_test

import (
	"encoding/csv"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/report"
	"github.com/phasewright/phasewright/engine/trial/report/reporttest"
)

var rewrite = flag.Bool("rewrite", false, "write the golden files anew")

func cases(t *testing.T) map[string]*report.Input {
	t.Helper()
	list, err := reporttest.Cases()
	require.NoError(t, err)
	out := map[string]*report.Input{}
	for _, c := range list {
		out[c.Name] = c.Input
	}
	return out
}

func made(t *testing.T, in *report.Input) *report.Report {
	t.Helper()
	r, err := report.Make(in)
	require.NoError(t, err)
	return r
}

// Reports as a coach and a statistician get them: to be read when they change.
func TestReports(t *testing.T) {
	for name, in := range cases(t) {
		r := made(t, in)
		numbers, err := r.JSON()
		require.NoError(t, err)
		data, err := report.CSV(in)
		require.NoError(t, err)
		book, err := report.Codebook(in)
		require.NoError(t, err)
		for file, got := range map[string]string{
			"report.md": r.Markdown(nil), "report.json": string(numbers), "data.csv": string(data), "codebook.csv": string(book),
		} {
			golden(t, filepath.Join("testdata", name, file), got)
		}
	}
}

func golden(t *testing.T, path, got string) {
	t.Helper()
	if *rewrite {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got, "go test ./engine/trial/report -rewrite writes it anew")
}

func TestVerdicts(t *testing.T) {
	for name, want := range map[string][]string{
		"effect": {"higher_worth"}, "none": {"alike"}, "small": {"undecided"}, "left": {"no_answer"}, "coaches": {"undecided", "lower"},
	} {
		var got []string
		for _, a := range made(t, cases(t)[name]).Outcomes[0].Answers {
			got = append(got, a.Reading)
		}
		require.Equal(t, want, got, name)
	}
}

// A trial without an answer says so first, and why.
func TestNoAnswerIsSaid(t *testing.T) {
	r := made(t, cases(t)["left"])
	page := r.Page()
	require.Contains(t, page, "**No answer: five days and three days can't be compared")
	require.Contains(t, page, "Nobody of five days was measured at the end.")
	require.Nil(t, r.Outcomes[0].Answers[0].Primary)
	require.NotEmpty(t, r.Outcomes[0].Refused)
	require.NotContains(t, r.Markdown(nil), "NaN")
}

// frame is a data file as a stranger reads it: columns by name.
type frame struct {
	t    *testing.T
	head []string
	rows [][]string
}

func read(t *testing.T, in *report.Input) frame {
	t.Helper()
	text, err := report.CSV(in)
	require.NoError(t, err)
	rows, err := csv.NewReader(strings.NewReader(string(text))).ReadAll()
	require.NoError(t, err)
	return frame{t, rows[0], rows[1:]}
}

func (f frame) text(row int, column string) string {
	i := slices.Index(f.head, column)
	require.GreaterOrEqual(f.t, i, 0, column)
	return f.rows[row][i]
}

func (f frame) number(row int, column string) float64 {
	x, err := strconv.ParseFloat(f.text(row, column), 64)
	require.NoError(f.t, err, column)
	return x
}

// regress is least squares by the normal equations: coefficient, standard error and
// degrees of freedom of the last column. It shares nothing with how the trial is analysed.
func regress(t *testing.T, y []float64, columns ...[]float64) (value, se, df float64) {
	t.Helper()
	n, p := len(y), len(columns)
	x := mat.NewDense(n, p, nil)
	for j, c := range columns {
		x.SetCol(j, c)
	}
	var xx, inverse mat.Dense
	xx.Mul(x.T(), x)
	require.NoError(t, inverse.Inverse(&xx))
	var xy, b, fitted mat.VecDense
	xy.MulVec(x.T(), mat.NewVecDense(n, y))
	b.MulVec(&inverse, &xy)
	fitted.MulVec(x, &b)
	rest := 0.0
	for i := range y {
		rest += (y[i] - fitted.AtVec(i)) * (y[i] - fitted.AtVec(i))
	}
	df = float64(n - p)
	return b.AtVec(p - 1), math.Sqrt(rest / df * inverse.At(p-1, p-1)), df
}

func same(t *testing.T, e *report.Estimate, value, se, df float64) {
	t.Helper()
	half := se * distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(0.975)
	for _, x := range [][2]float64{{e.Value, value}, {e.SE, se}, {*e.DF, df}, {e.Low, value - half}, {e.High, value + half}} {
		require.InDelta(t, x[1], x[0], 2e-5*max(1, math.Abs(x[1])))
	}
}

// Whoever has the data gets the report's main figures, by arithmetic of their own:
// differences within pairs, regressed on differences of the start.
func TestDataGiveTheReportOfPairs(t *testing.T) {
	in := cases(t)["effect"]
	f := read(t, in)
	for k, outcome := range []string{"thickness", "squat"} {
		starts, ends, arms := map[string][2]float64{}, map[string][2]float64{}, map[string]int{}
		for i := range f.rows {
			pair := f.text(i, "pair")
			if f.text(i, outcome+"_end") == "" {
				continue
			}
			arm := 0
			if f.text(i, "arm") == "strength-first" {
				arm = 1
			}
			a, b := starts[pair], ends[pair]
			a[arm], b[arm] = f.number(i, outcome+"_baseline"), f.number(i, outcome+"_end")
			starts[pair], ends[pair] = a, b
			arms[pair]++
		}
		var y, x, one []float64
		for pair, n := range arms {
			if n == 2 {
				y, x, one = append(y, ends[pair][1]-ends[pair][0]), append(x, starts[pair][1]-starts[pair][0]), append(one, 1)
			}
		}
		value, se, df := regress(t, y, x, one)
		same(t, made(t, in).Outcomes[k].Answers[0].Primary, value, se, df)
		mean, sd := stat.MeanStdDev(y, nil)
		same(t, made(t, in).Outcomes[k].Answers[0].Simple, mean, sd/math.Sqrt(float64(len(y))), float64(len(y)-1))
	}
}

// The same for blocks within strata: the end on the start, the stratum and the arm.
func TestDataGiveTheReportOfBlocks(t *testing.T) {
	in := cases(t)["small"]
	f := read(t, in)
	var y, start, f1, f2, arm []float64
	is := map[bool]float64{true: 1}
	for i := range f.rows {
		if f.text(i, "squat_end") == "" {
			continue
		}
		y, start = append(y, f.number(i, "squat_end")), append(start, f.number(i, "squat_baseline"))
		f1, f2 = append(f1, is[f.text(i, "stratum") == "f"]), append(f2, is[f.text(i, "stratum") == "m"])
		arm = append(arm, is[f.text(i, "arm") == "B"])
		require.Equal(t, f.text(i, "stratum"), f.text(i, "factor_1"))
	}
	value, se, df := regress(t, y, start, f1, f2, arm)
	same(t, made(t, in).Outcomes[0].Answers[0].Primary, value, se, df)
}

// And for whole groups of coaches: means of each coach's athletes.
func TestDataGiveTheReportOfClusters(t *testing.T) {
	in := cases(t)["coaches"]
	f := read(t, in)
	type sums struct{ start, end, n float64 }
	by, arms := map[string]sums{}, map[string]string{}
	for i := range f.rows {
		u := f.text(i, "unit")
		s := by[u]
		by[u] = sums{s.start + f.number(i, "thickness_baseline"), s.end + f.number(i, "thickness_end"), s.n + 1}
		arms[u] = f.text(i, "arm")
	}
	for k, id := range []string{"rir2", "rir4"} {
		var y, start, one, arm []float64
		for u, s := range by {
			if arms[u] != "rir1" && arms[u] != id {
				continue
			}
			y, start, one = append(y, s.end/s.n), append(start, s.start/s.n), append(one, 1)
			arm = append(arm, map[bool]float64{true: 1}[arms[u] == id])
		}
		value, se, df := regress(t, y, start, one, arm)
		same(t, made(t, in).Outcomes[0].Answers[k].Primary, value, se, df)
	}
}

// R 4.2.2 on the same files (testdata/reanalysis.R) gets the same differences, intervals
// and p-values.
func TestPublishedReanalysisInR(t *testing.T) {
	f, err := os.Open("testdata/reanalysis.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 8)
	list := cases(t)
	for _, row := range rows[1:] {
		r := made(t, list[row[0]])
		o := slices.IndexFunc(r.Outcomes, func(o report.Result) bool { return o.ID == row[1] })
		a := slices.IndexFunc(r.Outcomes[o].Answers, func(a report.Answer) bool { return r.Arms[a.Arm].ID == row[2] })
		e := r.Outcomes[o].Answers[a].Primary
		for i, got := range []float64{e.Value, e.SE, e.Low, e.High, e.P} {
			want, err := strconv.ParseFloat(row[3+i], 64)
			require.NoError(t, err)
			require.InDelta(t, want, got, 2e-5*max(1, math.Abs(want)), "%v, %s", row[:3], rows[0][3+i])
		}
	}
}

// The codebook names every column of the data, in order, and no other.
func TestCodebookIsOfTheData(t *testing.T) {
	for name, in := range cases(t) {
		text, err := report.Codebook(in)
		require.NoError(t, err)
		rows, err := csv.NewReader(strings.NewReader(string(text))).ReadAll()
		require.NoError(t, err)
		var named []string
		for _, r := range rows[1:] {
			named = append(named, r[0])
			require.NotEmpty(t, r[1], r[0])
		}
		require.Equal(t, read(t, in).head, named, name)
	}
}

// Everyone who was considered is somewhere.
func TestFlowAddsUp(t *testing.T) {
	for name, in := range cases(t) {
		f := made(t, in).Flow
		sum := func(list []report.Count) int {
			n := 0
			for _, c := range list {
				n += c.N
			}
			return n
		}
		require.Equal(t, f.Assessed, f.Enrolled+sum(f.Excluded), name)
		assigned := sum(f.Before)
		for _, a := range f.Arms {
			assigned += a.Assigned
			require.Equal(t, a.Assigned, a.Analysed-a.MeasuredAnyway+a.Unmeasured+sum(a.Withdrawn), name)
		}
		require.Equal(t, f.Enrolled, assigned, name)
	}
}

// Nobody is called a responder, health is not promised, and the cautions are there.
func TestWordsKeepToWhatATrialCarries(t *testing.T) {
	never := regexp.MustCompile(`(?i)respon(d|s)er|proven?\b|significan|healthier|guarantee`)
	for name, in := range cases(t) {
		r := made(t, in)
		text := r.Markdown(nil)
		require.Empty(t, never.FindString(text), name)
		require.Contains(t, text, "ethics review and consent under the law")
		require.Contains(t, text, "no medical advice")
		require.Contains(t, text, "Whether any one athlete would do better")
	}
	require.Contains(t, made(t, cases(t)["effect"]).Page(), "a practised test", "an arm with singles and a tested 1RM")
	require.NotContains(t, made(t, cases(t)["small"]).Page(), "a practised test")
	require.Contains(t, made(t, cases(t)["small"]).Page(), "version 2, made when results could be seen")
}

// Text of people is text, in Markdown and HTML, and no formula of a spreadsheet.
func TestTextIsEscaped(t *testing.T) {
	in := cases(t)["effect"]
	in.Arms, in.People = slices.Clone(in.Arms), slices.Clone(in.People)
	in.Title, in.People[4].Withdrawn = "<script>alert(1)</script> **x** [a](b)", "=1+1|\nx"
	in.Arms[0].Name = "a|b"
	r := made(t, in)
	require.NotContains(t, r.HTML(nil), "<script>")
	require.Contains(t, r.Markdown(nil), `\<script>alert(1)\</script> \*\*x\*\* \[a](b)`)
	require.Contains(t, r.Markdown(nil), `=1+1\| x`)
	data, err := report.CSV(in)
	require.NoError(t, err)
	require.Contains(t, string(data), "'=1+1")
}

// Plots stand where they belong, and without them nothing refers to them.
func TestPlotsHaveTheirPlace(t *testing.T) {
	r := made(t, cases(t)["effect"])
	plots := []plan.Plot{{ID: "flow", Title: "F", SVG: "<?xml?>\n<svg>flow</svg>"}, {ID: "effect-thickness", Title: "E", SVG: "<svg>effect</svg>"}, {ID: "changes-squat", Title: "C", SVG: "<svg>c</svg>"}}
	html := r.HTML(plots)
	require.Less(t, strings.Index(html, "<svg>effect"), strings.Index(html, "<hr>"), "on the page")
	require.Greater(t, strings.Index(html, "<svg>flow"), strings.Index(html, "<hr>"))
	require.NotContains(t, html, "<?xml")
	require.NotRegexp(t, `(src|href)=`, html, "needs no other file")
	require.Contains(t, r.Markdown(plots), "![C](changes-squat.svg)")
	require.NotContains(t, r.Markdown(nil), "![")
}

// All numbers are finite, and what JSON holds is what the text shows.
func TestNumbersAreOne(t *testing.T) {
	for name, in := range cases(t) {
		r := made(t, in)
		text, err := r.JSON()
		require.NoError(t, err)
		var back report.Report
		require.NoError(t, json.Unmarshal(text, &back))
		require.Equal(t, r.Markdown(nil), back.Markdown(nil), name)
	}
}

func TestInputThatContradictsItself(t *testing.T) {
	for field, spoil := range map[string]func(*report.Input){
		"unit_of":                   func(in *report.Input) { in.UnitOf = "club" },
		"arms":                      func(in *report.Input) { in.Arms = in.Arms[:1] },
		"assessed":                  func(in *report.Input) { in.Assessed = 3 },
		"units[1].id":               func(in *report.Input) { in.Units = slices.Clone(in.Units); in.Units[1].ID = in.Units[0].ID },
		"units[2]":                  func(in *report.Input) { in.Units = slices.Clone(in.Units); in.Units[2].Covariates = nil },
		"assigned[0]":               func(in *report.Input) { in.Assigned[0].Arm = 2 },
		"outcomes":                  func(in *report.Input) { in.Outcomes = nil },
		"outcomes[0].id":            func(in *report.Input) { in.Outcomes[0].ID = "a b" },
		"outcomes[1].id":            func(in *report.Input) { in.Outcomes[1].ID = in.Outcomes[0].ID },
		"outcomes[0].rules":         func(in *report.Input) { in.Outcomes[0].Rules.Level = 2 },
		"outcomes[0].analysis":      func(in *report.Input) { in.Outcomes[0].Analysis = nil },
		"outcomes[1].analysis":      func(in *report.Input) { in.Outcomes[1].Analysis = &analyse.Report{} },
		"outcomes[0].typical_error": func(in *report.Input) { in.Outcomes[0].TypicalError = plan.Some(-1.0) },
		"people[3].id":              func(in *report.Input) { in.People[3].ID = "p01" },
		"people[3].unit":            func(in *report.Input) { in.People[3].Unit = "nobody" },
		"people[0].values":          func(in *report.Input) { in.People[0].Values = nil },
		"people[0].values[1]":       func(in *report.Input) { in.People[0].Values[1].Mid = plan.Some(math.NaN()) },
		"events[0].participant":     func(in *report.Input) { in.Events[0].Participant = "nobody" },
	} {
		in := cases(t)["none"]
		spoil(in)
		_, err := report.Make(in)
		f, is := fault.As(err)
		require.True(t, is, field)
		require.Equal(t, fault.Invalid, f.Kind, field)
		require.Contains(t, fields(f), field)
		_, err = report.CSV(in)
		require.Error(t, err, field)
		_, err = report.Codebook(in)
		require.Error(t, err, field)
	}
	in := cases(t)["none"]
	in.People = in.People[1:] // the analysis is of all
	_, err := report.Make(in)
	f, is := fault.As(err)
	require.True(t, is)
	require.Contains(t, fields(f), "outcomes[0].analysis")
}

func fields(f *fault.Error) []string {
	var out []string
	for _, v := range f.Violations {
		out = append(out, v.Field)
	}
	return out
}

// Every list by arm has as many entries as there are arms.
func TestListsByArm(t *testing.T) {
	for name, in := range cases(t) {
		r := made(t, in)
		n := len(r.Arms)
		for _, list := range []any{r.Flow.Arms, r.Adherence, r.Harm, r.Outcomes[0].Arms} {
			require.Equal(t, n, reflect.ValueOf(list).Len(), name)
		}
	}
}
