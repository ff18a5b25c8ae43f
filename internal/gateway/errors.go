package gateway

import (
	"context"
	"errors"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// callError answers what went wrong in a generated handler or in the call.
func (g *gateway) callError(ctx context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
	if probe(ctx) != nil {
		return
	}
	if md, ok := runtime.ServerMetadataFromContext(ctx); ok {
		for from, to := range rateHeaders {
			for _, v := range md.HeaderMD.Get(from) {
				w.Header().Set(to, v)
			}
		}
	}
	c := callOf(r.Context())
	if c == nil {
		g.fail(w, g.o.Status(err), 0)
		return
	}
	if errors.Is(err, errNotModified) {
		notModified(w)
		return
	}
	if c.err != nil {
		err = c.err
	}
	st := g.o.Status(err)
	if st.Code() == codes.Internal && status.Code(err) == codes.Unknown {
		g.o.Log.ErrorContext(ctx, "no answer", "error", err, "route", c.route.pattern) // the call itself is logged by the server
	}
	code := 0
	if c.unmatched(st) {
		code = http.StatusPreconditionFailed
	}
	g.fail(w, spelling{c.route.input, c.written}.status(st), code)
}

// rateHeaders are the headers that come back from calls.
var rateHeaders = map[string]string{"ratelimit": "RateLimit", "ratelimit-policy": "RateLimit-Policy"}

// routingError answers for what the router did not find.
func (g *gateway) routingError(ctx context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, httpCode int) {
	if probe(ctx) != nil {
		return
	}
	switch httpCode {
	case http.StatusMethodNotAllowed:
		g.noMethod(w, r, g.allowed(r))
	case http.StatusNotFound:
		g.noRoute(w, r)
	default:
		g.refuse(w, http.StatusBadRequest, ReasonPath, "", "the path does not start with /")
	}
}

func (g *gateway) noRoute(w http.ResponseWriter, r *http.Request) {
	g.fail(w, g.o.Status(fault.New(fault.NotFound, ReasonRoute, "", "there is no "+shown(r.URL.Path)+"; GET / lists what there is")), 0)
}

func (g *gateway) noMethod(w http.ResponseWriter, r *http.Request, allow []string) {
	w.Header().Set("Allow", strings.Join(allow, ", "))
	p := g.o.Status(fault.New(fault.Invalid, ReasonMethod, "", shown(r.Method)+" is not taken here; possible: "+strings.Join(allow, ", "))).Proto()
	p.Code = int32(codes.Unimplemented) // the table has no kind for it
	p.Details = slices.DeleteFunc(p.Details, func(d *anypb.Any) bool { return !d.MessageIs((*errdetails.ErrorInfo)(nil)) })
	g.fail(w, status.FromProto(p), http.StatusMethodNotAllowed)
}

// fail writes a status. httpCode 0 takes the code that belongs to it.
func (g *gateway) fail(w http.ResponseWriter, st *status.Status, httpCode int) {
	if httpCode == 0 {
		httpCode = httpStatus(st)
	}
	if httpCode == http.StatusRequestEntityTooLarge {
		w.Header().Set("Connection", "close") // rather than read the rest
	}
	switch httpCode {
	case http.StatusUnauthorized:
		w.Header().Set("WWW-Authenticate", "Bearer")
	case http.StatusTooManyRequests, http.StatusServiceUnavailable:
		for _, d := range st.Details() {
			if r, ok := d.(*errdetails.RetryInfo); ok {
				w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(r.GetRetryDelay().AsDuration().Seconds()))))
			}
		}
	}
	p := st.Proto()
	p.Message = valid(p.Message)
	p.Details = slices.DeleteFunc(p.Details, func(d *anypb.Any) bool {
		_, err := d.UnmarshalNew()
		return err != nil // what is not known here can't be written as JSON
	})
	g.write(w, httpCode, p)
}

// httpStatus is the gateway library's mapping, but for what is too large, and for what
// finds no room: neither is about how often one calls.
func httpStatus(st *status.Status) int {
	if st.Code() == codes.ResourceExhausted {
		for _, d := range st.Details() {
			i, _ := d.(*errdetails.ErrorInfo)
			switch i.GetReason() {
			case reasonTooLarge:
				return http.StatusRequestEntityTooLarge
			case service.ReasonFull:
				return http.StatusInsufficientStorage
			}
		}
	}
	return runtime.HTTPStatusFromCode(st.Code())
}

func (g *gateway) write(w http.ResponseWriter, httpCode int, m proto.Message) {
	data, err := jsonMarshaler{}.Marshal(m)
	if err != nil {
		g.o.Log.Error("answer not written", "error", err)
		panic(http.ErrAbortHandler)
	}
	writeJSON(w, httpCode, data)
}

func writeJSON(w http.ResponseWriter, httpCode int, data []byte) {
	w.Header().Set("Content-Type", mimeJSON)
	w.Header().Set("Content-Length", strconv.Itoa(len(data)))
	w.WriteHeader(httpCode)
	_, _ = w.Write(data) // the caller may have gone
}
