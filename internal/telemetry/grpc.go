package telemetry

import (
	"context"
	"sync"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"google.golang.org/grpc"
	"google.golang.org/grpc/stats"
)

// Methods are those that are measured: the server's own. A method of any other name,
// which a caller may make up, would be a new series each.
type Methods struct {
	mu    sync.RWMutex
	known map[string]bool
}

// Set says which there are, once the server is built. Health checks are left out.
func (m *Methods) Set(s *grpc.Server) {
	known := map[string]bool{}
	for name, service := range s.GetServiceInfo() {
		if name == "grpc.health.v1.Health" {
			continue
		}
		for _, method := range service.Methods {
			known["/"+name+"/"+method.Name] = true
		}
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.known = known
}

func (m *Methods) has(method string) bool {
	m.mu.RLock()
	defer m.mu.RUnlock()
	return m.known[method]
}

// Server measures calls that come in: a histogram rpc.server.call.duration, and a span
// each. Callers' own traces are linked, not continued, as anyone can make one up; those
// of the REST side, whose calls ours tells by their context, are continued.
func (t *Telemetry) Server(m *Methods, ours func(context.Context) bool) grpc.ServerOption {
	return grpc.StatsHandler(otelgrpc.NewServerHandler(
		otelgrpc.WithPublicEndpointFn(func(ctx context.Context, _ *stats.RPCTagInfo) bool { return !ours(ctx) }),
		otelgrpc.WithMeterProvider(t.meters), otelgrpc.WithTracerProvider(t.tracers), otelgrpc.WithPropagators(t.propagate),
		otelgrpc.WithFilter(func(i *stats.RPCTagInfo) bool { return m.has(i.FullMethodName) }),
	))
}
