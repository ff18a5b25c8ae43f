package app_test

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// verdict collects what is wrong with a program, each with the property it breaks.
type verdict struct {
	p      *plan.Program
	asked  *plan.Request // as it came
	cat    *exercise.Catalogue
	bounds bounds
	shelf  map[string]*shelf
	curves map[curveKey]*load.Curve
	known  []engine.Strategy
	course course
	tested map[string]*courseTest // the last test of each lift so far
	bad    []string
	seen   struct{ sets, fatigued, rirs, short, vague, tests, referred int }
}

func (v *verdict) wrong(property, format string, args ...any) {
	v.bad = append(v.bad, property+": "+fmt.Sprintf(format, args...))
}

// judge holds a program against every property.
func judge(e *engine.Engine, known []engine.Strategy, asked *plan.Request, p *plan.Program) *verdict {
	cat, err := e.Catalogue().WithOwn(p.Request.Own)
	v := &verdict{p: p, asked: asked, cat: cat, known: known, tested: map[string]*courseTest{}, bounds: boundsOf(&p.Request), shelf: map[string]*shelf{}, curves: map[curveKey]*load.Curve{}}
	if err != nil {
		v.wrong("own exercises", "%v", err)
		v.cat = e.Catalogue()
	}
	for i := range p.Request.Constraints.Places {
		pl := &p.Request.Constraints.Places[i]
		v.shelf[pl.ID] = newShelf(pl)
	}
	for _, f := range e.Audit(p) {
		if f.Level == plan.LevelViolation {
			v.wrong("audit", "%s: %s", f.Rule, f.Says)
		}
	}
	if ok, err := p.Intact(); !ok || err != nil {
		v.wrong("digest", "is not that of the content (%v)", err)
	}
	if d, err := plan.DigestOf(*asked); err != nil || d != p.RequestDigest {
		v.wrong("digest", "is not that of the request (%v)", err)
	}
	if !v.chart(known) {
		return v
	}
	v.composition()
	v.growth()
	number := int32(0)
	for i := range p.Phases {
		for j := range p.Phases[i].Weeks {
			w := &p.Phases[i].Weeks[j]
			number++
			if w.Number != number || int(number) > len(v.course.weeks) {
				v.wrong("weeks", "week %d is numbered %d", number, w.Number)
				return v
			}
			v.week(w)
		}
		v.pins(&p.Phases[i])
	}
	v.dropped()
	if want := p.Request.Constraints.Weeks.Value; number != want {
		v.wrong("weeks", "are %d, asked were %d", number, want)
	}
	v.doses()
	return v
}

