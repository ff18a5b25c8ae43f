package service

import (
	"context"
	"crypto/rand"
	"io"
	"time"

	"github.com/phasewright/phasewright/engine/fault"
)

// Reasons of faults of the use cases around a store.
const (
	ReasonNoStore         = "NO_STORE"
	ReasonPageToken       = "PAGE_TOKEN"
	ReasonUnknownExercise = "UNKNOWN_EXERCISE"
	ReasonUnknownRevision = "UNKNOWN_REVISION"
	ReasonLogged          = "LOGGED"
	ReasonApart           = "PERFORMANCES_APART"
)

// Storage is what a service needs to keep things. Store and Key are required.
type Storage struct {
	Store  Store
	Key    [32]byte         // seals page tokens; the same on every replica
	Now    func() time.Time // nil is the system's clock
	Random io.Reader        // of ids and page tokens; nil is the system's
}

// Option adds to a service.
type Option func(*Service)

// WithStorage makes a service keep things.
func WithStorage(o Storage) Option {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Random == nil {
		o.Random = rand.Reader
	}
	return func(s *Service) {
		s.storage, s.mint = &o, NewMint(o.Now, o.Random)
		s.tokens = newTokens(o.Key, o.Now, o.Random)
	}
}

// answerLife is how long a request id is good for.
const answerLife = 72 * time.Hour

// tenant gives whose call it is: Unauthenticated without a caller, Refused NO_STORE where
// nothing is kept.
func (s *Service) tenant(ctx context.Context) (Tenant, error) {
	c, ok := CallerOf(ctx)
	switch {
	case !ok:
		return "", Stranger()
	case s.storage == nil:
		return "", fault.New(fault.Refused, ReasonNoStore, "", "this server keeps nothing; start it with a data directory or a database")
	}
	return c.Tenant, nil
}

// Write is how a mutating call is to be made.
type Write struct {
	RequestID string // empty: no care is asked for
	Method    string
	Body      []byte // the request in an encoding that is the same each time
	Etag      string // of what is changed; empty is whatever there is
	DryRun    bool   // say what would be, and change nothing
}

// dry carries the answer of a dry run out of its transaction, which it ends.
type dry struct{ body []byte }

func (*dry) Error() string { return "dry run" }

// write runs fn once (see Once) and gives its answer. The answer of a dry run is that of
// its transaction, which is taken back.
func (s *Service) write(ctx context.Context, w Write, fn func(Tx) (Effect, error)) ([]byte, error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return nil, err
	}
	if w.DryRun {
		err := s.storage.Store.Update(ctx, t, func(tx Tx) error {
			done, err := fn(tx)
			if err != nil {
				return err
			}
			return &dry{done.Body}
		})
		if d, ok := err.(*dry); ok {
			return d.body, nil
		}
		return nil, err
	}
	call := Call{RequestID: w.RequestID, Method: w.Method, Body: w.Body, Expires: At(s.storage.Now().Add(answerLife))}
	return Once(ctx, s.storage.Store, t, call, fn)
}

// view runs fn on what a caller's tenant has.
func (s *Service) view(ctx context.Context, fn func(Tx) error) error {
	t, err := s.tenant(ctx)
	if err != nil {
		return err
	}
	return s.storage.Store.View(ctx, t, fn)
}

func (s *Service) newID() (ID, error) {
	id, err := s.mint.New()
	if err != nil {
		return ID{}, fault.Wrap(fault.Internal, "RANDOM", err)
	}
	return id, nil
}
