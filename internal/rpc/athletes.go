package rpc

import (
	"context"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

type athletes struct {
	pb.UnimplementedAthleteServiceServer
	service *service.Service
}

func (s *athletes) kind() kind[service.Athlete, *service.Athlete, *pb.AthleteRecord] {
	return kind[service.Athlete, *service.Athlete, *pb.AthleteRecord]{s.service.Athletes(), wire.AthletePattern, "athlete", wire.AthleteFromRecord, wire.AthleteToRecord}
}

func (s *athletes) CreateAthlete(ctx context.Context, r *pb.CreateAthleteRequest) (*pb.CreateAthleteResponse, error) {
	p, err := s.kind().create(ctx, r, "", r.GetAthlete(), nil)
	return &pb.CreateAthleteResponse{Athlete: p}, err
}

func (s *athletes) GetAthlete(ctx context.Context, r *pb.GetAthleteRequest) (*pb.GetAthleteResponse, error) {
	p, err := s.kind().get(ctx, r.GetName())
	return &pb.GetAthleteResponse{Athlete: p}, err
}

func (s *athletes) ListAthletes(ctx context.Context, r *pb.ListAthletesRequest) (*pb.ListAthletesResponse, error) {
	list, next, err := s.kind().list(ctx, service.Query{Label: r.GetCallerId()}, r)
	return &pb.ListAthletesResponse{Athletes: list, NextPageToken: next}, err
}

func (s *athletes) UpdateAthlete(ctx context.Context, r *pb.UpdateAthleteRequest) (*pb.UpdateAthleteResponse, error) {
	p, err := s.kind().update(ctx, r, r.GetAthlete())
	return &pb.UpdateAthleteResponse{Athlete: p}, err
}

func (s *athletes) DeleteAthlete(ctx context.Context, r *pb.DeleteAthleteRequest) (*pb.DeleteAthleteResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Delete)
	return &pb.DeleteAthleteResponse{Athlete: p}, err
}

func (s *athletes) UndeleteAthlete(ctx context.Context, r *pb.UndeleteAthleteRequest) (*pb.UndeleteAthleteResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Undelete)
	return &pb.UndeleteAthleteResponse{Athlete: p}, err
}

type performances struct {
	pb.UnimplementedPerformanceServiceServer
	service *service.Service
}

func (s *performances) kind() kind[service.Performance, *service.Performance, *pb.PerformanceRecord] {
	return kind[service.Performance, *service.Performance, *pb.PerformanceRecord]{s.service.Performances(), wire.PerformancePattern, "performance", wire.PerformanceFromRecord, wire.PerformanceToRecord}
}

func (s *performances) CreatePerformance(ctx context.Context, r *pb.CreatePerformanceRequest) (*pb.CreatePerformanceResponse, error) {
	p, err := s.kind().create(ctx, r, r.GetParent(), r.GetPerformance(), func(v *service.Performance, athlete service.ID) { v.Athlete = athlete })
	return &pb.CreatePerformanceResponse{Performance: p}, err
}

func (s *performances) GetPerformance(ctx context.Context, r *pb.GetPerformanceRequest) (*pb.GetPerformanceResponse, error) {
	p, err := s.kind().get(ctx, r.GetName())
	return &pb.GetPerformanceResponse{Performance: p}, err
}

func (s *performances) ListPerformances(ctx context.Context, r *pb.ListPerformancesRequest) (*pb.ListPerformancesResponse, error) {
	q, err := days(r)
	if err != nil {
		return nil, err
	}
	q.Label = r.GetExerciseId()
	list, next, err := s.kind().list(ctx, q, r)
	return &pb.ListPerformancesResponse{Performances: list, NextPageToken: next}, err
}

func (s *performances) UpdatePerformance(ctx context.Context, r *pb.UpdatePerformanceRequest) (*pb.UpdatePerformanceResponse, error) {
	p, err := s.kind().update(ctx, r, r.GetPerformance())
	return &pb.UpdatePerformanceResponse{Performance: p}, err
}

func (s *performances) DeletePerformance(ctx context.Context, r *pb.DeletePerformanceRequest) (*pb.DeletePerformanceResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Delete)
	return &pb.DeletePerformanceResponse{Performance: p}, err
}

func (s *performances) UndeletePerformance(ctx context.Context, r *pb.UndeletePerformanceRequest) (*pb.UndeletePerformanceResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Undelete)
	return &pb.UndeletePerformanceResponse{Performance: p}, err
}
