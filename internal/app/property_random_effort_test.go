package app_test

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// athlete follows what an athlete can do from set to set of one exercise.
type athlete struct {
	v       *verdict
	x       *exercise.Exercise
	week    *plan.Week
	curve   *load.Curve
	oneRM   int64 // grams, 0: unknown
	body    int64 // grams moved beside the load
	fatigue load.Fatigue
	debt    [2]load.Debt // at the least and the most that the loads may stand for
	lost    bool         // a set's cost is unknown, so the ones after it can't be told
	first   bool
}

type curveKey struct {
	family string
	slope  plan.Permille
}

func newAthlete(v *verdict, w *plan.Week, x *exercise.Exercise, s *plan.Strength) *athlete {
	a := &athlete{v: v, x: x, week: w, fatigue: load.DefaultFatigue(), first: true}
	family, slope := string(x.Curve), plan.Permille(1000)
	if s != nil {
		slope = s.Slope
		family = s.Curve
		if i := int(w.Number) - 1; i < len(s.Planned) {
			a.oneRM = s.Planned[i]
		}
		if m := v.p.Request.Athlete.BodyMass; m.Set {
			a.body = m.Value.Grams() * int64(s.Share) / 1000
		}
	}
	if a.curve = v.curves[curveKey{family, slope}]; a.curve == nil {
		a.curve, _ = load.CurveFor(family)
		a.curve, _ = load.Shifted(a.curve, int32(slope))
		v.curves[curveKey{family, slope}] = a.curve
	}
	return a
}

// share gives the moved mass in grams: a counterweight takes its load off.
func (a *athlete) share(s *plan.Set) int64 {
	if a.x.Loading == plan.LoadingAssisted {
		return a.body - s.Load.Value.Grams()
	}
	return s.Load.Value.Grams() + a.body
}

func (a *athlete) heaviest(e *plan.ProgramExercise) int64 {
	top := int64(0)
	for i := range e.Sets {
		if e.Sets[i].Kind != plan.SetWarmup {
			top = max(top, a.share(&e.Sets[i]))
		}
	}
	return top
}

// fresh gives the least and the most repetitions (tenths) that a set's intensity stands
// for in a fresh athlete; false where no strength is known.
func (a *athlete) fresh(s *plan.Set) (lo, hi int32, ok bool) {
	switch {
	case a.oneRM > 0 && s.Load.Set:
		bp := (a.share(s)*10_000 + a.oneRM/2) / a.oneRM
		n := a.curve.NearestTenths(int32(bp))
		return n, n, true
	case s.Intensity.Set && s.Deferred.Set && s.Deferred.Value.Reference.Kind == plan.RefCalibration, s.Kind == plan.SetCalibration && s.Intensity.Set:
		// Stated to a thousandth only.
		i := int32(s.Intensity.Value) * 10
		return a.curve.NearestTenths(min(i+5, 10_000)), a.curve.NearestTenths(i - 5), true
	}
	return 0, 0, false
}

const (
	tolerance = 6  // half a repetition, and a tenth of rounding
	mostRIR   = 10 // stands for any reserve from it on
)

// next holds a set's repetitions and reserve against what the athlete can do then.
func (a *athlete) next(s *plan.Set, where string, least int32) {
	lo, hi, ok := a.fresh(s)
	defer func() { a.first = false }()
	if !ok || a.lost || s.Expected <= 0 {
		a.lost = a.lost || s.Hold.IsZero()
		return
	}
	now, most := a.fatigue.Capacity(lo, a.debt[0]), a.fatigue.Capacity(hi, a.debt[1])
	if a.first && (now != lo || most != hi) {
		a.v.wrong("curve", "%s: not fresh", where)
	}
	if !a.first {
		a.v.seen.fatigued++
	}
	said := 10 * s.Expected
	if s.RIR.Set {
		said += 10 * s.RIR.Value
	}
	switch {
	case said > most+tolerance:
		a.v.wrong("curve", "%s: about %d.%d repetitions are possible (fresh %d.%d)", where, most/10, most%10, hi/10, hi%10)
	case s.RIR.Set && said < now-tolerance && s.RIR.Value > 0 && s.RIR.Value < mostRIR && a.curve.MaxTenths() > now+tolerance:
		a.v.wrong("curve", "%s: as many as %d.%d repetitions are possible (fresh %d.%d)", where, now/10, now%10, hi/10, hi%10)
	case !s.RIR.Set && now-10*s.Expected+tolerance < 10*least:
		a.v.wrong("curve", "%s: leaves too little", where)
	}
	for k, fresh := range [...]int32{lo, hi} {
		done := 10 * s.Expected
		if s.ToFailure {
			done = max(done, a.fatigue.Capacity(fresh, a.debt[k]))
		}
		a.debt[k] = a.fatigue.Next(a.debt[k], fresh, load.Done{RepsTenths: done, Rest: s.Rest})
	}
}

