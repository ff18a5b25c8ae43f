package export

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/plan"
)

// heavyShare: a session is a heavy one for a lift that goes to so much of its heaviest
// load in training.
const heavyShare = 95

// peaks prints, for every lift that peaks on a date, how much and how heavily it is
// trained on the way and when the last heavy day is.
func (t *text) peaks(weeks []*plan.Week) {
	var lifts []*plan.Goal
	for i := range t.p.Request.Goals {
		if g := &t.p.Request.Goals[i]; g.Kind == plan.GoalPeak && g.Date.Set {
			lifts = append(lifts, g)
		}
	}
	if len(lifts) == 0 {
		return
	}
	t.heading("The way to the date")
	t.line("Volume load and heaviest load of each week in % of its highest week and of the 1RM.")
	g := grid{}
	for _, w := range weeks {
		g.columns = append(g.columns, column{from: w.Number, to: w.Number, marks: []string{kindMark(w)}})
	}
	for _, lift := range lifts {
		most := mostVolume(weeks, lift.ExerciseID)
		g.row(t.name(lift.ExerciseID), weeks, liftCell(lift.ExerciseID, func(l *plan.LiftTotal) string {
			if !l.VolumeLoad.Set || most == 0 {
				return ""
			}
			return number(int32((100*l.VolumeLoad.Value.Grams() + most/2) / most))
		}))
		g.row("  heaviest", weeks, liftCell(lift.ExerciseID, func(l *plan.LiftTotal) string {
			if !l.Top.Set {
				return ""
			}
			return number(int32(l.Top.Value+5) / 10)
		}))
	}
	t.grid(&g)
	t.blank()
	for _, lift := range lifts {
		if s := lastHeavy(weeks, lift); s != nil {
			days := int32(lift.Date.Value - s.Date.Value)
			t.wrap("- ", "  ", fmt.Sprintf("%s: last heavy day %s, %s before the attempts (%d %% of its heaviest load or more)",
				t.name(lift.ExerciseID), when(s), counted(days, "day"), heavyShare))
		}
	}
}

func counted(n int32, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return number(n) + " " + what + "s"
}

func mostVolume(weeks []*plan.Week, id string) int64 {
	most := int64(0)
	for _, w := range weeks {
		for i := range w.Lifts {
			if l := &w.Lifts[i]; l.ExerciseID == id && l.VolumeLoad.Set {
				most = max(most, l.VolumeLoad.Value.Grams())
			}
		}
	}
	return most
}

// lastHeavy finds the last heavy session of a lift before its date.
func lastHeavy(weeks []*plan.Week, goal *plan.Goal) *plan.Session {
	heaviest := int64(0)
	for _, w := range weeks {
		for i := range w.Sessions {
			heaviest = max(heaviest, topLoad(&w.Sessions[i], goal.ExerciseID))
		}
	}
	var last *plan.Session
	for _, w := range weeks {
		for i := range w.Sessions {
			s := &w.Sessions[i]
			if top := topLoad(s, goal.ExerciseID); top > 0 && s.Date.Set && s.Date.Value <= goal.Date.Value && 100*top >= heavyShare*heaviest {
				last = s
			}
		}
	}
	return last
}

// topLoad is the heaviest training load of a lift in a session, in grams; 0: none.
func topLoad(s *plan.Session, id string) int64 {
	top := int64(0)
	for i := range s.Exercises {
		if s.Exercises[i].ExerciseID != id {
			continue
		}
		for k := range s.Exercises[i].Sets {
			if set := &s.Exercises[i].Sets[k]; set.Kind.Counts() && set.Load.Set {
				top = max(top, set.Load.Value.Grams())
			}
		}
	}
	return top
}
