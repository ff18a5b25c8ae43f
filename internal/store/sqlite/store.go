package sqlite

import (
	"context"
	"time"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/rows"
)

// get waits for a connection.
func (s *Store) get(ctx context.Context, from chan *conn) (*conn, error) {
	if err := ctx.Err(); err != nil {
		return nil, fault.Wrap(fault.Canceled, "CANCELED", err)
	}
	// A closed store is seen first, also when a connection is free.
	select {
	case <-s.closed:
		return nil, closed()
	default:
	}
	select {
	case c := <-from:
		return c, nil
	case <-s.closed:
		return nil, closed()
	case <-ctx.Done():
		return nil, fault.Wrap(fault.Canceled, "CANCELED", ctx.Err())
	}
}

func closed() error {
	return fault.New(fault.Unavailable, service.ReasonClosed, "", "the store is closed")
}

// View implements service.Store.
func (s *Store) View(ctx context.Context, t service.Tenant, fn func(service.Tx) error) error {
	if err := t.Check(); err != nil {
		return err
	}
	c, err := s.get(ctx, s.readers)
	if err != nil {
		return err
	}
	defer func() { s.readers <- c }()
	x := rows.NewTx(bound{ctx, c}, rows.SQLite(), t, s.cfg.Now(), true)
	defer x.End()
	return c.transact(ctx, "BEGIN", func() error { return fn(x) })
}

// Update implements service.Store.
func (s *Store) Update(ctx context.Context, t service.Tenant, fn func(service.Tx) error) error {
	if err := t.Check(); err != nil {
		return err
	}
	return s.write(ctx, func(c *conn) error {
		x := rows.NewTx(bound{ctx, c}, rows.SQLite(), t, s.cfg.Now(), false)
		defer x.End()
		return c.transact(ctx, "BEGIN IMMEDIATE", func() error {
			if err := fn(x); err != nil {
				return err
			}
			// fn may have swallowed what ended the transaction.
			return x.Failed()
		})
	})
}

// write runs fn with the writing connection, unless writing has failed before.
func (s *Store) write(ctx context.Context, fn func(*conn) error) error {
	c, err := s.get(ctx, s.writer)
	if err != nil {
		return err
	}
	defer func() { s.writer <- c }()
	if b := s.broken.Load(); b != nil {
		return b
	}
	err = fn(c)
	if f, ok := fault.As(err); ok && f.Kind == fault.Unavailable && f.Violations[0].Reason == service.ReasonIO {
		s.broken.Store(fault.New(fault.Unavailable, service.ReasonIO, "",
			"writing to the data directory has failed ("+f.Violations[0].Says+"): check the disk and start again; reading goes on"))
	}
	return err
}

// Admit implements service.Store.
func (s *Store) Admit(ctx context.Context, t service.Tenant) error {
	if err := t.Check(); err != nil {
		return err
	}
	return s.write(ctx, func(c *conn) error {
		_, err := bound{ctx, c}.Exec("INSERT INTO tenant (id, created) VALUES (?1, ?2) ON CONFLICT DO NOTHING", string(t), int64(s.cfg.Now()))
		return err
	})
}

// Tenants implements service.Store.
func (s *Store) Tenants(ctx context.Context, after service.Tenant, size int) ([]service.Tenant, error) {
	return s.those(ctx, "tenant", after, size)
}

// Working implements service.Store.
func (s *Store) Working(ctx context.Context, after service.Tenant, size int) ([]service.Tenant, error) {
	return s.those(ctx, "working", after, size)
}

// those lists names from a table across tenants.
func (s *Store) those(ctx context.Context, table string, after service.Tenant, size int) ([]service.Tenant, error) {
	if err := service.CheckSize(size); err != nil {
		return nil, err
	}
	c, err := s.get(ctx, s.readers)
	if err != nil {
		return nil, err
	}
	defer func() { s.readers <- c }()
	var out []service.Tenant
	err = bound{ctx, c}.Query("SELECT id FROM "+table+" WHERE id > ?1 ORDER BY id LIMIT ?2", []any{string(after), int64(size)}, func(scan func(...any) error) error {
		var t string
		err := scan(&t)
		out = append(out, service.Tenant(t))
		return err
	})
	return out, err
}

// Ready implements service.Store.
func (s *Store) Ready(ctx context.Context) error {
	c, err := s.get(ctx, s.readers)
	if err != nil {
		return err
	}
	defer func() { s.readers <- c }()
	if b := s.broken.Load(); b != nil {
		return b
	}
	return bound{ctx, c}.Query("SELECT count(*) FROM migration", nil, func(scan func(...any) error) error {
		var n int64
		return scan(&n)
	})
}

// Scrub implements service.Store. What is deleted is overwritten in the database at
// once (secure_delete); left are older states of it in the log, which go when all of
// the log is in the database, and no reader needs it.
func (s *Store) Scrub(ctx context.Context) error {
	for {
		err := s.write(ctx, func(c *conn) error { return c.checkpoint(ctx) })
		f, ok := fault.As(err)
		if !ok || f.Violations[0].Reason != service.ReasonContention {
			return err
		}
		select {
		case <-ctx.Done():
			return fault.Wrap(fault.Canceled, "CANCELED", ctx.Err())
		case <-time.After(20 * time.Millisecond):
		}
	}
}
