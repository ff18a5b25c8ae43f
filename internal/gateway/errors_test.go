package gateway

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

const generate = "/v1/programs:generate"

func TestRefusalsOfHTTP(t *testing.T) {
	f := &fake{}
	h := serve(t, f)
	for name, c := range map[string]struct {
		method, target, body string
		headers              []string
		code                 int
		reason, says         string
	}{
		"unknown route":        {"GET", "/v1/programs", "", nil, 404, ReasonRoute, "GET / lists"},
		"no route at all":      {"GET", "/favicon.ico", "", nil, 404, ReasonRoute, "/favicon.ico"},
		"long path":            {"GET", "/" + strings.Repeat("ä", 5000), "", nil, 404, ReasonRoute, "…"},
		"path not UTF-8, none": {"GET", "/%ff", "", nil, 404, ReasonRoute, "\uFFFD"},
		"path not UTF-8":       {"GET", "/v1/exercises/%ff", "", nil, 400, ReasonPath, "UTF-8"},
		"slash within":         {"GET", "/v1/exercises/a%2Fb", "", nil, 404, ReasonRoute, ""},
		"two slashes":          {"GET", "//v1/exercises", "", nil, 404, ReasonRoute, ""},
		"dots":                 {"GET", "/v1/../v1/exercises", "", nil, 404, ReasonRoute, ""},
		"wrong verb":           {"POST", "/v1/programs:make", "{}", []string{sendJSON}, 404, ReasonRoute, ""},
		"bare verb":            {"POST", "/v1/:generate", "{}", []string{sendJSON}, 404, ReasonRoute, ""},
		"GET of a POST":        {"GET", generate, "", nil, 405, ReasonMethod, "possible: OPTIONS, POST"},
		"DELETE":               {"DELETE", "/v1/exercises/squat", "", nil, 405, ReasonMethod, "GET, HEAD, OPTIONS"},
		"strange method":       {"BREW", "/v1/exercises", "", nil, 405, ReasonMethod, "BREW"},
		"POST of a page":       {"POST", "/livez", "", nil, 405, ReasonMethod, "GET"},
		"method override":      {"GET", generate, "", []string{"X-HTTP-Method-Override: POST"}, 405, ReasonMethod, ""},
		"override by a form":   {"POST", "/v1/exercises", "page_size=3", []string{"X-HTTP-Method-Override: GET", "Content-Type: application/x-www-form-urlencoded"}, 405, ReasonMethod, ""},
		"form for GET":         {"POST", "/v1/muscles", "a=b", []string{"Content-Type: application/x-www-form-urlencoded"}, 405, ReasonMethod, ""},
		"no content type":      {"POST", generate, "{}", nil, 415, ReasonContentType, "send Content-Type: application/json"},
		"text":                 {"POST", generate, "{}", []string{"Content-Type: text/plain"}, 415, ReasonContentType, "text/plain"},
		"YAML":                 {"POST", generate, "a: b", []string{"Content-Type: application/yaml"}, 415, ReasonContentType, "application/yaml"},
		"broken content type":  {"POST", generate, "{}", []string{"Content-Type: ;;"}, 415, ReasonContentType, ";;"},
		"two content types":    {"POST", generate, "{}", []string{sendJSON, "Content-Type: text/plain"}, 415, ReasonContentType, "once"},
		"latin-1":              {"POST", generate, "{}", []string{"Content-Type: application/json; charset=iso-8859-1"}, 415, ReasonContentType, "UTF-8"},
		"gzip":                 {"POST", generate, "\x1f\x8b", []string{sendJSON, "Content-Encoding: gzip"}, 415, ReasonContentEncoding, "without Content-Encoding"},
		"too large":            {"POST", generate, `{"request":"` + strings.Repeat("a", 64<<10) + `"}`, []string{sendJSON}, 413, "TOO_LARGE", "65536 bytes"},
		"GET with a body":      {"GET", "/v1/muscles", "{}", []string{sendJSON}, 400, ReasonBodyUnexpected, "no body"},
		"bad timeout":          {"GET", "/v1/muscles", "", []string{"Grpc-Timeout: soon"}, 400, ReasonTimeout, "20S"},
		"negative timeout":     {"GET", "/v1/muscles", "", []string{"Grpc-Timeout: -1S"}, 400, ReasonTimeout, ""},
		"no body":              {"POST", generate, "", []string{sendJSON}, 400, "SYNTAX", "empty"},
		"not JSON":             {"POST", generate, "request: {}", []string{sendJSON}, 400, "SYNTAX", "line 1"},
		"two documents":        {"POST", generate, "{}\n{}", []string{sendJSON}, 400, "SYNTAX", "follows"},
		"a form in the body":   {"POST", generate, "request=1", []string{sendJSON}, 400, "SYNTAX", ""},
		"a list":               {"POST", generate, "[]", []string{sendJSON}, 400, "WRONG_TYPE", "has fields: request"},
		"nothing in it":        {"POST", generate, "{}", []string{sendJSON}, 400, "REQUIRED", "request: is needed"},
		"deep":                 {"POST", generate, strings.Repeat("[", 60_000), []string{sendJSON}, 400, "TOO_DEEP", "64 levels"},
		"NaN":                  {"POST", generate, `{"request":{"seed":NaN}}`, []string{sendJSON}, 400, "SYNTAX", "NaN"},
		"not UTF-8":            {"POST", generate, "{\"a\xff\":1}", []string{sendJSON}, 400, "SYNTAX", "UTF-8"},
	} {
		t.Run(name, func(t *testing.T) {
			f.asked = nil
			w := ask(h, c.method, c.target, c.body, c.headers...)
			require.Equal(t, c.code, w.Code, w.Body.String())
			got := failed(t, w)
			require.Equal(t, c.reason, got.reason())
			require.Contains(t, got.Message, c.says)
			require.Less(t, len(got.Message), 1500)
			require.Nil(t, f.asked, "no handler was called")
			if c.code == 405 {
				require.NotEmpty(t, w.Header().Get("Allow"))
				require.Equal(t, int(codes.Unimplemented), got.Code)
			}
		})
	}
}

