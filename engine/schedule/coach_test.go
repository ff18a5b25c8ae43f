package schedule

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

// TestCoach looks at four ordinary weeks as a coach would. The shares and counts are
// common practice, no source.
func TestCoach(t *testing.T) {
	for name, m := range map[string]*Model{
		"two short days":               week(6, 40, 40),
		"four days, squat and bench":   strength(week(8, 75, 75, 75, 75), 8, 2),
		"three unequal days":           week(8, 30, 60, 90),
		"three days of 45 min":         week(8, 45, 45, 45),
		"five days, some time to rest": week(10, 75, 75, 75, 75, 75),
	} {
		t.Run(name, func(t *testing.T) {
			a, err := Solve(context.Background(), m, nil, 0)
			require.NoError(t, err)
			t.Log(show(m, a))
			require.Zero(t, a.Value[LevelGoals], "every floor and every goal is met")
			require.True(t, a.Proven[LevelGoals])
			weekly := func(k plan.Muscle) plan.HalfSets {
				return plan.HalfSets(sum(m, a.Sets, func(c *Candidate, _ int, v int64) int64 { return v * int64(c.Involve[k]) }))
			}
			missed := false
			for _, r := range m.Muscles {
				missed = missed || weekly(r.Muscle) < r.Wanted
				require.GreaterOrEqual(t, weekly(r.Muscle), r.Wanted/2, "%s is starved", r.Muscle)
				require.LessOrEqual(t, weekly(r.Muscle), 2*max(r.Wanted, 8), "%s gets far too much", r.Muscle)
			}
			for d, day := range m.Days {
				n, ticks, patterns := 0, int32(0), map[plan.Pattern]int{}
				for c, x := range m.Candidates {
					if v := a.Sets[c][d]; v > 0 {
						n++
						ticks += x.Options[d].Fixed + v*x.Options[d].PerSet
						patterns[x.Pattern]++
					}
				}
				require.GreaterOrEqual(t, n, 3, "a session has three exercises")
				require.LessOrEqual(t, n, 7)
				for p, k := range patterns {
					require.LessOrEqual(t, k, 2, "%s on one day", p)
				}
				if missed {
					require.GreaterOrEqual(t, ticks*100, day.Capacity*80, "minutes are left while sets are missing")
				}
			}
			for _, b := range m.Balances {
				of := func(list []plan.Pattern) int64 {
					return sum(m, a.Sets, func(c *Candidate, _ int, v int64) int64 {
						for _, p := range list {
							if p == c.Pattern {
								return v
							}
						}
						return 0
					})
				}
				l, r := of(b.Left), of(b.Right)
				require.True(t, 10*l >= 6*r && 10*r >= 6*l, "%s: %d to %d", b.Name, l, r)
			}
			for i, l := range m.Lifts {
				days, sets := 0, int32(0)
				for c, x := range m.Candidates {
					if x.Lift == int32(i) {
						for _, v := range a.Sets[c] {
							sets += v
							if v > 0 {
								days++
							}
						}
					}
				}
				require.GreaterOrEqual(t, days, int(l.MinDays))
				require.GreaterOrEqual(t, sets, l.Wanted)
			}
		})
	}
}

func BenchmarkSolve(b *testing.B) {
	for _, x := range []struct {
		name string
		m    *Model
	}{
		{"2x40", week(6, 40, 40)},
		{"3x45", week(8, 45, 45, 45)},
		{"3unequal", week(8, 30, 60, 90)},
		{"4x75lifts", strength(week(8, 75, 75, 75, 75), 8, 2)},
		{"6x60", week(10, 60, 60, 60, 60, 60, 60)},
	} {
		b.Run(x.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Solve(context.Background(), x.m, nil, 0); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkTrial is the inner loop: one set more and back.
func BenchmarkTrial(b *testing.B) {
	m := strength(week(8, 75, 75, 75, 75), 8, 2)
	a, err := Solve(context.Background(), m, nil, 50_000)
	if err != nil {
		b.Fatal(err)
	}
	pb := compile(m, nil)
	s := newState(pb)
	for c := range a.Sets {
		for d, v := range a.Sets[c] {
			s.set(c*pb.D+d, v)
		}
	}
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		p := int(pb.pairs[i%len(pb.pairs)])
		i++
		v := s.sets[p]
		s.set(p, v+1)
		s.set(p, v)
	}
}
