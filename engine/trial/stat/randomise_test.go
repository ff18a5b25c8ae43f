package stat_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

type randomised struct {
	Name   string
	Inputs struct {
		D, X, Y, Yield []float64
		Treated, Block []int
	}
	Expected struct {
		N       float64 `json:"n_assignments"`
		Obs     float64 `json:"obs_diff"`
		Two     float64 `json:"count_two_sided"`
		P       float64 `json:"p_two_sided"`
		Greater float64 `json:"count_greater"`
		PG      float64 `json:"p_greater"`
	}
}

func vectors(t *testing.T, name string) randomised {
	text, err := os.ReadFile("../testdata/stats_vectors.json")
	require.NoError(t, err)
	var raw []json.RawMessage
	require.NoError(t, json.Unmarshal(text, &raw))
	for _, r := range raw {
		var v randomised
		if json.Unmarshal(r, &v) == nil && v.Name == name {
			return v
		}
	}
	t.Fatal(name)
	return randomised{}
}

var arms = []assign.Arm{{ID: "A", Ratio: 1}, {ID: "B", Ratio: 1}}

// setup makes the reference set of a scheme for given arms, pairs and blocks.
func setup(t *testing.T, scheme assign.Scheme, arm, pair, block []int) *assign.Reference {
	d := assign.Design{Trial: "t", Arms: arms, Scheme: scheme}
	switch scheme {
	case assign.MatchedPairs:
		d.Covariates = []string{"x"}
	case assign.PermutedBlocks:
		d.Blocks = []int{4}
	}
	var units []assign.Unit
	var given []assign.Assignment
	for i, a := range arm {
		u := assign.Unit{ID: fmt.Sprint(i)}
		g := assign.Assignment{Unit: u.ID, Arm: a}
		if len(pair) > 0 {
			u.Covariates, g.Pair = []int64{0}, pair[i]
		}
		if len(block) > 0 {
			g.Block, g.Size = block[i], 4
		}
		units, given = append(units, u), append(given, g)
	}
	ref, err := assign.NewReference(d, units, given)
	require.NoError(t, err)
	return ref
}

func all(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func check(t *testing.T, v randomised, ref stat.Assignments, arm []int, y []float64, group []int) *stat.Randomisation {
	c, err := stat.NewContrast(all(len(y)), y, nil, group, false)
	require.NoError(t, err)
	r, err := stat.TestAssignment(ref, arm, c, 0, nil, 0.95)
	require.NoError(t, err)
	require.True(t, r.Exact)
	require.Equal(t, v.Expected.N, r.Looked, v.Name)
	require.Equal(t, v.Expected.Two, r.Extreme, v.Name)
	require.InEpsilon(t, v.Expected.P, r.P, 1e-9)
	if v.Expected.PG > 0 {
		require.Equal(t, v.Expected.Greater, r.ExtremeGreater, v.Name)
		require.InEpsilon(t, v.Expected.PG, r.PGreater, 1e-9)
	}
	if v.Expected.Obs != 0 {
		require.InEpsilon(t, v.Expected.Obs, r.Observed, 1e-9)
	}
	return r
}

// Fisher 1935, Design of Experiments, section 21: 863 of 32,768 in each tail of Darwin's
// maize. Student's sleep, as pairs and as if it were none. Yates's npk in its blocks.
func TestPublishedRandomisationTests(t *testing.T) {
	for _, name := range []string{"darwin_maize_randomisation", "sleep_signflip_exact"} {
		v := vectors(t, name)
		var y []float64
		var arm, pair []int
		for i, d := range v.Inputs.D {
			y, arm, pair = append(y, 0, d), append(arm, 0, 1), append(pair, i+1, i+1)
		}
		r := check(t, v, setup(t, assign.MatchedPairs, arm, pair, nil), arm, y, pair)
		require.Less(t, r.Low.Value, r.Observed)
		require.Greater(t, r.High.Value, r.Observed)
		require.Equal(t, r.P > 0.05, r.Low.Value < 0, "the interval says what the test says")
	}
	v := vectors(t, "sleep_two_sample_exact")
	var arm []int
	for range v.Inputs.X {
		arm = append(arm, 1)
	}
	for range v.Inputs.Y {
		arm = append(arm, 0)
	}
	y := append(append([]float64(nil), v.Inputs.X...), v.Inputs.Y...)
	check(t, v, setup(t, assign.FixedTotals, arm, nil, nil), arm, y, nil)

	v = vectors(t, "npk_block_randomisation_exact")
	check(t, v, setup(t, assign.PermutedBlocks, v.Inputs.Treated, nil, v.Inputs.Block), v.Inputs.Treated, v.Inputs.Yield, v.Inputs.Block)
}

// Drawing agrees with listing.
func TestDrawnRandomisationAgreesWithExact(t *testing.T) {
	v := vectors(t, "darwin_maize_randomisation")
	var y []float64
	var arm, pair []int
	for i, d := range v.Inputs.D {
		y, arm, pair = append(y, 0, d), append(arm, 0, 1), append(pair, i+1, i+1)
	}
	ref := setup(t, assign.MatchedPairs, arm, pair, nil)
	c, err := stat.NewContrast(all(len(y)), y, nil, pair, true)
	require.NoError(t, err)
	exact, err := stat.TestAssignment(ref, arm, c, 0, nil, 0.95)
	require.NoError(t, err)
	drawn, err := stat.TestAssignment(unlisted{ref}, arm, c, 20_000, draw.Fast(1, 1), 0.95)
	require.NoError(t, err)
	require.False(t, drawn.Exact)
	require.InDelta(t, exact.P, drawn.P, 4*drawn.MonteCarloError)
	require.InDelta(t, exact.Low.Value, drawn.Low.Value, 2)
	require.InDelta(t, exact.High.Value, drawn.High.Value, 2)
	require.InEpsilon(t, v.Expected.P, exact.P, 1e-9, "of pairs the studentised contrast has the same order")
}

type unlisted struct{ stat.Assignments }

func (unlisted) Size() float64 { return math.Inf(1) }
