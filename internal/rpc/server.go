package rpc

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/encoding"
	_ "google.golang.org/grpc/encoding/gzip" // messages may come zipped; what they grow to is bounded too
	"google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
)

// Options of a server. Zero values are filled with the defaults beside them.
type Options struct {
	Log      *slog.Logger
	Deadline time.Duration // most time of a call, whatever the caller allows; 30 s
	Message  int           // most bytes of a message, unzipped; 4 MiB

	Callers Callers         // who may call; nil is nobody
	Access  *service.Access // manages keys and takes audit events; nil: neither is there
	Rate    Rate
	Now     func() time.Time // time.Now

	Server []grpc.ServerOption // beside our own, such as what measures calls
}

// What bounds a connection. gRPC's own defaults are: streams and age without limit,
// 16 MiB of headers, two minutes for a handshake.
const (
	maxStreams   = 128
	maxHeaders   = 16 << 10
	handshake    = 5 * time.Second
	pingAfter    = 60 * time.Second
	pingTimeout  = 20 * time.Second
	minPing      = 30 * time.Second
	maxAge       = 30 * time.Minute // so that clients find new replicas; jittered by gRPC
	maxAgeGrace  = time.Minute
	deadline     = 30 * time.Second
	messageBytes = 4 << 20
	hardFactor   = 2 // beyond so many times that gRPC itself refuses, without details
)

// Server is the gRPC server with its health.
type Server struct {
	*grpc.Server
	health *health.Server
}

// NewServer makes a server that is not serving yet: Serve it on a listener, then say
// Ready. A method that the schema gives no scope is an error.
func NewServer(s *service.Service, o Options) (*Server, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Deadline <= 0 {
		o.Deadline = deadline
	}
	if o.Message <= 0 {
		o.Message = messageBytes
	}
	if o.Callers == nil {
		o.Callers = nobody{}
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	at := &registrar{
		around: layers{logged(o.Log), explained(o.Log), timed(o.Deadline)}, most: o.Message,
		callers: o.Callers, limits: newLimits(o.Rate, o.Now), access: o.Access, log: o.Log,
	}
	server := grpc.NewServer(append([]grpc.ServerOption{
		grpc.MaxConcurrentStreams(maxStreams),
		grpc.MaxHeaderListSize(maxHeaders),
		grpc.MaxRecvMsgSize(hardFactor * o.Message),
		grpc.ForceServerCodecV2(codec{encoding.GetCodecV2(proto.Name)}),
		grpc.ConnectionTimeout(handshake),
		grpc.KeepaliveParams(keepalive.ServerParameters{
			Time: pingAfter, Timeout: pingTimeout, MaxConnectionAge: maxAge, MaxConnectionAgeGrace: maxAgeGrace,
		}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: minPing, PermitWithoutStream: true}),
		grpc.WaitForHandlers(true),
		grpc.UnknownServiceHandler(at.unknown),
	}, o.Server...)...)
	at.Server = server
	pb.RegisterProgramServiceServer(at, &programs{service: s})
	pb.RegisterStrengthServiceServer(at, &strength{service: s})
	pb.RegisterStrategyServiceServer(at, &strategies{service: s})
	pb.RegisterCatalogueServiceServer(at, &catalogue{service: s})
	pb.RegisterAthleteServiceServer(at, &athletes{service: s})
	pb.RegisterPerformanceServiceServer(at, &performances{service: s})
	pb.RegisterSessionLogServiceServer(at, &sessionLogs{service: s})
	pb.RegisterMeasurementServiceServer(at, &measurements{service: s})
	pb.RegisterOwnExerciseServiceServer(at, &ownExercises{service: s})
	pb.RegisterPlanServiceServer(at, &plans{service: s})
	pb.RegisterProgramRecordServiceServer(at, &records{service: s})
	pb.RegisterBulkServiceServer(at, &bulk{service: s})
	pb.RegisterOperationServiceServer(at, &operations{service: s})
	pb.RegisterTrialServiceServer(at, &trials{service: s})
	if o.Access != nil {
		pb.RegisterAccessServiceServer(at, &access{access: o.Access})
	}
	h := health.NewServer()
	h.SetServingStatus("", grpc_health_v1.HealthCheckResponse_NOT_SERVING)
	grpc_health_v1.RegisterHealthServer(at, h)
	reflection.Register(at)
	if at.err != nil {
		server.Stop()
		return nil, at.err
	}
	return &Server{Server: server, health: h}, nil
}

