package rpc

import (
	"bytes"
	"compress/gzip"
	"context"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

// canned is an engine that does as it is told.
type canned struct {
	generate func(context.Context, plan.Request) (plan.Program, error)
}

func (c canned) Generate(ctx context.Context, r plan.Request) (plan.Program, error) {
	return c.generate(ctx, r)
}
func (c canned) Rework(ctx context.Context, _ *plan.Program, r plan.Request, how plan.Rework) (plan.Program, error) {
	p, err := c.generate(ctx, r)
	p.Reworked = plan.Some(plan.Reworked{Week: 1, Asked: how})
	return p, err
}
func (c canned) Arms(ctx context.Context, r plan.Request, arms []plan.Arm, rule plan.Equating) (plan.Comparison, error) {
	_, err := c.generate(ctx, r)
	out := plan.Comparison{Rule: rule, Unit: plan.Kilogram}
	for _, a := range arms {
		out.Arms = append(out.Arms, plan.ArmReport{Label: a.Label, Digest: "d", Program: plan.Program{Digest: "d"}})
	}
	return out, err
}
func (c canned) Relaxations(ctx context.Context, r plan.Request) ([]engine.Relaxation, error) {
	_, err := c.generate(ctx, r)
	way := fault.Way{Changes: []fault.Change{{Field: "constraints.days[0].minutes", From: "45", To: "55"}}, Says: "10 more minutes on Monday.", Price: 10}
	return []engine.Relaxation{{Way: way, Gains: []engine.Gain{{Muscle: plan.Chest, Sets: 3}, {ExerciseID: "back-squat", Sets: -2}}}}, err
}
func (canned) Audit(*plan.Program) []plan.Finding {
	return []plan.Finding{{Level: plan.LevelNote, Rule: "r"}}
}
func (canned) Estimate(_ context.Context, q plan.StrengthQuery) (plan.StrengthReport, error) {
	if len(q.ExerciseIDs) == 0 {
		return plan.StrengthReport{}, fault.New(fault.Invalid, "REQUIRED", "athlete.performances", "needs one")
	}
	return plan.StrengthReport{Unit: q.Unit, Lifts: []plan.Lift{{ExerciseID: q.ExerciseIDs[0], Missing: "nothing"}}}, nil
}
func (canned) Strategies() []plan.Descriptor {
	return []plan.Descriptor{{Name: "a", Version: "1"}, {Name: "a", Version: "2"}, {Name: "b", Version: "1"}}
}
func (canned) Strategy(id string) (plan.Descriptor, error) {
	if id == "a" {
		return plan.Descriptor{Name: "a", Version: "2"}, nil
	}
	return plan.Descriptor{}, fault.New(fault.NotFound, "STRATEGY_UNKNOWN", "strategy", "there is no strategy "+id)
}
func (canned) Catalogue() *exercise.Catalogue { return exercise.Builtin() }

func failing(err error) canned {
	return canned{func(context.Context, plan.Request) (plan.Program, error) { return plan.Program{}, err }}
}

// logs is a log that tests can read while it is written.
type logs struct {
	sync.Mutex
	bytes.Buffer
}

func (l *logs) Write(b []byte) (int, error) {
	l.Lock()
	defer l.Unlock()
	return l.Buffer.Write(b)
}

func (l *logs) String() string {
	l.Lock()
	defer l.Unlock()
	return l.Buffer.String()
}

// started serves an engine in memory.
func started(t *testing.T, e service.Engine, o Options) (*grpc.ClientConn, *logs, *Server) {
	t.Helper()
	log := &logs{}
	o.Log = slog.New(slog.NewJSONHandler(log, nil))
	if o.Callers == nil {
		o.Callers = Anyone{}
	}
	s, err := NewServer(service.New(e), o)
	require.NoError(t, err)
	at := NewLocal()
	done := make(chan error, 1)
	go func() { done <- s.Serve(at) }()
	conn, err := at.Connect()
	require.NoError(t, err)
	t.Cleanup(func() {
		_ = conn.Close()
		s.Stop()
		<-done
	})
	return conn, log, s
}

// request is the smallest that the schema takes.
func request() *pb.GenerateProgramRequest {
	return &pb.GenerateProgramRequest{Request: &pb.ProgramRequest{
		Athlete: &pb.Athlete{AgeBand: pb.AgeBand_AGE_BAND_ADULT},
		Constraints: &pb.Constraints{
			Days:   []*pb.Day{{Minutes: 45}},
			Places: []*pb.Place{{Preset: pb.EquipmentPreset_EQUIPMENT_PRESET_FULL_GYM}},
		},
	}}
}

// infoOf finds the one ErrorInfo that every failure carries.
func infoOf(t *testing.T, err error) *errdetails.ErrorInfo {
	t.Helper()
	var found []*errdetails.ErrorInfo
	for _, d := range status.Convert(err).Details() {
		if i, ok := d.(*errdetails.ErrorInfo); ok {
			found = append(found, i)
		}
	}
	require.Len(t, found, 1, "%v", err)
	require.Equal(t, Domain, found[0].GetDomain())
	require.Regexp(t, `^[A-Z][A-Z0-9_]{0,61}[A-Z0-9]$`, found[0].GetReason())
	require.NotEmpty(t, found[0].GetMetadata()["kind"])
	return found[0]
}

func TestGenerateWithinItsPath(t *testing.T) {
	conn, log, _ := started(t, failing(&fault.Error{Kind: fault.Infeasible, Violations: []fault.Violation{
		{Field: "constraints.days[1].minutes", Reason: "CONFLICT_TIME", Says: "is too short"}, {Field: "", Reason: "X", Says: "y"},
	}}), Options{})
	_, err := pb.NewProgramServiceClient(conn).GenerateProgram(context.Background(), request())
	require.Equal(t, codes.FailedPrecondition, status.Code(err))
	require.Equal(t, "CONFLICT_TIME", infoOf(t, err).GetReason())
	require.Equal(t, "request.constraints.days[1].minutes: is too short; request: y", status.Convert(err).Message())
	require.Contains(t, log.String(), `"method":"/phasewright.v1.ProgramService/GenerateProgram","code":"FailedPrecondition"`)
	require.Contains(t, log.String(), `"reason":"CONFLICT_TIME"`)
}

// TestWaysTravel: what would make a request possible comes as a detail, with the paths of
// the call, and the client gives it back as it was.
func TestWaysTravel(t *testing.T) {
	given := &fault.Error{Kind: fault.Infeasible, Violations: []fault.Violation{{Field: "constraints.pinned[0]", Reason: "CONFLICT_PIN", Says: "is too much"}},
		Ways: []fault.Way{{Changes: []fault.Change{{Field: "constraints.days[1].minutes", From: "20", To: "30"}, {Field: "constraints.pinned[0]", From: "dip"}}, Says: "10 more minutes on Thursday make it possible.", Price: 10}}}
	conn, _, _ := started(t, failing(given), Options{})
	_, err := pb.NewProgramServiceClient(conn).GenerateProgram(context.Background(), request())
	var detail *pb.Relaxations
	for _, d := range status.Convert(err).Details() {
		if r, ok := d.(*pb.Relaxations); ok {
			detail = r
		}
	}
	require.NotNil(t, detail)
	require.NoError(t, wire.Validate(detail))
	require.Equal(t, "request.constraints.days[1].minutes", detail.GetRelaxations()[0].GetChanges()[0].GetField())
	back, ok := fault.As(Fault(err, "request"))
	require.True(t, ok)
	require.Equal(t, given.Ways, back.Ways)
}

func TestSuggestRelaxations(t *testing.T) {
	conn, _, _ := started(t, canned{generate: func(context.Context, plan.Request) (plan.Program, error) { return plan.Program{}, nil }}, Options{})
	r := &pb.SuggestRelaxationsRequest{Request: request().GetRequest()}
	answer, err := pb.NewProgramServiceClient(conn).SuggestRelaxations(context.Background(), r)
	require.NoError(t, err)
	require.NoError(t, wire.Validate(answer))
	x := answer.GetRelaxations()[0]
	require.Equal(t, "request.constraints.days[0].minutes", x.GetChanges()[0].GetField())
	require.Equal(t, pb.Muscle_MUSCLE_CHEST, x.GetGains()[0].GetMuscle())
	require.InDelta(t, 1.5, x.GetGains()[0].GetSets(), 0)
	require.InDelta(t, -1, x.GetGains()[1].GetSets(), 0)
	back, err := wire.RelaxationsFromProto(answer, func(f string) string { return under("request", f) })
	require.NoError(t, err)
	want, err := canned{generate: func(context.Context, plan.Request) (plan.Program, error) { return plan.Program{}, nil }}.Relaxations(context.Background(), plan.Request{})
	require.NoError(t, err)
	require.Equal(t, want, back)
	conn, _, _ = started(t, failing(fault.New(fault.Infeasible, "CONFLICT_PIN", "constraints.pinned[0]", "is too much")), Options{})
	_, err = pb.NewProgramServiceClient(conn).SuggestRelaxations(context.Background(), r)
	require.Equal(t, codes.FailedPrecondition, status.Code(err))
	require.Equal(t, "request.constraints.pinned[0]", infoOf(t, err).GetMetadata()["field"])
}

func TestEveryViolationOfTheSchemaAtOnce(t *testing.T) {
	conn, _, _ := started(t, failing(nil), Options{})
	r := request()
	r.Request.Constraints.Days[0].Minutes = 3
	r.Request.Athlete.AgeBand = 0
	r.Request.Goals = []*pb.Goal{{Kind: 99}}
	_, err := pb.NewProgramServiceClient(conn).GenerateProgram(context.Background(), r)
	require.Equal(t, codes.InvalidArgument, status.Code(err))
	infoOf(t, err)
	var fields []string
	for _, d := range status.Convert(err).Details() {
		if b, ok := d.(*errdetails.BadRequest); ok {
			for _, v := range b.GetFieldViolations() {
				fields = append(fields, v.GetField())
				require.NotEmpty(t, v.GetReason())
				require.NotEmpty(t, v.GetDescription())
			}
		}
	}
	require.Subset(t, fields, []string{"request.constraints.days[0].minutes", "request.goals[0].kind"})
	require.Contains(t, strings.Join(fields, " "), "request.athlete")
	_, err = pb.NewProgramServiceClient(conn).GenerateProgram(context.Background(), nil)
	require.Equal(t, "request", infoOf(t, err).GetMetadata()["field"])
}

// raw sends bytes as they are.
type raw struct{}

func (raw) Name() string { return "proto" }
func (raw) Marshal(v any) (mem.BufferSlice, error) {
	return mem.BufferSlice{mem.SliceBuffer(v.([]byte))}, nil
}
func (raw) Unmarshal(mem.BufferSlice, any) error { return nil }

var _ encoding.CodecV2 = raw{}

func TestWhatNeverReachesAHandler(t *testing.T) {
	const generate = "/phasewright.v1.ProgramService/GenerateProgram"
	conn, log, _ := started(t, failing(nil), Options{Message: 10_000})
	send := func(method string, body []byte, o ...grpc.CallOption) error {
		return conn.Invoke(context.Background(), method, body, &struct{}{}, append(o, grpc.ForceCodecV2(raw{}))...)
	}
	err := send(generate, []byte("\xff\xff\xff no message"))
	require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
	require.Equal(t, ReasonMalformed, infoOf(t, err).GetReason())

	err = send(generate, make([]byte, 10_001))
	require.Equal(t, codes.ResourceExhausted, status.Code(err))
	require.Equal(t, wire.ReasonTooLarge, infoOf(t, err).GetReason())

	// Small on the wire, large when unzipped.
	err = send(generate, make([]byte, 15_000), grpc.UseCompressor("gzip"))
	require.Equal(t, codes.ResourceExhausted, status.Code(err))
	require.Equal(t, wire.ReasonTooLarge, infoOf(t, err).GetReason())

	// Far too large: gRPC answers before anything of ours sees it.
	err = send(generate, make([]byte, 50<<20), grpc.UseCompressor("gzip"))
	require.Equal(t, codes.ResourceExhausted, status.Code(err))

	for _, method := range []string{"/phasewright.v1.ProgramService/Generate", "/phasewright.v1.Programs/GenerateProgram", "/a/b"} {
		err = send(method, nil)
		require.Equal(t, codes.Unimplemented, status.Code(err))
		require.Equal(t, ReasonUnknownMethod, infoOf(t, err).GetReason())
		require.Contains(t, status.Convert(err).Message(), method)
	}
	// gRPC may answer before the line is written.
	require.Eventually(t, func() bool { return strings.Count(log.String(), `"msg":"call"`) == 7 }, 5*time.Second, time.Millisecond)
	require.Equal(t, 3, strings.Count(log.String(), `"method":"unknown"`), "a made up name could be anybody's")
	require.NotContains(t, log.String(), `"/a/b"`)
}

func TestPanicStaysInTheLog(t *testing.T) {
	conn, log, _ := started(t, canned{func(context.Context, plan.Request) (plan.Program, error) { panic("secret") }}, Options{})
	_, err := pb.NewProgramServiceClient(conn).GenerateProgram(context.Background(), request())
	require.Equal(t, codes.Internal, status.Code(err))
	require.Equal(t, ReasonInternal, infoOf(t, err).GetReason())
	require.NotContains(t, err.Error(), "secret")
	require.Contains(t, log.String(), "secret")
	require.Contains(t, log.String(), "server_test.go")
}

func TestInternalErrorsStayInTheLog(t *testing.T) {
	conn, log, _ := started(t, failing(fault.Wrap(fault.Internal, "ENCODING", context.DeadlineExceeded)), Options{})
	_, err := pb.NewProgramServiceClient(conn).GenerateProgram(context.Background(), request())
	require.Equal(t, codes.Internal, status.Code(err))
	require.NotContains(t, err.Error(), "exceeded")
	require.Contains(t, log.String(), "context deadline exceeded")
}

// waiting works until its context ends, as the solver does, and says how it ended.
func waiting() (canned, chan error) {
	ended := make(chan error, 1)
	return canned{func(ctx context.Context, _ plan.Request) (plan.Program, error) {
		<-ctx.Done()
		ended <- ctx.Err()
		return plan.Program{}, fault.Wrap(fault.Canceled, "CANCELED", ctx.Err())
	}}, ended
}

func TestServersDeadlineStopsTheWork(t *testing.T) {
	e, ended := waiting()
	conn, _, _ := started(t, e, Options{Deadline: 20 * time.Millisecond})
	_, err := pb.NewProgramServiceClient(conn).GenerateProgram(context.Background(), request())
	require.Equal(t, codes.DeadlineExceeded, status.Code(err))
	require.Equal(t, ReasonDeadline, infoOf(t, err).GetReason())
	require.ErrorIs(t, <-ended, context.DeadlineExceeded)
}

func TestCallersCancelStopsTheWork(t *testing.T) {
	e, ended := waiting()
	conn, log, _ := started(t, e, Options{})
	ctx, cancel := context.WithCancel(context.Background())
	time.AfterFunc(20*time.Millisecond, cancel)
	_, err := pb.NewProgramServiceClient(conn).GenerateProgram(ctx, request())
	require.Equal(t, codes.Canceled, status.Code(err))
	require.ErrorIs(t, <-ended, context.Canceled)
	require.Eventually(t, func() bool { return strings.Contains(log.String(), `"reason":"CANCELED"`) }, 5*time.Second, time.Millisecond)
}

func TestPages(t *testing.T) {
	conn, _, _ := started(t, failing(nil), Options{})
	c := pb.NewCatalogueServiceClient(conn)
	var ids []string
	r := &pb.ListExercisesRequest{PageSize: 100}
	for pages := 1; ; pages++ {
		answer, err := c.ListExercises(context.Background(), r)
		require.NoError(t, err)
		for _, e := range answer.GetExercises() {
			ids = append(ids, e.GetId())
		}
		if r.PageToken = answer.GetNextPageToken(); r.PageToken == "" {
			require.Equal(t, 3, pages)
			break
		}
	}
	var want []string
	for _, e := range exercise.Builtin().All() {
		want = append(want, e.ID)
	}
	require.Equal(t, want, ids)

	s := pb.NewStrategyServiceClient(conn)
	first, err := s.ListStrategies(context.Background(), &pb.ListStrategiesRequest{PageSize: 1})
	require.NoError(t, err)
	second, err := s.ListStrategies(context.Background(), &pb.ListStrategiesRequest{PageSize: 1, PageToken: first.GetNextPageToken()})
	require.NoError(t, err)
	require.Equal(t, "2", second.GetStrategies()[0].GetVersion())

	for _, token := range []string{"x", "%%%", first.GetNextPageToken(), first.GetNextPageToken() + "A"} {
		_, err = c.ListExercises(context.Background(), &pb.ListExercisesRequest{PageToken: token})
		require.Equal(t, codes.InvalidArgument, status.Code(err), token)
		require.Equal(t, "page_token", infoOf(t, err).GetMetadata()["field"])
	}
	_, err = c.ListExercises(context.Background(), &pb.ListExercisesRequest{PageSize: -1})
	require.Equal(t, "page_size", infoOf(t, err).GetMetadata()["field"])
	more, err := c.ListExercises(context.Background(), &pb.ListExercisesRequest{PageSize: 1_000_000})
	require.NoError(t, err)
	require.Len(t, more.GetExercises(), len(want))
}

func TestNames(t *testing.T) {
	conn, _, _ := started(t, failing(nil), Options{})
	c, s := pb.NewCatalogueServiceClient(conn), pb.NewStrategyServiceClient(conn)
	got, err := c.GetExercise(context.Background(), &pb.GetExerciseRequest{Name: "exercises/back-squat"})
	require.NoError(t, err)
	require.Equal(t, "exercises/back-squat", got.GetExercise().GetName())
	_, err = c.GetExercise(context.Background(), &pb.GetExerciseRequest{Name: "exercises/back-sqat"})
	require.Equal(t, codes.NotFound, status.Code(err))
	require.Equal(t, "UNKNOWN_EXERCISE", infoOf(t, err).GetReason())
	require.Contains(t, err.Error(), "back-squat")
	_, err = s.GetStrategy(context.Background(), &pb.GetStrategyRequest{Name: "strategies/z"})
	require.Equal(t, codes.NotFound, status.Code(err))
	require.Equal(t, "name", infoOf(t, err).GetMetadata()["field"])
	for _, name := range []string{"back-squat", "exercises/", "exercises/a/b", "strategies/a"} {
		_, err = c.GetExercise(context.Background(), &pb.GetExerciseRequest{Name: name})
		require.Equal(t, codes.InvalidArgument, status.Code(err), name)
	}
	muscles, err := c.ListMuscles(context.Background(), nil)
	require.NoError(t, err)
	require.Len(t, muscles.GetMuscles(), int(plan.MuscleCount)-1)
}

func TestHealthAndReflection(t *testing.T) {
	conn, _, s := started(t, failing(nil), Options{})
	h := grpc_health_v1.NewHealthClient(conn)
	check := func(name string) grpc_health_v1.HealthCheckResponse_ServingStatus {
		answer, err := h.Check(context.Background(), &grpc_health_v1.HealthCheckRequest{Service: name})
		require.NoError(t, err)
		return answer.GetStatus()
	}
	require.Equal(t, grpc_health_v1.HealthCheckResponse_NOT_SERVING, check(""))
	s.Ready()
	for _, name := range []string{"", "phasewright.v1.ProgramService", "phasewright.v1.StrengthService", "phasewright.v1.CatalogueService"} {
		require.Equal(t, grpc_health_v1.HealthCheckResponse_SERVING, check(name))
	}
	_, err := h.Check(context.Background(), &grpc_health_v1.HealthCheckRequest{Service: "x"})
	require.Equal(t, codes.NotFound, status.Code(err))
	infoOf(t, err)
	s.Leaving()
	require.Equal(t, grpc_health_v1.HealthCheckResponse_NOT_SERVING, check("phasewright.v1.ProgramService"))

	r, err := grpc_reflection_v1.NewServerReflectionClient(conn).ServerReflectionInfo(context.Background())
	require.NoError(t, err)
	require.NoError(t, r.Send(&grpc_reflection_v1.ServerReflectionRequest{MessageRequest: &grpc_reflection_v1.ServerReflectionRequest_ListServices{}}))
	answer, err := r.Recv()
	require.NoError(t, err)
	var names []string
	for _, service := range answer.GetListServicesResponse().GetService() {
		names = append(names, service.GetName())
	}
	require.Subset(t, names, []string{"phasewright.v1.ProgramService", "phasewright.v1.StrengthService", "phasewright.v1.StrategyService", "phasewright.v1.CatalogueService", "grpc.health.v1.Health"})
	require.NoError(t, r.CloseSend())
}

// A call that runs when the server drains gets its answer; one that runs too long is
// cut off.
func TestDrain(t *testing.T) {
	begun, goOn := make(chan struct{}, 1), make(chan struct{})
	conn, _, s := started(t, canned{func(ctx context.Context, _ plan.Request) (plan.Program, error) {
		begun <- struct{}{}
		select {
		case <-goOn:
			return plan.Program{}, nil
		case <-ctx.Done():
			return plan.Program{}, ctx.Err()
		}
	}}, Options{})
	answered := make(chan error, 1)
	go func() {
		_, err := pb.NewProgramServiceClient(conn).GenerateProgram(context.Background(), request())
		answered <- err
	}()
	<-begun
	drained := make(chan struct{})
	go func() {
		s.Drain(context.Background())
		close(drained)
	}()
	select {
	case <-drained:
		t.Fatal("drained with a call running")
	case <-time.After(50 * time.Millisecond):
	}
	close(goOn)
	require.NoError(t, <-answered)
	<-drained

	e, ended := waiting()
	conn, _, s = started(t, e, Options{})
	go func() {
		_, err := pb.NewProgramServiceClient(conn).GenerateProgram(context.Background(), request())
		answered <- err
	}()
	require.Eventually(t, func() bool { return conn.GetState().String() == "READY" }, 5*time.Second, time.Millisecond)
	time.Sleep(20 * time.Millisecond)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	s.Drain(ctx)
	require.Error(t, <-answered)
	require.ErrorIs(t, <-ended, context.Canceled)
}

func TestTooLargeZipsAreMadeOfNothing(t *testing.T) {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, err := z.Write(make([]byte, 50<<20))
	require.NoError(t, err)
	require.NoError(t, z.Close())
	require.Less(t, b.Len(), 100_000, "the control: such a zip is small on the wire")
}

func TestClientSaysWhoDoesNotAnswer(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := l.Addr().String()
	require.NoError(t, l.Close())
	c, err := NewClient(address)
	require.NoError(t, err)
	defer c.Close()
	_, err = c.Generate(context.Background(), plan.Request{})
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Equal(t, fault.Unavailable, f.Kind)

	// Something that speaks gRPC and is not this service.
	other := grpc.NewServer()
	l, err = net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	go func() { _ = other.Serve(l) }()
	defer other.Stop()
	conn, err := grpc.NewClient(l.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	defer conn.Close()
	_, err = pb.NewCatalogueServiceClient(conn).ListMuscles(context.Background(), nil)
	f, ok = fault.As(Fault(err, ""))
	require.True(t, ok)
	require.Equal(t, fault.Internal, f.Kind)
	require.Contains(t, f.Error(), "Unimplemented")
}
