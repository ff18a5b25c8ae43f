//go:build unix

package postgres

import (
	"context"
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
	"github.com/phasewright/phasewright/internal/store/rows"
	"github.com/phasewright/phasewright/internal/store/storetest"
)

func refused(t *testing.T, err error, kind fault.Kind, reason string) {
	t.Helper()
	f, ok := fault.As(err)
	require.True(t, ok, "%v is no fault", err)
	require.Equal(t, kind, f.Kind, "%v", err)
	require.Equal(t, reason, f.Violations[0].Reason, "%v", err)
}

// unfiltered leaves the tenant out of all conditions.
func unfiltered() *rows.Dialect {
	d := rows.Postgres()
	d.Unfiltered = true
	return &d
}

// Row-level security alone keeps tenants apart: the whole contract and the model hold
// when no statement has a condition on the tenant.
func TestConformanceUnfiltered(t *testing.T) {
	storetest.Run(t, func(t *testing.T, now func() service.Instant) service.Store {
		cfg := config(t, now)
		cfg.dialect = unfiltered()
		return openWith(t, cfg)
	})
}

func TestModelUnfiltered(t *testing.T) {
	storetest.Model(t, func(t *testing.T, now func() service.Instant) service.Store {
		cfg := config(t, now)
		cfg.dialect = unfiltered()
		return openWith(t, cfg)
	}, func(now func() service.Instant) service.Store { return memory.New(now) }, 50, storetest.Steps(1000)/4)
}

// The tests above can fail: a role that row-level security does not bind sees all.
func TestUnfilteredLeaksWithoutTheWall(t *testing.T) {
	ctx := context.Background()
	clock := storetest.NewClock()
	cfg := config(t, clock.Now)
	cfg.dialect, cfg.bypass = unfiltered(), true
	cfg.URL = strings.Replace(cfg.URL, "app@", "postgres@", 1)
	s := openWith(t, cfg)
	f, err := storetest.Fill(ctx, s, "ours", clock, 1, func() string { return "x" })
	require.NoError(t, err)
	require.NoError(t, s.View(ctx, "theirs", func(tx service.Tx) error {
		got, err := tx.Athletes().Get(f.Athlete.ID)
		require.Equal(t, f.Athlete, got)
		return err
	}))
}

// Statements of the role itself, past the store: no row of another tenant is seen,
// changed or made, and without a tenant none at all.
func TestWall(t *testing.T) {
	ctx := context.Background()
	clock := storetest.NewClock()
	cfg := config(t, clock.Now)
	s := openWith(t, cfg)
	for i, tenant := range []service.Tenant{"ours", "theirs"} {
		f, err := storetest.Fill(ctx, s, tenant, clock, uint64(i), func() string { return "x" })
		require.NoError(t, err)
		gone, err := storetest.Fill(ctx, s, tenant, clock, uint64(i+10), func() string { return "y" })
		require.NoError(t, err)
		require.NoError(t, s.Update(ctx, tenant, func(tx service.Tx) error {
			_, err := tx.Erase(gone.Athlete.ID, "")
			return errors.Join(err, storetest.Loose(tx, f.Athlete.ID))
		}))
	}
	for role, url := range map[string]string{"app": cfg.URL, "owner": cfg.Owner} {
		c, err := pgx.Connect(ctx, url)
		require.NoError(t, err)
		defer func() { _ = c.Close(ctx) }()
		count := func(q pgx.Tx, table string) (n int) {
			require.NoError(t, q.QueryRow(ctx, "SELECT count(*) FROM "+table).Scan(&n))
			return n
		}
		for _, table := range rows.Tables() {
			if table.Name == "tenant" || table.Name == "working" {
				continue
			}
			for _, who := range []string{"", "ours", "nobody"} {
				tx, err := c.Begin(ctx)
				require.NoError(t, err)
				if who != "" {
					_, err = tx.Exec(ctx, "SELECT set_config('phasewright.tenant', $1, true)", who)
					require.NoError(t, err)
				}
				if who == "ours" {
					require.Positive(t, count(tx, table.Name), "%s as %s", table.Name, role)
					var others int
					require.NoError(t, tx.QueryRow(ctx, "SELECT count(*) FROM "+table.Name+" WHERE tenant <> 'ours'").Scan(&others))
					require.Zero(t, others, "%s as %s", table.Name, role)
					tag, err := tx.Exec(ctx, "DELETE FROM "+table.Name+" WHERE tenant = 'theirs'")
					require.NoError(t, err)
					require.Zero(t, tag.RowsAffected())
					_, err = tx.Exec(ctx, "UPDATE "+table.Name+" SET tenant = 'theirs'")
					require.Error(t, err, "%s as %s: a row must not change hands", table.Name, role)
				} else {
					require.Zero(t, count(tx, table.Name), "%s as %s", table.Name, role)
				}
				require.NoError(t, tx.Rollback(ctx))
			}
		}
		tx, err := c.Begin(ctx)
		require.NoError(t, err)
		_, err = tx.Exec(ctx, "SELECT set_config('phasewright.tenant', 'ours', true)")
		require.NoError(t, err)
		_, err = tx.Exec(ctx, "INSERT INTO erasure VALUES ('theirs', '019cae00-ffb8-7000-a5c2-3b71dbf8a160', 1, '')")
		require.ErrorContains(t, err, "row-level security")
		require.NoError(t, tx.Rollback(ctx))
	}
	// What is final the serving role can't change, and the schema not at all.
	c, err := pgx.Connect(ctx, cfg.URL)
	require.NoError(t, err)
	defer func() { _ = c.Close(ctx) }()
	for _, s := range []string{
		"UPDATE revision SET reason = ''", "UPDATE erasure SET at = 0", "DELETE FROM migration", "UPDATE migration SET digest = ''",
		"ALTER TABLE athlete DISABLE ROW LEVEL SECURITY", "DROP POLICY athlete_tenant ON athlete", "CREATE TABLE x (y bigint)", "TRUNCATE athlete",
	} {
		_, err := c.Exec(ctx, s)
		var e *pgconn.PgError
		require.True(t, errors.As(err, &e), "%s: %v", s, err)
		require.Equal(t, "42501", e.Code, s)
	}
}

