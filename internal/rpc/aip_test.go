package rpc

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	validatepb "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

// departures are what this schema does otherwise than the AIPs say, each with its reason.
// The rules below name them where they hold the schema to them.
var departures = map[string]string{
	"135-children": "a soft delete hides nothing for good: what belongs to an athlete comes back with them, so no force is asked for",
	"133-id":       "ids are UUIDs that the server chooses: callers have their own id in the resource",
	"133-body":     "the body is the whole request: request_id and validate_only stand beside the resource, and paths of faults are the same over both transports",
	"131-answer":   "answers are messages of their own, so that they can grow",
}

// api is what the descriptors tell.
type api struct {
	methods   map[string]protoreflect.MethodDescriptor
	resources map[string]*annotations.ResourceDescriptor // by type
	messages  map[string]protoreflect.MessageDescriptor  // of resources, by type
}

func described() api {
	a := api{map[string]protoreflect.MethodDescriptor{}, map[string]*annotations.ResourceDescriptor{}, map[string]protoreflect.MessageDescriptor{}}
	protoregistry.GlobalFiles.RangeFilesByPackage("phasewright.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			m := f.Services().Get(i).Methods()
			for j := range m.Len() {
				a.methods[string(m.Get(j).Name())] = m.Get(j)
			}
		}
		if all, ok := proto.GetExtension(f.Options(), annotations.E_ResourceDefinition).([]*annotations.ResourceDescriptor); ok {
			for _, r := range all { // of other people's messages
				a.resources[r.GetType()] = r
			}
		}
		for i := range f.Messages().Len() {
			if r, ok := proto.GetExtension(f.Messages().Get(i).Options(), annotations.E_Resource).(*annotations.ResourceDescriptor); ok && r != nil {
				a.resources[r.GetType()], a.messages[r.GetType()] = r, f.Messages().Get(i)
			}
		}
		return true
	})
	return a
}

// standard are the kinds with all standard methods, and what creates them beside it.
var standard = []string{"Athlete", "Performance", "SessionLog", "Measurement", "OwnExercise", "Plan", "Program"}

func field(m protoreflect.MessageDescriptor, name string) protoreflect.FieldDescriptor {
	return m.Fields().ByName(protoreflect.Name(name))
}

func behaviour(f protoreflect.FieldDescriptor) []annotations.FieldBehavior {
	b, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return b
}

func httpOf(m protoreflect.MethodDescriptor) *annotations.HttpRule {
	r, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	return r
}

func scopeOf(m protoreflect.MethodDescriptor) pb.Scope {
	s, _ := proto.GetExtension(m.Options(), pb.E_Scope).(pb.Scope)
	return s
}

func snake(s string) string {
	return strings.TrimPrefix(regexp.MustCompile(`[A-Z]`).ReplaceAllStringFunc(s, func(c string) string { return "_" + strings.ToLower(c) }), "_")
}

var mutating = regexp.MustCompile(`^(Create|Update|Delete|Undelete|Revise|Revoke|Erase|Cancel|Add|Amend|Freeze|Join|Make|Check|Enrol|Close|Assign|Record|Withdraw|End|Reveal)[A-Z]|^(GeneratePrograms|ReadInterim)$`)

