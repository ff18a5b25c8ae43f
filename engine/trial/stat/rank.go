package stat

import (
	"cmp"
	"math"
	"slices"
)

// Zeros says what the signed rank test does with differences of 0.
type Zeros uint8

// Kinds.
const (
	DropZeros  Zeros = iota // before ranking (Wilcoxon 1945)
	PrattZeros              // after ranking (Pratt 1959, J Am Stat Assoc 54:655-667)
)

// SignedRank is Wilcoxon's test of paired differences, exact, with middle ranks for ties.
type SignedRank struct {
	N           int     // differences that are not 0
	Plus, Minus float64 // sums of ranks
	P, PGreater float64
}

// mostRanks bounds the exact distribution.
const mostRanks = 1000

// SignedRankTest counts over all signs of the ranks. Without any difference but 0 it is
// an Infeasible fault.
func SignedRankTest(d []float64, zeros Zeros) (SignedRank, error) {
	if err := finite("differences", d...); err != nil {
		return SignedRank{}, err
	}
	var s SignedRank
	var kept []float64
	for _, x := range d {
		if x != 0 {
			s.N++
		}
		if x != 0 || zeros == PrattZeros {
			kept = append(kept, x)
		}
	}
	if s.N == 0 || len(kept) > mostRanks {
		return SignedRank{}, infeasible(ReasonFew, "differences", "are %d that are not 0; want 1 to %d", s.N, mostRanks)
	}
	// Doubled ranks are whole numbers.
	ranks := doubledRanks(kept)
	dist := []float64{1}
	var plus, total int
	for i, x := range kept {
		if x == 0 {
			continue
		}
		r := ranks[i]
		total += r
		if x > 0 {
			plus += r
		}
		next := make([]float64, len(dist)+r)
		for v, p := range dist {
			next[v] += float64(p / 2)
			next[v+r] += float64(p / 2)
		}
		dist = next
	}
	s.Plus, s.Minus = float64(plus)/2, float64(total-plus)/2
	var lower float64
	for v, p := range dist {
		if v >= plus {
			s.PGreater += p
		}
		if v <= plus {
			lower += p
		}
	}
	s.P = min(1, 2*min(s.PGreater, lower))
	return s, nil
}

func doubledRanks(xs []float64) []int {
	order := make([]int, len(xs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(math.Abs(xs[a]), math.Abs(xs[b])) })
	out := make([]int, len(xs))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && math.Abs(xs[order[j]]) == math.Abs(xs[order[i]]) {
			j++
		}
		for k := i; k < j; k++ {
			out[order[k]] = i + 1 + j // twice the mean of i+1 .. j
		}
		i = j
	}
	return out
}
