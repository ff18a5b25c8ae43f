package app

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
)

// locked is a server that asks for keys, with the first one.
func locked(t *testing.T, change ...func(*Config)) (*running, string) {
	t.Helper()
	return lockedWith(t, nil, change...)
}

func lockedWith(t *testing.T, e service.Engine, change ...func(*Config)) (*running, string) {
	t.Helper()
	var first string
	r := start(t, e, append([]func(*Config){func(c *Config) {
		c.Dev, c.Data.Dir = false, filepath.Join(t.TempDir(), "data")
		c.FirstKey = func(s string) error { first = s; return nil }
	}}, change...)...)
	return r, first
}

func as(key string) context.Context {
	if key == "" {
		return context.Background()
	}
	return metadata.AppendToOutgoingContext(context.Background(), "authorization", "Bearer "+key)
}

// make has a key made over the API.
func (r *running) makeKey(t *testing.T, admin string, o *pb.ApiKey) (*pb.ApiKey, string) {
	t.Helper()
	a, err := pb.NewAccessServiceClient(r.conn).CreateApiKey(as(admin), &pb.CreateApiKeyRequest{ApiKey: o})
	require.NoError(t, err)
	return a.GetApiKey(), a.GetSecret()
}

// methods gives every method of the public schema.
func methods(t testing.TB) (out []protoreflect.MethodDescriptor) {
	protoregistry.GlobalFiles.RangeFilesByPackage("phasewright.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			for j := range f.Services().Get(i).Methods().Len() {
				out = append(out, f.Services().Get(i).Methods().Get(j))
			}
		}
		return true
	})
	require.GreaterOrEqual(t, len(out), 13)
	return out
}

func pathOf(m protoreflect.MethodDescriptor) string {
	return "/" + string(m.Parent().FullName()) + "/" + string(m.Name())
}

// scopeOf is what the schema says, in the words of keys.
func scopeOf(m protoreflect.MethodDescriptor) pb.Scope {
	s, _ := proto.GetExtension(m.Options(), pb.E_Scope).(pb.Scope)
	return s
}

// bad are the keys that nobody gets in with, by what is wrong with them.
func bad(t *testing.T, r *running, admin string) map[string]string {
	a := pb.NewAccessServiceClient(r.conn)
	gone, revoked := r.makeKey(t, admin, &pb.ApiKey{Scopes: allScopes()})
	_, err := a.RevokeApiKey(as(admin), &pb.RevokeApiKeyRequest{Name: gone.GetName()})
	require.NoError(t, err)
	late, err := r.access.Found(context.Background(), service.MainTenant, service.Order{Scopes: service.Scopes(), Expires: service.At(time.Now().Add(50 * time.Millisecond))})
	require.NoError(t, err)
	time.Sleep(60 * time.Millisecond)
	other := strings.Replace(admin, "phw_main_", "phw_gym_", 1)
	return map[string]string{
		"none": "", "garbage": "let-me-in", "revoked": revoked, "expired": late.Secret, "other tenant": other,
		"cut": admin[:len(admin)-1], "longer": admin + "a", "upper case": strings.ToUpper(admin), "huge": strings.Repeat("a", 8000),
	}
}

func allScopes() []pb.Scope {
	return []pb.Scope{pb.Scope_SCOPE_READ, pb.Scope_SCOPE_WRITE, pb.Scope_SCOPE_TRIAL, pb.Scope_SCOPE_ADMIN, pb.Scope_SCOPE_ASSESS}
}

