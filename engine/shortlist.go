package engine

import (
	"slices"
	"sort"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// pick is an exercise that allocation may choose in a window, with why.
type pick struct {
	ex         *exercise.Exercise
	role       plan.Role
	track      string // of the plan
	goal       int    // index into goals, -1
	pin        int    // index into pins, -1
	preference int32
}

// How many exercises of one pattern and first prime muscle stay on the shortlist, each
// with another way of loading. Pins and goal lifts are always on it.
const (
	perShelfMulti = 3
	perShelf      = 2
)

// shortlist gives the candidates of a window: everything that is there, allowed and
// within the athlete's skill, the best few of each shelf (pattern and first prime
// muscle, one for each way of loading), in order of id. Niche exercises are on it only for muscles that
// nothing else trains and that are large, work without a load only where no loaded work
// does the same.
func (g *generation) shortlist(w *window) []pick {
	type shelf struct {
		pattern plan.Pattern
		muscle  plan.Muscle
	}
	type slot struct {
		shelf
		loading plan.Loading
	}
	var open, always []pick
	for _, ex := range g.brief.Catalogue.All() {
		p := pick{ex: ex, track: g.trackOf(ex), goal: g.goalOf(ex.ID), pin: g.pinOf(ex.ID)}
		if !g.possible(ex, w) {
			continue
		}
		p.role = g.roleOf(ex, w, p.goal)
		if p.goal >= 0 || p.pin >= 0 {
			if g.outOfReach(ex, w) {
				continue // said by absent
			}
			p.preference = 100
			always = append(always, p)
			continue
		}
		if !g.allowed(ex) || ex.Pattern.Explosive() || g.tooHard(ex) || g.tooHeavy(ex, w) {
			continue // explosive work is there when pinned
		}
		p.preference = g.preference(ex, p.role)
		open = append(open, p)
	}
	sort.SliceStable(open, func(i, j int) bool {
		if open[i].preference != open[j].preference {
			return open[i].preference > open[j].preference
		}
		return open[i].ex.ID < open[j].ex.ID
	})
	count, taken := map[shelf]int{}, map[slot]bool{}
	out := always
	usual, loaded := g.covered(w, open)
	for _, p := range open {
		m := firstPrime(p.ex)
		if p.ex.Standing == exercise.Niche && (usual[m] || !large(m) && !g.wanted(m)) || g.poorer(&p, loaded[p.ex.Pattern][m]) || g.shown(&p, open, always) {
			continue
		}
		s := shelf{p.ex.Pattern, m}
		most := perShelf
		if p.role == plan.MultiJoint || multiJoint(p.ex) {
			most = perShelfMulti
		}
		if at := (slot{s, p.ex.Loading}); count[s] < most && !taken[at] {
			count[s]++
			taken[at] = true
			out = append(out, p)
		}
	}
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if large(m) || g.wanted(m) {
			out = withDirect(out, open, m)
		}
	}
	out = g.fewSingles(out)
	sort.Slice(out, func(i, j int) bool { return out[i].ex.ID < out[j].ex.ID })
	return out
}

// withDirect adds the best two exercises for a muscle that nothing else on the list
// trains directly.
func withDirect(out, open []pick, m plan.Muscle) []pick {
	for i := range out {
		if out[i].ex.Direct(m) {
			return out
		}
	}
	n := 0
	for _, p := range open {
		if p.ex.Direct(m) && n < 2 {
			out = append(out, p)
			n++
		}
	}
	return out
}

// covered tells which muscles have something better than a niche exercise, and which
// movements of a muscle something that is loaded in numbers.
func (g *generation) covered(w *window, open []pick) (usual [plan.MuscleCount]bool, loaded [plan.PatternCount][plan.MuscleCount]bool) {
	for _, p := range open {
		for m, v := range p.ex.Involvement {
			if v != exercise.Prime {
				continue
			}
			usual[m] = usual[m] || p.ex.Standing != exercise.Niche
			loaded[p.ex.Pattern][m] = loaded[p.ex.Pattern][m] || p.role != plan.Unloadable && p.ex.Loading != plan.LoadingAdded && g.choice(w, p.ex) >= fewLoads
		}
	}
	return usual, loaded
}

