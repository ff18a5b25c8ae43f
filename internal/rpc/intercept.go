package rpc

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/phasewright/phasewright/internal/wire"
)

// layer does something before and after a call.
type layer func(method string, next grpc.StreamHandler) grpc.StreamHandler

// layers lie around every call, the first outermost.
type layers []layer

func (l layers) put(method string, h grpc.StreamHandler) grpc.StreamHandler {
	for _, one := range slices.Backward(l) {
		h = one(method, h)
	}
	return h
}

// noMethod is in the log what callers made up: it could name anybody.
const noMethod = "unknown"

// unknown answers calls of methods that there aren't.
func (l layers) unknown(impl any, s grpc.ServerStream) error {
	method, _ := grpc.MethodFromServerStream(s)
	return l.put(noMethod, func(any, grpc.ServerStream) error {
		return status.Errorf(codes.Unimplemented, "there is no method %s; reflection lists those that there are", method)
	})(impl, s)
}

// logged writes one line a call. Nothing of the request stands in it.
func logged(log *slog.Logger) layer {
	return func(method string, next grpc.StreamHandler) grpc.StreamHandler {
		return func(impl any, s grpc.ServerStream) error {
			began := time.Now()
			err := next(impl, s)
			st := status.Convert(err)
			level := slog.LevelInfo
			if st.Code() == codes.Internal {
				level = slog.LevelError
			}
			attrs := []slog.Attr{
				slog.String("method", method), slog.String("code", st.Code().String()),
				slog.Float64("duration_ms", float64(time.Since(began).Microseconds())/1000),
			}
			if p, ok := peer.FromContext(s.Context()); ok {
				attrs = append(attrs, slog.String("from", p.Addr.String()))
			}
			if r := reason(st); r != "" {
				attrs = append(attrs, slog.String("reason", r))
			}
			log.LogAttrs(s.Context(), level, "call", attrs...)
			return err
		}
	}
}

func reason(s *status.Status) string {
	for _, d := range s.Details() {
		if i, ok := d.(*errdetails.ErrorInfo); ok {
			return i.GetReason()
		}
	}
	return ""
}

// explained turns whatever a handler returns, a panic included, into a status of the
// table. What the caller isn't told goes to the log.
func explained(log *slog.Logger) layer {
	return func(method string, next grpc.StreamHandler) grpc.StreamHandler {
		return func(impl any, s grpc.ServerStream) (err error) {
			defer func() {
				if r := recover(); r != nil {
					log.LogAttrs(s.Context(), slog.LevelError, "panic", slog.String("method", method),
						slog.String("value", fmt.Sprint(r)), slog.String("stack", string(debug.Stack())))
					err = internal().Err()
				}
			}()
			err = next(impl, s)
			if err == nil {
				return nil
			}
			st := Status(err)
			if st.Code() == codes.Internal {
				log.LogAttrs(s.Context(), slog.LevelError, "internal error", slog.String("method", method), slog.String("error", err.Error()))
			}
			return st.Err()
		}
	}
}

// timed applies the smaller of the caller's deadline and ours. Streams that stay open
// on purpose (reflection, a watch on health) have none of ours.
func timed(most time.Duration) layer {
	return func(method string, next grpc.StreamHandler) grpc.StreamHandler {
		if strings.HasPrefix(method, "/grpc.") {
			return next
		}
		return func(impl any, s grpc.ServerStream) error {
			ctx, cancel := context.WithTimeout(s.Context(), most)
			defer cancel()
			return next(impl, bounded{s, ctx})
		}
	}
}

type bounded struct {
	grpc.ServerStream
	ctx context.Context
}

func (b bounded) Context() context.Context { return b.ctx }

// checked holds a request against the rules of the schema before its handler sees it.
func checked(ctx context.Context, request any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	if m, ok := request.(proto.Message); ok {
		if err := keyed(ctx, m); err != nil {
			return nil, err
		}
		if err := matched(ctx, m); err != nil {
			return nil, err
		}
		if err := wire.Validate(m); err != nil {
			return nil, err
		}
	}
	return next(ctx, request)
}
