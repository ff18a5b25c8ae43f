package engine

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// worthSaying is the miss, in half sets, from which a wish that was not met is listed;
// a wish of a goal, or a floor, is listed from one half set on.
const worthSaying plan.HalfSets = 3

// shortfalls lists what a window could not meet, with numbers and the limit behind it.
func (g *generation) shortfalls(w *window, a *allocated) {
	peak := g.heaviest(w)
	full := g.fillOf(a)
	weeks := w.name()
	g.absent(a)
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		d := &peak.Muscles[m]
		got := g.achieved(a, m)
		miss := d.Wanted - got
		g.missed[m] = 0
		if miss <= 0 || !d.Priority && got >= d.Floor && miss < worthSaying {
			continue
		}
		g.missed[m] = miss + 1
		g.find(plan.Finding{Level: plan.LevelShort, Rule: RuleShort, Week: int32(w.from() + 1), Muscle: m, Field: g.musclePath(m),
			Says: fmt.Sprintf("%s: %s gets %s of %s weekly sets: %s.", weeks, m, got, d.Wanted, g.limitOf(a, m, full))})
	}
	for _, l := range a.model.Lifts {
		if got, want := g.weekly(a, l.ID), l.Wanted; got < want {
			ex, _ := g.brief.Catalogue.ByID(l.ID)
			g.find(plan.Finding{Level: plan.LevelShort, Rule: RuleShort, Week: int32(w.from() + 1), ExerciseID: l.ID, Field: l.Path,
				Says: fmt.Sprintf("%s: %s gets %d of %d weekly sets: %s.", weeks, ex.Name, got, want, g.liftLimit(a, l.ID, full))})
		}
	}
	for i := range a.answer.Value {
		if !a.answer.Proven[i] && i == 0 {
			g.find(plan.Finding{Level: plan.LevelNote, Rule: RuleGap, Week: int32(w.from() + 1),
				Says: fmt.Sprintf("%s: the allocation is the best found among %d candidates (misses weigh %d; no answer can be below %d).", weeks, len(a.picks), a.answer.Value[i], a.answer.Bound[i])})
		}
	}
}

// weekly gives the sets a week that an exercise has in full weeks.
func (g *generation) weekly(a *allocated, id string) int32 {
	n := int32(0)
	for c := range a.picks {
		if a.picks[c].ex.ID != id {
			continue
		}
		for col := range a.window.columns {
			n += a.answer.Sets[c][col] * a.window.columns[col].times
		}
	}
	return n / max(1, a.window.weeks)
}

func (g *generation) achieved(a *allocated, m plan.Muscle) plan.HalfSets {
	sum := int64(0)
	for i := range a.picks {
		for c, n := range a.answer.Sets[i] {
			sum += int64(n) * int64(a.window.columns[c].times) * int64(a.picks[i].ex.SetCountsFor(m))
		}
	}
	return plan.HalfSets(sum / int64(max(1, a.window.weeks)))
}

// fillOf gives how full each column is, in permille of its capacity.
func (g *generation) fillOf(a *allocated) []int32 {
	out := make([]int32, len(a.model.Days))
	for d := range out {
		used := int32(0)
		for c := range a.model.Candidates {
			if n := a.answer.Sets[c][d]; n > 0 {
				used += a.model.Candidates[c].Options[d].Fixed + n*a.model.Candidates[c].Options[d].PerSet
			}
		}
		out[d] = used * 1000 / max(1, a.model.Days[d].Capacity)
	}
	return out
}