// Every method of the schema, with every kind of key: those that are no good get one and
// the same answer, those that may too little are told the scope, and only the right one
// gets further. What is asked for is empty, or a name of nothing: nobody learns of that
// first.
func TestEveryMethodAsksForItsScope(t *testing.T) {
	r, admin := locked(t, func(c *Config) { c.Rate = 0 })
	keys := bad(t, r, admin)
	scoped := map[pb.Scope]string{}
	for _, s := range allScopes() {
		_, scoped[s] = r.makeKey(t, admin, &pb.ApiKey{Scopes: []pb.Scope{s}})
	}
	var same *status.Status
	for _, m := range methods(t) {
		need := scopeOf(m)
		require.NotZero(t, need, m.FullName())
		call := func(key string) *status.Status {
			err := r.conn.Invoke(as(key), pathOf(m), dynamicpb.NewMessage(m.Input()), dynamicpb.NewMessage(m.Output()))
			return status.Convert(err)
		}
		for what, key := range keys {
			st := call(key)
			require.Equal(t, codes.Unauthenticated, st.Code(), "%s with key %s", m.FullName(), what)
			if same == nil {
				same = st
			}
			require.Equal(t, said(same), said(st), "%s with key %s", m.FullName(), what)
		}
		for s, key := range scoped {
			st := call(key)
			if s == need {
				require.NotContains(t, []codes.Code{codes.Unauthenticated, codes.PermissionDenied, codes.Unimplemented, codes.Internal}, st.Code(), m.FullName())
				continue
			}
			require.Equal(t, codes.PermissionDenied, st.Code(), "%s with %s", m.FullName(), s)
			i := st.Details()[0].(*errdetails.ErrorInfo)
			require.Equal(t, "SCOPE", i.GetReason())
			require.Equal(t, strings.ToLower(strings.TrimPrefix(need.String(), "SCOPE_")), i.GetMetadata()["scope"])
		}
	}
	require.Equal(t, "API_KEY", same.Details()[0].(*errdetails.ErrorInfo).GetReason())
	for _, key := range keys {
		require.False(t, key != "" && strings.Contains(r.log.String(), key), "a key in the log")
	}
	require.NotContains(t, r.log.String(), admin)
}

// said is all of a status, in an order.
func said(s *status.Status) string {
	var out []string
	for _, d := range s.Details() {
		text, err := protojson.MarshalOptions{}.Marshal(d.(proto.Message))
		out = append(out, string(text), fmt.Sprint(err))
	}
	return fmt.Sprint(s.Code(), s.Message(), strings.ReplaceAll(strings.Join(out, " "), " ", ""))
}

// variable is a field in a path, and what it has to look like.
var variable = regexp.MustCompile(`\{[a-z_.]+=([^}]*)\}`)

// The same over REST, before the body is looked at.
func TestRESTAsksForKeys(t *testing.T) {
	r, admin := locked(t, func(c *Config) { c.Rate = 0 })
	_, reads := r.makeKey(t, admin, &pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_READ}})
	ask := func(method, path, key string) (*http.Response, string) {
		q, err := http.NewRequest(method, r.url(path), strings.NewReader(map[bool]string{true: "{no JSON"}[method == "POST" || method == "PATCH"]))
		require.NoError(t, err)
		if key != "" {
			q.Header.Set("Authorization", "bearer "+key)
		}
		a, err := http.DefaultClient.Do(q)
		require.NoError(t, err)
		defer a.Body.Close()
		body, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		return a, string(body)
	}
	var same string
	keys := bad(t, r, admin)
	for _, m := range methods(t) {
		rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
		method, path := "GET", rule.GetGet()
		for verb, at := range map[string]string{"POST": rule.GetPost(), "PATCH": rule.GetPatch(), "DELETE": rule.GetDelete()} {
			if at != "" {
				method, path = verb, at
			}
		}
		path = strings.ReplaceAll(variable.ReplaceAllString(path, "$1"), "*", "018f0000-0000-7000-8000-000000000000")
		for what, key := range keys {
			a, body := ask(method, path, key)
			require.Equal(t, 401, a.StatusCode, "%s with key %s: %s", m.FullName(), what, body)
			require.Equal(t, "Bearer", a.Header.Get("WWW-Authenticate"))
			if same == "" {
				same = body
			}
			require.Equal(t, same, body)
		}
		if method == "GET" && scopeOf(m) == pb.Scope_SCOPE_ADMIN {
			a, body := ask(method, path, reads)
			require.Equal(t, 403, a.StatusCode, body)
			require.Contains(t, body, `"scope":"admin"`)
		}
	}
	a, _ := ask("GET", "/v1/exercises/back-squat", reads)
	require.Equal(t, 200, a.StatusCode)
	for _, open := range []string{"/livez", "/readyz", "/openapi.json", "/"} {
		a, _ := ask("GET", open, "")
		require.Equal(t, 200, a.StatusCode, open)
	}
}

