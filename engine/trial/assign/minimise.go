package assign

import (
	"math"
	"strconv"

	"github.com/phasewright/phasewright/engine/trial/draw"
)

// Measure is how unlike a factor's counts are between arms. The measures prefer
// different arms now and then, so a protocol states its own.
type Measure uint8

// Measures.
const (
	Variance Measure = iota // with divisor T-1 over T arms
	Range
	SD
)

// Scale is by what Imbalance is multiplied to be a whole number, with arms arms.
func (m Measure) Scale(arms int) int64 {
	switch m {
	case Range:
		return 1
	case SD:
		return sdSteps
	}
	return int64(arms) * int64(arms-1)
}

const sdSteps = 1_000_000_000

// Imbalance gives for each arm the weighted sum of the measure over the factors, were
// the unit put into that arm, times Scale. counts are, by factor and arm, the units in
// already that share the new unit's level.
func (m Measure) Imbalance(counts [][]int64, weights []int64) []int64 {
	if len(counts) == 0 {
		return nil
	}
	out := make([]int64, len(counts[0]))
	for arm := range out {
		for f, row := range counts {
			w := int64(1)
			if len(weights) > 0 {
				w = weights[f]
			}
			out[arm] += w * m.spread(row, arm)
		}
	}
	return out
}

// spread measures one factor's counts with one more in arm.
func (m Measure) spread(row []int64, arm int) int64 {
	low, high := int64(math.MaxInt64), int64(0)
	var sum, squares int64
	for a, n := range row {
		if a == arm {
			n++
		}
		low, high = min(low, n), max(high, n)
		sum += n
		squares += n * n
	}
	if m == Range {
		return high - low
	}
	t := int64(len(row))
	v := t*squares - sum*sum
	if m == Variance {
		return v
	}
	return int64(math.Round(math.Sqrt(float64(v)/float64(t*(t-1))) * sdSteps))
}

// Chances gives the arms' chances as whole-number weights: those of the least imbalance
// share BestPermille, the others the rest; where all are alike so are the chances.
func (m Minimise) Chances(imbalance []int64) []uint64 {
	low := imbalance[0]
	for _, g := range imbalance {
		low = min(low, g)
	}
	best := 0
	for _, g := range imbalance {
		if g == low {
			best++
		}
	}
	out := make([]uint64, len(imbalance))
	rest := len(imbalance) - best
	for a, g := range imbalance {
		switch {
		case rest == 0:
			out[a] = 1
		case g == low:
			out[a] = uint64(m.BestPermille * rest)
		default:
			out[a] = uint64((1000 - m.BestPermille) * best)
		}
	}
	return out
}

func (m *Machine) drawMinimised(at int) {
	u := m.units[at]
	counts := make([][]int64, len(u.Levels))
	for f, l := range u.Levels {
		if m.tallies[f][l] == nil {
			m.tallies[f][l] = make([]int64, len(m.design.Arms))
		}
		counts[f] = m.tallies[f][l]
	}
	rule := m.design.Minimise
	weights := rule.Chances(rule.Measure.Imbalance(counts, rule.Weights))
	arm := draw.Weighted(m.stream("all", "unit"+strconv.Itoa(at)), weights)
	for f := range counts {
		counts[f][arm]++
	}
	m.set(at, Assignment{Arm: arm, Weights: weights})
}
