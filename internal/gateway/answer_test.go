package gateway

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

func TestAnswersOfEveryRoute(t *testing.T) {
	f := &fake{}
	h := serve(t, f)
	for _, c := range []struct {
		method, target, body string
		asked                proto.Message
	}{
		{"GET", "/v1/exercises", "", &pb.ListExercisesRequest{}},
		{"GET", "/v1/exercises?pageSize=3&page_token=a%20b", "", &pb.ListExercisesRequest{PageSize: 3, PageToken: "a b"}},
		{"GET", "/v1/exercises/back-squat", "", &pb.GetExerciseRequest{Name: "exercises/back-squat"}},
		{"GET", "/v1/exercises/%00", "", &pb.GetExerciseRequest{Name: "exercises/\x00"}},
		{"GET", "/v1/muscles", "", &pb.ListMusclesRequest{}},
		{"GET", "/v1/strategies?page_size=5000", "", &pb.ListStrategiesRequest{PageSize: 5000}},
		{"GET", "/v1/strategies/linear@1", "", &pb.GetStrategyRequest{Name: "strategies/linear@1"}},
	} {
		w := ask(h, c.method, c.target, c.body)
		require.Equal(t, 200, w.Code, "%s %s %s", c.method, c.target, w.Body)
		require.True(t, proto.Equal(c.asked, f.asked), "%s: %v", c.target, f.asked)
		require.Equal(t, "application/json", w.Header().Get("Content-Type"))
		require.Equal(t, "no-store", w.Header().Get("Cache-Control"))
		require.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
	}
	require.Equal(t, `{"exercises":[],"nextPageToken":""}`+"\n", ask(h, "GET", "/v1/exercises", "").Body.String(), "zeros and empty lists")
	require.Equal(t, "{}\n", ask(h, "GET", "/v1/exercises/a", "").Body.String(), "what is unset is left out")
}

func TestProgramsByPost(t *testing.T) {
	f := &fake{}
	h := serve(t, f)
	for _, contentType := range []string{"application/json", "application/json; charset=utf-8", `Application/JSON;charset="UTF-8"`} {
		w := ask(h, "POST", "/v1/programs:generate", minimal(t), "Content-Type: "+contentType)
		require.Equal(t, 200, w.Code, w.Body.String())
	}
	var got pb.GenerateProgramResponse
	w := post(h, "/v1/programs:generate", minimal(t))
	unmarshal(t, w.Body.Bytes(), &got)
	require.Equal(t, pb.AgeBand_AGE_BAND_ADULT, got.GetProgram().GetRequest().GetAthlete().GetAgeBand())
	require.Contains(t, w.Body.String(), `"digest":"a, b: \" c"`, "spaces inside text stay")
	require.NotContains(t, w.Body.String(), `": `)
	require.Equal(t, w.Body.String(), post(h, "/v1/programs:generate", minimal(t)).Body.String())
	for k := range w.Header() {
		require.Contains(t, []string{"Content-Type", "Content-Length", "Cache-Control", "X-Content-Type-Options"}, k, "metadata stays inside")
	}

	full, err := os.ReadFile("../../testdata/wire/program_full.json")
	require.NoError(t, err)
	audited := `{"program":` + string(full) + `}`
	w = post(h, "/v1/programs:audit", audited)
	require.Equal(t, 200, w.Code, w.Body.String())
	require.Equal(t, `{"findings":[],"intact":true,"rules":[]}`+"\n", w.Body.String())
	var sent pb.AuditProgramRequest
	unmarshal(t, []byte(audited), &sent)
	require.True(t, proto.Equal(&sent, f.asked), "the body arrives as it was sent")
}

