package engine

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/dose"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
	"github.com/phasewright/phasewright/engine/schedule"
)

const limitsPath = "constraints.limits."

// allocationModel states the allocation problem of a window for its heaviest week. With
// zones a goal lift is trained on as many days as it has different work for.
func (g *generation) allocationModel(w *window, picks []pick, zones bool) (*schedule.Model, error) {
	l := g.brief.Request.Constraints.Limits
	m := &schedule.Model{Weeks: w.weeks, Seed: g.brief.Request.Seed}
	for i := range w.columns {
		c := &w.columns[i]
		room := w.room(i)
		m.Days = append(m.Days, schedule.Day{
			Path: fmt.Sprintf("constraints.days[%d].minutes", c.day), Name: columnName(c), Times: c.times,
			Capacity:     max(0, int32(room/plan.Tick)),
			MaxExercises: l.ExercisesPerSession.Value, MinExercises: min(3, l.ExercisesPerSession.Value),
			MaxSets:       l.SetsPerSession.Value,
			ExercisesPath: limitsPath + "exercises_per_session", SetsPath: limitsPath + "sets_per_session",
		})
	}
	peak := g.heaviest(w)
	for _, lift := range peak.Lifts {
		at := slices.IndexFunc(picks, func(p pick) bool { return p.ex.ID == lift.ExerciseID })
		if at < 0 {
			continue // said by absent
		}
		m.Lifts = append(m.Lifts, schedule.Lift{ID: lift.ExerciseID, Path: g.liftPath(lift.ExerciseID), Wanted: lift.Sets,
			Weight: lift.Weight, MinDays: min(lift.MinDays, int32(len(w.columns)))})
		if g.shifts(w) { // so that no week goes without
			l := &m.Lifts[len(m.Lifts)-1]
			l.MinDays = max(l.MinDays, int32(len(w.columns))-w.fewest+1)
		}
		if zones {
			l := &m.Lifts[len(m.Lifts)-1]
			l.MinDays = max(l.MinDays, g.zones(w, &picks[at]))
		}
	}
	for i := range picks {
		c, err := g.candidate(w, &picks[i], m)
		if err != nil {
			return nil, err
		}
		m.Candidates = append(m.Candidates, c)
	}
	g.multiJointFirst(m, picks, peak)
	g.muscleRows(m, peak)
	g.clashes(m, w)
	m.Patterns = movements(m.Candidates)
	m.Balances = []schedule.Balance{
		{Name: "push/pull", Left: []plan.Pattern{plan.HorizontalPush, plan.VerticalPush}, Right: []plan.Pattern{plan.HorizontalPull, plan.VerticalPull}},
		{Name: "knee/hip", Left: []plan.Pattern{plan.Squat, plan.Lunge, plan.KneeExtension}, Right: []plan.Pattern{plan.Hinge, plan.HipExtension, plan.KneeFlexion}},
	}
	return m, nil
}

// shifts reports a window whose weeks use different ones of the request's days: with
// fewer sessions than days, another takes the place of one without training.
func (g *generation) shifts(w *window) bool {
	return g.brief.Request.Plan.SessionsPerWeek.Set && w.columns[0].group == "" && int32(len(w.columns)) > w.fewest
}

// zones counts the different work that an exercise has within one week, at most: where
// its repetitions change from day to day, it is there on as many days.
func (g *generation) zones(w *window, p *pick) int32 {
	most := 0
	for _, week := range w.list {
		var seen [][]plan.Scheme
		for i := range w.sessions {
			s := &w.sessions[i]
			if s.week != week || !g.possibleIn(p.ex, &w.columns[s.column]) {
				continue
			}
			asked := g.asked(s, p)
			if len(asked) > 0 && !slices.ContainsFunc(seen, func(have []plan.Scheme) bool { return slices.EqualFunc(have, asked, sameScheme) }) {
				seen = append(seen, asked)
			}
		}
		most = max(most, len(seen))
	}
	return int32(most)
}

