package schedule

import (
	"slices"

	"github.com/phasewright/phasewright/engine/plan"
)

// This file is a second, deliberately plain implementation of the package comment:
// every hard limit and every level straight from its sentence, sharing nothing with
// the solver but the model.

// sum adds f over all pairs in use.
func sum(m *Model, sets [][]int32, f func(c *Candidate, d int, v int64) int64) int64 {
	var n int64
	for c := range m.Candidates {
		for d := range m.Days {
			if v := int64(sets[c][d]); v > 0 {
				n += f(&m.Candidates[c], d, v)
			}
		}
	}
	return n
}

func directOn(m *Model, sets [][]int32, k plan.Muscle, day int) int64 {
	return sum(m, sets, func(c *Candidate, d int, v int64) int64 {
		if d == day && c.Involve[k] == 2 {
			return 2 * v
		}
		return 0
	})
}

// broken names the first hard limit or minimum that is broken, or nothing.
func broken(m *Model, sets [][]int32) string {
	weeks := int64(m.Weeks)
	for d, day := range m.Days {
		var ticks, n, total int64
		variants := map[string]bool{}
		for c := range m.Candidates {
			x, v := &m.Candidates[c], sets[c][d]
			if v == 0 {
				continue
			}
			o := x.Options[d]
			if !o.Allowed || v < o.Lo || v > o.Hi {
				return "option of " + x.ID
			}
			if x.Variant != "" && variants[x.Variant] {
				return "two of variant " + x.Variant
			}
			variants[x.Variant] = true
			ticks += int64(o.Fixed) + int64(o.PerSet)*int64(v)
			n++
			total += int64(v)
		}
		if ticks > int64(day.Capacity) || n > int64(day.MaxExercises) || total > int64(day.MaxSets) {
			return "limits of " + m.dayName(d)
		}
	}
	for c := range m.Candidates {
		x := &m.Candidates[c]
		var days, window int64
		for d, v := range sets[c] {
			if v > 0 {
				days++
				window += int64(v) * int64(m.Days[d].Times)
			}
		}
		if days < int64(x.MinDays) || days > int64(x.MaxDays) ||
			(days > 0 || x.MinDays > 0) && window < weeks*int64(x.MinSets) ||
			x.MaxSets > 0 && window > weeks*int64(x.MaxSets) {
			return "days or sets of " + x.ID
		}
	}
	for _, r := range m.Muscles {
		week := sum(m, sets, func(c *Candidate, d int, v int64) int64 {
			return int64(m.Days[d].Times) * v * int64(c.Involve[r.Muscle])
		})
		if r.MaxWeek > 0 && week > weeks*int64(r.MaxWeek) {
			return "week of " + r.Muscle.String()
		}
		for d := range m.Days {
			if r.MaxSession > 0 && directOn(m, sets, r.Muscle, d) > int64(r.MaxSession) {
				return "session of " + r.Muscle.String()
			}
		}
	}
	for l, x := range m.Lifts {
		var n int64
		for d := range m.Days {
			for c := range m.Candidates {
				if m.Candidates[c].Lift == int32(l) && sets[c][d] > 0 {
					n += int64(m.Days[d].Times)
					break
				}
			}
		}
		if n < weeks*int64(x.MinDays) {
			return "sessions of " + x.ID
		}
	}
	for _, k := range m.Clashes {
		if k.Hard && min(directOn(m, sets, k.Muscle, int(k.A)), directOn(m, sets, k.Muscle, int(k.B))) > int64(k.Cap) {
			return "clash of " + k.Muscle.String()
		}
	}
	return ""
}

