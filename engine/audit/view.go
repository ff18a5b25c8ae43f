package audit

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// auditor holds the program as read: everything resolved once, nothing trusted.
type auditor struct {
	p       *plan.Program
	r       *plan.Request
	cat     *exercise.Catalogue
	weeks   []week
	body    int64 // grams, 0 unknown
	levels  map[plan.RuleID]plan.FindingLevel
	menus   map[menuKey]*menu
	curves  []*load.Curve // of p.Strengths
	told    map[toldKey]bool
	failing map[string]bool // exercises whose many sets to failure have been told
	slab    []set           // of all lifts; few large blocks instead of many small ones
	lifts   []lift
	out     []plan.Finding
}

// toldKey marks an exercise's week in which a graver finding speaks for lesser ones.
type toldKey struct {
	exercise string
	week     int32
}

type week struct {
	w        *plan.Week
	n        int32 // 1-based position, whatever the week calls itself
	phase    int
	sessions []session
}

type session struct {
	s     *plan.Session
	week  int32
	n     int32
	day   *plan.Day   // nil: not one of the request's
	place *plan.Place // nil: not one of the request's
	limit plan.Seconds
	at    int64 // day number, on the scale
	scale scale
	lifts []lift
}

// scale is what session.at counts.
type scale uint8

const (
	unplaced scale = iota // nothing to go by
	byWeek                // 7 × week + weekday
	byDate
)

type lift struct {
	in      *session
	e       *plan.ProgramExercise
	x       *exercise.Exercise // nil: unknown
	goal    *plan.Goal         // a goal about this lift
	curve   *load.Curve
	share   plan.Permille // of body mass moved
	known   bool          // a Strength stands behind it
	lent    bool          // that of another lift
	planned int64         // 1RM in grams planned for the week, 0 unknown
	menu    *menu
	work    []set // all but warm-up
	warm    []set
}

type set struct {
	s         *plan.Set
	lo, hi    int32 // repetitions meant
	moved     int64 // grams with the share of body mass, 0 unknown
	intensity plan.Opt[plan.Permille]
	rir       plan.Opt[int32] // as stated; 0 to failure
}

// Bounds beyond which a number is taken for a slip and not used in arithmetic.
const (
	maxReps  = 200
	maxHold  = 3600
	maxRest  = 3600
	maxRIR   = 20
	maxMilli = 2_000_000 // of a load, in thousandths of kg or lb
)

func newAuditor(p *plan.Program, cat *exercise.Catalogue) *auditor {
	a := &auditor{p: p, r: &p.Request, cat: cat, menus: map[menuKey]*menu{}, told: map[toldKey]bool{}, levels: map[plan.RuleID]plan.FindingLevel{}}
	for _, r := range rules() {
		a.levels[r.id] = r.level
	}
	if m := a.r.Athlete.BodyMass; m.Set && m.Value.Milli > 0 && m.Value.Milli <= maxMilli {
		a.body = m.Value.Grams()
	}
	a.curves = make([]*load.Curve, len(p.Strengths))
	for i := range p.Strengths {
		a.curves[i] = curveOf(p.Strengths[i].Curve, p.Strengths[i].Slope)
	}
	n := int32(0)
	for ph := range p.Phases {
		for w := range p.Phases[ph].Weeks {
			n++
			a.weeks = append(a.weeks, week{w: &p.Phases[ph].Weeks[w], n: n, phase: ph})
		}
	}
	sets, lifts := 0, 0
	for i := range a.weeks {
		for j := range a.weeks[i].w.Sessions {
			s := &a.weeks[i].w.Sessions[j]
			lifts += len(s.Exercises)
			for k := range s.Exercises {
				sets += len(s.Exercises[k].Sets)
			}
		}
	}
	a.slab, a.lifts = make([]set, 0, sets), make([]lift, 0, lifts)
	for i := range a.weeks {
		a.readWeek(&a.weeks[i])
	}
	return a
}

func curveOf(family string, slope plan.Permille) *load.Curve {
	c, err := load.CurveFor(family)
	if err != nil {
		return nil
	}
	if slope == 0 || slope == 1000 {
		return c
	}
	if shifted, err := load.Shifted(c, int32(slope)); err == nil {
		return shifted
	}
	return c
}

