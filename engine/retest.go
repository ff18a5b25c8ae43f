package engine

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// test is a session in which lifts are tested, or attempted on the day of a peak.
type test struct {
	week     int // 0-based
	slot     Slot
	kind     plan.SessionKind
	name     string   // of the estimate that it gives
	lifts    []string // in order; once it has been made, those that are in it
	made     bool
	replaces bool // a training session
}

// retests puts the plan's tests into their weeks: of the days that no training session
// uses on the one that comes longest after the session before it, the latest of equals,
// as a test wants 48 to 96 hours without training before it; where there is none, on the
// last training day, whose session it replaces.
func retests(b *Brief, o *plan.Outline, slots, spare [][]Slot) []test {
	r := &b.Request.Plan.Retest
	if !r.Set {
		return nil
	}
	after := slices.Clone(r.Value.AfterWeeks)
	if r.Value.PhaseEnds {
		week := int32(0)
		for i := range o.Phases[:len(o.Phases)-1] {
			week += int32(len(o.Phases[i].Weeks))
			after = append(after, week)
		}
	}
	slices.Sort(after)
	after = slices.Compact(after)
	weeks := weeksOf(o)
	var out []test
	for _, n := range after {
		w := int(n - 1)
		t := test{week: w, kind: plan.SessionRetest, name: fmt.Sprintf("the test of week %d", n), lifts: slices.Clone(r.Value.ExerciseIDs)}
		used, free := apart(slots[w], len(weeks[w].Sessions))
		switch free = append(free, spare[w]...); {
		case len(free) > 0:
			t.slot = longestRested(&b.Request.Constraints, used, free)
		case len(used) > 0:
			t.slot, t.replaces = used[len(used)-1], true
		default:
			b.Assumptions = append(b.Assumptions, plan.Assumption{Field: "plan.retest", Says: fmt.Sprintf("No test after week %d: there is no day to train on in it.", n)})
			continue
		}
		out = append(out, t)
	}
	return out
}

// apart gives the slots of a week that so many sessions use, and the others.
func apart(slots []Slot, sessions int) (used, free []Slot) {
	at := spread(len(slots), sessions)
	for i := range slots {
		if slices.Contains(at, i) {
			used = append(used, slots[i])
		} else {
			free = append(free, slots[i])
		}
	}
	return used, free
}

// longestRested picks the free slot that comes the most days after the training before it in
// its week, the latest of equals.
func longestRested(c *plan.Constraints, used, free []Slot) Slot {
	best, most := free[0], int32(-1)
	for _, f := range free {
		day, gap := offsetIn(c, f), int32(0)
		for _, u := range used {
			if before := offsetIn(c, u); before < day {
				gap = day - before // they rise
			}
		}
		if gap >= most {
			best, most = f, gap
		}
	}
	return best
}

// attempts gives the sessions on the days of peaks, in order of date.
func attempts(b *Brief) []test {
	c := &b.Request.Constraints
	if b.Request.Plan.NoAttempts || !c.Start.Set || len(c.Days) == 0 {
		return nil
	}
	var out []test
	for _, g := range b.Request.Goals {
		if g.Kind != plan.GoalPeak || !g.Date.Set {
			continue
		}
		week := int(g.Date.Value-c.Start.Value) / 7
		if g.Date.Value < c.Start.Value || week >= int(b.Weeks) {
			continue
		}
		at := slices.IndexFunc(out, func(t test) bool { return t.slot.Date.Value == g.Date.Value })
		if at < 0 {
			at = len(out)
			s := Slot{Weekday: g.Date.Value.Weekday(), Date: plan.Some(g.Date.Value)}
			s.Place = placeAt(c, 0, int32(week+1), s.Date)
			out = append(out, test{week: week, slot: s, kind: plan.SessionAttempt})
		}
		out[at].lifts = append(out[at].lifts, g.ExerciseID)
	}
	slices.SortFunc(out, func(a, b test) int { return int(a.slot.Date.Value - b.slot.Date.Value) })
	for i := range out {
		out[i].lifts = inOrderOfTheDay(b.Catalogue, out[i].lifts)
	}
	return out
}

// inOrderOfTheDay puts the squat first, then presses, then pulls from the floor, as they
// are contested (common practice, no source).
func inOrderOfTheDay(cat *exercise.Catalogue, lifts []string) []string {
	rank := func(id string) int {
		e, ok := cat.ByID(id)
		switch {
		case !ok:
			return 3
		case e.Pattern == plan.Squat:
			return 0
		case e.Pattern == plan.Hinge:
			return 2
		}
		return 1
	}
	out := slices.Clone(lifts)
	slices.SortStableFunc(out, func(a, b string) int { return rank(a) - rank(b) })
	return out
}

func (g *generation) isTested(id string) bool {
	for i := range g.tests {
		if g.tests[i].kind == plan.SessionRetest && slices.Contains(g.tests[i].lifts, id) {
			return true
		}
	}
	return false
}