// levels computes the five levels.
func levels(m *Model, sets [][]int32, prior *Assignment) []int64 {
	weeks := int64(m.Weeks)
	convex := func(aim, s int64) int64 {
		var cost int64
		for i := int64(0); i < weeks*aim-s; i++ { // the i-th half set missed in the window
			cost += i/weeks + 1
		}
		return cost
	}
	over := func(aim, s int64) int64 {
		if aim == 0 {
			return 0
		}
		n := 2*max(0, s-weeks*aim) + 6*max(0, s-weeks*(aim+(aim+1)/2))
		return (n + weeks - 1) / weeks
	}
	v := make([]int64, 5)
	var sessions int64
	for _, d := range m.Days {
		sessions += int64(d.Times)
	}
	for _, r := range m.Muscles {
		total := sum(m, sets, func(c *Candidate, d int, v int64) int64 {
			return int64(m.Days[d].Times) * v * int64(c.Involve[r.Muscle])
		})
		var direct int64
		for d := range m.Days {
			direct += int64(m.Days[d].Times) * directOn(m, sets, r.Muscle, d)
		}
		v[0] += 1000 * convex(int64(r.Floor), total)
		miss := int64(r.Weight) * (convex(int64(r.Wanted), total) + convex(int64(r.DirectWanted), direct))
		if r.PrioritySoft {
			v[0] += miss
		} else {
			v[1] += 4 * miss
		}
		v[3] += over(int64(r.Wanted), total)
		if r.Wanted >= 8 && sessions >= 2*weeks {
			half := (int64(r.Wanted) + 1) / 2
			half += half % 2
			for d := range m.Days {
				v[3] += 12 * max(0, directOn(m, sets, r.Muscle, d)-half)
			}
		}
	}
	for l, x := range m.Lifts {
		s := sum(m, sets, func(c *Candidate, d int, v int64) int64 {
			if c.Lift != int32(l) {
				return 0
			}
			return 2 * v * int64(m.Days[d].Times)
		})
		v[0] += int64(x.Weight) * convex(2*int64(x.Wanted), s)
		v[3] += over(2*int64(x.Wanted), s)
	}
	for _, w := range m.Patterns {
		s := sum(m, sets, func(c *Candidate, d int, v int64) int64 {
			if !slices.Contains(w.Any, c.Pattern) {
				return 0
			}
			return 2 * v * int64(m.Days[d].Times)
		})
		v[1] += 4 * int64(w.Weight) * convex(2*int64(w.Wanted), s)
	}
	for _, k := range m.Clashes {
		if !k.Hard {
			v[1] += 24 * weeks * max(0, min(directOn(m, sets, k.Muscle, int(k.A)), directOn(m, sets, k.Muscle, int(k.B)))-int64(k.Cap))
		}
	}
	if prior != nil {
		for c := range sets {
			for d, n := range sets[c] {
				was := prior.Sets[c][d]
				switch {
				case (was > 0) != (n > 0):
					v[2] += 8
				case was > n:
					v[2] += int64(was - n)
				default:
					v[2] += int64(n - was)
				}
			}
		}
	}
	v[3] += sum(m, sets, func(c *Candidate, _ int, v int64) int64 {
		n := int64(100 - c.Preference)
		if c.Lift < 0 {
			n += 8 * max(0, v-4)
		}
		return n
	})
	for d, day := range m.Days {
		var n, ticks int64
		kinds := map[[2]int]int64{}
		for c := range m.Candidates {
			if sets[c][d] == 0 {
				continue
			}
			n++
			x := &m.Candidates[c]
			ticks += int64(x.Options[d].Fixed) + int64(x.Options[d].PerSet)*int64(sets[c][d])
			prime := 0
			for k := len(x.Involve) - 1; k > 0; k-- {
				if x.Involve[k] == 2 {
					prime = k
				}
			}
			key := [2]int{int(x.Pattern), prime}
			v[3] += 60 * kinds[key] // 0 + 1 + 2 ... = (n-1)n/2
			kinds[key]++
		}
		tenths := max(0, 5*ticks-3*int64(day.Capacity)) + max(0, 5*ticks-4*int64(day.Capacity))
		v[3] += tenths / 20
		if tenths%20 > 0 {
			v[3]++
		}
		v[3] += 200 * max(0, int64(day.MinExercises)-n)
	}
	for _, b := range m.Balances {
		of := func(list []plan.Pattern) int64 {
			return sum(m, sets, func(c *Candidate, d int, v int64) int64 {
				var n int64
				for _, p := range list {
					if p == c.Pattern {
						n += v * int64(m.Days[d].Times)
					}
				}
				return n
			})
		}
		l, r := of(b.Left), of(b.Right)
		v[1] += 5 * max(0, 7*r-10*l, 10*l-14*r)
	}
	for c := range sets {
		used := false
		for _, n := range sets[c] {
			if n > 0 {
				v[4]++
				used = true
			}
		}
		if used {
			v[3] += 20
			v[4] += 1000
		}
	}
	return v
}
