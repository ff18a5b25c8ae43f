package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

func athleteFrom(r *reader, p *pb.Athlete) plan.Athlete {
	a := plan.Athlete{
		CallerID:     p.GetCallerId(),
		Name:         p.GetDisplayName(),
		Sex:          enum(r, "sex", p.GetSex(), plan.Male+1),
		Age:          enum(r, "age_band", p.GetAgeBand(), plan.AgeOlder+1),
		BodyMass:     load(r, "body_mass", p.GetBodyMass()),
		Status:       enum(r, "training_status", p.GetTrainingStatus(), plan.Advanced+1),
		CurrentSets:  each(r, "current_weekly_sets", p.GetCurrentWeeklySets(), muscleSetsFrom),
		Performances: each(r, "performances", p.GetPerformances(), performanceFrom),
		Restrictions: each(r, "restrictions", p.GetRestrictions(), restrictionFrom),
		Screening:    one(r, "screening", p.GetScreening(), screeningFrom),
		Pregnancy:    enum(r, "pregnancy", p.GetPregnancy(), plan.Postpartum+1),
		Clearance:    one(r, "clearance", p.GetClearance(), clearanceFrom),
		Supervision:  enum(r, "supervision", p.GetSupervision(), plan.Qualified+1),
		Skills:       each(r, "skills", p.GetSkills(), skillFrom),
		Other:        each(r, "other_training", p.GetOtherTraining(), otherFrom),
	}
	a.BirthYear, a.TrainingAgeMonths, a.LayoffWeeks = opt(p.BirthYear), opt(p.TrainingAgeMonths), opt(p.LayoffWeeks)
	a.Uncomplicated, a.Spotter = opt(p.Uncomplicated), opt(p.Spotter)
	if p.CurrentWeeklySetsEach != nil {
		a.CurrentSetsEach = plan.Some(r.halfSets("current_weekly_sets_each", *p.CurrentWeeklySetsEach))
	}
	return a
}

func athleteTo(a *plan.Athlete) *pb.Athlete {
	p := &pb.Athlete{
		CallerId:          a.CallerID,
		DisplayName:       a.Name,
		Sex:               pb.Sex(a.Sex),
		BirthYear:         ptr(a.BirthYear),
		AgeBand:           pb.AgeBand(a.Age),
		BodyMass:          optMassTo(a.BodyMass),
		TrainingAgeMonths: ptr(a.TrainingAgeMonths),
		TrainingStatus:    pb.TrainingStatus(a.Status),
		CurrentWeeklySets: eachTo(a.CurrentSets, muscleSetsTo),
		LayoffWeeks:       ptr(a.LayoffWeeks),
		Performances:      eachTo(a.Performances, performanceTo),
		Restrictions:      eachTo(a.Restrictions, restrictionTo),
		Screening:         oneTo(a.Screening, screeningTo),
		Pregnancy:         pb.PregnancyStage(a.Pregnancy),
		Uncomplicated:     ptr(a.Uncomplicated),
		Clearance:         oneTo(a.Clearance, clearanceTo),
		Supervision:       pb.Supervision(a.Supervision),
		Spotter:           ptr(a.Spotter),
		Skills:            eachTo(a.Skills, skillTo),
		OtherTraining:     eachTo(a.Other, otherTo),
	}
	if a.CurrentSetsEach.Set {
		v := setsTo(a.CurrentSetsEach.Value)
		p.CurrentWeeklySetsEach = &v
	}
	return p
}

func muscleSetsFrom(r *reader, p *pb.MuscleSets) plan.MuscleSets {
	return plan.MuscleSets{Muscle: muscle(r, p.GetMuscle()), Sets: r.halfSets("sets", p.GetSets())}
}

func muscle(r *reader, m pb.Muscle) plan.Muscle { return enum(r, "muscle", m, plan.MuscleCount) }

func muscleSetsTo(m *plan.MuscleSets) *pb.MuscleSets {
	return &pb.MuscleSets{Muscle: pb.Muscle(m.Muscle), Sets: setsTo(m.Sets)}
}

func performanceFrom(r *reader, p *pb.Performance) plan.Performance {
	return plan.Performance{
		ExerciseID: p.GetExerciseId(),
		Load:       load(r, "load", p.GetLoad()),
		Reps:       p.GetReps(),
		RIR:        opt(p.Rir),
		ToFailure:  p.GetToFailure(),
		Date:       r.optDate("date", p.GetDate()),
	}
}

