// Package match finds the best pairs: the perfect matching of least total cost among
// all, exactly, with its proof.
//
// Perfect solves the matching for whole-number costs. Pairs comes before it where what
// is known are covariates: Mahalanobis distances (distance.go), whole numbers made of
// them, one left out when the number is odd (Greevy, Lu, Silber & Rosenbaum 2004,
// Biostatistics 5:263-275; Lu et al. 2011, Am Stat 65:21-30). Distances use only + - * /
// and the square root, none fused, so that every machine gets the same pairs.
package match

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
)

// Most is the largest number of units that can be matched at once.
const Most = 4000

// MostCost is the largest cost of a pair.
const MostCost = int64(1) << 44

// Reasons of faults.
const (
	ReasonSize = "MATCH_SIZE"
	ReasonCost = "MATCH_COST"
)

// Result is a perfect matching.
type Result struct {
	Mate  []int // the partner of each unit
	Total int64 // sum of the pairs' costs
	// Bound is what no perfect matching can be below, from the duals and checked against
	// every edge. It equals Total: the proof that none is better.
	Bound int64
}

// Perfect gives the perfect matching of least total cost over an even number of units,
// in O(n^3). cost holds n x n costs by rows, symmetric, from 0 to MostCost; its diagonal
// is not read. Equal inputs give equal matchings, also among equally good ones. Odd or
// too many units and costs out of range are Invalid faults.
func Perfect(n int, cost []int64) (Result, error) {
	if n < 0 || n%2 != 0 || n > Most || len(cost) != n*n {
		return Result{}, fault.New(fault.Invalid, ReasonSize, "units", fmt.Sprintf("are %d with %d costs; want an even number up to %d and its square of costs", n, len(cost), Most))
	}
	for i := range n {
		for j := range i {
			if c := cost[i*n+j]; c < 0 || c > MostCost || c != cost[j*n+i] {
				return Result{}, fault.New(fault.Invalid, ReasonCost, "cost", fmt.Sprintf("of %d and %d is %d, and %d the other way; want one cost from 0 to %d", i, j, c, cost[j*n+i], MostCost))
			}
		}
	}
	if n == 0 {
		return Result{}, nil
	}
	b := newBlossom(n, cost)
	for b.grow() {
	}
	r := Result{Mate: make([]int, n)}
	for v := range n {
		r.Mate[v] = int(b.mate[v])
		if r.Mate[v] > v {
			r.Total += cost[v*n+r.Mate[v]]
		}
	}
	twice, err := b.certify()
	if err != nil {
		return Result{}, err
	}
	r.Bound = (twice + 1) / 2
	if r.Bound != r.Total {
		return Result{}, fault.Wrap(fault.Internal, "MATCH_PROOF", fmt.Errorf("matching of cost %d against a bound of %d", r.Total, r.Bound))
	}
	return r, nil
}

// certify checks the duals against every edge and gives their objective, which bounds
// twice the cost of any perfect matching from below.
func (b *blossom) certify() (int64, error) {
	up := make([]int32, b.size)
	for x := range up {
		up[x] = none
	}
	var value int64
	for s := b.n; s < b.used; s++ {
		if b.top[s] == none {
			continue
		}
		if b.dual[s] < 0 {
			return 0, fault.Wrap(fault.Internal, "MATCH_PROOF", fmt.Errorf("dual %d of set %d", b.dual[s], s))
		}
		members := 0
		for v := range int32(b.n) {
			if b.holds(int32(s), v) != none {
				members++
			}
		}
		value -= b.dual[s] * int64((members-1)/2)
		for _, p := range b.parts[s] {
			up[p] = int32(s)
		}
	}
	for u := range int32(b.n) {
		value += b.dual[u]
		for v := range u {
			s := b.slack(u, v)
			if b.top[u] == b.top[v] {
				for x := up[u]; x != none; x = up[x] {
					if b.holds(x, v) != none {
						s += b.dual[x]
					}
				}
			}
			if s < 0 {
				return 0, fault.Wrap(fault.Internal, "MATCH_PROOF", fmt.Errorf("slack %d of edge %d-%d", s, u, v))
			}
		}
	}
	return value, nil
}
