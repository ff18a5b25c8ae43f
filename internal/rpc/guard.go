package rpc

import (
	"context"
	"fmt"
	"log/slog"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// Callers tells who calls with a key. service.Access does; faults are Unauthenticated, or
// those of a store.
type Callers interface {
	Authenticate(ctx context.Context, key string) (service.Caller, error)
}

// Anyone lets everybody in as the tenant for development. Its server has to listen on
// this machine only.
type Anyone struct{}

// Authenticate implements Callers.
func (Anyone) Authenticate(context.Context, string) (service.Caller, error) {
	return service.Open(service.DevTenant), nil
}

// nobody lets no one in.
type nobody struct{}

func (nobody) Authenticate(context.Context, string) (service.Caller, error) {
	return service.Caller{}, service.Stranger()
}

// metaScope is the key, in ErrorInfo's metadata, of the scope that is missing.
const metaScope = "scope"

// scopes are those of the schema in the service's words.
var scopes = map[pb.Scope]service.Scope{
	pb.Scope_SCOPE_READ: service.ScopeRead, pb.Scope_SCOPE_WRITE: service.ScopeWrite,
	pb.Scope_SCOPE_TRIAL: service.ScopeTrial, pb.Scope_SCOPE_ADMIN: service.ScopeAdmin,
	pb.Scope_SCOPE_ASSESS: service.ScopeAssess,
}

// rule is what the schema says of who may call a method.
type rule struct {
	scope    service.Scope // "": any key
	open     bool          // without a key too
	recorded bool          // in the audit log
}

// ruleOf reads it. A method without a scope is an error: it would be open by oversight.
func ruleOf(name, method string) (rule, error) {
	switch {
	case name == "grpc.health.v1.Health":
		return rule{open: true}, nil // for probes, which have no key; it says nothing of anyone's
	case strings.HasPrefix(name, "grpc.reflection."):
		return rule{}, nil
	}
	d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(name + "." + method))
	if err != nil {
		return rule{}, fmt.Errorf("%s/%s: %w", name, method, err)
	}
	m, ok := d.(protoreflect.MethodDescriptor)
	if !ok {
		return rule{}, fmt.Errorf("%s/%s is no method", name, method)
	}
	at, _ := proto.GetExtension(m.Options(), pb.E_Scope).(pb.Scope)
	s, ok := scopes[at]
	if !ok {
		return rule{}, fmt.Errorf("%s/%s has no scope in the schema: nobody may call it", name, method)
	}
	return rule{scope: s, recorded: changes(m)}, nil
}

// changes says whether a method changes something: those take a request_id.
func changes(m protoreflect.MethodDescriptor) bool {
	return m.Input().Fields().ByName("request_id") != nil
}

// guarded lets calls through that may be made, with the caller in their context. It knows
// nothing yet of what is asked for, so a refusal can't tell what there is.
func guarded(r rule, callers Callers, limits *limits, access *service.Access, log *slog.Logger) layer {
	return func(method string, next grpc.StreamHandler) grpc.StreamHandler {
		if r.open {
			return next
		}
		return func(impl any, s grpc.ServerStream) error {
			c, err := callers.Authenticate(s.Context(), bearer(s.Context()))
			if err != nil {
				return err
			}
			ctx := service.WithCaller(s.Context(), c)
			if err := limits.take(s, c.Tenant); err != nil {
				return err
			}
			if r.scope != "" && !c.May(r.scope) {
				if r.recorded {
					record(ctx, access, log, method, codes.PermissionDenied)
				}
				return denied(r.scope)
			}
			return next(impl, bounded{s, ctx})
		}
	}
}

// denied is the status of a key that lacks a scope.
func denied(s service.Scope) error {
	i := info(fault.Denied, service.ReasonScope, "")
	i.Metadata[metaScope] = string(s)
	return with(codes.PermissionDenied, "this needs a key with the scope "+string(s), i).Err()
}

// bearer gives the key of a call; empty where there is none, or more than one.
func bearer(ctx context.Context) string {
	all := metadata.ValueFromIncomingContext(ctx, "authorization")
	if len(all) != 1 {
		return ""
	}
	return Bearer(all[0])
}

// Bearer gives the key in an Authorization header; empty where there is none.
func Bearer(header string) string {
	const scheme = "bearer "
	if len(header) < len(scheme) || !strings.EqualFold(header[:len(scheme)], scheme) {
		return ""
	}
	return header[len(scheme):]
}

// record writes an audit event of a call that came to nothing.
func record(ctx context.Context, access *service.Access, log *slog.Logger, method string, code codes.Code) {
	if access == nil {
		return
	}
	_, finish, err := access.Follow(ctx, strings.TrimPrefix(method, "/"))
	if err == nil {
		err = finish("", outcome(code))
	}
	if err != nil {
		log.ErrorContext(ctx, "audit event not written", "method", method, "error", err.Error())
	}
}

// outcome is a code in the spelling of the gRPC documents: PERMISSION_DENIED.
func outcome(c codes.Code) string {
	var b strings.Builder
	for i, r := range c.String() {
		if i > 0 && r >= 'A' && r <= 'Z' && c != codes.OK {
			b.WriteByte('_')
		}
		b.WriteRune(r)
	}
	return strings.ToUpper(b.String())
}

// inspected stands before every handler: what changes something is recorded, and every
// request is held against the rules of the schema.
func inspected(r rule, access *service.Access, log *slog.Logger) grpc.UnaryServerInterceptor {
	if !r.recorded || access == nil {
		return checked
	}
	return func(ctx context.Context, request any, call *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
		within, finish, err := access.Follow(ctx, strings.TrimPrefix(call.FullMethod, "/"))
		if err != nil {
			return nil, err
		}
		answer, err := checked(within, request, call, next)
		code := codes.OK
		if err != nil {
			code = Status(err).Code()
		}
		if bad := finish(resourceOf(request), outcome(code)); bad != nil && !alreadyThere(bad) {
			// The call has had its effect, if it had one: it is not undone.
			log.ErrorContext(ctx, "audit event not written", "method", call.FullMethod, "error", bad.Error())
		}
		return answer, err
	}
}

// alreadyThere is an event that was written by a transaction whose end was not heard of.
func alreadyThere(err error) bool {
	f, ok := fault.As(err)
	return ok && f.Kind == fault.Exists
}

// resourceOf gives the name of what a request is about, where it says so.
func resourceOf(request any) string {
	m, ok := request.(proto.Message)
	if !ok {
		return ""
	}
	r := m.ProtoReflect()
	for _, n := range [...]protoreflect.Name{"name", "parent"} {
		if f := r.Descriptor().Fields().ByName(n); f != nil && f.Kind() == protoreflect.StringKind && !f.IsList() && r.Get(f).String() != "" {
			return r.Get(f).String()
		}
	}
	// An update has its resource inside.
	for i := range r.Descriptor().Fields().Len() {
		f := r.Descriptor().Fields().Get(i)
		if f.Message() == nil || f.IsList() || f.IsMap() || !r.Has(f) {
			continue
		}
		if n := f.Message().Fields().ByName("name"); n != nil && n.Kind() == protoreflect.StringKind && !n.IsList() {
			return r.Get(f).Message().Get(n).String()
		}
	}
	return ""
}

// Allow says whether a key is good at all, for those who want to know before they read
// what is asked: the error is a status.
func Allow(ctx context.Context, callers Callers, header string) error {
	if _, err := callers.Authenticate(ctx, Bearer(header)); err != nil {
		return Status(err).Err()
	}
	return nil
}
