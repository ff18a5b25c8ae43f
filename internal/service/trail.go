package service

import (
	"context"
	"strings"
)

// Outcomes of audit events, beside the names of codes.
const (
	OutcomeOK       = "OK"
	OutcomeReplayed = "REPLAYED"
)

// Trail is the audit event of a call while the call runs. Once writes it in the
// transaction of the effect; what had none is written after the call.
type Trail struct {
	event   Event
	written bool
	outcome string
}

type trailKey struct{}

// WithTrail returns a context of a call that is to be recorded. The id is that of the
// event.
func WithTrail(ctx context.Context, id ID, method string) (context.Context, *Trail) {
	c, _ := CallerOf(ctx)
	t := &Trail{event: Event{ID: id, Actor: c.Key, Method: method}}
	return context.WithValue(ctx, trailKey{}, t), t
}

func trailOf(ctx context.Context) *Trail {
	t, _ := ctx.Value(trailKey{}).(*Trail)
	return t
}

// record writes the event in the transaction that has the effect.
func (t *Trail) record(tx Tx, e Effect) error {
	if t == nil {
		return nil
	}
	event := t.event
	event.Resource, event.Athlete, event.Outcome = e.Resource, e.Athlete, OutcomeOK
	_, err := tx.Record(event)
	return err
}

// kept notes that the transaction is done.
func (t *Trail) kept(replayed bool) {
	switch {
	case t == nil:
	case replayed:
		t.outcome = OutcomeReplayed
	default:
		t.written = true
	}
}

// Finish writes the event of a call that ended with an outcome, unless the call has. The
// resource is the name in the request, if that is one: other text is left out.
func (t *Trail) Finish(ctx context.Context, s Store, tenant Tenant, resource, outcome string) error {
	if t.written {
		return nil
	}
	if t.outcome != "" && outcome == OutcomeOK {
		outcome = t.outcome
	}
	event := t.event
	event.Resource, event.Athlete = named(resource)
	event.Outcome = outcome
	return s.Update(ctx, tenant, func(tx Tx) error {
		_, err := tx.Record(event)
		return err
	})
}

// named gives a resource name back if all of its ids are ids of ours, and the athlete
// in it.
func named(name string) (string, ID) {
	part := strings.Split(name, "/")
	if len(part)%2 != 0 || len(part) > 6 {
		return "", ID{}
	}
	var athlete ID
	for i := 0; i < len(part); i += 2 {
		id, err := ParseID(part[i+1])
		if err != nil || id.Check("") != nil || strings.Trim(part[i], "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
			return "", ID{}
		}
		if part[i] == "athletes" {
			athlete = id
		}
	}
	return name, athlete
}