func performanceTo(p *plan.Performance) *pb.Performance {
	return &pb.Performance{
		ExerciseId: p.ExerciseID,
		Load:       optMassTo(p.Load),
		Reps:       p.Reps,
		Rir:        ptr(p.RIR),
		ToFailure:  p.ToFailure,
		Date:       dateTo(p.Date),
	}
}

func restrictionFrom(r *reader, p *pb.Restriction) plan.Restriction {
	return plan.Restriction{
		Joint:      enum(r, "joint", p.GetJoint(), plan.JointCount),
		Pattern:    enum(r, "pattern", p.GetPattern(), plan.PatternCount),
		ExerciseID: p.GetExerciseId(),
		Severity:   enum(r, "severity", p.GetSeverity(), plan.SeverityAvoid+1),
		Note:       p.GetNote(),
	}
}

func restrictionTo(d *plan.Restriction) *pb.Restriction {
	p := &pb.Restriction{Severity: pb.Severity(d.Severity), Note: d.Note}
	switch {
	case d.Joint != 0:
		p.Target = &pb.Restriction_Joint{Joint: pb.Joint(d.Joint)}
	case d.Pattern != 0:
		p.Target = &pb.Restriction_Pattern{Pattern: pb.MovementPattern(d.Pattern)}
	case d.ExerciseID != "":
		p.Target = &pb.Restriction_ExerciseId{ExerciseId: d.ExerciseID}
	}
	return p
}

func screeningFrom(r *reader, p *pb.Screening) plan.Screening {
	return plan.Screening{
		RegularExercise: opt(p.RegularExercise),
		KnownDisease:    opt(p.KnownDisease),
		Symptoms:        opt(p.Symptoms),
		Conditions:      enums(r, "conditions", p.GetConditions(), plan.ConditionCount),
	}
}

func screeningTo(s *plan.Screening) *pb.Screening {
	return &pb.Screening{
		RegularExercise: ptr(s.RegularExercise),
		KnownDisease:    ptr(s.KnownDisease),
		Symptoms:        ptr(s.Symptoms),
		Conditions:      enumsTo[plan.Condition, pb.MedicalCondition](s.Conditions),
	}
}

func clearanceFrom(r *reader, p *pb.Clearance) plan.Clearance {
	return plan.Clearance{
		Scope: enum(r, "scope", p.GetScope(), plan.ScopeVigorous+1),
		Date:  r.optDate("date", p.GetDate()),
		Note:  p.GetNote(),
	}
}

func clearanceTo(c *plan.Clearance) *pb.Clearance {
	return &pb.Clearance{Scope: pb.ClearanceScope(c.Scope), Date: dateTo(c.Date), Note: c.Note}
}

func skillFrom(r *reader, p *pb.MovementSkill) plan.MovementSkill {
	return plan.MovementSkill{
		Pattern:    enum(r, "pattern", p.GetPattern(), plan.PatternCount),
		ExerciseID: p.GetExerciseId(),
		Skill:      enum(r, "skill", p.GetSkill(), plan.SkillHigh+1),
	}
}

func skillTo(d *plan.MovementSkill) *pb.MovementSkill {
	p := &pb.MovementSkill{Skill: pb.SkillLevel(d.Skill)}
	switch {
	case d.Pattern != 0:
		p.Movement = &pb.MovementSkill_Pattern{Pattern: pb.MovementPattern(d.Pattern)}
	case d.ExerciseID != "":
		p.Movement = &pb.MovementSkill_ExerciseId{ExerciseId: d.ExerciseID}
	}
	return p
}

func otherFrom(r *reader, p *pb.OtherTraining) plan.OtherTraining {
	return plan.OtherTraining{
		Weekday: weekday(r, p.GetWeekday()),
		Name:    p.GetDisplayName(),
		Hard:    p.GetHard(),
		Lower:   p.GetLower(),
		Upper:   p.GetUpper(),
		Match:   p.GetMatch(),
	}
}

func weekday(r *reader, w pb.Weekday) plan.Weekday { return enum(r, "weekday", w, plan.Sunday+1) }

func otherTo(o *plan.OtherTraining) *pb.OtherTraining {
	return &pb.OtherTraining{
		Weekday:     pb.Weekday(o.Weekday),
		DisplayName: o.Name,
		Hard:        o.Hard,
		Lower:       o.Lower,
		Upper:       o.Upper,
		Match:       o.Match,
	}
}