func TestStrengthByPost(t *testing.T) {
	f := &fake{}
	h := serve(t, f)
	w := post(h, "/v1/strength:estimate", `{"athlete": {"ageBand": "AGE_BAND_ADULT"}, "exerciseIds": ["dip"], "date": "2026-01-26", "reps": [5]}`)
	require.Equal(t, 200, w.Code, w.Body.String())
	require.Equal(t, `{"date":"","massUnit":"MASS_UNIT_POUND","lifts":[],"assumptions":[],"cautions":[]}`+"\n", w.Body.String())
	require.True(t, proto.Equal(&pb.EstimateStrengthRequest{
		Athlete: &pb.Athlete{AgeBand: pb.AgeBand_AGE_BAND_ADULT}, ExerciseIds: []string{"dip"}, Date: "2026-01-26", Reps: []int32{5},
	}, f.asked), "%v", f.asked)
	require.Equal(t, []string{"exerciseIdz"}, failed(t, post(h, "/v1/strength:estimate", `{"athlete": {"ageBand": "AGE_BAND_ADULT"}, "exerciseIdz": []}`)).fields())
	require.Equal(t, []string{"athlete.age_band"}, failed(t, post(h, "/v1/strength:estimate", `{"athlete": {"age_band": "AGE_BAND_OLD"}}`)).fields(), "as it was spelled")
	require.Equal(t, 405, ask(h, "GET", "/v1/strength:estimate", "").Code)
}

func TestHead(t *testing.T) {
	h := serve(t, &fake{})
	for _, target := range []string{"/v1/exercises", "/", "/livez", "/openapi.json", "/v1/nothing"} {
		get, head := ask(h, "GET", target, ""), ask(h, "HEAD", target, "")
		require.Equal(t, get.Code, head.Code)
		require.Equal(t, get.Header(), head.Header())
		require.Empty(t, head.Body.String())
	}
}

func TestOptions(t *testing.T) {
	h := serve(t, &fake{})
	for target, allow := range map[string]string{
		"/v1/exercises":         "GET, HEAD, OPTIONS",
		"/v1/exercises/x":       "GET, HEAD, OPTIONS",
		"/v1/programs:generate": "OPTIONS, POST",
		"/livez":                "GET, HEAD, OPTIONS",
	} {
		w := ask(h, "OPTIONS", target, "")
		require.Equal(t, http.StatusNoContent, w.Code)
		require.Equal(t, allow, w.Header().Get("Allow"))
		require.Empty(t, w.Body.String())
	}
	require.Equal(t, ReasonRoute, failed(t, ask(h, "OPTIONS", "/v1/nothing", "")).reason())
}

// Nothing that a client writes into a header reaches the services, but for those named.
func TestHeadersThatPass(t *testing.T) {
	f := &fake{}
	h := serve(t, f)
	w := ask(h, "GET", "/v1/muscles", "",
		"Grpc-Metadata-Admin: yes", "Grpc-Metadata-X-Forwarded-For: 6.6.6.6", "X-Forwarded-For: 6.6.6.6", "X-Forwarded-Host: evil",
		"Cookie: a=b", "Accept-Language: de", "X-Bin: !", "Connection: x", "Te: trailers", "Authorization: Bearer t", "X-Http-Method-Override: DELETE")
	require.Equal(t, 200, w.Code, w.Body.String())
	delete(f.meta, ":authority")
	delete(f.meta, "content-type")
	delete(f.meta, "user-agent") // the gateway's own
	delete(f.meta, "grpc-accept-encoding")
	require.Equal(t, map[string][]string{
		"authorization": {"Bearer t"}, "x-forwarded-for": {"192.0.2.1"}, "x-forwarded-host": {"example.com"},
	}, map[string][]string(f.meta))
	require.Empty(t, w.Header().Values("Trailer"))
}

func TestOwnPages(t *testing.T) {
	ready := true
	h := serve(t, &fake{}, func(o *Options) { o.Ready = func() bool { return ready } })
	require.Equal(t, "{\"status\":\"live\"}\n", ask(h, "GET", "/livez", "").Body.String())
	require.Equal(t, 200, ask(h, "GET", "/readyz", "").Code)
	ready = false
	w := ask(h, "GET", "/readyz", "")
	require.Equal(t, 503, w.Code)
	require.Equal(t, ReasonNotReady, failed(t, w).reason())
	require.Equal(t, 200, ask(h, "GET", "/livez", "").Code)

	index := ask(h, "GET", "/", "").Body.String()
	for _, s := range []string{"POST /v1/programs:generate", "GET /v1/exercises/*", "PATCH /v1/athletes/*", "/openapi.json", "/readyz"} {
		require.Contains(t, index, s)
	}

	w = ask(h, "GET", "/openapi.json", "")
	require.Equal(t, `{"swagger":"2.0"}`, w.Body.String())
	tag := w.Header().Get("ETag")
	require.NotEmpty(t, tag)
	for _, match := range []string{tag, "W/" + tag, `"x", ` + tag, "*"} {
		w = ask(h, "GET", "/openapi.json", "", "If-None-Match: "+match)
		require.Equal(t, http.StatusNotModified, w.Code, match)
		require.Empty(t, w.Body.String())
	}
	require.Equal(t, 200, ask(h, "GET", "/openapi.json", "", `If-None-Match: "x"`).Code)
	require.Equal(t, 404, ask(serve(t, &fake{}, func(o *Options) { o.OpenAPI = nil }), "GET", "/openapi.json", "").Code)
}