// week checks every session of a week and everything in it.
func (v *verdict) week(w *plan.Week) {
	r := &v.p.Request
	last := plan.Date(-1 << 30)
	for i := range w.Sessions {
		s := &w.Sessions[i]
		day := &r.Constraints.Days[s.Day]
		if s.Date.Set {
			if s.Date.Value <= last || s.Date.Value.Weekday() != s.Weekday {
				v.wrong("calendar", "%s %s", at(w, s, ""), s.Date.Value)
			}
			last = s.Date.Value
			if s.Kind != plan.SessionAttempt && slices.ContainsFunc(r.Constraints.NoTraining, func(n plan.DateRange) bool { return n.From <= last && last <= n.To }) {
				v.wrong("calendar", "%s trains on %s", at(w, s, ""), last)
			}
		} else if r.Constraints.Start.Set {
			v.wrong("calendar", "%s has no date", at(w, s, ""))
		}
		if s.Kind == plan.SessionAttempt {
			day = &plan.Day{Weekday: s.Date.Value.Weekday(), Minutes: int32(s.Limit+59) / 60, PlaceID: r.Constraints.Days[0].PlaceID}
		}
		if s.Weekday != day.Weekday || (s.Limit+59)/60 != plan.Seconds(day.Minutes) || s.Kind != plan.SessionAttempt && s.Limit != plan.Seconds(day.Minutes)*60 || s.PlaceID != v.placeAt(day, w.Number, s.Date) {
			v.wrong("calendar", "%s: day, limit or place %q are not the request's", at(w, s, ""), s.PlaceID)
			continue
		}
		if t := sessionTime(v.cat, s); t > s.Limit || s.Seconds > s.Limit || s.Seconds < t {
			v.wrong("minutes", "%s takes %s, states %s, has %s", at(w, s, ""), t, s.Seconds, s.Limit)
		}
		if len(s.Exercises) == 0 && w.Kind == plan.WeekTraining && !v.says(func(f *plan.Finding) bool { return f.Level >= plan.LevelDeparture }) {
			v.wrong("empty", "%s has no exercise and nothing says why", at(w, s, ""))
		}
		l := r.Constraints.Limits
		sets := int32(0)
		var direct [plan.MuscleCount]int32
		for k := range s.Exercises {
			e := &s.Exercises[k]
			x, ok := v.cat.ByID(e.ExerciseID)
			if !ok {
				v.wrong("catalogue", "lacks %s", e.ExerciseID)
				continue
			}
			sets += e.Working()
			for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
				if x.Involvement[m] == exercise.Prime && !x.Pattern.Explosive() {
					direct[m] += e.Working()
				}
			}
			v.allowed(w, s, e, x)
			if want := track(r, x); e.Track != want {
				v.wrong("tracks", "%s follows %q, not %q", at(w, s, x.ID), e.Track, want)
			}
			v.sets(w, s, e, x)
			if s.Kind == plan.SessionRetest {
				v.tested[x.ID] = v.testOf(w.Number, s)
			}
		}
		if s.Kind == plan.SessionAttempt {
			continue
		}
		if int32(len(s.Exercises)) > l.ExercisesPerSession.Value || sets > l.SetsPerSession.Value || slices.Max(direct[:]) > l.MuscleSetsPerSession.Value {
			v.wrong("limits", "%s: %d exercises, %d sets, %d of a muscle", at(w, s, ""), len(s.Exercises), sets, slices.Max(direct[:]))
		}
	}
	for _, l := range r.Constraints.Limits.MuscleSetsPerWeek {
		for _, m := range w.Muscles {
			if m.Muscle == l.Muscle && m.Sets > l.Sets {
				v.wrong("limits", "week %d: %s gets %s of %s", w.Number, m.Muscle, m.Sets, l.Sets)
			}
		}
	}
}

func (v *verdict) placeAt(day *plan.Day, week int32, date plan.Opt[plan.Date]) string {
	id := day.PlaceID
	for _, p := range v.p.Request.Constraints.Periods {
		if p.FromWeek.Set && p.FromWeek.Value <= week && week <= p.ToWeek.Value ||
			p.FromDate.Set && date.Set && p.FromDate.Value <= date.Value && date.Value <= p.ToDate.Value {
			id = p.PlaceID
		}
	}
	return id
}

func (v *verdict) says(is func(f *plan.Finding) bool) bool {
	for i := range v.p.Findings {
		if is(&v.p.Findings[i]) {
			return true
		}
	}
	return false
}

// allowed checks equipment, restrictions, exclusions and what safety rules out, also for
// the substitutes.
func (v *verdict) allowed(w *plan.Week, s *plan.Session, e *plan.ProgramExercise, x *exercise.Exercise) {
	r := &v.p.Request
	check := func(x *exercise.Exercise, what string) {
		if !equipped(x, placeOf(r, s.PlaceID)) {
			v.wrong("equipment", "%s%s is not possible at %s", at(w, s, x.ID), what, s.PlaceID)
		}
		if restricted(r, x) {
			v.wrong("restrictions", "%s%s", at(w, s, x.ID), what)
		}
		if slices.Contains(r.Constraints.Excluded, x.ID) {
			v.wrong("exclusions", "%s%s", at(w, s, x.ID), what)
		}
		if x.Flags&v.bounds.flags != 0 {
			v.wrong("safety", "%s%s is not for this stage", at(w, s, x.ID), what)
		}
	}
	check(x, "")
	for _, c := range e.Contingencies {
		for _, id := range c.Swap {
			if y, ok := v.cat.ByID(id); ok {
				check(y, " (substitute)")
			} else {
				v.wrong("catalogue", "lacks %s", id)
			}
		}
	}
}