// effort is the reserve that the outline asks of a role in a session, least and most of
// its schemes; false where an intensity alone decides.
func (v *verdict) effort(w *plan.Week, session *plan.Session, e *plan.ProgramExercise, x *exercise.Exercise, least int32) (lo, hi int32, ok bool) {
	r := &v.p.Request
	day := v.position(w.Number, session)
	if day < 0 {
		return 0, 0, false // told already
	}
	own := v.course.weeks[w.Number-1].tracks[track(r, x)]
	if x.Is(exercise.HardOnLowerBack) && !named(r, x.ID) {
		least = max(least, 1) // nobody asked for it, so it is not worth a failed repetition
	}
	if own.kind == plan.WeekDeload && least > 0 && !x.Pattern.Explosive() {
		least += 2 // easier than what the limits allow in other weeks
	}
	switch back, week := r.Athlete.LayoffWeeks.Or(0), w.Number; { // the first weeks after a layoff
	case back >= 8 && week <= 2:
		least = max(least, 4)
	case back >= 8 && week <= 4, back >= 3 && week <= 2:
		least = max(least, 3)
	}
	if own.kind == plan.WeekLeadIn {
		n := int32(3)
		if e.Role == plan.Explosive {
			n = 5
		}
		return max(n, least), max(n, least), true
	}
	if v.peaking(session, x.ID) {
		return 0, 0, false // practice only: the last heavy work is 4 to 10 days before the date
	}
	if own.at[day] < 0 {
		v.wrong("tracks", "%s: %q has no session on that day", at(w, session, x.ID), e.Track)
		return 0, 0, false
	}
	schemes := own.sessions[own.at[day]].Find(e.Role, "")
	if len(schemes) == 0 {
		v.wrong("tracks", "%s: %q has nothing for a %s exercise on that day", at(w, session, x.ID), e.Track, e.Role)
	}
	for _, s := range schemes {
		want := s.Effort.Wanted()
		if x.Is(exercise.Timed) && !s.Effort.RIR.Set {
			want = plan.Some(int32(2)) // a hold is not taken to failure
		}
		if !want.Set {
			return 0, 0, false
		}
		n, eased := want.Value, own.eased
		if x.Is(exercise.Timed) && !s.Effort.RIR.Set && eased > 0 {
			n = 0 // a reserve that nobody asked for stays what it is
		}
		if eased > 0 {
			n = min(n+eased, 6)
		} else if s.Effort.ToFailure && n == 0 && (!v.bounds.failure || least > 0) {
			n = 1
		}
		n = max(n, least)
		if !ok || n < lo {
			lo = n
		}
		if !ok || n > hi {
			hi = n
		}
		ok = true
	}
	return lo, hi, ok
}

// peaking reports a session in the week before the date on which an exercise peaks.
func (v *verdict) peaking(session *plan.Session, id string) bool {
	date := session.Date
	return date.Set && slices.ContainsFunc(v.p.Request.Goals, func(g plan.Goal) bool {
		return g.Kind == plan.GoalPeak && g.ExerciseID == id && g.Date.Value-date.Value <= 7
	})
}

// named reports an exercise that the request asks for.
func named(r *plan.Request, id string) bool {
	return slices.ContainsFunc(r.Constraints.Pinned, func(p plan.Pin) bool { return p.ExerciseID == id }) ||
		slices.ContainsFunc(r.Goals, func(g plan.Goal) bool { return g.ExerciseID == id })
}

func (v *verdict) weekOf(number int32) *plan.Week {
	for i := range v.p.Phases {
		for j := range v.p.Phases[i].Weeks {
			if w := &v.p.Phases[i].Weeks[j]; w.Number == number {
				return w
			}
		}
	}
	return &plan.Week{}
}

// reserve wants a set's RIR within one of what the outline asks after safety, or the
// program to say why not.
func (v *verdict) reserve(w *plan.Week, session *plan.Session, e *plan.ProgramExercise, x *exercise.Exercise, s *plan.Set, least int32, a *athlete, where string) {
	lo, hi, ok := v.effort(w, session, e, x, least)
	if !ok || !s.RIR.Set {
		return
	}
	v.seen.rirs++
	if need := v.needed(x, a) - s.Reps.Min; need > hi {
		hi = need // no load that safety allows leaves less
	}
	if s.RIR.Value >= lo-1 && s.RIR.Value <= hi+1 || v.told(w.Number, e) {
		return
	}
	v.wrong("reserve", "%s: %d to %d is asked, note %q", where, lo, hi, e.Note)
}

