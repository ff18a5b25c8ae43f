package gateway

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

// Options are what the gateway needs from its surroundings. Read and Status are
// required.
type Options struct {
	// Read decodes a JSON body strictly. The error is a fault with the paths of the
	// schema (request.constraints.days[1].minutes); written maps such paths to how the
	// caller spelled them, where that is not the usual lowerCamel.
	Read func(data []byte, into proto.Message) (written map[string]string, err error)
	// Status makes the status of any error, with exactly one ErrorInfo: the error table
	// of the gRPC side.
	Status func(error) *status.Status
	// Allow says whether a request may come in, from its Authorization header, before its
	// body is read. The call itself is judged again. Nil is every request.
	Allow func(ctx context.Context, authorization string) error
	// Ready says whether /readyz answers 200; nil is always.
	Ready func() bool
	// Observe is told of every request, and end of how it was answered: by which route's
	// pattern ("": none) and with which status. It may replace the request. Nil: nobody is.
	Observe func(*http.Request) (_ *http.Request, end func(route string, status int))
	// MaxBody is the most bytes of a request body; 0 is 1 MiB.
	MaxBody int64
	// Log gets panics and answers that could not be written; nil is slog's default.
	Log *slog.Logger
	// OpenAPI is served as /openapi.json; without it there is none.
	OpenAPI []byte
	// Docs are pages for people, by path; all begin with /docs.
	Docs map[string]Doc
}

// Doc is a page of HTML or a style sheet, that runs nothing and loads nothing from
// elsewhere.
type Doc struct {
	Type string // as Content-Type
	Body []byte
}

const defaultMaxBody = 1 << 20

type gateway struct {
	o      Options
	mux    *runtime.ServeMux
	routes map[string]*route // by method and pattern
	verbs  []string          // methods of the routes
	pages  map[string]page   // by path
}

// New makes the handler. Calls go to conn; a request that ends, or whose caller goes
// away, cancels its call.
func New(conn grpc.ClientConnInterface, o Options) (http.Handler, error) {
	if o.Read == nil || o.Status == nil {
		return nil, errors.New("gateway: Read and Status are needed")
	}
	if o.MaxBody <= 0 {
		o.MaxBody = defaultMaxBody
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	g := &gateway{o: o}
	g.routes, g.verbs = routes(
		pb.File_phasewright_v1_program_service_proto,
		pb.File_phasewright_v1_strength_service_proto,
		pb.File_phasewright_v1_strategy_service_proto,
		pb.File_phasewright_v1_catalogue_service_proto,
		pb.File_phasewright_v1_athlete_service_proto,
		pb.File_phasewright_v1_performance_service_proto,
		pb.File_phasewright_v1_session_log_service_proto,
		pb.File_phasewright_v1_measurement_service_proto,
		pb.File_phasewright_v1_own_exercise_service_proto,
		pb.File_phasewright_v1_plan_service_proto,
		pb.File_phasewright_v1_program_record_service_proto,
		pb.File_phasewright_v1_access_service_proto,
		pb.File_phasewright_v1_bulk_service_proto, pb.File_phasewright_v1_trial_service_proto,
	)
	g.pages = g.ownPages()
	nothing := func(string) (string, bool) { return "", false }
	fields := func(name string) (string, bool) { // headers that are fields of a request
		name = strings.ToLower(name)
		return name, name == "idempotency-key" || name == "if-match"
	}
	g.mux = runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, jsonMarshaler{}),
		runtime.WithMiddlewares(g.check),
		runtime.WithErrorHandler(g.callError),
		runtime.WithForwardResponseOption(tagged),
		runtime.WithRoutingErrorHandler(g.routingError),
		// No other header becomes metadata. Authorization and the peer's address pass all
		// the same. What is left of a rate comes back.
		runtime.WithIncomingHeaderMatcher(fields),
		runtime.WithOutgoingHeaderMatcher(func(k string) (string, bool) { h, ok := rateHeaders[k]; return h, ok }),
		runtime.WithOutgoingTrailerMatcher(nothing),
		runtime.WithDisablePathLengthFallback(),
		runtime.WithDisableHTTPMethodOverride(),
		runtime.WithWriteContentLength(),
	)
	ctx := context.Background()
	return g, errors.Join(
		pb.RegisterProgramServiceHandlerClient(ctx, g.mux, pb.NewProgramServiceClient(conn)),
		pb.RegisterStrengthServiceHandlerClient(ctx, g.mux, pb.NewStrengthServiceClient(conn)),
		pb.RegisterStrategyServiceHandlerClient(ctx, g.mux, pb.NewStrategyServiceClient(conn)),
		pb.RegisterCatalogueServiceHandlerClient(ctx, g.mux, pb.NewCatalogueServiceClient(conn)),
		pb.RegisterAthleteServiceHandlerClient(ctx, g.mux, pb.NewAthleteServiceClient(conn)),
		pb.RegisterPerformanceServiceHandlerClient(ctx, g.mux, pb.NewPerformanceServiceClient(conn)),
		pb.RegisterSessionLogServiceHandlerClient(ctx, g.mux, pb.NewSessionLogServiceClient(conn)),
		pb.RegisterMeasurementServiceHandlerClient(ctx, g.mux, pb.NewMeasurementServiceClient(conn)),
		pb.RegisterOwnExerciseServiceHandlerClient(ctx, g.mux, pb.NewOwnExerciseServiceClient(conn)),
		pb.RegisterPlanServiceHandlerClient(ctx, g.mux, pb.NewPlanServiceClient(conn)),
		pb.RegisterProgramRecordServiceHandlerClient(ctx, g.mux, pb.NewProgramRecordServiceClient(conn)),
		pb.RegisterAccessServiceHandlerClient(ctx, g.mux, pb.NewAccessServiceClient(conn)),
		pb.RegisterBulkServiceHandlerClient(ctx, g.mux, pb.NewBulkServiceClient(conn)),
		pb.RegisterOperationServiceHandlerClient(ctx, g.mux, pb.NewOperationServiceClient(conn)),
		pb.RegisterTrialServiceHandlerClient(ctx, g.mux, pb.NewTrialServiceClient(conn)),
	)
}

