package telemetry

import (
	"context"
	"log/slog"

	"go.opentelemetry.io/otel/trace"
)

// traced adds the trace to lines that are written within one.
type traced struct{ slog.Handler }

// Traced gives a handler that adds trace_id and span_id where there is a span.
func Traced(h slog.Handler) slog.Handler { return traced{h} }

func (h traced) Handle(ctx context.Context, r slog.Record) error {
	if s := trace.SpanContextFromContext(ctx); s.IsValid() {
		r.AddAttrs(slog.String("trace_id", s.TraceID().String()), slog.String("span_id", s.SpanID().String()))
	}
	return h.Handler.Handle(ctx, r)
}

func (h traced) WithAttrs(a []slog.Attr) slog.Handler { return traced{h.Handler.WithAttrs(a)} }

func (h traced) WithGroup(name string) slog.Handler { return traced{h.Handler.WithGroup(name)} }
