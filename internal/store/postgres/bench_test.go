//go:build unix

package postgres

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/storetest"
)

// synced makes the server durable for a benchmark.
func synced(b *testing.B) *Store {
	for _, to := range []string{"on", "off"} {
		set := func() {
			require.NoError(b, server.do("postgres", "ALTER SYSTEM SET fsync = "+to, "SELECT pg_reload_conf()"))
			time.Sleep(200 * time.Millisecond)
		}
		if to == "on" {
			set()
		} else {
			b.Cleanup(set)
		}
	}
	name := fmt.Sprintf("bench_%d", databases.Add(1))
	require.NoError(b, server.do("postgres", "CREATE DATABASE "+name+" OWNER owner TEMPLATE model", "CHECKPOINT"))
	s, err := Open(context.Background(), Config{URL: server.url("app", name), Now: storetest.NewClock().Now})
	require.NoError(b, err, "durable")
	b.Cleanup(func() { require.NoError(b, s.Close()) })
	return s
}

// The bare driver inserts as a superuser, past row-level security, without a foreign
// key, into a database of its own: as one statement, and as a transaction.
func BenchmarkDurable(b *testing.B) {
	ctx := context.Background()
	for _, bare := range []string{"statement", "transaction"} {
		for _, workers := range []int{1, 16} {
			b.Run(fmt.Sprintf("bare=%s/workers=%d", bare, workers), func(b *testing.B) {
				s := synced(b)
				name := fmt.Sprintf("bench_%d", databases.Add(1))
				require.NoError(b, server.do("postgres", "CREATE DATABASE "+name+" OWNER owner TEMPLATE model"))
				require.NoError(b, server.do(name, "ALTER TABLE measurement DROP CONSTRAINT measurement_tenant_athlete_fkey"))
				pc, err := pgxpool.ParseConfig(server.url("postgres", name))
				require.NoError(b, err)
				pc.MaxConns = 16
				pool, err := pgxpool.NewWithConfig(ctx, pc)
				require.NoError(b, err)
				defer pool.Close()
				storetest.Durable(b, s, workers, func(m service.Measurement, doc []byte) error {
					insert := func(q interface {
						Exec(context.Context, string, ...any) (pgconn.CommandTag, error)
					}) error {
						_, err := q.Exec(ctx, `INSERT INTO measurement
							(tenant, id, version, created, updated, deleted, format, doc, athlete, day, label) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
							"ours", m.ID.String(), m.Version, int64(m.Created), int64(m.Updated), 0, 1, doc, m.Athlete.String(), int64(m.Date), m.What)
						return err
					}
					if bare == "statement" {
						return insert(pool)
					}
					return pgx.BeginFunc(ctx, pool, func(tx pgx.Tx) error { return insert(tx) })
				})
			})
		}
	}
}

func BenchmarkPrograms(b *testing.B) { storetest.Programs(b, synced(b)) }
