package rpc

import (
	"context"
	"strings"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

type programs struct {
	pb.UnimplementedProgramServiceServer
	service *service.Service
}

func (p *programs) GenerateProgram(ctx context.Context, r *pb.GenerateProgramRequest) (*pb.GenerateProgramResponse, error) {
	request, err := wire.RequestFromProto(r.GetRequest())
	if err != nil {
		return nil, fault.Within("request", err)
	}
	made, err := p.service.Generate(ctx, request)
	if err != nil {
		return nil, fault.Within("request", err)
	}
	return &pb.GenerateProgramResponse{Program: wire.ProgramToProto(&made)}, nil
}

// RegenerateProgram answers faults of the request where it stands: in the program, if the
// call brings none of its own.
func (p *programs) RegenerateProgram(ctx context.Context, r *pb.RegenerateProgramRequest) (*pb.RegenerateProgramResponse, error) {
	base, err := wire.ProgramFromProto(r.GetProgram())
	if err != nil {
		return nil, fault.Within("program", err)
	}
	request, at := base.Request, "program.request"
	if r.GetRequest() != nil {
		at = "request"
		if request, err = wire.RequestFromProto(r.GetRequest()); err != nil {
			return nil, fault.Within(at, err)
		}
	}
	how, err := wire.ReworkFromProto(r.GetRework())
	if err != nil {
		return nil, fault.Within("rework", err)
	}
	made, err := p.service.Regenerate(ctx, base, request, how)
	if err != nil {
		return nil, besides(at, err)
	}
	return &pb.RegenerateProgramResponse{Program: wire.ProgramToProto(&made.Program), Changes: wire.ChangesToProto(made.Changes)}, nil
}

const letters = "abcdefghijklmnopqrstuvwxyz_"

// besides puts the request's field before the paths of a fault, but for those that are
// about the program, how it is made again, or the arms of a comparison.
func besides(request string, err error) error {
	f, ok := fault.As(err)
	if !ok {
		return err
	}
	return f.Moved(func(field string) string {
		switch root := field[:len(field)-len(strings.TrimLeft(field, letters))]; root {
		case "program", "rework", "arms", "equating":
			return field
		case "":
			return request
		}
		return request + "." + field
	})
}

func (p *programs) SuggestRelaxations(ctx context.Context, r *pb.SuggestRelaxationsRequest) (*pb.SuggestRelaxationsResponse, error) {
	request, err := wire.RequestFromProto(r.GetRequest())
	if err != nil {
		return nil, fault.Within("request", err)
	}
	list, err := p.service.Relaxations(ctx, request)
	if err != nil {
		return nil, fault.Within("request", err)
	}
	return wire.RelaxationsToProto(list, "request"), nil
}

func (p *programs) AuditProgram(ctx context.Context, r *pb.AuditProgramRequest) (*pb.AuditProgramResponse, error) {
	program, err := wire.ProgramFromProto(r.GetProgram())
	if err != nil {
		return nil, fault.Within("program", err)
	}
	a, err := p.service.Audit(ctx, program)
	if err != nil {
		return nil, fault.Within("program", err)
	}
	return wire.AuditedToProto(a.Findings, a.Rules, a.Intact), nil
}
