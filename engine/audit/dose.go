package audit

import (
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// Weekly sets by status (training reference, section 14: common practice, no source).
func weeklyMost(s plan.Status) (muscle plan.HalfSets, lift int32) {
	switch s {
	case plan.Intermediate:
		return 2 * 16, 10
	case plan.Advanced:
		return 2 * 20, 12
	}
	return 2 * 10, 6
}

const (
	sessionDirectSets = 8 // direct sets of a muscle in a session, where the request says nothing
	floorHalf         = plan.HalfSets(8)
)

// tally is a week's sets by muscle, in half sets.
type tally struct {
	sets, direct [plan.MuscleCount]plan.HalfSets
}

// count re-derives a week's sets: direct 1, indirect 0.5, explosive nothing.
func (w *week) count() *tally {
	t := &tally{}
	for i := range w.sessions {
		for k := range w.sessions[i].lifts {
			l := &w.sessions[i].lifts[k]
			if l.x == nil {
				continue
			}
			n := plan.HalfSets(l.hard())
			for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
				t.sets[m] += n * l.x.SetCountsFor(m)
				if l.x.Direct(m) {
					t.direct[m] += n * 2
				}
			}
		}
	}
	return t
}

func (a *auditor) dose() {
	all := make([]*tally, len(a.weeks))
	for i := range a.weeks {
		w := &a.weeks[i]
		all[i] = w.count()
		a.muscleTotals(w, all[i])
		a.liftTotals(w)
		a.weekLimits(w, all[i])
	}
	a.eachSession(func(w *week, s *session) { a.sessionLimits(s) })
	a.eachLift(func(w *week, s *session, l *lift) { a.setsOfExercise(w, l) })
	a.short(all)
	a.overDose(all)
	a.firstWeek(all)
	a.workJump()
	a.starved(all)
	a.priorityDirect(all)
	a.fallingDose()
	a.balances()
}

func (a *auditor) muscleTotals(w *week, t *tally) {
	if len(w.w.Muscles) == 0 {
		if w.sets() > 0 {
			a.finding(w.about(ruleTotalsMissing), "The week states no totals; its sets were counted from the sessions.")
		}
		return
	}
	var listed [plan.MuscleCount]bool
	for i := range w.w.Muscles {
		m := &w.w.Muscles[i]
		f := w.about(ruleTotals)
		f.Muscle = m.Muscle
		if m.Muscle == plan.MuscleUnspecified || m.Muscle >= plan.MuscleCount {
			f.Muscle = plan.MuscleUnspecified
			a.finding(f, "A total is stated for an unknown muscle (%d).", m.Muscle)
			continue
		}
		if listed[m.Muscle] {
			a.finding(f, "%s is totalled twice.", title(m.Muscle))
			continue
		}
		listed[m.Muscle] = true
		if m.Sets != t.sets[m.Muscle] || m.Direct != t.direct[m.Muscle] {
			a.finding(f, "%s is totalled as %s sets (%s direct); the sessions hold %s (%s direct).", title(m.Muscle), m.Sets, m.Direct, t.sets[m.Muscle], t.direct[m.Muscle])
		}
	}
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if t.sets[m] > 0 && !listed[m] {
			f := w.about(ruleTotals)
			f.Muscle = m
			a.finding(f, "%s gets %s sets that no total states.", title(m), t.sets[m])
			return
		}
	}
}

// short lists wishes that were not met, each muscle and lift once, with the first week
// and how often. What the program itself says need not be said again.
func (a *auditor) short(all []*tally) {
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		var first *week
		var got, want plan.HalfSets
		weeks := 0
		for i := range a.weeks {
			for _, t := range a.weeks[i].w.Muscles {
				if t.Muscle != m || a.restsBefore(i) || t.Wanted < all[i].sets[m]+a.grain(m) || a.saidShort(a.weeks[i].n, m, "") {
					continue
				}
				if weeks++; first == nil {
					first, got, want = &a.weeks[i], all[i].sets[m], t.Wanted
				}
			}
		}
		if first != nil {
			f := first.about(ruleDoseShort)
			f.Muscle = m
			a.finding(f, "%s gets %s of %s wanted sets%s.", title(m), got, want, inWeeks(weeks))
		}
	}
	told := map[string]bool{}
	for i := range a.weeks {
		w := &a.weeks[i]
		for _, t := range w.w.Lifts {
			got := w.setsOf(t.ExerciseID)
			if t.Wanted <= got || a.restsBefore(i) || told[t.ExerciseID] || a.saidShort(w.n, plan.MuscleUnspecified, t.ExerciseID) {
				continue
			}
			told[t.ExerciseID] = true
			f := w.about(ruleDoseShort)
			f.ExerciseID = t.ExerciseID
			a.finding(f, "%s gets %d of %d wanted sets.", a.name(t.ExerciseID), got, t.Wanted)
		}
	}
}

