package schedule

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// small draws a model with at most so many assignments.
func small(t *rapid.T, most int) *Model {
	i32 := func(lo, hi int32, label string) int32 { return rapid.Int32Range(lo, hi).Draw(t, label) }
	chance := func(percent int32, label string) bool { return i32(1, 100, label) > 100-percent }
	m := &Model{Weeks: i32(1, 2, "weeks"), Seed: uint32(i32(0, 3, "seed"))}
	same := chance(50, "same days")
	for d := range int(i32(1, 3, "days")) {
		day := Day{Times: i32(1, 2, "times"), Capacity: 60 - i32(0, 52, "capacity"), MaxExercises: 6 - i32(1, 5, "exercises"),
			MinExercises: i32(0, 2, "min exercises"), MaxSets: 14 - i32(0, 11, "day sets")}
		if same && d > 0 {
			day = m.Days[0]
		}
		day.Path = fmt.Sprintf("days[%d]", d)
		m.Days = append(m.Days, day)
	}
	for l := range int(i32(0, 2, "lifts")) {
		m.Lifts = append(m.Lifts, Lift{ID: fmt.Sprintf("lift %d", l), Path: fmt.Sprintf("goals[%d]", l),
			Wanted: i32(0, 6, "lift sets"), Weight: i32(1, 9, "lift weight"), MinDays: max(0, i32(-5, 2, "lift days"))})
	}
	muscles := []plan.Muscle{plan.Chest, plan.Quads, plan.Biceps}
	for _, k := range muscles[:i32(1, 3, "muscles")] {
		r := Muscle{Muscle: k, Wanted: plan.HalfSets(i32(0, 14, "wanted")), Floor: plan.HalfSets(i32(0, 4, "floor")),
			DirectWanted: plan.HalfSets(max(0, i32(-4, 6, "direct"))), Weight: i32(1, 9, "weight"), PrioritySoft: chance(50, "priority")}
		if chance(30, "limits") {
			r.Path = fmt.Sprintf("limits[%d]", k)
			r.MaxWeek, r.MaxSession = plan.HalfSets(i32(0, 16, "max week")), plan.HalfSets(i32(0, 10, "max session"))
		}
		m.Muscles = append(m.Muscles, r)
	}
	count := 1
	for c := range int(i32(1, 8, "candidates")) {
		x := Candidate{ID: fmt.Sprintf("x%d", c), Path: fmt.Sprintf("pinned[%d]", c), Pattern: plan.Pattern(i32(1, 4, "pattern")),
			MaxDays: i32(1, int32(len(m.Days)), "max days"), Lift: i32(-1, int32(len(m.Lifts))-1, "lift"), Preference: i32(0, 100, "preference")}
		if chance(40, "variant") {
			x.Variant = "v"
		}
		for _, k := range muscles {
			x.Involve[k] = plan.HalfSets(i32(0, 2, "involve"))
		}
		if chance(35, "pin") {
			x.MinDays = i32(1, x.MaxDays, "min days")
		}
		if chance(10, "min sets") {
			x.MinSets = i32(1, 4, "least sets")
		}
		if chance(20, "max sets") {
			x.MaxSets = x.MinSets + i32(1, 4, "most sets")
		}
		o := Option{Lo: i32(1, 3, "lo"), PerSet: i32(1, 8, "per set")}
		o.Hi = o.Lo + i32(0, 2, "hi")
		o.Fixed = i32(-o.PerSet, 8, "fixed")
		for range m.Days {
			o.Allowed = !chance(12, "not allowed") && count*int(o.Hi-o.Lo+2) <= most
			if o.Allowed {
				count *= int(o.Hi - o.Lo + 2)
			}
			x.Options = append(x.Options, o)
		}
		m.Candidates = append(m.Candidates, x)
	}
	if len(m.Days) > 1 && chance(50, "clash") {
		m.Clashes = append(m.Clashes, Clash{Muscle: plan.Quads, A: 0, B: 1, Cap: plan.HalfSets(i32(0, 4, "cap")), Hard: chance(50, "hard"), Path: "recovery[0]"})
	}
	if chance(60, "patterns") {
		m.Patterns = []Pattern{{Any: []plan.Pattern{1}, Wanted: i32(0, 3, "pattern sets"), Weight: i32(1, 9, "pattern weight")},
			{Any: []plan.Pattern{2, 4}, Wanted: i32(0, 3, "pattern sets"), Weight: i32(1, 9, "pattern weight")}}
	}
	m.Balances = []Balance{{Left: []plan.Pattern{1}, Right: []plan.Pattern{2, 3}}}
	return m
}

