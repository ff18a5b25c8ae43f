package match

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// brute is the least total by dynamic programming over the sets of units left.
func brute(n int, cost []int64) int64 {
	best := make([]int64, 1<<n)
	for set := 1; set < 1<<n; set++ {
		i := 0
		for set&(1<<i) == 0 {
			i++
		}
		best[set] = -1
		for j := i + 1; j < n; j++ {
			rest := set &^ (1<<i | 1<<j)
			if set&(1<<j) == 0 || best[rest] < 0 {
				continue
			}
			if c := best[rest] + cost[i*n+j]; best[set] < 0 || c < best[set] {
				best[set] = c
			}
		}
	}
	return best[1<<n-1]
}

func random(r *rand.Rand, n int, most int64) []int64 {
	cost := make([]int64, n*n)
	for i := range n {
		for j := range i {
			cost[i*n+j] = r.Int64N(most + 1)
			cost[j*n+i] = cost[i*n+j]
		}
	}
	return cost
}

// plane are distances of points in a plane, as covariates give them.
func plane(r *rand.Rand, n int) []int64 {
	rows := make([][]int64, n)
	for i := range rows {
		rows[i] = []int64{r.Int64N(100_000), r.Int64N(100_000)}
	}
	d, err := Mahalanobis(rows)
	if err != nil {
		panic(err)
	}
	return d.Whole()
}

func TestPerfectEqualsBruteForce(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 1))
	for i := range 3000 {
		n := 2 + 2*r.IntN(6)
		cost := random(r, n, []int64{2, 10, 1000, 1 << 40}[i%4])
		if i%5 == 4 {
			cost = plane(r, n)
		}
		got, err := Perfect(n, cost)
		require.NoError(t, err)
		require.Equal(t, brute(n, cost), got.Total, "set %d of %d units: %v", i, n, cost)
		require.Equal(t, got.Total, got.Bound)
		for v, m := range got.Mate {
			require.NotEqual(t, v, m)
			require.Equal(t, v, got.Mate[m])
		}
	}
}

// Small costs make many ties and deep sets within sets; the proof is checked inside.
func TestPerfectProvesItself(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 2))
	for i := range 300 {
		n := 2 + 2*r.IntN(60)
		got, err := Perfect(n, random(r, n, []int64{1, 3, 20, 1 << 44}[i%4]))
		require.NoError(t, err)
		require.Equal(t, got.Total, got.Bound)
	}
}

func TestPerfectOf500And2000(t *testing.T) {
	sizes := []int{500, 2000}
	if testing.Short() {
		sizes = sizes[:1]
	}
	for _, n := range sizes {
		got, err := Perfect(n, plane(rand.New(rand.NewPCG(9, uint64(n))), n))
		require.NoError(t, err)
		require.Equal(t, got.Bound, got.Total)
		t.Logf("%d units: total %d, bound %d (nanounits of distance)", n, got.Total, got.Bound)
	}
}

func TestPerfectRefuses(t *testing.T) {
	for _, c := range []struct {
		n    int
		cost []int64
	}{{1, []int64{0}}, {2, []int64{0, -1, -1, 0}}, {2, []int64{0, 1, 2, 0}}, {2, []int64{0, MostCost + 1, MostCost + 1, 0}}, {2, nil}, {-2, nil}} {
		_, err := Perfect(c.n, c.cost)
		require.Error(t, err)
	}
	none, err := Perfect(0, nil)
	require.NoError(t, err)
	require.Empty(t, none.Mate)
}

func TestPerfectIgnoresOrderOfUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := 2 * rapid.IntRange(1, 10).Draw(t, "half")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		cost := random(r, n, 50)
		order := r.Perm(n)
		moved := make([]int64, n*n)
		for i := range n {
			for j := range n {
				moved[i*n+j] = cost[order[i]*n+order[j]]
			}
		}
		a, err := Perfect(n, cost)
		require.NoError(t, err)
		b, err := Perfect(n, moved)
		require.NoError(t, err)
		require.Equal(t, a.Total, b.Total)
	})
}

func BenchmarkPerfect(b *testing.B) {
	for _, n := range []int{60, 500, 2000} {
		cost := plane(rand.New(rand.NewPCG(9, uint64(n))), n)
		b.Run(map[int]string{60: "60", 500: "500", 2000: "2000"}[n], func(b *testing.B) {
			for b.Loop() {
				if _, err := Perfect(n, cost); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