// A body whose length isn't told in advance is cut off too.
func TestTooLargeWithoutLength(t *testing.T) {
	h := serve(t, &fake{})
	r := httptest.NewRequest("POST", generate, strings.NewReader(strings.Repeat(" ", 1<<20)))
	r.ContentLength = -1
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	require.Equal(t, 413, w.Code)
	require.Equal(t, "TOO_LARGE", failed(t, w).reason())

	r = httptest.NewRequest("GET", "/v1/muscles", strings.NewReader("x"))
	r.ContentLength = -1
	w = httptest.NewRecorder()
	h.ServeHTTP(w, r)
	require.Equal(t, ReasonBodyUnexpected, failed(t, w).reason())
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errors.New("cut") }

func TestBodyCutOff(t *testing.T) {
	r := httptest.NewRequest("POST", generate, broken{})
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	serve(t, &fake{}).ServeHTTP(w, r)
	require.Equal(t, 400, w.Code)
	require.Equal(t, ReasonBodyIncomplete, failed(t, w).reason())
}

func TestQueriesAreHeldAgainstTheRequest(t *testing.T) {
	h := serve(t, &fake{})
	for name, c := range map[string]struct {
		method, target string
		fields         []string
		reason, says   string
	}{
		"unknown, near":      {"GET", "/v1/exercises?pagesize=3", []string{"pagesize"}, "UNKNOWN_FIELD", "did you mean pageSize?"},
		"unknown, far":       {"GET", "/v1/exercises?x=3", []string{"x"}, "UNKNOWN_FIELD", "possible: pageSize, pageToken"},
		"unknown, all":       {"GET", "/v1/exercises?b=3&a=1&pageSize=x", []string{"a", "b", "pageSize"}, "UNKNOWN_FIELD", "b: is not known"},
		"none are taken":     {"GET", "/v1/muscles?a=1", []string{"a"}, "UNKNOWN_FIELD", "no query is taken here"},
		"in the path":        {"GET", "/v1/exercises/x?name=y", []string{"name"}, "UNKNOWN_FIELD", "no query"},
		"POST":               {"POST", generate + "?request.seed=1", []string{"request.seed"}, "UNKNOWN_FIELD", "into the body"},
		"twice":              {"GET", "/v1/exercises?pageSize=1&pageSize=2", []string{"pageSize"}, "FIELD_TWICE", "once is right"},
		"twice, two names":   {"GET", "/v1/exercises?pageSize=1&page_size=2", []string{"page_size"}, "FIELD_TWICE", "is pageSize once more"},
		"no number":          {"GET", "/v1/exercises?page_size=many", []string{"page_size"}, "WRONG_TYPE", `is "many"; a whole number is needed`},
		"fraction":           {"GET", "/v1/exercises?pageSize=1.5", []string{"pageSize"}, "WRONG_TYPE", "whole"},
		"too large":          {"GET", "/v1/exercises?pageSize=99999999999", []string{"pageSize"}, "WRONG_TYPE", "whole"},
		"empty":              {"GET", "/v1/exercises?pageSize=", []string{"pageSize"}, "WRONG_TYPE", "whole"},
		"text, not UTF-8":    {"GET", "/v1/exercises?pageToken=%ff", []string{"pageToken"}, "WRONG_TYPE", "UTF-8"},
		"key, not UTF-8":     {"GET", "/v1/exercises?%ff=1", []string{"\uFFFD"}, "UNKNOWN_FIELD", ""},
		"key of a map":       {"GET", "/v1/exercises?pageSize[a]=1", []string{"pageSize[a]"}, "UNKNOWN_FIELD", "did you mean pageSize?"},
		"bad escape":         {"GET", "/v1/exercises?a=%zz", []string{""}, ReasonQuery, "%zz"},
		"semicolon":          {"GET", "/v1/exercises?pageSize=1;pageToken=2", []string{""}, ReasonQuery, "semicolon"},
		"rule of the schema": {"GET", "/v1/exercises?page_size=-1", []string{"page_size"}, "OUT_OF_RANGE", "page_size: is -1"},
		"rule, usual name":   {"GET", "/v1/exercises?pageSize=-1", []string{"pageSize"}, "OUT_OF_RANGE", "pageSize: is -1"},
	} {
		t.Run(name, func(t *testing.T) {
			w := ask(h, c.method, c.target, map[string]string{"POST": "{}"}[c.method], sendJSON)
			require.Equal(t, 400, w.Code, w.Body.String())
			got := failed(t, w)
			require.Equal(t, c.reason, got.reason())
			require.Equal(t, c.fields, got.fields())
			require.Contains(t, got.Message, c.says)
		})
	}
}

