package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

// RequestFromProto gives the domain's request. The error is a fault.Invalid that
// carries every number that can't be kept exactly, every date that does not exist
// and every value that is unknown; what the wishes mean is for the engine to judge.
func RequestFromProto(p *pb.ProgramRequest) (plan.Request, error) {
	r := newReader()
	out := requestFrom(r, p)
	if err := r.bad.Err(); err != nil {
		return plan.Request{}, err
	}
	return out, nil
}

// RequestToProto gives the schema's message.
func RequestToProto(d plan.Request) *pb.ProgramRequest { return requestTo(&d) }

func requestFrom(r *reader, p *pb.ProgramRequest) plan.Request {
	out := plan.Request{
		Goals:     each(r, "goals", p.GetGoals(), goalFrom),
		Exercises: each(r, "exercises", p.GetExercises(), callerExerciseFrom),
		Seed:      p.GetSeed(),
		Own:       each(r, "own_exercises", p.GetOwnExercises(), ownFrom),
		Search:    enum(r, "allocation_search", p.GetAllocationSearch(), plan.SearchThorough+1),
	}
	out.Athlete = one(r, "athlete", p.GetAthlete(), athleteFrom).Value
	out.Constraints = one(r, "constraints", p.GetConstraints(), constraintsFrom).Value
	out.Plan = one(r, "plan", p.GetPlan(), planFrom).Value
	return out
}

func requestTo(d *plan.Request) *pb.ProgramRequest {
	return &pb.ProgramRequest{
		Athlete:     athleteTo(&d.Athlete),
		Goals:       eachTo(d.Goals, goalTo),
		Constraints: constraintsTo(&d.Constraints),
		Plan:        planTo(&d.Plan),
		Exercises:   eachTo(d.Exercises, callerExerciseTo),
		Seed:        d.Seed,

		OwnExercises:     eachTo(d.Own, ownTo),
		AllocationSearch: pb.AllocationSearch(d.Search),
	}
}

func goalFrom(r *reader, p *pb.Goal) plan.Goal {
	return plan.Goal{
		Kind:       enum(r, "kind", p.GetKind(), plan.GoalGeneral+1),
		ExerciseID: p.GetExerciseId(),
		Muscle:     muscle(r, p.GetMuscle()),
		Priority:   p.GetPriority(),
		Date:       r.optDate("date", p.GetDate()),
	}
}

func goalTo(g *plan.Goal) *pb.Goal {
	return &pb.Goal{
		Kind:       pb.GoalKind(g.Kind),
		ExerciseId: g.ExerciseID,
		Muscle:     pb.Muscle(g.Muscle),
		Priority:   g.Priority,
		Date:       dateTo(g.Date),
	}
}

func callerExerciseFrom(_ *reader, p *pb.CallerExercise) plan.CallerExercise {
	return plan.CallerExercise{ExerciseID: p.GetExerciseId(), CallerID: p.GetCallerId(), Name: p.GetDisplayName()}
}

func callerExerciseTo(c *plan.CallerExercise) *pb.CallerExercise {
	return &pb.CallerExercise{ExerciseId: c.ExerciseID, CallerId: c.CallerID, DisplayName: c.Name}
}

func planFrom(r *reader, p *pb.Plan) plan.Plan {
	return plan.Plan{
		Tracks: each(r, "tracks", p.GetTracks(), trackFrom),
		LeadIn: one(r, "lead_in", p.GetLeadIn(), func(_ *reader, p *pb.LeadIn) plan.LeadIn {
			return plan.LeadIn{Weeks: p.GetWeeks(), Sets: p.GetSets(), Reps: p.GetReps()}
		}),
		Deload: one(r, "deload", p.GetDeload(), func(r *reader, p *pb.Deload) plan.Deload {
			return plan.Deload{EveryWeeks: p.GetEveryWeeks(), Keep: r.permille("keep_percent", p.GetKeepPercent())}
		}),
		Taper: one(r, "taper", p.GetTaper(), func(r *reader, p *pb.Taper) plan.Taper {
			return plan.Taper{Days: p.GetDays(), Keep: r.permille("keep_percent", p.GetKeepPercent())}
		}),
		Entry: each(r, "entry_conditions", p.GetEntryConditions(), func(r *reader, p *pb.EntryCondition) plan.EntryCondition {
			return plan.EntryCondition{
				ExerciseID: p.GetExerciseId(),
				Times:      plan.Permille(r.scaled32("times_body_mass", p.GetTimesBodyMass(), perUnit)),
			}
		}),
		Recovery: one(r, "recovery", p.GetRecovery(), func(r *reader, p *pb.RecoveryWeeks) plan.RecoveryWeeks {
			return plan.RecoveryWeeks{EveryWeeks: p.GetEveryWeeks(), Sessions: p.GetSessions(), Keep: r.permille("keep_percent", p.GetKeepPercent())}
		}),
		Retest: one(r, "retest", p.GetRetest(), func(_ *reader, p *pb.Retest) plan.Retest {
			return plan.Retest{AfterWeeks: p.GetAfterWeeks(), PhaseEnds: p.GetPhaseEnds(), ExerciseIDs: p.GetExerciseIds()}
		}),
		SessionsPerWeek: opt(p.SessionsPerWeek),
		NoAttempts:      p.GetNoAttempts(),
		Shorten:         p.GetShorten(),
	}
}