func (a *auditor) readWeek(w *week) {
	w.sessions = make([]session, len(w.w.Sessions))
	for i := range w.sessions {
		s := &w.sessions[i]
		*s = session{s: &w.w.Sessions[i], week: w.n, n: int32(i + 1)}
		c := &a.r.Constraints
		if d := s.s.Day; s.s.Kind != plan.SessionAttempt && d >= 0 && int(d) < len(c.Days) {
			s.day = &c.Days[d]
			s.limit = plan.Seconds(min(max(s.day.Minutes, 0), 24*60)) * 60
		} else {
			s.limit = min(max(s.s.Limit, 0), 24*3600)
		}
		for j := range c.Places {
			if c.Places[j].ID == s.s.PlaceID {
				s.place = &c.Places[j]
				break
			}
		}
		s.at, s.scale = a.dayOf(w, s)
		from := len(a.lifts)
		for j := range s.s.Exercises {
			a.lifts = append(a.lifts, a.readLift(s, &s.s.Exercises[j]))
		}
		s.lifts = a.lifts[from:len(a.lifts):len(a.lifts)]
	}
}

// weekStart gives the date on which a week begins, if anything tells.
func (a *auditor) weekStart(w *week) (plan.Date, bool) {
	if w.w.Start.Set {
		return w.w.Start.Value, true
	}
	if s := a.r.Constraints.Start; s.Set {
		return s.Value.AddDays(7 * int(w.n-1)), true
	}
	return 0, false
}

func (a *auditor) dayOf(w *week, s *session) (int64, scale) {
	if s.s.Date.Set {
		return int64(s.s.Date.Value), byDate
	}
	day := s.s.Weekday
	if day == plan.WeekdayUnspecified && s.day != nil {
		day = s.day.Weekday
	}
	if day == plan.WeekdayUnspecified || day > plan.Sunday {
		return 0, unplaced
	}
	if start, ok := a.weekStart(w); ok {
		return int64(start) + int64((day+7-start.Weekday())%7), byDate
	}
	return 7*int64(w.n-1) + int64(day) - 1, byWeek
}

func (a *auditor) readLift(s *session, e *plan.ProgramExercise) lift {
	l := lift{in: s, e: e, goal: a.goalOf(e.ExerciseID)}
	if x, ok := a.cat.ByID(e.ExerciseID); ok {
		l.x, l.share = x, x.BodyMassShare
		l.curve = curveOf(string(x.Curve), 1000)
	}
	for i := range a.p.Strengths {
		st := &a.p.Strengths[i]
		if st.ExerciseID != e.ExerciseID {
			continue
		}
		l.known, l.lent = true, st.Known == 0 && st.Borrowed != ""
		if st.Share >= 0 && st.Share <= 1000 {
			l.share = st.Share
		}
		if a.curves[i] != nil {
			l.curve = a.curves[i]
		}
		if w := int(s.week) - 1; w < len(st.Planned) && st.Planned[w] > 0 && st.Planned[w] <= 2_000_000 {
			l.planned = st.Planned[w]
		}
		break
	}
	if l.x != nil && s.place != nil {
		l.menu = a.menuFor(l.x, s.place)
	}
	from := len(a.slab)
	for i := range e.Sets {
		if e.Sets[i].Kind == plan.SetWarmup {
			a.slab = append(a.slab, a.readSet(&l, &e.Sets[i]))
		}
	}
	mid := len(a.slab)
	for i := range e.Sets {
		if e.Sets[i].Kind != plan.SetWarmup {
			a.slab = append(a.slab, a.readSet(&l, &e.Sets[i]))
		}
	}
	l.warm, l.work = a.slab[from:mid:mid], a.slab[mid:len(a.slab):len(a.slab)]
	return l
}

// hard counts the sets that train; tests and attempts don't.
func (l *lift) hard() int32 {
	n := int32(0)
	for i := range l.work {
		if l.work[i].s.Kind.Counts() {
			n++
		}
	}
	return n
}

func (a *auditor) readSet(l *lift, s *plan.Set) set {
	out := set{s: s, lo: clampReps(s.Reps.Min), hi: clampReps(s.Reps.Max), intensity: s.Intensity, rir: s.RIR}
	if s.Expected > 0 {
		out.lo, out.hi = clampReps(s.Expected), clampReps(s.Expected)
	}
	out.hi = max(out.lo, out.hi)
	switch {
	case s.ToFailure:
		out.rir = plan.Some(int32(0))
	case out.rir.Set && (out.rir.Value < 0 || out.rir.Value > maxRIR):
		out.rir = plan.Opt[int32]{}
	}
	out.moved = a.moved(l, s)
	return out
}

