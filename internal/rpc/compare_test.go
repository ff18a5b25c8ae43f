package rpc

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/wire"
)

func arms() []*pb.Arm {
	of := func(label, strategy string) *pb.Arm {
		return &pb.Arm{Label: label, Plan: &pb.Plan{Tracks: []*pb.Track{{Segments: []*pb.Segment{{Strategy: strategy}}}}}}
	}
	return []*pb.Arm{of("one", "a"), of("other", "b")}
}

// Faults of an arm stand where the call has it, those of what all share under the request.
func TestCompareStrategiesSpeaksTheCall(t *testing.T) {
	conn, _, _ := started(t, failing(&fault.Error{Kind: fault.Infeasible, Violations: []fault.Violation{
		{Field: "constraints.days[1]", Reason: "A", Says: "a"}, {Field: "arms[1].plan.tracks[0]", Reason: "B", Says: "b"},
		{Field: "arms", Reason: "C", Says: "c"}, {Field: "equating", Reason: "D", Says: "d"}, {Field: "plan.lead_in", Reason: "E", Says: "e"},
	}}), Options{})
	_, err := pb.NewStrategyServiceClient(conn).CompareStrategies(context.Background(), &pb.CompareStrategiesRequest{Request: request().GetRequest(), Arms: arms()})
	f, ok := fault.As(Fault(err, ""))
	require.True(t, ok, "%v", err)
	var fields []string
	for _, v := range f.Violations {
		fields = append(fields, v.Field)
	}
	require.Equal(t, []string{"request.constraints.days[1]", "arms[1].plan.tracks[0]", "arms", "equating", "request.plan.lead_in"}, fields)

	c := &Client{conn: conn, strategies: pb.NewStrategyServiceClient(conn)}
	q, err := wire.ComparisonQueryFromProto(&pb.CompareStrategiesRequest{Request: request().GetRequest(), Arms: arms()})
	require.NoError(t, err)
	_, err = c.CompareStrategies(context.Background(), q)
	f, ok = fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, "constraints.days[1]", f.Violations[0].Field, "as without a server")
	require.Equal(t, "arms[1].plan.tracks[0]", f.Violations[1].Field)
}

// Programs are in the answer only where they are asked for.
func TestClientCompares(t *testing.T) {
	conn, _, _ := started(t, canned{func(context.Context, plan.Request) (plan.Program, error) { return plan.Program{}, nil }}, Options{})
	c := &Client{conn: conn, strategies: pb.NewStrategyServiceClient(conn)}
	for _, programs := range []bool{true, false} {
		q, err := wire.ComparisonQueryFromProto(&pb.CompareStrategiesRequest{
			Request: request().GetRequest(), Arms: arms(), Equating: pb.Equating_EQUATING_MINUTES, IncludePrograms: programs,
		})
		require.NoError(t, err)
		got, err := c.CompareStrategies(context.Background(), q)
		require.NoError(t, err)
		require.Equal(t, plan.EquateMinutes, got.Comparison.Rule)
		require.Len(t, got.Comparison.Arms, 2)
		require.Equal(t, "other", got.Comparison.Arms[1].Label)
		require.Equal(t, "d", got.Comparison.Arms[1].Digest)
		require.Equal(t, programs, got.Comparison.Arms[1].Program.Digest != "")
		require.Empty(t, got.Plots)
	}
}