// Probes need no key; who wants to read the schema from the server does.
func TestHealthIsOpenAndReflectionIsNot(t *testing.T) {
	r, admin := locked(t)
	h, err := grpc_health_v1.NewHealthClient(r.conn).Check(context.Background(), &grpc_health_v1.HealthCheckRequest{})
	require.NoError(t, err)
	require.Equal(t, grpc_health_v1.HealthCheckResponse_SERVING, h.GetStatus())
	list := func(key string) error {
		ctx, end := context.WithCancel(as(key))
		defer end()
		s, err := grpc_reflection_v1.NewServerReflectionClient(r.conn).ServerReflectionInfo(ctx)
		require.NoError(t, err)
		_ = s.Send(&grpc_reflection_v1.ServerReflectionRequest{MessageRequest: &grpc_reflection_v1.ServerReflectionRequest_ListServices{}})
		_, err = s.Recv()
		return err
	}
	require.Equal(t, codes.Unauthenticated, status.Code(list("")))
	require.NoError(t, list(admin))
	require.Equal(t, codes.Unauthenticated, status.Code(r.conn.Invoke(context.Background(), "/phasewright.v1.Nothing/At", &pb.ListMusclesRequest{}, &pb.ListMusclesResponse{})))
	require.Equal(t, codes.Unimplemented, status.Code(r.conn.Invoke(as(admin), "/phasewright.v1.Nothing/At", &pb.ListMusclesRequest{}, &pb.ListMusclesResponse{})))
}

