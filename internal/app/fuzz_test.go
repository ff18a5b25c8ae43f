package app

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	spb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/audit"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/wire"
)

// fuzzBudget is the solver's work for a window: little, so that many requests are
// tried. What is held against holds for every budget.
const fuzzBudget = 2_000

func fuzzEngine(f *testing.F) *engine.Engine {
	e, err := NewEngine()
	require.NoError(f, err)
	return e.WithBudget(fuzzBudget)
}

// badBodies gives the JSON bodies of the bad cases of a call, but for the large ones.
func badBodies(t testing.TB, call string) (out [][]byte) {
	for _, c := range readBadCases(t) {
		if c.Call != call {
			continue
		}
		s, err := c.rest()
		if err == nil && len(s.body) < 2<<10 {
			out = append(out, []byte(s.body))
		}
	}
	return out
}

// noBug wants of a fault what a caller needs: a kind that is not the server's own, a
// reason, a sentence, and paths of the request.
func noBug(t *testing.T, err error, m proto.Message) {
	t.Helper()
	f, ok := fault.As(err)
	require.True(t, ok, "%v is no fault", err)
	require.NotEqual(t, fault.Internal, f.Kind, "%v", err)
	require.NotEmpty(t, f.Violations)
	for _, v := range f.Violations {
		require.Regexp(t, reasonForm, v.Reason)
		require.NotEmpty(t, v.Says)
		switch {
		case v.Reason == wire.ReasonUnknownField:
		case f.Kind == fault.NotFound: // strategies alone are looked up
			require.Regexp(t, `\.strategy$`, v.Field)
		default:
			require.True(t, realField(m.ProtoReflect().Descriptor(), v.Field), "%s is no field: %s", v.Field, v.Says)
		}
	}
}

// someRequests gives the requests of the scenarios, then those of the bad cases.
func someRequests(t testing.TB) (out []*pb.ProgramRequest) {
	for _, name := range scenarioNames(t) {
		data, err := os.ReadFile(filepath.Join(scenarios, name, "request.yaml"))
		require.NoError(t, err)
		m, err := wire.ReadRequest(data)
		require.NoError(t, err)
		out = append(out, m)
	}
	for _, c := range readBadCases(t) {
		data, err := c.message()
		m := &pb.GenerateProgramRequest{}
		if c.Call == "GenerateProgram" && err == nil && len(data) < 4<<10 && proto.Unmarshal(data, m) == nil && m.GetRequest() != nil && len(out) < asText {
			out = append(out, m.GetRequest())
		}
	}
	return out
}

// asText is the number of the base that has no request: the bytes are one.
const asText = 255

// FuzzGenerate changes a request as edits say, or reads one from YAML, JSON or a message's
// bytes, and makes its program.
func FuzzGenerate(f *testing.F) {
	e := fuzzEngine(f)
	bases := someRequests(f)
	for i := range bases {
		f.Add(uint8(i), []byte(nil))
		if i%8 == 0 {
			f.Add(uint8(i), []byte{2, 1, 5, 1, byte(i), 0, 5, 1, 1, 2, 6, byte(i)})
		}
	}
	for _, body := range badBodies(f, "GenerateProgram") {
		if len(body) < 300 { // longer ones take the fuzzer too long to shorten
			f.Add(uint8(asText), body)
		}
	}
	f.Fuzz(func(t *testing.T, base uint8, data []byte) {
		var m *pb.ProgramRequest
		if base == asText {
			if m = readAny(t, data); m == nil {
				return
			}
		} else {
			m = proto.CloneOf(bases[int(base)%len(bases)])
			edit(m, data)
		}
		if err := wire.Validate(m); err != nil {
			noBug(t, err, m)
			_, _ = wire.RequestFromProto(m) // it must not rely on that
			return
		}
		request, err := wire.RequestFromProto(m)
		if err != nil {
			noBug(t, err, m)
			return
		}
		p, err := e.Generate(context.Background(), request)
		if err != nil {
			noBug(t, err, m)
			for _, v := range err.(*fault.Error).Violations {
				require.NotEmpty(t, v.Field, "%v", err)
			}
			return
		}
		intact, err := p.Intact()
		require.NoError(t, err)
		require.True(t, intact)
		for _, finding := range e.Audit(&p) {
			require.NotEqual(t, plan.LevelViolation, finding.Level, "%s, week %d: %s", finding.Rule, finding.Week, finding.Says)
		}
		answer := wire.ProgramToProto(&p)
		require.NoError(t, wire.Validate(answer), "what is answered is what AuditProgram takes")
		again, err := wire.ProgramFromProto(answer)
		require.NoError(t, err)
		intact, err = again.Intact()
		require.NoError(t, err)
		require.True(t, intact, "the message holds all of the program")
	})
}

// readAny reads a request in whatever form it comes, or gives nil.
func readAny(t *testing.T, data []byte) *pb.ProgramRequest {
	m, err := wire.ReadRequest(data)
	if err == nil {
		return m
	}
	noBug(t, err, &pb.ProgramRequest{})
	body := &pb.GenerateProgramRequest{}
	if _, err := wire.ReadJSON(data, body); err != nil {
		noBug(t, err, body)
		if proto.Unmarshal(data, body) != nil {
			return nil
		}
	}
	return body.GetRequest()
}

