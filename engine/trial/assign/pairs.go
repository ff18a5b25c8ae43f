package assign

import (
	"math"
	"slices"
	"strconv"

	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/match"
)

// coin assigns the two of a pair to the two arms, each way as likely.
func (m *Machine) coin(first, second int) {
	m.pairs++
	arm := int(draw.Below(m.stream("all", "pair"+strconv.Itoa(m.pairs-1)), 2))
	m.set(first, Assignment{Arm: arm, Pair: m.pairs, Weights: []uint64{1, 1}})
	m.set(second, Assignment{Arm: 1 - arm, Pair: m.pairs, Weights: []uint64{1, 1}})
}

func (m *Machine) candidates(of []int) []match.Candidate {
	out := make([]match.Candidate, len(of))
	for i, at := range of {
		out[i] = match.Candidate{Covariates: m.units[at].Covariates, Like: m.units[at].Levels}
	}
	return out
}

// matchAll pairs units optimally and draws them; an odd one is drawn alone.
func (m *Machine) matchAll(of []int) error {
	p, err := match.Pairs(m.candidates(of), m.design.Criterion)
	if err != nil {
		return err
	}
	for _, pair := range p.Pairs {
		m.coin(of[pair[0]], of[pair[1]])
	}
	if p.LeftOut >= 0 {
		m.drawAlone(of[p.LeftOut], "single")
	}
	return nil
}

// drawSequential gives a unit the nearest one that waits as its partner, the earlier of
// equals, if it is within the caliper and of the same levels.
func (m *Machine) drawSequential(at int) {
	best, nearest := -1, 0.0
	caliper := float64(m.design.Sequential.CaliperMilli) / 1000
	for _, w := range m.waiting {
		if !slices.Equal(m.units[w].Levels, m.units[at].Levels) {
			continue
		}
		if d := m.distance(w, at); d <= caliper && (best < 0 || d < nearest) {
			best, nearest = w, d
		}
	}
	together := m.design.Sequential.Together
	if best < 0 {
		m.waiting = append(m.waiting, at)
		if !together {
			m.drawAlone(at, "first")
		}
		return
	}
	m.waiting = slices.DeleteFunc(m.waiting, func(w int) bool { return w == best })
	if together {
		m.coin(best, at)
		return
	}
	m.pairs++
	m.got[best].Pair = m.pairs
	weights := []uint64{0, 0}
	weights[1-m.got[best].Arm] = 1
	m.set(at, Assignment{Arm: 1 - m.got[best].Arm, Pair: m.pairs, Weights: weights})
}

func (m *Machine) distance(a, b int) float64 {
	var q float64
	for k, s := range m.design.Sequential.Spread {
		d := float64(m.units[a].Covariates[k]-m.units[b].Covariates[k]) / float64(s)
		q += float64(d * d)
	}
	return math.Sqrt(q)
}