// TestAIP holds the schema against the API improvement proposals, by number.
func TestAIP(t *testing.T) {
	a := described()
	require.GreaterOrEqual(t, len(a.methods), 52)

	t.Run("121 122 123: resources and their names", func(t *testing.T) {
		pattern := regexp.MustCompile(`^[a-z][A-Za-z]*/\{[a-z_]+\}(/[a-z][A-Za-z]*/\{[a-z_]+\})*$`)
		for typ, r := range a.resources {
			require.Regexp(t, `^phasewright/[A-Z][A-Za-z]+$`, typ)
			require.Len(t, r.GetPattern(), 1, typ)
			require.Regexp(t, pattern, r.GetPattern()[0], typ)
			require.NotEmpty(t, r.GetSingular(), typ)
			steps := strings.Split(r.GetPattern()[0], "/")
			if r.GetPlural() != "programRevisions" { // its collection leaves out what the parent says, as AIP-122 allows
				require.Equal(t, r.GetPlural(), steps[len(steps)-2], typ)
				require.Equal(t, "{"+snake(r.GetSingular())+"}", steps[len(steps)-1], typ)
			}
			if a.messages[typ] == nil {
				require.Equal(t, "phasewright/Operation", typ, "151")
				continue
			}
			f := field(a.messages[typ], "name")
			require.NotNil(t, f, typ)
			require.EqualValues(t, 1, f.Number(), typ)
			require.Equal(t, []annotations.FieldBehavior{annotations.FieldBehavior_IDENTIFIER}, behaviour(f), typ)
		}
	})

	t.Run("122: what takes a name says of what", func(t *testing.T) {
		for name, m := range a.methods {
			for _, n := range []string{"name", "parent"} {
				f := field(m.Input(), n)
				if f == nil || m.Parent().Name() == "CatalogueService" || m.Parent().Name() == "StrategyService" {
					continue
				}
				ref, _ := proto.GetExtension(f.Options(), annotations.E_ResourceReference).(*annotations.ResourceReference)
				require.NotNil(t, ref, name)
				require.Contains(t, a.resources, ref.GetType()+ref.GetChildType(), name)
				require.Contains(t, behaviour(f), annotations.FieldBehavior_REQUIRED, name)
			}
		}
	})

	t.Run("148: fields that every standard kind has", func(t *testing.T) {
		for _, k := range standard {
			m := a.messages["phasewright/"+k]
			for _, n := range []string{"create_time", "update_time", "delete_time"} {
				f := field(m, n)
				require.NotNil(t, f, "%s.%s", k, n)
				require.EqualValues(t, "google.protobuf.Timestamp", f.Message().FullName())
				require.Equal(t, []annotations.FieldBehavior{annotations.FieldBehavior_OUTPUT_ONLY}, behaviour(f))
			}
			require.Equal(t, protoreflect.StringKind, field(m, "etag").Kind(), "154")
		}
	})

	t.Run("131 to 135, 164: standard methods", func(t *testing.T) {
		for _, k := range standard {
			r := a.resources["phasewright/"+k]
			collection := "/v1/" + r.GetPlural()
			name := "{name=" + r.GetPlural() + "/*}"
			if strings.HasPrefix(r.GetPattern()[0], "athletes/{athlete}/") {
				collection, name = "/v1/{parent=athletes/*}/"+r.GetPlural(), "{name=athletes/*/"+r.GetPlural()+"/*}"
			}
			one := snake(k)
			for verb, want := range map[string]string{
				"Create": "POST " + collection, "Get": "GET /v1/" + name, "List": "GET " + collection,
				"Update": "PATCH /v1/" + strings.Replace(name, "{name", "{"+one+".name", 1), "Delete": "DELETE /v1/" + name, "Undelete": "POST /v1/" + name + ":undelete",
			} {
				method, many := verb+k, one
				if verb == "List" {
					method, many = method+"s", one+"s"
				}
				m, ok := a.methods[method]
				require.True(t, ok, method)
				require.EqualValues(t, method+"Request", m.Input().Name())
				require.EqualValues(t, method+"Response", m.Output().Name(), departures["131-answer"])
				f := field(m.Output(), many)
				require.NotNil(t, f, "%s answers %s", method, many)
				require.Equal(t, a.messages["phasewright/"+k], f.Message(), method)
				require.Equal(t, verb == "List", f.IsList(), method)
				require.Equal(t, want, verbOf(httpOf(m)), method)
				body := "*"
				if verb == "Get" || verb == "List" || verb == "Delete" {
					body = ""
				}
				require.Equal(t, body, httpOf(m).GetBody(), "%s: %s", method, departures["133-body"])
				require.Empty(t, httpOf(m).GetResponseBody(), method)
				if verb == "Create" || verb == "Update" {
					require.Equal(t, a.messages["phasewright/"+k], field(m.Input(), one).Message(), method)
					require.NotNil(t, field(m.Input(), "validate_only"), "163: %s", method)
				}
				if verb == "Delete" || verb == "Undelete" {
					require.NotNil(t, field(m.Input(), "etag"), "154: %s", method)
				}
				require.Nil(t, field(m.Input(), "force"), departures["135-children"])
				require.Nil(t, field(m.Input(), one+"_id"), departures["133-id"])
			}
		}
	})

	t.Run("134 161: masks", func(t *testing.T) {
		for _, k := range standard {
			in := a.methods["Update"+k].Input()
			require.EqualValues(t, "google.protobuf.FieldMask", field(in, "update_mask").Message().FullName(), k)
			rules, _ := proto.GetExtension(field(in, snake(k)).Options(), validatepb.E_Field).(*validatepb.FieldRules)
			require.Equal(t, validatepb.Ignore_IGNORE_ALWAYS, rules.GetIgnore(), "%s: a part is no whole", k)
		}
	})

	t.Run("158: pages", func(t *testing.T) {
		lists := 0
		for name, m := range a.methods {
			if !strings.HasPrefix(name, "List") || name == "ListMuscles" { // some twenty, always all
				continue
			}
			lists++
			require.Equal(t, protoreflect.Int32Kind, field(m.Input(), "page_size").Kind(), name)
			require.Equal(t, protoreflect.StringKind, field(m.Input(), "page_token").Kind(), name)
			require.Equal(t, protoreflect.StringKind, field(m.Output(), "next_page_token").Kind(), name)
			require.True(t, m.Output().Fields().Get(0).IsList(), name)
			require.EqualValues(t, 1, m.Output().Fields().Get(0).Number(), name)
		}
		require.GreaterOrEqual(t, lists, 10)
		for _, k := range standard {
			require.NotNil(t, field(a.methods["List"+k+"s"].Input(), "show_deleted"), "164: %s", k)
		}
	})

	t.Run("155: request ids", func(t *testing.T) {
		for name, m := range a.methods {
			f := field(m.Input(), "request_id")
			require.Equal(t, mutating.MatchString(name), f != nil, name)
			if f != nil {
				info, _ := proto.GetExtension(f.Options(), annotations.E_FieldInfo).(*annotations.FieldInfo)
				require.Equal(t, annotations.FieldInfo_UUID4, info.GetFormat(), name)
			}
		}
	})

	t.Run("136: other methods", func(t *testing.T) {
		standard := regexp.MustCompile(`^(Get|List|Create|Update|Delete)[A-Z]`)
		verb := regexp.MustCompile(`:[a-z][A-Za-z]*$`)
		for name, m := range a.methods {
			r := httpOf(m)
			require.NotNil(t, r, name)
			if standard.MatchString(name) {
				require.NotRegexp(t, verb, verbOf(r), name)
				continue
			}
			require.Regexp(t, verb, verbOf(r), name)
			if strings.HasPrefix(name, "Export") { // which only reads
				require.Equal(t, "", r.GetBody(), name)
				require.True(t, strings.HasPrefix(verbOf(r), "GET "), name)
				continue
			}
			require.Equal(t, "*", r.GetBody(), name)
			require.True(t, strings.HasPrefix(verbOf(r), "POST "), name)
			for _, p := range []string{"With", "For", "From", "Of", "By", "And"} {
				require.NotRegexp(t, p+`([A-Z]|$)`, name, "no prepositions")
			}
		}
	})

	t.Run("scopes", func(t *testing.T) {
		for name, m := range a.methods {
			s := scopeOf(m)
			require.NotEqual(t, pb.Scope_SCOPE_UNSPECIFIED, s, name)
			if mutating.MatchString(name) {
				require.NotEqual(t, pb.Scope_SCOPE_READ, s, name)
			}
		}
	})

	t.Run("203: fields of requests and answers", func(t *testing.T) {
		for name, m := range a.methods {
			for i := range m.Input().Fields().Len() {
				b := behaviour(m.Input().Fields().Get(i))
				require.True(t, slices.Contains(b, annotations.FieldBehavior_REQUIRED) || slices.Contains(b, annotations.FieldBehavior_OPTIONAL), "%s: %s", name, m.Input().Fields().Get(i).Name())
			}
			for i := range m.Output().Fields().Len() {
				if m.Output().FullName() == "google.longrunning.Operation" {
					break
				}
				require.Contains(t, behaviour(m.Output().Fields().Get(i)), annotations.FieldBehavior_OUTPUT_ONLY, name)
			}
		}
	})
}

func verbOf(r *annotations.HttpRule) string {
	switch p := r.GetPattern().(type) {
	case *annotations.HttpRule_Get:
		return "GET " + p.Get
	case *annotations.HttpRule_Post:
		return "POST " + p.Post
	case *annotations.HttpRule_Patch:
		return "PATCH " + p.Patch
	case *annotations.HttpRule_Delete:
		return "DELETE " + p.Delete
	}
	return ""
}