// sets checks loads, repetitions, reserve and safety of one exercise.
func (v *verdict) sets(w *plan.Week, s *plan.Session, e *plan.ProgramExercise, x *exercise.Exercise) {
	here := placeOf(&v.p.Request, s.PlaceID)
	least := v.bounds.least(&v.p.Request, x, here)
	known := v.strength(x.ID)
	a := newAthlete(v, w, x, known)
	working := 0
	for i := range e.Sets {
		set := &e.Sets[i]
		v.seen.sets++
		where := fmt.Sprintf("%s set %d (%d–%d, expected %d, RIR %v, load %s)", at(w, s, x.ID), i+1, set.Reps.Min, set.Reps.Max, set.Expected, set.RIR, set.Load.Value)
		if set.Load.Set {
			if !v.shelf[s.PlaceID].builds(x, set.Load.Value) {
				v.wrong("loads", "%s can't be built at %s", where, s.PlaceID)
			}
			if !units(here)[set.Load.Value.Unit] && !set.Load.Value.IsZero() {
				v.wrong("unit", "%s", where)
			}
			v.plates(set, x, here, where)
			if body := v.p.Request.Athlete.BodyMass.Value.Grams() * int64(x.BodyMassShare); x.Loading == plan.LoadingAssisted && set.Load.Value.Grams()*10_000 > 9*body {
				v.wrong("help", "%s leaves next to nothing of %d g", where, body/1000)
			}
		}
		if set.Kind == plan.SetWarmup {
			if set.Load.Set && known != nil && a.share(set) > a.share(&e.Sets[len(e.Sets)-1]) && a.share(set) > a.heaviest(e) {
				v.wrong("warm-up", "%s is heavier than the work", where)
			}
			continue
		}
		if (set.Kind == plan.SetTest) != (s.Kind == plan.SessionRetest) && set.Kind != plan.SetCalibration || (set.Kind == plan.SetAttempt) != (s.Kind == plan.SessionAttempt) {
			v.wrong("tests", "%s: a %s set in a %s session", where, set.Kind, s.Kind)
		}
		v.refers(w, s, x, set, where)
		fewer := x.Pattern.Explosive() || strings.Contains(e.Note, "Body mass alone is too heavy") || v.told(w.Number, e)
		v.safe(set, least, fewer, where)
		a.next(set, where, least)
		if set.Kind == plan.SetWorking {
			v.reserve(w, s, e, x, set, least, a, where)
		}
		working++
	}
	if working == 0 {
		v.wrong("empty", "%s has no working set", at(w, s, x.ID))
	}
}

// plates adds up what is said to go on the bar.
func (v *verdict) plates(set *plan.Set, x *exercise.Exercise, here *plan.Place, where string) {
	if x.Loading != plan.LoadingBar && x.Loading != plan.LoadingPlateMachine {
		return
	}
	side, need := int64(0), map[plan.Load]int32{}
	for _, m := range set.Plates {
		side += exactly(m)
		need[m] += 2
	}
	for m, n := range need {
		if !slices.ContainsFunc(here.Plates, func(s plan.PlateStock) bool { return s.Mass == m && s.Count >= n }) {
			v.wrong("plates", "%s: %d of %s are not there", where, n, m)
		}
	}
	bars := []int64{0}
	if x.Loading == plan.LoadingBar {
		bars = nil
		for _, b := range here.Bars {
			if b.Kind == x.Bar {
				bars = append(bars, exactly(b.Mass))
			}
		}
	}
	if !slices.ContainsFunc(bars, func(b int64) bool {
		off := 2 * (b + 2*side - exactly(set.Load.Value))
		return off <= 100_000_000 && -off <= 100_000_000
	}) {
		v.wrong("plates", "%s: %v a side don't make it", where, set.Plates)
	}
}

// safe checks what safety caps.
func (v *verdict) safe(set *plan.Set, least int32, fewer bool, where string) {
	b := &v.bounds
	if set.RIR.Set && set.RIR.Value < least {
		v.wrong("safety", "%s: at least %d have to stay in reserve", where, least)
	}
	if set.ToFailure && (!b.failure || least > 0) {
		v.wrong("safety", "%s goes to failure", where)
	}
	if b.cap > 0 && set.Intensity.Set && set.Intensity.Value > b.cap {
		v.wrong("safety", "%s is at %s of %s", where, set.Intensity.Value, b.cap)
	}
	if b.cap > 0 && set.Deferred.Set && set.Deferred.Value.Reference.Kind != plan.RefCalibration && set.Deferred.Value.Share > b.cap {
		v.wrong("safety", "%s is deferred at %s of %s", where, set.Deferred.Value.Share, b.cap)
	}
	if set.Hold.IsZero() && set.Reps.Max > 0 && b.topReps > 0 {
		if set.Reps.Min < b.leastReps && !fewer {
			v.wrong("safety", "%s: fewer than %d repetitions", where, b.leastReps)
		}
		if set.Reps.Max > b.topReps {
			v.wrong("safety", "%s: more than %d repetitions", where, b.topReps)
		}
	}
}

