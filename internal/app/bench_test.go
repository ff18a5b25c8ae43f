package app

import (
	"bytes"
	"context"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

const generateMethod = "/phasewright.v1.ProgramService/GenerateProgram"

// asBytes lets a call send and take a message as its bytes, so that a client costs as
// little as it can.
type asBytes struct{}

func (asBytes) Name() string { return "proto" }
func (asBytes) Marshal(v any) (mem.BufferSlice, error) {
	return mem.BufferSlice{mem.SliceBuffer(*v.(*[]byte))}, nil
}
func (asBytes) Unmarshal(data mem.BufferSlice, v any) error {
	*v.(*[]byte) = data.Materialize()
	return nil
}

// ready answers with a program that is there already: what is left is the service.
type ready struct {
	service.Engine
	program plan.Program
}

func (r ready) Generate(context.Context, plan.Request) (plan.Program, error) { return r.program, nil }

// bench is one program with everything that a call needs of it.
type bench struct {
	engine         *engine.Engine
	request        plan.Request
	message        *pb.GenerateProgramRequest
	program        plan.Program
	in, inJSON     []byte // the request
	out            []byte // the answer
	served, canned *App   // with the engine, and with a program that is ready
	echo           string // address of a server that answers with out
}

func newBench(b *testing.B) *bench {
	x := &bench{}
	var err error
	x.engine, err = NewEngine()
	require.NoError(b, err)
	data, err := os.ReadFile(filepath.Join(scenarios, "linear-ab", "request.yaml"))
	require.NoError(b, err)
	read, err := wire.ReadRequest(data)
	require.NoError(b, err)
	x.message = &pb.GenerateProgramRequest{Request: read}
	x.request, err = wire.RequestFromProto(read)
	require.NoError(b, err)
	x.program, err = x.engine.Generate(context.Background(), x.request)
	require.NoError(b, err)
	x.in, err = proto.Marshal(x.message)
	require.NoError(b, err)
	x.inJSON, err = protojson.Marshal(x.message)
	require.NoError(b, err)
	x.out, err = proto.Marshal(&pb.GenerateProgramResponse{Program: wire.ProgramToProto(&x.program)})
	require.NoError(b, err)
	x.served = x.run(b, x.engine)
	x.canned = x.run(b, ready{x.engine, x.program})

	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	server := grpc.NewServer(grpc.ForceServerCodecV2(asBytes{}), grpc.UnknownServiceHandler(func(_ any, s grpc.ServerStream) error {
		var in []byte
		if err := s.RecvMsg(&in); err != nil {
			return err
		}
		return s.SendMsg(&x.out)
	}))
	go func() { _ = server.Serve(l) }()
	b.Cleanup(server.Stop)
	x.echo = l.Addr().String()
	return x
}

func (x *bench) run(b *testing.B, e service.Engine) *App {
	c := DefaultConfig()
	c.GRPCAddr, c.HTTPAddr, c.DrainDelay = "127.0.0.1:0", "127.0.0.1:0", 0
	c.Dev, c.Rate = true, 0
	a, err := with(c, e)
	require.NoError(b, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- a.Run(ctx) }()
	b.Cleanup(func() {
		stop()
		require.NoError(b, <-ended)
	})
	return a
}

// call makes a gRPC call whose answer is not decoded.
func (x *bench) call(b *testing.B, address string) func() {
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.ForceCodecV2(asBytes{}), grpc.MaxCallRecvMsgSize(64<<20)))
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, conn.Close()) })
	return func() {
		var out []byte
		if err := conn.Invoke(context.Background(), generateMethod, &x.in, &out); err != nil || len(out) != len(x.out) {
			b.Errorf("%d bytes instead of %d: %v", len(out), len(x.out), err)
		}
	}
}

// post makes a REST call whose answer is not decoded.
func (x *bench) post(b *testing.B, address string) func() {
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 64}}
	b.Cleanup(client.CloseIdleConnections)
	return func() {
		r, err := client.Post("http://"+address+"/v1/programs:generate", "application/json", bytes.NewReader(x.inJSON))
		if err != nil {
			b.Error(err)
			return
		}
		defer r.Body.Close()
		if _, err := io.Copy(io.Discard, r.Body); err != nil || r.StatusCode != http.StatusOK {
			b.Errorf("status %d: %v", r.StatusCode, err)
		}
	}
}