// ServeHTTP answers one request.
func (g *gateway) ServeHTTP(out http.ResponseWriter, in *http.Request) {
	w := &answer{ResponseWriter: out, head: in.Method == http.MethodHead}
	if g.o.Observe != nil {
		var end func(string, int)
		in, end = g.o.Observe(in)
		defer func() { end(w.route, w.status()) }()
	}
	defer g.rescue(w, in)
	w.Header().Set("X-Content-Type-Options", "nosniff")
	w.Header().Set("Cache-Control", "no-store")

	r := in.WithContext(context.WithValue(in.Context(), answerKey{}, w)) // a copy, whose fields may be changed
	r.Header = in.Header.Clone()
	for _, k := range [...]string{
		"X-Forwarded-For", "X-Forwarded-Host", // anyone can write them: only the peer's address is passed on
		"Te", // no trailers
	} {
		r.Header.Del(k)
	}
	if w.head {
		r.Method = http.MethodGet
	}
	if p, ok := g.pages[r.URL.Path]; ok {
		w.route = r.URL.Path
		if _, ok := g.o.Docs[r.URL.Path]; ok {
			w.route = docsRoute // one for all: there are hundreds
		}
		g.servePage(w, r, p)
		return
	}
	if r.Method == http.MethodOptions {
		g.options(w, r)
		return
	}
	g.mux.ServeHTTP(w, r)
}

// rescue turns a panic into a 500, or cuts the connection when the answer has begun.
func (g *gateway) rescue(w *answer, r *http.Request) {
	p := recover()
	if p == nil {
		return
	}
	if p == http.ErrAbortHandler {
		panic(p)
	}
	g.o.Log.ErrorContext(r.Context(), "panic in the gateway", "panic", p, "route", w.route, "stack", string(debug.Stack()))
	if w.begun {
		panic(http.ErrAbortHandler)
	}
	g.fail(w, g.o.Status(errPanic), 0)
}

var errPanic = errors.New("panic in the gateway")

// answer is a ResponseWriter that knows whether the answer has begun, and leaves out
// the body of an answer to HEAD.
type answer struct {
	http.ResponseWriter
	head, begun bool
	code        int
	route       string // the pattern that fits
}

type answerKey struct{}

// status is what was answered, or what net/http answers where nothing was.
func (w *answer) status() int {
	if w.code == 0 {
		return http.StatusOK
	}
	return w.code
}

func (w *answer) WriteHeader(code int) {
	if !w.begun || w.code < http.StatusOK {
		w.code = code
	}
	w.begun = true
	w.ResponseWriter.WriteHeader(code)
}

func (w *answer) Write(p []byte) (int, error) {
	w.begun = true
	if w.head {
		return len(p), nil
	}
	return w.ResponseWriter.Write(p)
}

// Unwrap is for http.ResponseController.
func (w *answer) Unwrap() http.ResponseWriter { return w.ResponseWriter }