// weekMisses lists floors and goals that single weeks of a window miss although its
// allocation does not: a rotation, a missing session, or sets that are whole numbers.
func (g *generation) weekMisses(w *window) {
	said := g.missed // by the window's allocation, already said
	for _, at := range w.list {
		week := g.weekMade(at)
		sessions, tested := int32(0), false
		for k := range week.Sessions {
			switch week.Sessions[k].Kind {
			case plan.SessionTraining:
				sessions++
			case plan.SessionRetest:
				tested = tested || g.replaced(at)
			}
		}
		for _, t := range week.Muscles {
			d := &g.doses[at].Muscles[t.Muscle]
			miss := t.Wanted - t.Sets
			if miss <= said[t.Muscle] || miss <= 0 || !d.Priority && t.Sets >= d.Floor {
				continue
			}
			why := "sets are whole numbers, and one more would put another muscle above its climb or this one above its wish"
			switch {
			case g.settledSets != nil:
				why = "the arms that are compared share exercises, days and time, and give sets up to be equal"
			case tested && sessions < w.fewest:
				why = fmt.Sprintf("a test takes the place of a session, so the week has %s of %d", counted(int(sessions), "session"), w.fewest)
			case w.columns[0].group != "" && int32(len(w.columns)) > 1 && sessions > 0:
				why = "the rotation brings its sessions up more in other weeks"
			case sessions < w.fewest && g.weekKind[at] == plan.WeekTaper:
				why = fmt.Sprintf("the days before the date are free, so the week has %s of %d", counted(int(sessions), "session"), w.fewest)
			case sessions < w.fewest:
				why = fmt.Sprintf("the week has %s of %d", counted(int(sessions), "session"), w.fewest)
			case miss > 2:
				why = "sets gave way to finding the loads, or to the climb from what is done now"
			}
			g.find(plan.Finding{Level: plan.LevelShort, Rule: RuleShort, Week: week.Number, Muscle: t.Muscle, Field: g.musclePath(t.Muscle),
				Says: fmt.Sprintf("Week %d: %s gets %s of %s weekly sets: %s.", week.Number, t.Muscle, t.Sets, t.Wanted, why)})
		}
	}
}

// weekMade finds a week of the program, from 0.
func (g *generation) weekMade(at int) *plan.Week {
	for i := range g.program.Phases {
		weeks := g.program.Phases[i].Weeks
		if at < len(weeks) {
			return &weeks[at]
		}
		at -= len(weeks)
	}
	return nil
}

// absent says which pins and goal lifts a window's places rule out.
func (g *generation) absent(a *allocated) {
	r := &g.brief.Request
	say := func(id, field string) {
		ex, ok := g.brief.Catalogue.ByID(id)
		for i := range a.picks {
			ok = ok && a.picks[i].ex.ID != id
		}
		if !ok {
			return
		}
		w := a.window
		why := "the places of these weeks don't have what it needs"
		if g.possible(ex, w) {
			why = "the lightest that can be done there is too heavy for a set with repetitions in reserve"
		}
		g.find(plan.Finding{Level: plan.LevelShort, Rule: RuleShort, Week: int32(w.from() + 1), ExerciseID: id, Field: field,
			Says: fmt.Sprintf("%s: %s is left out: %s%s.", w.name(), ex.Name, why, g.standIn(a, ex))})
	}
	for i, goal := range r.Goals {
		if goal.Lift() {
			say(goal.ExerciseID, fmt.Sprintf("goals[%d].exercise_id", i))
		}
	}
	for i, p := range r.Constraints.Pinned {
		say(p.ExerciseID, fmt.Sprintf("constraints.pinned[%d].exercise_id", i))
	}
}

// standIn names what trains the muscles of a left-out exercise meanwhile: of the
// exercises that share its pattern or a prime muscle, the nearest with the most sets.
func (g *generation) standIn(a *allocated, ex *exercise.Exercise) string {
	best, says := int32(0), ""
	for i := range a.picks {
		x := a.picks[i].ex
		n := g.weekly(a, x.ID)
		rank := 100*primesShared(x, ex) + n
		if x.Pattern == ex.Pattern || x.Pattern.KneeDominant() && ex.Pattern.KneeDominant() && x.Role == ex.Role {
			rank += 1000
		}
		if n > 0 && primesShared(x, ex) > 0 && rank > best {
			best, says = rank, fmt.Sprintf("; %s keeps its muscles trained (%s a week)", x.Name, counted(int(n), "set"))
		}
	}
	return says
}

