package service

import (
	"context"
	"crypto/sha256"

	"github.com/phasewright/phasewright/engine/fault"
)

// Call identifies a request that must have its effect once.
type Call struct {
	RequestID string // empty: the caller asks for no such care
	Method    string
	Body      []byte  // the request in an encoding that is the same each time
	Expires   Instant // until when a retry must get the same answer
}

// Effect is what a mutating call did: its answer, encoded, whom it is about, and the
// name of the resource for the audit log.
type Effect struct {
	Body     []byte
	Athlete  ID
	Resource string
}

// Once runs fn in a transaction and gives its answer; when the request was answered
// before, the answer of then without running fn. Faults of Once itself: Exists
// REQUEST_ID_OTHER where the id came with another request, NotFound ANSWER_ERASED
// where the athlete was erased since. A fault of fn is not kept: nothing was changed,
// so a retry may run it again. The audit event of the call (see Trail), where there is
// one, is written in the same transaction.
func Once(ctx context.Context, s Store, t Tenant, c Call, fn func(Tx) (Effect, error)) ([]byte, error) {
	digest := sha256.Sum256(append([]byte(c.Method+"\n"), c.Body...))
	var body []byte
	var replayed bool
	trail := trailOf(ctx)
	err := s.Update(ctx, t, func(tx Tx) error {
		body, replayed = nil, false
		if c.RequestID == "" {
			done, err := fn(tx)
			if err != nil {
				return err
			}
			body = done.Body
			return trail.record(tx, done)
		}
		before, ok, err := tx.Recall(c.RequestID)
		switch {
		case err != nil:
			return err
		case ok && before.Digest != digest:
			return fault.New(fault.Exists, ReasonRequestOther, "request_id", "this request id came with another request before; use a new one")
		case ok && before.Erased:
			return fault.New(fault.NotFound, ReasonAnswerErased, "request_id", "this was done, and the athlete erased since")
		case ok:
			body, replayed = before.Body, true
			return nil
		}
		done, err := fn(tx)
		if err != nil {
			return err
		}
		if err := trail.record(tx, done); err != nil {
			return err
		}
		body = done.Body
		return tx.Remember(Answer{
			RequestID: c.RequestID, Method: c.Method, Digest: digest, Body: done.Body,
			Athlete: done.Athlete, Expires: c.Expires,
		})
	})
	if err != nil {
		return nil, err
	}
	trail.kept(replayed)
	return body, nil
}
