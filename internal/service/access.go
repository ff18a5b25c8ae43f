package service

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"encoding/json"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/phasewright/phasewright/engine/fault"
)

// Reasons of faults of access.
const (
	ReasonCredential = "API_KEY"
	ReasonScope      = "SCOPE"
	ReasonExpiry     = "EXPIRE_TIME"
	ReasonName       = "NAME"
)

// answersFor is how long a request with an id gets its first answer again.
const answersFor = 48 * time.Hour

// Access manages who may call. It is safe for concurrent use.
type Access struct {
	store  Store
	pepper Pepper
	now    func() time.Time
	random io.Reader
	mint   *Mint
	known  *known
}

// NewAccess makes it over a store.
func NewAccess(s Store, p Pepper, now func() time.Time) *Access {
	return &Access{store: s, pepper: p, now: now, random: rand.Reader, mint: NewMint(now, rand.Reader), known: newKnown()}
}

// Order is what a new key should be.
type Order struct {
	RequestID string // as in Call
	Name      string
	Scopes    []Scope
	Expires   Instant // 0: never by itself
}

// MadeKey is a new key with its secret, which is shown this once.
type MadeKey struct {
	Key    Key
	Secret string
}

// keyAnswer is what is kept of an answer to an order.
type keyAnswer struct {
	ID      ID       `json:"id"`
	Version int64    `json:"version"`
	Created Instant  `json:"created"`
	Updated Instant  `json:"updated"`
	Name    string   `json:"name,omitzero"`
	Scopes  []string `json:"scopes,omitempty"`
	Expires Instant  `json:"expires,omitzero"`
	Revoked Instant  `json:"revoked,omitzero"`
	Used    Instant  `json:"used,omitzero"`
	Sealed  []byte   `json:"sealed,omitempty"`
}

func answerOf(k *Key, sealed []byte) ([]byte, error) {
	return json.Marshal(keyAnswer{k.ID, k.Version, k.Created, k.Updated, k.Name, k.Scopes, k.Expires, k.Revoked, k.Used, sealed})
}