// enumerate calls f with every assignment within the options until it says stop.
func enumerate(m *Model, f func(sets [][]int32) bool) {
	sets := make([][]int32, len(m.Candidates))
	for c := range sets {
		sets[c] = make([]int32, len(m.Days))
	}
	var next func(i int) bool
	next = func(i int) bool {
		if i == len(m.Candidates)*len(m.Days) {
			return f(sets)
		}
		c, d := i/len(m.Days), i%len(m.Days)
		if !next(i + 1) {
			return false
		}
		if o := m.Candidates[c].Options[d]; o.Allowed {
			for v := o.Lo; v <= o.Hi; v++ {
				sets[c][d] = v
				if !next(i + 1) {
					return false
				}
			}
			sets[c][d] = 0
		}
		return true
	}
	next(0)
}

// optimum is the best value by exhaustion, nil where nothing is allowed.
func optimum(m *Model, prior *Assignment) (best []int64) {
	enumerate(m, func(sets [][]int32) bool {
		if broken(m, sets) == "" {
			if v := levels(m, sets, prior); best == nil || slices.Compare(v, best) < 0 {
				best = v
			}
		}
		return true
	})
	return best
}

func possible(m *Model) bool {
	found := false
	enumerate(m, func(sets [][]int32) bool {
		found = broken(m, sets) == ""
		return !found
	})
	return found
}

// randomPrior draws sets of the model's shape, or none.
func randomPrior(t *rapid.T, m *Model) *Assignment {
	if rapid.IntRange(0, 3).Draw(t, "prior") > 0 {
		return nil
	}
	a := &Assignment{}
	for range m.Candidates {
		a.Sets = append(a.Sets, rapid.SliceOfN(rapid.Int32Range(0, 3), len(m.Days), len(m.Days)).Draw(t, "prior sets"))
	}
	return a
}

// TestBruteForce compares value, verdict and conflict with exhaustion on 3,000 models.
func TestBruteForce(t *testing.T) {
	feasibleOnes, infeasibleOnes, allProven := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		for range 30 {
			m := small(t, 10_000)
			prior := randomPrior(t, m)
			want := optimum(m, prior)
			a, err := Solve(context.Background(), m, prior, DefaultBudget)
			ok, proven := Feasible(context.Background(), m, 0)
			require.True(t, proven)
			require.Equal(t, want != nil, ok)
			if want == nil {
				infeasibleOnes++
				checkConflict(t, m, err)
				continue
			}
			feasibleOnes++
			require.NoError(t, err)
			require.Empty(t, broken(m, a.Sets))
			require.Equal(t, levels(m, a.Sets, prior), a.Value)
			require.True(t, a.Proven[LevelGoals])
			for l := range a.Value {
				if !a.Proven[l] {
					require.Less(t, a.Bound[l], a.Value[l])
					break
				}
				require.Equal(t, want[l], a.Value[l], "level %d", l)
				require.Equal(t, a.Value[l], a.Bound[l])
			}
			if a.Proven[LevelSimplicity] {
				allProven++
			}
		}
	})
	t.Logf("%d feasible, %d proven at all levels; %d infeasible", feasibleOnes, allProven, infeasibleOnes)
	require.Equal(t, feasibleOnes, allProven)
	require.Greater(t, feasibleOnes, 10*20)
	require.Greater(t, infeasibleOnes, 10*20)
}

// checkConflict wants the named wishes to clash alone and to fit without any one.
func checkConflict(t *rapid.T, m *Model, err error) {
	f, ok := fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, fault.Infeasible, f.Kind)
	named := map[string]bool{}
	for _, v := range f.Violations {
		require.NotEqual(t, ReasonUnproven, v.Reason)
		require.NotEmpty(t, v.Says)
		named[v.Field] = true
	}
	list := m.wishes()
	out := make([]bool, len(list))
	for i, w := range list {
		out[i] = !named[w.path]
	}
	require.False(t, possible(m.without(list, out)), "the set must clash: %v", err)
	for i := range list {
		if !out[i] {
			out[i] = true
			require.True(t, possible(m.without(list, out)), "not needed: %s in %v", list[i].path, err)
			out[i] = false
		}
	}
}