// needed gives the fewest repetitions to failure that a load may stand for.
func (v *verdict) needed(x *exercise.Exercise, a *athlete) int32 {
	if !x.Loading.Loadable() && x.Loading != plan.LoadingAssisted {
		return 0
	}
	n := v.bounds.leastRM
	if v.bounds.cap > 0 {
		n = max(n, (a.curve.RepsTenths(int32(v.bounds.cap)*10)+9)/10)
	}
	return n
}

// told reports a finding about an exercise's reserve; one that holds on is said once.
func (v *verdict) told(week int32, e *plan.ProgramExercise) bool {
	return v.says(func(f *plan.Finding) bool {
		return f.Rule == "load.off-target" && f.ExerciseID == e.ExerciseID && f.Week <= week
	})
}

// doses: where a priority or a floor is missed, either the sessions are four fifths full
// or a limit is named, and the limit is true.
func (v *verdict) doses() {
	r := &v.p.Request
	for _, al := range v.p.Allocations {
		runs := v.runs(al)
		w := v.heaviest(runs)
		if w == nil || al.FromWeek != runs[0].FromWeek {
			continue
		}
		for _, m := range w.Muscles {
			grow := slices.ContainsFunc(r.Goals, func(g plan.Goal) bool { return g.Kind == plan.GoalGrow && g.Muscle == m.Muscle })
			want := min(m.Wanted, 8)
			if !slices.Contains(plan.LargeMuscles[:], m.Muscle) {
				want = 0
			}
			if grow {
				want = m.Wanted
			}
			if m.Sets >= want {
				continue
			}
			v.seen.short++
			named := false
			for i := range v.p.Findings {
				if f := &v.p.Findings[i]; f.Rule == "dose.short" && f.Muscle == m.Muscle && (f.Week == al.FromWeek || f.Week == w.Number) {
					if saysWeek.MatchString(f.Says) && f.Week != w.Number {
						continue // of another week
					}
					named = true
					if !v.ofTheWeek(w, m, f.Says) {
						v.limit(runs, w, m.Muscle, f.Says)
					}
				}
			}
			if named || v.says(func(f *plan.Finding) bool { return f.Rule == "time.finding-loads" && f.Week == w.Number }) {
				continue
			}
			for k := range w.Sessions {
				s := &w.Sessions[k]
				if s.Kind != plan.SessionTraining {
					continue
				}
				if t := sessionTime(v.cat, s); t*10 < s.Limit*8 {
					v.wrong("full", "week %d: %s gets %s of %s, nothing says why, and %s takes %s of %s", w.Number, m.Muscle, m.Sets, want, s.Weekday, t, s.Limit)
					break
				}
			}
		}
	}
}

// runs gives the runs of weeks of one window: two weeks elsewhere divide it, and its
// allocation is listed for each.
func (v *verdict) runs(al plan.Allocation) []plan.Allocation {
	var out []plan.Allocation
	for _, x := range v.p.Allocations {
		if x.Work == al.Work && x.Candidates == al.Candidates && slices.Equal(x.Value, al.Value) && slices.Equal(x.Bound, al.Bound) {
			out = append(out, x)
		}
	}
	return out
}

// within reports a week of one of the runs.
func within(runs []plan.Allocation, week int32) bool {
	return slices.ContainsFunc(runs, func(al plan.Allocation) bool { return week >= al.FromWeek && week <= al.ToWeek })
}

// heaviest gives the training week of a window with the most wanted.
func (v *verdict) heaviest(runs []plan.Allocation) *plan.Week {
	var top *plan.Week
	most := plan.HalfSets(-1)
	for i := range v.p.Phases {
		for j := range v.p.Phases[i].Weeks {
			w := &v.p.Phases[i].Weeks[j]
			if !within(runs, w.Number) || w.Kind != plan.WeekTraining {
				continue
			}
			sum := plan.HalfSets(0)
			for _, m := range w.Muscles {
				sum += m.Wanted
			}
			if sum > most {
				top, most = w, sum
			}
		}
	}
	return top
}

