package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// catalogue gives the exercises, asked for once.
func (d *desk) catalogue(ctx context.Context) (*exercise.Catalogue, error) {
	if d.cat == nil {
		cat, err := d.Catalogue(ctx)
		if err != nil {
			return nil, err
		}
		d.cat = cat
	}
	return d.cat, nil
}

// logLine tells a log: the day, what was prescribed, then the exercises.
func logLine(cat *exercise.Catalogue, l *service.SessionLog) string {
	out := dayName(l.Date)
	switch {
	case l.Week > 0 && len(l.Exercises) == 0:
		out += fmt.Sprintf(", week %d session %d: missed", l.Week, l.Session)
	case l.Week > 0:
		out += fmt.Sprintf(", week %d session %d", l.Week, l.Session)
	default:
		out += ", beside the program"
	}
	if l.Note != "" {
		out += " · " + l.Note
	}
	for _, e := range l.Exercises {
		name := e.ExerciseID
		if x, ok := cat.ByID(name); ok {
			name = x.Name
		}
		out += "\n  " + name + "  " + setLine(e.Sets)
	}
	return out
}

// setLine tells sets, those of a load together: 100 kg × 5, 5, 4 (1 left).
func setLine(sets []service.LoggedSet) string {
	var out []string
	for i := 0; i < len(sets); {
		j := i + 1
		for j < len(sets) && sets[j].Load == sets[i].Load {
			j++
		}
		run := sets[i:j]
		same := true
		for _, s := range run {
			same = same && s.RIR == run[0].RIR
		}
		var reps []string
		for _, s := range run {
			r := fmt.Sprint(s.Reps)
			switch {
			case same:
			case !s.RIR.Set:
				r += " (not said)"
			default:
				r += left(s.RIR)
			}
			reps = append(reps, r)
		}
		word := "body mass"
		if run[0].Load.Set {
			word = run[0].Load.Value.String()
		}
		word += " × " + strings.Join(reps, ", ")
		if same {
			word += left(run[0].RIR)
		}
		out = append(out, word)
		i = j
	}
	return strings.Join(out, "; ")
}

func left(rir plan.Opt[int32]) string {
	if !rir.Set {
		return ""
	}
	return fmt.Sprintf(" (%d left)", rir.Value)
}
