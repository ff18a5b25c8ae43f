package service

import (
	"cmp"
	"context"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/adapt"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// maxShown is how many performances a request takes; the newest count.
const maxShown = 500

// shown gives what an athlete has shown, the oldest first: performances as they were
// stored, and of logs up to a day (0: all) what they show in exercises of which nothing was
// stored for that day.
func shown(tx Tx, cat *exercise.Catalogue, a *Athlete, until plan.Date) ([]plan.Performance, error) {
	page, err := tx.Performances().List(Query{Athlete: a.ID, Newest: true, Size: maxShown})
	if err != nil {
		return nil, err
	}
	q := Query{Athlete: a.ID, Newest: true, Size: maxShown}
	if until != 0 {
		q.To = plan.Some(until)
	}
	logs, err := tx.SessionLogs().List(q)
	if err != nil {
		return nil, err
	}
	var out []plan.Performance
	said := map[string]bool{}
	key := func(p *plan.Performance) string { return fmt.Sprint(p.ExerciseID, " ", p.Date.Value) }
	for _, p := range slices.Backward(page.Items) {
		out = append(out, p.Shown)
		said[key(&p.Shown)] = p.Shown.Date.Set
	}
	for _, l := range slices.Backward(logs.Items) {
		for _, f := range evidenceOf(cat, &a.Profile, &l) {
			if !said[key(&f.shown)] {
				out = append(out, f.shown)
				said[key(&f.shown)] = true
			}
		}
	}
	slices.SortStableFunc(out, func(a, b plan.Performance) int { return cmp.Compare(a.Date.Value, b.Date.Value) })
	return out[max(0, len(out)-maxShown):], nil
}

// finding is what a log shows, and by which set of which exercise.
type finding struct {
	shown    plan.Performance
	exercise int
	set      int
}

// evidenceOf reads a log. An exercise that comes twice speaks once, by the harder of its sets.
func evidenceOf(cat *exercise.Catalogue, a *plan.Athlete, l *SessionLog) []finding {
	var out []finding
	for i := range l.Exercises {
		id := l.Exercises[i].ExerciseID
		e, ok := cat.ByID(id)
		if !ok || slices.ContainsFunc(l.Exercises[:i], func(x LoggedExercise) bool { return x.ExerciseID == id }) {
			continue
		}
		var sets []adapt.Set
		var from [][2]int
		for j := i; j < len(l.Exercises); j++ {
			if l.Exercises[j].ExerciseID != id {
				continue
			}
			for k, s := range l.Exercises[j].Sets {
				sets = append(sets, adapt.Set{Kind: s.Kind, Reps: s.Reps, Load: s.Load, RIR: s.RIR, ToFailure: s.ToFailure})
				from = append(from, [2]int{j, k})
			}
		}
		if p, at, ok := adapt.Shown(e, l.Date, a.BodyMass.Set, sets); ok {
			out = append(out, finding{p, from[at][0], from[at][1]})
		}
	}
	return out
}

// credible refuses a log that shows what can't have been, as the engine sees it beside
// what was stored of the athlete before: a slip of typing, which would spoil every later load.
func (s *Service) credible(tx Tx, l *SessionLog) error {
	a, err := tx.Athletes().Get(l.Athlete)
	if err != nil {
		return nil // the store says who is missing
	}
	own, err := withOwn(tx, nil)
	if err != nil {
		return err
	}
	new := evidenceOf(s.catalogueWith(own), &a.Profile, l)
	if len(new) == 0 {
		return nil
	}
	page, err := tx.Performances().List(Query{Athlete: a.ID, Newest: true, Size: maxShown - len(new)})
	if err != nil {
		return err
	}
	q := plan.StrengthQuery{Athlete: a.Profile, Own: own}
	for _, f := range new {
		q.Athlete.Performances = append(q.Athlete.Performances, f.shown)
	}
	for _, p := range page.Items {
		q.Athlete.Performances = append(q.Athlete.Performances, p.Shown)
	}
	_, err = s.engine.Estimate(context.Background(), q) // some milliseconds
	f, ok := fault.As(err)
	if !ok || f.Kind != fault.Invalid {
		return err
	}
	out := fault.NewCollector(fault.Invalid)
	for _, v := range f.Violations {
		rest, is := strings.CutPrefix(v.Field, "athlete.performances[")
		n, part, _ := strings.Cut(rest, "]")
		if at, err := strconv.Atoi(n); is && err == nil && at < len(new) {
			out.Add(v.Reason, fmt.Sprintf("exercises[%d].sets[%d]%s", new[at].exercise, new[at].set, part), stored(v.Says, len(new)))
		}
	}
	return out.Err() // what else is wrong with the athlete is no fault of the log
}

// stored spells places in a list of which the first are new.
func stored(says string, new int) string {
	for i := range maxShown {
		says = strings.ReplaceAll(says, fmt.Sprintf("athlete.performances[%d]", i), "a stored performance")
	}
	return says
}

// asked is the request from which a program is revised: that of the newest revision, or
// one that was given, with the athlete as they are stored now. An athlete who was given
// otherwise than the newest revision has them is taken as given, with what was shown since.
// Programs without dates take in nothing new: what was shown can't be told from when.
func (s *Service) asked(tx Tx, n *NewRevision, base *Revision) (plan.Request, error) {
	r := base.Made.Request
	if n.Request.Set {
		r = n.Request.Value
	}
	own, err := withOwn(tx, r.Own, base.Made.Request.Own)
	if err != nil {
		return r, err
	}
	a, err := tx.Athletes().Get(n.Athlete)
	if err != nil {
		return r, err
	}
	now := a.Profile
	start := base.Made.Request.Constraints.Start
	if start.Set {
		if now.Performances, err = shown(tx, s.catalogueWith(own), &a, n.first(start.Value)); err != nil {
			return r, err
		}
	} else {
		now.Performances = base.Asked.Athlete.Performances
	}
	was := base.Asked.Athlete
	switch {
	case reflect.DeepEqual(r.Athlete, was), n.Request.Set && reflect.DeepEqual(r.Athlete, base.Made.Request.Athlete), !n.Request.Set:
		if reflect.DeepEqual(now, was) {
			break // nothing new: settled as it was
		}
		if !n.Request.Set {
			r = base.Asked
		}
		r.Athlete = now
	default:
		for _, p := range now.Performances {
			if !slices.Contains(r.Athlete.Performances, p) {
				r.Athlete.Performances = append(slices.Clip(r.Athlete.Performances), p)
			}
		}
	}
	r.Own = own
	return r, nil
}

// first gives the first day that is made again of a program with dates.
func (n *NewRevision) first(start plan.Date) plan.Date {
	if n.Rework.From.Set {
		return n.Rework.From.Value
	}
	return start.AddDays(7 * (int(max(n.Rework.FromWeek, 1)) - 1))
}

// logged refuses to make again what was logged already: Invalid LOGGED.
func (s *Service) logged(tx Tx, n *NewRevision, base *Revision) error {
	field := "rework.from_date"
	if n.Rework.FromWeek != 0 {
		field = "rework.from_week"
	}
	start := base.Made.Request.Constraints.Start
	q := Query{Athlete: n.Athlete, Program: n.Program, Newest: true, Size: MaxPage}
	logs, err := tx.SessionLogs().List(q)
	if err != nil {
		return err
	}
	for _, l := range logs.Items {
		switch {
		case start.Set && l.Date >= n.first(start.Value):
			return fault.New(fault.Invalid, ReasonLogged, field, fmt.Sprintf("the session of %s is logged, and what is logged stays; make the program again from %s on, or later", l.Date, l.Date.AddDays(1)))
		case !start.Set && l.Week >= max(n.Rework.FromWeek, 1):
			return fault.New(fault.Invalid, ReasonLogged, field, fmt.Sprintf("a session of week %d is logged, and what is logged stays; make the program again from week %d on, or later", l.Week, l.Week+1))
		}
	}
	return nil
}
