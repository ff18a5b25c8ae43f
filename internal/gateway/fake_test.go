package gateway

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"github.com/phasewright/phasewright/engine/fault"
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/wire"
)

// fake answers what a test wants, and keeps what it was asked.
type fake struct {
	pb.UnimplementedProgramServiceServer
	pb.UnimplementedStrengthServiceServer
	pb.UnimplementedStrategyServiceServer
	pb.UnimplementedCatalogueServiceServer
	pb.UnimplementedAthleteServiceServer
	pb.UnimplementedPerformanceServiceServer
	pb.UnimplementedSessionLogServiceServer
	pb.UnimplementedMeasurementServiceServer
	pb.UnimplementedOwnExerciseServiceServer
	pb.UnimplementedPlanServiceServer
	pb.UnimplementedProgramRecordServiceServer
	pb.UnimplementedAccessServiceServer

	answer func(ctx context.Context) error // nil is success

	mu    sync.Mutex
	asked proto.Message
	meta  metadata.MD
}

func (f *fake) take(ctx context.Context, asked proto.Message) error {
	md, _ := metadata.FromIncomingContext(ctx)
	f.mu.Lock()
	f.asked, f.meta = asked, md
	f.mu.Unlock()
	if f.answer == nil {
		return nil
	}
	if err := f.answer(ctx); err != nil {
		return rpc.Status(err).Err()
	}
	return nil
}

func (f *fake) GenerateProgram(ctx context.Context, r *pb.GenerateProgramRequest) (*pb.GenerateProgramResponse, error) {
	_ = grpc.SetHeader(ctx, metadata.Pairs("secret", "1"))
	_ = grpc.SetTrailer(ctx, metadata.Pairs("secret", "2"))
	return &pb.GenerateProgramResponse{Program: &pb.Program{Digest: "a, b: \" c", Request: r.GetRequest()}}, f.take(ctx, r)
}

func (f *fake) RegenerateProgram(ctx context.Context, r *pb.RegenerateProgramRequest) (*pb.RegenerateProgramResponse, error) {
	return &pb.RegenerateProgramResponse{Program: &pb.Program{Request: r.GetRequest()}}, f.take(ctx, r)
}

func (f *fake) AuditProgram(ctx context.Context, r *pb.AuditProgramRequest) (*pb.AuditProgramResponse, error) {
	return &pb.AuditProgramResponse{Intact: true}, f.take(ctx, r)
}

func (f *fake) EstimateStrength(ctx context.Context, r *pb.EstimateStrengthRequest) (*pb.EstimateStrengthResponse, error) {
	return &pb.EstimateStrengthResponse{MassUnit: pb.MassUnit_MASS_UNIT_POUND}, f.take(ctx, r)
}

func (f *fake) ListExercises(ctx context.Context, r *pb.ListExercisesRequest) (*pb.ListExercisesResponse, error) {
	return &pb.ListExercisesResponse{}, f.take(ctx, r)
}

func (f *fake) GetExercise(ctx context.Context, r *pb.GetExerciseRequest) (*pb.GetExerciseResponse, error) {
	return &pb.GetExerciseResponse{}, f.take(ctx, r)
}

func (f *fake) ListMuscles(ctx context.Context, r *pb.ListMusclesRequest) (*pb.ListMusclesResponse, error) {
	return &pb.ListMusclesResponse{}, f.take(ctx, r)
}

func (f *fake) ListStrategies(ctx context.Context, r *pb.ListStrategiesRequest) (*pb.ListStrategiesResponse, error) {
	return &pb.ListStrategiesResponse{}, f.take(ctx, r)
}

func (f *fake) GetStrategy(ctx context.Context, r *pb.GetStrategyRequest) (*pb.GetStrategyResponse, error) {
	return &pb.GetStrategyResponse{}, f.take(ctx, r)
}