// mostSets is the most sets that any session of a column has.
func (g *generation) mostSets(w *window, col int) int32 {
	most := int32(0)
	for _, s := range g.made {
		if s.column == col && s.window == w {
			most = max(most, s.sets)
		}
	}
	return most
}

// mostExercises is the most exercises that any session of a column has.
func (g *generation) mostExercises(w *window, col int) int32 {
	most := int32(0)
	for _, s := range g.made {
		if s.column == col && s.window == w {
			most = max(most, s.moves)
		}
	}
	return most
}

// mostDirect is the most direct sets for a muscle that any session of a column has.
func (g *generation) mostDirect(w *window, col int, m plan.Muscle) plan.HalfSets {
	most := plan.HalfSets(0)
	for i := range g.made {
		if s := &g.made[i]; s.column == col && s.window == w {
			most = max(most, s.direct[m])
		}
	}
	return most
}

// used is the most seconds that any session of a column takes.
func (g *generation) used(w *window, col int) int64 {
	most := plan.Seconds(0)
	for _, s := range g.made {
		if s.column == col && s.window == w {
			most = max(most, s.took)
		}
	}
	return int64(most)
}

func (g *generation) musclePath(m plan.Muscle) string {
	for i, goal := range g.brief.Request.Goals {
		if goal.Muscle == m && !goal.Lift() {
			return fmt.Sprintf("goals[%d]", i)
		}
	}
	return ""
}

// limitOf names what keeps a muscle below its wish.
func (g *generation) limitOf(a *allocated, m plan.Muscle, full []int32) string {
	direct, indirect := 0, 0
	for i := range a.picks {
		switch {
		case a.picks[i].ex.Direct(m):
			direct++
		case a.picks[i].ex.SetCountsFor(m) > 0:
			indirect++
		}
	}
	if direct == 0 {
		why := "nothing that trains it directly is possible"
		unasked, heavy, elsewhere, left := false, false, false, ""
		for _, ex := range g.brief.Catalogue.All() {
			if ex.Direct(m) && g.allowed(ex) {
				switch {
				case !g.possible(ex, a.window):
					elsewhere = elsewhere || g.possibleSomewhere(ex, a.window)
					continue
				case g.unasked(a.window, ex):
					unasked = true
					continue
				case g.tooHard(ex) || g.tooHeavy(ex, a.window):
					heavy = true
					continue
				case ex.Standing != exercise.Niche:
					if left == "" && !ex.Pattern.Explosive() {
						left = ex.Name
					}
					continue
				}
				return "only out-of-the-way exercises train it directly here; pin one to have it"
			}
		}
		if left != "" {
			return left + " would train it directly and gives way to better-known work of its movement; pin it to have it"
		}
		if heavy {
			return "the lightest that is there is too heavy in what trains it directly"
		}
		if elsewhere {
			return why + " at every place where one workout comes up"
		}
		if unasked {
			return "the strategy has no sets for what trains it directly"
		}
		if len(g.brief.Request.Athlete.Restrictions) > 0 {
			return why + " with this equipment and these restrictions"
		}
		return why + " with this equipment"
	}
	if g.caps[m] > 0 {
		return fmt.Sprintf("constraints.limits allows %s", g.caps[m])
	}
	why := g.dayLimits(a, full, m)
	if says := g.singlesFull(a, m); says != "" {
		why += "; " + says
	}
	return why
}

// possibleSomewhere reports an exercise that some place of a window has all for.
func (g *generation) possibleSomewhere(ex *exercise.Exercise, w *window) bool {
	for i := range w.columns {
		for _, p := range w.columns[i].places {
			if ex.Available(&g.brief.Request.Constraints.Places[p]) {
				return true
			}
		}
	}
	return false
}

