package app

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"sigs.k8s.io/yaml"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

// smallest is the smallest request there is.
const smallest = `{"request": {"athlete": {"ageBand": "AGE_BAND_ADULT"},
	"constraints": {"days": [{"minutes": 45}, {"minutes": 45}], "places": [{"preset": "EQUIPMENT_PRESET_FULL_GYM"}]}}}`

// held is an engine that works until it is let go or its context ends.
type held struct {
	service.Engine
	begun chan struct{}
	letGo chan struct{}
	ended chan error
}

func newHeld(t *testing.T) held {
	e, err := NewEngine()
	require.NoError(t, err)
	return held{e, make(chan struct{}, 1), make(chan struct{}), make(chan error, 1)}
}

func (h held) Generate(ctx context.Context, _ plan.Request) (plan.Program, error) {
	h.begun <- struct{}{}
	select {
	case <-h.letGo:
		h.ended <- nil
		return plan.Program{}, nil
	case <-ctx.Done():
		h.ended <- ctx.Err()
		return plan.Program{}, fault.Wrap(fault.Canceled, "CANCELED", ctx.Err())
	}
}

// runLog is a log that tests read while it is written.
type runLog struct {
	sync.Mutex
	bytes.Buffer
}

func (l *runLog) Write(b []byte) (int, error) {
	l.Lock()
	defer l.Unlock()
	return l.Buffer.Write(b)
}

func (l *runLog) String() string {
	l.Lock()
	defer l.Unlock()
	return l.Buffer.String()
}

// running is a server of a test.
type running struct {
	*App
	log  *runLog
	conn *grpc.ClientConn
	stop func() error // ends it and waits
}

// start runs an engine on free ports; nil is the real one.
func start(t *testing.T, e service.Engine, change ...func(*Config)) *running {
	t.Helper()
	r := &running{log: &runLog{}}
	c := DefaultConfig()
	c.GRPCAddr, c.HTTPAddr, c.DrainDelay = "127.0.0.1:0", "127.0.0.1:0", 0
	c.Dev, c.Rate = true, 0
	c.Log = slog.New(slog.NewJSONHandler(r.log, nil))
	for _, f := range change {
		f(&c)
	}
	var err error
	if e == nil {
		r.App, err = New(c)
	} else {
		r.App, err = with(c, e)
	}
	require.NoError(t, err)
	r.conn = r.dial(t)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- r.Run(ctx) }()
	r.stop = sync.OnceValue(func() error {
		cancel()
		return <-ended
	})
	t.Cleanup(func() {
		require.NoError(t, r.stop())
	})
	require.Eventually(t, r.ready.Load, 5*time.Second, time.Millisecond)
	return r
}

// dial makes a connection of its own to gRPC.
func (r *running) dial(t *testing.T) *grpc.ClientConn {
	t.Helper()
	conn, err := grpc.NewClient(r.GRPCAddr(), grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(64<<20)))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, conn.Close()) })
	return conn
}

func (r *running) url(path string) string { return "http://" + r.HTTPAddr() + path }

func get(t *testing.T, url string) (int, string) {
	t.Helper()
	r, err := http.Get(url)
	require.NoError(t, err)
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return r.StatusCode, string(body)
}

// A REST call goes through the interceptors of gRPC, and once.
func TestRESTGoesThroughGRPC(t *testing.T) {
	r := start(t, nil)
	code, body := get(t, r.url("/v1/exercises/back-squat"))
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, body, `"displayName":"Back squat"`)
	require.Equal(t, 1, strings.Count(r.log.String(), `"msg":"call"`))
	require.Contains(t, r.log.String(), `"method":"/phasewright.v1.CatalogueService/GetExercise","code":"OK"`)
}

func TestOpenAPIIsServed(t *testing.T) {
	r := start(t, nil)
	code, body := get(t, r.url("/openapi.json"))
	require.Equal(t, http.StatusOK, code)
	var document struct {
		Paths map[string]map[string]struct {
			OperationID string `json:"operationId"`
		}
	}
	require.NoError(t, json.Unmarshal([]byte(body), &document))
	require.Equal(t, "GenerateProgram", document.Paths["/v1/programs:generate"]["post"].OperationID)
	operations := 0
	for _, verbs := range document.Paths {
		operations += len(verbs)
	}
	require.Equal(t, methodsOverREST(), operations)
}