// FuzzAudit changes a program as edits say, and audits it.
func FuzzAudit(f *testing.F) {
	e := fuzzEngine(f)
	message := &pb.GenerateProgramRequest{}
	_, err := wire.ReadJSON(asJSON(f, filepath.Join(badInput, "request.yaml")), message)
	require.NoError(f, err)
	request, err := wire.RequestFromProto(message.GetRequest())
	require.NoError(f, err)
	generated, err := e.Generate(context.Background(), request)
	require.NoError(f, err)
	written := &pb.AuditProgramRequest{}
	_, err = wire.ReadJSON(asJSON(f, filepath.Join(badInput, "program.yaml")), written)
	require.NoError(f, err)
	bases := [...]*pb.Program{wire.ProgramToProto(&generated), written.GetProgram(), {}}

	known := map[plan.RuleID]bool{}
	for _, r := range audit.Rules() {
		known[r.ID] = true
	}
	for base := range bases {
		f.Add(uint8(base), []byte(nil))
		for i := range byte(12) {
			f.Add(uint8(base), []byte{4, 7, 0, 2, 7, i % 4, 4, 7, i % 2, i, i, i, 5, 6, i, 7, 7, i, 7})
		}
	}
	f.Fuzz(func(t *testing.T, base uint8, edits []byte) {
		m := proto.CloneOf(bases[int(base)%len(bases)])
		edit(m, edits)
		invalid := wire.Validate(m)
		if invalid != nil {
			noBug(t, invalid, m)
		}
		p, err := wire.ProgramFromProto(m)
		if err != nil {
			noBug(t, err, m)
			return
		}
		before, err := plan.Canonical(p)
		require.NoError(t, err)
		got := e.Audit(p)
		after, err := plan.Canonical(p)
		require.NoError(t, err)
		require.Equal(t, before, after, "an audit changes nothing")
		require.Equal(t, got, e.Audit(p), "an audit finds the same again")
		for _, finding := range got {
			require.True(t, known[finding.Rule], "%s is no rule", finding.Rule)
			require.NotEmpty(t, finding.Says)
		}
		intact, err := p.Intact()
		require.NoError(t, err)
		if answer := wire.AuditedToProto(got, nil, intact); invalid == nil {
			require.NoError(t, wire.Validate(answer), "what is answered keeps to the schema")
		}
	})
}

// asJSON gives a YAML file as JSON.
func asJSON(t testing.TB, file string) []byte {
	root, err := readTree(file)
	require.NoError(t, err)
	data, err := json.Marshal(root)
	require.NoError(t, err)
	return data
}

// FuzzREST sends bodies, paths and queries through the whole server.
func FuzzREST(f *testing.F) {
	log := &runLog{}
	config := DefaultConfig()
	config.GRPCAddr, config.HTTPAddr, config.DrainDelay = "127.0.0.1:0", "127.0.0.1:0", 0
	config.Dev, config.Rate = true, 0
	config.Log = slog.New(slog.NewJSONHandler(log, &slog.HandlerOptions{Level: slog.LevelError}))
	a, err := with(config, fuzzEngine(f))
	require.NoError(f, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- a.Run(ctx) }()
	f.Cleanup(func() {
		stop()
		require.NoError(f, <-ended)
	})

	for call, name := range [...]string{"GenerateProgram", "AuditProgram"} {
		for _, body := range badBodies(f, name) {
			f.Add(uint8(call), body)
		}
	}
	for _, name := range scenarioNames(f)[:3] {
		f.Add(uint8(0), []byte(`{"request":`+string(asJSON(f, filepath.Join(scenarios, name, "request.yaml")))+`}`))
	}
	f.Add(uint8(0), asJSON(f, filepath.Join(badInput, "request.yaml")))
	f.Add(uint8(1), asJSON(f, filepath.Join(badInput, "program.yaml")))
	for _, target := range [...]string{"/", "/v1/exercises/back-squat", "/v1/exercises?pageSize=2&pageToken=x", "/v1/strategies/linear@1?", "/v1/%2e%2e/muscles;a=b", "/openapi.json"} {
		f.Add(uint8(2), []byte(target))
	}
	f.Fuzz(func(t *testing.T, call uint8, data []byte) {
		verb, target, body := http.MethodPost, "/v1/programs:generate", data
		switch call % 3 {
		case 1:
			target = "/v1/programs:audit"
		case 2:
			verb, target, body = http.MethodGet, string(data), nil
		}
		r, err := http.NewRequest(verb, "http://localhost"+target, bytes.NewReader(body))
		if err != nil {
			return
		}
		if body != nil {
			r.Header.Set("Content-Type", "application/json")
		}
		w := httptest.NewRecorder()
		a.http.Handler.ServeHTTP(w, r)
		require.Less(t, w.Code, 500, w.Body.String())
		require.Empty(t, log.String())
		require.Equal(t, "application/json", w.Header().Get("Content-Type"))
		require.True(t, json.Valid(w.Body.Bytes()), w.Body.String())
		if w.Code < 400 {
			return
		}
		p := &spb.Status{}
		require.NoError(t, protojson.Unmarshal(w.Body.Bytes(), p))
		input := (&pb.GenerateProgramRequest{}).ProtoReflect().Descriptor()
		if call%3 == 1 {
			input = (&pb.AuditProgramRequest{}).ProtoReflect().Descriptor()
		}
		if call%3 != 2 {
			understood(t, status.FromProto(p), input)
		}
	})
}
