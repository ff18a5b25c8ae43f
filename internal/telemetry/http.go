package telemetry

import (
	"context"
	"net/http"
	"strconv"
	"time"

	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/propagation"
	semconv "go.opentelemetry.io/otel/semconv/v1.43.0"
	"go.opentelemetry.io/otel/semconv/v1.43.0/httpconv"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
)

// Requests gives what the gateway tells of its requests: a histogram
// http.server.request.duration by method, route and status, and a span each, named by
// the route's pattern. The path itself, which names athletes, goes nowhere. end is
// called once with the pattern ("": none fits) and the status.
func (t *Telemetry) Requests() (func(*http.Request) (*http.Request, func(route string, status int)), error) {
	duration, err := httpconv.NewServerRequestDuration(t.meter)
	if err != nil {
		return nil, err
	}
	return func(r *http.Request) (*http.Request, func(string, int)) {
		began := time.Now()
		method, scheme := methodOf(r.Method), "http"
		if r.TLS != nil {
			scheme = "https"
		}
		ctx, span := t.tracer.Start(r.Context(), string(method), trace.WithSpanKind(trace.SpanKindServer),
			trace.WithAttributes(semconv.HTTPRequestMethodKey.String(string(method)), semconv.URLScheme(scheme)),
			trace.WithLinks(t.caller(r)...))
		return r.WithContext(ctx), func(route string, status int) {
			attrs := append(make([]attr, 0, 3), semconv.HTTPResponseStatusCode(status))
			if route != "" {
				attrs = append(attrs, semconv.HTTPRoute(route))
				span.SetName(string(method) + " " + route)
			}
			if status >= http.StatusInternalServerError {
				attrs = append(attrs, semconv.ErrorTypeKey.String(strconv.Itoa(status)))
				span.SetStatus(codes.Error, "")
			}
			span.SetAttributes(attrs...)
			duration.Record(ctx, time.Since(began).Seconds(), method, scheme, attrs...)
			span.End()
		}
	}, nil
}

// caller links the caller's own trace, which anyone can make up.
func (t *Telemetry) caller(r *http.Request) []trace.Link {
	ctx := t.propagate.Extract(context.Background(), propagation.HeaderCarrier(r.Header))
	if s := trace.SpanContextFromContext(ctx); s.IsValid() {
		return []trace.Link{{SpanContext: s}}
	}
	return nil
}

// methodOf gives a method that HTTP knows; others are one series.
func methodOf(m string) httpconv.RequestMethodAttr {
	switch m {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodConnect, http.MethodOptions, http.MethodTrace, http.MethodPatch:
		return httpconv.RequestMethodAttr(m)
	}
	return httpconv.RequestMethodOther
}

// Client makes calls of the REST side part of the request's span.
func (t *Telemetry) Client() grpc.DialOption {
	return grpc.WithStatsHandler(otelgrpc.NewClientHandler(
		otelgrpc.WithMeterProvider(t.silent()), otelgrpc.WithTracerProvider(t.tracers), otelgrpc.WithPropagators(t.propagate),
	))
}