var (
	saysMinutes   = regexp.MustCompile(`minutes are (full|taken)`)
	saysExercises = regexp.MustCompile(`the limit of (\d+) exercises a session`)
	saysSets      = regexp.MustCompile(`the limit of (\d+) sets a session`)
	saysDirect    = regexp.MustCompile(`the limit of (\d+) direct sets for a muscle a session`)
	saysWeekly    = regexp.MustCompile(`constraints\.limits allows ([\d.]+)`)
	saysNothing   = regexp.MustCompile(`nothing that trains it directly is possible|only out-of-the-way exercises train it directly`)
	saysLeft      = regexp.MustCompile(`: ([^:]+) would train it directly and gives way to better-known work of its movement`)
	saysTaper     = regexp.MustCompile(`the taper keeps its share of the sets done before it`)
	saysWeek      = regexp.MustCompile(`the week has|the rotation brings|sets are whole numbers|sets gave way`)
	saysSessions  = regexp.MustCompile(`the week has (\d+) sessions? of (\d+)`)
	saysRotation  = regexp.MustCompile(`the rotation brings its sessions up`)
	saysWhole     = regexp.MustCompile(`sets are whole numbers`)
	saysGaveWay   = regexp.MustCompile(`sets gave way to finding the loads, or to the climb`)
	saysUnasked   = regexp.MustCompile(`the strategy has no sets for what trains it directly`)
	saysHeavy     = regexp.MustCompile(`the lightest that is there is too heavy in what trains it directly`)
	saysSchemes   = regexp.MustCompile(`sets of the strategy's schemes and recovery between days`)
)

// ofTheWeek reports a reason that holds for one week, and wants it to be true.
func (v *verdict) ofTheWeek(w *plan.Week, m plan.MuscleTotal, says string) bool {
	if found := saysSessions.FindStringSubmatch(says); found != nil {
		if n, _ := strconv.Atoi(found[2]); trainings(w) >= n {
			v.wrong("limit", "week %d %s: no session is missing: %q", w.Number, m.Muscle, says)
		}
		return true
	}
	if saysRotation.MatchString(says) {
		if len(w.Sessions) > 0 && w.Sessions[0].Group == "" {
			v.wrong("limit", "week %d %s: nothing rotates: %q", w.Number, m.Muscle, says)
		}
		return true
	}
	if saysWhole.MatchString(says) {
		if m.Wanted-m.Sets > 2 {
			v.wrong("limit", "week %d %s: more than a set is missed: %q", w.Number, m.Muscle, says)
		}
		return true
	}
	return saysGaveWay.MatchString(says)
}

// trainings counts a week's training sessions.
func trainings(w *plan.Week) int {
	n := 0
	for i := range w.Sessions {
		if w.Sessions[i].Kind == plan.SessionTraining {
			n++
		}
	}
	return n
}

// limit wants a named limit to be true; that of minutes is checked with the sessions.
func (v *verdict) limit(runs []plan.Allocation, w *plan.Week, m plan.Muscle, says string) {
	l := v.p.Request.Constraints.Limits
	known := false
	number := func(re *regexp.Regexp, limit int32, reached func(s *plan.Session) int32) {
		found := re.FindStringSubmatch(says)
		if found == nil {
			return
		}
		known = true
		if n, _ := strconv.Atoi(found[1]); int32(n) != limit {
			v.wrong("limit", "week %d %s: the limit is %d, said is %q", w.Number, m, limit, says)
		}
		if !v.anySession(runs, func(s *plan.Session) bool { return reached(s) >= limit }) {
			v.wrong("limit", "week %d %s: no session reaches it: %q", w.Number, m, says)
		}
	}
	number(saysExercises, l.ExercisesPerSession.Value, func(s *plan.Session) int32 { return int32(len(s.Exercises)) })
	number(saysSets, l.SetsPerSession.Value, func(s *plan.Session) int32 { return v.counted(s, func(*exercise.Exercise) bool { return true }) })
	number(saysDirect, l.MuscleSetsPerSession.Value, func(s *plan.Session) int32 {
		return v.counted(s, func(x *exercise.Exercise) bool { return x.Direct(m) })
	})
	if saysWeekly.MatchString(says) {
		known = true
		if !slices.ContainsFunc(l.MuscleSetsPerWeek, func(s plan.MuscleSets) bool {
			return s.Muscle == m && strings.Contains(says, "allows "+s.Sets.String())
		}) {
			v.wrong("limit", "week %d %s: there is no such limit: %q", w.Number, m, says)
		}
	}
	if strings.Contains(says, "at every place where one workout comes up") {
		known = true
		places := map[string]bool{}
		v.anySession(runs, func(s *plan.Session) bool { places[s.PlaceID] = true; return false })
		if len(places) < 2 {
			v.wrong("limit", "week %d %s: there is one place: %q", w.Number, m, says)
		}
	} else if saysNothing.MatchString(says) || saysUnasked.MatchString(says) {
		known = true
		if id := v.trains(w, m); id != "" {
			v.wrong("limit", "week %d: %s does train %s: %q", w.Number, id, m, says)
		}
	}
	if found := saysLeft.FindStringSubmatch(says); found != nil {
		known = true
		for _, x := range v.cat.All() {
			if x.Name == found[1] && (!x.Direct(m) || v.anySession(runs, func(s *plan.Session) bool {
				return slices.ContainsFunc(s.Exercises, func(e plan.ProgramExercise) bool { return e.ExerciseID == x.ID })
			})) {
				v.wrong("limit", "week %d %s: %s is there, or doesn't train it: %q", w.Number, m, x.ID, says)
			}
		}
	}
	if saysTaper.MatchString(says) {
		known = true
		if w.Kind != plan.WeekTaper {
			v.wrong("limit", "week %d %s: it is no taper: %q", w.Number, m, says)
		}
	}
	if saysMinutes.MatchString(says) {
		known = true
		// What is full in the model is nearly so on paper, or would be with the longest
		// rest of these weeks after each set.
		rest := v.longestRest(runs)
		switch lighter := strings.Contains(says, "before a lighter week's cut"); {
		case lighter && w.Kind == plan.WeekTraining && trainings(w) > 0:
			v.wrong("full", "week %d %s: it is a full week: %q", w.Number, m, says)
		case !lighter && !v.anySession(runs, func(s *plan.Session) bool { return (sessionTime(v.cat, s)+resting(s, rest))*10 >= s.Limit*4 }):
			v.wrong("full", "week %d %s: no session is even two fifths full: %q", w.Number, m, says)
		}
	}
	if saysSchemes.MatchString(says) || saysHeavy.MatchString(says) {
		known = true
		v.seen.vague++
	}
	if !known {
		v.wrong("limit", "week %d %s: no limit is named: %q", w.Number, m, says)
	}
}

