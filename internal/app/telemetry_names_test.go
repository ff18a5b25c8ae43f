package app

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
)

// The labels of metrics take their values from what the program knows, so that nobody's
// name can be one: from the schema, or from short lists.
func labelValues(t *testing.T) map[string]*regexp.Regexp {
	var calls, routes []string
	for _, m := range methods(t) {
		calls = append(calls, regexp.QuoteMeta(strings.TrimPrefix(pathOf(m), "/")))
		rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
		for _, r := range append(rule.GetAdditionalBindings(), rule) {
			for _, path := range []string{r.GetGet(), r.GetPost(), r.GetPatch(), r.GetPut(), r.GetDelete()} {
				if path != "" {
					routes = append(routes, regexp.QuoteMeta(path))
				}
			}
		}
	}
	outcomes := []string{"ok"}
	for k := fault.Internal; k <= fault.Broken; k++ {
		outcomes = append(outcomes, regexp.QuoteMeta(k.String()))
	}
	one := func(of ...string) *regexp.Regexp { return regexp.MustCompile(`^(` + strings.Join(of, "|") + `)$`) }
	return map[string]*regexp.Regexp{
		"rpc_method":                one(calls...),
		"http_route":                one(routes...),
		"rpc_response_status_code":  one("[A-Z_]+"),
		"rpc_system_name":           one("grpc"),
		"error_type":                one("[0-9]{3}", "[A-Z_]+"),
		"http_request_method":       one("GET", "POST", "PATCH", "DELETE", "_OTHER"),
		"http_response_status_code": one("[1-5][0-9]{2}"),
		"url_scheme":                one("http", "https"),
		"db_system_name":            one("sqlite", "postgresql"),
		"db_operation_name":         one("view", "update"),
		"phasewright_operation":     one("generate", "rework", "compare"),
		"phasewright_outcome":       one(outcomes...),
		"phasewright_level":         one("[0-9]"),
		"phasewright_proven":        one("true", "false"),
		"le":                        one(`[0-9.e+-]+`, `\+Inf`),
		"otel_scope_name":           one("github.com/phasewright/phasewright"),
	}
}

var (
	sampleLine = regexp.MustCompile(`(?m)^([a-z_]+)\{(.*)\} \S+$`)
	samplePair = regexp.MustCompile(`(\w+)="((?:[^"\\]|\\.)*)"`)
)

// strangeLabels gives the labels whose values come from nowhere known.
func strangeLabels(text string, known map[string]*regexp.Regexp) (out []string) {
	for _, line := range sampleLine.FindAllStringSubmatch(text, -1) {
		if strings.HasPrefix(line[1], "go_") || strings.HasPrefix(line[1], "process_") || strings.HasPrefix(line[1], "promhttp_") || line[1] == "target_info" {
			continue // the runtime's own
		}
		for _, p := range samplePair.FindAllStringSubmatch(line[2], -1) {
			if values := known[p[1]]; values == nil && p[2] != "" || values != nil && !values.MatchString(p[2]) {
				out = append(out, p[0])
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// wordsIn gives those of some words that stand in a text.
func wordsIn(text string, words []string) (out []string) {
	for _, w := range words {
		if strings.Contains(text, w) {
			out = append(out, w)
		}
	}
	return out
}

// told is all that spans say.
func told(spans []sdktrace.ReadOnlySpan) string {
	var b strings.Builder
	for _, s := range spans {
		fmt.Fprintln(&b, s.Name(), s.Attributes(), s.Status())
		for _, e := range s.Events() {
			fmt.Fprintln(&b, e.Name, e.Attributes)
		}
		for _, l := range s.Links() {
			fmt.Fprintln(&b, l.Attributes)
		}
	}
	return b.String()
}

// After two tenants have kept something of every kind, and each asked for all of both over
// both ways in, no metric, span or line of the log, of whatever level, holds a word of
// theirs, and no metric a label that could.
func TestTelemetryNamesNobody(t *testing.T) {
	spans := tracetest.NewSpanRecorder()
	r, _ := lockedWith(t, quick(t), withAdmin, func(c *Config) {
		c.Rate, c.spans, c.Log = 0, spans, slog.New(anyLevel{c.Log.Handler()})
	})
	var all []*holdings
	var words []string
	for _, name := range []string{"gym-of-an-invention", "club-of-an-invention"} {
		h := furnish(t, r.conn, name, r.tenant(t, name))
		all = append(all, h)
		words = append(append(words, h.tenant, h.key, h.own, h.caller), append(h.ids(), h.texts...)...)
		words = append(words, strings.Split(h.key, "_")[2]) // the key's id
		c := bulkOf(t, r.conn, h.key)
		c.awaitDone(c.begin(&pb.GenerateProgramsRequest{Athletes: h.names["phasewright/Athlete"][:1], Constraints: oneWeek()}))
	}
	slices.Sort(words)
	words = slices.Compact(words)
	require.Greater(t, len(words), 60)
	for _, who := range all {
		for _, of := range all {
			for _, names := range of.names {
				for _, name := range names {
					r.ask(t, who.key, "/v1/"+name)
					r.ask(t, who.key, "/v1/"+name+"?"+of.caller+"="+of.own)
				}
			}
			r.ask(t, of.key+"x", "/v1/athletes/"+of.caller) // no such key, and a path that is none
			_ = r.conn.Invoke(as(who.key), "/"+of.caller+"/"+of.own, nil, nil)
			_, err := pb.NewAthleteServiceClient(r.conn).GetAthlete(as(who.key), &pb.GetAthleteRequest{Name: "athletes/" + of.caller})
			require.Error(t, err)
		}
	}
	got, known := r.scrape(t), labelValues(t)
	require.Greater(t, len(sampleLine.FindAllString(got, -1)), 100)
	require.Empty(t, wordsIn(got, words))
	for what, text := range map[string]string{"spans": told(spans.Ended()), "the log": r.log.String()} {
		require.Contains(t, text, "phasewright.v1.AthleteService/GetAthlete", "%s of these calls", what)
		require.Empty(t, wordsIn(text, words), what)
	}
	require.Empty(t, strangeLabels(got, known))

	// Both would find one.
	spoiled := got + `phasewright_bulk_programs_total{phasewright_outcome="ok",tenant="` + all[0].tenant + `"} 1` + "\n" +
		`http_server_request_duration_seconds_count{http_route="/v1/` + all[1].names["phasewright/Athlete"][0] + `"} 1` + "\n"
	require.Len(t, wordsIn(spoiled, words), 2)
	require.Len(t, strangeLabels(spoiled, known), 2)
}

// ask reads something over REST, whatever the answer.
func (r *running) ask(t *testing.T, key, path string) {
	t.Helper()
	request, err := http.NewRequestWithContext(context.Background(), http.MethodGet, r.url(path), nil)
	require.NoError(t, err)
	request.Header.Set("Authorization", "Bearer "+key)
	answer, err := http.DefaultClient.Do(request)
	require.NoError(t, err)
	defer answer.Body.Close()
	_, err = io.Copy(io.Discard, answer.Body)
	require.NoError(t, err)
}
