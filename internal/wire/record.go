package wire

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// reading runs a reader over one message. The error is a fault.Invalid with its paths.
func reading[T any](read func(*reader) T) (T, error) {
	r := newReader()
	v := read(r)
	if err := r.bad.Err(); err != nil {
		return *new(T), err
	}
	return v, nil
}

func timeTo(i service.Instant) *timestamppb.Timestamp {
	if i == 0 {
		return nil
	}
	return timestamppb.New(i.Time().Round(time.Millisecond))
}

// AthleteFromRecord reads an athlete without what the server gives.
func AthleteFromRecord(p *pb.AthleteRecord) (service.Athlete, error) {
	return reading(func(r *reader) service.Athlete {
		return service.Athlete{Profile: one(r, "profile", p.GetProfile(), athleteFrom).Value}
	})
}

// AthleteToRecord writes an athlete as stored.
func AthleteToRecord(d *service.Athlete) *pb.AthleteRecord {
	return &pb.AthleteRecord{
		Name: Name{ID: d.ID}.String(AthletePattern), Profile: athleteTo(&d.Profile),
		CreateTime: timeTo(d.Created), UpdateTime: timeTo(d.Updated), DeleteTime: timeTo(d.Deleted), Etag: d.Etag(),
	}
}

// PerformanceFromRecord reads a performance without what the server gives.
func PerformanceFromRecord(p *pb.PerformanceRecord) (service.Performance, error) {
	return reading(func(r *reader) service.Performance {
		return service.Performance{Shown: one(r, "performance", p.GetPerformance(), performanceFrom).Value}
	})
}

// PerformanceToRecord writes a performance as stored.
func PerformanceToRecord(d *service.Performance) *pb.PerformanceRecord {
	return &pb.PerformanceRecord{
		Name: Name{Owner: d.Athlete, ID: d.ID}.String(PerformancePattern), Performance: performanceTo(&d.Shown),
		CreateTime: timeTo(d.Created), UpdateTime: timeTo(d.Updated), DeleteTime: timeTo(d.Deleted), Etag: d.Etag(),
	}
}

// MeasurementFromProto reads a measurement without what the server gives.
func MeasurementFromProto(p *pb.Measurement) (service.Measurement, error) {
	return reading(func(r *reader) service.Measurement {
		return service.Measurement{
			What: p.GetQuantity(), Date: r.date("date", p.GetDate()), Milli: r.scaled("value", p.GetValue(), perUnit), Unit: p.GetUnit(), Note: p.GetNote(),
		}
	})
}

// MeasurementToProto writes a measurement as stored.
func MeasurementToProto(d *service.Measurement) *pb.Measurement {
	return &pb.Measurement{
		Name: Name{Owner: d.Athlete, ID: d.ID}.String(MeasurementPattern), Quantity: d.What, Date: d.Date.String(), Value: unscale(d.Milli), Unit: d.Unit, Note: d.Note,
		CreateTime: timeTo(d.Created), UpdateTime: timeTo(d.Updated), DeleteTime: timeTo(d.Deleted), Etag: d.Etag(),
	}
}

// SessionLogFromProto reads a log without what the server gives.
func SessionLogFromProto(p *pb.SessionLog) (service.SessionLog, error) {
	var revision Name
	if p.GetProgramRevision() != "" {
		var err error
		if revision, err = ParseName(RevisionPattern, "program_revision", p.GetProgramRevision()); err != nil {
			return service.SessionLog{}, err
		}
	}
	return reading(func(r *reader) service.SessionLog {
		return service.SessionLog{
			Date: r.date("date", p.GetDate()), Program: revision.ID, Revision: revision.Number, Week: p.GetWeek(), Session: p.GetSession(),
			Exercises: each(r, "exercises", p.GetExercises(), loggedFrom), Note: p.GetNote(),
		}
	})
}

func loggedFrom(r *reader, p *pb.LoggedExercise) service.LoggedExercise {
	return service.LoggedExercise{
		ExerciseID: p.GetExerciseId(), Note: p.GetNote(),
		Sets: each(r, "sets", p.GetSets(), func(r *reader, p *pb.LoggedSet) service.LoggedSet {
			return service.LoggedSet{
				Kind: enum(r, "kind", p.GetKind(), plan.SetAttempt+1), Reps: p.GetReps(), Hold: plan.Seconds(p.GetHoldSeconds()),
				Load: load(r, "load", p.GetLoad()), RIR: opt(p.Rir), ToFailure: p.GetToFailure(),
			}
		}),
	}
}

