package assign

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/match"
)

// batch draws what waits for the end of enrolment.
func (m *Machine) batch() error {
	switch m.design.Scheme {
	case FixedTotals:
		m.spread(m.totals(m.stream("all", "totals")))
	case Rerandomisation:
		return m.rerandomise()
	case MatchedPairs:
		return m.matchAll(everyone(len(m.units)))
	case SequentialPairs:
		if m.design.Sequential.Together {
			of := m.waiting
			m.waiting = nil
			return m.matchAll(of)
		}
	}
	return nil
}

func everyone(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func (m *Machine) spread(arms []int) {
	weights := make([]uint64, len(m.design.Arms))
	for _, a := range arms {
		weights[a]++
	}
	for at, arm := range arms {
		m.set(at, Assignment{Arm: arm, Weights: weights})
	}
}

// totals draws arms in the ratio for all; which arms get what the ratio can't divide is
// drawn first.
func (m *Machine) totals(s draw.Source) []int {
	n, r := len(m.units), m.design.ratios()
	arms := m.design.list(n / r * r)
	last := m.design.list(r)
	draw.Shuffle(s, r, func(i, j int) { last[i], last[j] = last[j], last[i] })
	arms = append(arms, last[:n%r]...)
	draw.Shuffle(s, n, func(i, j int) { arms[i], arms[j] = arms[j], arms[i] })
	return arms
}

func (m *Machine) rerandomise() error {
	b, err := newBalance(m.units)
	if err != nil {
		return err
	}
	s := m.stream("all", "totals")
	for range mostTries {
		if arms := m.totals(s); b.accepts(arms, m.design.Rerandomise) {
			m.spread(arms)
			return nil
		}
	}
	return fault.New(fault.Infeasible, ReasonBalance, "design.rerandomise.most_micro",
		fmt.Sprintf("%d: no draw of %d units was as balanced as that; want a larger distance", m.design.Rerandomise.MostMicro, len(m.units)))
}

// balance measures how far apart two arms' covariates are.
type balance struct{ white [][]float64 }

func newBalance(units []Unit) (*balance, error) {
	rows := make([][]int64, len(units))
	for i, u := range units {
		rows[i] = u.Covariates
	}
	d, err := match.Mahalanobis(rows)
	if err != nil {
		return nil, err
	}
	return &balance{d.White}, nil
}

// M is n p (1-p) d' S^-1 d with d the difference of the arms' means and p the share in
// the first; 0 where an arm is empty.
func (b *balance) M(arms []int) float64 {
	if len(arms) == 0 {
		return 0
	}
	var n [2]float64
	sums := make([][2]float64, len(b.white[0]))
	for i, a := range arms {
		n[a]++
		for k, x := range b.white[i] {
			sums[k][a] += x
		}
	}
	if n[0] == 0 || n[1] == 0 {
		return 0
	}
	var q float64
	for _, s := range sums {
		d := s[0]/n[0] - s[1]/n[1]
		q += float64(d * d)
	}
	return n[0] * n[1] / (n[0] + n[1]) * q
}

func (b *balance) accepts(arms []int, r Rerandomise) bool {
	return b.M(arms) <= float64(r.MostMicro)/1_000_000
}
