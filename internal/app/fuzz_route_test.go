package app

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	spb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/phasewright/phasewright/internal/gateway"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
	"github.com/phasewright/phasewright/internal/wire"
)

// routed is a whole server without its ports, with something of every kind stored.
type routed struct {
	handler http.Handler
	keeps   *holdings
	log     *runLog
	end     func()
}

func newRouted(t testing.TB) *routed {
	r := &routed{log: &runLog{}}
	log := slog.New(slog.NewTextHandler(r.log, &slog.HandlerOptions{Level: slog.LevelError}))
	e := quick(t)
	store := memory.New(now)
	s := service.New(e, service.WithStorage(service.Storage{Store: store, Key: [32]byte{1}}))
	local := rpc.NewLocal()
	server, err := rpc.NewServer(s, rpc.Options{Callers: tenants{}, Access: service.NewAccess(store, service.Pepper{1}, time.Now), Log: log})
	require.NoError(t, err)
	go func() { _ = server.Serve(local) }()
	conn, err := local.Connect()
	require.NoError(t, err)
	r.handler, err = gateway.New(conn, gateway.Options{Read: wire.ReadJSON, Status: rpc.Status, Log: log, MaxBody: bodyBytes})
	require.NoError(t, err)
	r.keeps = furnish(t, conn, "one", "one")
	r.end = func() {
		_ = conn.Close()
		server.Stop()
		_ = store.Close()
	}
	return r
}

// shift is how many requests one server gets: what they store is bounded by that.
const shift = 2000

// FuzzRoutes sends requests of every route of the schema, changed as edits say, or with
// other bytes as their body, to a server that has something stored. Whatever comes, the
// answer is right, or a refusal in the shape that all have, and no fault of the server.
func FuzzRoutes(f *testing.F) {
	all := methods(f)
	for i := range all {
		f.Add(uint8(i), []byte(nil), []byte(nil))
		f.Add(uint8(i), []byte{1, byte(i), 5, 3, 2, byte(i), 1, 7, 3, 1, 1, 9}, []byte(nil))
		f.Add(uint8(i), []byte{byte(i), 0, 4, byte(3 * i), 2, 0, 6, 1}, []byte(nil))
		if bindingOf(all[i]).body {
			f.Add(uint8(i), []byte(nil), []byte(`{"validateOnly": true, "`))
			f.Add(uint8(i), []byte(nil), []byte(`[{}]`))
		}
	}
	var mu sync.Mutex
	var server *routed
	served := 0
	f.Cleanup(func() {
		if server != nil {
			server.end()
		}
	})
	f.Fuzz(func(t *testing.T, route uint8, edits, raw []byte) {
		mu.Lock()
		defer mu.Unlock()
		if served++; server == nil || served%shift == 0 {
			if server != nil {
				server.end()
			}
			server = newRouted(t)
		}
		m := all[int(route)%len(all)]
		r := changedRequest(t, m, server.keeps, edits, raw)
		if r == nil {
			return
		}
		w := httptest.NewRecorder()
		server.handler.ServeHTTP(w, r)
		server.hold(t, m, r, w)
	})
}

// changedRequest makes a request of a method; nil where HTTP itself would refuse it.
func changedRequest(t testing.TB, m protoreflect.MethodDescriptor, of *holdings, edits, raw []byte) *http.Request {
	data, err := protojson.Marshal(rightRequest(t, m, of))
	require.NoError(t, err)
	var tree map[string]any
	require.NoError(t, json.Unmarshal(data, &tree))
	e := &treeEditor{editor{edits}, of}
	e.edit(m.Input(), tree)
	verb, target, body, err := treeAsREST(m, tree)
	require.NoError(t, err)
	if len(raw) > 0 && bindingOf(m).body {
		body = string(raw)
	}
	r, ok := requestOf(verb, target, body)
	if !ok {
		return nil
	}
	r.Header.Set("Authorization", "Bearer "+of.key)
	if bindingOf(m).body {
		r.Header.Set("Content-Type", "application/json")
	}
	switch e.next() % 16 { // what headers say of fields
	case 1:
		r.Header.Set("If-Match", `"x"`)
	case 2:
		r.Header.Set("If-None-Match", "*")
	case 3:
		r.Header.Set("Idempotency-Key", fmt.Sprintf("00000000-0000-4000-8000-0000000000%02x", e.next()))
	case 4:
		r.Header.Set("If-Match", "*")
	}
	return r
}

func requestOf(verb, target, body string) (r *http.Request, ok bool) {
	r, err := http.NewRequestWithContext(context.Background(), verb, "http://x"+target, strings.NewReader(body))
	return r, err == nil
}

// hold wants an answer that is one.
func (s *routed) hold(t *testing.T, m protoreflect.MethodDescriptor, r *http.Request, w *httptest.ResponseRecorder) {
	switch {
	case w.Code == http.StatusOK:
		a := newMessage(t, m.Output())
		if rightRoute(m, r) {
			require.NoError(t, protojson.Unmarshal(w.Body.Bytes(), a), "%s %s: %s", r.Method, r.URL, w.Body)
		}
		return
	case w.Code == http.StatusNotModified:
		return
	}
	require.Less(t, w.Code, 500, "%s %s: %s\n%s", r.Method, r.URL, w.Body, s.log)
	p := &spb.Status{}
	require.NoError(t, protojson.Unmarshal(w.Body.Bytes(), p), w.Body.String())
	if rightRoute(m, r) {
		understood(t, status.FromProto(p), m.Input())
	}
	require.Empty(t, s.log.String())
}