// The registry is the schema, and every table of it is behind the wall.
func TestEveryTableIsRegistered(t *testing.T) {
	ctx := context.Background()
	cfg := config(t, storetest.NewClock().Now)
	c, err := pgx.Connect(ctx, cfg.Owner)
	require.NoError(t, err)
	defer func() { _ = c.Close(ctx) }()
	columns := map[string][]string{}
	got, err := c.Query(ctx, "SELECT table_name::text, column_name::text FROM information_schema.columns WHERE table_schema = 'public'")
	require.NoError(t, err)
	var table, column string
	_, err = pgx.ForEachRow(got, []any{&table, &column}, func() error { columns[table] = append(columns[table], column); return nil })
	require.NoError(t, err)
	delete(columns, "migration")
	delete(columns, "migration_lock")
	require.Empty(t, rows.Unregistered(columns))

	walled := map[string]bool{}
	var force bool
	got, err = c.Query(ctx, `SELECT relname::text, relrowsecurity AND relforcerowsecurity AND EXISTS (SELECT 1 FROM pg_policy WHERE polrelid = c.oid)
		FROM pg_class c WHERE relnamespace = 'public'::regnamespace AND relkind = 'r'`)
	require.NoError(t, err)
	_, err = pgx.ForEachRow(got, []any{&table, &force}, func() error { walled[table] = force; return nil })
	require.NoError(t, err)
	for name, all := range columns {
		require.Equal(t, contains(all, "tenant"), walled[name], name)
	}

	// Every unique key begins with the tenant, or it would tell of another's.
	got, err = c.Query(ctx, `SELECT indrelid::regclass::text, pg_get_indexdef(indexrelid) FROM pg_index
		WHERE indisunique AND indrelid IN (SELECT oid FROM pg_class WHERE relnamespace = 'public'::regnamespace)`)
	require.NoError(t, err)
	_, err = pgx.ForEachRow(got, []any{&table, &column}, func() error {
		if contains(columns[table], "tenant") && !strings.Contains(column, "(tenant,") {
			t.Errorf("%s: %s", table, column)
		}
		return nil
	})
	require.NoError(t, err)
}

func contains(all []string, s string) bool {
	for _, x := range all {
		if x == s {
			return true
		}
	}
	return false
}

