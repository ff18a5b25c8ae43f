package app

import (
	"encoding/json"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// binding is how a method is called over REST.
type binding struct {
	verb, path string
	body       bool
}

func bindingOf(m protoreflect.MethodDescriptor) binding {
	rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	b := binding{body: rule.GetBody() != ""}
	switch p := rule.GetPattern().(type) {
	case *annotations.HttpRule_Get:
		b.verb, b.path = "GET", p.Get
	case *annotations.HttpRule_Post:
		b.verb, b.path = "POST", p.Post
	case *annotations.HttpRule_Patch:
		b.verb, b.path = "PATCH", p.Patch
	case *annotations.HttpRule_Delete:
		b.verb, b.path = "DELETE", p.Delete
	}
	return b
}

// pathVariable is a field in a path; what it has to look like is left aside, so that
// wrong names can be sent.
var pathVariable = regexp.MustCompile(`\{([a-z_.]+)[^}]*\}`)

// asREST writes a request as REST sends it: fields of the path in the path, the others in
// the body, or in the query where there is none.
func asREST(m protoreflect.MethodDescriptor, r proto.Message) (verb, target, body string, err error) {
	data, err := protojson.Marshal(r)
	if err != nil {
		return "", "", "", err
	}
	var tree map[string]any
	if err := json.Unmarshal(data, &tree); err != nil {
		return "", "", "", err
	}
	verb, target, body, err = treeAsREST(m, tree)
	return verb, target, body, err
}

// treeAsREST is the same of a request that need not be one.
func treeAsREST(m protoreflect.MethodDescriptor, tree map[string]any) (verb, target, body string, err error) {
	b := bindingOf(m)
	target = pathVariable.ReplaceAllStringFunc(b.path, func(v string) string {
		path := strings.Split(pathVariable.FindStringSubmatch(v)[1], ".")
		at := tree
		for _, step := range path[:len(path)-1] {
			at, _ = at[camel(step)].(map[string]any)
		}
		name, _ := at[camel(path[len(path)-1])].(string)
		delete(at, camel(path[len(path)-1]))
		steps := strings.Split(name, "/")
		for i := range steps {
			steps[i] = url.PathEscape(steps[i])
		}
		return strings.Join(steps, "/")
	})
	if b.body {
		data, err := json.Marshal(tree)
		return b.verb, target, string(data), err
	}
	q := url.Values{}
	for k, v := range tree {
		if s, ok := v.(string); ok {
			q.Set(k, s)
		} else if data, err := json.Marshal(v); err == nil {
			q.Set(k, string(data))
		}
	}
	if len(q) > 0 {
		target += "?" + q.Encode()
	}
	return b.verb, target, "", nil
}

// fieldPath leads from a message to a field in it, through lists too.
type fieldPath []protoreflect.FieldDescriptor

func (p fieldPath) String() string {
	var s []string
	for _, f := range p {
		name := string(f.Name())
		if f.IsList() {
			name += "[]"
		}
		s = append(s, name)
	}
	return strings.Join(s, ".")
}

// set puts a text at the end of the path, and makes what is missing on the way: of lists
// the first element.
func (p fieldPath) set(m protoreflect.Message, value string) {
	for i, f := range p {
		last := i == len(p)-1
		switch {
		case last && f.IsList():
			l := m.Mutable(f).List()
			l.Truncate(0)
			l.Append(protoreflect.ValueOfString(value))
		case last:
			m.Set(f, protoreflect.ValueOfString(value))
		case f.IsList():
			l := m.Mutable(f).List()
			if l.Len() == 0 {
				l.Append(l.NewElement())
			}
			m = l.Get(0).Message()
		default:
			m = m.Mutable(f).Message()
		}
	}
}

// textFields gives the paths of all text fields that a request can have, none through the
// same message twice.
func textFields(d protoreflect.MessageDescriptor) (out []fieldPath) {
	var walk func(d protoreflect.MessageDescriptor, path fieldPath, seen []protoreflect.FullName)
	walk = func(d protoreflect.MessageDescriptor, path fieldPath, seen []protoreflect.FullName) {
		if d.ParentFile().Package() == "google.protobuf" || slices.Contains(seen, d.FullName()) {
			return
		}
		seen = append(slices.Clone(seen), d.FullName())
		for i := range d.Fields().Len() {
			f := d.Fields().Get(i)
			at := append(slices.Clone(path), f)
			switch {
			case f.IsMap():
			case f.Message() != nil:
				walk(f.Message(), at, seen)
			case f.Kind() == protoreflect.StringKind:
				out = append(out, at)
			}
		}
	}
	walk(d, nil, nil)
	return out
}

// resourceNamed gives the type of resource that a field names, or whose parent it names.
func resourceNamed(f protoreflect.FieldDescriptor) (of string, parent bool) {
	if ref, _ := proto.GetExtension(f.Options(), annotations.E_ResourceReference).(*annotations.ResourceReference); ref != nil {
		if ref.GetChildType() != "" {
			return ref.GetChildType(), true
		}
		return ref.GetType(), false
	}
	r, _ := proto.GetExtension(f.ContainingMessage().Options(), annotations.E_Resource).(*annotations.ResourceDescriptor)
	if r != nil && f.Name() == "name" {
		return r.GetType(), false
	}
	return "", false
}

// namedBy is resourceNamed, and of what has no reference in the schema, as its resources
// are no records, what its path says.
func namedBy(m protoreflect.MethodDescriptor, f protoreflect.FieldDescriptor) (of string, parent bool) {
	if of, parent = resourceNamed(f); of != "" || f.ContainingMessage() != m.Input() {
		return of, parent
	}
	for collection, of := range map[string]string{"exercises": "phasewright/Exercise", "strategies": "phasewright/Strategy"} {
		if strings.Contains(bindingOf(m).path, "{"+string(f.Name())+"="+collection+"/") {
			return of, false
		}
	}
	return "", false
}

// routeForm matches what goes to a method over REST: verb and path.
func routeForm(m protoreflect.MethodDescriptor) *regexp.Regexp {
	b := bindingOf(m)
	path := regexp.QuoteMeta(pathPattern.ReplaceAllStringFunc(b.path, func(v string) string {
		return pathPattern.FindStringSubmatch(v)[1]
	}))
	return regexp.MustCompile("^" + b.verb + " " + strings.ReplaceAll(path, `\*`, `[^/]+`) + "$")
}

var pathPattern = regexp.MustCompile(`\{[a-z_.]+=([^}]*)\}`)