// methodsOverREST counts the schema's methods that have a path.
func methodsOverREST() int {
	n := 0
	protoregistry.GlobalFiles.RangeFilesByPackage("phasewright.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			methods := f.Services().Get(i).Methods()
			for j := range methods.Len() {
				if proto.HasExtension(methods.Get(j).Options(), annotations.E_Http) {
					n++
				}
			}
		}
		return true
	})
	return n
}

// Whoever goes away stops the work, over either transport.
func TestCancelStopsTheWork(t *testing.T) {
	e := newHeld(t)
	r := start(t, e)
	ctx, cancel := context.WithCancel(context.Background())
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, r.url("/v1/programs:generate"), strings.NewReader(smallest))
	require.NoError(t, err)
	request.Header.Set("Content-Type", "application/json")
	go func() {
		<-e.begun
		cancel()
	}()
	_, err = http.DefaultClient.Do(request)
	require.ErrorIs(t, err, context.Canceled)
	require.ErrorIs(t, <-e.ended, context.Canceled)

	ctx, cancel = context.WithCancel(context.Background())
	go func() {
		<-e.begun
		cancel()
	}()
	_, err = pb.NewProgramServiceClient(r.conn).GenerateProgram(ctx, smallestMessage())
	require.Equal(t, codes.Canceled, status.Code(err))
	require.ErrorIs(t, <-e.ended, context.Canceled)
}

func smallestMessage() *pb.GenerateProgramRequest {
	return &pb.GenerateProgramRequest{Request: &pb.ProgramRequest{
		Athlete: &pb.Athlete{AgeBand: pb.AgeBand_AGE_BAND_ADULT},
		Constraints: &pb.Constraints{
			Days:   []*pb.Day{{Minutes: 45}, {Minutes: 45}},
			Places: []*pb.Place{{Preset: pb.EquipmentPreset_EQUIPMENT_PRESET_FULL_GYM}},
		},
	}}
}

// The solver itself looks at its context.
func TestDeadlineStopsTheSolver(t *testing.T) {
	r := start(t, nil, func(c *Config) { c.Deadline = 100 * time.Millisecond })
	many := strings.Replace(smallest, `"days": [{"minutes": 45}, {"minutes": 45}]`, `"weeks": 52, "days": [`+strings.TrimSuffix(strings.Repeat(`{"minutes": 80},`, 6), ",")+`]`, 1)
	answer, err := http.Post(r.url("/v1/programs:generate"), "application/json", strings.NewReader(many))
	require.NoError(t, err)
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusGatewayTimeout, answer.StatusCode, string(body))
	require.Contains(t, string(body), `"reason":"DEADLINE"`)
}

// On the way out the server says so, goes on serving while others notice, and lets what
// runs end.
func TestDrain(t *testing.T) {
	e := newHeld(t)
	r := start(t, e, func(c *Config) { c.DrainDelay = 300 * time.Millisecond })
	code, _ := get(t, r.url("/readyz"))
	require.Equal(t, http.StatusOK, code)
	answered := make(chan int, 1)
	go func() {
		answer, err := http.Post(r.url("/v1/programs:generate"), "application/json", strings.NewReader(smallest))
		if err != nil {
			answered <- 0
			return
		}
		_ = answer.Body.Close()
		answered <- answer.StatusCode
	}()
	<-e.begun
	ended := make(chan error, 1)
	go func() { ended <- r.stop() }()
	require.Eventually(t, func() bool { return !r.ready.Load() }, 5*time.Second, time.Millisecond)
	code, body := get(t, r.url("/readyz"))
	require.Equal(t, http.StatusServiceUnavailable, code, body)
	code, _ = get(t, r.url("/v1/muscles"))
	require.Equal(t, http.StatusOK, code)
	health, err := grpc_health_v1.NewHealthClient(r.conn).Check(context.Background(), &grpc_health_v1.HealthCheckRequest{})
	require.NoError(t, err)
	require.Equal(t, grpc_health_v1.HealthCheckResponse_NOT_SERVING, health.GetStatus())
	require.Eventually(t, func() bool {
		c, err := net.Dial("tcp", r.HTTPAddr())
		if err == nil {
			_ = c.Close()
		}
		return err != nil
	}, 5*time.Second, 5*time.Millisecond)
	close(e.letGo)
	require.Equal(t, http.StatusOK, <-answered)
	require.NoError(t, <-ended)
	require.Contains(t, r.log.String(), `"msg":"drained"`)
}

