package assign

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/draw"
)

var key = draw.Key(strings.Repeat("k", draw.KeyBytes))

// designs are one of every scheme.
func designs() []Design {
	sex, cov := []string{"sex", "status"}, []string{"squat", "age"}
	return []Design{
		{Trial: "t", Arms: twoArms, Scheme: Complete},
		{Trial: "t", Arms: []Arm{{"A", 2}, {"B", 1}}, Scheme: FixedTotals},
		{Trial: "t", Arms: []Arm{{"A", 2}, {"B", 1}, {"C", 1}}, Scheme: PermutedBlocks, Blocks: []int{4, 8}, Factors: sex},
		{Trial: "t", Arms: twoArms, Scheme: PermutedBlocks, Blocks: []int{4, 6}},
		{Trial: "t", Arms: twoArms, Scheme: MatchedPairs, Covariates: cov, Factors: sex},
		{Trial: "t", Arms: twoArms, Scheme: SequentialPairs, Covariates: cov, Factors: sex, Sequential: Sequential{[]int64{200, 80}, 700, true}},
		{Trial: "t", Arms: twoArms, Scheme: SequentialPairs, Covariates: cov, Factors: sex, Sequential: Sequential{[]int64{200, 80}, 700, false}},
		{Trial: "t", Arms: twoArms, Scheme: Minimisation, Factors: sex, Minimise: Minimise{BestPermille: 800}},
		{Trial: "t", Arms: []Arm{{"A", 1}, {"B", 1}, {"C", 1}}, Scheme: Minimisation, Factors: sex, Minimise: Minimise{Measure: Range, BestPermille: 800, Weights: []int64{2, 1}}},
		{Trial: "t", Arms: twoArms, Scheme: Rerandomisation, Covariates: cov, Rerandomise: Rerandomise{MostMicro: 1_000_000}},
	}
}

// people are invented.
func people(d Design, n int, seed uint64) []Unit {
	s := draw.Fast(seed, 77)
	out := make([]Unit, n)
	for i := range out {
		out[i].ID = fmt.Sprintf("u%d", i)
		for range d.Factors {
			out[i].Levels = append(out[i].Levels, []string{"x", "y"}[draw.Below(s, 2)])
		}
		for range d.Covariates {
			out[i].Covariates = append(out[i].Covariates, int64(draw.Below(s, 1000)))
		}
	}
	return out
}

// least is how many units a design needs to be drawn at all.
func least(d Design) int {
	if d.Scheme == Rerandomisation {
		return 8
	}
	return 0
}

func run(t require.TestingT, d Design, units []Unit, s Streams) *Machine {
	m, err := New(d, s)
	require.NoError(t, err)
	for _, u := range units {
		require.NoError(t, m.Enrol(u))
	}
	return m
}

// The arm is a function of design, key and enrolments: not of when arms are asked for.
func TestArmsDependOnEnrolmentsAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(designs()).Draw(t, "design")
		units := people(d, rapid.IntRange(least(d), 40).Draw(t, "n"), rapid.Uint64().Draw(t, "seed"))
		late := run(t, d, units, Keyed(key))
		require.NoError(t, late.Close())
		early, err := New(d, Keyed(key))
		require.NoError(t, err)
		told := map[string]Assignment{}
		for i, u := range units {
			require.NoError(t, early.Enrol(u))
			ask := units[rapid.IntRange(0, i).Draw(t, "ask")].ID
			if got, err := early.Assign(ask); err == nil {
				for _, a := range got {
					told[a.Unit] = a
				}
			}
		}
		require.NoError(t, early.Close())
		require.NoError(t, early.Close())
		want := late.Assigned()
		require.Len(t, want, len(units))
		require.Equal(t, want, early.Assigned())
		for _, a := range want {
			if b, asked := told[a.Unit]; asked {
				require.Equal(t, a.Arm, b.Arm)
				require.True(t, same(a, b))
			}
			again, err := late.Assign(a.Unit)
			require.NoError(t, err)
			require.Equal(t, a, again[0])
			require.NotZero(t, a.Weights[a.Arm])
		}
		require.NoError(t, Replay(d, key, units, true, want))
	})
}

func TestReplayCatches(t *testing.T) {
	for _, d := range designs() {
		units := people(d, 12, 3)
		m := run(t, d, units, Keyed(key))
		require.NoError(t, m.Close())
		good := m.Assigned()
		spoil := func(what string, change func(a []Assignment) []Assignment) {
			bad := change(append([]Assignment(nil), good...))
			err := Replay(d, key, units, true, bad)
			f, ok := fault.As(err)
			require.True(t, ok, "%s: %s", d.Scheme, what)
			require.Equal(t, ReasonReplay, f.Violations[0].Reason)
		}
		spoil("another arm", func(a []Assignment) []Assignment { a[5].Arm = (a[5].Arm + 1) % len(d.Arms); return a })
		spoil("twice", func(a []Assignment) []Assignment { return append(a, a[0]) })
		spoil("a stranger", func(a []Assignment) []Assignment { a[0].Unit = "stranger"; return a })
		require.NoError(t, Replay(d, key, units, true, good[3:5]))
		swapped := append([]Unit(nil), units...)
		swapped[0], swapped[7] = swapped[7], swapped[0]
		require.Error(t, Replay(d, key, swapped, true, good), "another order of enrolment")
	}
	other := draw.Key(strings.Repeat("j", draw.KeyBytes))
	d := designs()[0]
	units := people(d, 40, 3)
	require.Error(t, Replay(d, other, units, true, run(t, d, units, Keyed(key)).Assigned()))
}

