package rpc

import (
	"context"

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
