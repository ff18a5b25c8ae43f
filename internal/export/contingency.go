package export

import (
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

var caseTitles = [...]string{"", "Repetitions missed", "More repetitions than asked", "Equipment taken", "Pain", "Day missed"}

// advice is one text and the exercises it is for.
type advice struct {
	says      string
	exercises []string // ids
	steps     [][]string
}

// contingencies prints what to do when it goes differently, each text once, and the
// steps and substitutes of each exercise.
func (t *text) contingencies() {
	if !t.anyContingency() {
		return
	}
	t.heading("When it goes differently")
	for c := plan.CaseRepsMissed; c <= plan.CaseDayMissed; c++ {
		list := t.advice(c)
		if len(list) == 0 {
			continue
		}
		t.line(caseTitles[c])
		for i := range list {
			t.item(t.forWhom(&list[i]) + list[i].says)
		}
	}
	t.substitutes()
}

func (t *text) anyContingency() bool {
	any := false
	t.each(func(_ *plan.Week, _ *plan.Session, e *plan.ProgramExercise) { any = any || len(e.Contingencies) > 0 })
	return any
}

// advice gathers the texts of a case in order of appearance. Texts that differ only in
// the load of the day are one.
func (t *text) advice(c plan.Case) []advice {
	var out []advice
	index := map[string]int{}
	t.each(func(_ *plan.Week, _ *plan.Session, e *plan.ProgramExercise) {
		for i := range e.Contingencies {
			x := &e.Contingencies[i]
			if x.Case != c {
				continue
			}
			says := general(x)
			at, ok := index[says]
			if !ok {
				at = len(out)
				index[says] = at
				out = append(out, advice{says: says})
			}
			out[at].add(e.ExerciseID, x.Change)
		}
	})
	return out
}

func (a *advice) add(id string, change plan.Opt[plan.Load]) {
	at := -1
	for i, have := range a.exercises {
		if have == id {
			at = i
		}
	}
	if at < 0 {
		at = len(a.exercises)
		a.exercises = append(a.exercises, id)
		a.steps = append(a.steps, nil)
	}
	if change.Set {
		l := change.Value
		if l.Milli < 0 {
			l.Milli = -l.Milli
		}
		a.steps[at] = distinct(a.steps[at], l.String())
	}
}

// general gives a text of the catalogue without the numbers of the day, which change
// from week to week and stand at the sets; any other text as it stands.
func general(c *plan.Contingency) string {
	missed, next := "Fewer repetitions than stated", "the next heavier load"
	if c.TextID == prescribe.TextMissedHold {
		missed = "Less time than stated"
	}
	if c.Change.Value.Milli < 0 {
		next = "the next lighter load"
	}
	words := []string{
		"{step}, to {load},", "one step", "{step}, to {load}", "one step", ", {load},", "", ", {load}.", ".", "{load}", next, "{step}", "one step",
		"Longer than {high} s", "Longer than stated", "Two repetitions more than {high}", "Two repetitions more than stated",
		"{high} repetitions", "the stated repetitions", "{missed}", missed,
		"to {most}", "to 3 more than stated", "{most} are", "the plan's repetitions are",
	}
	s := strings.NewReplacer(words...).Replace(prescribe.Text(c.TextID))
	if s == "" || strings.Contains(s, "{") {
		return c.Says
	}
	return s
}

// forWhom names the exercises of a text with their steps; nothing where it is for all.
func (t *text) forWhom(a *advice) string {
	stepped := false
	for _, s := range a.steps {
		stepped = stepped || len(s) > 0
	}
	if !stepped && len(a.exercises) == len(t.used) {
		return ""
	}
	out := make([]string, len(a.exercises))
	for i, id := range a.exercises {
		out[i] = t.name(id)
		if len(a.steps[i]) > 0 {
			out[i] += " (" + strings.Join(a.steps[i], " or ") + ")"
		}
	}
	return strings.Join(out, ", ") + ": "
}

// substitutes lists each exercise's swaps once.
func (t *text) substitutes() {
	swaps := map[string][]string{}
	t.each(func(_ *plan.Week, _ *plan.Session, e *plan.ProgramExercise) {
		for i := range e.Contingencies {
			for _, id := range e.Contingencies[i].Swap {
				swaps[e.ExerciseID] = distinct(swaps[e.ExerciseID], t.name(id))
			}
		}
	})
	if len(swaps) == 0 {
		return
	}
	t.line("Substitutes")
	for _, id := range t.used {
		if len(swaps[id]) > 0 {
			t.item(t.name(id) + ": " + strings.Join(swaps[id], ", or "))
		}
	}
}
