package gateway

import (
	"context"
	"net/http"
	"regexp"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// route is one binding of a method of the schema.
type route struct {
	method, pattern string
	input           protoreflect.MessageDescriptor
	body            bool // the whole request is the body
	inPath          []string
}

var pathField = regexp.MustCompile(`\{([a-z0-9_.]+)`)

// routes reads the bindings of all services in some files, and the methods they use.
func routes(files ...protoreflect.FileDescriptor) (byKey map[string]*route, verbs []string) {
	byKey = map[string]*route{}
	for _, f := range files {
		for i := range f.Services().Len() {
			methods := f.Services().Get(i).Methods()
			for j := range methods.Len() {
				m := methods.Get(j)
				rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
				for _, b := range append([]*annotations.HttpRule{rule}, rule.GetAdditionalBindings()...) {
					r := &route{input: m.Input(), body: b.GetBody() != ""}
					if r.method, r.pattern = binding(b); r.method == "" {
						continue
					}
					for _, p := range pathField.FindAllStringSubmatch(r.pattern, -1) {
						r.inPath = append(r.inPath, p[1])
					}
					byKey[r.key()] = r
					if !slices.Contains(verbs, r.method) {
						verbs = append(verbs, r.method)
					}
				}
			}
		}
	}
	slices.Sort(verbs)
	return byKey, verbs
}

func (r *route) key() string { return r.method + " " + r.pattern }

func binding(b *annotations.HttpRule) (method, pattern string) {
	switch p := b.GetPattern().(type) {
	case *annotations.HttpRule_Get:
		return http.MethodGet, p.Get
	case *annotations.HttpRule_Post:
		return http.MethodPost, p.Post
	case *annotations.HttpRule_Put:
		return http.MethodPut, p.Put
	case *annotations.HttpRule_Patch:
		return http.MethodPatch, p.Patch
	case *annotations.HttpRule_Delete:
		return http.MethodDelete, p.Delete
	}
	return "", ""
}

// probeKey marks a request that only asks whether there is a handler for it; its value
// is a *bool.
type probeKey struct{}

func probe(ctx context.Context) *bool {
	hit, _ := ctx.Value(probeKey{}).(*bool)
	return hit
}

// allowed lists the methods that a path takes, empty for an unknown path.
func (g *gateway) allowed(r *http.Request) []string {
	var out []string
	for _, m := range g.verbs {
		hit := false
		p := r.WithContext(context.WithValue(r.Context(), probeKey{}, &hit))
		p.Method = m
		g.mux.ServeHTTP(nil, p) // check and the error handlers return before they write
		if hit {
			out = append(out, m)
		}
	}
	return withUsual(out)
}

// withUsual adds what follows from the methods of a path.
func withUsual(methods []string) []string {
	if len(methods) == 0 {
		return nil
	}
	if slices.Contains(methods, http.MethodGet) {
		methods = append(methods, http.MethodHead)
	}
	methods = append(methods, http.MethodOptions)
	slices.Sort(methods)
	return methods
}

func (g *gateway) options(w http.ResponseWriter, r *http.Request) {
	m := g.allowed(r)
	if m == nil {
		g.noRoute(w, r)
		return
	}
	w.Header().Set("Allow", strings.Join(m, ", "))
	w.WriteHeader(http.StatusNoContent)
}
