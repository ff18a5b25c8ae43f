package app

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"go.yaml.in/yaml/v3"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

const badInput = "../../testdata/badinput"

// badCase is a file of testdata/badinput, whose README says what each field means.
type badCase struct {
	About   string
	Call    string
	Set     map[string]any
	Remove  []string
	Fill    []repetition
	Replace []replacement
	Names   string // schema: field names as in the schema, in JSON too
	Body    []part
	Bytes   []part // of the message, in hexadecimal
	Zip     bool
	HTTP    struct {
		Method, Path string
		Headers      map[string]string
	}
	Only string // rest or grpc

	Want struct {
		Code, Reason string
		HTTP         int
		Field        *string
	}

	name  string
	names map[string]string // of what is stored, by what cases call them
}

type repetition struct {
	At    string
	With  any
	Times int
}

type replacement struct{ Old, New string }

type part struct {
	Text  string
	Times int
}

func (p *part) UnmarshalYAML(n *yaml.Node) error {
	if n.Kind == yaml.ScalarNode {
		p.Times = 1
		return n.Decode(&p.Text)
	}
	type plain part
	return n.Decode((*plain)(p))
}

func joined(parts []part) string {
	var b strings.Builder
	for _, p := range parts {
		b.WriteString(strings.Repeat(p.Text, p.Times))
	}
	return b.String()
}

// callable is what a case may call.
type callable struct {
	method, verb, path string
	input              func() proto.Message
	base               string // file that the request starts from
}

var callables = map[string]callable{
	"GenerateProgram": {"/phasewright.v1.ProgramService/GenerateProgram", "POST", "/v1/programs:generate",
		func() proto.Message { return &pb.GenerateProgramRequest{} }, "request.yaml"},
	"RegenerateProgram": {"/phasewright.v1.ProgramService/RegenerateProgram", "POST", "/v1/programs:regenerate",
		func() proto.Message { return &pb.RegenerateProgramRequest{} }, "program.yaml"},
	"AuditProgram": {"/phasewright.v1.ProgramService/AuditProgram", "POST", "/v1/programs:audit",
		func() proto.Message { return &pb.AuditProgramRequest{} }, "program.yaml"},
	"EstimateStrength": {"/phasewright.v1.StrengthService/EstimateStrength", "POST", "/v1/strength:estimate",
		func() proto.Message { return &pb.EstimateStrengthRequest{} }, "strength.yaml"},
	"CompareStrategies": {"/phasewright.v1.StrategyService/CompareStrategies", "POST", "/v1/strategies:compare",
		func() proto.Message { return &pb.CompareStrategiesRequest{} }, "comparison.yaml"},
	"ListStrategies": {"/phasewright.v1.StrategyService/ListStrategies", "GET", "/v1/strategies",
		func() proto.Message { return &pb.ListStrategiesRequest{} }, ""},
	"GetStrategy": {"/phasewright.v1.StrategyService/GetStrategy", "GET", "/v1/",
		func() proto.Message { return &pb.GetStrategyRequest{} }, ""},
	"ListExercises": {"/phasewright.v1.CatalogueService/ListExercises", "GET", "/v1/exercises",
		func() proto.Message { return &pb.ListExercisesRequest{} }, ""},
	"GetExercise": {"/phasewright.v1.CatalogueService/GetExercise", "GET", "/v1/",
		func() proto.Message { return &pb.GetExerciseRequest{} }, ""},
	"ListMuscles": {"/phasewright.v1.CatalogueService/ListMuscles", "GET", "/v1/muscles",
		func() proto.Message { return &pb.ListMusclesRequest{} }, ""},
	"NoMethod": {"/phasewright.v1.ProgramService/NoMethod", "GET", "/v1/nothing",
		func() proto.Message { return &pb.ListMusclesRequest{} }, ""},
	"NoService": {"/phasewright.v2.ProgramService/GenerateProgram", "GET", "/v2/programs",
		func() proto.Message { return &pb.ListMusclesRequest{} }, ""},
}

// storedMethods are the methods of the schema that the table leaves out, by name: requests of
// theirs start from an entry of stored.yaml.
var storedMethods = map[string]protoreflect.MethodDescriptor{}

// storedCalls puts those into the table too.
func storedCalls(t testing.TB) {
	for _, m := range methods(t) {
		if _, ok := callables[string(m.Name())]; !ok {
			storedMethods[string(m.Name())] = m
			callables[string(m.Name())] = callable{method: pathOf(m), input: func() proto.Message { return newMessage(t, m.Input()) }, base: "stored.yaml"}
		}
	}
}

