package app

import (
	"context"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	oteltrace "go.opentelemetry.io/otel/trace"

	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"google.golang.org/grpc/metadata"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

// scrape gives what /metrics shows.
func (r *running) scrape(t *testing.T) string {
	t.Helper()
	answer, err := http.Get("http://" + r.AdminAddr() + "/metrics")
	require.NoError(t, err)
	defer answer.Body.Close()
	require.Equal(t, http.StatusOK, answer.StatusCode)
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return string(text)
}

func withAdmin(c *Config) { c.Admin = "127.0.0.1:0" }

// documentedMetrics are the names in the table of the operators' guide.
func documentedMetrics(t *testing.T) []string {
	text, err := os.ReadFile("../../docs/operations.md")
	require.NoError(t, err)
	var out []string
	for _, row := range regexp.MustCompile("(?m)^\\| (`.*?) \\|").FindAllStringSubmatch(string(text), -1) {
		for _, name := range regexp.MustCompile("`([a-z_]+)`").FindAllStringSubmatch(row[1], -1) {
			out = append(out, name[1])
		}
	}
	require.Greater(t, len(out), 6)
	return out
}

func TestMetricsAreAsDocumented(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	r := start(t, nil, withAdmin, func(c *Config) { c.Data = Data{Dir: dir} })
	k := &keeper{t: t, url: "http://" + r.HTTPAddr()}
	athlete := k.athlete()
	code, _ := k.call(http.MethodGet, athlete, nil)
	require.Equal(t, http.StatusOK, code)
	code, _ = k.call(http.MethodPost, "programs:generate", object{"request": object{
		"athlete": object{"ageBand": "AGE_BAND_ADULT"},
		"constraints": object{"weeks": 4, "days": []object{{"minutes": 45}, {"minutes": 45}},
			"places": []object{{"preset": "EQUIPMENT_PRESET_DUMBBELLS"}}}}})
	require.Equal(t, http.StatusOK, code)
	c := bulkOf(t, r.conn, "")
	c.awaitDone(c.begin(&pb.GenerateProgramsRequest{Athletes: []string{athlete}, Constraints: oneWeek()}))
	k.call(http.MethodGet, "athletes/somebody-else", nil)
	k.call(http.MethodGet, "no-such-place", nil)
	_ = r.conn.Invoke(context.Background(), "/phasewright.v1.Made/Up", nil, nil)

	got := r.scrape(t)
	for _, name := range documentedMetrics(t) {
		require.Regexp(t, `(?m)^`+name+`(_count)?(\{| )`, got)
	}
	for _, secret := range []string{athlete, strings.TrimPrefix(athlete, "athletes/"), "somebody-else", "no-such-place", "phasewright.v1.Made", "tenant", dir} {
		require.NotContains(t, got, secret)
	}
	// What a scrape shows beside the runtime's own is in the table.
	documented := strings.Join(documentedMetrics(t), " ")
	for _, m := range regexp.MustCompile(`(?m)^# TYPE (\S+)`).FindAllStringSubmatch(got, -1) {
		if !strings.HasPrefix(m[1], "go_") && !strings.HasPrefix(m[1], "process_") && m[1] != "target_info" && !strings.HasPrefix(m[1], "promhttp_") {
			require.Contains(t, documented, m[1])
		}
	}
}

func TestAdminFollowsReadiness(t *testing.T) {
	r := start(t, nil, withAdmin)
	for _, path := range []string{"/livez", "/readyz"} {
		answer, err := http.Get("http://" + r.AdminAddr() + path)
		require.NoError(t, err)
		answer.Body.Close()
		require.Equal(t, http.StatusOK, answer.StatusCode, path)
	}
	r.stored.Store(false)
	answer, err := http.Get("http://" + r.AdminAddr() + "/readyz")
	require.NoError(t, err)
	answer.Body.Close()
	require.Equal(t, http.StatusServiceUnavailable, answer.StatusCode)
}

// A caller over gRPC can make up a trace as well: it is not continued either.
func TestTracesOfCallersAreLinked(t *testing.T) {
	spans := tracetest.NewSpanRecorder()
	r := start(t, nil, func(c *Config) { c.spans = spans })
	ctx := metadata.AppendToOutgoingContext(context.Background(), "traceparent", "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01")
	_, err := pb.NewCatalogueServiceClient(r.conn).ListMuscles(ctx, &pb.ListMusclesRequest{})
	require.NoError(t, err)
	require.NoError(t, r.stop())
	require.Len(t, spans.Ended(), 1)
	call := spans.Ended()[0]
	require.Equal(t, "phasewright.v1.CatalogueService/ListMuscles", call.Name())
	require.False(t, call.Parent().IsValid())
	require.NotEqual(t, "0af7651916cd43dd8448eb211c80319c", call.SpanContext().TraceID().String())
	require.Len(t, call.Links(), 1)
	require.Equal(t, "0af7651916cd43dd8448eb211c80319c", call.Links()[0].SpanContext.TraceID().String())
}

func TestATraceFromRESTToTheProgram(t *testing.T) {
	spans := tracetest.NewSpanRecorder()
	r := start(t, nil, func(c *Config) { c.spans = spans })
	ask, err := http.NewRequest(http.MethodPost, "http://"+r.HTTPAddr()+"/v1/programs:generate", strings.NewReader(smallest))
	require.NoError(t, err)
	ask.Header.Set("Content-Type", "application/json")
	ask.Header.Set("Traceparent", "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01")
	answer, err := http.DefaultClient.Do(ask)
	require.NoError(t, err)
	_, err = io.Copy(io.Discard, answer.Body)
	require.NoError(t, err)
	answer.Body.Close()
	require.NoError(t, r.stop())

	byName := map[string]sdktrace.ReadOnlySpan{}
	for _, s := range spans.Ended() {
		byName[s.SpanKind().String()+" "+s.Name()] = s
	}
	request := byName["server POST /v1/programs:generate"]
	require.NotNil(t, request, "spans: %v", byName)
	require.False(t, request.Parent().IsValid(), "a caller can make up a trace: it is not continued")
	require.Equal(t, "0af7651916cd43dd8448eb211c80319c", request.Links()[0].SpanContext.TraceID().String())
	call := byName["server phasewright.v1.ProgramService/GenerateProgram"]
	made := byName["internal program generate"]
	require.Equal(t, request.SpanContext().TraceID(), call.SpanContext().TraceID())
	require.Equal(t, call.SpanContext().SpanID(), made.Parent().SpanID())
	require.Contains(t, r.log.String(), `"trace_id":"`+call.SpanContext().TraceID().String(), "the log names the trace")
	require.Equal(t, oteltrace.SpanKindServer, request.SpanKind())
}