// rightRoute says whether a request still goes where its method is: a name can lead
// elsewhere.
func rightRoute(m protoreflect.MethodDescriptor, r *http.Request) bool {
	return routeForm(m).MatchString(r.Method + " " + r.URL.EscapedPath())
}

// treeEditor changes JSON as bytes say: each edit picks a node and does something to it.
type treeEditor struct {
	editor
	of *holdings
}

// node is a value in the tree, with how to put another in its place.
type node struct {
	value any
	at    protoreflect.FieldDescriptor   // nil at the root
	in    protoreflect.MessageDescriptor // of an object that is a message
	put   func(any)
	drop  func()
}

func (e *treeEditor) edit(d protoreflect.MessageDescriptor, tree map[string]any) {
	for range 12 {
		if len(e.left) < 3 {
			return
		}
		all := nodes(d, tree)
		n := &all[(e.next()|e.next()<<8)%len(all)]
		switch e.next() % 8 {
		case 0:
			if n.drop != nil {
				n.drop()
			}
		case 1, 2:
			n.put(e.anything(n.at))
		case 3: // what stands elsewhere
			n.put(copyTree(all[(e.next()|e.next()<<8)%len(all)].value))
		case 4, 5: // a field that it lacks
			if o, ok := n.value.(map[string]any); ok && n.in != nil && n.in.Fields().Len() > 0 {
				f := n.in.Fields().Get(e.next() % n.in.Fields().Len())
				o[f.JSONName()] = e.anything(f)
			}
		case 6: // once more
			if l, ok := n.value.([]any); ok && len(l) > 0 && len(l) < 2000 {
				n.put(append(slices.Clone(l), copyTree(l[e.next()%len(l)])))
			} else {
				n.put([]any{n.value})
			}
		case 7:
			n.put(strings.Repeat("é", e.next()*8))
		}
	}
}

// anything gives a value for a field, mostly of its type.
func (e *treeEditor) anything(f protoreflect.FieldDescriptor) any {
	odd := []any{nil, true, 0.0, -1.0, 1e308, 0.5, "", "x", "NaN", []any{}, []any{nil}, map[string]any{}, map[string]any{"x": 1.0}, "2026-02-30", "9999-12-31T23:59:59Z"}
	b := e.next()
	if f == nil || b%8 == 0 {
		return odd[b/8%len(odd)]
	}
	v := e.fitting(f)
	if f.IsList() {
		out := []any{}
		for range b / 8 % 4 {
			out = append(out, v)
		}
		return out
	}
	return v
}

func (e *treeEditor) fitting(f protoreflect.FieldDescriptor) any {
	switch {
	case f.IsMap():
		return map[string]any{"x": e.next()}
	case f.Message() != nil:
		o := map[string]any{}
		if n := f.Message().Fields().Len(); n > 0 && f.Message().ParentFile().Package() != "google.protobuf" {
			inner := f.Message().Fields().Get(e.next() % n)
			if len(e.left) > 0 {
				o[inner.JSONName()] = e.anything(inner)
			}
		}
		return o
	}
	switch f.Kind() {
	case protoreflect.EnumKind:
		return string(f.Enum().Values().Get(e.next() % f.Enum().Values().Len()).Name())
	case protoreflect.StringKind:
		if of, parent := resourceNamed(f); of != "" && len(e.of.names[of]) > 0 {
			return cut(e.of.names[of][e.next()%len(e.of.names[of])], parent)
		}
		return e.scalar(f).String()
	case protoreflect.BoolKind:
		return e.next()%2 == 0
	case protoreflect.DoubleKind:
		v := e.scalar(f).Float()
		if v != v || v > 1e308 || v < -1e308 {
			return "Infinity"
		}
		return v
	}
	return float64(editInts[e.next()%len(editInts)])
}

// nodes lists all values of a tree, objects in the order of their keys.
func nodes(d protoreflect.MessageDescriptor, tree map[string]any) (out []node) {
	var walk func(n node)
	walk = func(n node) {
		out = append(out, n)
		switch v := n.value.(type) {
		case map[string]any:
			for _, k := range sortedKeys(v) {
				child := node{value: v[k], put: func(x any) { v[k] = x }, drop: func() { delete(v, k) }}
				if n.in != nil {
					if child.at = n.in.Fields().ByJSONName(k); child.at != nil && !child.at.IsMap() {
						child.in = child.at.Message()
					}
				}
				walk(child)
			}
		case []any:
			for i := range v {
				walk(node{value: v[i], at: n.at, in: n.in, put: func(x any) { v[i] = x }, drop: func() { v[i] = nil }})
			}
		}
	}
	walk(node{value: tree, in: d, put: func(any) {}})
	return out
}

func copyTree(v any) any {
	switch v := v.(type) {
	case map[string]any:
		out := make(map[string]any, len(v))
		for k, e := range v {
			out[k] = copyTree(e)
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i, e := range v {
			out[i] = copyTree(e)
		}
		return out
	}
	return v
}