// shown reports an exercise of unknown strength beside a loaded one of the same pattern
// that the athlete has shown and that trains all its prime muscles: what is known comes
// first.
func (g *generation) shown(p *pick, lists ...[]pick) bool {
	if g.performed(p.ex.ID) {
		return false
	}
	for _, list := range lists {
		for i := range list {
			q := &list[i]
			if q.ex.Is(exercise.HardOnLowerBack) && q.pin < 0 && g.backLoaded() {
				continue
			}
			if q.ex.Pattern == p.ex.Pattern && q.goal < 0 && g.performed(q.ex.ID) && q.role != plan.Unloadable && primesShared(q.ex, p.ex) == primesShared(p.ex, p.ex) {
				return true
			}
		}
	}
	return false
}

// backLoaded reports goals that load the lower back enough: two lifts or more that are
// hard on it. What comes beside them should spare it (common practice, no source).
func (g *generation) backLoaded() bool {
	n := 0
	for _, goal := range g.brief.Request.Goals {
		if !goal.Lift() {
			continue
		}
		if ex, ok := g.brief.Catalogue.ByID(goal.ExerciseID); ok && ex.Is(exercise.HardOnLowerBack) {
			n++
		}
	}
	return n >= 2
}

// choice is the fewest loads that any place of the window has for an exercise.
func (g *generation) choice(w *window, ex *exercise.Exercise) int {
	n := 0
	for i := range w.columns {
		for _, p := range w.columns[i].places {
			m := g.menu(ex, p)
			if m == nil {
				return 0
			}
			if n == 0 || m.Len() < n {
				n = m.Len()
			}
		}
	}
	return n
}

// wanted reports a muscle that a goal names.
func (g *generation) wanted(m plan.Muscle) bool {
	for _, goal := range g.brief.Request.Goals {
		if goal.Muscle == m && m != plan.MuscleUnspecified {
			return true
		}
	}
	return false
}

func large(m plan.Muscle) bool { return slices.Contains(plan.LargeMuscles[:], m) }

// poorer reports work without a load in numbers, of which the athlete has shown
// nothing, where work with a choice of loads trains the same movement and muscle.
func (g *generation) poorer(p *pick, loaded bool) bool {
	return loaded && (p.role == plan.Unloadable || p.ex.Loading == plan.LoadingAdded) && !g.performed(p.ex.ID)
}

func firstPrime(e *exercise.Exercise) plan.Muscle {
	for m, v := range e.Involvement {
		if v == exercise.Prime {
			return plan.Muscle(m)
		}
	}
	return plan.MuscleUnspecified
}

// roleOf gives the part an exercise plays in a window.
func (g *generation) roleOf(ex *exercise.Exercise, w *window, goal int) plan.Role {
	if goal >= 0 && !ex.Pattern.Explosive() { // speed keeps to the few repetitions it needs
		return plan.GoalLift
	}
	role := ex.Role
	for _, c := range w.columns {
		for _, p := range c.places {
			if r := ex.RoleAt(&g.brief.Request.Constraints.Places[p]); r == plan.Unloadable {
				role = r
			}
		}
	}
	return role
}

// possible reports whether some column's places all have what it needs.
func (g *generation) possible(ex *exercise.Exercise, w *window) bool {
	for i := range w.columns {
		if g.possibleIn(ex, &w.columns[i]) {
			return true
		}
	}
	return false
}

func (g *generation) possibleIn(ex *exercise.Exercise, c *column) bool {
	for _, p := range c.places {
		if !ex.Available(&g.brief.Request.Constraints.Places[p]) {
			return false
		}
	}
	return true
}

