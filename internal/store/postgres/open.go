package postgres

import (
	"context"
	"embed"
	"fmt"
	"sync/atomic"

	"github.com/jackc/pgx/v5/pgxpool"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/rows"
)

//go:embed migrations
var steps embed.FS

// Config says where and how.
type Config struct {
	URL   string // of the role that serves
	Owner string // URL of the tables' owner; where it is given, Open migrates, and Scrub can be done
	Now   func() service.Instant
	Conns int32 // at most; 0: 16

	dialect    *rows.Dialect        // for tests of row-level security alone
	unsynced   bool                 // for tests that need no durability
	bypass     bool                 // for tests of the tests: the role may ignore row-level security
	beforeEnd  func() error         // for tests: called before COMMIT
	afterApply func(statements int) // for tests: called after each statement of a migration
}

// Store is a service.Store.
type Store struct {
	cfg     Config
	pool    *pgxpool.Pool
	dialect rows.Dialect
	closed  atomic.Bool
}

var _ service.Store = (*Store)(nil)

// Open connects, and checks that the schema is ours, that the role is subject to
// row-level security, and that the server syncs what it acknowledges. Faults are
// Unavailable: SCHEMA, ROLE, STORAGE_FAULT; Invalid for a URL that is none.
func Open(ctx context.Context, cfg Config) (*Store, error) {
	if cfg.Conns == 0 {
		cfg.Conns = 16
	}
	pc, err := pgxpool.ParseConfig(cfg.URL)
	if err != nil {
		return nil, fault.New(fault.Invalid, service.ReasonURL, "url", "want postgres://role@host/database")
	}
	pc.MaxConns = cfg.Conns
	if cfg.Owner != "" {
		if err := migrate(ctx, cfg.Owner, pc.ConnConfig.User, cfg.afterApply); err != nil {
			return nil, err
		}
	}
	pool, err := pgxpool.NewWithConfig(ctx, pc)
	if err != nil {
		return nil, translate(ctx, err)
	}
	s := &Store{cfg: cfg, pool: pool, dialect: rows.Postgres()}
	if cfg.dialect != nil {
		s.dialect = *cfg.dialect
	}
	if err := s.check(ctx); err != nil {
		pool.Close()
		return nil, err
	}
	return s, nil
}

// check refuses a database on which the promises of the store would not hold.
func (s *Store) check(ctx context.Context) error {
	all, err := rows.Migrations(steps, "migrations")
	if err != nil {
		return fault.Wrap(fault.Internal, service.ReasonSchema, err)
	}
	done, err := applied(ctx, s.pool)
	if missing(err) {
		done, err = nil, nil
	}
	if err != nil {
		return translate(ctx, err)
	}
	todo, err := rows.Pending(all, done)
	if err != nil {
		return err
	}
	if len(todo) > 0 {
		return fault.New(fault.Unavailable, service.ReasonSchema, "",
			fmt.Sprintf("the database has schema %d and this program needs %d: migrate it", len(done), len(all)))
	}
	var above bool
	var fsync, commit string
	if err := s.pool.QueryRow(ctx, `SELECT rolsuper OR rolbypassrls, current_setting('fsync'), current_setting('synchronous_commit')
		FROM pg_roles WHERE rolname = current_user`).Scan(&above, &fsync, &commit); err != nil {
		return translate(ctx, err)
	}
	switch {
	case above && !s.cfg.bypass:
		return fault.New(fault.Unavailable, service.ReasonRole, "", "the role that serves may ignore row-level security: use one that is no superuser and has no BYPASSRLS")
	case (fsync == "off" || commit == "off") && !s.cfg.unsynced:
		return fault.New(fault.Unavailable, service.ReasonIO, "", "the server acknowledges before it has synced: set fsync and synchronous_commit on")
	}
	return nil
}

// Close waits for the transactions that run. Closing twice is fine.
func (s *Store) Close() error {
	if !s.closed.Swap(true) {
		s.pool.Close()
	}
	return nil
}