// restsBefore reports a taper week that has fewer sessions than the week before it: the
// days before the date are free on purpose, and so is what they would have held.
func (a *auditor) restsBefore(i int) bool {
	return i > 0 && a.weeks[i].w.Kind == plan.WeekTaper && len(a.weeks[i].sessions) < len(a.weeks[i-1].sessions)
}

// grain is the miss, in half sets, that is worth a finding: indirect sets make totals
// uneven by half a set, which matters only for what a goal wants.
func (a *auditor) grain(m plan.Muscle) plan.HalfSets {
	if a.grows(m) > 0 {
		return 1
	}
	return 2
}

// saidShort reports that the making of the program (not an audit of it) said that a
// wish was not met, in that week or for a run of weeks that began before.
func (a *auditor) saidShort(week int32, m plan.Muscle, exercise string) bool {
	for i := range a.p.Findings {
		f := &a.p.Findings[i]
		if f.Level == plan.LevelShort && f.Week <= week && f.Muscle == m && f.ExerciseID == exercise && !own(f.Rule) {
			return true
		}
	}
	return false
}

// own reports the rules of this package: a program may carry an earlier audit.
func own(id plan.RuleID) bool { return strings.HasPrefix(string(id), "audit.") }

func (w *week) setsOf(id string) int32 {
	n := int32(0)
	for s := range w.sessions {
		for k := range w.sessions[s].lifts {
			if l := &w.sessions[s].lifts[k]; l.e.ExerciseID == id {
				n += l.hard()
			}
		}
	}
	return n
}

func (a *auditor) liftTotals(w *week) {
	for i := range w.w.Lifts {
		t := &w.w.Lifts[i]
		f := w.about(ruleLiftTotals)
		f.ExerciseID = t.ExerciseID
		sets, reps, grams := int32(0), int32(0), int64(0)
		top, loads, perHand := plan.Permille(0), true, false
		for j := range w.sessions {
			for k := range w.sessions[j].lifts {
				l := &w.sessions[j].lifts[k]
				if l.e.ExerciseID != t.ExerciseID {
					continue
				}
				perHand = perHand || l.x != nil && (l.x.Loading.PerHand() || l.share > 0)
				for n := range l.work {
					s := l.work[n].s
					if !s.Kind.Counts() {
						continue
					}
					sets++
					r := s.Expected
					if r <= 0 {
						r = s.Reps.Max
					}
					r = clampReps(r)
					reps += r
					top = max(top, s.Intensity.Value)
					if !s.Load.Set || s.Load.Value.Milli < 0 || s.Load.Value.Milli > maxMilli {
						loads = false
						continue
					}
					grams += s.Load.Value.Grams() * int64(r)
				}
			}
		}
		switch {
		case t.Sets != sets || t.Reps != reps:
			a.finding(f, "%s is totalled as %d sets and %d repetitions; the sessions hold %d and %d.", t.ExerciseID, t.Sets, t.Reps, sets, reps)
		case t.Top.Set && top > 0 && t.Top.Value != top:
			a.finding(f, "The highest intensity of %s is stated as %s; it is %s.", t.ExerciseID, t.Top.Value, top)
		case t.VolumeLoad.Set && loads && !perHand && away(t.VolumeLoad.Value.Grams(), grams) > int64(reps)+1:
			a.finding(f, "The volume load of %s is stated as %s; its sets make %s.", t.ExerciseID, t.VolumeLoad.Value, plan.Kg(grams).In(t.VolumeLoad.Value.Unit))
		}
	}
}

func away(x, y int64) int64 {
	if x < y {
		return y - x
	}
	return x - y
}

func (a *auditor) weekLimits(w *week, t *tally) {
	for i, lim := range a.r.Constraints.Limits.MuscleSetsPerWeek {
		if lim.Muscle == plan.MuscleUnspecified || lim.Muscle >= plan.MuscleCount || t.sets[lim.Muscle] <= lim.Sets {
			continue
		}
		f := w.about(ruleWeekLimit)
		f.Muscle, f.Field = lim.Muscle, fmt.Sprintf("constraints.limits.muscle_sets_per_week[%d]", i)
		a.finding(f, "%s gets %s sets; the request allows %s a week.", title(lim.Muscle), t.sets[lim.Muscle], lim.Sets)
	}
}