// room is the time for exercises in the tightest of a column's sessions: not always the
// shortest, as longer days have a longer general warm-up.
func (w *window) room(col int) plan.Seconds {
	least := plan.Seconds(-1)
	for i := range w.sessions {
		if s := &w.sessions[i]; s.column == col {
			if n := s.slot.Limit - plan.GeneralWarmup(s.slot.Limit) - plan.SessionEnd; least < 0 || n < least {
				least = max(0, n)
			}
		}
	}
	return max(0, least)
}

func columnName(c *column) string {
	if c.group != "" {
		return "workout " + c.group
	}
	return c.first.Weekday.String()
}

// capPath gives the request's weekly limit for a muscle, if it has one.
func (g *generation) capPath(m plan.Muscle) string {
	for i, l := range g.brief.Request.Constraints.Limits.MuscleSetsPerWeek {
		if l.Muscle == m {
			return fmt.Sprintf("constraints.limits.muscle_sets_per_week[%d]", i)
		}
	}
	return ""
}

// wanted movements: each at least two sets a week, where something on the shortlist
// does it. Every major pattern weekly is common practice (and ACSM 2026: all major
// groups twice a week); the weights are judgement.
var wantedMovements = [...]schedule.Pattern{
	{Name: "squat or lunge", Any: []plan.Pattern{plan.Squat, plan.Lunge}, Wanted: 2, Weight: 3},
	{Name: "hinge or hip extension", Any: []plan.Pattern{plan.Hinge, plan.HipExtension}, Wanted: 2, Weight: 3},
	{Name: "horizontal push", Any: []plan.Pattern{plan.HorizontalPush}, Wanted: 2, Weight: 3},
	{Name: "horizontal pull", Any: []plan.Pattern{plan.HorizontalPull}, Wanted: 2, Weight: 3},
	{Name: "vertical push", Any: []plan.Pattern{plan.VerticalPush}, Wanted: 2, Weight: 1},
	{Name: "vertical pull", Any: []plan.Pattern{plan.VerticalPull}, Wanted: 2, Weight: 2},
	{Name: "trunk", Any: []plan.Pattern{plan.TrunkFlexion, plan.TrunkStability, plan.TrunkRotation, plan.Carry}, Wanted: 2, Weight: 1},
}

func movements(candidates []schedule.Candidate) []schedule.Pattern {
	var out []schedule.Pattern
	for _, w := range wantedMovements {
		for i := range candidates {
			if slices.Contains(w.Any, candidates[i].Pattern) {
				out = append(out, w)
				break
			}
		}
	}
	return out
}

// heaviest joins the highest wishes of a window's weeks.
func (g *generation) heaviest(w *window) dose.WeekDose {
	var top dose.WeekDose
	for _, i := range w.list {
		d := &g.doses[i]
		for m := range d.Muscles {
			if d.Muscles[m].Wanted > top.Muscles[m].Wanted || i == w.from() {
				top.Muscles[m] = d.Muscles[m]
			}
		}
		if i == w.from() {
			top.Lifts = append([]dose.Lift(nil), d.Lifts...)
			continue
		}
		for k := range d.Lifts {
			top.Lifts[k].Sets = max(top.Lifts[k].Sets, d.Lifts[k].Sets)
			top.Lifts[k].MinDays = max(top.Lifts[k].MinDays, d.Lifts[k].MinDays)
		}
	}
	return top
}

func (g *generation) liftPath(id string) string {
	for i, goal := range g.brief.Request.Goals {
		if goal.ExerciseID == id && goal.Lift() {
			return fmt.Sprintf("goals[%d]", i)
		}
	}
	return "goals"
}

