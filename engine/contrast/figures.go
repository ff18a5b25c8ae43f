// Package contrast counts what programs ask for, week by week and phase by phase, and says
// in what several of them for one athlete are equal and by how much they are not. It reads
// the finished programs alone.
package contrast

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// sum adds up sets before they become figures.
type sum struct {
	f       plan.Figures
	volume  int64 // thousandths of the unit
	rated   int64 // repetitions × permille
	muscles [plan.MuscleCount]plan.MuscleWork
}

// Of counts a program. Exercises that the catalogue has not count for no muscle.
func Of(label string, p *plan.Program, cat *exercise.Catalogue) plan.ArmReport {
	unit := p.Request.Constraints.Unit
	out := plan.ArmReport{Label: label, Strategy: p.Versions.Strategy, Digest: p.Digest, Program: *p}
	var all sum
	for i := range p.Phases {
		ph := &p.Phases[i]
		var phase sum
		for j := range ph.Weeks {
			w := &ph.Weeks[j]
			var week sum
			for k := range w.Sessions {
				week.session(&w.Sessions[k], unit, cat)
			}
			out.Weeks = append(out.Weeks, plan.ArmWeek{Number: w.Number, Phase: ph.Name, Kind: w.Kind, Figures: week.figures(unit)})
			phase.join(&week)
		}
		if len(ph.Weeks) > 0 {
			out.Phases = append(out.Phases, plan.ArmPhase{Name: ph.Name, FromWeek: ph.Weeks[0].Number, ToWeek: ph.Weeks[len(ph.Weeks)-1].Number, Figures: phase.figures(unit)})
		}
		all.join(&phase)
	}
	out.Total = all.figures(unit)
	return out
}

func (s *sum) session(x *plan.Session, unit plan.MassUnit, cat *exercise.Catalogue) {
	s.f.Sessions++
	s.f.Seconds += x.Seconds
	for i := range x.Exercises {
		e := &x.Exercises[i]
		ex, known := cat.ByID(e.ExerciseID)
		for k := range e.Sets {
			if e.Sets[k].Kind.Counts() {
				s.set(&e.Sets[k], unit, known && ex.Loading == plan.LoadingAssisted)
			}
		}
		if !known {
			continue
		}
		n := plan.HalfSets(e.Working())
		for m := range s.muscles {
			v := ex.SetCountsFor(plan.Muscle(m))
			s.muscles[m].Sets += v * n
			if v == exercise.Prime {
				s.muscles[m].Direct += v * n
			}
		}
	}
}

func (s *sum) set(x *plan.Set, unit plan.MassUnit, assisted bool) {
	f := &s.f
	f.HardSets++
	if x.RIR.Set || x.ToFailure {
		f.StatedRIR++
		if x.ToFailure || x.RIR.Value <= plan.NearFailureRIR {
			f.NearFailure++
		}
	}
	reps := Reps(x)
	if reps == 0 {
		return // timed
	}
	f.Reps += reps
	f.Zones[zone(reps)] += reps
	if x.Intensity.Set {
		f.RatedReps += reps
		s.rated += int64(reps) * int64(x.Intensity.Value)
	}
	if x.Load.Set && !assisted { // help is not lifted
		f.LoadedSets++
		s.volume += int64(reps) * x.Load.Value.In(unit).Milli
	}
}

// Reps gives the repetitions that are expected in a set, else the most of its range.
func Reps(x *plan.Set) int32 {
	if x.Expected > 0 {
		return x.Expected
	}
	return x.Reps.Max
}

func zone(reps int32) int {
	for z, top := range plan.ZoneTop[:plan.ZoneHigh] {
		if reps <= top {
			return z
		}
	}
	return plan.ZoneHigh
}

func (s *sum) join(o *sum) {
	a, b := &s.f, &o.f
	a.Sessions += b.Sessions
	a.HardSets += b.HardSets
	a.StatedRIR += b.StatedRIR
	a.NearFailure += b.NearFailure
	a.Reps += b.Reps
	a.LoadedSets += b.LoadedSets
	a.RatedReps += b.RatedReps
	a.Seconds += b.Seconds
	for z := range a.Zones {
		a.Zones[z] += b.Zones[z]
	}
	s.volume += o.volume
	s.rated += o.rated
	for m := range s.muscles {
		s.muscles[m].Sets += o.muscles[m].Sets
		s.muscles[m].Direct += o.muscles[m].Direct
	}
}

func (s *sum) figures(unit plan.MassUnit) plan.Figures {
	f := s.f
	if f.LoadedSets > 0 {
		f.VolumeLoad = plan.Some(plan.Load{Milli: s.volume, Unit: unit})
	}
	if n := int64(f.RatedReps); n > 0 {
		f.Intensity = plan.Some(plan.Permille((s.rated + n/2) / n))
	}
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if s.muscles[m].Sets > 0 {
			f.Muscles = append(f.Muscles, plan.MuscleWork{Muscle: m, Sets: s.muscles[m].Sets, Direct: s.muscles[m].Direct})
		}
	}
	return f
}