// unasked reports an exercise for whose kind its track has no sets in any session.
func (g *generation) unasked(w *window, ex *exercise.Exercise) bool {
	p := pick{ex: ex, role: ex.Role, track: g.trackOf(ex)}
	return !slices.ContainsFunc(w.sessions, func(o occurrence) bool { return len(g.asked(&o, &p)) > 0 })
}

// liftLimit names what keeps a goal lift below its wish: the strategy's own sets where
// every session that may have the lift has all of them.
func (g *generation) liftLimit(a *allocated, id string, full []int32) string {
	for i := range a.picks {
		if a.picks[i].ex.ID != id {
			continue
		}
		sessions, sets, all := 0, int32(0), true
		for d, o := range a.model.Candidates[i].Options {
			if !o.Allowed {
				continue
			}
			sessions++
			sets = max(sets, o.Hi)
			all = all && a.answer.Sets[i][d] == o.Hi
		}
		if all && sessions > 0 {
			return fmt.Sprintf("the strategy gives it %s in each of %s", counted(int(sets), "set"), counted(sessions, "kind of session"))
		}
	}
	return g.dayLimits(a, full, plan.MuscleUnspecified)
}

// lighter reports a window without a full week: it is filled as if it had one, then cut.
func (g *generation) lighter(w *window) bool {
	return !slices.ContainsFunc(w.sessions, func(o occurrence) bool {
		return g.weekKind[o.week] == plan.WeekTraining || g.weekKind[o.week] == plan.WeekLeadIn
	})
}

// dayLimits says of each column why no more fits.
func (g *generation) dayLimits(a *allocated, full []int32, m plan.Muscle) string {
	var minutes, reserved, others []string
	for d := range a.model.Days {
		day := &a.model.Days[d]
		exercises, sets, direct := int32(0), int32(0), plan.HalfSets(0)
		for c := range a.picks {
			n := a.answer.Sets[c][d]
			if n == 0 {
				continue
			}
			exercises++
			sets += n
			if a.picks[c].ex.Direct(m) {
				direct += plan.HalfSets(2 * n)
			}
		}
		l := g.brief.Request.Constraints.Limits
		switch {
		case full[d] >= 800:
			minutes = append(minutes, fmt.Sprint(int32(a.window.columns[d].limit/60)))
			if used := g.used(a.window, d); used*1000 < int64(a.window.columns[d].limit)*800 {
				reserved = append(reserved, fmt.Sprint(used/60))
			}
		case exercises >= day.MaxExercises && g.mostExercises(a.window, d) >= day.MaxExercises:
			others = append(others, fmt.Sprintf("the limit of %d exercises a session", day.MaxExercises))
		case a.tapers && sets >= day.MaxSets:
			others = append(others, "the taper keeps its share of the sets done before it")
		case sets >= day.MaxSets && g.mostSets(a.window, d) >= day.MaxSets:
			others = append(others, fmt.Sprintf("the limit of %d sets a session", day.MaxSets))
		case m != plan.MuscleUnspecified && direct+2 > plan.HalfSets(2*l.MuscleSetsPerSession.Value) && g.mostDirect(a.window, d, m)+2 > plan.HalfSets(2*l.MuscleSetsPerSession.Value):
			others = append(others, fmt.Sprintf("the limit of %d direct sets for a muscle a session", l.MuscleSetsPerSession.Value))
		default:
			others = append(others, "sets of the strategy's schemes and recovery between days")
		}
	}
	var says []string
	if len(minutes) > 0 {
		says = append(says, strings.Join(minutes, " + ")+" minutes are full")
		if len(reserved) > 0 {
			taken := " minutes are taken"
			if g.lighter(a.window) {
				taken += " before a lighter week's cut"
			}
			says[0] = strings.Join(minutes, " + ") + taken + ", time for the longest warm-ups, sets and rests of these weeks reserved"
		}
	}
	seen := map[string]bool{}
	for _, o := range others {
		if !seen[o] {
			seen[o] = true
			says = append(says, o)
		}
	}
	return strings.Join(says, "; ")
}