// allowed applies exclusions, restrictions, safety and skill.
func (g *generation) allowed(ex *exercise.Exercise) bool {
	return !g.excluded[ex.ID] && g.restriction(ex) < 0 && ex.Flags&g.safety.Forbidden == 0 && g.skilled(ex) && !g.beyond(ex)
}

// restriction gives the index of a restriction that forbids the exercise, or -1.
func (g *generation) restriction(ex *exercise.Exercise) int {
	for i, r := range g.brief.Request.Athlete.Restrictions {
		switch {
		case r.ExerciseID == ex.ID && r.ExerciseID != "",
			r.Pattern == ex.Pattern && r.Pattern != plan.PatternUnspecified:
			return i
		case r.Joint != plan.JointUnspecified:
			if s := ex.Stresses(r.Joint); s >= exercise.StressMarked || s >= exercise.StressMild && r.Severity == plan.SeverityAvoid {
				return i
			}
		}
	}
	return -1
}

// tooHard reports body-mass work of which the athlete has shown too few repetitions to
// train it with something left.
func (g *generation) tooHard(ex *exercise.Exercise) bool {
	if ex.Loading.Loadable() || ex.Loading == plan.LoadingAssisted {
		return false // there is more help
	}
	best := int32(0)
	for _, p := range g.brief.Request.Athlete.Performances {
		if p.ExerciseID == ex.ID {
			best = max(best, p.Reps+p.RIR.Or(0))
		}
	}
	return best > 0 && best-max(2, g.safety.MinRIR) < max(4, ex.MinReps)
}

// outOfReach reports a pinned exercise or a goal lift that can't be done here: a lift with
// several joints whose strength was shown may still be done for few repetitions, one
// whose strength is only judged is not begun with a load that is too heavy.
func (g *generation) outOfReach(ex *exercise.Exercise, w *window) bool {
	if ex.Role != plan.MultiJoint {
		return g.tooHard(ex) || g.tooHeavy(ex, w)
	}
	st, err := g.strengths.of(ex)
	return err == nil && st.borrowed != "" && g.tooHeavy(ex, w)
}

// tooHeavy reports exercises whose lightest load at some place is beyond what the athlete
// can do for the fewest sensible repetitions with the reserve to keep.
func (g *generation) tooHeavy(ex *exercise.Exercise, w *window) bool {
	st, err := g.strengths.of(ex)
	if err != nil || !st.known && st.borrowed == "" {
		return false
	}
	reps := 10 * (max(4, ex.MinReps) + max(1, g.safety.MinRIR) + 3) // the last of several sets has about three fewer
	share := int64(st.curve.IntensityBP(reps))
	for i := range w.columns {
		for _, p := range w.columns[i].places {
			m := g.menu(ex, p)
			if m == nil || m.Len() == 0 {
				continue
			}
			oneRM := st.planned[w.from()]
			if !st.known && m.Len() > 1 {
				oneRM = st.mean // a load that is looked for: caution rules nothing out
			}
			if lightest(ex, m, g.strengths.carried(ex)) > oneRM*share/10_000 {
				return true
			}
		}
	}
	return false
}

// lightest is the least that a menu lets the exercise move, in grams.
func lightest(ex *exercise.Exercise, m *load.Menu, carried int64) int64 {
	if ex.Loading == plan.LoadingAssisted {
		return carried - m.At(m.Len()-1).Load.Grams()
	}
	return carried + m.At(0).Load.Grams()
}

