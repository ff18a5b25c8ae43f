package assign

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/trial/draw"
)

var twoArms = []Arm{{"A", 1}, {"B", 1}}

// Blocks of six from the keyed stream, made by R.
func TestPublishedBlocksThroughTheMachine(t *testing.T) {
	v := published(t, "seeded_block_fisher_yates")
	key := draw.Key(read[string](t, v.Inputs, "key"))
	m, err := New(Design{Trial: "T1", Arms: twoArms, Scheme: PermutedBlocks, Factors: []string{"site"}, Blocks: []int{6}}, Keyed(key))
	require.NoError(t, err)
	for b, block := range read[[][]string](t, v.Expected, "blocks") {
		for i, want := range block {
			id := fmt.Sprint(b, ".", i)
			require.NoError(t, m.Enrol(Unit{ID: id, Levels: []string{"S1"}}))
			got, err := m.Assign(id)
			require.NoError(t, err)
			require.Equal(t, want, twoArms[got[0].Arm].ID)
			require.Equal(t, b+1, got[0].Block)
			require.Equal(t, i+1, got[0].Place)
		}
	}
}

// Layout of the worked table in Pocock 1983, chapter 5 (its totals from memory).
func TestPublishedMinimisationPocock(t *testing.T) {
	v := published(t, "minimisation_pocock1983")
	at := read[map[string][]int64](t, v.Inputs, "counts_at_new_patient_levels")
	var counts [][]int64
	var taves [2]int64
	for f := range at["A"] {
		counts = append(counts, []int64{at["A"][f], at["B"][f]})
		taves[0] += at["A"][f]
		taves[1] += at["B"][f]
	}
	require.Equal(t, read[int64](t, v.Expected, "taves_sum_A"), taves[0])
	require.Equal(t, read[int64](t, v.Expected, "taves_sum_B"), taves[1])
	weights := read[[]int64](t, v.Inputs, "weights")
	for arm, name := range []string{"A", "B"} {
		v.near(t, "range", read[float64](t, v.Expected, "G_range_if_"+name), float64(Range.Imbalance(counts, weights)[arm]))
		v.near(t, "variance", read[float64](t, v.Expected, "G_variance_if_"+name), float64(Variance.Imbalance(counts, weights)[arm])/float64(Variance.Scale(2)))
	}
	rule := Minimise{BestPermille: int(1000 * read[float64](t, v.Inputs, "p_best"))}
	chances := rule.Chances(Variance.Imbalance(counts, weights))
	v.near(t, "A", read[float64](t, v.Expected, "prob_assign_A"), share(chances, 0))
	v.near(t, "B", read[float64](t, v.Expected, "prob_assign_B"), share(chances, 1))
	require.Equal(t, []uint64{1, 1}, rule.Chances(Range.Imbalance(counts, weights)), "the range ties where the variance does not")
}

func share(w []uint64, i int) float64 {
	var sum uint64
	for _, x := range w {
		sum += x
	}
	return float64(w[i]) / float64(sum)
}

func TestPublishedMinimisationThreeArms(t *testing.T) {
	v := published(t, "minimisation_3arm")
	counts, weights := read[[][]int64](t, v.Inputs, "counts_per_factor"), read[[]int64](t, v.Inputs, "weights")
	for field, m := range map[string]Measure{"G_range": Range, "G_variance": Variance, "G_sd": SD} {
		for arm, want := range read[[]float64](t, v.Expected, field) {
			v.near(t, field, want, float64(m.Imbalance(counts, weights)[arm])/float64(m.Scale(3)))
		}
	}
	best := read[int](t, v.Expected, "preferred_arms_by_range")
	// Two in three as 667 thousandths.
	rule := Minimise{BestPermille: 667}
	chances := rule.Chances(Range.Imbalance(counts, weights))
	require.InDelta(t, read[float64](t, v.Expected, "prob_best"), share(chances, best), 5e-4)
	require.InDelta(t, read[float64](t, v.Expected, "prob_each_other"), share(chances, 0), 5e-4)
	require.Equal(t, best, read[int](t, v.Expected, "preferred_arm_by_variance"))
}

// Taves 1974: the smaller sum of marginal counts. With two arms the variance measure
// prefers the same arm; the table's own coins break its ties.
func TestPublishedMinimisationSequence(t *testing.T) {
	v := published(t, "minimisation_taves_sequence")
	sex, experience := read[[]string](t, v.Inputs, "sex"), read[[]string](t, v.Inputs, "experience")
	assigned := read[[]string](t, v.Expected, "assigned")
	coin := read[[]string](t, v.Inputs, "tie_coin")
	tally := map[string][]int64{}
	for i := range sex {
		var counts [][]int64
		var sums [2]int64
		for _, l := range []string{sex[i], experience[i]} {
			if tally[l] == nil {
				tally[l] = []int64{0, 0}
			}
			counts = append(counts, tally[l])
			sums[0] += tally[l][0]
			sums[1] += tally[l][1]
		}
		require.Equal(t, read[[]int64](t, v.Expected, "sum_A_before")[i], sums[0])
		require.Equal(t, read[[]int64](t, v.Expected, "sum_B_before")[i], sums[1])
		g := Variance.Imbalance(counts, nil)
		want := coin[i]
		switch {
		case g[0] < g[1]:
			want = "A"
		case g[1] < g[0]:
			want = "B"
		}
		require.Equal(t, assigned[i], want)
		for _, c := range counts {
			c[map[string]int{"A": 0, "B": 1}[want]]++
		}
	}
}

