package service

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Erased says how much there was about an athlete who was erased.
type Erased struct {
	At Instant

	Performances, SessionLogs, Measurements, Programs, Revisions, Events, Answers, Items, TrialEvents, Participants int32
}

// errEnough ends an export at the end of a page.
var errEnough = errors.New("enough")

// Export hands out all there is about an athlete in the order of Tx.Export, from a token on
// (empty: the beginning), each by value, until the page says that it has enough. A page may
// be begun more than once; the last one counts. It gives the
// token to go on with, empty at the end. What comes and goes meanwhile moves nothing else.
func (s *Service) Export(ctx context.Context, athlete ID, token string, page func() (each func(record any) (more bool))) (next string, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return "", err
	}
	asked := question(t, "export", Query{Athlete: athlete})
	after, err := s.tokens.open(token, asked)
	if err != nil {
		return "", err
	}
	var last Cursor
	err = s.view(ctx, func(tx Tx) error {
		last = Cursor{}
		each, full := page(), false
		err := tx.Export(athlete, func(record any) error {
			at, err := placeOf(record)
			switch {
			case err != nil:
				return err
			case !later(at, after):
				return nil
			case full:
				return errEnough
			}
			last, full = at, !each(record)
			return nil
		})
		if err == nil {
			last = Cursor{} // the end
		}
		return err
	})
	if err != nil && !errors.Is(err, errEnough) {
		return "", err
	}
	return s.tokens.seal(last, asked)
}

// placeOf gives where in an export a record stands: by kind and number, then id.
func placeOf(record any) (Cursor, error) {
	const kinds = 1 << 24 // more revisions no program has
	switch r := record.(type) {
	case Athlete:
		return Cursor{kinds, r.ID}, nil
	case Performance:
		return Cursor{2 * kinds, r.ID}, nil
	case SessionLog:
		return Cursor{3 * kinds, r.ID}, nil
	case Measurement:
		return Cursor{4 * kinds, r.ID}, nil
	case Program:
		return Cursor{5 * kinds, r.ID}, nil
	case Revision:
		return Cursor{6*kinds + plan.Date(r.Number), r.Program}, nil
	case Event:
		return Cursor{7 * kinds, r.ID}, nil
	case Answer:
		id, err := ParseID(r.RequestID)
		if err != nil { // no id of the API's, and so the only order that is left
			sum := sha256.Sum256([]byte(r.RequestID))
			copy(id[:], sum[:])
		}
		return Cursor{8 * kinds, id}, nil
	case Item:
		return Cursor{9*kinds + plan.Date(r.Place), r.Job}, nil
	case TrialEvent:
		return Cursor{10*kinds + plan.Date(r.Event.Number), r.Trial}, nil
	case Participant:
		return Cursor{11 * kinds, r.ID}, nil
	}
	return Cursor{}, fault.New(fault.Internal, ReasonStorage, "", "a kind of record that no export knows")
}

// later compares places; revisions go by program first, items by job, events by trial.
func later(a, b Cursor) bool {
	const kinds = 1 << 24
	if a.Day/kinds != b.Day/kinds {
		return a.Day > b.Day
	}
	if c := bytes.Compare(a.ID[:], b.ID[:]); c != 0 {
		return c > 0
	}
	return a.Day > b.Day
}

// Erase takes away all there is about an athlete and has the store rewrite what its files
// still hold of it. Again is fine, and tells of the first time. NotFound UNKNOWN. A fault
// that comes from rewriting means that it is to be done again.
func (s *Service) Erase(ctx context.Context, w Write, athlete ID, reason string) (Erased, error) {
	body, err := s.write(ctx, w, func(tx Tx) (Effect, error) {
		var e Erased
		err := tx.Export(athlete, e.count)
		if f, ok := fault.As(err); err != nil && !(ok && f.Kind == fault.NotFound) {
			return Effect{}, err
		}
		gone, err := tx.Erase(athlete, reason)
		if err != nil {
			return Effect{}, err
		}
		e.At = gone.At
		body, err := json.Marshal(e)
		// The answer is about nobody any more, and the event names nobody.
		return Effect{Body: body}, err
	})
	if err != nil {
		return Erased{}, err
	}
	var e Erased
	if err := json.Unmarshal(body, &e); err != nil {
		return e, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	if w.DryRun {
		return e, nil
	}
	err = s.storage.Store.Scrub(ctx)
	if f, ok := fault.As(err); ok && f.Violations[0].Reason == ReasonRole {
		return e, nil // on PostgreSQL it is the owner's to do, and the athlete is gone all the same
	}
	return e, err
}

func (e *Erased) count(record any) error {
	switch record.(type) {
	case Performance:
		e.Performances++
	case SessionLog:
		e.SessionLogs++
	case Measurement:
		e.Measurements++
	case Program:
		e.Programs++
	case Revision:
		e.Revisions++
	case Event:
		e.Events++
	case Answer:
		e.Answers++
	case Item:
		e.Items++
	case TrialEvent:
		e.TrialEvents++
	case Participant:
		e.Participants++
	}
	return nil
}