// Nothing that a wire-compatible database lacks.
func TestPlainDialect(t *testing.T) {
	odd := regexp.MustCompile(`(?i)\b(serial|bigserial|identity|nextval|sequence|advisory|listen|notify|xmax|ctid|deferrable|create extension|offset|lock table|now\(\))\b`)
	all, err := rows.Migrations(steps, "migrations")
	require.NoError(t, err)
	text := ""
	for _, m := range all {
		text += strings.Join(m.Statements, "\n")
	}
	for _, dir := range []string{".", "../rows"} {
		entries, err := os.ReadDir(dir)
		require.NoError(t, err)
		for _, e := range entries {
			if strings.HasSuffix(e.Name(), ".go") && !strings.HasSuffix(e.Name(), "_test.go") && e.Name() != "doc.go" {
				b, err := os.ReadFile(dir + "/" + e.Name())
				require.NoError(t, err)
				for _, s := range regexp.MustCompile("\"[^\"]*\"|`[^`]*`").FindAllString(string(b), -1) {
					text += "\n" + s
				}
			}
		}
	}
	require.Empty(t, odd.FindAllString(text, -1))
	require.NotEmpty(t, odd.FindAllString("id BIGSERIAL", -1))
}

// Of commits that the database refuses, wrongly or rightly, none is felt.
func TestConformanceWithClashes(t *testing.T) {
	for _, code := range []string{"40001", "40P01"} {
		var n, made atomic.Int64
		storetest.Run(t, func(t *testing.T, now func() service.Instant) service.Store {
			cfg := config(t, now)
			cfg.beforeEnd = func() error {
				if n.Add(1)%20 == 0 || n.Load()%7 == 3 {
					made.Add(1)
					return &pgconn.PgError{Code: code}
				}
				return nil
			}
			return openWith(t, cfg)
		})
		require.Greater(t, made.Load(), int64(50))
		t.Logf("%d clashes of %d commits", made.Load(), n.Load())
		if testing.Short() {
			break
		}
	}
}

func TestEndlessClash(t *testing.T) {
	cfg := config(t, storetest.NewClock().Now)
	runs := 0
	cfg.beforeEnd = func() error { runs++; return &pgconn.PgError{Code: "40001"} }
	s := openWith(t, cfg)
	refused(t, s.Update(context.Background(), "t", func(service.Tx) error { return nil }), fault.Unavailable, service.ReasonContention)
	require.Equal(t, patience+1, runs)
}

func TestRolesAndServersThatAreRefused(t *testing.T) {
	ctx := context.Background()
	cfg := config(t, storetest.NewClock().Now)
	super := cfg
	super.URL = strings.Replace(cfg.URL, "app@", "postgres@", 1)
	_, err := Open(ctx, super)
	refused(t, err, fault.Unavailable, service.ReasonRole)

	require.NoError(t, server.do("postgres", "CREATE ROLE bypassing LOGIN BYPASSRLS"))
	super.URL = strings.Replace(cfg.URL, "app@", "bypassing@", 1)
	_, err = Open(ctx, super)
	refused(t, err, fault.Unavailable, service.ReasonRole)

	synced := cfg
	synced.unsynced = false
	_, err = Open(ctx, synced)
	refused(t, err, fault.Unavailable, service.ReasonIO)
	require.ErrorContains(t, err, "fsync")

	empty := cfg
	empty.URL, empty.Owner = server.url("app", database(t, "template0")), ""
	_, err = Open(ctx, empty)
	refused(t, err, fault.Unavailable, service.ReasonSchema)

	nowhere := cfg
	nowhere.URL, nowhere.Owner = "postgres://app@/x?host=/nonexistent", ""
	_, err = Open(ctx, nowhere)
	refused(t, err, fault.Unavailable, service.ReasonIO)
	nowhere.URL = "::"
	_, err = Open(ctx, nowhere)
	refused(t, err, fault.Invalid, service.ReasonURL)

	one := cfg
	one.URL = cfg.Owner // one role for all: still behind the wall, as it is forced
	s := openWith(t, one)
	require.NoError(t, s.Ready(ctx))
	served := cfg
	served.Owner = ""
	refused(t, openWith(t, served).Scrub(ctx), fault.Unavailable, service.ReasonRole)
}

func TestSchemaOfAnotherProgram(t *testing.T) {
	for _, change := range []string{"INSERT INTO migration VALUES (9999, 'later', 'x')", "UPDATE migration SET digest = 'x'"} {
		cfg := config(t, storetest.NewClock().Now)
		c, err := pgx.Connect(context.Background(), cfg.Owner)
		require.NoError(t, err)
		_, err = c.Exec(context.Background(), change)
		require.NoError(t, err)
		require.NoError(t, c.Close(context.Background()))
		for _, owner := range []string{"", cfg.Owner} {
			cfg.Owner = owner
			_, err = Open(context.Background(), cfg)
			refused(t, err, fault.Unavailable, service.ReasonSchema)
		}
	}
}

