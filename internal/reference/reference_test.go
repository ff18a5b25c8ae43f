package reference

import (
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/schedule"
)

// installed gives a solver, or skips; where the solvers must be there it fails.
func installed(t *testing.T, name string) *Solver {
	v, err := Find(name)
	if err != nil && os.Getenv("PHASEWRIGHT_REFERENCE") == "" {
		t.Skip(err)
	}
	require.NoError(t, err)
	return v
}

// TestReferenceSolverStatesTheModel holds the exported programs to the objective, in both
// directions: with every number of sets fixed, each level costs what Model.Value says.
func TestReferenceSolverStatesTheModel(t *testing.T) {
	for _, name := range []string{"cbc", "glpsol"} {
		t.Run(name, func(t *testing.T) {
			v := installed(t, name)
			checked := 0
			for number := range 12 {
				c := Draw(number)
				r := rand.New(rand.NewPCG(uint64(number), 1))
				a, err := schedule.Solve(t.Context(), c.Model, nil, 3000)
				if f, ok := fault.As(err); ok && f.Kind == fault.Infeasible {
					continue
				}
				require.NoError(t, err)
				prior := &schedule.Assignment{Sets: make([][]int32, len(a.Sets))}
				for i := range a.Sets {
					for _, n := range a.Sets[i] {
						prior.Sets[i] = append(prior.Sets[i], max(0, n+r.Int32N(4)-2))
					}
				}
				want, allowed, err := c.Model.Value(a.Sets, prior)
				require.NoError(t, err)
				require.True(t, allowed)
				fixed := *c.Model
				fixed.Candidates = nil
				for i, x := range c.Model.Candidates {
					x.Options = append([]schedule.Option(nil), x.Options...)
					on := int32(0)
					for d := range x.Options {
						n := a.Sets[i][d]
						if x.Options[d].Allowed = n > 0; n > 0 {
							x.Options[d].Lo, x.Options[d].Hi = n, n
							on++
						}
					}
					x.MinDays, x.MaxDays = on, max(1, on)
					fixed.Candidates = append(fixed.Candidates, x)
				}
				for level := range schedule.LevelCount {
					got, err := v.Solve(t.Context(), t.TempDir(), &fixed, prior, level, want, 10*time.Second)
					require.NoError(t, err, "%s, %s", c.Name, LevelName(level))
					require.Equal(t, Optimal, got.Verdict, "%s, %s", c.Name, LevelName(level))
					require.Equal(t, a.Sets, got.Sets)
					require.InDelta(t, want[level], got.Objective, 1e-3, "%s, %s", c.Name, LevelName(level))
					checked++
				}
			}
			require.GreaterOrEqual(t, checked, 40)
		})
	}
}

func TestRecordsReadBack(t *testing.T) {
	for _, line := range []string{
		"drawn/001 00ff cbc goals:12@0.10 rest:3..9@5.00",
		"drawn/002 00ff cbc goals:infeasible@0.02",
		"drawn/003 00ff cbc goals:12@0.10 rest:7..@5.00",
		"drawn/004 00ff cbc goals:0@0.10 rest:0@0.00 stability:0@0.00 preference:310@1.25 simplicity:9012@0.40",
	} {
		r, err := ParseRecord(line)
		require.NoError(t, err)
		require.Equal(t, line, r.String())
	}
	for _, line := range []string{"", "a b c", "a b c rest:1@1", "a b c goals:1", "a b c goals:x@1", "a b c goals:1..y@1", "a b c goals:1@" + strings.Repeat("x", 3)} {
		_, err := ParseRecord(line)
		require.Error(t, err, line)
	}
}
