package app

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	spb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/encoding/gzip"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/wire"
)

// TestBadInput sends every case of testdata/badinput over the transports it is for and
// holds the answers against what the case wants and what is on record. No answer is
// the server's fault, and both transports say the same.
func TestBadInput(t *testing.T) {
	storedCalls(t)
	s := &badServer{running: start(t, nil)}
	s.store(t)
	t.Run("bases", func(t *testing.T) { // so that a fault is that of the case
		for _, call := range []string{"GenerateProgram", "RegenerateProgram", "AuditProgram", "EstimateStrength", "CompareStrategies"} {
			c := &badCase{Call: call}
			code, body := s.rest(t, c)
			require.Equal(t, http.StatusOK, code, string(body))
			require.Equal(t, codes.OK, s.grpc(t, c).Code())
		}
		stored, err := readTree(filepath.Join(badInput, "stored.yaml"))
		require.NoError(t, err)
		for _, call := range sortedKeys(stored.(map[string]any)) {
			c := &badCase{Call: call, names: s.names}
			if verb := wordForm.FindString(call); verb == "Delete" || verb == "Undelete" || verb == "Erase" || verb == "Revoke" {
				continue // once is all that works
			}
			code, body := s.rest(t, c)
			require.Equal(t, http.StatusOK, code, "%s: %s", call, body)
			require.Equal(t, codes.OK, s.grpc(t, c).Code(), call)
		}
	})
	cases := readBadCases(t)
	require.GreaterOrEqual(t, len(cases), 80)
	for _, c := range cases {
		c.names = s.names
		t.Run(c.name, func(t *testing.T) { s.hold(t, c) })
	}
	for line := range strings.Lines(s.log.String()) {
		require.NotContains(t, line, `"level":"ERROR"`)
		require.NotContains(t, line, "panic")
	}
}

// badServer is a server that takes bad input.
type badServer struct {
	*running
	names map[string]string // of what it has stored, by what cases call them
}

// store keeps something of every kind. What is deleted of it is called so.
func (s *badServer) store(t *testing.T) {
	h := furnish(t, s.conn, "badinput", "")
	s.names = map[string]string{}
	for of, names := range h.names {
		of = strings.TrimPrefix(of, "phasewright/")
		s.names["{"+of+"}"] = names[0]
		if n := len(names); n > 1 && of != "ProgramRevision" {
			s.names["{deleted "+of+"}"] = names[n-1]
		}
		if of == "Participant" { // faults speak of the pseudonym alone
			s.names["{pseudonym}"] = names[0][strings.LastIndex(names[0], "/")+1:]
		}
	}
}

// anonymous puts what cases call them where names of what is stored stand.
func (s *badServer) anonymous(text []byte) []byte {
	called := sortedKeys(s.names)
	slices.SortStableFunc(called, func(a, b string) int { return len(s.names[b]) - len(s.names[a]) })
	for _, what := range called {
		text = bytes.ReplaceAll(text, []byte(s.names[what]), []byte(what))
	}
	return text
}

func (s *badServer) rest(t *testing.T, c *badCase) (int, []byte) {
	what, err := c.rest()
	require.NoError(t, err)
	r, err := http.NewRequest(what.verb, s.url(what.target), strings.NewReader(what.body))
	require.NoError(t, err)
	for k, v := range what.headers {
		if v == "" {
			r.Header.Del(k)
		} else {
			r.Header.Set(k, v)
		}
	}
	answer, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.Equal(t, "application/json", answer.Header.Get("Content-Type"), string(body))
	return answer.StatusCode, body
}

func (s *badServer) grpc(t *testing.T, c *badCase) *status.Status {
	message, err := c.message()
	require.NoError(t, err)
	options := []grpc.CallOption{grpc.ForceCodecV2(rawCodec{})}
	if c.Zip {
		options = append(options, grpc.UseCompressor(gzip.Name))
	}
	var answer []byte
	return status.Convert(s.conn.Invoke(context.Background(), callables[c.Call].method, message, &answer, options...))
}

// rawCodec sends bytes as they are, so that broken ones can be sent.
type rawCodec struct{}

func (rawCodec) Name() string { return "proto" }
func (rawCodec) Marshal(v any) (mem.BufferSlice, error) {
	return mem.BufferSlice{mem.SliceBuffer(v.([]byte))}, nil
}
func (rawCodec) Unmarshal(data mem.BufferSlice, v any) error {
	*v.(*[]byte) = data.Materialize()
	return nil
}

// answers are what is on record of a case.
type answers struct {
	REST *restAnswer     `json:"rest,omitempty"`
	GRPC json.RawMessage `json:"grpc,omitempty"`
}

type restAnswer struct {
	Status int             `json:"status"`
	Body   json.RawMessage `json:"body"`
}

