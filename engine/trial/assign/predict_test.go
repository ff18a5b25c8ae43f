package assign

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/trial/draw"
)

// Blackwell & Hodges 1957: in blocks of 2m the convergent guesser is right m +
// (4^m / C(2m, m) - 1) / 2 times.
func TestPublishedGuessingOfBlocks(t *testing.T) {
	for m := 1; m <= 10; m++ {
		d := Design{Trial: "t", Arms: twoArms, Scheme: PermutedBlocks, Blocks: []int{2 * m}}
		p, err := d.Predict()
		require.NoError(t, err)
		want := (float64(m) + (math.Pow(4, float64(m))/choose(2*m, m)-1)/2) / float64(2*m)
		require.InDelta(t, want, p.Most, 1e-12, "blocks of %d", 2*m)
	}
}

// guess plays a guesser who knows everything but the key against 10,000 enrolments.
func guess(t *testing.T, d Design) float64 {
	const n = 10_000
	if d.Scheme == SequentialPairs {
		return guessSome(t, d, 3000)
	}
	return guessSome(t, d, n)
}

func guessSome(t *testing.T, d Design, n int) float64 {
	units := people(d, n, 21)
	m, err := New(d, Keyed(key))
	require.NoError(t, err)
	right, asked := 0, 0
	prior := draw.Fast(6, 6)
	for _, u := range units {
		name := foretell(m, u, prior)
		require.NoError(t, m.Enrol(u))
		got, err := m.Assign(u.ID)
		if err != nil {
			continue // revealed later, with its partner
		}
		asked++
		if got[0].Arm == name {
			right++
		}
	}
	return float64(right) / float64(asked)
}

// foretell is the best guess for a unit about to enrol.
func foretell(m *Machine, u Unit, coin draw.Source) int {
	either := int(draw.Below(coin, 2))
	switch m.design.Scheme {
	case PermutedBlocks:
		b := m.blocks[stratum(u)]
		if b == nil {
			return either
		}
		count := [2]int{}
		for _, a := range b.left {
			count[a]++
		}
		switch {
		case count[0] > count[1]:
			return 0
		case count[1] > count[0]:
			return 1
		}
	case Minimisation:
		counts := make([][]int64, len(u.Levels))
		for f, l := range u.Levels {
			if counts[f] = m.tallies[f][l]; counts[f] == nil {
				counts[f] = []int64{0, 0}
			}
		}
		w := m.design.Minimise.Chances(m.design.Minimise.Measure.Imbalance(counts, nil))
		switch {
		case w[0] > w[1]:
			return 0
		case w[1] > w[0]:
			return 1
		}
	case SequentialPairs:
		if m.design.Sequential.Together {
			return either
		}
		at := len(m.units)
		m.units = append(m.units, u)
		best, nearest := -1, math.Inf(1)
		for _, w := range m.waiting {
			if d := m.distance(w, at); stratum(m.units[w]) == stratum(u) && d <= float64(m.design.Sequential.CaliperMilli)/1000 && d < nearest {
				best, nearest = w, d
			}
		}
		m.units = m.units[:at]
		if best >= 0 {
			return 1 - m.got[best].Arm
		}
	}
	return either
}

func TestNobodyGuessesBetterThanPredicted(t *testing.T) {
	for _, d := range designs() {
		if d.Scheme.Batch() || len(d.Arms) > 2 {
			continue
		}
		p, err := d.Predict()
		require.NoError(t, err)
		got := guess(t, d)
		t.Logf("%-18s together %-5v guessed %.4f, most %.4f", d.Scheme, d.Sequential.Together, got, p.Most)
		require.LessOrEqual(t, got, p.Most+4*math.Sqrt(0.25/3000))
		require.GreaterOrEqual(t, got, p.Chance-4*math.Sqrt(0.25/3000))
		require.NotEmpty(t, p.Says)
		if d.Scheme == PermutedBlocks {
			require.InDelta(t, p.Most, got, 0.02, "the bound is reached by one who knows the sizes")
		}
	}
}
