package service

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"

	"github.com/phasewright/phasewright/engine/fault"
)

// RecordOf is a pointer to something on a shelf.
type RecordOf[T any] interface {
	*T
	Record
}

// Collection is what can be done with one kind of stored thing by who calls (CallerOf). Its
// faults are those of Store, Once and of the kind: Unauthenticated without a caller.
type Collection[T any, P RecordOf[T]] struct {
	service *Service
	shelf   func(Tx) Shelf[T]
	// check refuses what a store would take but nobody could mean.
	check func(Tx, *T) error
}

// Etag is another one for every version of every thing.
func (h *Head) Etag() string {
	sum := sha256.Sum256(binary.BigEndian.AppendUint64(h.ID[:], uint64(h.Version)))
	return `"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`
}

// Create keeps a new thing. Its head is given by the store.
func (c Collection[T, P]) Create(ctx context.Context, w Write, v T) (T, error) {
	return c.write(ctx, w, func(tx Tx) (T, error) {
		v := v // as it came, in every run
		if err := c.checked(tx, &v); err != nil {
			return v, err
		}
		id, err := c.service.newID()
		if err != nil {
			return v, err
		}
		*P(&v).Heading() = Head{ID: id}
		return c.shelf(tx).Create(v)
	})
}

// Get finds a thing, a deleted one too. owner is the athlete it belongs to, where it
// belongs to one.
func (c Collection[T, P]) Get(ctx context.Context, owner, id ID) (v T, err error) {
	err = c.service.view(ctx, func(tx Tx) error {
		v, err = c.find(tx, owner, id)
		return err
	})
	return v, err
}

// List gives a page of at most q.Size and the token of the next one, empty at the end.
// token is where to go on. NotFound for things of an unknown athlete.
func (c Collection[T, P]) List(ctx context.Context, q Query, token string) (items []T, next string, err error) {
	t, err := c.service.tenant(ctx)
	if err != nil {
		return nil, "", err
	}
	kind := P(new(T)).Kind()
	asked := question(t, string(kind), q)
	if q.After, err = c.service.tokens.open(token, asked); err != nil {
		return nil, "", err
	}
	var page Page[T]
	err = c.service.view(ctx, func(tx Tx) error {
		if TraitsOf(kind).Athlete {
			if _, err := tx.Athletes().Get(q.Athlete); err != nil {
				return err
			}
		}
		page, err = c.shelf(tx).List(q)
		return err
	})
	if err != nil {
		return nil, "", err
	}
	next, err = c.service.tokens.seal(page.Next, asked)
	return page.Items, next, err
}

// Update changes a thing: change makes the new one of the stored one, and may run more
// than once. Stale STALE where w.Etag is not that of the stored one.
func (c Collection[T, P]) Update(ctx context.Context, w Write, owner, id ID, change func(T) (T, error)) (T, error) {
	return c.write(ctx, w, func(tx Tx) (T, error) {
		old, err := c.current(tx, w, owner, id)
		if err != nil {
			return old, err
		}
		if P(&old).Heading().Deleted != 0 {
			return old, Gone(P(&old).Kind())
		}
		v, err := change(old)
		if err != nil {
			return v, err
		}
		*P(&v).Heading() = *P(&old).Heading()
		if err := c.checked(tx, &v); err != nil {
			return v, err
		}
		return c.shelf(tx).Update(v)
	})
}

// Delete marks a thing as deleted.
func (c Collection[T, P]) Delete(ctx context.Context, w Write, owner, id ID) (T, error) {
	return c.write(ctx, w, func(tx Tx) (T, error) {
		old, err := c.current(tx, w, owner, id)
		if err != nil {
			return old, err
		}
		return c.shelf(tx).Delete(id, P(&old).Heading().Version)
	})
}

// Undelete takes the mark back.
func (c Collection[T, P]) Undelete(ctx context.Context, w Write, owner, id ID) (T, error) {
	return c.write(ctx, w, func(tx Tx) (T, error) {
		old, err := c.current(tx, w, owner, id)
		if err != nil {
			return old, err
		}
		return c.shelf(tx).Undelete(id, P(&old).Heading().Version)
	})
}

func (c Collection[T, P]) find(tx Tx, owner, id ID) (T, error) {
	v, err := c.shelf(tx).Get(id)
	if err == nil && P(&v).Owner() != owner {
		err = Unknown(P(&v).Kind())
	}
	return v, err
}

// current finds what is to be changed, in the version that the caller knows.
func (c Collection[T, P]) current(tx Tx, w Write, owner, id ID) (T, error) {
	v, err := c.find(tx, owner, id)
	if err == nil && w.Etag != "" && w.Etag != P(&v).Heading().Etag() {
		err = Outdated(P(&v).Kind())
	}
	return v, err
}

func (c Collection[T, P]) checked(tx Tx, v *T) error {
	if c.check == nil {
		return nil
	}
	return c.check(tx, v)
}

func (c Collection[T, P]) write(ctx context.Context, w Write, fn func(Tx) (T, error)) (T, error) {
	var none T
	body, err := c.service.write(ctx, w, func(tx Tx) (Effect, error) {
		v, err := fn(tx)
		if err != nil {
			return Effect{}, err
		}
		return effect[T, P](&v)
	})
	if err != nil {
		return none, err
	}
	return recalled[T, P](body)
}

// kept is a thing as an answer remembers it, with what its document leaves out.
type kept[T any] struct {
	Head   Head  `json:"head"`
	Owner  ID    `json:"owner,omitzero"`
	Latest int32 `json:"latest,omitzero"`
	Value  *T    `json:"value"`
}

func effect[T any, P RecordOf[T]](v *T) (Effect, error) {
	r := P(v)
	k := kept[T]{Head: *r.Heading(), Owner: r.Owner(), Value: v}
	if c, ok := any(v).(Counted); ok {
		k.Latest = *c.Counter()
	}
	body, err := json.Marshal(k)
	if err != nil {
		return Effect{}, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	about := k.Owner
	if r.Kind() == KindAthlete {
		about = k.Head.ID
	}
	return Effect{Body: body, Athlete: about}, nil
}

func recalled[T any, P RecordOf[T]](body []byte) (T, error) {
	var k kept[T]
	d := json.NewDecoder(bytes.NewReader(body))
	if err := d.Decode(&k); err != nil || k.Value == nil {
		return *new(T), fault.New(fault.Internal, ReasonStorage, "", "an answer that was kept can't be read")
	}
	*P(k.Value).Heading() = k.Head
	switch v := any(k.Value).(type) {
	case *Performance:
		v.Athlete = k.Owner
	case *SessionLog:
		v.Athlete = k.Owner
	case *Measurement:
		v.Athlete = k.Owner
	case *Program:
		v.Athlete = k.Owner
	case *Participant:
		v.Athlete = k.Owner
	}
	if c, ok := any(k.Value).(Counted); ok {
		*c.Counter() = k.Latest
	}
	return *k.Value, nil
}