// What the services say arrives whole, by the same table, in the caller's spelling.
func TestFailuresOfCalls(t *testing.T) {
	f := &fake{}
	h := serve(t, f)
	days := [3]string{"request.constraints.place_periods[1].from_week", "OUT_OF_RANGE", "is 9; see constraints.place_periods[0].to_week"}
	for name, c := range map[string]struct {
		err      func(context.Context) error
		http     int
		code     codes.Code
		reason   string
		fields   []string
		contains string
	}{
		"invalid":     {refuse(fault.Invalid, days, [3]string{"request.seed", "X_Y", "is odd"}), 400, codes.InvalidArgument, "OUT_OF_RANGE", []string{"request.constraints.placePeriods[1].fromWeek", "request.seed"}, "request.constraints.placePeriods[1].fromWeek: is 9; see constraints.placePeriods[0].toWeek; request.seed: is odd"},
		"infeasible":  {refuse(fault.Infeasible, days), 400, codes.FailedPrecondition, "OUT_OF_RANGE", []string{"request.constraints.placePeriods[1].fromWeek"}, "placePeriods[0].toWeek"},
		"refused":     {refuse(fault.Refused, [3]string{"request.athlete", "NO_CLEARANCE", "see a doctor"}), 400, codes.FailedPrecondition, "NO_CLEARANCE", []string{"request.athlete"}, "see a doctor"},
		"not found":   {refuse(fault.NotFound, [3]string{"name", "EXERCISE_UNKNOWN", "did you mean x?"}), 404, codes.NotFound, "EXERCISE_UNKNOWN", nil, "did you mean x?"},
		"exists":      {refuse(fault.Exists, [3]string{"", "THERE", "there"}), 409, codes.AlreadyExists, "THERE", nil, "there"},
		"stale":       {refuse(fault.Stale, [3]string{"", "STALE", "stale"}), 409, codes.Aborted, "STALE", nil, "stale"},
		"unavailable": {refuse(fault.Unavailable, [3]string{"", "AWAY", "away"}), 503, codes.Unavailable, "AWAY", nil, "away"},
		"canceled":    {func(context.Context) error { return context.Canceled }, 499, codes.Canceled, "CANCELED", nil, ""},
		"late":        {func(context.Context) error { return context.DeadlineExceeded }, 504, codes.DeadlineExceeded, "DEADLINE", nil, ""},
		"too large":   {func(context.Context) error { return status.Error(codes.ResourceExhausted, "larger than max") }, 413, codes.ResourceExhausted, "TOO_LARGE", nil, "larger"},
		"full":        {refuse(fault.Exhausted, [3]string{"", service.ReasonFull, "no room"}), 507, codes.ResourceExhausted, "STORAGE_FULL", nil, "no room"},
		"busy":        {refuse(fault.Exhausted, [3]string{"", "RATE_LIMIT", "later"}), 429, codes.ResourceExhausted, "RATE_LIMIT", nil, "later"},
		"internal":    {func(context.Context) error { return errors.New("secret") }, 500, codes.Internal, "INTERNAL", nil, ""},
	} {
		t.Run(name, func(t *testing.T) {
			f.answer = c.err
			w := post(h, generate, minimal(t))
			require.Equal(t, c.http, w.Code, w.Body.String())
			got := failed(t, w)
			require.Equal(t, int(c.code), got.Code)
			require.Equal(t, c.reason, got.reason())
			require.Equal(t, c.fields, got.fields())
			require.Contains(t, got.Message, c.contains)
			require.NotContains(t, w.Body.String(), "secret")
			require.NotContains(t, w.Body.String(), "place_periods")
			require.NotContains(t, w.Body.String(), `": `)
		})
	}
}