func readAnswer(body []byte) (Key, []byte, error) {
	var a keyAnswer
	if err := json.Unmarshal(body, &a); err != nil {
		return Key{}, nil, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	return Key{
		Head: Head{ID: a.ID, Version: a.Version, Created: a.Created, Updated: a.Updated},
		Name: a.Name, Scopes: a.Scopes, Expires: a.Expires, Revoked: a.Revoked, Used: a.Used,
	}, a.Sealed, nil
}

// CreateKey makes a key for the caller's tenant. Faults: Invalid SCOPE, EXPIRE_TIME,
// NAME; those of Once.
func (a *Access) CreateKey(ctx context.Context, o Order) (MadeKey, error) {
	tenant, err := tenantOf(ctx)
	if err != nil {
		return MadeKey{}, err
	}
	if err := a.check(&o); err != nil {
		return MadeKey{}, err
	}
	// What is drawn is drawn before the transaction, which may run more than once.
	c := credential{tenant: tenant}
	if c.id, err = a.mint.New(); err != nil {
		return MadeKey{}, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	if _, err := io.ReadFull(a.random, c.secret[:]); err != nil {
		return MadeKey{}, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	sealed, err := a.pepper.seal(tenant, o.RequestID, c.String(), a.random)
	if err != nil {
		return MadeKey{}, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	key := Key{Head: Head{ID: c.id}, Name: o.Name, Hash: a.pepper.hash(&c), Expires: o.Expires}
	for _, s := range o.Scopes {
		key.Scopes = append(key.Scopes, string(s))
	}
	call, err := a.call("CreateApiKey", o.RequestID, struct {
		Name    string
		Scopes  []Scope
		Expires Instant
	}{o.Name, o.Scopes, o.Expires})
	if err != nil {
		return MadeKey{}, err
	}
	body, err := Once(ctx, a.store, tenant, call, func(tx Tx) (Effect, error) {
		made, err := tx.Keys().Create(key)
		if err != nil {
			return Effect{}, err
		}
		body, err := answerOf(&made, sealed)
		return Effect{Body: body, Resource: KeyName(made.ID)}, err
	})
	if err != nil {
		return MadeKey{}, err
	}
	made, kept, err := readAnswer(body)
	if err != nil {
		return MadeKey{}, err
	}
	plain, err := a.pepper.open(tenant, o.RequestID, kept)
	if err != nil {
		return MadeKey{}, fault.New(fault.Unavailable, ReasonCredential, "request_id", "this key was made before the server's pepper was changed; make another one, with a new request id")
	}
	return MadeKey{made, plain}, nil
}

func (a *Access) check(o *Order) error {
	c := fault.NewCollector(fault.Invalid)
	if len(o.Scopes) == 0 {
		c.Add(ReasonScope, "scopes", "a key needs a scope at least")
	}
	for i, s := range o.Scopes {
		if !slices.Contains(Scopes(), s) || slices.Contains(o.Scopes[:i], s) {
			c.Add(ReasonScope, "scopes", "scopes are read, write, trial, admin and assess, each once")
			break
		}
	}
	if o.Expires != 0 && o.Expires <= At(a.now()) {
		c.Add(ReasonExpiry, "expire_time", "is past; a key expires later, or not by itself where this is left out")
	}
	text(c, "display_name", o.Name, maxLabel*2)
	return c.Err()
}

// call identifies a request by its content.
func (a *Access) call(method, requestID string, asked any) (Call, error) {
	body, err := json.Marshal(asked)
	if err != nil {
		return Call{}, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	return Call{RequestID: requestID, Method: method, Body: body, Expires: At(a.now().Add(answersFor))}, nil
}

// Key finds a key of the caller's tenant. NotFound UNKNOWN.
func (a *Access) Key(ctx context.Context, id ID) (Key, error) {
	tenant, err := tenantOf(ctx)
	if err != nil {
		return Key{}, err
	}
	var out Key
	err = a.store.View(ctx, tenant, func(tx Tx) error {
		out, err = tx.Keys().Get(id)
		return err
	})
	return out, err
}

// Keys lists those of the caller's tenant by id. Of the query, After.ID and Size count.
func (a *Access) Keys(ctx context.Context, q Query) (Page[Key], error) {
	tenant, err := tenantOf(ctx)
	if err != nil {
		return Page[Key]{}, err
	}
	var out Page[Key]
	err = a.store.View(ctx, tenant, func(tx Tx) error {
		out, err = tx.Keys().List(q)
		return err
	})
	return out, err
}

// RevokeKey makes a key useless. Again is fine and changes nothing. NotFound UNKNOWN.
func (a *Access) RevokeKey(ctx context.Context, requestID string, id ID) (Key, error) {
	tenant, err := tenantOf(ctx)
	if err != nil {
		return Key{}, err
	}
	call, err := a.call("RevokeApiKey", requestID, id)
	if err != nil {
		return Key{}, err
	}
	body, err := Once(ctx, a.store, tenant, call, func(tx Tx) (Effect, error) {
		k, err := tx.Keys().Get(id)
		if err != nil {
			return Effect{}, err
		}
		if k.Revoked == 0 {
			k.Revoked = tx.Now()
			if k, err = tx.Keys().Update(k); err != nil {
				return Effect{}, err
			}
		}
		body, err := answerOf(&k, nil)
		return Effect{Body: body, Resource: KeyName(id)}, err
	})
	if err != nil {
		return Key{}, err
	}
	a.known.forget(tenant, id)
	k, _, err := readAnswer(body)
	return k, err
}

// Events lists the audit events of the caller's tenant. Query as in Tx.Events.
func (a *Access) Events(ctx context.Context, q Query) (Page[Event], error) {
	tenant, err := tenantOf(ctx)
	if err != nil {
		return Page[Event]{}, err
	}
	var out Page[Event]
	err = a.store.View(ctx, tenant, func(tx Tx) error {
		out, err = tx.Events(q)
		return err
	})
	return out, err
}

// Follow begins the audit event of a call. The function that it gives writes it when the
// call has ended; see Trail.Finish.
func (a *Access) Follow(ctx context.Context, method string) (context.Context, func(resource, outcome string) error, error) {
	c, ok := CallerOf(ctx)
	if !ok {
		return nil, nil, Stranger()
	}
	id, err := a.mint.New()
	if err != nil {
		return nil, nil, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	within, trail := WithTrail(ctx, id, method)
	return within, func(resource, outcome string) error {
		// The caller may be gone; what happened is written all the same.
		late, cancel := context.WithTimeout(context.WithoutCancel(ctx), patience)
		defer cancel()
		return trail.Finish(late, a.store, c.Tenant, resource, outcome)
	}, nil
}

// FirstKey makes a key that may do everything for MainTenant, where the store knows no
// tenant yet; ok is whether it did.
func (a *Access) FirstKey(ctx context.Context) (secret string, ok bool, err error) {
	have, err := a.store.Tenants(ctx, "", 1)
	if err != nil || len(have) > 0 {
		return "", false, err
	}
	made, err := a.Found(ctx, MainTenant, Order{Name: "first key", Scopes: Scopes()})
	return made.Secret, err == nil, err
}

// Found makes a key for a tenant, and the tenant where it is new. It asks for no caller:
// it is for who has the data itself.
func (a *Access) Found(ctx context.Context, t Tenant, o Order) (MadeKey, error) {
	if err := t.Check(); err != nil {
		return MadeKey{}, err
	}
	ctx, finish, err := a.Follow(WithCaller(ctx, Open(t)), "key create")
	if err != nil {
		return MadeKey{}, err
	}
	made, err := a.CreateKey(ctx, o)
	if err != nil {
		return MadeKey{}, err
	}
	if err := finish("", OutcomeOK); err != nil {
		return MadeKey{}, err
	}
	// After the key, so that a tenant is never there without one: FirstKey would not
	// come back to it.
	return made, a.store.Admit(ctx, t)
}

// KeyName is the resource name of a key.
func KeyName(id ID) string { return "apiKeys/" + id.String() }

// tenantOf gives the tenant of the caller.
func tenantOf(ctx context.Context) (Tenant, error) {
	c, ok := CallerOf(ctx)
	if !ok {
		return "", Stranger()
	}
	return c.Tenant, nil
}

// Stranger is the fault of a call without a key that is good: the same whether it is
// missing, malformed, unknown, expired or revoked.
func Stranger() error {
	return fault.New(fault.Unauthenticated, ReasonCredential, "", "a valid API key is needed: Authorization: Bearer and the key")
}

// patience bounds what is done beside a call.
const patience = 5 * time.Second

// Authenticate finds who calls with a key as its holder has it. Faults: Unauthenticated
// API_KEY; those of the store.
func (a *Access) Authenticate(ctx context.Context, presented string) (Caller, error) {
	c, ok := parseCredential(strings.TrimSpace(presented))
	if !ok {
		return Caller{}, Stranger()
	}
	now := a.now()
	k, err := a.find(ctx, &c, now)
	if err != nil {
		return Caller{}, err
	}
	// An unknown id is compared too, so that it takes as long as a wrong secret.
	right := hmac.Equal(k.Hash, a.pepper.hash(&c))
	if !right || k.Deleted != 0 || k.Revoked != 0 || k.Expires != 0 && k.Expires <= At(now) {
		return Caller{}, Stranger()
	}
	a.touch(ctx, c.tenant, &k, now)
	caller := Caller{Tenant: c.tenant, Key: k.ID}
	for _, s := range k.Scopes {
		caller.Scopes = append(caller.Scopes, Scope(s))
	}
	return caller, nil
}

// find looks a key up, in what is known lately first. An unknown one is a Key without a
// hash that anything could have.
func (a *Access) find(ctx context.Context, c *credential, now time.Time) (Key, error) {
	if k, ok := a.known.get(c.tenant, c.id, now); ok {
		return k, nil
	}
	var k Key
	err := a.store.View(ctx, c.tenant, func(tx Tx) (err error) {
		k, err = tx.Keys().Get(c.id)
		return err
	})
	if f, ok := fault.As(err); ok && f.Kind == fault.NotFound {
		k, err = Key{Hash: make([]byte, SecretBytes)}, nil
	}
	if err != nil {
		return Key{}, err
	}
	a.known.put(c.tenant, c.id, k, now)
	return k, nil
}