// planTo leaves an empty plan out.
func planTo(d *plan.Plan) *pb.Plan {
	if len(d.Tracks)+len(d.Entry) == 0 && !d.LeadIn.Set && !d.Deload.Set && !d.Taper.Set && !d.Recovery.Set && !d.Retest.Set &&
		!d.SessionsPerWeek.Set && !d.NoAttempts && !d.Shorten {
		return nil
	}
	return &pb.Plan{
		Tracks: eachTo(d.Tracks, trackTo),
		LeadIn: oneTo(d.LeadIn, func(l *plan.LeadIn) *pb.LeadIn {
			return &pb.LeadIn{Weeks: l.Weeks, Sets: l.Sets, Reps: l.Reps}
		}),
		Deload: oneTo(d.Deload, func(l *plan.Deload) *pb.Deload {
			return &pb.Deload{EveryWeeks: l.EveryWeeks, KeepPercent: percentTo(l.Keep)}
		}),
		Taper: oneTo(d.Taper, func(t *plan.Taper) *pb.Taper {
			return &pb.Taper{Days: t.Days, KeepPercent: percentTo(t.Keep)}
		}),
		EntryConditions: eachTo(d.Entry, func(e *plan.EntryCondition) *pb.EntryCondition {
			return &pb.EntryCondition{ExerciseId: e.ExerciseID, TimesBodyMass: unscale(int64(e.Times))}
		}),
		Recovery: oneTo(d.Recovery, func(w *plan.RecoveryWeeks) *pb.RecoveryWeeks {
			return &pb.RecoveryWeeks{EveryWeeks: w.EveryWeeks, Sessions: w.Sessions, KeepPercent: percentTo(w.Keep)}
		}),
		Retest: oneTo(d.Retest, func(t *plan.Retest) *pb.Retest {
			return &pb.Retest{AfterWeeks: t.AfterWeeks, PhaseEnds: t.PhaseEnds, ExerciseIds: t.ExerciseIDs}
		}),
		SessionsPerWeek: ptr(d.SessionsPerWeek),
		NoAttempts:      d.NoAttempts,
		Shorten:         d.Shorten,
	}
}

func trackFrom(r *reader, p *pb.Track) plan.Track {
	return plan.Track{
		Name:        p.GetName(),
		ExerciseIDs: p.GetExerciseIds(),
		Muscles:     enums(r, "muscles", p.GetMuscles(), plan.MuscleCount),
		Segments: each(r, "segments", p.GetSegments(), func(r *reader, p *pb.Segment) plan.Segment {
			return plan.Segment{Strategy: p.GetStrategy(), Weeks: opt(p.Weeks), Params: paramsFrom(r, "parameters", p.GetParameters())}
		}),
	}
}

func trackTo(t *plan.Track) *pb.Track {
	return &pb.Track{
		Name:        t.Name,
		ExerciseIds: t.ExerciseIDs,
		Muscles:     enumsTo[plan.Muscle, pb.Muscle](t.Muscles),
		Segments: eachTo(t.Segments, func(s *plan.Segment) *pb.Segment {
			return &pb.Segment{Strategy: s.Strategy, Weeks: ptr(s.Weeks), Parameters: paramsTo(s.Params)}
		}),
	}
}
