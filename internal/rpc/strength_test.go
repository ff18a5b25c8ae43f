package rpc

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

// Paths are those of the request, which has no message around it.
func TestEstimateStrength(t *testing.T) {
	conn, log, s := started(t, failing(nil), Options{})
	s.Ready()
	client := pb.NewStrengthServiceClient(conn)
	r := &pb.EstimateStrengthRequest{Athlete: request().GetRequest().GetAthlete(), ExerciseIds: []string{"back-squat"}, MassUnit: pb.MassUnit_MASS_UNIT_POUND}
	answer, err := client.EstimateStrength(context.Background(), r)
	require.NoError(t, err)
	require.Equal(t, pb.MassUnit_MASS_UNIT_POUND, answer.GetMassUnit())
	require.Equal(t, "back-squat", answer.GetLifts()[0].GetExerciseId())
	require.Equal(t, "nothing", answer.GetLifts()[0].GetWhyUnknown())

	r.ExerciseIds = nil
	_, err = client.EstimateStrength(context.Background(), r)
	require.Equal(t, codes.InvalidArgument, status.Code(err))
	require.Equal(t, "athlete.performances: needs one", status.Convert(err).Message())
	require.Equal(t, "REQUIRED", infoOf(t, err).GetReason())
	require.Contains(t, log.String(), `"method":"/phasewright.v1.StrengthService/EstimateStrength","code":"InvalidArgument"`)

	r.Date = "2026-02-30"
	_, err = client.EstimateStrength(context.Background(), r)
	require.Equal(t, "date", infoOf(t, err).GetMetadata()["field"])

	r.Athlete, r.Reps = nil, []int32{31}
	_, err = client.EstimateStrength(context.Background(), r)
	require.Equal(t, "2", infoOf(t, err).GetMetadata()["violations"], "the rules of the schema: %v", err)
}
