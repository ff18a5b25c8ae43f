package postgres

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/rows"
)

// Migrate brings the schema up to date as the tables' owner, each step in one
// transaction with its version, and gives the role that serves its rights. Processes
// that migrate at the same time wait for each other at a row. Faults are those of Open.
func Migrate(ctx context.Context, owner, role string) error { return migrate(ctx, owner, role, nil) }

func migrate(ctx context.Context, owner, role string, after func(int)) error {
	all, err := rows.Migrations(steps, "migrations")
	if err != nil {
		return fault.Wrap(fault.Internal, service.ReasonSchema, err)
	}
	c, err := pgx.Connect(ctx, owner)
	if err != nil {
		return translate(ctx, err)
	}
	defer func() { _ = c.Close(context.WithoutCancel(ctx)) }()
	if err := prepare(ctx, c); err != nil {
		return translate(ctx, err)
	}
	for {
		more, err := step(ctx, c, all, role, after)
		if err != nil || !more {
			return translate(ctx, err)
		}
	}
}

// prepare makes the tables that migrating itself needs.
func prepare(ctx context.Context, c *pgx.Conn) error {
	var err error
	// Two that make the same table at once collide in the catalogue in spite of IF NOT
	// EXISTS; the second finds it there.
	for range 5 {
		err = nil
		for _, s := range []string{
			rows.MigrationTable,
			"CREATE TABLE IF NOT EXISTS migration_lock (id bigint NOT NULL PRIMARY KEY)",
			"INSERT INTO migration_lock (id) VALUES (1) ON CONFLICT DO NOTHING",
		} {
			if _, err = c.Exec(ctx, s); err != nil {
				break
			}
		}
		var e *pgconn.PgError
		if !errors.As(err, &e) || e.Code != "23505" && e.Code != "42P07" && e.Code != "42710" {
			return err
		}
	}
	return err
}

// step takes the next step, or gives the rights where there is none.
func step(ctx context.Context, c *pgx.Conn, all []rows.Migration, role string, after func(int)) (more bool, err error) {
	err = pgx.BeginFunc(ctx, c, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, "SELECT id FROM migration_lock WHERE id = 1 FOR UPDATE"); err != nil {
			return err
		}
		done, err := applied(ctx, tx)
		if err != nil {
			return err
		}
		todo, err := rows.Pending(all, done)
		if err != nil {
			return err
		}
		if len(todo) == 0 {
			return grant(ctx, tx, role)
		}
		more = true
		m := todo[0]
		for i, s := range m.Statements {
			if _, err := tx.Exec(ctx, s); err != nil {
				return fmt.Errorf("migration %d: %w", m.Version, err)
			}
			if after != nil {
				after(i + 1)
			}
		}
		_, err = tx.Exec(ctx, "INSERT INTO migration (version, name, digest) VALUES ($1, $2, $3)", m.Version, m.Name, m.Digest)
		return err
	})
	return more, err
}

// grant lets the role that serves do what it needs and no more: what is final it can't
// change, and the schema not at all.
func grant(ctx context.Context, tx pgx.Tx, role string) error {
	var own bool
	if err := tx.QueryRow(ctx, "SELECT current_user = $1::text", role).Scan(&own); err != nil || own {
		return err
	}
	to := " TO " + pgx.Identifier{role}.Sanitize()
	if _, err := tx.Exec(ctx, "GRANT SELECT ON migration"+to); err != nil {
		return err
	}
	for _, t := range rows.Tables() {
		rights := "SELECT, INSERT, UPDATE, DELETE"
		if t.Final {
			rights = "SELECT, INSERT, DELETE"
		}
		if _, err := tx.Exec(ctx, "GRANT "+rights+" ON "+t.Name+to); err != nil {
			return err
		}
	}
	return nil
}

// querier is a connection, a pool or a transaction.
type querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
}

func applied(ctx context.Context, q querier) ([]rows.Applied, error) {
	got, err := q.Query(ctx, "SELECT version, digest FROM migration ORDER BY version")
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(got, func(r pgx.CollectableRow) (a rows.Applied, err error) {
		err = r.Scan(&a.Version, &a.Digest)
		return a, err
	})
}

// missing reports that a table is not there, or not for this role.
func missing(err error) bool {
	var e *pgconn.PgError
	return errors.As(err, &e) && (e.Code == "42P01" || e.Code == "42501")
}