// rests reports an exercise that is left out in a week as the request's hours since the
// last direct sets have not passed, and says so.
func (v *verdict) rests(w *plan.Week, x *exercise.Exercise) bool {
	return v.says(func(f *plan.Finding) bool {
		return f.Week == w.Number && f.ExerciseID == x.ID && strings.HasPrefix(f.Field, "constraints.recovery[") &&
			slices.ContainsFunc(v.p.Request.Constraints.Recovery, func(c plan.Recovery) bool { return x.Direct(c.Muscle) })
	})
}

// growth checks the planned 1RM against the status's cap a week; after a layoff 1 % of
// what was shown may come back, up to it.
func (v *verdict) growth() {
	cap := [...]int64{plan.Novice: 200, plan.Intermediate: 75, plan.Advanced: 25}[v.p.Request.Athlete.Status]
	for i := range v.p.Strengths {
		s := &v.p.Strengths[i]
		if len(s.Planned) != v.p.WeekCount() {
			v.wrong("growth", "%s is planned for %d weeks of %d", s.ExerciseID, len(s.Planned), v.p.WeekCount())
		}
		before := s.OneRMGrams
		off := int64(v.p.Request.Athlete.LayoffWeeks.Or(0))
		shown := before * 100 / (100 - min(20, max(0, off-2))) // before the layoff
		for w, now := range s.Planned {
			most := before + before*cap/10_000 + 1
			if off > 2 && now <= shown {
				most = max(most, before+shown/100+1)
			}
			if now > most {
				v.wrong("growth", "%s rises from %d to %d g in week %d", s.ExerciseID, before, now, w+1)
			}
			before = now
		}
	}
}

func (v *verdict) strength(id string) *plan.Strength {
	for i := range v.p.Strengths {
		if v.p.Strengths[i].ExerciseID == id {
			return &v.p.Strengths[i]
		}
	}
	return nil
}

// pins looks for every pin: as often as asked in full training weeks, and at least once
// in a phase where workouts take turns.
func (v *verdict) pins(ph *plan.Phase) {
	r := &v.p.Request
	for _, pin := range r.Constraints.Pinned {
		x, _ := v.cat.ByID(pin.ExerciseID)
		rotates, there, could := false, int32(0), int32(0)
		for i := range ph.Weeks {
			w := &ph.Weeks[i]
			have, can := int32(0), int32(0)
			for k := range w.Sessions {
				s := &w.Sessions[k]
				if s.Kind != plan.SessionTraining {
					continue
				}
				rotates = rotates || s.Group != ""
				if equipped(x, placeOf(r, s.PlaceID)) {
					can++
				}
				if slices.ContainsFunc(s.Exercises, func(e plan.ProgramExercise) bool { return e.ExerciseID == pin.ExerciseID }) {
					have++
				}
			}
			there, could = there+have, could+can
			want := min(max(1, pin.PerWeek), can)
			if pin.EverySession {
				want = can
			}
			if full := trainings(w) == int(min(int32(len(r.Constraints.Days)), r.Plan.SessionsPerWeek.Or(7))) &&
				v.course.weeks[w.Number-1].tracks[track(r, x)].kind == plan.WeekTraining; full && w.Kind == plan.WeekTraining && !rotates && have < want && !v.rests(w, x) {
				v.wrong("pins", "%s is in %d sessions of week %d, %d are wanted", pin.ExerciseID, have, w.Number, want)
			}
		}
		if could > 0 && there == 0 && !v.says(func(f *plan.Finding) bool {
			return f.ExerciseID == pin.ExerciseID && strings.Contains(f.Says, "is left out") && f.Week == ph.Weeks[0].Number
		}) {
			v.wrong("pins", "%s is missing in phase %s", pin.ExerciseID, ph.Name)
		}
	}
}

// dropped wants a word on pins that are nowhere, because no session's place allows them.
func (v *verdict) dropped() {
	for _, pin := range v.p.Request.Constraints.Pinned {
		if !v.anySession([]plan.Allocation{{ToWeek: 99}}, func(s *plan.Session) bool {
			return slices.ContainsFunc(s.Exercises, func(e plan.ProgramExercise) bool { return e.ExerciseID == pin.ExerciseID })
		}) && !v.says(func(f *plan.Finding) bool { return f.ExerciseID == pin.ExerciseID }) {
			v.wrong("dropped", "%s is pinned, nowhere in the program, and nothing says so", pin.ExerciseID)
		}
	}
}
