package rpc

import (
	"context"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

const operationResource = "phasewright/Operation"

type bulk struct {
	pb.UnimplementedBulkServiceServer
	service *service.Service
}

func (s *bulk) GeneratePrograms(ctx context.Context, r *pb.GenerateProgramsRequest) (*longrunningpb.Operation, error) {
	n, err := wire.JobFromProto(r)
	if err != nil {
		return nil, err
	}
	j, err := s.service.BeginJob(ctx, writeOf(r), n)
	if f, ok := fault.As(err); ok && f.Kind == fault.NotFound && f.Violations[0].Field == "plan_name" {
		return nil, missingAt("phasewright/Plan", r.GetPlanName(), "plan_name", err)
	}
	if err != nil {
		return nil, err
	}
	return operation(&j)
}

func (s *bulk) AddProgramRequests(ctx context.Context, r *pb.AddProgramRequestsRequest) (*pb.AddProgramRequestsResponse, error) {
	name, err := wire.ParseName(wire.OperationPattern, "name", r.GetName())
	if err != nil {
		return nil, err
	}
	list, err := wire.OrdersFromProto(r.GetOrders())
	if err != nil {
		return nil, err
	}
	j, err := s.service.AddItems(ctx, writeOf(r), name.ID, int64(r.GetFirstIndex()), list, r.GetLast())
	if err != nil {
		return nil, missing(operationResource, r.GetName(), err)
	}
	return &pb.AddProgramRequestsResponse{Requests: int32(j.Items)}, nil
}

func (s *bulk) ExportProgramResults(ctx context.Context, r *pb.ExportProgramResultsRequest) (*pb.ExportProgramResultsResponse, error) {
	name, err := wire.ParseName(wire.OperationPattern, "name", r.GetName())
	if err != nil {
		return nil, err
	}
	out, held := &pb.ExportProgramResultsResponse{}, 0
	out.NextPageToken, err = s.service.Results(ctx, name.ID, r.GetPageToken(), func(one service.Result) bool {
		p := result(&one)
		out.Results = append(out.Results, p)
		held += proto.Size(p)
		return held < exportBytes && len(out.Results) < size(r)
	})
	if err != nil {
		return nil, missing(operationResource, r.GetName(), err)
	}
	return out, nil
}

// result writes a result. Paths of its fault are those of GenerateProgram, or of
// CreateProgram where it is for a stored athlete.
func result(d *service.Result) *pb.ProgramResult {
	p := wire.ResultToProto(d)
	if d.Fault == nil {
		return p
	}
	err := error(d.Fault)
	if d.Athlete == (service.ID{}) {
		err = fault.Within("request", err)
	}
	p.Outcome = &pb.ProgramResult_Error{Error: Status(err).Proto()}
	return p
}

// operation writes a job as an operation.
func operation(j *service.JobState) (*longrunningpb.Operation, error) {
	metadata, err := anypb.New(wire.JobToMetadata(j))
	if err != nil {
		return nil, err
	}
	o := &longrunningpb.Operation{Name: wire.Name{ID: j.ID}.String(wire.OperationPattern), Metadata: metadata, Done: j.Done()}
	switch {
	case j.Canceled != 0:
		o.Result = &longrunningpb.Operation_Error{Error: &status.Status{Code: int32(codes.Canceled), Message: "the operation was canceled"}}
	case j.Ended != 0:
		response, err := anypb.New(wire.JobToResponse(j))
		if err != nil {
			return nil, err
		}
		o.Result = &longrunningpb.Operation_Response{Response: response}
	}
	return o, nil
}

type operations struct {
	pb.UnimplementedOperationServiceServer
	service *service.Service
}

func (s *operations) GetOperation(ctx context.Context, r *pb.GetOperationRequest) (*longrunningpb.Operation, error) {
	name, err := wire.ParseName(wire.OperationPattern, "name", r.GetName())
	if err != nil {
		return nil, err
	}
	j, err := s.service.Job(ctx, name.ID)
	if err != nil {
		return nil, missing(operationResource, r.GetName(), err)
	}
	return operation(&j)
}

func (s *operations) ListOperations(ctx context.Context, r *pb.ListOperationsRequest) (*pb.ListOperationsResponse, error) {
	list, next, err := s.service.ListJobs(ctx, size(r), r.GetPageToken())
	if err != nil {
		return nil, err
	}
	out := &pb.ListOperationsResponse{NextPageToken: next}
	for i := range list {
		o, err := operation(&list[i])
		if err != nil {
			return nil, err
		}
		out.Operations = append(out.Operations, o)
	}
	return out, nil
}

func (s *operations) CancelOperation(ctx context.Context, r *pb.CancelOperationRequest) (*pb.CancelOperationResponse, error) {
	name, err := wire.ParseName(wire.OperationPattern, "name", r.GetName())
	if err != nil {
		return nil, err
	}
	j, err := s.service.CancelJob(ctx, writeOf(r), name.ID)
	if err != nil {
		return nil, missing(operationResource, r.GetName(), err)
	}
	o, err := operation(&j)
	return &pb.CancelOperationResponse{Operation: o}, err
}

func (s *operations) DeleteOperation(ctx context.Context, r *pb.DeleteOperationRequest) (*pb.DeleteOperationResponse, error) {
	name, err := wire.ParseName(wire.OperationPattern, "name", r.GetName())
	if err != nil {
		return nil, err
	}
	if err := s.service.DeleteJob(ctx, writeOf(r), name.ID); err != nil {
		return nil, missing(operationResource, r.GetName(), err)
	}
	return &pb.DeleteOperationResponse{}, nil
}