// replaced reports a week in which a test takes a training session's place.
func (g *generation) replaced(week int) bool {
	return slices.ContainsFunc(g.tests, func(t test) bool { return t.week == week && t.replaces })
}

// testBefore names the last test of an exercise before a session.
func (g *generation) testBefore(id string, o *occurrence) string {
	out := ""
	for i := range g.tests {
		t := &g.tests[i]
		if t.kind != plan.SessionRetest || t.week > o.week || t.week == o.week && g.offset(t.slot) >= g.offset(o.slot) || !slices.Contains(t.lifts, id) {
			continue
		}
		out = t.name
	}
	return out
}

// Steps of a test from the planned 1RM: after the warm-up sets a single near the
// maximum, then a step, then another where the last went up; 3 to 5 minutes between,
// and an end within five attempts (NSCA test protocol, from memory; the shares are
// common practice).
var testSteps = []plan.Scheme{
	single(plan.SetTest, 900, 180), single(plan.SetTest, 950, 240), single(plan.SetTest, 1000, 240),
}

// Attempts on the day: one that is sure, one near the best, and the best that is planned
// or what the first two allow (common practice, no source).
var attemptSteps = []plan.Scheme{
	single(plan.SetAttempt, 910, 600), single(plan.SetAttempt, 960, 600), single(plan.SetAttempt, 1000, 600),
}

func single(kind plan.SetKind, share plan.Permille, rest plan.Seconds) plan.Scheme {
	return plan.Scheme{Kind: kind, Sets: plan.FixedSets(1), Reps: plan.Range{Min: 1, Max: 1}, Effort: plan.Effort{Intensity: plan.Some(share)}, Rest: rest}
}

// shown is what takes the place of a test near the maximum where that is not safe or not
// sensible: one set with repetitions in reserve, whose number shows the strength.
func shown(rir int32) []plan.Scheme {
	return []plan.Scheme{{Kind: plan.SetTest, Sets: plan.FixedSets(1), Reps: plan.Range{Min: 8, Max: 10}, Effort: plan.Effort{RIR: plan.Some(rir)}, Rest: 180}}
}

// fewShown is how many repetitions that set has at least; fewer are a try at the maximum.
const fewShown = 3

// everyDay is after the last day of a week.
const everyDay = 7

// addTests appends a week's tests and attempts before a day of it. What is found not to
// fit then gives no estimate for later loads.
func (g *generation) addTests(out *plan.Week, week int, before int32) error {
	for i := range g.tests {
		t := &g.tests[i]
		if t.week != week || t.made || g.offset(t.slot) >= before {
			continue
		}
		s, err := g.testSession(t)
		if err != nil {
			return err
		}
		t.made, t.lifts = true, nil
		for k := range s.Exercises {
			t.lifts = append(t.lifts, s.Exercises[k].ExerciseID)
		}
		if len(s.Exercises) > 0 {
			g.trained(week, t.slot, &s)
			out.Sessions = append(out.Sessions, s)
		}
	}
	return nil
}

func (g *generation) testSession(t *test) (plan.Session, error) {
	place := &g.brief.Request.Constraints.Places[t.slot.Place]
	out := plan.Session{Kind: t.kind, Day: t.slot.Day, Weekday: t.slot.Weekday, Date: t.slot.Date,
		PlaceID: place.ID, Limit: t.slot.Limit, Warmup: plan.GeneralWarmup(t.slot.Limit)}
	if t.kind == plan.SessionAttempt {
		out.Warmup = plan.GeneralWarmup(3600)
	}
	out.Seconds = out.Warmup + plan.SessionEnd
	for _, id := range t.lifts {
		ex, _ := g.brief.Catalogue.ByID(id) // settled
		p := pick{ex: ex, role: plan.GoalLift, track: g.trackOf(ex), goal: g.goalOf(id), pin: g.pinOf(id)}
		field := "plan.retest"
		if t.kind == plan.SessionAttempt {
			field = fmt.Sprintf("goals[%d]", p.goal)
		}
		short := func(says string) {
			g.find(plan.Finding{Level: plan.LevelShort, Rule: RuleTest, Week: int32(t.week + 1), ExerciseID: id, Field: field,
				Says: fmt.Sprintf("%s has no %s in week %d: %s", ex.Name, t.kind, t.week+1, says)})
		}
		if says := g.untested(t, ex, place, len(out.Exercises)); says != "" {
			short(says)
			continue
		}
		schemes, says, err := g.testSchemes(t, ex, place)
		if err != nil {
			return out, err
		}
		if len(schemes) == 0 {
			short(says)
			continue
		}
		if says != "" {
			g.find(plan.Finding{Level: plan.LevelNote, Rule: RuleTest, Week: int32(t.week + 1), ExerciseID: id, Field: field, Says: says})
		}
		o := &occurrence{week: t.week, slot: t.slot, outline: &plan.OutlineSession{Kind: t.kind,
			Targets: []plan.Target{{Role: plan.GoalLift, Track: p.track, Schemes: schemes}}}}
		e, err := g.exercise(o, &p, int32(len(schemes)), true)
		if err != nil {
			return out, err
		}
		if schemes[0].Reps.Max > 1 && slices.ContainsFunc(e.Sets, func(x plan.Set) bool { return x.Kind == plan.SetTest && x.Reps.Max < fewShown }) {
			short("so few repetitions are possible at the lightest load that the set would be a test near the maximum.")
			continue
		}
		if t.kind == plan.SessionRetest && out.Seconds+e.Seconds > out.Limit {
			short(fmt.Sprintf("%s takes %d minutes, and %d of %s's %d are left.", "the test", (e.Seconds+59)/60, max(0, out.Limit-out.Seconds)/60, t.slot.Weekday, out.Limit/60))
			continue
		}
		e.Note = note(t.kind, ex, schemes)
		e.Contingencies = slices.DeleteFunc(e.Contingencies, func(c plan.Contingency) bool { return c.Case != plan.CasePain && c.Case != plan.CaseEquipmentTaken })
		out.Seconds += e.Seconds
		out.Exercises = append(out.Exercises, e)
	}
	out.Limit = max(out.Limit, out.Seconds) // the day of an attempt has no limit of its own
	return out, nil
}

