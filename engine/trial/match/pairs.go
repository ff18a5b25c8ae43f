package match

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
)

// Candidate is one to be paired: its covariates, and what should be alike within a pair.
type Candidate struct {
	Covariates []int64
	Like       []string // coach, sex: pairs that differ are made only where nothing else is left
}

// Criterion is what the best pairs have least of. It changes the pairs, so a protocol
// states it.
type Criterion uint8

// Criteria.
const (
	SumOfDistances Criterion = iota
	SumOfSquares
)

// Paired are the best pairs of a group.
type Paired struct {
	Pairs   [][2]int // the lower index first, in its order
	LeftOut int      // with an odd number the one without a partner, else -1
	Result           // in whole-number costs, with the proof; Mate of a phantom is not kept
	// Distance is the sum of the pairs' distances (of their squares, by criterion), in
	// units of Mahalanobis distance.
	Distance float64
	Unlike   int // pairs that differ in what should be alike
	Rank     int // covariates used; fewer than given where some depend on others
}

// Pairs gives the pairs with the least sum of distances, exactly. For an odd number the
// one is left out whose leaving makes the sum least. The faults are those of Mahalanobis
// and Perfect.
func Pairs(units []Candidate, by Criterion) (*Paired, error) {
	n := len(units)
	if n > Most-1 {
		return nil, fault.New(fault.Invalid, ReasonSize, "units", fmt.Sprintf("are %d; want at most %d matched at once", n, Most-1))
	}
	rows := make([][]int64, n)
	for i, u := range units {
		rows[i] = u.Covariates
		if len(u.Like) != len(units[0].Like) {
			return nil, fault.New(fault.Invalid, ReasonCovariate, fmt.Sprintf("units[%d].like", i), fmt.Sprintf("has %d values; want %d as the others have", len(u.Like), len(units[0].Like)))
		}
	}
	d, err := Mahalanobis(rows)
	if err != nil {
		return nil, err
	}
	costs := d.whole(by == SumOfSquares)
	even := n + n%2
	full := make([]int64, even*even)
	apart := penalty(costs, n)
	for i := range n {
		for j := range n {
			full[i*even+j] = costs[i*n+j]
			if unlike(units[i], units[j]) {
				full[i*even+j] += apart
			}
		}
	}
	r, err := Perfect(even, full)
	if err != nil {
		return nil, err
	}
	out := &Paired{Result: r, LeftOut: -1, Rank: d.Rank}
	for i := range n {
		j := r.Mate[i]
		switch {
		case j >= n:
			out.LeftOut, out.Mate[i] = i, -1
		case i < j:
			out.Pairs = append(out.Pairs, [2]int{i, j})
			v := d.D[i*n+j]
			if by == SumOfSquares {
				v *= v
			}
			out.Distance += v
			if unlike(units[i], units[j]) {
				out.Unlike++
			}
		}
	}
	out.Mate = out.Mate[:n]
	return out, nil
}

// penalty is more than any set of pairs costs, as long as there is room for it: one
// unlike pair is then worse than all distances together.
func penalty(costs []int64, n int) int64 {
	var most int64
	for _, c := range costs {
		most = max(most, c)
	}
	return min(most*int64(n/2)+1, MostCost-most)
}

func unlike(a, b Candidate) bool {
	for k := range a.Like {
		if a.Like[k] != b.Like[k] {
			return true
		}
	}
	return false
}
