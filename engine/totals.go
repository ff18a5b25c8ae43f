package engine

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// totals counts a week's sets from its sessions.
func (g *generation) totals(w *plan.Week, week int) {
	d := &g.doses[week]
	var all, direct [plan.MuscleCount]plan.HalfSets
	for s := range w.Sessions {
		for i := range w.Sessions[s].Exercises {
			e := &w.Sessions[s].Exercises[i]
			ex, _ := g.brief.Catalogue.ByID(e.ExerciseID)
			for m := range all {
				v := ex.SetCountsFor(plan.Muscle(m))
				all[m] += v * plan.HalfSets(e.Working())
				if v == exercise.Prime {
					direct[m] += v * plan.HalfSets(e.Working())
				}
			}
		}
	}
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if all[m] > 0 || d.Muscles[m].Wanted > 0 {
			w.Muscles = append(w.Muscles, plan.MuscleTotal{Muscle: m, Wanted: d.Muscles[m].Wanted, Sets: all[m], Direct: direct[m]})
		}
	}
	for _, l := range d.Lifts {
		w.Lifts = append(w.Lifts, g.liftTotal(w, l.ExerciseID, l.Sets))
	}
}

func (g *generation) liftTotal(w *plan.Week, id string, wanted int32) plan.LiftTotal {
	t := plan.LiftTotal{ExerciseID: id, Wanted: wanted}
	unit := g.brief.Request.Constraints.Unit
	ex, _ := g.brief.Catalogue.ByID(id)
	volume, known := int64(0), false
	for s := range w.Sessions {
		for i := range w.Sessions[s].Exercises {
			e := &w.Sessions[s].Exercises[i]
			if e.ExerciseID != id {
				continue
			}
			for k := range e.Sets {
				set := &e.Sets[k]
				if !set.Kind.Counts() {
					continue
				}
				t.Sets++
				reps := set.Expected
				if reps == 0 {
					reps = set.Reps.Max // nothing better is known
				}
				t.Reps += reps
				if set.Load.Set && ex.Loading != plan.LoadingAssisted { // help is not lifted
					known = true
					volume += int64(reps) * set.Load.Value.In(unit).Milli
				}
				if set.Intensity.Set && set.Intensity.Value > t.Top.Value {
					t.Top = set.Intensity
				}
			}
		}
	}
	if known {
		t.VolumeLoad = plan.Some(plan.Load{Milli: volume, Unit: unit})
	}
	return t
}