// untested says what of the request keeps a lift out of a test, or nothing. The day of
// an attempt is what it is: no limit of sessions holds on it.
func (g *generation) untested(t *test, ex *exercise.Exercise, place *plan.Place, already int) string {
	c := &g.brief.Request.Constraints
	switch {
	case !ex.Available(place):
		return "what it needs is not there."
	case g.restriction(ex) >= 0 || g.excluded[ex.ID]:
		return "it is restricted or excluded."
	case ex.Flags&g.safety.Forbidden != 0:
		return "it is not done in this stage of pregnancy."
	case ex.Pattern.Explosive() && !g.skilled(ex):
		return "it needs skill that athlete.skills does not state."
	case !ex.Is(exercise.MaxTest):
		return "it is not a lift whose 1RM is tried; sets with repetitions in reserve show its strength."
	case t.kind == plan.SessionAttempt:
		return ""
	case g.resting(&occurrence{week: t.week, slot: t.slot}, ex):
		return "its peak is too near."
	}
	if most := c.Limits.ExercisesPerSession; most.Set && already >= int(most.Value) {
		return fmt.Sprintf("constraints.limits allows %d exercises a session.", most.Value)
	}
	day := int32(t.week)*7 + g.offset(t.slot)
	for _, r := range c.Recovery {
		if last := g.lastDirect[r.Muscle]; ex.Direct(r.Muscle) && last.Set && (day-last.Value)*24 < r.Hours {
			return fmt.Sprintf("%d hours after the last direct sets for %s have not passed.", r.Hours, r.Muscle)
		}
	}
	return ""
}

// note says how a test goes on from its steps. Steps after a success: NSCA test protocol
// (from memory).
func note(kind plan.SessionKind, ex *exercise.Exercise, schemes []plan.Scheme) string {
	up, down := "2.5 to 5 %", "2.5 to 5 %"
	if ex.Region == exercise.Lower {
		up, down = "2.5 to 10 %", "5 to 10 %"
	}
	switch {
	case kind == plan.SessionAttempt:
		return "Take the second and third by how the one before went up: fast, as planned or a little more; slow, a little less. A missed one is tried again or left."
	case schemes[0].Reps.Max > 1:
		return "The repetitions that were done, with those left in reserve, are the result. Write them down with the load."
	}
	return "While singles go up, add " + up + " and go on; when one fails, take " + down + " off for one more or stop. At most five singles. The heaviest that went up is the result."
}

// testSchemes gives the steps for a lift, or says why there are none, or others than those
// of a test near the maximum.
func (g *generation) testSchemes(t *test, ex *exercise.Exercise, place *plan.Place) ([]plan.Scheme, string, error) {
	st, err := g.strengths.of(ex)
	if err != nil {
		return nil, "", err
	}
	why := ""
	switch {
	case g.brief.Request.Athlete.Status == plan.Novice:
		why = "a novice is not tested near the maximum"
	case g.safety.MinRIR > 0 || g.safety.MaxIntensity > 0 || g.safety.NoFailure:
		why = "singles near the maximum are not for this athlete"
	case g.bender.exposed(ex, place):
		why = "nobody spots and nothing catches the bar at " + placeName(place)
	}
	switch {
	case t.kind == plan.SessionAttempt && why != "":
		return nil, why + ".", nil
	case t.kind == plan.SessionAttempt && !st.known:
		return nil, "its 1RM is not known; choose attempts by the last heavy sessions.", nil
	case t.kind == plan.SessionAttempt:
		return attemptSteps, "", nil
	case why == "" && st.known:
		return testSteps, "", nil
	case why == "":
		why = "no performance tells where the singles would have to begin"
	}
	return shown(max(2, g.safety.MinRIR)), fmt.Sprintf("%s: one set with repetitions in reserve instead of a test at the 1RM: %s.", ex.Name, why), nil
}