func TestTotalsFollowTheRatio(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(designs()).Draw(t, "design")
		n := rapid.IntRange(least(d), 50).Draw(t, "n")
		m := run(t, d, people(d, n, rapid.Uint64().Draw(t, "seed")), From(draw.Fast(rapid.Uint64().Draw(t, "draws"), 0)))
		require.NoError(t, m.Close())
		count := make([]int, len(d.Arms))
		pairs := map[int]int{}
		for _, a := range m.Assigned() {
			count[a.Arm]++
			if a.Pair > 0 {
				pairs[a.Pair] += 1 + 10*a.Arm
			}
		}
		for _, p := range pairs {
			require.Equal(t, 12, p, "a pair has one in each arm")
		}
		switch d.Scheme {
		case FixedTotals, Rerandomisation:
			for i, a := range d.Arms {
				require.InDelta(t, float64(n*a.Ratio)/float64(d.ratios()), float64(count[i]), float64(a.Ratio))
			}
		case MatchedPairs:
			require.LessOrEqual(t, abs(count[0]-count[1]), 1)
		case PermutedBlocks:
			if len(d.Factors) == 0 {
				require.LessOrEqual(t, abs(count[0]-count[1]), 3)
			}
		}
	})
}

// Over many keys every arm comes as often as its ratio, unit by unit.
func TestEveryUnitGetsEveryArmAtItsRate(t *testing.T) {
	for _, d := range designs() {
		const n, reps = 10, 4000
		units := people(d, n, 5)
		count := make([][]float64, n)
		for i := range count {
			count[i] = make([]float64, len(d.Arms))
		}
		s := draw.Fast(2, uint64(d.Scheme))
		for range reps {
			m := run(t, d, units, From(s))
			require.NoError(t, m.Close())
			for i, a := range m.Assigned() {
				count[i][a.Arm]++
			}
		}
		for i := range count {
			for a, arm := range d.Arms {
				p := float64(arm.Ratio) / float64(d.ratios())
				require.InDelta(t, p, count[i][a]/reps, 5*math.Sqrt(p*(1-p)/reps), "%s, unit %d, arm %d", d.Scheme, i, a)
			}
		}
	}
}

func TestReferenceAgreesWithTheScheme(t *testing.T) {
	for _, d := range designs() {
		const n = 6
		units := people(d, n, 8)
		m := run(t, d, units, Keyed(key))
		require.NoError(t, m.Close())
		given := m.Assigned()
		r, err := NewReference(d, units, given)
		require.NoError(t, err)
		if d.Scheme == Minimisation {
			require.True(t, math.IsInf(r.Size(), 1))
			require.Error(t, r.Enumerate(nil))
			arms, err := r.Draw(draw.Fast(1, 1))
			require.NoError(t, err)
			require.Len(t, arms, n)
			continue
		}
		chance := map[string]float64{}
		var sum float64
		var listed float64
		require.NoError(t, r.Enumerate(func(arms []int, p float64) {
			require.Zero(t, chance[fmt.Sprint(arms)], "listed twice")
			chance[fmt.Sprint(arms)] = p
			sum += p
			listed++
		}))
		var own []int
		for _, a := range given {
			own = append(own, a.Arm)
		}
		require.Contains(t, chance, fmt.Sprint(own), "what happened is in the set: %s", d.Scheme)
		if d.Scheme != Rerandomisation {
			require.InDelta(t, 1, sum, 1e-12)
			require.Equal(t, r.Size(), listed)
		}
		if r.Even() {
			for _, p := range chance {
				require.InDelta(t, sum/listed, p, 1e-12)
			}
		}
		const reps = 20_000
		drawn := map[string]float64{}
		s := draw.Fast(4, uint64(d.Scheme))
		for range reps {
			arms, err := r.Draw(s)
			require.NoError(t, err)
			drawn[fmt.Sprint(arms)]++
		}
		for k, p := range chance {
			p /= sum
			require.InDelta(t, p, drawn[k]/reps, 5*math.Sqrt(p*(1-p)/reps)+1e-12, "%s %s", d.Scheme, k)
		}
		require.LessOrEqual(t, len(drawn), len(chance))
	}
}