// serve starts a fake behind a gateway.
func serve(t testing.TB, f *fake, change ...func(*Options)) http.Handler {
	l := bufconn.Listen(1 << 20)
	s := grpc.NewServer(grpc.UnaryInterceptor(func(ctx context.Context, r any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
		if err := wire.Validate(r.(proto.Message)); err != nil {
			return nil, rpc.Status(err).Err()
		}
		return next(ctx, r)
	}))
	pb.RegisterProgramServiceServer(s, f)
	pb.RegisterStrengthServiceServer(s, f)
	pb.RegisterStrategyServiceServer(s, f)
	pb.RegisterCatalogueServiceServer(s, f)
	pb.RegisterAthleteServiceServer(s, f)
	pb.RegisterPerformanceServiceServer(s, f)
	pb.RegisterSessionLogServiceServer(s, f)
	pb.RegisterMeasurementServiceServer(s, f)
	pb.RegisterOwnExerciseServiceServer(s, f)
	pb.RegisterPlanServiceServer(s, f)
	pb.RegisterProgramRecordServiceServer(s, f)
	go func() { _ = s.Serve(l) }()
	t.Cleanup(s.Stop)
	conn, err := grpc.NewClient("passthrough:///in-memory", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return l.DialContext(ctx) }))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	o := Options{
		Read: wire.ReadJSON, Status: rpc.Status, MaxBody: 64 << 10,
		Log: slog.New(slog.DiscardHandler), OpenAPI: []byte(`{"swagger":"2.0"}`),
	}
	for _, c := range change {
		c(&o)
	}
	h, err := New(conn, o)
	require.NoError(t, err)
	return h
}

// ask sends one request; headers are "Name: value".
func ask(h http.Handler, method, target, body string, headers ...string) *httptest.ResponseRecorder {
	var in io.Reader
	if body != "" {
		in = strings.NewReader(body)
	}
	r := httptest.NewRequest(method, target, in)
	for _, line := range headers {
		k, v, _ := strings.Cut(line, ": ")
		r.Header.Add(k, v)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

const sendJSON = "Content-Type: application/json"

// post sends a body as it should be sent.
func post(h http.Handler, target, body string) *httptest.ResponseRecorder {
	return ask(h, http.MethodPost, target, body, sendJSON)
}

// failure is a google.rpc.Status as a client in any language sees it.
type failure struct {
	Code    int
	Message string
	Details []struct {
		Type            string `json:"@type"`
		Reason, Domain  string
		Metadata        map[string]string
		FieldViolations []struct{ Field, Description, Reason string }
		Violations      []struct{ Type, Subject, Description string }
		ResourceName    string
		Description     string
	}
}

// reason gives the one reason of a failure.
func (f failure) reason() string {
	for _, d := range f.Details {
		if strings.HasSuffix(d.Type, "ErrorInfo") {
			return d.Reason
		}
	}
	return ""
}

func (f failure) fields() []string {
	var out []string
	for _, d := range f.Details {
		for _, v := range d.FieldViolations {
			out = append(out, v.Field)
		}
		for _, v := range d.Violations {
			out = append(out, v.Subject)
		}
	}
	return out
}

// failed reads an answer that has to be a failure in the shape that all have.
func failed(t testing.TB, w *httptest.ResponseRecorder) failure {
	t.Helper()
	require.GreaterOrEqual(t, w.Code, 400)
	require.Equal(t, "application/json", w.Header().Get("Content-Type"))
	require.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
	var f failure
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &f), w.Body.String())
	require.NotZero(t, f.Code)
	require.NotEmpty(t, f.Message)
	infos := 0
	for _, d := range f.Details {
		if d.Type == "type.googleapis.com/google.rpc.ErrorInfo" {
			infos++
			require.Equal(t, "phasewright.v1", d.Domain)
			require.Regexp(t, "^[A-Z][A-Z0-9_]+$", d.Reason)
			require.NotEmpty(t, d.Metadata["kind"])
		}
	}
	require.Equal(t, 1, infos, w.Body.String())
	return f
}

func minimal(t testing.TB) string {
	data, err := os.ReadFile("../../testdata/wire/request_minimal.json")
	require.NoError(t, err)
	return `{"request":` + string(data) + `}`
}

func unmarshal(t testing.TB, data []byte, into proto.Message) {
	require.NoError(t, protojson.Unmarshal(data, into), string(data))
}

func refuse(k fault.Kind, violations ...[3]string) func(context.Context) error {
	e := &fault.Error{Kind: k}
	for _, v := range violations {
		e.Violations = append(e.Violations, fault.Violation{Field: v[0], Reason: v[1], Says: v[2]})
	}
	return func(context.Context) error { return e }
}