// skilled: what is stated, else by status; a novice is taught low and, with a qualified
// coach present, medium skill.
func (g *generation) skilled(ex *exercise.Exercise) bool {
	a := &g.brief.Request.Athlete
	have := [...]plan.Skill{plan.Novice: plan.SkillMedium, plan.Intermediate: plan.SkillMedium, plan.Advanced: plan.SkillMedium}[a.Status]
	if a.Status == plan.Novice && a.Supervision != plan.Qualified {
		have = plan.SkillLow
	}
	stated := plan.SkillUnspecified
	for _, k := range a.Skills {
		if k.ExerciseID == ex.ID {
			return ex.Skill <= k.Skill
		}
		if k.Pattern == ex.Pattern {
			stated = k.Skill
		}
	}
	if stated != plan.SkillUnspecified {
		have = stated
	}
	for _, p := range a.Performances {
		if p.ExerciseID == ex.ID {
			return true // has done it
		}
	}
	return ex.Skill <= have
}

// beyond reports body-mass exercises that the athlete has shown, or said, not to be
// able to do for the fewest sensible repetitions: a skill of "low" in a pull-up.
func (g *generation) beyond(ex *exercise.Exercise) bool {
	return ex.Loading == plan.LoadingAdded && g.brief.Request.Athlete.Status == plan.Novice && (ex.Pattern == plan.VerticalPull || ex.Pattern == plan.VerticalPush) && !g.performed(ex.ID)
}

func (g *generation) performed(id string) bool {
	for _, p := range g.brief.Request.Athlete.Performances {
		if p.ExerciseID == id {
			return true
		}
	}
	return false
}

// finer reports that some place has dumbbells or a bar beside its kettlebells.
func (g *generation) finer() bool {
	for i := range g.brief.Request.Constraints.Places {
		if p := &g.brief.Request.Constraints.Places[i]; len(p.Dumbbells) > 0 || len(p.Bars) > 0 {
			return true
		}
	}
	return false
}

// preference ranks exercises of a shelf, and breaks ties between shelves: loads that
// move in small steps, known strength, the goal's own pattern, and by status what is
// quickly learned or what carries over. Judgement.
func (g *generation) preference(ex *exercise.Exercise, role plan.Role) int32 {
	p := [...]int32{0, 45, 25, 0}[ex.Standing]
	if g.performed(ex.ID) {
		p += 45 // its load is known, nothing has to be found
	}
	switch ex.Loading {
	case plan.LoadingBar:
		p += 8
	case plan.LoadingDumbbellPair, plan.LoadingStack, plan.LoadingPlateMachine, plan.LoadingAdded:
		p += 6
	case plan.LoadingDumbbell:
		p += 3
	case plan.LoadingKettlebell, plan.LoadingKettlebellPair:
		if g.finer() {
			p -= 15 // dumbbells and bars go up in smaller steps
		}
	case plan.LoadingBand:
		p -= 8
	}
	if role == plan.Unloadable {
		p -= 6
	}
	if ex.Loading == plan.LoadingAdded && !g.performed(ex.ID) {
		p -= 40 // who knows whether a chin-up is possible
	}
	switch g.brief.Request.Athlete.Status {
	case plan.Novice:
		p += [...]int32{0, 8, -25, -40}[ex.Skill]
	case plan.Advanced:
		p += [...]int32{0, 0, 4, 0}[ex.Skill]
	}
	for _, goal := range g.brief.Request.Goals {
		if !goal.Lift() {
			continue
		}
		if lift, ok := g.brief.Catalogue.ByID(goal.ExerciseID); ok && (lift.Pattern == ex.Pattern || ex.RelatedTo == lift.ID) {
			p += 4
		}
	}
	for _, goal := range g.brief.Request.Goals {
		if goal.Kind == plan.GoalGrow && ex.Direct(goal.Muscle) {
			p += 8
			break
		}
	}
	if ex.Unilateral {
		p -= 4 // takes twice the time
		if g.brief.Request.Athlete.Status == plan.Novice {
			p -= 8 // and balance
		}
	}
	if ex.Is(exercise.HardOnLowerBack) {
		p -= 3
		if g.backLoaded() {
			p -= 60
		}
	}
	return min(max(p, 0), 99)
}
