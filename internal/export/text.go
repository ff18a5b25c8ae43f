package export

import (
	"fmt"
	"io"

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
	t := &text{p: p, o: o, names: map[string]string{}, found: map[string]int32{}}
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
	names map[string]string // of exercises, as the program prints them
	found map[string]int32  // week of an exercise's calibration set
	used  []string          // exercise ids in order of appearance

	shared []string // notes printed once, below the week
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
	t.each(func(w *plan.Week, _ *plan.Session, e *plan.ProgramExercise) {
		if _, known := t.names[e.ExerciseID]; !known {
			t.names[e.ExerciseID] = e.Name
			t.used = append(t.used, e.ExerciseID)
		}
		for i := range e.Sets {
			if _, known := t.found[e.ExerciseID]; !known && e.Sets[i].Kind == plan.SetCalibration {
				t.found[e.ExerciseID] = w.Number
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
	if t.o.Catalogue == nil {
		return nil
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
		t.week(&ph.Weeks[0])
		if len(ph.Weeks) > 1 {
			t.tables(ph)
		}
	}
	t.totals(weeks)
	t.findings()
	t.contingencies()
}