// readBadCases reads all case files, sorted by name.
func readBadCases(t testing.TB) []*badCase {
	storedCalls(t)
	files, err := filepath.Glob(filepath.Join(badInput, "*", "*.yaml"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	var out []*badCase
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		c := &badCase{}
		dec := yaml.NewDecoder(strings.NewReader(string(data)))
		dec.KnownFields(true)
		require.NoError(t, dec.Decode(c), file)
		require.NotEmpty(t, c.About, file)
		require.Contains(t, callables, c.Call, file)
		require.NotEmpty(t, c.Want.Code, file)
		require.Contains(t, []string{"", "rest", "grpc"}, c.Only, file)
		rel, err := filepath.Rel(badInput, file)
		require.NoError(t, err)
		c.name = strings.TrimSuffix(filepath.ToSlash(rel), ".yaml")
		out = append(out, c)
	}
	return out
}

// tree gives the request of a case, before anything turns it into text or bytes.
func (c *badCase) tree() (any, error) {
	var root any = map[string]any{}
	var err error
	if call := callables[c.Call]; call.base != "" {
		if root, err = readTree(filepath.Join(badInput, call.base)); err != nil {
			return nil, err
		}
		if all, ok := root.(map[string]any); ok && storedMethods[c.Call] != nil {
			if root, ok = all[c.Call]; !ok || root == nil {
				root = map[string]any{}
			}
		}
	}
	for _, path := range sortedKeys(c.Set) {
		if root, err = put(root, steps(path), c.Set[path]); err != nil {
			return nil, fmt.Errorf("set %s: %w", path, err)
		}
	}
	for _, f := range c.Fill {
		var v any
		if text, ok := f.With.(string); ok {
			v = strings.Repeat(text, f.Times)
		} else {
			list := make([]any, f.Times)
			for i := range list {
				list[i] = f.With
			}
			v = list
		}
		if root, err = put(root, steps(f.At), v); err != nil {
			return nil, fmt.Errorf("fill %s: %w", f.At, err)
		}
	}
	for _, path := range c.Remove {
		if root, err = put(root, steps(path), gone{}); err != nil {
			return nil, fmt.Errorf("remove %s: %w", path, err)
		}
	}
	return inserted(root, c.names), nil
}

// inserted puts the names of what is stored where a case has {athlete} and the like.
func inserted(v any, names map[string]string) any {
	switch v := v.(type) {
	case string:
		for what, name := range names {
			v = strings.ReplaceAll(v, what, name)
		}
		return v
	case map[string]any:
		for k := range v {
			v[k] = inserted(v[k], names)
		}
	case []any:
		for i := range v {
			v[i] = inserted(v[i], names)
		}
	}
	return v
}

func readTree(file string) (any, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	var root any
	err = yaml.Unmarshal(data, &root)
	return root, err
}

type gone struct{}

var stepForm = regexp.MustCompile(`[^.\[\]]+|\[\d+\]`)

func steps(path string) []string { return stepForm.FindAllString(path, -1) }

// put sets what is below a path, and makes what is missing on the way.
func put(at any, path []string, v any) (any, error) {
	if len(path) == 0 {
		return v, nil
	}
	if path[0][0] == '[' {
		list, ok := at.([]any)
		i, _ := strconv.Atoi(strings.Trim(path[0], "[]"))
		if at != nil && !ok || i > len(list) {
			return nil, fmt.Errorf("no element %s of %v", path[0], at)
		}
		if i == len(list) {
			list = append(list, nil)
		}
		e, err := put(list[i], path[1:], v)
		if _, out := e.(gone); out {
			return slices.Delete(list, i, i+1), nil
		}
		list[i] = e
		return list, err
	}
	fields, ok := at.(map[string]any)
	if at != nil && !ok {
		return nil, fmt.Errorf("%v has no field %s", at, path[0])
	}
	if fields == nil {
		fields = map[string]any{}
	}
	e, err := put(fields[path[0]], path[1:], v)
	if _, out := e.(gone); out {
		delete(fields, path[0])
	} else {
		fields[path[0]] = e
	}
	return fields, err
}

// sent is a case as REST sends it.
type sent struct {
	verb, target string
	headers      map[string]string
	body         string
}

func (c *badCase) rest() (sent, error) {
	call := callables[c.Call]
	s := sent{verb: call.verb, target: call.path, headers: map[string]string{}, body: joined(c.Body)}
	root, err := c.tree()
	if err != nil {
		return s, err
	}
	switch {
	case storedMethods[c.Call] != nil:
		tree, ok := camelKeys(root).(map[string]any)
		if !ok {
			return s, fmt.Errorf("the request is no object")
		}
		body := ""
		if s.verb, s.target, body, err = treeAsREST(storedMethods[c.Call], tree); err != nil {
			return s, err
		}
		if c.Body == nil {
			s.body = body
		}
		if bindingOf(storedMethods[c.Call]).body {
			s.headers["Content-Type"] = "application/json"
		}
	case call.verb == "POST":
		s.headers["Content-Type"] = "application/json"
		if c.Body == nil {
			if c.Names != "schema" {
				root = camelKeys(root)
			}
			data, err := json.Marshal(root)
			if err != nil {
				return s, err
			}
			s.body = string(data)
		}
	default:
		fields, _ := root.(map[string]any)
		q := url.Values{}
		for k, v := range fields {
			if k == "name" {
				s.target += fmt.Sprint(v)
			} else {
				q.Set(camel(k), fmt.Sprint(v))
			}
		}
		if len(q) > 0 {
			s.target += "?" + q.Encode()
		}
	}
	for _, r := range c.Replace {
		if n := strings.Count(s.body, r.Old); n != 1 {
			return s, fmt.Errorf("%q is there %d times in %s", r.Old, n, s.body)
		}
		s.body = strings.Replace(s.body, r.Old, r.New, 1)
	}
	if c.HTTP.Method != "" {
		s.verb = c.HTTP.Method
	}
	if c.HTTP.Path != "" {
		s.target, _ = inserted(c.HTTP.Path, c.names).(string)
	}
	for k, v := range c.HTTP.Headers {
		s.headers[k] = v
	}
	return s, nil
}

// message gives the bytes of a case's message.
func (c *badCase) message() ([]byte, error) {
	if c.Bytes != nil {
		return hex.DecodeString(strings.Join(strings.Fields(joined(c.Bytes)), ""))
	}
	root, err := c.tree()
	if err != nil {
		return nil, err
	}
	data, err := json.Marshal(worded(root))
	if err != nil {
		return nil, err
	}
	m := callables[c.Call].input()
	if err := protojson.Unmarshal(data, m); err != nil {
		return nil, err
	}
	return proto.MarshalOptions{Deterministic: true}.Marshal(m)
}

// worded writes the numbers that JSON lacks as text, which protojson understands.
func worded(v any) any {
	switch v := v.(type) {
	case float64:
		switch {
		case math.IsNaN(v):
			return "NaN"
		case math.IsInf(v, 1):
			return "Infinity"
		case math.IsInf(v, -1):
			return "-Infinity"
		}
	case map[string]any:
		out := make(map[string]any, len(v))
		for k, e := range v {
			out[k] = worded(e)
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i, e := range v {
			out[i] = worded(e)
		}
		return out
	}
	return v
}

var underscore = regexp.MustCompile(`_[a-z]`)

func camel(s string) string {
	return underscore.ReplaceAllStringFunc(s, func(p string) string { return strings.ToUpper(p[1:]) })
}

// camelKeys gives JSON's names of fields; those of a strategy's parameters are no fields.
func camelKeys(v any) any {
	switch v := v.(type) {
	case map[string]any:
		out := make(map[string]any, len(v))
		for k, e := range v {
			if k != "parameters" {
				e = camelKeys(e)
			}
			out[camel(k)] = e
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i, e := range v {
			out[i] = camelKeys(e)
		}
		return out
	}
	return v
}

func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// realField says whether a path names a field that the message may have: in the schema's
// spelling or in JSON's.
func realField(d protoreflect.MessageDescriptor, path string) bool {
	for rest := path; rest != ""; {
		segment, tail, _ := strings.Cut(rest, ".")
		name, index, indexed := strings.Cut(segment, "[")
		if d == nil {
			return false
		}
		if d.ParentFile().Package() == "google.protobuf" {
			return true
		}
		f := d.Fields().ByName(protoreflect.Name(name))
		if f == nil {
			f = d.Fields().ByJSONName(name)
		}
		if f == nil || indexed && (!f.IsList() || !strings.HasSuffix(index, "]")) || f.IsList() && !indexed && tail != "" {
			return false
		}
		d, rest = f.Message(), tail
	}
	return true
}
