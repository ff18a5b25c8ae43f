package rpc

import (
	"context"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

type strategies struct {
	pb.UnimplementedStrategyServiceServer
	service *service.Service
}

func (s *strategies) ListStrategies(ctx context.Context, r *pb.ListStrategiesRequest) (*pb.ListStrategiesResponse, error) {
	all, err := s.service.Strategies(ctx)
	if err != nil {
		return nil, err
	}
	list, next, err := paged("strategies", all, func(d *plan.Descriptor) string { return d.ID() }, r)
	if err != nil {
		return nil, err
	}
	out := &pb.ListStrategiesResponse{NextPageToken: next}
	for i := range list {
		out.Strategies = append(out.Strategies, wire.StrategyToProto(&list[i]))
	}
	return out, nil
}

func (s *strategies) GetStrategy(ctx context.Context, r *pb.GetStrategyRequest) (*pb.GetStrategyResponse, error) {
	id, err := idOf("strategies", r.GetName())
	if err != nil {
		return nil, err
	}
	d, err := s.service.Strategy(ctx, id)
	if err != nil {
		return nil, missing("phasewright/Strategy", r.GetName(), err)
	}
	return &pb.GetStrategyResponse{Strategy: wire.StrategyToProto(&d)}, nil
}

// CompareStrategies answers faults of an arm where it stands, those of what all share under
// the request.
func (s *strategies) CompareStrategies(ctx context.Context, r *pb.CompareStrategiesRequest) (*pb.CompareStrategiesResponse, error) {
	q, err := wire.ComparisonQueryFromProto(r)
	if err != nil {
		return nil, err
	}
	c, err := s.service.CompareStrategies(ctx, q)
	if err != nil {
		return nil, besides("request", err)
	}
	return wire.ComparisonToProto(&c.Comparison, c.Plots), nil
}

type catalogue struct {
	pb.UnimplementedCatalogueServiceServer
	service *service.Service
}

func (c *catalogue) ListExercises(ctx context.Context, r *pb.ListExercisesRequest) (*pb.ListExercisesResponse, error) {
	all, err := c.service.Catalogue(ctx)
	if err != nil {
		return nil, err
	}
	list, next, err := paged("exercises", all.All(), func(e **exercise.Exercise) string { return (*e).ID }, r)
	if err != nil {
		return nil, err
	}
	out := &pb.ListExercisesResponse{NextPageToken: next}
	for _, e := range list {
		out.Exercises = append(out.Exercises, wire.ExerciseToProto(e))
	}
	return out, nil
}

func (c *catalogue) GetExercise(ctx context.Context, r *pb.GetExerciseRequest) (*pb.GetExerciseResponse, error) {
	id, err := idOf("exercises", r.GetName())
	if err != nil {
		return nil, err
	}
	e, err := c.service.Exercise(ctx, id)
	if err != nil {
		return nil, missing("phasewright/Exercise", r.GetName(), err)
	}
	return &pb.GetExerciseResponse{Exercise: wire.ExerciseToProto(e)}, nil
}

func (c *catalogue) ListMuscles(context.Context, *pb.ListMusclesRequest) (*pb.ListMusclesResponse, error) {
	return &pb.ListMusclesResponse{Muscles: wire.MusclesToProto()}, nil
}

// idOf reads a resource name, collection/id.
func idOf(collection, name string) (string, error) {
	id, ok := strings.CutPrefix(name, collection+"/")
	if !ok || id == "" || strings.Contains(id, "/") {
		return "", fault.New(fault.Invalid, "RESOURCE_NAME", "name", "has to be "+collection+"/ and an id")
	}
	return id, nil
}

// missing says which resource there is none of; other errors stay as they are.
func missing(kind, name string, err error) error { return missingAt(kind, name, "name", err) }

func missingAt(kind, name, field string, err error) error {
	f, ok := fault.As(err)
	if !ok || f.Kind != fault.NotFound || len(f.Violations) == 0 {
		return err
	}
	v := &f.Violations[0]
	if v.Field == "request_id" { // which says what was done once, not what there is
		return err
	}
	return with(codes.NotFound, v.Says, info(f.Kind, v.Reason, field),
		&errdetails.ResourceInfo{ResourceType: kind, ResourceName: name, Description: v.Says}).Err()
}