// cpu gives the processor time of this process, client and server.
func cpu(b *testing.B) time.Duration {
	var u syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkCall takes a call apart: in one run, what generating, converting, encoding
// and moving the bytes cost alone, and the whole call over gRPC and over REST, in
// processor time of client and server together. of-parts is the call against the sum of
// its parts, of-rpc REST against gRPC; -ready is the same with a program that is there
// already, where generating hides nothing.
func BenchmarkCall(b *testing.B) {
	x := newBench(b)
	got := map[string]float64{}
	part := func(name string, do func(), compare func() map[string]float64) {
		b.Run(name, func(b *testing.B) {
			before, n := cpu(b), 0
			for b.Loop() {
				do()
				n++
			}
			got[name] = float64((cpu(b) - before).Microseconds()) / float64(n)
			b.ReportMetric(got[name], "cpu-µs/op")
			if compare != nil {
				for unit, v := range compare() {
					b.ReportMetric(v, unit)
				}
			}
		})
	}
	part("generate", func() {
		_, err := x.engine.Generate(context.Background(), x.request)
		require.NoError(b, err)
	}, nil)
	part("read", func() {
		m := &pb.GenerateProgramRequest{}
		require.NoError(b, proto.Unmarshal(x.in, m))
		require.NoError(b, wire.Validate(m))
		_, err := wire.RequestFromProto(m.GetRequest())
		require.NoError(b, err)
	}, nil)
	var answer *pb.GenerateProgramResponse
	part("convert", func() { answer = &pb.GenerateProgramResponse{Program: wire.ProgramToProto(&x.program)} }, nil)
	part("marshal", func() {
		_, err := proto.Marshal(answer)
		require.NoError(b, err)
	}, nil)
	part("echo", x.call(b, x.echo), func() map[string]float64 { return map[string]float64{"answer-bytes": float64(len(x.out))} })
	service := func() float64 { return got["read"] + got["convert"] + got["marshal"] + got["echo"] }
	part("rpc", x.call(b, x.served.GRPCAddr()), func() map[string]float64 {
		return map[string]float64{"of-parts": got["rpc"] / (got["generate"] + service())}
	})
	part("rpc-ready", x.call(b, x.canned.GRPCAddr()), func() map[string]float64 {
		return map[string]float64{"of-parts": got["rpc-ready"] / service()}
	})
	part("unmarshal", func() { require.NoError(b, proto.Unmarshal(x.out, &pb.GenerateProgramResponse{})) }, nil)
	part("protojson", func() {
		_, err := protojson.Marshal(answer)
		require.NoError(b, err)
	}, nil)
	part("rest", x.post(b, x.served.HTTPAddr()), func() map[string]float64 {
		return map[string]float64{"of-rpc": got["rest"] / got["rpc"]}
	})
	part("rest-ready", x.post(b, x.canned.HTTPAddr()), func() map[string]float64 {
		return map[string]float64{"of-rpc": got["rest-ready"] / got["rpc-ready"], "protojson-%": 100 * got["protojson"] / got["rest-ready"]}
	})
}

// BenchmarkInFlight keeps 32 calls in flight and gives calls a second.
func BenchmarkInFlight(b *testing.B) {
	const inFlight = 32
	x := newBench(b)
	for _, c := range []struct {
		name string
		do   func()
	}{
		{"rpc", x.call(b, x.served.GRPCAddr())},
		{"rest", x.post(b, x.served.HTTPAddr())},
		{"rpc-ready", x.call(b, x.canned.GRPCAddr())},
		{"rest-ready", x.post(b, x.canned.HTTPAddr())},
		{"echo", x.call(b, x.echo)},
	} {
		b.Run(c.name, func(b *testing.B) {
			var left atomic.Int64
			left.Store(int64(b.N))
			done := make(chan struct{})
			began := time.Now()
			for range inFlight {
				go func() {
					for left.Add(-1) >= 0 {
						c.do()
					}
					done <- struct{}{}
				}()
			}
			for range inFlight {
				<-done
			}
			b.ReportMetric(float64(b.N)/time.Since(began).Seconds(), "calls/s")
		})
	}
}
