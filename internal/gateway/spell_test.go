package gateway

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/anypb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

func TestPathsAreSpelled(t *testing.T) {
	s := spelling{root: (&pb.GenerateProgramRequest{}).ProtoReflect().Descriptor(), written: map[string]string{
		"request.plan.lead_in":              "request.plan.lead_in",
		"request.constraints.place_periods": "request.constraints.place_periods",
	}}
	for in, want := range map[string]string{
		"":                              "",
		"request":                       "request",
		"request.athlete.age_band":      "request.athlete.ageBand",
		"athlete.age_band":              "athlete.ageBand",
		"request.goals[12].exercise_id": "request.goals[12].exerciseId",
		"request.plan.lead_in":          "request.plan.lead_in",
		"request.plan.lead_in.weeks":    "request.plan.lead_in.weeks",
		"request.constraints.place_periods[1].from_week":             "request.constraints.place_periods[1].fromWeek",
		"constraints.place_periods[1].from_week":                     "constraints.place_periods[1].fromWeek",
		"request.plan.tracks[0].segments[1].parameters":              "request.plan.tracks[0].segments[1].parameters",
		"request.plan.tracks[0].segments[1].parameters.start_reps":   "request.plan.tracks[0].segments[1].parameters.start_reps",
		"request.plan.tracks[0].segments[1].parameters.a_b.c_d[2].e": "request.plan.tracks[0].segments[1].parameters.a_b.c_d[2].e",
		"request.athlete.no_field.age_band":                          "request.athlete.no_field.age_band",
		"request.seed.age_band":                                      "request.seed.age_band",
		"no_field":                                                   "no_field",
		"[3].age_band":                                               "[3].age_band",
		"request..age_band":                                          "request..age_band",
		"request.athlete.":                                           "request.athlete",
		".":                                                          ".",
	} {
		require.Equal(t, want, s.field(in), in)
	}
}

func TestSentencesAreSpelled(t *testing.T) {
	s := spelling{root: (&pb.GenerateProgramRequest{}).ProtoReflect().Descriptor()}
	fields := map[string]bool{"page_size": true, "request.no_field": true}
	for in, want := range map[string]string{
		"request.athlete.age_band: is needed.":              "request.athlete.ageBand: is needed.",
		"at constraints.place_periods[0].to_week.":          "at constraints.placePeriods[0].toWeek.",
		"a word_like this, age_band, e.g. 1.5 or v1.linear": "a word_like this, age_band, e.g. 1.5 or v1.linear",
		"request.no_field stays":                            "request.no_field stays",
	} {
		require.Equal(t, want, s.text(in, fields), in)
	}
	list := spelling{root: (&pb.ListExercisesRequest{}).ProtoReflect().Descriptor()}
	require.Equal(t, "pageSize: is -1", list.text("page_size: is -1", fields))
}

// A detail that this binary has no type for is left out; the rest stays.
func TestForeignDetails(t *testing.T) {
	st := status.New(codes.Aborted, "bad \xff bytes")
	p := st.Proto()
	info, err := anypb.New(&errdetails.ErrorInfo{Domain: "phasewright.v1", Reason: "X_Y", Metadata: map[string]string{"kind": "stale"}})
	require.NoError(t, err)
	p.Details = append(p.Details, &anypb.Any{TypeUrl: "type.googleapis.com/no.such.Type"}, info)
	s := spelling{root: (&pb.GenerateProgramRequest{}).ProtoReflect().Descriptor()}
	h := serve(t, &fake{}).(*gateway)
	w := newRecorder()
	h.fail(w, s.status(status.FromProto(p)), 0)
	w.Header().Set("X-Content-Type-Options", "nosniff")
	require.Equal(t, 409, w.Code)
	require.Equal(t, "X_Y", failed(t, w).reason())
}
