package service

import (
	"context"
	"slices"
)

// Scope is what a key may do: read, write, trial, admin, assess.
type Scope string

// Scopes.
const (
	ScopeRead  Scope = "read"
	ScopeWrite Scope = "write"
	ScopeTrial Scope = "trial"
	ScopeAdmin Scope = "admin"
	// ScopeAssess records measurements of trials, and sees neither arms nor results.
	ScopeAssess Scope = "assess"
)

// Scopes lists all of them.
func Scopes() []Scope { return []Scope{ScopeRead, ScopeWrite, ScopeTrial, ScopeAdmin, ScopeAssess} }

// Tenants that are there without anyone making them.
const (
	MainTenant Tenant = "main" // of the first key, and of commands that use a data directory themselves
	DevTenant  Tenant = "dev"  // of a server that asks for no key
)

// Caller is who calls: made by the transports from the key that came with a call, and by
// nothing else.
type Caller struct {
	Tenant Tenant
	Key    ID // zero where keys are not needed
	Scopes []Scope
}

// Open is a caller who may do everything in a tenant and has no key.
func Open(t Tenant) Caller { return Caller{Tenant: t, Scopes: Scopes()} }

// May says whether the caller has a scope.
func (c *Caller) May(s Scope) bool { return slices.Contains(c.Scopes, s) }

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
