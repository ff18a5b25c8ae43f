package postgres

import (
	"context"
	"math/rand/v2"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/rows"
)

const (
	// patience is how often a transaction runs that others get in the way of, with
	// pauses that grow to 64 ms.
	patience = 60
	// attempts is how often it runs where connections break.
	attempts = 3
	// commitTime bounds COMMIT, which the caller's context does not: cut off, nobody
	// would know how it ended.
	commitTime = 20 * time.Second
)

// begin makes the statements that begin a transaction of a tenant.
func begin(t service.Tenant, mode string) func(*pgx.Batch) {
	return func(b *pgx.Batch) {
		b.Queue("BEGIN ISOLATION LEVEL " + mode)
		b.Queue("SELECT set_config('phasewright.tenant', $1, true)", string(t))
	}
}

// View implements service.Store.
func (s *Store) View(ctx context.Context, t service.Tenant, fn func(service.Tx) error) error {
	return s.run(ctx, t, "REPEATABLE READ READ ONLY", true, fn)
}

// Update implements service.Store.
func (s *Store) Update(ctx context.Context, t service.Tenant, fn func(service.Tx) error) error {
	return s.run(ctx, t, "SERIALIZABLE", false, fn)
}

// run tries a transaction until it ends one way or the other.
func (s *Store) run(ctx context.Context, t service.Tenant, mode string, view bool, fn func(service.Tx) error) error {
	if err := t.Check(); err != nil {
		return err
	}
	now, breaks := s.cfg.Now(), 0
	for try := 0; ; try++ {
		if err := s.usable(ctx); err != nil {
			return err
		}
		v, err := s.once(ctx, begin(t, mode), t, now, view, fn)
		switch {
		case v == clash && try < patience:
		case v == lost && breaks < attempts-1:
			breaks++
		default:
			return err
		}
		// Not all at the same time again.
		pause := time.Duration(rand.Int64N(int64(time.Millisecond) << min(try, 6)))
		select {
		case <-ctx.Done():
		case <-time.After(pause):
		}
	}
}

func (s *Store) usable(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return fault.Wrap(fault.Canceled, "CANCELED", err)
	}
	if s.closed.Load() {
		return closed()
	}
	return nil
}

func closed() error {
	return fault.New(fault.Unavailable, service.ReasonClosed, "", "the store is closed")
}

// once runs a transaction one time. An error comes with what to do about it.
func (s *Store) once(ctx context.Context, how func(*pgx.Batch), t service.Tenant, now service.Instant, view bool, fn func(service.Tx) error) (verdict, error) {
	c, err := s.pool.Acquire(ctx)
	if err != nil {
		if s.closed.Load() {
			return final, closed()
		}
		return judge(err), translate(ctx, err)
	}
	// A connection that is left in a transaction is closed here, and not used again.
	defer c.Release()
	b := &bound{ctx: ctx, conn: c.Conn(), begin: how}
	open := true
	defer func() {
		if open && b.begin == nil && !c.Conn().IsClosed() {
			end, cancel := context.WithTimeout(context.WithoutCancel(ctx), commitTime)
			defer cancel()
			_, _ = c.Exec(end, "ROLLBACK")
		}
	}()
	x := rows.NewTx(b, s.dialect, t, now, view)
	defer x.End()
	if err := fn(x); b.raw == nil && err != nil {
		return final, err
	}
	if b.raw != nil {
		return judge(b.raw), translate(ctx, b.raw)
	}
	if err := ctx.Err(); err != nil {
		return final, fault.Wrap(fault.Canceled, "CANCELED", err)
	}
	if s.cfg.beforeEnd != nil {
		if err := s.cfg.beforeEnd(); err != nil {
			return judge(err), translate(ctx, err)
		}
	}
	open = false
	if b.begin != nil {
		return final, nil // no statement was run
	}
	return commit(ctx, c.Conn())
}

// commit ends a transaction. Where the connection breaks meanwhile, nobody can say how
// it ended: it is not run again.
func commit(ctx context.Context, c *pgx.Conn) (verdict, error) {
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), commitTime)
	defer cancel()
	tag, err := c.Exec(end, "COMMIT")
	if err == nil {
		if tag.String() != "COMMIT" {
			return final, fault.New(fault.Internal, service.ReasonStorage, "", "the transaction had failed before it was to be committed")
		}
		return final, nil
	}
	if v := judge(err); v == clash || v == final && end.Err() == nil {
		return v, translate(end, err)
	}
	return final, fault.New(fault.Unavailable, service.ReasonOutcome, "", "the connection to the database broke while committing: ask with the same request id")
}

// direct runs statements outside of a tenant's transaction.
func (s *Store) direct(ctx context.Context, fn func(*bound) error) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	c, err := s.pool.Acquire(ctx)
	if err != nil {
		return translate(ctx, err)
	}
	defer c.Release()
	return fn(&bound{ctx: ctx, conn: c.Conn()})
}

// Admit implements service.Store.
func (s *Store) Admit(ctx context.Context, t service.Tenant) error {
	if err := t.Check(); err != nil {
		return err
	}
	return s.direct(ctx, func(b *bound) error {
		_, err := b.Exec("INSERT INTO tenant (id, created) VALUES ($1, $2) ON CONFLICT DO NOTHING", string(t), int64(s.cfg.Now()))
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
	var out []service.Tenant
	err := s.direct(ctx, func(b *bound) error {
		return b.Query("SELECT id FROM "+table+" WHERE id > $1 ORDER BY id LIMIT $2", []any{string(after), int64(size)}, func(scan func(...any) error) error {
			var t string
			err := scan(&t)
			out = append(out, service.Tenant(t))
			return err
		})
	})
	return out, err
}

// Ready implements service.Store.
func (s *Store) Ready(ctx context.Context) error {
	return s.direct(ctx, func(b *bound) error {
		var only string
		err := b.Query("SELECT current_setting('transaction_read_only')", nil, func(scan func(...any) error) error { return scan(&only) })
		if err == nil && only != "off" {
			err = fault.New(fault.Unavailable, service.ReasonIO, "", "the database takes no writes")
		}
		return err
	})
}

// Scrub implements service.Store as the tables' owner: it writes anew every table that
// tells of athletes. What the server's log of writes and its archive keep, and for how
// long, is set in the server (wal_recycle = off leaves no old segments about).
func (s *Store) Scrub(ctx context.Context) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	if s.cfg.Owner == "" {
		return fault.New(fault.Unavailable, service.ReasonRole, "", "only the tables' owner can do this: give its URL")
	}
	c, err := pgx.Connect(ctx, s.cfg.Owner)
	if err != nil {
		return translate(ctx, err)
	}
	defer func() { _ = c.Close(context.WithoutCancel(ctx)) }()
	for _, t := range rows.Tables() {
		if t.Bearing == rows.Nobodys {
			continue
		}
		if _, err := c.Exec(ctx, "VACUUM (FULL) "+t.Name); err != nil {
			return translate(ctx, err)
		}
	}
	return nil
}