// candidate states what one exercise may do in each column.
func (g *generation) candidate(w *window, p *pick, m *schedule.Model) (schedule.Candidate, error) {
	c := schedule.Candidate{ID: p.ex.ID, Name: p.ex.Name, Variant: g.variant(p), Pattern: p.ex.Pattern, Lift: -1, Preference: p.preference}
	for mu := range c.Involve {
		c.Involve[mu] = p.ex.SetCountsFor(plan.Muscle(mu))
	}
	if p.ex.Is(exercise.HardOnLowerBack) {
		c.Involve[plan.MuscleUnspecified] = exercise.Prime
	}
	for i := range m.Lifts {
		if m.Lifts[i].ID == p.ex.ID {
			c.Lift = int32(i)
			c.Path = m.Lifts[i].Path
		}
	}
	var pin *plan.Pin
	if p.pin >= 0 {
		pin = &g.brief.Request.Constraints.Pinned[p.pin]
		c.Path = fmt.Sprintf("constraints.pinned[%d]", p.pin)
	}
	allowed := int32(0)
	same := make([]schedule.Option, len(w.columns)) // before pins
	for i := range w.columns {
		var err error
		if t := g.twin(w, i, p); t < i {
			same[i] = same[t]
		} else if same[i], err = g.option(w, i, p); err != nil {
			return c, err
		}
		o := same[i]
		for m := range g.blocked[i] {
			if g.blocked[i][m] && p.ex.Direct(plan.Muscle(m)) {
				o = schedule.Option{}
			}
		}
		if pin != nil && !g.pinnedTo(p.ex.ID, w.columns[i].group) {
			o = schedule.Option{}
		}
		if o.Allowed {
			allowed++
		}
		c.Options = append(c.Options, o)
	}
	c.MaxDays = int32(len(w.columns))
	if pin == nil && c.Lift < 0 {
		c.MaxDays = min(c.MaxDays, 3)
	}
	if pin != nil {
		c.MinDays = min(max(1, pin.PerWeek), c.MaxDays)
		if pin.EverySession || pin.Group != "" {
			c.MinDays = max(1, allowed)
		}
		// With more rotation groups than a week has sessions, a week has any of them: the
		// pin must be in so many that none goes without.
		each := min(max(1, pin.PerWeek), w.fewest)
		if n := int32(len(w.columns)) - w.fewest + each; (w.columns[0].group != "" || g.shifts(w)) && pin.Group == "" {
			c.MinDays = max(c.MinDays, min(n, allowed))
		}
	}
	return c, nil
}

// variant names what an exercise never shares a session with: its near-copies; two
// hinges; and for a novice, two of any compound pattern. What the request names is only
// kept apart from near-copies.
func (g *generation) variant(p *pick) string {
	if p.goal >= 0 || p.pin >= 0 {
		return p.ex.Group
	}
	if multiJoint(p.ex) && (p.ex.Pattern == plan.Hinge || g.brief.Request.Athlete.Status == plan.Novice) {
		return "pattern " + p.ex.Pattern.String()
	}
	return p.ex.Group
}

// pinnedTo reports whether a pin of the exercise holds for sessions of a group.
func (g *generation) pinnedTo(id, group string) bool {
	for _, p := range g.brief.Request.Constraints.Pinned {
		if p.ExerciseID == id && (p.Group == "" || p.Group == group) {
			return true
		}
	}
	return false
}

// option bounds sets and time of an exercise in a column over all its sessions.
func (g *generation) option(w *window, col int, p *pick) (schedule.Option, error) {
	var o schedule.Option
	c := &w.columns[col]
	if !g.possibleIn(p.ex, c) {
		return o, nil
	}
	st, err := g.strengths.of(p.ex)
	if err != nil {
		return o, err
	}
	type timing struct {
		fixed, perSet plan.Seconds
		hi            int32
	}
	var of []timing
	for _, s := range g.distinct(w, col, p) {
		schemes, _ := g.schemes(s, p, st)
		lo, hi := int32(0), int32(0)
		for k := range schemes {
			lo += schemes[k].Sets.Min
			hi += schemes[k].Sets.Max
		}
		in := g.input(s, p, st, schemes)
		in.Warmup = true
		in.Calibrate = false // once a program: that session gives sets up for it
		f, per := prescribe.Bound(in)
		of = append(of, timing{f, per, hi})
		o.Allowed, o.Lo, o.Hi = true, max(o.Lo, lo), max(o.Hi, hi)
	}
	var fixed, perSet plan.Seconds
	for i, t := range of {
		if i == 0 {
			fixed = t.fixed // may be below zero: the last rest is not needed
		}
		fixed = max(fixed, t.fixed)
	}
	for _, t := range of {
		if t.hi < o.Lo {
			// A lighter session has its few sets whatever the others have: they need no
			// more room than that, however long its rests.
			t.perSet = min(t.perSet, (t.fixed+plan.Seconds(t.hi)*t.perSet-fixed+plan.Seconds(o.Lo)-1)/plan.Seconds(o.Lo))
		}
		perSet = max(perSet, t.perSet)
	}
	o.Fixed, o.PerSet = fixed.Ticks(), perSet.Ticks()
	return o, nil
}