// A migration that is cut off anywhere leaves nothing, and is taken whole next time.
func TestMigrationCutOff(t *testing.T) {
	all, err := rows.Migrations(steps, "migrations")
	require.NoError(t, err)
	name := database(t, "template0")
	owner := server.url("owner", name)
	for cut := 1; cut <= len(all[0].Statements); cut += 5 {
		ctx, cancel := context.WithCancel(context.Background())
		err := migrate(ctx, owner, "app", func(n int) {
			if n == cut {
				cancel()
			}
		})
		cancel()
		refused(t, err, fault.Canceled, "CANCELED")
		c, err := pgx.Connect(context.Background(), owner)
		require.NoError(t, err)
		done, err := applied(context.Background(), c)
		require.NoError(t, err)
		require.Empty(t, done)
		require.NoError(t, c.Close(context.Background()))
	}
	require.NoError(t, Migrate(context.Background(), owner, "app"))
	require.NoError(t, Migrate(context.Background(), owner, "app"), "again is fine")
	openWith(t, Config{URL: server.url("app", name), Now: storetest.NewClock().Now, unsynced: true})
}

// Replicas that start together on an empty database wait for each other.
func TestMigrationsTogether(t *testing.T) {
	owner := server.url("owner", database(t, "template0"))
	done := make(chan error)
	for range 8 {
		go func() { done <- Migrate(context.Background(), owner, "app") }()
	}
	for range 8 {
		require.NoError(t, <-done)
	}
}

// Two replicas: what one has acknowledged, the other sees.
func TestReplicas(t *testing.T) {
	ctx := context.Background()
	clock := storetest.NewClock()
	cfg := config(t, clock.Now)
	a := openWith(t, cfg)
	cfg.Owner = ""
	b := openWith(t, cfg)
	require.Zero(t, storetest.Stale(ctx, t, [2]service.Store{a, b}, storetest.Many(10_000, 200)))
}

// A connection that the server ends is replaced, unless it was at COMMIT.
func TestLostConnections(t *testing.T) {
	ctx := context.Background()
	clock := storetest.NewClock()
	cfg := config(t, clock.Now)
	cfg.Conns = 3
	s := openWith(t, cfg)
	name := strings.SplitN(strings.SplitN(cfg.URL, "@/", 2)[1], "?", 2)[0]
	kill := func() {
		require.NoError(t, server.do("postgres", "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE usename = 'app' AND datname = '"+name+"'"))
	}
	for i := range 5 {
		_, err := storetest.Fill(ctx, s, "t", clock, uint64(i), func() string { return fmt.Sprint(i, databases.Add(1)) })
		require.NoError(t, err)
		kill()
	}
	runs := 0
	require.NoError(t, s.Update(ctx, "t", func(tx service.Tx) error {
		if runs++; runs == 1 {
			kill()
		}
		_, err := tx.Athletes().List(service.Query{Size: 1})
		return err
	}))
	require.Equal(t, 2, runs)
	refused(t, s.Update(ctx, "t", func(tx service.Tx) error {
		_, err := tx.Athletes().List(service.Query{Size: 1})
		kill()
		return err
	}), fault.Unavailable, service.ReasonOutcome)
}

func TestErasureLeavesNoCanary(t *testing.T) {
	ctx := context.Background()
	var cfg Config
	storetest.Canaries(t, func(t *testing.T, now func() service.Instant) service.Store {
		cfg = config(t, now)
		return openWith(t, cfg)
	}, func() string { return server.dir }, func() {
		// Old segments of the log go at a checkpoint, the one in use is left behind.
		require.NoError(t, server.do("postgres", "SELECT pg_switch_wal()", "CHECKPOINT", "SELECT pg_switch_wal()", "CHECKPOINT"))
	}, func(athlete service.ID) (docs [][]byte) {
		c, err := pgx.Connect(ctx, cfg.URL)
		require.NoError(t, err)
		defer func() { _ = c.Close(ctx) }()
		_, err = c.Exec(ctx, "SELECT set_config('phasewright.tenant', 't', false)")
		require.NoError(t, err)
		got, err := c.Query(ctx, "SELECT doc FROM revision WHERE athlete = $1", athlete.String())
		require.NoError(t, err)
		docs, err = pgx.CollectRows(got, pgx.RowTo[[]byte])
		require.NoError(t, err)
		return docs
	})
}
