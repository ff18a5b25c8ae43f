package rpc

import (
	"context"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

type ownExercises struct {
	pb.UnimplementedOwnExerciseServiceServer
	service *service.Service
}

func (s *ownExercises) kind() kind[service.OwnExercise, *service.OwnExercise, *pb.OwnExercise] {
	return kind[service.OwnExercise, *service.OwnExercise, *pb.OwnExercise]{s.service.Exercises(), wire.OwnExercisePattern, "own_exercise", wire.OwnExerciseFromProto, wire.OwnExerciseToProto}
}

func (s *ownExercises) CreateOwnExercise(ctx context.Context, r *pb.CreateOwnExerciseRequest) (*pb.CreateOwnExerciseResponse, error) {
	p, err := s.kind().create(ctx, r, "", r.GetOwnExercise(), nil)
	return &pb.CreateOwnExerciseResponse{OwnExercise: p}, err
}

func (s *ownExercises) GetOwnExercise(ctx context.Context, r *pb.GetOwnExerciseRequest) (*pb.GetOwnExerciseResponse, error) {
	p, err := s.kind().get(ctx, r.GetName())
	return &pb.GetOwnExerciseResponse{OwnExercise: p}, err
}

func (s *ownExercises) ListOwnExercises(ctx context.Context, r *pb.ListOwnExercisesRequest) (*pb.ListOwnExercisesResponse, error) {
	list, next, err := s.kind().list(ctx, service.Query{Label: r.GetExerciseId()}, r)
	return &pb.ListOwnExercisesResponse{OwnExercises: list, NextPageToken: next}, err
}

func (s *ownExercises) UpdateOwnExercise(ctx context.Context, r *pb.UpdateOwnExerciseRequest) (*pb.UpdateOwnExerciseResponse, error) {
	p, err := s.kind().update(ctx, r, r.GetOwnExercise())
	return &pb.UpdateOwnExerciseResponse{OwnExercise: p}, err
}

func (s *ownExercises) DeleteOwnExercise(ctx context.Context, r *pb.DeleteOwnExerciseRequest) (*pb.DeleteOwnExerciseResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Delete)
	return &pb.DeleteOwnExerciseResponse{OwnExercise: p}, err
}

func (s *ownExercises) UndeleteOwnExercise(ctx context.Context, r *pb.UndeleteOwnExerciseRequest) (*pb.UndeleteOwnExerciseResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Undelete)
	return &pb.UndeleteOwnExerciseResponse{OwnExercise: p}, err
}

type plans struct {
	pb.UnimplementedPlanServiceServer
	service *service.Service
}

func (s *plans) kind() kind[service.SavedPlan, *service.SavedPlan, *pb.PlanRecord] {
	return kind[service.SavedPlan, *service.SavedPlan, *pb.PlanRecord]{s.service.Plans(), wire.PlanPattern, "plan", wire.PlanFromRecord, wire.PlanToRecord}
}

func (s *plans) CreatePlan(ctx context.Context, r *pb.CreatePlanRequest) (*pb.CreatePlanResponse, error) {
	p, err := s.kind().create(ctx, r, "", r.GetPlan(), nil)
	return &pb.CreatePlanResponse{Plan: p}, err
}

func (s *plans) GetPlan(ctx context.Context, r *pb.GetPlanRequest) (*pb.GetPlanResponse, error) {
	p, err := s.kind().get(ctx, r.GetName())
	return &pb.GetPlanResponse{Plan: p}, err
}

func (s *plans) ListPlans(ctx context.Context, r *pb.ListPlansRequest) (*pb.ListPlansResponse, error) {
	list, next, err := s.kind().list(ctx, service.Query{Label: r.GetDisplayName()}, r)
	return &pb.ListPlansResponse{Plans: list, NextPageToken: next}, err
}

func (s *plans) UpdatePlan(ctx context.Context, r *pb.UpdatePlanRequest) (*pb.UpdatePlanResponse, error) {
	p, err := s.kind().update(ctx, r, r.GetPlan())
	return &pb.UpdatePlanResponse{Plan: p}, err
}

func (s *plans) DeletePlan(ctx context.Context, r *pb.DeletePlanRequest) (*pb.DeletePlanResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Delete)
	return &pb.DeletePlanResponse{Plan: p}, err
}

func (s *plans) UndeletePlan(ctx context.Context, r *pb.UndeletePlanRequest) (*pb.UndeletePlanResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Undelete)
	return &pb.UndeletePlanResponse{Plan: p}, err
}