// twin gives the first column that has the same places and, for a role, the same
// schemes as a column, so that an exercise takes the same time there.
func (g *generation) twin(w *window, col int, p *pick) int {
	key := g.roleKey(w, col, p)
	if t, ok := g.twins[key]; ok {
		return t
	}
	mine, t := g.distinct(w, col, p), col
	for i := range col {
		other := g.distinct(w, i, p)
		if slices.Equal(w.columns[i].places, w.columns[col].places) && slices.EqualFunc(other, mine, func(a, b *occurrence) bool {
			return g.alike(a.week, b.week, p.track) && a.slot.Place == b.slot.Place &&
				slices.EqualFunc(g.asked(a, p), g.asked(b, p), sameScheme)
		}) {
			t = i
			break
		}
	}
	g.twins[key] = t
	return t
}

// distinct gives one session of a column for each different list of schemes that the
// column's sessions have for a role, place by place.
func (g *generation) distinct(w *window, col int, p *pick) []*occurrence {
	key := g.roleKey(w, col, p)
	if have, ok := g.different[key]; ok {
		return have
	}
	var out []*occurrence
next:
	for i := range w.sessions {
		s := &w.sessions[i]
		if s.column != col {
			continue
		}
		raw := g.asked(s, p)
		if len(raw) == 0 {
			continue
		}
		for _, have := range out {
			if have.slot.Place == s.slot.Place && g.alike(have.week, s.week, p.track) && slices.EqualFunc(g.asked(have, p), raw, sameScheme) {
				continue next
			}
		}
		out = append(out, s)
	}
	g.different[key] = out
	return out
}

type roleKey struct {
	window *window
	column int
	role   plan.Role
	track  string
	tested string // the exercise, where a test changes what its loads refer to
}

func (g *generation) roleKey(w *window, col int, p *pick) roleKey {
	k := roleKey{window: w, column: col, role: p.role, track: p.track}
	if g.isTested(p.ex.ID) {
		k.tested = p.ex.ID
	}
	return k
}

func sameScheme(a, b plan.Scheme) bool {
	return a.Kind == b.Kind && a.Sets == b.Sets && a.Reps == b.Reps && a.Hold == b.Hold && a.OpenEnded == b.OpenEnded && a.Effort == b.Effort &&
		a.Rest == b.Rest && a.Tempo == b.Tempo && a.Progress == b.Progress && slices.Equal(a.Adjust, b.Adjust)
}

// schemes gives what the outline asks of an exercise in a session, bent to the
// athlete and the place; empty where the session has nothing for it.
func (g *generation) schemes(s *occurrence, p *pick, st *state) ([]plan.Scheme, bool) {
	raw := g.asked(s, p)
	if len(raw) == 0 {
		return nil, false
	}
	if g.resting(s, p.ex) {
		raw = g.afterTest(s, p, lightLift)
	}
	out, bent := g.bender.bend(raw, p.ex, st.curve, g.limits(s, p))
	g.adjustInUnit(out, p.ex)
	return out, bent
}

func (g *generation) limits(s *occurrence, p *pick) prescribe.Limits {
	place := &g.brief.Request.Constraints.Places[s.slot.Place]
	asked := p.role == plan.GoalLift || g.pinOf(p.ex.ID) >= 0
	l := g.bender.limits(p.ex, p.role, place, asked, g.kindFor(s.week, p.track) == plan.WeekDeload)
	l.MinRIR = max(l.MinRIR, comingBack(&g.brief.Request.Athlete, s.week))
	l.Failure = l.Failure && comingBack(&g.brief.Request.Athlete, s.week) == 0
	return l
}