// Morgan & Rubin 2012, enumerated by R.
func TestPublishedRerandomisation(t *testing.T) {
	v := published(t, "rerandomisation_enumerated")
	d := Design{Trial: "T", Arms: twoArms, Scheme: Rerandomisation, Covariates: []string{"squat", "years"},
		Rerandomise: Rerandomise{MostMicro: int64(math.Round(1e6 * read[float64](t, v.Inputs, "threshold_a")))}}
	var units []Unit
	var given []Assignment
	for i, c := range read[[][]float64](t, v.Inputs, "covariates") {
		u := Unit{ID: fmt.Sprint(i)}
		for _, x := range c {
			u.Covariates = append(u.Covariates, int64(math.Round(10*x)))
		}
		units = append(units, u)
		given = append(given, Assignment{Unit: u.ID, Arm: 1})
	}
	treated := make([]int, len(units))
	for i := range treated {
		treated[i] = 1
	}
	for _, i := range read[[]int](t, v.Inputs, "treated") {
		given[i].Arm, treated[i] = 0, 0
	}
	b, err := newBalance(units)
	require.NoError(t, err)
	v.near(t, "M", read[float64](t, v.Expected, "M_observed"), b.M(treated))
	require.Equal(t, read[bool](t, v.Expected, "accepted"), b.accepts(treated, d.Rerandomise))
	y := read[[]float64](t, v.Inputs, "outcome")
	diff := func(arms []int) float64 {
		var s [2]float64
		for i, a := range arms {
			s[a] += y[i] / 4
		}
		return s[0] - s[1]
	}
	v.near(t, "difference", read[float64](t, v.Expected, "obs_diff"), diff(treated))
	tail := func(r *Reference) (n, hits int) {
		require.NoError(t, r.Enumerate(func(arms []int, _ float64) {
			n++
			if math.Abs(diff(arms)) >= math.Abs(diff(treated))-1e-9 {
				hits++
			}
		}))
		return
	}
	r, err := NewReference(d, units, given)
	require.NoError(t, err)
	n, hits := tail(r)
	require.Equal(t, read[int](t, v.Expected, "n_accepted"), n)
	v.near(t, "restricted", read[float64](t, v.Expected, "p_two_sided_restricted"), float64(hits)/float64(n))
	d.Scheme = FixedTotals
	r, err = NewReference(d, units, given)
	require.NoError(t, err)
	n, hits = tail(r)
	require.Equal(t, read[int](t, v.Expected, "n_assignments"), n)
	require.EqualValues(t, n, r.Size())
	v.near(t, "unrestricted", read[float64](t, v.Expected, "p_two_sided_unrestricted"), float64(hits)/float64(n))
}

// Binomial tails of the difference between arms, R.
func TestPublishedCompleteRandomisation(t *testing.T) {
	v := published(t, "complete_randomisation_imbalance")
	want := read[[]float64](t, v.Expected, "prob")
	apart := read[[]int](t, v.Inputs, "min_abs_difference")
	for i, n := range read[[]int](t, v.Inputs, "n") {
		var units []Unit
		for k := range n {
			units = append(units, Unit{ID: fmt.Sprint(k)})
		}
		d := Design{Trial: "T", Arms: twoArms, Scheme: Complete}
		if n > 20 {
			// Too many to list: as often as the binomial says, within four standard errors.
			hits, reps := 0, 20_000
			s := draw.Fast(1, 1)
			for range reps {
				m, err := New(d, From(s))
				require.NoError(t, err)
				m.units, m.got = units, make([]*Assignment, n)
				m.advance()
				if b := ones(m.got); abs(n-2*b) >= apart[i] {
					hits++
				}
			}
			require.InDelta(t, want[i], float64(hits)/float64(reps), 4*math.Sqrt(want[i]*(1-want[i])/float64(reps)))
			continue
		}
		given := make([]Assignment, n)
		for k := range given {
			given[k].Unit = units[k].ID
		}
		r, err := NewReference(d, units, given)
		require.NoError(t, err)
		require.EqualValues(t, math.Pow(2, float64(n)), r.Size())
		var p float64
		require.NoError(t, r.Enumerate(func(arms []int, chance float64) {
			b := 0
			for _, a := range arms {
				b += a
			}
			if abs(n-2*b) >= apart[i] {
				p += chance
			}
		}))
		v.near(t, "prob", want[i], p)
	}
}

func ones(got []*Assignment) int {
	n := 0
	for _, a := range got {
		n += a.Arm
	}
	return n
}

func abs(x int) int { return max(x, -x) }
