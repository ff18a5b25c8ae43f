package export

import (
	"fmt"
	"io"
	"slices"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// Options choose what is printed. The zero value prints the whole program.
type Options struct {
	Week      int32               // only this week, in full; 0: all
	Why       bool                // the rule and source behind each number of the weeks in full
	Catalogue *exercise.Catalogue // names of substitutes, loads a hand, one-sided work; may be nil
}

// Text writes the program. It takes hand-written ones as they are: what is missing is
// left out. The error is that of w, or says that there is no such week.
func Text(w io.Writer, p *plan.Program, o Options) error {
	if n := p.WeekCount(); o.Week < 0 || o.Week > 0 && !hasWeek(p, o.Week) {
		return fmt.Errorf("week %d is not in the program; it has %d weeks", o.Week, n)
	}
	t := &text{p: p, o: o, names: map[string]string{}, found: map[foundAt]int32{}}
	t.index()
	t.header()
	if o.Week > 0 {
		t.oneWeek()
	} else {
		t.wholeProgram()
	}
	if o.Why {
		t.why()
	}
	_, err := io.WriteString(w, t.String())
	return err
}

// text is a program on its way to the page.
type text struct {
	page
	p     *plan.Program
	o     Options
	names map[string]string             // of exercises, as the program prints them
	found map[foundAt]int32             // week of an exercise's first calibration set, at a place and anywhere
	own   map[string]*exercise.Exercise // that the request brought along
	at    string                        // place of the session being printed
	used  []string                      // exercise ids in order of appearance

	shared []string // notes printed once, below the week
}

// foundAt is an exercise at a place; place "" is wherever it was first.
type foundAt struct{ id, place string }

// moved reports a load that is found at two places: on two machines.
func (t *text) moved() bool {
	at := map[string]int{}
	most := 0
	for key := range t.found {
		if key.place != "" {
			at[key.id]++
			most = max(most, at[key.id])
		}
	}
	return most > 1
}

func hasWeek(p *plan.Program, n int32) bool {
	for i := range p.Phases {
		for k := range p.Phases[i].Weeks {
			if p.Phases[i].Weeks[k].Number == n {
				return true
			}
		}
	}
	return false
}

// each visits every exercise in order.
func (t *text) each(visit func(w *plan.Week, s *plan.Session, e *plan.ProgramExercise)) {
	for i := range t.p.Phases {
		for k := range t.p.Phases[i].Weeks {
			w := &t.p.Phases[i].Weeks[k]
			for s := range w.Sessions {
				for e := range w.Sessions[s].Exercises {
					visit(w, &w.Sessions[s], &w.Sessions[s].Exercises[e])
				}
			}
		}
	}
}

func (t *text) index() {
	for i := range t.p.Request.Own {
		if t.own == nil {
			t.own = map[string]*exercise.Exercise{}
		}
		x := exercise.FromOwn(&t.p.Request.Own[i])
		t.own[x.ID] = &x
	}
	t.each(func(w *plan.Week, s *plan.Session, e *plan.ProgramExercise) {
		if _, known := t.names[e.ExerciseID]; !known {
			t.names[e.ExerciseID] = e.Name
			t.used = append(t.used, e.ExerciseID)
		}
		for i := range e.Sets {
			if e.Sets[i].Kind != plan.SetCalibration {
				continue
			}
			for _, key := range [...]foundAt{{e.ExerciseID, s.PlaceID}, {e.ExerciseID, ""}} {
				if _, known := t.found[key]; !known {
					t.found[key] = w.Number
				}
			}
		}
	})
}

// name gives an exercise's name as the program or the catalogue prints it.
func (t *text) name(id string) string {
	if n := t.names[id]; n != "" {
		return n
	}
	if x := t.exercise(id); x != nil {
		return x.Name
	}
	return id
}

func (t *text) exercise(id string) *exercise.Exercise {
	if x := t.own[id]; x != nil || t.o.Catalogue == nil {
		return x
	}
	x, _ := t.o.Catalogue.ByID(id)
	return x
}

func (t *text) oneWeek() {
	for i := range t.p.Phases {
		for k := range t.p.Phases[i].Weeks {
			w := &t.p.Phases[i].Weeks[k]
			if w.Number == t.o.Week {
				t.phaseHeading(&t.p.Phases[i])
				t.week(w)
				t.totals([]*plan.Week{w})
			}
		}
	}
}

func (t *text) wholeProgram() {
	t.cautions()
	t.assumptions()
	t.strengths()
	var weeks []*plan.Week
	for i := range t.p.Phases {
		ph := &t.p.Phases[i]
		t.phaseHeading(ph)
		for k := range ph.Weeks {
			weeks = append(weeks, &ph.Weeks[k])
		}
		if len(ph.Weeks) == 0 {
			continue
		}
		for _, k := range inFull(ph) {
			t.week(&ph.Weeks[k])
		}
		if len(ph.Weeks) > 1 {
			t.tables(ph)
		}
		t.apart(ph)
	}
	t.totals(weeks)
	t.peaks(weeks)
	t.findings()
	t.contingencies()
}

// apart reports a test or an attempt: no column of a table, as no other session is like
// it.
func apart(s *plan.Session) bool {
	return s.Kind == plan.SessionRetest || s.Kind == plan.SessionAttempt
}

// apart prints a phase's tests and attempts that no week in full has shown.
func (t *text) apart(ph *plan.Phase) {
	full := inFull(ph)
	for k := range ph.Weeks {
		w := &ph.Weeks[k]
		for i := range w.Sessions {
			if s := &w.Sessions[i]; apart(s) && !slices.Contains(full, k) {
				t.blank()
				t.line("Week " + number(w.Number) + ", " + s.Kind.String())
				t.session(s, w.Number)
			}
		}
	}
}

// inFull gives the weeks of a phase that are printed in full: its first, and the first
// at a place that none of these was at.
func inFull(ph *plan.Phase) []int {
	var out []int
	seen := map[string]bool{}
	for k := range ph.Weeks {
		fresh := k == 0
		for _, s := range ph.Weeks[k].Sessions {
			fresh = fresh || !seen[s.PlaceID]
		}
		if !fresh {
			continue
		}
		out = append(out, k)
		for _, s := range ph.Weeks[k].Sessions {
			seen[s.PlaceID] = true
		}
	}
	return out
}
