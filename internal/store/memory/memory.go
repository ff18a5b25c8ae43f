// Package memory keeps tenants' data in maps. It is the plain second answer that the
// other stores are compared with, and good for trying things out; nothing survives.
package memory

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"sync"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// Store is a service.Store. Transactions of a tenant run one after the other.
type Store struct {
	twice   bool
	now     func() service.Instant
	mu      sync.Mutex
	closed  bool
	tenants map[service.Tenant]*tenant
}

var _ service.Store = (*Store)(nil)

// New makes an empty store with a clock.
func New(now func() service.Instant) *Store {
	return &Store{now: now, tenants: map[service.Tenant]*tenant{}}
}

// NewTwice makes one whose Update takes back what its function did and runs it again, as
// other stores do where transactions get in each other's way: for tests of functions
// that have to bear it.
func NewTwice(now func() service.Instant) *Store {
	s := New(now)
	s.twice = true
	return s
}

// tenant is one tenant's data.
type tenant struct {
	mu        sync.RWMutex
	admitted  bool
	rows      map[service.Kind]map[service.ID]row
	revisions map[service.ID][]revision // by program, number 1 first
	events    map[service.ID]service.Event
	answers   map[string]service.Answer
	erasures  map[service.ID]service.Erasure
	chunks    map[chunkKey]service.Chunk
	items     map[itemKey]service.Item
	chains    map[service.ID][]link // by trial, number 1 first
}

// row is a thing on a shelf; doc is its JSON, so that nothing is shared.
type row struct {
	head    service.Head
	athlete service.ID
	latest  int32
	doc     []byte
}

type revision struct {
	facts service.Facts
	doc   []byte
}

func (s *Store) tenant(ctx context.Context, t service.Tenant) (*tenant, error) {
	if err := t.Check(); err != nil {
		return nil, err
	}
	if err := s.Ready(ctx); err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	d := s.tenants[t]
	if d == nil {
		d = &tenant{
			rows: map[service.Kind]map[service.ID]row{}, revisions: map[service.ID][]revision{},
			events: map[service.ID]service.Event{}, answers: map[string]service.Answer{}, erasures: map[service.ID]service.Erasure{},
			chunks: map[chunkKey]service.Chunk{}, items: map[itemKey]service.Item{},
			chains: map[service.ID][]link{},
		}
		s.tenants[t] = d
	}
	return d, nil
}

// View implements service.Store.
func (s *Store) View(ctx context.Context, t service.Tenant, fn func(service.Tx) error) error {
	d, err := s.tenant(ctx, t)
	if err != nil {
		return err
	}
	d.mu.RLock()
	defer d.mu.RUnlock()
	return fn(&tx{d: d, now: s.now(), view: true})
}

// Update implements service.Store.
func (s *Store) Update(ctx context.Context, t service.Tenant, fn func(service.Tx) error) error {
	d, err := s.tenant(ctx, t)
	if err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	now := s.now()
	if s.twice {
		again := errors.New("again")
		if err := d.try(ctx, now, func(x service.Tx) error { return cmp.Or(fn(x), again) }); err != again {
			return err
		}
	}
	return d.try(ctx, now, fn)
}

// try runs fn and takes back what it did where it fails or panics.
func (d *tenant) try(ctx context.Context, now service.Instant, fn func(service.Tx) error) error {
	x := &tx{d: d, now: now}
	kept := false
	defer func() {
		if !kept {
			for _, undo := range slices.Backward(x.undo) {
				undo()
			}
		}
	}()
	if err := fn(x); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return fault.Wrap(fault.Canceled, "CANCELED", err)
	}
	kept = true
	return nil
}

// Admit implements service.Store.
func (s *Store) Admit(ctx context.Context, t service.Tenant) error {
	d, err := s.tenant(ctx, t)
	if err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.admitted = true
	return nil
}

// Tenants implements service.Store.
func (s *Store) Tenants(ctx context.Context, after service.Tenant, size int) ([]service.Tenant, error) {
	return s.those(ctx, after, size, func(d *tenant) bool { return d.admitted })
}

// Working implements service.Store.
func (s *Store) Working(ctx context.Context, after service.Tenant, size int) ([]service.Tenant, error) {
	return s.those(ctx, after, size, func(d *tenant) bool {
		for _, c := range d.chunks {
			if c.Open {
				return true
			}
		}
		return false
	})
}

func (s *Store) those(ctx context.Context, after service.Tenant, size int, which func(*tenant) bool) ([]service.Tenant, error) {
	if err := service.CheckSize(size); err != nil {
		return nil, err
	}
	if err := s.Ready(ctx); err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []service.Tenant
	for _, t := range slices.Sorted(maps.Keys(s.tenants)) {
		d := s.tenants[t]
		d.mu.RLock()
		ok := t > after && len(out) < size && which(d)
		d.mu.RUnlock()
		if ok {
			out = append(out, t)
		}
	}
	return out, nil
}

// Scrub implements service.Store: there are no files.
func (s *Store) Scrub(ctx context.Context) error { return s.Ready(ctx) }

// Ready implements service.Store.
func (s *Store) Ready(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return fault.Wrap(fault.Canceled, "CANCELED", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return fault.New(fault.Unavailable, service.ReasonClosed, "", "the store is closed")
	}
	return nil
}

// Close implements service.Store.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	return nil
}

// put sets a value of a map and notes how to take that back.
func put[K comparable, V any](x *tx, m map[K]V, k K, v V) {
	old, was := m[k]
	m[k] = v
	x.undo = append(x.undo, func() {
		if was {
			m[k] = old
		} else {
			delete(m, k)
		}
	})
}

// drop deletes a key of a map and notes how to take that back.
func drop[K comparable, V any](x *tx, m map[K]V, k K) {
	if old, was := m[k]; was {
		delete(m, k)
		x.undo = append(x.undo, func() { m[k] = old })
	}
}