// A key is made once for a request id, its secret is not in what is stored, and the same
// key is shown, listed, revoked; the audit log says so.
func TestKeysOverTheAPI(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	r, admin := locked(t, func(c *Config) { c.Data.Dir = dir })
	a := pb.NewAccessServiceClient(r.conn)
	order := &pb.CreateApiKeyRequest{RequestId: "6f1c0a52-7f0e-4d38-9b3c-1f2e3d4c5b6a", ApiKey: &pb.ApiKey{DisplayName: "front desk", Scopes: []pb.Scope{pb.Scope_SCOPE_READ}}}
	first, err := a.CreateApiKey(as(admin), order)
	require.NoError(t, err)
	again, err := a.CreateApiKey(as(admin), order)
	require.NoError(t, err)
	require.True(t, proto.Equal(first, again), "%s and %s", first, again)
	order.ApiKey.DisplayName = "back door"
	_, err = a.CreateApiKey(as(admin), order)
	require.Equal(t, codes.AlreadyExists, status.Code(err))

	_, err = pb.NewCatalogueServiceClient(r.conn).ListMuscles(as(first.GetSecret()), &pb.ListMusclesRequest{})
	require.NoError(t, err)
	got, err := a.GetApiKey(as(admin), &pb.GetApiKeyRequest{Name: first.GetApiKey().GetName()})
	require.NoError(t, err)
	require.Equal(t, "front desk", got.GetApiKey().GetDisplayName())
	require.Eventually(t, func() bool {
		got, err = a.GetApiKey(as(admin), &pb.GetApiKeyRequest{Name: first.GetApiKey().GetName()})
		return err == nil && got.GetApiKey().GetLastUseTime() != nil
	}, 5*time.Second, 10*time.Millisecond)

	var names []string
	list := &pb.ListApiKeysRequest{PageSize: 1}
	for {
		page, err := a.ListApiKeys(as(admin), list)
		require.NoError(t, err)
		for _, k := range page.GetApiKeys() {
			names = append(names, k.GetDisplayName())
		}
		if list.PageToken = page.GetNextPageToken(); list.PageToken == "" {
			break
		}
	}
	require.Equal(t, []string{"first key", "front desk"}, names)
	_, err = a.ListApiKeys(as(admin), &pb.ListApiKeysRequest{PageToken: "AAAA"})
	require.Equal(t, codes.InvalidArgument, status.Code(err))

	_, err = a.RevokeApiKey(as(admin), &pb.RevokeApiKeyRequest{Name: first.GetApiKey().GetName()})
	require.NoError(t, err)
	_, err = pb.NewCatalogueServiceClient(r.conn).ListMuscles(as(first.GetSecret()), &pb.ListMusclesRequest{})
	require.Equal(t, codes.Unauthenticated, status.Code(err))

	for _, name := range []string{"apiKeys/018f0000-0000-7000-8000-000000000000", "apiKeys/x"} {
		_, err = a.RevokeApiKey(as(admin), &pb.RevokeApiKeyRequest{Name: name})
		require.Equal(t, codes.NotFound, status.Code(err))
	}
	events, err := a.ListAuditEvents(as(admin), &pb.ListAuditEventsRequest{OrderBy: "create_time"})
	require.NoError(t, err)
	var said []string
	for _, e := range events.GetAuditEvents() {
		said = append(said, strings.TrimPrefix(e.GetMethod(), "phasewright.v1.AccessService/")+" "+e.GetOutcome()+" "+e.GetResource())
	}
	name := first.GetApiKey().GetName()
	require.Equal(t, "key create OK", said[0][:13])
	require.Equal(t, []string{
		"CreateApiKey OK " + name, "CreateApiKey REPLAYED ", "CreateApiKey ALREADY_EXISTS ", "RevokeApiKey OK " + name,
		"RevokeApiKey NOT_FOUND apiKeys/018f0000-0000-7000-8000-000000000000", "RevokeApiKey NOT_FOUND ",
	}, said[1:])
	desc, err := a.ListAuditEvents(as(admin), &pb.ListAuditEventsRequest{OrderBy: "create_time desc", PageSize: 1})
	require.NoError(t, err)
	require.True(t, proto.Equal(desc.GetAuditEvents()[0], events.GetAuditEvents()[len(said)-1]))

	// In the files there is nothing that opens the API.
	require.NoError(t, r.stop())
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, f := range files {
		data, err := os.ReadFile(filepath.Join(dir, f.Name()))
		require.NoError(t, err)
		for _, secret := range []string{first.GetSecret(), admin} {
			require.NotContains(t, string(data), strings.Split(secret, "_")[3], f.Name())
		}
		info, err := f.Info()
		require.NoError(t, err)
		require.Zero(t, info.Mode().Perm()&0o077, f.Name())
	}
	require.NotContains(t, r.log.String(), first.GetSecret())
}

// A key that another replica revoked stops working within five seconds.
func TestRevokedElsewhere(t *testing.T) {
	r, admin := locked(t)
	made, secret := r.makeKey(t, admin, &pb.ApiKey{Scopes: []pb.Scope{pb.Scope_SCOPE_READ}})
	call := func() codes.Code {
		_, err := pb.NewCatalogueServiceClient(r.conn).ListMuscles(as(secret), &pb.ListMusclesRequest{})
		return status.Code(err)
	}
	require.Equal(t, codes.OK, call())
	id, err := service.ParseID(strings.TrimPrefix(made.GetName(), "apiKeys/"))
	require.NoError(t, err)
	other := service.NewAccess(r.store, service.Pepper{}, time.Now)
	_, err = other.RevokeKey(service.WithCaller(context.Background(), service.Open(service.MainTenant)), "", id)
	require.NoError(t, err)
	require.Eventually(t, func() bool { return call() == codes.Unauthenticated }, 5*time.Second, 50*time.Millisecond)
}