// Ready tells whoever asks that calls are welcome.
func (s *Server) Ready() {
	for name := range s.GetServiceInfo() {
		s.health.SetServingStatus(name, grpc_health_v1.HealthCheckResponse_SERVING)
	}
	s.health.SetServingStatus("", grpc_health_v1.HealthCheckResponse_SERVING)
}

// NotReady tells whoever asks that calls had better go elsewhere, until Ready.
func (s *Server) NotReady() {
	for name := range s.GetServiceInfo() {
		s.health.SetServingStatus(name, grpc_health_v1.HealthCheckResponse_NOT_SERVING)
	}
	s.health.SetServingStatus("", grpc_health_v1.HealthCheckResponse_NOT_SERVING)
}

// Leaving tells whoever asks that the server is about to go. Calls are still served.
func (s *Server) Leaving() { s.health.Shutdown() }

// Drain lets running calls end and cuts off what still runs when ctx does.
func (s *Server) Drain(ctx context.Context) {
	stop := context.AfterFunc(ctx, s.Stop)
	s.GracefulStop()
	stop()
}

// registrar registers every method as a stream inside our own layers, which is the same
// on the wire. gRPC's interceptors for unary methods run after the message is read, so
// that one which can't be read would pass them by unexplained and unlogged.
type registrar struct {
	*grpc.Server
	around  layers
	most    int // bytes of a message
	callers Callers
	limits  *limits
	access  *service.Access
	log     *slog.Logger
	err     error
}

// RegisterService puts every method behind the layers and what the schema says of it.
func (r *registrar) RegisterService(d *grpc.ServiceDesc, impl any) {
	c := *d
	c.Methods, c.Streams = nil, nil
	add := func(s grpc.StreamDesc, handler func(rule) grpc.StreamHandler) {
		method := "/" + d.ServiceName + "/" + s.StreamName
		of, err := ruleOf(d.ServiceName, s.StreamName)
		if err != nil {
			r.err = errors.Join(r.err, err)
			return
		}
		s.Handler = r.inside(of).put(method, handler(of))
		c.Streams = append(c.Streams, s)
	}
	for _, m := range d.Methods {
		add(grpc.StreamDesc{StreamName: m.MethodName}, func(of rule) grpc.StreamHandler {
			return unary(m, r.most, inspected(of, r.access, r.log))
		})
	}
	for _, s := range d.Streams {
		add(s, func(rule) grpc.StreamHandler { return s.Handler })
	}
	r.Server.RegisterService(&c, impl)
}

// inside gives the layers around a method, the guard innermost: what it says is
// explained, logged and timed as all else.
func (r *registrar) inside(of rule) layers {
	return append(slices.Clone(r.around), guarded(of, r.callers, r.limits, r.access, r.log))
}

// unknown answers calls of methods that there aren't, to those who may ask.
func (r *registrar) unknown(impl any, s grpc.ServerStream) error {
	return r.inside(rule{}).unknown(impl, s)
}

func unary(m grpc.MethodDesc, most int, around grpc.UnaryServerInterceptor) grpc.StreamHandler {
	return func(impl any, s grpc.ServerStream) error {
		answer, err := m.Handler(impl, s.Context(), func(into any) error { return receive(s, into, most) }, around)
		if err != nil {
			return err
		}
		return s.SendMsg(answer)
	}
}
