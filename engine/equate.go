package engine

import (
	"context"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// mostRounds bounds how often sets are settled anew after sessions gave some up. Every
// round takes at least one away for good, so few are needed.
const mostRounds = 100

// equate settles the sets of every arm. A session may give sets up while it is made (time
// to find loads, asked recovery): then no arm has them, and all is settled again.
func (j *joint) equate(ctx context.Context, rule plan.Equating) error {
	for _, a := range j.arms {
		a.bounds()
	}
	j.present()
	even, err := j.settle(ctx, func() { j.even() })
	if err != nil || rule == plan.EquateHardSets {
		return err
	}
	switch rule {
	case plan.EquateVolumeLoad:
		return j.level(ctx, even, volume)
	case plan.EquateMinutes:
		return j.level(ctx, even, minutes)
	}
	_, err = j.settle(ctx, func() { j.asked() })
	return err
}

// bounds finds what an arm's own strategy asks for, and the fewest and most sets that it
// leaves.
func (a *arm) bounds() {
	weeks := len(a.of)
	a.own, a.least, a.most, a.sets = make([][][]int32, weeks), make([][][]int32, weeks), make([][][]int32, weeks), make([][][]int32, weeks)
	for week, i := range a.of {
		d, w := a.done[i], &a.wins[i]
		if d == nil {
			continue
		}
		a.own[week] = a.g.weekSets(w, d, week)
		a.least[week], a.most[week], a.sets[week] = like(a.own[week]), like(a.own[week]), like(a.own[week])
		for p := range d.picks {
			capped := a.g.capped(&d.picks[p])
			for c, n := range d.answer.Sets[p] {
				if n == 0 {
					continue
				}
				own := a.own[week][p][c]
				most, least := a.g.weekBounds(w, &d.picks[p], c, week, n)
				if capped {
					most = own
				}
				a.least[week][p][c], a.most[week][p][c] = min(least, own), max(most, own)
			}
		}
	}
}

func like(sets [][]int32) [][]int32 {
	out := make([][]int32, len(sets))
	for i := range sets {
		out[i] = make([]int32, len(sets[i]))
	}
	return out
}

// capped reports an exercise for a muscle whose weekly sets the request limits.
func (g *generation) capped(p *pick) bool {
	for m, limit := range g.caps {
		if limit > 0 && p.ex.SetCountsFor(plan.Muscle(m)) > 0 {
			return true
		}
	}
	return false
}

// each calls f for every week, candidate and column.
func (j *joint) each(f func(week, p, c int)) {
	for week, sets := range j.arms[0].own {
		for p := range sets {
			for c := range sets[p] {
				f(week, p, c)
			}
		}
	}
}

// present lets an exercise be in a session of a week in all arms or in none: out, where one
// arm leaves it out and none has to have it.
func (j *joint) present() {
	j.each(func(week, p, c int) {
		out, must, can := false, false, true
		for _, a := range j.arms {
			out = out || a.own[week][p][c] == 0
			must = must || a.least[week][p][c] > 0
			can = can && a.most[week][p][c] > 0
		}
		if !can || out && !must {
			j.cap(week, p, c, 0)
			return
		}
		for _, a := range j.arms {
			a.own[week][p][c] = max(a.own[week][p][c], 1)
			a.least[week][p][c] = max(a.least[week][p][c], 1)
		}
	})
}

// cap lets no arm have more sets there.
func (j *joint) cap(week, p, c int, n int32) {
	for _, a := range j.arms {
		a.cap(week, p, c, n)
	}
}

func (a *arm) cap(week, p, c int, n int32) {
	for _, sets := range [...][][][]int32{a.own, a.least, a.most} {
		sets[week][p][c] = min(sets[week][p][c], n)
	}
}

// asked gives every arm its own sets.
func (j *joint) asked() {
	for _, a := range j.arms {
		for week := range a.own {
			for p := range a.own[week] {
				copy(a.sets[week][p], a.own[week][p])
			}
		}
	}
}

// settle makes all arms with the sets that f gives them until no session gives any up.
func (j *joint) settle(ctx context.Context, f func()) ([]made, error) {
	for range mostRounds {
		f()
		out, gave, err := j.trial(ctx)
		if err != nil || !gave {
			return out, err
		}
	}
	return nil, fault.New(fault.Internal, "ARMS_UNSETTLED", "arms", "give up other sets every time they are made")
}

// trial makes all arms, and caps what sessions gave up: an exercise that is gone from one is
// gone from all.
func (j *joint) trial(ctx context.Context) ([]made, bool, error) {
	out := make([]made, len(j.arms))
	gave := false
	for i, a := range j.arms {
		if !a.last.with(a.sets) {
			g, err := j.make(ctx, i)
			if err != nil {
				return nil, false, armFault(err, i, &plan.Plan{})
			}
			a.last = a.read(g)
		}
		out[i] = a.last
		j.each(func(week, p, c int) {
			n := out[i].sets[week][p][c]
			if n >= a.sets[week][p][c] {
				return
			}
			gave = true
			if a.cap(week, p, c, n); n == 0 {
				j.cap(week, p, c, 0)
			}
		})
	}
	return out, gave, nil
}

// made is what an arm's sessions hold: exercises by week, candidate and column, the first
// where a column comes up more often in a week.
type made struct {
	g    *generation
	from [][][]int32 // the sets that it was made with
	sets [][][]int32 // the fewest, where a column comes up more often in a week
	work [][][]*plan.ProgramExercise
}

func (a *arm) read(g *generation) made {
	m := made{g: g, from: copied(a.sets), sets: make([][][]int32, len(a.of)), work: make([][][]*plan.ProgramExercise, len(a.of))}
	for week, i := range a.of {
		d, w := a.done[i], &a.wins[i]
		if d == nil {
			continue
		}
		m.sets[week] = like(a.sets[week])
		m.work[week] = make([][]*plan.ProgramExercise, len(d.picks))
		for p := range d.picks {
			m.work[week][p] = make([]*plan.ProgramExercise, len(w.columns))
			for k := range w.sessions {
				if o := &w.sessions[k]; o.week == week && a.sets[week][p][o.column] > 0 {
					e := exerciseOf(g.weekMade(week), o, d.picks[p].ex.ID)
					n := int32(0)
					if e != nil {
						n = e.Working()
					}
					if was := m.sets[week][p][o.column]; m.work[week][p][o.column] != nil || was > 0 {
						n = min(n, was)
					}
					m.work[week][p][o.column], m.sets[week][p][o.column] = e, n
				}
			}
		}
	}
	return m
}

// with reports what was made with the same sets.
func (m *made) with(sets [][][]int32) bool {
	return m.g != nil && slices.EqualFunc(m.from, sets, func(x, y [][]int32) bool {
		return slices.EqualFunc(x, y, func(x, y []int32) bool { return slices.Equal(x, y) })
	})
}

// exerciseOf finds an exercise in the session that a week has for an occurrence.
func exerciseOf(w *plan.Week, o *occurrence, id string) *plan.ProgramExercise {
	for i := range w.Sessions {
		s := &w.Sessions[i]
		if s.Day != o.slot.Day || s.Kind != o.outline.Kind {
			continue
		}
		for k := range s.Exercises {
			if s.Exercises[k].ExerciseID == id {
				return &s.Exercises[k]
			}
		}
	}
	return nil
}

// even gives all arms the same sets of every exercise on every day: in the very week where
// that is of one kind in all of them, and over each window's weeks.
func (j *joint) even() {
	first := j.arms[0]
	for i := range first.wins {
		d := first.done[i]
		if d == nil {
			continue
		}
		for p := range d.picks {
			for c := range first.wins[i].columns {
				if d.answer.Sets[p][c] > 0 {
					j.evenCell(first.wins[i].list, p, c)
				}
			}
		}
	}
}

// cellWeek is one week of an exercise on a day, by arm.
type cellWeek struct {
	week           int
	times          int32
	unlike         bool // another kind of week in some arm
	sets, lo, most []int32
}

func (j *joint) evenCell(weeks []int, p, c int) {
	var list []cellWeek
	for _, week := range weeks {
		x := cellWeek{week: week, times: j.arms[0].often[week][c], unlike: j.unlike(week, p)}
		for _, a := range j.arms {
			x.sets, x.lo, x.most = append(x.sets, a.own[week][p][c]), append(x.lo, a.least[week][p][c]), append(x.most, a.most[week][p][c])
		}
		list = append(list, x)
	}
	evened(list, len(j.arms))
	for k := range list {
		for i, a := range j.arms {
			a.sets[list[k].week][p][c] = list[k].sets[i]
		}
	}
}

// evened gives all arms the same sets in weeks of one kind, as far as their bounds allow, and
// the same sum. The arm with the fewest sets says how many; those that can't come down so
// far, or not up to what another can't go below, are as near as they can be.
func evened(list []cellWeek, arms int) {
	for k := range list {
		x := &list[k]
		if x.unlike {
			continue
		}
		n := max(slices.Min(x.sets), min(slices.Max(x.lo), slices.Min(x.most)))
		for i := range x.sets {
			x.sets[i] = min(max(n, x.lo[i]), x.most[i])
		}
	}
	least, floor, top := int32(0), int32(0), int32(0)
	for i := range arms {
		sets, lo, most := sumOf(list, func(x *cellWeek) int32 { return x.sets[i] }), sumOf(list, func(x *cellWeek) int32 { return x.lo[i] }), sumOf(list, func(x *cellWeek) int32 { return x.most[i] })
		if i == 0 {
			least, floor, top = sets, lo, most
		}
		least, floor, top = min(least, sets), max(floor, lo), min(top, most)
	}
	n := min(max(least, floor), max(top, least))
	for i := range arms {
		reach(list, i, n)
	}
}

func sumOf(list []cellWeek, of func(*cellWeek) int32) int32 {
	n := int32(0)
	for k := range list {
		n += list[k].times * of(&list[k])
	}
	return n
}

// reach moves an arm's sets to a total: down where it has most, the earliest first, as sets
// climb; up where it has fewest, the latest first; weeks that are unlike anyway before
// others.
func reach(list []cellWeek, arm int, total int32) {
	for left := total - sumOf(list, func(x *cellWeek) int32 { return x.sets[arm] }); left != 0; {
		best := -1
		for k := range list {
			x := &list[k]
			n := x.sets[arm]
			switch {
			case left < 0 && (n <= x.lo[arm] || x.times > -left), left > 0 && (n >= x.most[arm] || x.times > left), x.times == 0:
				continue
			case best < 0, x.unlike && !list[best].unlike,
				x.unlike == list[best].unlike && (left < 0 && n > list[best].sets[arm] || left > 0 && n <= list[best].sets[arm]):
				best = k
			}
		}
		if best < 0 {
			return
		}
		if left < 0 {
			list[best].sets[arm]--
			left += list[best].times
		} else {
			list[best].sets[arm]++
			left -= list[best].times
		}
	}
}

// unlike reports a week that is of another kind in some arm, for the track of an exercise.
func (j *joint) unlike(week, p int) bool {
	kind := func(a *arm) plan.WeekKind {
		return a.g.kindFor(week, a.done[a.of[week]].picks[p].track)
	}
	for _, a := range j.arms[1:] {
		if kind(a) != kind(j.arms[0]) {
			return true
		}
	}
	return false
}
