package rpc

import (
	"context"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

type records struct {
	pb.UnimplementedProgramRecordServiceServer
	service *service.Service
}

func (s *records) kind() kind[service.Program, *service.Program, *pb.ProgramRecord] {
	return kind[service.Program, *service.Program, *pb.ProgramRecord]{s.service.Programs(), wire.ProgramPattern, "program", wire.ProgramFromRecord, wire.ProgramToRecord}
}

func (s *records) GetProgram(ctx context.Context, r *pb.GetProgramRequest) (*pb.GetProgramResponse, error) {
	p, err := s.kind().get(ctx, r.GetName())
	return &pb.GetProgramResponse{Program: p}, err
}

func (s *records) ListPrograms(ctx context.Context, r *pb.ListProgramsRequest) (*pb.ListProgramsResponse, error) {
	q, err := ofAthlete(r.GetParent())
	if err != nil {
		return nil, err
	}
	list, next, err := s.kind().list(ctx, q, r)
	return &pb.ListProgramsResponse{Programs: list, NextPageToken: next}, err
}

func (s *records) UpdateProgram(ctx context.Context, r *pb.UpdateProgramRequest) (*pb.UpdateProgramResponse, error) {
	p, err := s.kind().update(ctx, r, r.GetProgram())
	return &pb.UpdateProgramResponse{Program: p}, err
}

func (s *records) DeleteProgram(ctx context.Context, r *pb.DeleteProgramRequest) (*pb.DeleteProgramResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Delete)
	return &pb.DeleteProgramResponse{Program: p}, err
}

func (s *records) UndeleteProgram(ctx context.Context, r *pb.UndeleteProgramRequest) (*pb.UndeleteProgramResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Undelete)
	return &pb.UndeleteProgramResponse{Program: p}, err
}

// CreateProgram has the fields of the request beside each other, so paths stay as they are.
func (s *records) CreateProgram(ctx context.Context, r *pb.CreateProgramRequest) (*pb.CreateProgramResponse, error) {
	athlete, err := wire.ParseName(wire.AthletePattern, "parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	n := service.NewProgram{Athlete: athlete.ID, Name: r.GetProgram().GetDisplayName()}
	if name, ok := r.GetStrategies().(*pb.CreateProgramRequest_PlanName); ok {
		saved, err := wire.ParseName(wire.PlanPattern, "plan_name", name.PlanName)
		if err != nil {
			return nil, err
		}
		n.Plan = saved.ID
	}
	if n.Request, err = wire.RequestOfProgram(r); err != nil {
		return nil, err
	}
	p, revision, err := s.service.CreateProgram(ctx, writeOf(r), n)
	if f, ok := fault.As(err); ok && f.Kind == fault.NotFound && f.Violations[0].Field == "plan_name" {
		return nil, missingAt("phasewright/Plan", r.GetPlanName(), "plan_name", err)
	}
	if err != nil {
		return nil, parentGone(err, r.GetParent())
	}
	return &pb.CreateProgramResponse{Program: wire.ProgramToRecord(&p), Revision: wire.RevisionToProto(&revision)}, nil
}

func (s *records) GetProgramRevision(ctx context.Context, r *pb.GetProgramRevisionRequest) (*pb.GetProgramRevisionResponse, error) {
	n, err := wire.ParseName(wire.RevisionPattern, "name", r.GetName())
	if err != nil {
		return nil, err
	}
	revision, err := s.service.Revision(ctx, n.Owner, n.ID, n.Number)
	if err != nil {
		return nil, missing("phasewright/ProgramRevision", r.GetName(), err)
	}
	return &pb.GetProgramRevisionResponse{Revision: wire.RevisionToProto(&revision)}, nil
}

func (s *records) ListProgramRevisions(ctx context.Context, r *pb.ListProgramRevisionsRequest) (*pb.ListProgramRevisionsResponse, error) {
	n, err := wire.ParseName(wire.ProgramPattern, "parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	list, next, err := s.service.Revisions(ctx, n.Owner, n.ID, size(r), r.GetPageToken())
	if err != nil {
		return nil, parentGone(err, r.GetParent())
	}
	out := &pb.ListProgramRevisionsResponse{NextPageToken: next}
	for i := range list {
		out.Revisions = append(out.Revisions, wire.FactsToProto(&list[i]))
	}
	return out, nil
}

// ReviseProgram answers faults of the request where it stands: in the program, if the call
// brings none of its own. Wishes that clash are those of a request that it would bring.
func (s *records) ReviseProgram(ctx context.Context, r *pb.ReviseProgramRequest) (*pb.ReviseProgramResponse, error) {
	name, err := wire.ParseName(wire.ProgramPattern, "name", r.GetName())
	if err != nil {
		return nil, err
	}
	n, at := service.NewRevision{Athlete: name.Owner, Program: name.ID, Reason: r.GetReason()}, "name"
	if r.GetRequest() != nil {
		at = "request"
		request, err := wire.RequestFromProto(r.GetRequest())
		if err != nil {
			return nil, fault.Within(at, err)
		}
		n.Request = plan.Some(request)
	}
	if n.Rework, err = wire.ReworkFromProto(r.GetRework()); err != nil {
		return nil, fault.Within("rework", err)
	}
	w := writeOf(r)
	w.Etag = r.GetEtag()
	made, err := s.service.ReviseProgram(ctx, w, n)
	if f, ok := fault.As(err); ok && f.Kind == fault.Infeasible {
		return nil, besides("request", err) // where ways out are taken, whatever was brought
	}
	if f, ok := fault.As(err); ok && (f.Kind == fault.Invalid || f.Kind == fault.Refused) {
		return nil, besides(at, err)
	}
	if err != nil {
		return nil, missing("phasewright/Program", r.GetName(), err)
	}
	return &pb.ReviseProgramResponse{
		Program: wire.ProgramToRecord(&made.Program), Revision: wire.RevisionToProto(&made.Revision), Changes: wire.ChangesToProto(made.Changes),
	}, nil
}
