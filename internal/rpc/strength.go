package rpc

import (
	"context"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

type strength struct {
	pb.UnimplementedStrengthServiceServer
	service *service.Service
}

// EstimateStrength has no message around what it asks, so paths stay as they are.
func (s *strength) EstimateStrength(ctx context.Context, r *pb.EstimateStrengthRequest) (*pb.EstimateStrengthResponse, error) {
	q, err := wire.StrengthQueryFromProto(r)
	if err != nil {
		return nil, err
	}
	report, err := s.service.Estimate(ctx, q)
	if err != nil {
		return nil, err
	}
	return wire.StrengthReportToProto(&report), nil
}
