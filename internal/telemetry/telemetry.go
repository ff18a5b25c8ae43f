package telemetry

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracegrpc"
	otelprom "go.opentelemetry.io/otel/exporters/prometheus"
	"go.opentelemetry.io/otel/metric"
	"go.opentelemetry.io/otel/propagation"
	sdkmetric "go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	semconv "go.opentelemetry.io/otel/semconv/v1.43.0"
	"go.opentelemetry.io/otel/trace"
	"go.opentelemetry.io/otel/trace/noop"
)

// Config of the telemetry.
type Config struct {
	Version string // of the program
	// Traces says that spans are sent over OTLP, to where the standard variables say
	// (OTEL_EXPORTER_OTLP_ENDPOINT and its kin; OTEL_TRACES_SAMPLER chooses which).
	Traces bool
	// Spans takes spans instead, in tests. Nil: none.
	Spans sdktrace.SpanProcessor
}

// TracesWanted says whether the standard variables name a place for spans.
func TracesWanted() bool {
	return os.Getenv("OTEL_EXPORTER_OTLP_ENDPOINT") != "" || os.Getenv("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT") != ""
}

// Telemetry holds the providers. It is safe for concurrent use.
type Telemetry struct {
	registry  *prometheus.Registry
	meters    *sdkmetric.MeterProvider
	tracers   trace.TracerProvider
	closers   []func(context.Context) error
	meter     metric.Meter
	tracer    trace.Tracer
	propagate propagation.TextMapPropagator
}

// scope names this package in what it measures.
const scope = "github.com/phasewright/phasewright"

// New makes the providers.
func New(ctx context.Context, c Config) (*Telemetry, error) {
	t := &Telemetry{registry: prometheus.NewRegistry(), tracers: noop.NewTracerProvider(), propagate: propagation.TraceContext{}}
	res, err := resource.New(ctx, resource.WithFromEnv(), resource.WithTelemetrySDK(),
		resource.WithAttributes(semconv.ServiceName("phasewright"), semconv.ServiceVersion(c.Version)))
	if err != nil && !errors.Is(err, resource.ErrPartialResource) {
		return nil, fmt.Errorf("telemetry: %w", err)
	}
	t.registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	reader, err := otelprom.New(otelprom.WithRegisterer(t.registry), otelprom.WithoutScopeInfo())
	if err != nil {
		return nil, fmt.Errorf("telemetry: %w", err)
	}
	t.meters = sdkmetric.NewMeterProvider(sdkmetric.WithReader(reader), sdkmetric.WithResource(res))
	t.closers = append(t.closers, t.meters.Shutdown)
	if c.Traces || c.Spans != nil {
		options := []sdktrace.TracerProviderOption{sdktrace.WithResource(res)}
		if c.Spans != nil {
			options = append(options, sdktrace.WithSpanProcessor(c.Spans))
		}
		if c.Traces {
			exporter, err := otlptracegrpc.New(ctx)
			if err != nil {
				return nil, errors.Join(fmt.Errorf("telemetry: traces: %w", err), t.Close(ctx))
			}
			options = append(options, sdktrace.WithBatcher(exporter))
		}
		p := sdktrace.NewTracerProvider(options...)
		t.tracers = p
		t.closers = append(t.closers, p.Shutdown)
	}
	t.meter = t.meters.Meter(scope)
	t.tracer = t.tracers.Tracer(scope)
	return t, nil
}

// Metrics answers a scrape, in the text formats of Prometheus and OpenMetrics.
func (t *Telemetry) Metrics() http.Handler {
	return promhttp.HandlerFor(t.registry, promhttp.HandlerOpts{EnableOpenMetrics: true, MaxRequestsInFlight: 4})
}

// Close sends what is left and ends.
func (t *Telemetry) Close(ctx context.Context) error {
	var errs []error
	for _, c := range t.closers {
		errs = append(errs, c(ctx))
	}
	return errors.Join(errs...)
}
