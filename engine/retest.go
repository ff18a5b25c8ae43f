package engine

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// test is a session in which lifts are tested, or attempted on the day of a peak.
type test struct {
	week  int // 0-based
	slot  Slot
	kind  plan.SessionKind
	name  string   // of the estimate that it gives
	lifts []string // in order
}

// retests puts the plan's tests into their weeks: on a day that no training session
// uses, the last one, else on the last training day, whose session it replaces.
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
	var out []test
	for _, n := range after {
		w := int(n - 1)
		days := spare[w]
		if len(days) == 0 {
			days = slots[w]
		}
		if len(days) == 0 {
			b.Assumptions = append(b.Assumptions, plan.Assumption{Field: "plan.retest", Says: fmt.Sprintf("No test after week %d: there is no day to train on in it.", n)})
			continue
		}
		out = append(out, test{week: w, slot: days[len(days)-1], kind: plan.SessionRetest, name: fmt.Sprintf("the test of week %d", n), lifts: r.Value.ExerciseIDs})
	}
	return out
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

// testBefore names the last test of an exercise before a week.
func (g *generation) testBefore(id string, week int) string {
	out := ""
	for i := range g.tests {
		if t := &g.tests[i]; t.kind == plan.SessionRetest && t.week < week && slices.Contains(t.lifts, id) {
			out = t.name
		}
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

// addTests appends a week's tests and attempts to it.
func (g *generation) addTests(out *plan.Week, week int) error {
	for i := range g.tests {
		t := &g.tests[i]
		if t.week != week {
			continue
		}
		s, err := g.testSession(t)
		if err != nil {
			return err
		}
		if len(s.Exercises) > 0 {
			out.Sessions = append(out.Sessions, s)
		}
	}
	slices.SortStableFunc(out.Sessions, func(a, b plan.Session) int { return int(g.dayOf(&a) - g.dayOf(&b)) })
	return nil
}

func (g *generation) dayOf(s *plan.Session) int32 { return g.offset(Slot{Weekday: s.Weekday}) }

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
		short := func(says string) {
			g.find(plan.Finding{Level: plan.LevelShort, Rule: RuleTest, Week: int32(t.week + 1), ExerciseID: id, Field: "plan.retest",
				Says: fmt.Sprintf("%s has no %s in week %d: %s", ex.Name, t.kind, t.week+1, says)})
		}
		if !ex.Available(place) {
			short("what it needs is not there.")
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
		p := pick{ex: ex, role: plan.GoalLift, track: g.trackOf(ex), goal: g.goalOf(id), pin: g.pinOf(id)}
		o := &occurrence{week: t.week, slot: t.slot, outline: &plan.OutlineSession{Kind: t.kind,
			Targets: []plan.Target{{Role: plan.GoalLift, Track: p.track, Schemes: schemes}}}}
		e, err := g.exercise(o, &p, int32(len(schemes)), true)
		if err != nil {
			return out, err
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

// testSchemes gives the steps for a lift, or says why there are none.
func (g *generation) testSchemes(t *test, ex *exercise.Exercise, place *plan.Place) ([]plan.Scheme, string, error) {
	st, err := g.strengths.of(ex)
	if err != nil {
		return nil, "", err
	}
	limited := g.brief.Request.Athlete.Status == plan.Novice || g.safety.MinRIR > 0 || g.safety.MaxIntensity > 0 || g.safety.NoFailure || g.bender.exposed(ex, place)
	switch {
	case t.kind == plan.SessionAttempt && limited:
		return nil, "singles near the maximum are not for this athlete and place.", nil
	case t.kind == plan.SessionAttempt && !st.known:
		return nil, "its 1RM is not known; choose attempts by the last heavy sessions.", nil
	case t.kind == plan.SessionAttempt:
		return attemptSteps, "", nil
	case limited || !st.known:
		return shown(max(2, g.safety.MinRIR)), "", nil
	}
	return testSteps, "", nil
}
