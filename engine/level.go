package engine

import (
	"context"
	"slices"

	"github.com/phasewright/phasewright/engine/contrast"
	"github.com/phasewright/phasewright/engine/dose"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// levelRounds bounds how often sets are weighed again: a set less also changes the loads of
// the others.
const levelRounds = 24

// weight is what a rule makes equal in total.
type weight struct {
	// of gives an exercise's part, and whether it can be known.
	of func(e *plan.ProgramExercise, ex *exercise.Exercise, unit plan.MassUnit) (int64, bool)
	// rest gives what is no exercise's.
	rest func(s *plan.Session) int64
}

var (
	volume = weight{
		of: func(e *plan.ProgramExercise, ex *exercise.Exercise, unit plan.MassUnit) (int64, bool) {
			sum := int64(0)
			for i := range e.Sets {
				s := &e.Sets[i]
				if !s.Kind.Counts() {
					continue
				}
				if !s.Load.Set || contrast.Reps(s) == 0 || ex.Loading == plan.LoadingAssisted {
					return 0, false
				}
				sum += int64(contrast.Reps(s)) * s.Load.Value.In(unit).Milli
			}
			return sum, true
		},
		rest: func(*plan.Session) int64 { return 0 },
	}
	minutes = weight{
		of: func(e *plan.ProgramExercise, _ *exercise.Exercise, _ plan.MassUnit) (int64, bool) {
			return int64(e.Seconds), true
		},
		rest: func(s *plan.Session) int64 { return int64(s.Warmup + plan.SessionEnd) },
	}
)

// level brings the totals of all arms down to the smallest, and up to what an arm can't go
// below. Exercises whose part is not
// known in every week of every arm keep their equal sets, which even holds.
func (j *joint) level(ctx context.Context, even []made, w weight) error {
	fixed := j.unweighed(even, w)
	held := j.copySets()
	weighed, err := j.settle(ctx, func() {
		j.asked()
		j.each(func(week, p, c int) {
			for i, a := range j.arms {
				if fixed[a.done[a.of[week]].picks[p].ex.ID] {
					a.sets[week][p][c] = min(held[i][week][p][c], a.most[week][p][c])
				}
			}
		})
	})
	if err != nil {
		return err
	}
	best, bestGap := j.copySets(), int64(-1)
	base := j.copySets()
	for range levelRounds {
		totals := make([]int64, len(j.arms))
		for i := range j.arms {
			totals[i] = w.total(weighed[i].g)
		}
		least := slices.Min(totals)
		gap := slices.Max(totals) - least
		if bestGap < 0 || gap < bestGap {
			best, bestGap = j.copySets(), gap
		}
		if gap*1000 <= least*int64(plan.Tolerance) {
			break
		}
		moved, raised := false, false
		for i := range j.arms {
			if totals[i]*1000 > least*(1000+int64(plan.Tolerance)/2) {
				moved = j.lighten(i, &weighed[i], base[i], totals[i], least, fixed, w) || moved
			}
		}
		for i := range j.arms {
			// Where an arm can't come down so far, the others go up to it.
			if most := slices.Max(totals); !moved && totals[i]*(1000+int64(plan.Tolerance)/2) < most*1000 {
				raised = j.raise(i, &weighed[i], totals[i], most, fixed, w) || raised
			}
		}
		if !moved && !raised {
			break
		}
		if weighed, _, err = j.trial(ctx); err != nil {
			return err
		}
		j.bounded()
	}
	for i, a := range j.arms {
		a.sets = best[i]
	}
	_, err = j.settle(ctx, j.bounded)
	return err
}

// bounded takes from every arm what sessions gave up.
func (j *joint) bounded() {
	for _, a := range j.arms {
		j.each(func(week, p, c int) { a.sets[week][p][c] = min(a.sets[week][p][c], a.most[week][p][c]) })
	}
}

func (j *joint) copySets() [][][][]int32 {
	out := make([][][][]int32, len(j.arms))
	for i, a := range j.arms {
		out[i] = copied(a.sets)
	}
	return out
}

func copied(sets [][][]int32) [][][]int32 {
	out := make([][][]int32, len(sets))
	for week := range sets {
		for p := range sets[week] {
			out[week] = append(out[week], slices.Clone(sets[week][p]))
		}
	}
	return out
}

// unweighed names the exercises of which some part is not known.
func (j *joint) unweighed(all []made, w weight) map[string]bool {
	out := map[string]bool{}
	j.each(func(week, p, c int) {
		for i, a := range j.arms {
			ex := a.done[a.of[week]].picks[p].ex
			if e := all[i].work[week][p][c]; e != nil {
				if _, ok := w.of(e, ex, a.g.brief.Request.Constraints.Unit); !ok {
					out[ex.ID] = true
				}
			}
		}
	})
	return out
}

// total weighs all that an arm has.
func (w weight) total(g *generation) int64 {
	sum := int64(0)
	for i := range g.program.Phases {
		for j := range g.program.Phases[i].Weeks {
			for k := range g.program.Phases[i].Weeks[j].Sessions {
				s := &g.program.Phases[i].Weeks[j].Sessions[k]
				sum += w.rest(s)
				for n := range s.Exercises {
					ex, _ := g.brief.Catalogue.ByID(s.Exercises[n].ExerciseID)
					part, _ := w.of(&s.Exercises[n], ex, g.brief.Request.Constraints.Unit)
					sum += part
				}
			}
		}
	}
	return sum
}

// lighten takes sets from an arm, each where most is left: of the week and of the exercise,
// measured by what they had, then of the session; the earliest of equals first; as long as
// that brings its total nearer to the aim. It reports whether any was taken.
func (j *joint) lighten(at int, m *made, base [][][]int32, total, aim int64, fixed map[string]bool, w weight) bool {
	a := j.arms[at]
	unit := a.g.brief.Request.Constraints.Unit
	weeks, exercises := make([]share, len(a.sets)), map[string]*share{}
	j.each(func(week, p, c int) {
		id := a.done[a.of[week]].picks[p].ex.ID
		if exercises[id] == nil {
			exercises[id] = &share{}
		}
		for _, s := range [...]*share{&weeks[week], exercises[id]} {
			s.is, s.was = s.is+int64(a.sets[week][p][c]), s.was+int64(base[week][p][c])
		}
	})
	moved := false
	for total > aim {
		best, over, took := [3]int{-1}, int64(0), int64(0)
		j.each(func(week, p, c int) {
			n, ex := a.sets[week][p][c], a.done[a.of[week]].picks[p].ex
			e := m.work[week][p][c]
			if n <= a.least[week][p][c] || n <= 1 || e == nil || fixed[ex.ID] {
				return
			}
			part, _ := w.of(e, ex, unit)
			one := part / int64(max(1, e.Working())) * int64(a.often[week][c])
			// Near the aim a set that would go beyond it by more than is missing is left.
			if one <= 0 || 2*(total-aim) < one {
				return
			}
			own := share{int64(n), int64(base[week][p][c])}
			if left := weeks[week].left() + exercises[ex.ID].left() + own.left()/4; best[0] < 0 || left > over {
				best, over, took = [3]int{week, p, c}, left, one
			}
		})
		if best[0] < 0 {
			break
		}
		a.sets[best[0]][best[1]][best[2]]--
		weeks[best[0]].is--
		exercises[a.done[a.of[best[0]]].picks[best[1]].ex.ID].is--
		total -= took
		moved = true
	}
	return moved
}

// share is a number of sets beside what it was.
type share struct{ is, was int64 }

// left gives it in permille.
func (s share) left() int64 { return 1000 * s.is / max(1, s.was) }

// raise gives an arm more sets within its strategy's bounds, in its last training weeks
// first, never above the climb from what the athlete does now. It reports whether any was
// given.
func (j *joint) raise(at int, m *made, total, aim int64, fixed map[string]bool, w weight) bool {
	a := j.arms[at]
	unit := a.g.brief.Request.Constraints.Unit
	raised := false
	for week := len(a.sets) - 1; week >= 0; week-- {
		have := a.muscles(week)
		for p := range a.sets[week] {
			pk := &a.done[a.of[week]].picks[p]
			for c := range a.sets[week][p] {
				e := m.work[week][p][c]
				if e == nil || fixed[pk.ex.ID] || a.sets[week][p][c] >= a.most[week][p][c] || a.g.kindFor(week, pk.track) != plan.WeekTraining || !a.climbs(&have, week, pk, c) {
					continue
				}
				part, _ := w.of(e, pk.ex, unit)
				one := part / int64(max(1, e.Working())) * int64(a.often[week][c])
				if one <= 0 || 2*(aim-total) < one {
					continue
				}
				a.sets[week][p][c]++
				for mu := range have {
					have[mu] += plan.HalfSets(a.often[week][c]) * pk.ex.SetCountsFor(plan.Muscle(mu))
				}
				total += one
				raised = true
			}
		}
	}
	return raised
}

// muscles counts a week's sets for every muscle.
func (a *arm) muscles(week int) (out [plan.MuscleCount]plan.HalfSets) {
	picks := a.done[a.of[week]].picks
	for i := range a.sets[week] {
		for d, n := range a.sets[week][i] {
			for m := range out {
				out[m] += plan.HalfSets(n*a.often[week][d]) * picks[i].ex.SetCountsFor(plan.Muscle(m))
			}
		}
	}
	return out
}

// climbs reports that one set more keeps the week within the climb from what is done now.
func (a *arm) climbs(have *[plan.MuscleCount]plan.HalfSets, week int, p *pick, c int) bool {
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		more := p.ex.SetCountsFor(m) * plan.HalfSets(a.often[week][c])
		if more > 0 && have[m]+more > dose.Ceiling(a.g.brief.Current[m], a.g.weeksTrained(week)) {
			return false
		}
	}
	return true
}