// As over gRPC, but for the spelling: decoding, the schema and the domain.
func TestFieldsAsTheCallerSpellsThem(t *testing.T) {
	h := serve(t, &fake{})
	for name, c := range map[string]struct {
		body   string
		fields []string
	}{
		"schema, camel":     {`{"request":{"athlete":{"ageBand":"AGE_BAND_ADULT"},"constraints":{"days":[{"minutes":1}],"places":[{}],"placePeriods":[{"placeId":"a","fromWeek":-1,"toWeek":3}]}}}`, []string{"request.constraints.days[0].minutes", "request.constraints.placePeriods[0].fromWeek"}},
		"schema, snake":     {`{"request":{"athlete":{"age_band":"AGE_BAND_ADULT"},"constraints":{"days":[{"minutes":1}],"places":[{}],"place_periods":[{"place_id":"a","from_week":-1,"to_week":3}]}}}`, []string{"request.constraints.days[0].minutes", "request.constraints.place_periods[0].from_week"}},
		"schema, mixed":     {`{"request":{"athlete":{"age_band":"AGE_BAND_ADULT"},"constraints":{"days":[{"minutes":1}],"places":[{}],"place_periods":[{"placeId":"a","fromWeek":-1,"toWeek":3}]}}}`, []string{"request.constraints.days[0].minutes", "request.constraints.place_periods[0].fromWeek"}},
		"decoding, camel":   {`{"request":{"constraints":{"placePeriods":[{"fromWeek":"x"}]},"athlet":{}}}`, []string{"request.athlet", "request.constraints.placePeriods[0].fromWeek"}},
		"decoding, snake":   {`{"request":{"constraints":{"place_periods":[{"from_week":"x"}]}}}`, []string{"request.constraints.place_periods[0].from_week"}},
		"decoding, unknown": {`{"request":{"constraints":{"placePeriods":[{"from_weeks":1}]}}}`, []string{"request.constraints.placePeriods[0].from_weeks"}},
	} {
		t.Run(name, func(t *testing.T) {
			w := post(h, generate, c.body)
			require.Equal(t, 400, w.Code)
			got := failed(t, w)
			require.Equal(t, c.fields, got.fields(), w.Body.String())
			for _, field := range c.fields {
				require.Contains(t, got.Message, field+": ")
			}
			require.Equal(t, c.fields[0], got.Details[0].Metadata["field"])
		})
	}
}

func TestPanics(t *testing.T) {
	var log bytes.Buffer
	h := serve(t, &fake{}, func(o *Options) {
		o.Read = func([]byte, proto.Message) (map[string]string, error) { panic("ouch") }
		o.Log = slog.New(slog.NewJSONHandler(&log, nil))
	})
	const who = "018f0000-0000-7000-8000-000000000000"
	w := post(h, "/v1/athletes/"+who+"/measurements", `{"measurement": {}}`)
	require.Equal(t, 500, w.Code)
	require.Equal(t, "INTERNAL", failed(t, w).reason())
	require.NotContains(t, w.Body.String(), "ouch")
	require.Contains(t, log.String(), "ouch")
	require.Contains(t, log.String(), `"route":"/v1/{parent=athletes/*}/measurements"`)
	require.NotContains(t, log.String(), who, "whom it was about is no operator's business")
}

func TestNewNeedsItsParts(t *testing.T) {
	_, err := New(nil, Options{})
	require.ErrorContains(t, err, "Read and Status")
}
