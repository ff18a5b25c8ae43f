package export

import (
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

func (t *text) phaseHeading(ph *plan.Phase) {
	weeks := ""
	if n := len(ph.Weeks); n > 0 {
		list := make([]int32, n)
		for i := range ph.Weeks {
			list[i] = ph.Weeks[i].Number
		}
		weeks = " · " + inWeeks(list)
	}
	t.heading("Phase: " + ph.Name + weeks)
	if ph.Aim != "" {
		t.wrap("", "", ph.Aim)
	}
}

// week prints a week in full.
func (t *text) week(w *plan.Week) {
	t.blank()
	head := fmt.Sprintf("Week %d in full", w.Number)
	if w.Kind != plan.WeekUnspecified && w.Kind != plan.WeekTraining {
		head += " · " + w.Kind.String()
	}
	if w.Start.Set {
		head += " · from " + longDate(w.Start.Value)
	}
	t.line(head)
	if len(w.Sessions) == 0 {
		t.line("  no session")
	}
	t.shared = repeatedNotes(w)
	for i := range w.Sessions {
		t.session(&w.Sessions[i], w.Number)
	}
	if len(t.shared) > 0 {
		t.blank()
	}
	for i, n := range t.shared {
		t.wrap(fmt.Sprintf("(%d) ", i+1), "    ", n)
	}
}

// repeatedNotes lists the notes that stand at more than one exercise of a week; they are
// printed once, below it.
func repeatedNotes(w *plan.Week) []string {
	times := map[string]int{}
	var all, out []string
	for i := range w.Sessions {
		for k := range w.Sessions[i].Exercises {
			if n := w.Sessions[i].Exercises[k].Note; n != "" {
				times[n]++
				all = distinct(all, n)
			}
		}
	}
	for _, n := range all {
		if times[n] > 1 {
			out = append(out, n)
		}
	}
	return out
}

// note gives an exercise's note, or the number of the shared one.
func (t *text) note(e *plan.ProgramExercise) string {
	for i, n := range t.shared {
		if n == e.Note {
			return fmt.Sprintf("see (%d) below the week", i+1)
		}
	}
	return e.Note
}

// when prints "Mon 5 Jan", "Mon" or "Day 1".
func when(s *plan.Session) string {
	day := weekday(s.Weekday)
	switch {
	case s.Date.Set && day == "":
		return weekday(s.Date.Value.Weekday()) + " " + shortDate(s.Date.Value)
	case s.Date.Set:
		return day + " " + shortDate(s.Date.Value)
	case day == "":
		return "Day " + number(s.Day+1)
	}
	return day
}

// what prints the kind, group and label of a session, "" for an ordinary one.
func what(s *plan.Session) []string {
	var out []string
	if s.Kind != plan.SessionTraining && s.Kind != plan.SessionUnspecified {
		out = append(out, s.Kind.String())
	}
	if s.Group != "" {
		out = append(out, "workout "+s.Group)
	}
	if s.Label != "" && s.Label != s.Group {
		out = append(out, s.Label)
	}
	return out
}

func (t *text) session(s *plan.Session, week int32) {
	t.at = s.PlaceID
	t.blank()
	head := append([]string{when(s)}, what(s)...)
	if len(t.p.Request.Constraints.Places) > 1 {
		head = append(head, t.place(s.PlaceID))
	}
	head = append(head, fmt.Sprintf("%s min (uses %s)", minutes(s.Limit), minutes(s.Seconds)))
	if s.Warmup > 0 {
		head = append(head, "general warm-up "+minutes(s.Warmup)+" min")
	}
	t.wrap("", "  ", strings.Join(head, " · "))
	for i := range s.Exercises {
		t.exerciseInFull(int32(i+1), &s.Exercises[i], week)
	}
}

func (t *text) exerciseInFull(n int32, e *plan.ProgramExercise, week int32) {
	const in, hang = "    ", "      "
	name := e.Name
	if e.CallerID != "" {
		name += " [" + e.CallerID + "]"
	}
	t.wrap(fmt.Sprintf("%2d. ", n), in, name)
	if w := t.warmups(e, week); w != "" {
		t.wrap(in, hang, w)
	}
	for _, l := range t.setLines(e, week) {
		t.wrap(in, hang, l)
	}
	var facts []string
	for _, f := range [...]string{aims(e), shares(e), t.pieces(e)} {
		if f != "" {
			facts = append(facts, f)
		}
	}
	if len(facts) > 0 {
		t.wrap(in, hang, strings.Join(facts, " · "))
	}
	if a := adjustments(e); a != "" {
		t.wrap(in, hang, a)
	}
	if n := t.note(e); n != "" {
		t.wrap(in, hang, n)
	}
	if t.o.Why {
		t.basis(e)
	}
}

// adjustments prints the table by which a set moves the next load.
func adjustments(e *plan.ProgramExercise) string {
	for i := range e.Sets {
		steps := e.Sets[i].Adjust
		if len(steps) == 0 {
			continue
		}
		var out []string
		for _, a := range steps {
			change := signed(a.From)
			if a.To != a.From {
				change += " to " + signed(a.To)
			}
			out = append(out, band(a.Reps)+": "+change+" "+a.Unit.String())
		}
		return "next load by what was done: " + strings.Join(out, "; ")
	}
	return ""
}

// manyReps ends a band that has no end.
const manyReps = 50

func band(r plan.Range) string {
	switch {
	case r.Max >= manyReps:
		return number(r.Min) + " repetitions and more"
	case r.Min == 0:
		return "up to " + number(r.Max) + " repetitions"
	}
	return span(r) + " repetitions"
}

func signed(milli int64) string {
	s := plan.Load{Milli: milli}.Number()
	if milli > 0 {
		return "+" + s
	}
	return strings.Replace(s, "-", "−", 1)
}
