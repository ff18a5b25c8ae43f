package service

import "context"

// Scope is what a key may do: read, write, trial, admin.
type Scope string

// Scopes.
const (
	ScopeRead  Scope = "read"
	ScopeWrite Scope = "write"
	ScopeTrial Scope = "trial"
	ScopeAdmin Scope = "admin"
)

// Caller is who calls: made by the transports from the key that came with a call, and by
// nothing else.
type Caller struct {
	Tenant Tenant
	Key    ID // zero where keys are not needed
	Scopes []Scope
}

type callerKey struct{}

// WithCaller returns a context of a call by c.
func WithCaller(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, callerKey{}, c)
}

// CallerOf gives who calls; false outside a call.
func CallerOf(ctx context.Context) (Caller, bool) {
	c, ok := ctx.Value(callerKey{}).(Caller)
	return c, ok
}