func (s *badServer) hold(t *testing.T, c *badCase) {
	input := callables[c.Call].input().ProtoReflect().Descriptor()
	var got answers
	var rest, overGRPC *failure
	if c.Only != "grpc" {
		code, body := s.rest(t, c)
		require.Equal(t, c.Want.HTTP, code, string(body))
		require.True(t, code >= 400 && code < 500, "%d", code)
		p := &spb.Status{}
		require.NoError(t, protojson.Unmarshal(body, p), string(body))
		rest = understood(t, status.FromProto(p), input)
		got.REST = &restAnswer{code, s.anonymous(body)}
	}
	if c.Only != "rest" {
		st := s.grpc(t, c)
		require.NotContains(t, []codes.Code{codes.OK, codes.Internal, codes.Unknown}, st.Code(), st.Message())
		overGRPC = understood(t, st, input)
		data, err := protojson.Marshal(st.Proto())
		require.NoError(t, err)
		var small bytes.Buffer // protojson's own spacing varies
		require.NoError(t, json.Compact(&small, data))
		got.GRPC = s.anonymous(small.Bytes())
	}
	for _, f := range []*failure{rest, overGRPC} {
		if f != nil {
			require.Equal(t, c.Want.Code, f.code)
			require.Equal(t, c.Want.Reason, f.reason)
		}
	}
	if c.Want.Field != nil {
		f := overGRPC
		if f == nil {
			f = rest
		}
		require.Equal(t, *c.Want.Field, f.field)
	}
	if rest != nil && overGRPC != nil {
		require.Equal(t, overGRPC.inJSON(), rest.inJSON(), "REST says the same as gRPC")
	}
	s.record(t, c, got)
}

// record compares with the answers on record, byte by byte but for indentation, or
// writes them.
func (s *badServer) record(t *testing.T, c *badCase, got answers) {
	var wide bytes.Buffer
	e := json.NewEncoder(&wide)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	require.NoError(t, e.Encode(got))
	path := filepath.Join(badInput, filepath.FromSlash(c.name)+".json")
	if *rewrite {
		require.NoError(t, os.WriteFile(path, wide.Bytes(), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "go test ./internal/app -rewrite writes it anew")
	require.Equal(t, string(want), wide.String(), "go test ./internal/app -rewrite writes it anew")
}

// failure is what a status says.
type failure struct {
	code, reason, kind, field, message string
	violations                         []string
}

// inJSON spells the paths as JSON does.
func (f *failure) inJSON() failure {
	out := *f
	out.field, out.message, out.violations = camel(f.field), camel(f.message), nil
	for _, v := range f.violations {
		out.violations = append(out.violations, camel(v))
	}
	return out
}

// understood holds a status against what every failure keeps to.
func understood(t *testing.T, st *status.Status, input protoreflect.MessageDescriptor) *failure {
	f := &failure{message: st.Message()}
	f.code = codeNames[st.Code()]
	require.NotEmpty(t, f.code, st.Code().String())
	require.NotEmpty(t, st.Message())
	require.Less(t, proto.Size(st.Proto()), 8<<10, "common clients take no more")
	infos := 0
	violation := func(field, reason, says string) {
		require.Regexp(t, reasonForm, reason)
		require.NotEmpty(t, says, field)
		require.Less(t, len(says), 1500, field)
		within := field
		if reason == "UNKNOWN_FIELD" { // it names what the request doesn't have, in what it has
			within = field[:max(0, strings.LastIndexByte(field, '.'))]
		}
		require.True(t, realField(input, within), "%s is no field of %s", field, input.FullName())
		f.violations = append(f.violations, field+": "+reason+": "+says)
	}
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			infos++
			require.Equal(t, "phasewright.v1", d.GetDomain())
			require.Regexp(t, reasonForm, d.GetReason())
			f.reason, f.kind, f.field = d.GetReason(), d.GetMetadata()["kind"], d.GetMetadata()["field"]
			require.NotEmpty(t, f.kind)
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				violation(v.GetField(), v.GetReason(), v.GetDescription())
			}
		case *errdetails.PreconditionFailure:
			for _, v := range d.GetViolations() {
				violation(v.GetSubject(), v.GetType(), v.GetDescription())
			}
		case *pb.Relaxations:
			require.NoError(t, wire.Validate(d))
			require.NotEmpty(t, d.GetRelaxations())
			for _, r := range d.GetRelaxations() {
				for _, c := range r.GetChanges() {
					require.True(t, realField(input, c.GetField()), "%s is no field of %s", c.GetField(), input.FullName())
					require.True(t, c.GetFrom() != c.GetTo())
				}
				require.Regexp(t, `^[A-Z0-9].*\.$`, r.GetDescription())
			}
		case *errdetails.ResourceInfo:
			require.NotEmpty(t, d.GetResourceName())
			require.NotEmpty(t, d.GetDescription())
			f.violations = append(f.violations, d.GetResourceName()+": "+d.GetDescription())
		default:
			require.Fail(t, fmt.Sprintf("unexpected detail %T", d))
		}
	}
	require.Equal(t, 1, infos, "exactly one ErrorInfo")
	if f.reason != "UNKNOWN_FIELD" {
		require.True(t, realField(input, f.field), "%s is no field of %s", f.field, input.FullName())
	}
	return f
}

const reasonForm = `^[A-Z][A-Z0-9_]{0,61}[A-Z0-9]$`

var codeNames = map[codes.Code]string{
	codes.InvalidArgument: "INVALID_ARGUMENT", codes.FailedPrecondition: "FAILED_PRECONDITION", codes.NotFound: "NOT_FOUND",
	codes.ResourceExhausted: "RESOURCE_EXHAUSTED", codes.Unimplemented: "UNIMPLEMENTED", codes.AlreadyExists: "ALREADY_EXISTS",
	codes.Aborted: "ABORTED",
}