// asksFor reports a week in which an exercise's track has sets for its kind.
func (v *verdict) asksFor(w *plan.Week, x *exercise.Exercise) bool {
	own := v.course.weeks[w.Number-1].tracks[track(&v.p.Request, x)]
	return own.kind == plan.WeekLeadIn || slices.ContainsFunc(own.sessions, func(s plan.OutlineSession) bool { return len(s.Find(x.Role, "")) > 0 })
}

func (v *verdict) longestRest(runs []plan.Allocation) plan.Seconds {
	most := plan.Seconds(0)
	v.anySession(runs, func(s *plan.Session) bool {
		for i := range s.Exercises {
			for _, set := range s.Exercises[i].Sets {
				most = max(most, set.Rest)
			}
		}
		return false
	})
	return most
}

// resting is how much longer a session would take with one rest after all its sets.
func resting(s *plan.Session, rest plan.Seconds) plan.Seconds {
	more := plan.Seconds(0)
	for i := range s.Exercises {
		for _, set := range s.Exercises[i].Sets {
			if set.Kind == plan.SetWorking {
				more += max(0, rest-set.Rest)
			}
		}
	}
	return more
}

func (v *verdict) anySession(runs []plan.Allocation, is func(s *plan.Session) bool) bool {
	for i := range v.p.Phases {
		for j := range v.p.Phases[i].Weeks {
			w := &v.p.Phases[i].Weeks[j]
			for k := range w.Sessions {
				if within(runs, w.Number) && is(&w.Sessions[k]) {
					return true
				}
			}
		}
	}
	return false
}

func (v *verdict) counted(s *plan.Session, is func(x *exercise.Exercise) bool) int32 {
	n := int32(0)
	for i := range s.Exercises {
		if x, ok := v.cat.ByID(s.Exercises[i].ExerciseID); ok && is(x) {
			n += s.Exercises[i].Working()
		}
	}
	return n
}

// trains finds a usual exercise of little skill that trains a muscle at every place of a
// week, that the strategy has sets for and that nothing rules out.
func (v *verdict) trains(w *plan.Week, m plan.Muscle) string {
	r := &v.p.Request
	for _, x := range v.cat.All() {
		if !x.Direct(m) || !v.asksFor(w, x) || x.Standing == exercise.Niche || x.Skill > plan.SkillLow || restricted(r, x) || slices.Contains(r.Constraints.Excluded, x.ID) ||
			x.Flags&v.bounds.flags != 0 || slices.ContainsFunc(r.Athlete.Skills, func(k plan.MovementSkill) bool { return k.ExerciseID == x.ID || k.Pattern == x.Pattern }) {
			continue
		}
		all := len(w.Sessions) > 0
		for i := range w.Sessions {
			all = all && equipped(x, placeOf(r, w.Sessions[i].PlaceID))
		}
		if all {
			return x.ID
		}
	}
	return ""
}