func (a *auditor) sessionLimits(s *session) {
	lim := &a.r.Constraints.Limits
	over := false
	// The day of an attempt holds what the goals name, whatever holds for training.
	if n := int32(len(s.lifts)); lim.ExercisesPerSession.Set && n > lim.ExercisesPerSession.Value && s.s.Kind != plan.SessionAttempt {
		over = true
		f := s.about(ruleExerciseLimit)
		f.Field = "constraints.limits.exercises_per_session"
		a.finding(f, "%d exercises; the request allows %d.", n, lim.ExercisesPerSession.Value)
	}
	if n := s.sets(); lim.SetsPerSession.Set && n > lim.SetsPerSession.Value {
		f := s.about(ruleSetLimit)
		f.Field = "constraints.limits.sets_per_session"
		a.finding(f, "%d working sets; the request allows %d.", n, lim.SetsPerSession.Value)
	}
	most := lim.MuscleSetsPerSession.Or(sessionDirectSets)
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if n := s.directSets(m); n > most {
			f := s.about(ruleSessionMuscle)
			f.Muscle, f.Field = m, "constraints.limits.muscle_sets_per_session"
			a.finding(f, "%s gets %d direct sets in one session; at most %d.", title(m), n, most)
		}
	}
	if s.s.Kind != plan.SessionTraining || over || s.week > 0 && !a.weeks[s.week-1].training() {
		return
	}
	switch n := len(s.lifts); {
	case n > 7:
		a.finding(s.about(ruleExerciseCount), "%d exercises in one session; three to seven are the custom.", n)
	case n < 3 && n > 0 && s.limit > 30*60:
		a.finding(s.about(ruleExerciseCount), "A session of %d minutes has %d exercises; three to seven are the custom.", s.limit/60, n)
	}
}

// directSets counts working sets that are direct ones for a muscle.
func (s *session) directSets(m plan.Muscle) int32 {
	n := int32(0)
	for i := range s.lifts {
		if l := &s.lifts[i]; l.x != nil && l.x.Direct(m) {
			n += l.hard()
		}
	}
	return n
}

// setsOfExercise: two to five, up to eight for a goal lift. One set is enough to begin
// with for the young and the old, and in light weeks.
func (a *auditor) setsOfExercise(w *week, l *lift) {
	n := len(l.work)
	most := 5
	switch l.role() {
	case plan.GoalLift:
		most = 8
	case plan.Explosive:
		most = 6
	}
	least := 2
	if age := a.r.Athlete.Age; !w.training() || age.Minor() || age == plan.AgeOlder || l.in.s.Kind != plan.SessionTraining {
		least = 1
	}
	switch {
	case n == 0 && len(l.warm) > 0 || n == 0 && len(l.e.Sets) == 0:
		a.finding(l.about(ruleEmpty), "%s has no working set.", l.name())
	case n < least || n > most:
		a.finding(l.about(ruleSetCount), "%d working set(s); %d to %d are the custom for a %s exercise.", n, least, most, l.role())
	}
}

// overDose looks at totals for large and wanted muscles, at direct sets for the others,
// which collect half sets from everything.
func (a *auditor) overDose(all []*tally) {
	most, lifts := weeklyMost(a.r.Athlete.Status)
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		for i, t := range all {
			n, what := t.direct[m], "direct sets"
			if large(m) || a.grows(m) > 0 {
				n, what = t.sets[m], "sets"
			}
			if n > most {
				f := a.weeks[i].about(ruleDoseOver)
				f.Muscle = m
				a.finding(f, "%s gets %s %s a week; %s are the most that status %s is given by custom.", title(m), n, what, most, a.r.Athlete.Status)
				break
			}
		}
	}
	for i := range a.r.Goals {
		g := &a.r.Goals[i]
		if !g.Lift() {
			continue
		}
		for j := range a.weeks {
			w := &a.weeks[j]
			if n := w.setsOf(g.ExerciseID); n > lifts {
				f := w.about(ruleLiftOver)
				f.ExerciseID = g.ExerciseID
				a.finding(f, "%s gets %d sets a week; %d are the most that status %s is given by custom.", g.ExerciseID, n, lifts, a.r.Athlete.Status)
				break
			}
		}
	}
}

// grows gives the priority of a goal to grow a muscle, 0 for none.
func (a *auditor) grows(m plan.Muscle) int32 {
	for i := range a.r.Goals {
		if g := &a.r.Goals[i]; g.Kind == plan.GoalGrow && g.Muscle == m {
			return max(g.Priority, 1)
		}
	}
	return 0
}

func large(m plan.Muscle) bool {
	for _, l := range plan.LargeMuscles {
		if l == m {
			return true
		}
	}
	return false
}