// SessionLogToProto writes a log as stored.
func SessionLogToProto(d *service.SessionLog) *pb.SessionLog {
	p := &pb.SessionLog{
		Name: Name{Owner: d.Athlete, ID: d.ID}.String(SessionLogPattern), Date: d.Date.String(), Week: d.Week, Session: d.Session, Note: d.Note,
		Exercises: eachTo(d.Exercises, func(e *service.LoggedExercise) *pb.LoggedExercise {
			return &pb.LoggedExercise{ExerciseId: e.ExerciseID, Note: e.Note, Sets: eachTo(e.Sets, func(s *service.LoggedSet) *pb.LoggedSet {
				return &pb.LoggedSet{Kind: pb.SetKind(s.Kind), Reps: s.Reps, HoldSeconds: int32(s.Hold), Load: optMassTo(s.Load), Rir: ptr(s.RIR), ToFailure: s.ToFailure}
			})}
		}),
		CreateTime: timeTo(d.Created), UpdateTime: timeTo(d.Updated), DeleteTime: timeTo(d.Deleted), Etag: d.Etag(),
	}
	if d.Program != (service.ID{}) {
		p.ProgramRevision = Name{Owner: d.Athlete, ID: d.Program, Number: d.Revision}.String(RevisionPattern)
	}
	return p
}

// OwnExerciseFromProto reads an exercise without what the server gives.
func OwnExerciseFromProto(p *pb.OwnExercise) (service.OwnExercise, error) {
	return reading(func(r *reader) service.OwnExercise {
		return service.OwnExercise{Exercise: one(r, "exercise", p.GetExercise(), exerciseFrom).Value}
	})
}

// OwnExerciseToProto writes an exercise as stored.
func OwnExerciseToProto(d *service.OwnExercise) *pb.OwnExercise {
	return &pb.OwnExercise{
		Name: Name{ID: d.ID}.String(OwnExercisePattern), Exercise: ExerciseToProto(&d.Exercise),
		CreateTime: timeTo(d.Created), UpdateTime: timeTo(d.Updated), DeleteTime: timeTo(d.Deleted), Etag: d.Etag(),
	}
}

// PlanFromRecord reads a plan without what the server gives.
func PlanFromRecord(p *pb.PlanRecord) (service.SavedPlan, error) {
	return reading(func(r *reader) service.SavedPlan {
		return service.SavedPlan{Name: p.GetDisplayName(), Plan: one(r, "plan", p.GetPlan(), planFrom).Value}
	})
}

// PlanToRecord writes a plan as stored. An empty plan is there too.
func PlanToRecord(d *service.SavedPlan) *pb.PlanRecord {
	p := planTo(&d.Plan)
	if p == nil {
		p = &pb.Plan{}
	}
	return &pb.PlanRecord{
		Name: Name{ID: d.ID}.String(PlanPattern), DisplayName: d.Name, Plan: p,
		CreateTime: timeTo(d.Created), UpdateTime: timeTo(d.Updated), DeleteTime: timeTo(d.Deleted), Etag: d.Etag(),
	}
}

// ProgramFromRecord reads what can be set of a program.
func ProgramFromRecord(p *pb.ProgramRecord) (service.Program, error) {
	return service.Program{Name: p.GetDisplayName()}, nil
}

// ProgramToRecord writes a program as stored.
func ProgramToRecord(d *service.Program) *pb.ProgramRecord {
	p := &pb.ProgramRecord{
		Name: Name{Owner: d.Athlete, ID: d.ID}.String(ProgramPattern), DisplayName: d.Name,
		CreateTime: timeTo(d.Created), UpdateTime: timeTo(d.Updated), DeleteTime: timeTo(d.Deleted), Etag: d.Etag(),
	}
	if d.Latest > 0 {
		p.LatestRevision = Name{Owner: d.Athlete, ID: d.ID, Number: d.Latest}.String(RevisionPattern)
	}
	return p
}

// RequestOfProgram reads the request in a CreateProgramRequest: all but the athlete.
func RequestOfProgram(p *pb.CreateProgramRequest) (plan.Request, error) {
	return RequestFromProto(&pb.ProgramRequest{
		Goals: p.GetGoals(), Constraints: p.GetConstraints(), Plan: p.GetPlan(), Exercises: p.GetExercises(), Seed: p.GetSeed(),
		AllocationSearch: p.GetAllocationSearch(),
	})
}

// FactsToProto writes a revision without its request and program.
func FactsToProto(f *service.Facts) *pb.ProgramRevision {
	p := &pb.ProgramRevision{
		Name:       Name{Owner: f.Athlete, ID: f.Program, Number: f.Number}.String(RevisionPattern),
		CreateTime: timeTo(f.Created), Reason: f.Reason, Digest: f.Digest, RequestDigest: f.RequestDigest, Seed: f.Seed, EngineVersion: f.Engine,
	}
	if f.From != 0 {
		p.FromDate = f.From.String()
	}
	return p
}

// RevisionToProto writes a revision whole.
func RevisionToProto(d *service.Revision) *pb.ProgramRevision {
	p := FactsToProto(&d.Facts)
	p.Request, p.Program = requestTo(&d.Asked), ProgramToProto(&d.Made)
	return p
}