// alike reports weeks in which the same limits hold.
func (g *generation) alike(a, b int, track string) bool {
	x := &g.brief.Request.Athlete
	return (g.kindFor(a, track) == plan.WeekDeload) == (g.kindFor(b, track) == plan.WeekDeload) && comingBack(x, a) == comingBack(x, b)
}

func (g *generation) muscleRows(m *schedule.Model, peak dose.WeekDose) {
	session := plan.HalfSets(2 * g.brief.Request.Constraints.Limits.MuscleSetsPerSession.Value)
	for i := range peak.Muscles {
		d := &peak.Muscles[i]
		m.Muscles = append(m.Muscles, schedule.Muscle{
			Muscle: plan.Muscle(i), Wanted: d.Wanted, Floor: d.Floor, DirectWanted: d.Direct,
			MaxWeek: g.caps[i], MaxSession: session, Path: g.capPath(plan.Muscle(i)), SessionPath: limitsPath + "muscle_sets_per_session", Weight: max(1, d.Weight), PrioritySoft: d.Priority,
		})
	}
	m.Muscles = m.Muscles[1:] // without "unspecified"
}

// clashes: asked recovery hours are hard; consecutive days for a large muscle are
// discouraged.
func (g *generation) clashes(m *schedule.Model, w *window) {
	c := &g.brief.Request.Constraints
	for a := range w.columns {
		for b := a + 1; b < len(w.columns); b++ {
			hours := g.hoursBetween(w, a, b)
			for i, r := range c.Recovery {
				if hours < r.Hours {
					m.Clashes = append(m.Clashes, schedule.Clash{Muscle: r.Muscle, A: int32(a), B: int32(b), Hard: true,
						Path: fmt.Sprintf("constraints.recovery[%d]", i)})
				}
			}
			if hours > 24 {
				continue
			}
			m.Clashes = append(m.Clashes, schedule.Clash{A: int32(a), B: int32(b), Cap: 4}) // the lower back
			for _, mu := range plan.LargeMuscles {
				m.Clashes = append(m.Clashes, schedule.Clash{Muscle: mu, A: int32(a), B: int32(b), Cap: 4})
			}
		}
	}
}

// hoursBetween gives the shortest time between two columns' sessions in whole days. Two
// weekdays: the turn of the week included. Rotation groups: the shortest gap between
// any two days, as each may follow the other.
func (g *generation) hoursBetween(w *window, a, b int) int32 {
	days := g.brief.Request.Constraints.Days
	gap := func(x, y plan.Weekday) int32 {
		d := (int32(x) - int32(y) + 7) % 7
		return min(d, 7-d)
	}
	x, y := &w.columns[a], &w.columns[b]
	if x.group == "" && y.group == "" {
		return 24 * gap(days[x.day].Weekday, days[y.day].Weekday)
	}
	best := int32(7)
	for i := range days {
		for j := range i {
			best = min(best, gap(days[i].Weekday, days[j].Weekday))
		}
	}
	return 24 * best
}

// tooSoon finds, for asked recovery, what the windows allocated before rule out at the
// borders to this one: muscles trained directly there, in columns that come too soon
// after, or too soon before.
func (g *generation) tooSoon(w *window, done []*allocated) [][plan.MuscleCount]bool {
	out := make([][plan.MuscleCount]bool, len(w.columns))
	for _, r := range g.brief.Request.Constraints.Recovery {
		for _, before := range done {
			if before == nil {
				continue
			}
			for i := range before.window.sessions {
				x := &before.window.sessions[i]
				trained := false
				for c := range before.picks {
					trained = trained || before.answer.Sets[c][x.column] > 0 && before.picks[c].ex.Direct(r.Muscle)
				}
				for j := range w.sessions {
					y := &w.sessions[j]
					days := int32(y.week-x.week)*7 + g.offset(y.slot) - g.offset(x.slot)
					if trained && max(days, -days)*24 < r.Hours {
						out[y.column][r.Muscle] = true
					}
				}
			}
		}
	}
	return out
}

// offset is a session's day within its week.
func (g *generation) offset(s Slot) int32 {
	return offsetIn(&g.brief.Request.Constraints, s)
}