// moved is the mass of a repetition in grams, 0 where it can't be known.
func (a *auditor) moved(l *lift, s *plan.Set) int64 {
	body := int64(0)
	if l.share > 0 {
		if a.body == 0 {
			return 0
		}
		body = a.body * int64(l.share) / 1000
	}
	if s.Load.Set {
		v := s.Load.Value
		if v.Milli < 0 || v.Milli > maxMilli || v.Unit != plan.Kilogram && v.Unit != plan.Pound {
			return 0
		}
		if l.x != nil && l.x.Loading == plan.LoadingAssisted {
			return max(body-v.Grams(), 0)
		}
		return body + v.Grams()
	}
	if l.x != nil && l.x.Loading == plan.LoadingBodyweight {
		return body
	}
	return 0
}

// heavier reports whether load x is more to move than y: with a counterweight it is less
// help.
func (a *auditor) heavier(id string, x, y plan.Load) bool {
	if e, ok := a.cat.ByID(id); ok && e.Loading == plan.LoadingAssisted {
		return x.Cmp(y) < 0
	}
	return x.Cmp(y) > 0
}

func clampReps(n int32) int32 { return min(max(n, 0), maxReps) }

// share gives a set's intensity in permille of the planned 1RM: from its load where
// that can be told, else as stated; 0 unknown.
func (l *lift) intensityOf(s *set) plan.Permille {
	stated := plan.Permille(0)
	if s.intensity.Set {
		stated = min(max(s.intensity.Value, 0), 2000)
	}
	if s.s.Load.Set && s.moved > 0 && l.planned > 0 {
		return max(stated, plan.Permille(min(s.moved*1000/l.planned, 2000)))
	}
	return stated
}

// reserve gives the repetitions in reserve that safety has to reckon with: as stated,
// 0 to failure, in tests near the 1RM and in open-ended sets that say nothing; else what the fresh
// curve leaves at that load. Unset where nothing tells.
func (l *lift) reserve(s *set) plan.Opt[int32] {
	if s.rir.Set {
		return s.rir
	}
	if s.s.OpenEnded || nearMaximum(s.s) {
		return plan.Some(int32(0))
	}
	if l.curve == nil || l.planned == 0 || s.moved == 0 || s.hi == 0 {
		return plan.Opt[int32]{}
	}
	can := l.curve.RepsTenths(int32(min(s.moved*10_000/l.planned, 20_000)))
	return plan.Some(max(can/10-s.hi, 0))
}

func (a *auditor) goalOf(id string) *plan.Goal {
	for i := range a.r.Goals {
		if g := &a.r.Goals[i]; g.Lift() && g.ExerciseID == id && id != "" {
			return g
		}
	}
	return nil
}

// raised reports goals that want more of a lift, not only to keep it.
func raised(g *plan.Goal) bool {
	return g != nil && (g.Kind == plan.GoalRaise1RM || g.Kind == plan.GoalPeak)
}

func (l *lift) role() plan.Role {
	switch {
	case l.goal != nil:
		return plan.GoalLift
	case l.x == nil:
		return l.e.Role
	case l.x.Pattern.Explosive():
		return plan.Explosive
	}
	return l.x.Role
}

// direct counts working sets that are direct ones for a muscle.
func (l *lift) direct(m plan.Muscle) int32 {
	if l.x == nil || !l.x.Direct(m) {
		return 0
	}
	return int32(len(l.work))
}

func (s *session) direct(m plan.Muscle) int32 {
	n := int32(0)
	for i := range s.lifts {
		n += s.lifts[i].direct(m)
	}
	return n
}

// sets counts working sets; tests and attempts are none.
func (s *session) sets() int32 {
	n := int32(0)
	for i := range s.lifts {
		n += s.lifts[i].hard()
	}
	return n
}

func (w *week) sets() int32 {
	n := int32(0)
	for i := range w.sessions {
		n += w.sessions[i].sets()
	}
	return n
}

// training reports weeks of full work.
func (w *week) training() bool { return w.w.Kind == plan.WeekTraining }

func (a *auditor) eachSession(f func(w *week, s *session)) {
	for i := range a.weeks {
		w := &a.weeks[i]
		for j := range w.sessions {
			f(w, &w.sessions[j])
		}
	}
}

func (a *auditor) eachLift(f func(w *week, s *session, l *lift)) {
	a.eachSession(func(w *week, s *session) {
		for k := range s.lifts {
			f(w, s, &s.lifts[k])
		}
	})
}

// name gives the exercise's name as a coach prints it; the id where it is unknown.
func (a *auditor) name(id string) string {
	if x, ok := a.cat.ByID(id); ok {
		return x.Name
	}
	return id
}

// inWeeks adds how many weeks a sentence holds for, where it is more than one.
func inWeeks(n int) string {
	if n < 2 {
		return ""
	}
	return fmt.Sprintf(" (so in %d weeks)", n)
}
