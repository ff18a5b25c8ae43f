package wire

import (
	"fmt"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

func constraintsFrom(r *reader, p *pb.Constraints) plan.Constraints {
	return plan.Constraints{
		Unit: enum(r, "mass_unit", p.GetMassUnit(), plan.Pound+1),
		Days: each(r, "days", p.GetDays(), func(r *reader, p *pb.Day) plan.Day {
			return plan.Day{Weekday: weekday(r, p.GetWeekday()), Minutes: p.GetMinutes(), PlaceID: p.GetPlaceId()}
		}),
		Places:     each(r, "places", p.GetPlaces(), placeFrom),
		Periods:    each(r, "place_periods", p.GetPlacePeriods(), periodFrom),
		PreparedOn: r.optDate("prepared_on", p.GetPreparedOn()),
		Start:      startFrom(r, p.GetStartDate()),
		Weeks:      opt(p.Weeks),
		Target:     r.optDate("target_date", p.GetTargetDate()),
		Pinned: each(r, "pinned", p.GetPinned(), func(_ *reader, p *pb.Pin) plan.Pin {
			return plan.Pin{ExerciseID: p.GetExerciseId(), Group: p.GetGroup(), PerWeek: p.GetSessionsPerWeek(), EverySession: p.GetEverySession()}
		}),
		Excluded: p.GetExcludedExerciseIds(),
		Limits:   one(r, "limits", p.GetLimits(), limitsFrom).Value,
		Recovery: each(r, "recovery", p.GetRecovery(), func(r *reader, p *pb.Recovery) plan.Recovery {
			return plan.Recovery{Muscle: muscle(r, p.GetMuscle()), Hours: p.GetHours()}
		}),
		NoTraining: each(r, "no_training", p.GetNoTraining(), func(r *reader, p *pb.DateRange) plan.DateRange {
			return plan.DateRange{From: r.date("from", p.GetFrom()), To: r.date("to", p.GetTo())}
		}),
	}
}

// Years that a program may start in, the same as of a birth: its last day has a date too.
const firstYear, lastYear = 1900, 2200

func startFrom(r *reader, s string) plan.Opt[plan.Date] {
	n := r.bad.Len()
	d := r.optDate("start_date", s)
	if y := d.Value.Year(); d.Set && r.bad.Len() == n && (y < firstYear || y > lastYear) {
		r.add(ReasonOutOfRange, "start_date", fmt.Sprintf("is %s; the years %d to %d are possible", d.Value, firstYear, lastYear))
	}
	return d
}

func constraintsTo(c *plan.Constraints) *pb.Constraints {
	return &pb.Constraints{
		MassUnit: pb.MassUnit(c.Unit),
		Days: eachTo(c.Days, func(d *plan.Day) *pb.Day {
			return &pb.Day{Weekday: pb.Weekday(d.Weekday), Minutes: d.Minutes, PlaceId: d.PlaceID}
		}),
		Places:       eachTo(c.Places, placeTo),
		PlacePeriods: eachTo(c.Periods, periodTo),
		PreparedOn:   dateTo(c.PreparedOn),
		StartDate:    dateTo(c.Start),
		Weeks:        ptr(c.Weeks),
		TargetDate:   dateTo(c.Target),
		Pinned: eachTo(c.Pinned, func(p *plan.Pin) *pb.Pin {
			return &pb.Pin{ExerciseId: p.ExerciseID, Group: p.Group, SessionsPerWeek: p.PerWeek, EverySession: p.EverySession}
		}),
		ExcludedExerciseIds: c.Excluded,
		Limits:              limitsTo(&c.Limits),
		Recovery: eachTo(c.Recovery, func(r *plan.Recovery) *pb.Recovery {
			return &pb.Recovery{Muscle: pb.Muscle(r.Muscle), Hours: r.Hours}
		}),
		NoTraining: eachTo(c.NoTraining, func(d *plan.DateRange) *pb.DateRange {
			return &pb.DateRange{From: d.From.String(), To: d.To.String()}
		}),
	}
}

func periodFrom(r *reader, p *pb.PlacePeriod) plan.PlacePeriod {
	return plan.PlacePeriod{
		FromDate: r.optDate("from_date", p.GetFromDate()),
		ToDate:   r.optDate("to_date", p.GetToDate()),
		FromWeek: opt(p.FromWeek),
		ToWeek:   opt(p.ToWeek),
		PlaceID:  p.GetPlaceId(),
	}
}

func periodTo(p *plan.PlacePeriod) *pb.PlacePeriod {
	return &pb.PlacePeriod{
		FromDate: dateTo(p.FromDate),
		ToDate:   dateTo(p.ToDate),
		FromWeek: ptr(p.FromWeek),
		ToWeek:   ptr(p.ToWeek),
		PlaceId:  p.PlaceID,
	}
}

func limitsFrom(r *reader, p *pb.Limits) plan.Limits {
	return plan.Limits{
		ExercisesPerSession:  opt(p.ExercisesPerSession),
		SetsPerSession:       opt(p.SetsPerSession),
		MuscleSetsPerSession: opt(p.MuscleSetsPerSession),
		MuscleSetsPerWeek:    each(r, "muscle_sets_per_week", p.GetMuscleSetsPerWeek(), muscleSetsFrom),
	}
}

// limitsTo leaves empty limits out.
func limitsTo(l *plan.Limits) *pb.Limits {
	if !l.ExercisesPerSession.Set && !l.SetsPerSession.Set && !l.MuscleSetsPerSession.Set && len(l.MuscleSetsPerWeek) == 0 {
		return nil
	}
	return &pb.Limits{
		ExercisesPerSession:  ptr(l.ExercisesPerSession),
		SetsPerSession:       ptr(l.SetsPerSession),
		MuscleSetsPerSession: ptr(l.MuscleSetsPerSession),
		MuscleSetsPerWeek:    eachTo(l.MuscleSetsPerWeek, muscleSetsTo),
	}
}

func placeFrom(r *reader, p *pb.Place) plan.Place {
	return plan.Place{
		ID:       p.GetId(),
		CallerID: p.GetCallerId(),
		Name:     p.GetDisplayName(),
		Preset:   enum(r, "preset", p.GetPreset(), plan.PresetMachines+1),
		Items:    enums(r, "items", p.GetItems(), plan.EquipmentCount),
		Absent:   enums(r, "absent", p.GetAbsent(), plan.EquipmentCount),
		Safeties: opt(p.Safeties),
		Bars: each(r, "bars", p.GetBars(), func(r *reader, p *pb.Bar) plan.Bar {
			return plan.Bar{
				Kind:    enum(r, "kind", p.GetKind(), plan.EquipmentCount),
				Mass:    mass(r, "mass", p.GetMass()),
				Collars: load(r, "collars", p.GetCollars()),
			}
		}),
		Plates:      each(r, "plates", p.GetPlates(), platesFrom),
		Dumbbells:   each(r, "dumbbells", p.GetDumbbells(), heldFrom),
		Kettlebells: each(r, "kettlebells", p.GetKettlebells(), heldFrom),
		Stacks: each(r, "stacks", p.GetStacks(), func(r *reader, p *pb.Stack) plan.Stack {
			return plan.Stack{
				Kind:     enum(r, "kind", p.GetKind(), plan.EquipmentCount),
				First:    load(r, "first", p.GetFirst()).Value,
				Step:     load(r, "step", p.GetStep()).Value,
				Last:     load(r, "last", p.GetLast()).Value,
				Settings: masses(r, "settings", p.GetSettings()),
				AddOns:   each(r, "add_ons", p.GetAddOns(), platesFrom),
			}
		}),
		Adjustables: each(r, "adjustable_dumbbells", p.GetAdjustableDumbbells(), func(r *reader, p *pb.AdjustableDumbbell) plan.Adjustable {
			return plan.Adjustable{
				Count:    p.GetCount(),
				Handle:   load(r, "handle", p.GetHandle()),
				Plates:   each(r, "plates", p.GetPlates(), platesFrom),
				Settings: masses(r, "settings", p.GetSettings()),
			}
		}),
	}
}

func masses(r *reader, name string, list []*pb.Mass) []plan.Load {
	return each(r, name, list, func(r *reader, p *pb.Mass) plan.Load { return mass(r, "", p) })
}

func platesFrom(r *reader, p *pb.PlateStock) plan.PlateStock {
	return plan.PlateStock{Mass: mass(r, "mass", p.GetMass()), Count: p.GetCount()}
}

func platesTo(s *plan.PlateStock) *pb.PlateStock {
	return &pb.PlateStock{Mass: massTo(s.Mass), Count: s.Count}
}

func placeTo(p *plan.Place) *pb.Place {
	return &pb.Place{
		Id:          p.ID,
		CallerId:    p.CallerID,
		DisplayName: p.Name,
		Preset:      pb.EquipmentPreset(p.Preset),
		Items:       enumsTo[plan.Equipment, pb.Equipment](p.Items),
		Absent:      enumsTo[plan.Equipment, pb.Equipment](p.Absent),
		Safeties:    ptr(p.Safeties),
		Bars: eachTo(p.Bars, func(b *plan.Bar) *pb.Bar {
			return &pb.Bar{Kind: pb.Equipment(b.Kind), Mass: massTo(b.Mass), Collars: optMassTo(b.Collars)}
		}),
		Plates:      eachTo(p.Plates, platesTo),
		Dumbbells:   eachTo(p.Dumbbells, heldTo),
		Kettlebells: eachTo(p.Kettlebells, heldTo),
		Stacks: eachTo(p.Stacks, func(s *plan.Stack) *pb.Stack {
			return &pb.Stack{
				Kind: pb.Equipment(s.Kind), First: unitMassTo(s.First), Step: unitMassTo(s.Step), Last: unitMassTo(s.Last),
				Settings: massesTo(s.Settings), AddOns: eachTo(s.AddOns, platesTo),
			}
		}),
		AdjustableDumbbells: eachTo(p.Adjustables, func(a *plan.Adjustable) *pb.AdjustableDumbbell {
			return &pb.AdjustableDumbbell{Count: a.Count, Handle: optMassTo(a.Handle), Plates: eachTo(a.Plates, platesTo), Settings: massesTo(a.Settings)}
		}),
	}
}

func heldFrom(r *reader, p *pb.HeldStock) plan.HeldStock {
	return plan.HeldStock{Mass: mass(r, "mass", p.GetMass()), Count: p.GetCount()}
}

func heldTo(s *plan.HeldStock) *pb.HeldStock {
	return &pb.HeldStock{Mass: massTo(s.Mass), Count: s.Count}
}

func massesTo(list []plan.Load) []*pb.Mass {
	return eachTo(list, func(l *plan.Load) *pb.Mass { return massTo(*l) })
}

// unitMassTo leaves out a mass without a unit, which is none.
func unitMassTo(l plan.Load) *pb.Mass {
	if l.Unit == plan.UnitUnspecified {
		return nil
	}
	return massTo(l)
}
