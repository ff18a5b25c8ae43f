package match

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

type vector struct {
	Name, Source string
	Inputs       struct {
		Covariate  []float64
		Covariates [][]float64
	}
	Expected struct {
		CovMatrix    [][]float64 `json:"cov_matrix"`
		D01          float64     `json:"d01"`
		D02          float64     `json:"d02"`
		D45          float64     `json:"d45"`
		OptimalTotal float64     `json:"optimal_total"`
		SecondBest   float64     `json:"second_best_total"`
		GreedyTotal  float64     `json:"greedy_total"`
		OptimalPairs [][2]int    `json:"optimal_pairs"`
		LeftOut      *int        `json:"left_out"`
		Matchings    int         `json:"n_perfect_matchings"`
	}
	Tolerance struct{ Rel, Abs float64 }
}

func vectors(t *testing.T) map[string]vector {
	text, err := os.ReadFile("../testdata/stats_vectors.json")
	require.NoError(t, err)
	var raw []json.RawMessage
	require.NoError(t, json.Unmarshal(text, &raw))
	out := map[string]vector{}
	for _, r := range raw {
		var v vector
		if json.Unmarshal(r, &v) == nil {
			out[v.Name] = v
		}
	}
	return out
}

func (v vector) near(t *testing.T, want, got float64, what string) {
	t.Helper()
	require.True(t, math.Abs(got-want) <= max(v.Tolerance.Rel*math.Abs(want), v.Tolerance.Abs), "%s %s: want %v, got %v (%s)", v.Name, what, want, got, v.Source)
}

// totals are those of all perfect matchings, sorted.
func totals(n int, d func(i, j int) float64) []float64 {
	var all []float64
	var walk func(left []int, sum float64)
	walk = func(left []int, sum float64) {
		if len(left) == 0 {
			all = append(all, sum)
			return
		}
		for k := 1; k < len(left); k++ {
			rest := append(append([]int(nil), left[1:k]...), left[k+1:]...)
			walk(rest, sum+d(left[0], left[k]))
		}
	}
	var units []int
	for i := range n {
		units = append(units, i)
	}
	walk(units, 0)
	sort.Float64s(all)
	return all
}

// Values of R 4.2.2 on the vectors' inputs.
func TestPublishedMatchings(t *testing.T) {
	for _, name := range []string{"match_mahalanobis_8x2", "match_mahalanobis_6x3"} {
		v := vectors(t)[name]
		require.NotEmpty(t, v.Name, name)
		units := make([]Candidate, len(v.Inputs.Covariates))
		rows := make([][]int64, len(units))
		for i, r := range v.Inputs.Covariates {
			for _, x := range r {
				rows[i] = append(rows[i], int64(math.Round(x*1000)))
			}
			units[i].Covariates = rows[i]
		}
		got, err := Pairs(units, SumOfDistances)
		require.NoError(t, err)
		require.ElementsMatch(t, v.Expected.OptimalPairs, got.Pairs)
		require.Equal(t, -1, got.LeftOut)
		require.Equal(t, got.Total, got.Bound)
		v.near(t, v.Expected.OptimalTotal, got.Distance, "optimal total")
		d, err := Mahalanobis(rows)
		require.NoError(t, err)
		at := func(i, j int) float64 { return d.D[i*d.N+j] }
		all := totals(d.N, at)
		require.Len(t, all, v.Expected.Matchings)
		v.near(t, v.Expected.OptimalTotal, all[0], "least of all")
		v.near(t, v.Expected.SecondBest, all[1], "second best")
		if name == "match_mahalanobis_8x2" {
			for i, row := range v.Expected.CovMatrix {
				for j, c := range row {
					v.near(t, c, d.Cov[i][j]/1e6, "covariance")
				}
			}
			v.near(t, v.Expected.D01, at(0, 1), "d01")
			v.near(t, v.Expected.D02, at(0, 2), "d02")
			v.near(t, v.Expected.D45, at(4, 5), "d45")
		}
	}
}

// One covariate: its distances are differences over the SD, so the pairs are those of
// the differences and the total is in SDs.
func TestPublishedMatchingsOfOneCovariate(t *testing.T) {
	for _, name := range []string{"match_1cov_greedy_trap", "match_odd_n_one_left_out"} {
		v := vectors(t)[name]
		require.NotEmpty(t, v.Name, name)
		units := make([]Candidate, len(v.Inputs.Covariate))
		rows := make([][]int64, len(units))
		for i, x := range v.Inputs.Covariate {
			rows[i] = []int64{int64(math.Round(x * 1000))}
			units[i].Covariates = rows[i]
		}
		got, err := Pairs(units, SumOfDistances)
		require.NoError(t, err)
		require.ElementsMatch(t, v.Expected.OptimalPairs, got.Pairs)
		d, err := Mahalanobis(rows)
		require.NoError(t, err)
		v.near(t, v.Expected.OptimalTotal, got.Distance*math.Sqrt(d.Cov[0][0])/1000, "optimal total")
		if v.Expected.LeftOut != nil {
			require.Equal(t, *v.Expected.LeftOut, got.LeftOut)
			continue
		}
		require.Less(t, v.Expected.OptimalTotal, v.Expected.GreedyTotal)
	}
}

func TestSingularCovariatesChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 12).Draw(t, "n")
		p := rapid.IntRange(1, 3).Draw(t, "p")
		plain, extended := make([]Candidate, n), make([]Candidate, n)
		for i := range n {
			for range p {
				plain[i].Covariates = append(plain[i].Covariates, rapid.Int64Range(-50, 50).Draw(t, "x"))
			}
			x := plain[i].Covariates
			// A constant, a copy, and a sum say nothing new.
			extended[i].Covariates = append(append([]int64{7}, x...), x[0], 3*x[0]-2*x[p-1])
		}
		a, err := Pairs(plain, SumOfDistances)
		require.NoError(t, err)
		b, err := Pairs(extended, SumOfDistances)
		require.NoError(t, err)
		require.Equal(t, a.Rank, b.Rank)
		require.InDelta(t, a.Distance, b.Distance, 1e-6)
		require.False(t, math.IsNaN(a.Distance))
	})
}

func TestUnlikeArePairedOnlyWhereNeeded(t *testing.T) {
	units := []Candidate{
		{[]int64{10}, []string{"f"}}, {[]int64{11}, []string{"m"}},
		{[]int64{90}, []string{"f"}}, {[]int64{91}, []string{"m"}},
	}
	got, err := Pairs(units, SumOfDistances)
	require.NoError(t, err)
	require.Equal(t, [][2]int{{0, 2}, {1, 3}}, got.Pairs)
	require.Zero(t, got.Unlike)
	units[2].Like = []string{"m"}
	got, err = Pairs(units, SumOfDistances)
	require.NoError(t, err)
	require.Equal(t, 1, got.Unlike)
}

func TestCriterionChangesPairs(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 3))
	differ := 0
	for range 50 {
		units := make([]Candidate, 8)
		for i := range units {
			units[i].Covariates = []int64{r.Int64N(100), r.Int64N(100)}
		}
		a, err := Pairs(units, SumOfDistances)
		require.NoError(t, err)
		b, err := Pairs(units, SumOfSquares)
		require.NoError(t, err)
		if !slices.Equal(a.Mate, b.Mate) {
			differ++
		}
	}
	require.Positive(t, differ)
}

func TestPairsRefuse(t *testing.T) {
	_, err := Pairs([]Candidate{{Covariates: []int64{1}}, {Covariates: []int64{1, 2}}}, SumOfDistances)
	require.ErrorContains(t, err, "units[1].covariates")
	_, err = Pairs([]Candidate{{Covariates: []int64{1}}, {Covariates: []int64{MostCovariate + 1}}}, SumOfDistances)
	require.ErrorContains(t, err, "units[1].covariates[0]")
	_, err = Pairs([]Candidate{{Like: []string{"f"}}, {}}, SumOfDistances)
	require.ErrorContains(t, err, "units[1].like")
	one, err := Pairs([]Candidate{{Covariates: []int64{1}}}, SumOfDistances)
	require.NoError(t, err)
	require.Equal(t, 0, one.LeftOut)
	none, err := Pairs(nil, SumOfDistances)
	require.NoError(t, err)
	require.Empty(t, none.Pairs)
}

// Every covariate text gives pairs or a fault that names a unit.
func FuzzPairs(f *testing.F) {
	f.Add([]byte{3, 1, 2, 3, 4, 5, 6, 7})
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) < 2 {
			return
		}
		p := int(b[0]%4) + 1
		var units []Candidate
		for i := 1; i+p <= len(b) && len(units) < 40; i += p {
			u := Candidate{}
			for _, x := range b[i : i+p] {
				u.Covariates = append(u.Covariates, int64(int8(x))<<(x%33))
			}
			units = append(units, u)
		}
		got, err := Pairs(units, SumOfDistances)
		require.NoError(t, err)
		require.False(t, math.IsNaN(got.Distance) || math.IsInf(got.Distance, 0))
		require.Equal(t, got.Total, got.Bound)
		require.Len(t, got.Pairs, len(units)/2)
	})
}