// workJump: from one training week to the one after it sets rise by at most half; small
// numbers, and weeks with other days, are let pass.
func (a *auditor) workJump() {
	for i := 1; i < len(a.weeks); i++ {
		w, before := &a.weeks[i], &a.weeks[i-1]
		if !w.training() || !before.training() || len(w.sessions) != len(before.sessions) {
			continue
		}
		if n, was := w.sets(), before.sets(); was >= 12 && n*2 > was*3 {
			a.finding(w.about(ruleWorkJump), "The week holds %d working sets after %d: half as many again is the most by custom.", n, was)
		}
	}
}

// firstWeek: at most a quarter above what the athlete does now, or four sets. Half a
// set is the grain of indirect work and no finding.
func (a *auditor) firstWeek(all []*tally) {
	if len(all) == 0 {
		return
	}
	at := &a.r.Athlete
	var now [plan.MuscleCount]plan.Opt[plan.HalfSets]
	if at.CurrentSetsEach.Set {
		for m := range now {
			now[m] = at.CurrentSetsEach
		}
	}
	for _, c := range at.CurrentSets {
		if c.Muscle < plan.MuscleCount {
			now[c.Muscle] = plan.Some(c.Sets)
		}
	}
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if !now[m].Set || now[m].Value < 0 || now[m].Value > 200 || all[0].direct[m] == 0 {
			continue
		}
		most := max((now[m].Value*5+3)/4, floorHalf) + 1
		if all[0].sets[m] > most {
			f := a.weeks[0].about(ruleFirstWeekDose)
			f.Muscle, f.Field = m, "athlete.current_weekly_sets"
			a.finding(f, "%s starts with %s sets a week and does %s now; a quarter more is the custom.", title(m), all[0].sets[m], now[m].Value)
		}
	}
}

// starved: every large muscle gets something in every full week, or the program says
// why not.
func (a *auditor) starved(all []*tally) {
	for _, m := range plan.LargeMuscles {
		for i := range a.weeks {
			w := &a.weeks[i]
			if !w.training() || len(w.sessions) == 0 || all[i].sets[m] > 0 || a.saidWhy(m) {
				continue
			}
			f := w.about(ruleStarved)
			f.Muscle = m
			a.finding(f, "%s gets nothing all week, and the program doesn't say why.", title(m))
			break
		}
	}
}

// saidWhy reports a finding of the program's making (not of an audit) on a muscle.
func (a *auditor) saidWhy(m plan.Muscle) bool {
	for i := range a.p.Findings {
		if f := &a.p.Findings[i]; f.Muscle == m && (f.Level == plan.LevelShort || f.Level == plan.LevelNote) && !own(f.Rule) {
			return true
		}
	}
	return false
}

func (a *auditor) priorityDirect(all []*tally) {
	for i := range a.r.Goals {
		g := &a.r.Goals[i]
		if g.Kind != plan.GoalGrow || g.Muscle == plan.MuscleUnspecified || g.Muscle >= plan.MuscleCount {
			continue
		}
		for j, t := range all {
			if a.weeks[j].training() && 2*t.direct[g.Muscle] < t.sets[g.Muscle] {
				f := a.weeks[j].about(rulePriorityDirect)
				f.Muscle, f.Field = g.Muscle, fmt.Sprintf("goals[%d]", i)
				a.finding(f, "Only %s of %s sets for %s are direct; at least half are the custom for a muscle that is to grow.", t.direct[g.Muscle], t.sets[g.Muscle], g.Muscle)
				break
			}
		}
	}
}

// fallingDose: sets climb inside a phase, not the reverse. The last phase before a
// date may fall (realization, taper).
func (a *auditor) fallingDose() {
	for ph := range a.p.Phases {
		if ph == len(a.p.Phases)-1 && a.dated() {
			return
		}
		var first, last *week
		for i := range a.weeks {
			if w := &a.weeks[i]; w.phase == ph && w.training() && len(w.sessions) > 0 {
				if first == nil {
					first = w
				}
				last = w
			}
		}
		if first == nil || last == first || len(last.sessions) < len(first.sessions) {
			continue
		}
		if from, to := first.sets(), last.sets(); to*100 < from*85 {
			a.finding(last.about(ruleFallingDose), "Sets fall from %d in week %d to %d at the end of the phase; inside a phase they climb or stay.", from, first.n, to)
		}
	}
}

// dated reports a date to be ready for.
func (a *auditor) dated() bool {
	if a.r.Constraints.Target.Set {
		return true
	}
	for i := range a.r.Goals {
		if a.r.Goals[i].Date.Set {
			return true
		}
	}
	return false
}
