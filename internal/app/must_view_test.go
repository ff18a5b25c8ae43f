package app

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// view is what properties are held against.
type view struct {
	program   *plan.Program // its training sessions
	apart     []tested      // tests and attempts
	catalogue *exercise.Catalogue
	findings  []plan.Finding // the program's own and an audit's
	text      string         // as printed
	sibling   func(scenario string) (*plan.Program, error)
}

// tested is a session that shows strength, with its week.
type tested struct {
	week    int32
	session *plan.Session
}

// parted takes tests and attempts out of a copy of a program: what training has to be is
// not asked of them.
func parted(p *plan.Program) (*plan.Program, []tested) {
	out := *p
	var apart []tested
	out.Phases = slices.Clone(p.Phases)
	for i := range out.Phases {
		out.Phases[i].Weeks = slices.Clone(out.Phases[i].Weeks)
		for j := range out.Phases[i].Weeks {
			w := &out.Phases[i].Weeks[j]
			all := w.Sessions
			w.Sessions = nil
			for k := range all {
				if s := &all[k]; s.Kind == plan.SessionRetest || s.Kind == plan.SessionAttempt {
					apart = append(apart, tested{w.Number, s})
				} else {
					w.Sessions = append(w.Sessions, *s)
				}
			}
		}
	}
	return &out, apart
}

// over calls f for the weeks of a list and says which weeks there aren't.
func (v *view) over(l *weekList, f func(w *plan.Week)) []string {
	var last int32
	for i := range v.program.Phases {
		ph := &v.program.Phases[i]
		for j := range ph.Weeks {
			last = max(last, ph.Weeks[j].Number)
			if l.has(ph.Weeks[j].Number) {
				f(&ph.Weeks[j])
			}
		}
	}
	if last == 0 || l.last() > last {
		return []string{fmt.Sprintf("%s asked, the program ends with week %d", l, last)}
	}
	return nil
}

func (v *view) sessions(l *weekList, f func(w *plan.Week, s *plan.Session)) []string {
	return v.over(l, func(w *plan.Week) {
		for i := range w.Sessions {
			f(w, &w.Sessions[i])
		}
	})
}

// trained is over for counts by muscle, which exercises that the catalogue lacks would
// miss in.
func (v *view) trained(l *weekList, f func(w *plan.Week)) []string {
	v.over(l, f)
	return v.lifts(l, func(*lift) {})
}

// lift is an exercise of a session with its catalogue entry.
type lift struct {
	week    *plan.Week
	session *plan.Session
	*plan.ProgramExercise
	x *exercise.Exercise
}

func (l *lift) at() string {
	return fmt.Sprintf("week %d %s, %s", l.week.Number, l.session.Weekday, l.ExerciseID)
}

// lifts calls f for every exercise; one that the catalogue lacks is a problem.
func (v *view) lifts(l *weekList, f func(l *lift)) []string {
	var bad []string
	missing := v.sessions(l, func(w *plan.Week, s *plan.Session) {
		for i := range s.Exercises {
			e := &s.Exercises[i]
			x, ok := v.catalogue.ByID(e.ExerciseID)
			if !ok {
				bad = append(bad, fmt.Sprintf("week %d has %q, which the catalogue lacks", w.Number, e.ExerciseID))
				continue
			}
			f(&lift{week: w, session: s, ProgramExercise: e, x: x})
		}
	})
	return append(missing, bad...)
}

// choices are the exercises of the program and their substitutes.
func (v *view) choices(f func(at string, x *exercise.Exercise)) []string {
	var bad []string
	seen := 0
	missing := v.lifts(&weekList{}, func(l *lift) {
		seen++
		f(l.at(), l.x)
		for i := range l.Contingencies {
			for _, id := range l.Contingencies[i].Swap {
				x, ok := v.catalogue.ByID(id)
				if !ok {
					bad = append(bad, fmt.Sprintf("%s: the catalogue lacks the substitute %q", l.at(), id))
					continue
				}
				f(l.at()+", substitute "+id, x)
			}
		}
	})
	if seen == 0 {
		bad = append(bad, "the program has no exercises")
	}
	return append(missing, bad...)
}

// exercises refuses names that would match nothing because they are misspelt.
func (v *view) exercises(ids []string) []string {
	var bad []string
	for _, id := range ids {
		if _, ok := v.catalogue.ByID(id); !ok {
			bad = append(bad, fmt.Sprintf("there is no exercise %q", id))
		}
	}
	return bad
}

type named interface {
	~uint8
	String() string
}

// called finds a value by its printed name, spaces or hyphens.
func called[T named](name string, first, last T) (T, bool) {
	flat := func(s string) string { return strings.ReplaceAll(strings.ToLower(s), "-", " ") }
	for x := first; x <= last; x++ {
		if flat(x.String()) == flat(name) {
			return x, true
		}
	}
	return 0, false
}

// allCalled finds several values.
func allCalled[T named](names []string, first, last T) ([]T, []string) {
	var list []T
	var bad []string
	for _, n := range names {
		x, ok := called(n, first, last)
		if !ok {
			bad = append(bad, fmt.Sprintf("there is no %q", n))
			continue
		}
		list = append(list, x)
	}
	return list, bad
}

func muscles(names []string) ([]plan.Muscle, []string) {
	return allCalled(names, plan.MuscleUnspecified+1, plan.MuscleCount-1)
}

func patterns(names []string) ([]plan.Pattern, []string) {
	return allCalled(names, plan.PatternUnspecified+1, plan.PatternCount-1)
}

// work gives the sets that are not warm-up.
func work(e *plan.ProgramExercise) []*plan.Set {
	var list []*plan.Set
	for i := range e.Sets {
		if e.Sets[i].Kind != plan.SetWarmup {
			list = append(list, &e.Sets[i])
		}
	}
	return list
}

func workIn(w *plan.Week) int {
	n := 0
	for i := range w.Sessions {
		n += workOf(&w.Sessions[i])
	}
	return n
}

func workOf(s *plan.Session) int {
	n := 0
	for i := range s.Exercises {
		n += len(work(&s.Exercises[i]))
	}
	return n
}

// muscleSets counts a week's sets for a muscle anew, from the catalogue.
func (v *view) muscleSets(w *plan.Week, m plan.Muscle) (total, direct plan.HalfSets, days int) {
	for i := range w.Sessions {
		trained := false
		for j := range w.Sessions[i].Exercises {
			e := &w.Sessions[i].Exercises[j]
			x, ok := v.catalogue.ByID(e.ExerciseID)
			if !ok {
				continue
			}
			n := plan.HalfSets(len(work(e))) * x.SetCountsFor(m)
			total += n
			if x.Direct(m) {
				direct += n
				trained = trained || n > 0
			}
		}
		if trained {
			days++
		}
	}
	return total, direct, days
}

// goes reports whether one of the alternatives needs nothing beyond the list.
func goes(alternatives [][]plan.Equipment, have []plan.Equipment) bool {
	for _, needs := range alternatives {
		if !slices.ContainsFunc(needs, func(e plan.Equipment) bool { return !slices.Contains(have, e) }) {
			return true
		}
	}
	return len(alternatives) == 0
}

func containsFold(s, part string) bool {
	return strings.Contains(strings.ToLower(s), strings.ToLower(part))
}
