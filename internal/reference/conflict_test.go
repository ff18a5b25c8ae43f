package reference

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/schedule"
)

// clashing draws a case whose pins, sessions of lifts and minima are likely too much for
// its minutes, or for the weekly limits of a muscle.
func clashing(number int) Case {
	c := Draw(number)
	r := rand.New(rand.NewPCG(uint64(number), 7))
	m := c.Model
	days := int32(len(m.Days))
	for i := range m.Lifts {
		m.Lifts[i].MinDays = 1 + r.Int32N(days)
	}
	for n := range 2 + r.IntN(4) {
		x := &m.Candidates[len(m.Candidates)-1-n]
		x.Path, x.MaxDays = pinPath(n), days
		x.MinDays = 1 + r.Int32N(days)
		if r.IntN(3) == 0 {
			x.MinSets, x.MaxSets = 4+r.Int32N(4), 0
		}
	}
	for d := range m.Days {
		m.Days[d].ExercisesPath = "constraints.limits.exercises_per_session"
		m.Days[d].SetsPath = "constraints.limits.sets_per_session"
		if r.IntN(2) == 0 {
			m.Days[d].Capacity = 40 + r.Int32N(60)
		}
	}
	for i := range m.Muscles {
		if m.Muscles[i].Path == "" {
			m.Muscles[i].MaxWeek = 0
		}
	}
	return c
}

func pinPath(n int) string { return "constraints.pinned[" + string(rune('0'+n)) + "]" }

// TestConflicts: on 200 models without an answer, what is named clashes on its own, and no
// longer when any one of it is left out, as a solver of others sees it.
func TestConflicts(t *testing.T) {
	v := installed(t, "cbc")
	found, named, unsure := 0, 0, 0
	feasible := func(m *schedule.Model) bool {
		for d := range m.Days {
			m.Days[d].Capacity = min(m.Days[d].Capacity, 24*60*4) // a day's, where it is unlimited
		}
		a, err := v.Solve(t.Context(), t.TempDir(), m, nil, schedule.LevelGoals, nil, 20*time.Second)
		require.NoError(t, err)
		require.NotEqual(t, Nothing, a.Verdict)
		return a.Verdict != Infeasible
	}
	for number := 0; found < 200; number++ {
		require.Less(t, number, 1500)
		c := clashing(number)
		_, err := schedule.Solve(t.Context(), c.Model, nil, 0)
		f, ok := fault.As(err)
		if err == nil {
			continue
		}
		require.True(t, ok, err)
		require.Equal(t, fault.Infeasible, f.Kind, err)
		if f.Violations[0].Reason == schedule.ReasonUnproven || strings.Contains(f.Violations[0].Says, "may be larger") { // says so itself
			unsure++
			continue
		}
		found++
		var paths []string
		for _, x := range f.Violations {
			paths = append(paths, x.Field)
		}
		named += len(paths)
		var others []string
		for _, w := range c.Model.Wishes() {
			if !slices.Contains(paths, w) {
				others = append(others, w)
			}
		}
		require.False(t, feasible(c.Model.Without(others...)), "%s: the set must clash: %v", c.Name, err)
		for _, p := range paths {
			require.True(t, feasible(c.Model.Without(append(slices.Clone(others), p)...)), "%s: %s is not needed: %v", c.Name, p, err)
		}
	}
	t.Logf("%d conflicts of %.1f wishes each; %d more that the work did not settle", found, float64(named)/float64(found), unsure)
	require.Less(t, unsure, 20)
}