// Every route that the router has is one that check knows, and the other way round.
func TestRoutesAreThoseOfTheRouter(t *testing.T) {
	h := serve(t, &fake{}).(*gateway)
	files, err := filepath.Glob("../../gen/phasewright/v1/*.pb.gw.go")
	require.NoError(t, err)
	patterns := 0
	for _, f := range files {
		data, err := os.ReadFile(f)
		require.NoError(t, err)
		patterns += strings.Count(string(data), "= runtime.MustPattern(")
	}
	require.Greater(t, patterns, 60)
	require.Len(t, h.routes, patterns)
	for _, r := range h.routes {
		target := strings.ReplaceAll(resourceName.ReplaceAllString(r.pattern, "$1"), "*", "x")
		require.Contains(t, strings.Split(ask(h, "OPTIONS", target, "").Header().Get("Allow"), ", "), r.method, target)
		w := ask(h, r.method, target, "")
		require.NotEqual(t, 500, w.Code, "%s %s", target, w.Body)
	}
}

func TestSqueeze(t *testing.T) {
	for in, want := range map[string]string{
		`{"a": 1, "b": [1, 2, {}]}`:          `{"a":1,"b":[1,2,{}]}`,
		`{"a b": "c, d: \"e, f\\", "g": ""}`: `{"a b":"c, d: \"e, f\\","g":""}`,
		`""`:                                 `""`,
		``:                                   ``,
	} {
		require.Equal(t, want, string(squeeze([]byte(in))))
	}
}

func BenchmarkMarshal(b *testing.B) {
	data, err := os.ReadFile("../../testdata/wire/program_full.json")
	require.NoError(b, err)
	p := &pb.Program{}
	unmarshal(b, data, p)
	for len(p.Phases[0].Weeks) < 100 {
		p.Phases[0].Weeks = append(p.Phases[0].Weeks, p.Phases[0].Weeks[0])
	}
	m := &pb.GenerateProgramResponse{Program: p}
	raw, err := encoding.Marshal(m)
	require.NoError(b, err)
	b.Run("protojson", func(b *testing.B) {
		b.SetBytes(int64(len(raw)))
		for b.Loop() {
			_, _ = protojson.Marshal(m)
		}
	})
	b.Run("squeeze", func(b *testing.B) {
		b.SetBytes(int64(len(raw)))
		in := make([]byte, len(raw))
		for b.Loop() {
			copy(in, raw)
			squeeze(in)
		}
	})
}

func TestDocsAreServedInert(t *testing.T) {
	var routes []string
	h := serve(t, &fake{}, func(o *Options) {
		o.Docs = map[string]Doc{"/docs": {"text/html; charset=utf-8", []byte("<p>hello")}}
		o.Observe = func(r *http.Request) (*http.Request, func(string, int)) {
			return r, func(route string, _ int) { routes = append(routes, route) }
		}
	})
	w := ask(h, "GET", "/docs", "")
	require.Equal(t, 200, w.Code)
	require.Equal(t, "<p>hello", w.Body.String())
	require.Equal(t, "text/html; charset=utf-8", w.Header().Get("Content-Type"))
	require.Contains(t, w.Header().Get("Content-Security-Policy"), "default-src 'none'; style-src 'self'")
	require.Equal(t, 304, ask(h, "GET", "/docs", "", "If-None-Match: "+w.Header().Get("ETag")).Code)
	require.Equal(t, 405, ask(h, "POST", "/docs", "{}").Code)
	require.Equal(t, 404, ask(h, "GET", "/docs/none", "").Code)
	require.Equal(t, "/docs/*", routes[0], "one route in the metrics for all pages")
	require.Contains(t, ask(h, "GET", "/", "").Body.String(), `"docs": "GET /docs"`)
}
