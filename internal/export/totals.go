package export

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/plan"
)

// totals prints weekly sets per muscle and the work on goal lifts, a column a week.
func (t *text) totals(weeks []*plan.Week) {
	g := grid{}
	for _, w := range weeks {
		g.columns = append(g.columns, column{from: w.Number, to: w.Number, marks: []string{kindMark(w)}})
	}
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		g.row(m.String(), weeks, func(w *plan.Week) string { return muscleCell(w, m) })
	}
	if len(g.rows) > 0 {
		t.heading("Sets a week by muscle")
		t.line("Got/wanted; a set counts 1 for the muscles it trains directly and 0.5 indirectly.")
		t.grid(&g)
	}
	g.rows = nil
	for _, id := range liftIDs(weeks) {
		name := t.name(id)
		g.row(name+", sets", weeks, liftCell(id, func(l *plan.LiftTotal) string { return got(number(l.Sets), number(l.Wanted), l.Wanted > 0) }))
		g.row("  repetitions", weeks, liftCell(id, func(l *plan.LiftTotal) string { return number(l.Reps) }))
		g.row("  heaviest, of 1RM", weeks, liftCell(id, func(l *plan.LiftTotal) string {
			if !l.Top.Set {
				return ""
			}
			return l.Top.Value.String()
		}))
		g.row("  sets × reps × load", weeks, liftCell(id, func(l *plan.LiftTotal) string {
			if !l.VolumeLoad.Set {
				return ""
			}
			return l.VolumeLoad.Value.Whole()
		}))
	}
	if len(g.rows) > 0 {
		t.heading("Goal lifts a week")
		t.grid(&g)
	}
}

func kindMark(w *plan.Week) string {
	if w.Kind == plan.WeekTraining || w.Kind == plan.WeekUnspecified {
		return ""
	}
	return w.Kind.String()
}

func got(is, wanted string, asked bool) string {
	if !asked {
		return is
	}
	return fmt.Sprintf("%s/%s", is, wanted)
}

func muscleCell(w *plan.Week, m plan.Muscle) string {
	for i := range w.Muscles {
		if x := &w.Muscles[i]; x.Muscle == m {
			return got(x.Sets.String(), x.Wanted.String(), x.Wanted > 0)
		}
	}
	return ""
}

func liftIDs(weeks []*plan.Week) []string {
	var out []string
	for _, w := range weeks {
		for i := range w.Lifts {
			out = distinct(out, w.Lifts[i].ExerciseID)
		}
	}
	return out
}

func liftCell(id string, print func(*plan.LiftTotal) string) func(*plan.Week) string {
	return func(w *plan.Week) string {
		for i := range w.Lifts {
			if w.Lifts[i].ExerciseID == id {
				return print(&w.Lifts[i])
			}
		}
		return ""
	}
}