// What does not end in time is cut off.
func TestDrainTimeout(t *testing.T) {
	e := newHeld(t)
	r := start(t, e, func(c *Config) { c.DrainTimeout = 50 * time.Millisecond })
	failed := make(chan error, 1)
	go func() {
		_, err := pb.NewProgramServiceClient(r.conn).GenerateProgram(context.Background(), smallestMessage())
		failed <- err
	}()
	<-e.begun
	require.NoError(t, r.stop())
	require.Error(t, <-failed)
	require.Error(t, <-e.ended)
	require.Contains(t, r.log.String(), "cut off")
}

func TestPortInUse(t *testing.T) {
	r := start(t, nil)
	for _, change := range []func(*Config){
		func(c *Config) { c.GRPCAddr, c.HTTPAddr = r.GRPCAddr(), "127.0.0.1:0" },
		func(c *Config) { c.GRPCAddr, c.HTTPAddr = "127.0.0.1:0", r.GRPCAddr() },
	} {
		c := DefaultConfig()
		c.Dev = true
		change(&c)
		_, err := New(c)
		require.ErrorContains(t, err, "address already in use")
		require.ErrorContains(t, err, "-addr: ")
	}
}

// Every fault of the domain looks the same over both transports.
func TestBothTransportsRefuseAlike(t *testing.T) {
	for kind, want := range map[fault.Kind]int{
		fault.Invalid: 400, fault.Infeasible: 400, fault.Refused: 400, fault.NotFound: 404, fault.Exists: 409, fault.Stale: 409, fault.Internal: 500, fault.Unavailable: 503,
	} {
		t.Run(kind.String(), func(t *testing.T) {
			r := start(t, refusing{held{}.Engine, fault.New(kind, "WHY", "constraints.body_parts[1].range_x", "is "+fmt.Sprint(kind))})
			answer, err := http.Post(r.url("/v1/programs:generate"), "application/json", strings.NewReader(smallest))
			require.NoError(t, err)
			defer answer.Body.Close()
			require.Equal(t, want, answer.StatusCode)
			_, err = pb.NewProgramServiceClient(r.conn).GenerateProgram(context.Background(), smallestMessage())
			var body struct {
				Code    int
				Details []struct{ Reason string }
			}
			require.NoError(t, json.NewDecoder(answer.Body).Decode(&body))
			require.Equal(t, int(status.Code(err)), body.Code)
			require.Len(t, status.Convert(err).Details(), len(body.Details))
			if kind != fault.Internal {
				require.Equal(t, "WHY", body.Details[0].Reason)
			}
		})
	}
}

// Over gRPC and REST an estimate is the same, to the last field.
func TestEstimateOverBothTransports(t *testing.T) {
	r := start(t, nil)
	body, err := os.ReadFile("../../testdata/badinput/strength.yaml")
	require.NoError(t, err)
	asked := &pb.EstimateStrengthRequest{}
	data, err := yaml.YAMLToJSON(body)
	require.NoError(t, err)
	require.NoError(t, protojson.Unmarshal(data, asked))
	want, err := pb.NewStrengthServiceClient(r.conn).EstimateStrength(context.Background(), asked)
	require.NoError(t, err)
	require.Len(t, want.GetLifts(), 3)
	require.NoError(t, wire.Validate(want))

	answer, err := http.Post(r.url("/v1/strength:estimate"), "application/json", bytes.NewReader(data))
	require.NoError(t, err)
	defer answer.Body.Close()
	rest, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, answer.StatusCode, string(rest))
	got := &pb.EstimateStrengthResponse{}
	require.NoError(t, protojson.Unmarshal(rest, got))
	require.True(t, proto.Equal(want, got))
}

type refusing struct {
	service.Engine
	err error
}

func (r refusing) Generate(context.Context, plan.Request) (plan.Program, error) {
	return plan.Program{}, r.err
}