func TestDesignFaultsNameFields(t *testing.T) {
	for field, change := range map[string]func(*Design){
		"trial":                  func(d *Design) { d.Trial = "a|b" },
		"arms":                   func(d *Design) { d.Arms = d.Arms[:1] },
		"arms[1].ratio":          func(d *Design) { d.Arms[1].Ratio = 0 },
		"arms[1].id":             func(d *Design) { d.Arms[1].ID = "A" },
		"scheme":                 func(d *Design) { d.Scheme = 99 },
		"blocks[1]":              func(d *Design) { d.Scheme, d.Blocks = PermutedBlocks, []int{4, 5} },
		"blocks":                 func(d *Design) { d.Scheme = PermutedBlocks },
		"covariates":             func(d *Design) { d.Scheme = MatchedPairs },
		"sequential.spread":      func(d *Design) { d.Scheme, d.Covariates, d.Sequential.CaliperMilli = SequentialPairs, []string{"x"}, 1 },
		"minimise.best_permille": func(d *Design) { d.Scheme, d.Factors, d.Minimise.BestPermille = Minimisation, []string{"x"}, 1000 },
		"factors":                func(d *Design) { d.Scheme, d.Minimise.BestPermille = Minimisation, 800 },
		"rerandomise.most_micro": func(d *Design) { d.Scheme, d.Covariates = Rerandomisation, []string{"x"} },
		"sequential.caliper_milli": func(d *Design) {
			d.Scheme, d.Covariates, d.Sequential.Spread = SequentialPairs, []string{"x"}, []int64{1}
		},
		"minimise.weights[0]": func(d *Design) {
			d.Scheme, d.Factors, d.Minimise = Minimisation, []string{"x"}, Minimise{0, 800, []int64{0}}
		},
		"minimise.measure": func(d *Design) { d.Scheme, d.Factors, d.Minimise = Minimisation, []string{"x"}, Minimise{9, 800, nil} },
		"sequential.spread[0]": func(d *Design) {
			d.Scheme, d.Covariates, d.Sequential = SequentialPairs, []string{"x"}, Sequential{[]int64{0}, 1, true}
		},
	} {
		d := Design{Trial: "t", Arms: []Arm{{"A", 1}, {"B", 1}}, Scheme: Complete}
		change(&d)
		_, err := New(d, Keyed(key))
		f, ok := fault.As(err)
		require.True(t, ok, field)
		require.Equal(t, "design."+field, f.Violations[0].Field, "%v", err)
	}
}

func TestMachineRefuses(t *testing.T) {
	d := designs()[5]
	m, err := New(d, Keyed(key))
	require.NoError(t, err)
	kind := func(err error) fault.Kind {
		f, ok := fault.As(err)
		require.True(t, ok)
		return f.Kind
	}
	require.Equal(t, fault.Invalid, kind(m.Enrol(Unit{ID: "a", Levels: []string{"x", "y"}, Covariates: []int64{1}})))
	require.Equal(t, fault.Invalid, kind(m.Enrol(Unit{ID: "a", Levels: []string{"x|", "y"}, Covariates: []int64{1, 1}})))
	u := Unit{ID: "a", Levels: []string{"x", "y"}, Covariates: []int64{1, 1}}
	require.NoError(t, m.Enrol(u))
	require.Equal(t, fault.Exists, kind(m.Enrol(u)))
	_, err = m.Assign("a")
	require.Equal(t, fault.Infeasible, kind(err), "it waits for its partner")
	_, err = m.Assign("b")
	require.Equal(t, fault.NotFound, kind(err))
	u.ID = "b"
	require.NoError(t, m.Enrol(u))
	both, err := m.Assign("b")
	require.NoError(t, err)
	require.Len(t, both, 2, "the two of a pair are revealed together")
	require.NoError(t, m.Close())
	u.ID = "c"
	require.Equal(t, fault.Infeasible, kind(m.Enrol(u)))

	tight := designs()[9]
	tight.Rerandomise.MostMicro = 1
	m = run(t, tight, people(tight, 5, 1), Keyed(key))
	require.Equal(t, fault.Infeasible, kind(m.Close()))
}

// What a trial has drawn may never change: these are the first arms of every scheme
// under one key.
func TestArmsArePinned(t *testing.T) {
	var got []string
	for _, d := range designs() {
		m := run(t, d, people(d, 16, 1), Keyed(key))
		require.NoError(t, m.Close())
		line := ""
		for _, a := range m.Assigned() {
			line += d.Arms[a.Arm].ID
		}
		got = append(got, line)
	}
	require.Equal(t, []string{
		"BABAABAAABBBBABB", "AAAAABAABBABAABB", "CCCABAACBAAABCAB", "BAABABABABBAAABB", "ABBABABABBBAABAA",
		"BABABABBAAABABBA", "BBBBBAAABAAABBAB", "BABABAABBABABAAA", "ABCACBCCBABBACBA", "ABAABABABBBAABBA",
	}, got)
}
