package engine

import (
	"github.com/phasewright/phasewright/engine/dose"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// weekSets scales a window's sets (made for its heaviest week) down to one week: each
// muscle keeps the share of what it got that the week's wish is of the heaviest wish.
// Sets are taken away one at a time, always the one whose loss brings the muscles
// nearest to their targets, until none brings them nearer. Fixed sets follow the
// outline exactly.
func (g *generation) weekSets(w *window, of *allocated, week int) [][]int32 {
	picks, sets := of.picks, of.answer.Sets
	peak := g.heaviest(w)
	now := &g.doses[week]
	columns := len(w.columns)
	a := &apportioner{times: make([]int64, columns), picks: picks, sets: make([][]int32, len(sets)), lo: make([][]int32, len(sets))}
	cells := make([]int32, 2*len(sets)*columns)
	for c := range w.columns {
		a.limits = append(a.limits, w.columns[c].limit)
	}
	for i := range w.sessions {
		if s := &w.sessions[i]; s.week == week { // others have nothing to give or to get this week
			a.times[s.column] = int64(w.columns[s.column].times)
		}
	}
	for i := range sets {
		a.sets[i], cells = cells[:columns:columns], cells[columns:]
		a.lo[i], cells = cells[:columns:columns], cells[columns:]
		copy(a.sets[i], sets[i])
		for c := range sets[i] {
			if sets[i][c] > 0 {
				a.sets[i][c], a.lo[i][c] = g.weekBounds(w, &picks[i], c, week, sets[i][c])
				if n, ok := g.heldSets(of, i, c, week); ok {
					a.sets[i][c], a.lo[i][c] = n, n
				}
			}
		}
	}
	a.count()
	for m := range a.have {
		a.dear[m] = now.Muscles[m].Floor > 0 || now.Muscles[m].Priority
		full := peak.Muscles[m].Wanted
		share := int64(g.weekShare[week])
		if full > 0 {
			share = int64(now.Muscles[m].Wanted) * 1000 / int64(full)
		}
		// Sets as allocated, before fixed ones were settled for the week. Indirect work may
		// bring a muscle above its wish, but not above the climb from what is done now.
		a.target[m] = a.base(sets, m) * share / 1000
		if ceiling := dose.Ceiling(g.brief.Current[m], g.weeksTrained(week)); ceiling > 0 {
			a.target[m] = min(a.target[m], int64(ceiling)*int64(w.weeks))
		}
	}
	for i := range peak.Lifts {
		a.lift(peak.Lifts[i], now.Lifts[i], sets)
	}
	g.cutFromDone(w, a, week)
	a.trim()
	g.keepCaps(w, a, week)
	return a.sets
}

// notCut is the share of the sets of a full session from which those of a taper are no fewer.
const notCut plan.Permille = 1000

// cutFromDone makes a taper one where its window fulfils wishes better than the weeks
// before it did, which limits or other segments held below them: it is cut from what was
// done then, not from what was wished.
func (g *generation) cutFromDone(w *window, a *apportioner, week int) {
	if g.weekKind[week] != plan.WeekTaper {
		return
	}
	var full *plan.Week
	for i := range g.program.Phases {
		for j := range g.program.Phases[i].Weeks {
			if x := &g.program.Phases[i].Weeks[j]; x.Kind == plan.WeekTraining && (full == nil || len(x.Sessions) >= len(full.Sessions)) {
				full = x
			}
		}
	}
	if full == nil {
		return
	}
	done, sets, here := int64(0), int64(0), int64(0)
	for i := range full.Sessions {
		done += int64(setsOf(&full.Sessions[i]))
	}
	for i := range w.sessions {
		if s := &w.sessions[i]; s.week == week {
			here++
			for p := range a.sets {
				sets += int64(a.sets[p][s.column])
			}
		}
	}
	if sets*1000*int64(len(full.Sessions)) <= done*int64(notCut)*here {
		return
	}
	var had [plan.MuscleCount]int64
	for _, m := range full.Muscles {
		had[m.Muscle] = int64(m.Sets)
	}
	for m := range a.target {
		a.target[m] = min(a.target[m], had[m]*here*int64(g.weekShare[week])*int64(w.weeks)/(1000*int64(len(full.Sessions))))
		a.dear[m] = false
	}
}

// keepCaps holds the request's weekly limits in the very week: a rotation can bring a
// session up more often in one week than on average. The last exercises give first,
// pinned ones last.
func (g *generation) keepCaps(w *window, a *apportioner, week int) {
	times := make([]plan.HalfSets, len(w.columns))
	for i := range w.sessions {
		if s := &w.sessions[i]; s.week == week {
			times[s.column]++
		}
	}
	for m, limit := range g.caps {
		if limit == 0 {
			continue
		}
		limit = max(0, limit-g.inTests(week, plan.Muscle(m))-g.keptInWeek(week, plan.Muscle(m)))
		for _, pinned := range [...]bool{false, true} {
			for i := len(a.picks) - 1; i >= 0; i-- {
				p := &a.picks[i]
				if (p.pin >= 0 || p.goal >= 0) != pinned || p.ex.SetCountsFor(plan.Muscle(m)) == 0 {
					continue
				}
				for c := range times {
					for a.sets[i][c] > 0 && times[c] > 0 && a.inWeek(times, m) > limit {
						a.sets[i][c]--
					}
				}
			}
		}
	}
}

// inTests gives what a week's tests hold for a muscle: sets of several repetitions, which
// count as work where they find a load; singles don't.
func (g *generation) inTests(week int, m plan.Muscle) plan.HalfSets {
	sum := plan.HalfSets(0)
	for i := range g.tests {
		t := &g.tests[i]
		if t.week != week {
			continue
		}
		for _, id := range t.lifts {
			ex, ok := g.brief.Catalogue.ByID(id)
			if !ok {
				continue
			}
			schemes, _, err := g.testSchemes(t, ex, &g.brief.Request.Constraints.Places[t.slot.Place])
			if err != nil { // met again, and told, when the test is written
				continue
			}
			for j := range schemes {
				if schemes[j].Reps.Max > 1 {
					sum += plan.HalfSets(schemes[j].Sets.Max) * ex.SetCountsFor(m)
				}
			}
		}
	}
	return sum
}

func (a *apportioner) inWeek(times []plan.HalfSets, m int) plan.HalfSets {
	sum := plan.HalfSets(0)
	for i := range a.sets {
		for c, n := range a.sets[i] {
			sum += times[c] * plan.HalfSets(n) * a.picks[i].ex.SetCountsFor(plan.Muscle(m))
		}
	}
	return sum
}

// weeksTrained counts the weeks of climbing before a week.
func (g *generation) weeksTrained(week int) int32 {
	n := int32(0)
	for _, k := range g.weekKind[:week] {
		if k == plan.WeekTraining || k == plan.WeekLeadIn {
			n++
		}
	}
	return n
}

// weekBounds gives the sets to start from in a week and the fewest to end with.
func (g *generation) weekBounds(w *window, p *pick, col, week int, n int32) (from, lo int32) {
	for i := range w.sessions {
		s := &w.sessions[i]
		if s.column != col || s.week != week {
			continue
		}
		raw := g.asked(s, p)
		if g.resting(s, p.ex) {
			raw = lightLift
		}
		least, most, scaled := int32(0), int32(0), false
		for k := range raw {
			least += raw[k].Sets.Min
			most += raw[k].Sets.Max
			scaled = scaled || !raw[k].Sets.Fixed
		}
		if len(raw) == 0 {
			return 0, 0
		}
		if !scaled {
			return most, most
		}
		switch {
		case p.goal < 0 && p.pin < 0 && p.role == plan.SingleJoint && g.climbing(p.ex, week):
			least = 0 // small exercises wait until the climb has room for them
		case g.kindFor(week, p.track) != plan.WeekTraining || week == 0 && g.brief.Request.Athlete.Status != plan.Novice:
			// The first week of someone who trains starts near what is done now, even if by
			// single sets; a novice's full dose is small enough.
			least = 1
		}
		return min(max(n, least), most), min(least, n)
	}
	return 0, 0
}

// climbing reports a week that holds a muscle of the exercise below its share of the
// full dose, as next to nothing is done for it now. A cut week follows the one before it.
func (g *generation) climbing(ex *exercise.Exercise, week int) bool {
	for week > 0 && g.weekKind[week] != plan.WeekTraining {
		week--
	}
	for m := range g.doses[week].Muscles {
		if ex.Direct(plan.Muscle(m)) && g.brief.Current[m] < dose.StartSets && g.doses[week].Muscles[m].Rule == dose.RuleClimb {
			return true
		}
	}
	return false
}

type apportioner struct {
	times  []int64
	limits []plan.Seconds
	picks  []pick
	sets   [][]int32
	lo     [][]int32
	have   [plan.MuscleCount]int64 // times × half sets
	target [plan.MuscleCount]int64
	dear   [plan.MuscleCount]bool
	lifts  []liftShare
}

// liftShare is a goal lift's own sets and target, in times × half sets.
type liftShare struct {
	id           string
	have, target int64
}

// lift adds a goal lift: its sets count for themselves, beside its muscles.
func (a *apportioner) lift(full, now dose.Lift, sets [][]int32) {
	l := liftShare{id: full.ExerciseID}
	for i := range a.picks {
		if a.picks[i].ex.ID != l.id {
			continue
		}
		for c := range a.times {
			l.have += 2 * a.times[c] * int64(a.sets[i][c])
			l.target += 2 * a.times[c] * int64(sets[i][c])
		}
	}
	if full.Sets > 0 {
		l.target = l.target * int64(now.Sets) / int64(full.Sets)
	}
	a.lifts = append(a.lifts, l)
}

// liftWeight is how much more a goal lift's own miss counts than a muscle's.
const liftWeight = 3

func (a *apportioner) base(sets [][]int32, m int) int64 {
	sum := int64(0)
	for i := range sets {
		for c, n := range sets[i] {
			sum += int64(n) * a.times[c] * int64(a.picks[i].ex.SetCountsFor(plan.Muscle(m)))
		}
	}
	return sum
}

func (a *apportioner) count() {
	for m := range a.have {
		a.have[m] = a.base(a.sets, m)
	}
}

func (a *apportioner) trim() {
	for {
		best, bi, bc := int64(0), -1, -1
		full := a.fullness()
		for i := range a.sets {
			for c, n := range a.sets[i] {
				if n <= a.lo[i][c] {
					continue
				}
				// Among equals the fuller session gives, then the exercise with more sets.
				if gain := a.gain(a.picks[i].ex, a.times[c])*4096 + full[c]*64 + int64(n); gain >= 4096 && gain > best {
					best, bi, bc = gain, i, c
				}
			}
		}
		if bi < 0 {
			return
		}
		a.sets[bi][bc]--
		for m := range a.have {
			a.have[m] -= a.times[bc] * int64(a.picks[bi].ex.SetCountsFor(plan.Muscle(m)))
		}
		for i := range a.lifts {
			if a.lifts[i].id == a.picks[bi].ex.ID {
				a.lifts[i].have -= 2 * a.times[bc]
			}
		}
	}
}

// missCost is the cost of a miss: its square, three times that above the target, since
// weeks should rather begin low than high, and twenty times below it for muscles with a
// floor or a goal.
func missCost(miss int64, dear bool) int64 {
	switch {
	case miss > 0:
		return 3 * miss * miss
	case dear:
		return 20 * miss * miss
	}
	return miss * miss
}

// fullness is each column's sets an hour, at most 63.
func (a *apportioner) fullness() []int64 {
	out := make([]int64, len(a.limits))
	for c := range out {
		for i := range a.sets {
			out[c] += int64(a.sets[i][c])
		}
		out[c] = min(63, out[c]*3600/int64(max(1, a.limits[c])))
	}
	return out
}

// gain is how much nearer the misses get to nothing when one set goes.
func (a *apportioner) gain(ex *exercise.Exercise, times int64) int64 {
	sum := int64(0)
	for m := range a.have {
		v := times * int64(ex.SetCountsFor(plan.Muscle(m)))
		if v == 0 {
			continue
		}
		before := a.have[m] - a.target[m]
		after := before - v
		sum += missCost(before, a.dear[m]) - missCost(after, a.dear[m])
	}
	for i := range a.lifts {
		if l := &a.lifts[i]; l.id == ex.ID {
			before := l.have - l.target
			after := before - 2*times
			sum += liftWeight * (before*before - after*after)
		}
	}
	return sum
}
