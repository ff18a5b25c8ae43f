package sqlite

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
	"github.com/phasewright/phasewright/internal/store/rows"
	"github.com/phasewright/phasewright/internal/store/storetest"
)

// fresh is a directory that nobody else may enter.
func fresh(t *testing.T) string { return filepath.Join(t.TempDir(), "data") }

func open(t *testing.T, now func() service.Instant) service.Store { return openAt(t, fresh(t), now) }

func openAt(t *testing.T, dir string, now func() service.Instant) *Store {
	t.Helper()
	s, err := Open(context.Background(), Config{Dir: dir, Now: now})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

func TestConformance(t *testing.T) { storetest.Run(t, open) }

func TestModel(t *testing.T) {
	storetest.Model(t, open, func(now func() service.Instant) service.Store { return memory.New(now) }, 2, storetest.Steps(2000))
}

func TestErasureLeavesNoCanary(t *testing.T) {
	var s *Store
	storetest.Canaries(t, func(t *testing.T, now func() service.Instant) service.Store {
		s = openAt(t, fresh(t), now)
		return s
	}, func() string { return s.cfg.Dir }, nil, func(athlete service.ID) (docs [][]byte) {
		c := <-s.readers
		defer func() { s.readers <- c }()
		require.NoError(t, bound{context.Background(), c}.Query("SELECT doc FROM revision WHERE athlete = ?1", []any{athlete}, func(scan func(...any) error) error {
			var doc []byte
			err := scan(&doc)
			docs = append(docs, doc)
			return err
		}))
		return docs
	})
}

func refused(t *testing.T, err error, kind fault.Kind, reason string) {
	t.Helper()
	f, ok := fault.As(err)
	require.True(t, ok, "%v is no fault", err)
	require.Equal(t, kind, f.Kind, "%v", err)
	require.Equal(t, reason, f.Violations[0].Reason, "%v", err)
}

func TestDataDirectoryIsClosedToOthers(t *testing.T) {
	dir := fresh(t)
	s := openAt(t, dir, storetest.NewClock().Now)
	require.NoError(t, s.Admit(context.Background(), "t"))
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		require.NoError(t, err)
		info, err := d.Info()
		require.NoError(t, err)
		require.Zero(t, info.Mode().Perm()&0o077, "%s has mode %v", path, info.Mode())
		return nil
	}))
	require.NoError(t, s.Close())
	require.NoError(t, os.Chmod(dir, 0o750))
	_, err := Open(context.Background(), Config{Dir: dir, Now: storetest.NewClock().Now})
	refused(t, err, fault.Unavailable, service.ReasonIO)
	require.ErrorContains(t, err, "chmod 700")
}

func TestOneProcessAtATime(t *testing.T) {
	dir := fresh(t)
	s := openAt(t, dir, storetest.NewClock().Now)
	_, err := Open(context.Background(), Config{Dir: dir, Now: storetest.NewClock().Now})
	refused(t, err, fault.Unavailable, service.ReasonLocked)
	_, err = Restore(context.Background(), Config{Dir: dir, Now: storetest.NewClock().Now}, filepath.Join(dir, "none"), nil)
	refused(t, err, fault.Unavailable, service.ReasonIO)
	require.NoError(t, s.Close())
	openAt(t, dir, storetest.NewClock().Now)
}

func TestOldSQLiteIsRefused(t *testing.T) {
	for _, v := range []string{"3.51.3", "3.52.0", "3.54.1", "4.0.0"} {
		require.NoError(t, recent(v), v)
	}
	for _, v := range []string{"3.51.2", "3.40.1", "3.50.99", "2.99.99", "", "x.y.z"} {
		refused(t, recent(v), fault.Unavailable, service.ReasonSchema)
	}
}

// The registry that export, erasure and rights go by is the schema, and every table
// with an athlete in it has a say there.
func TestEveryTableIsRegistered(t *testing.T) {
	s := openAt(t, fresh(t), storetest.NewClock().Now)
	c := <-s.writer
	defer func() { s.writer <- c }()
	b := bound{context.Background(), c}
	columns := map[string][]string{}
	require.NoError(t, b.Query(`SELECT m.name, c.name FROM sqlite_schema m, pragma_table_info(m.name) c
		WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite_%'`, nil, func(scan func(...any) error) error {
		var table, column string
		err := scan(&table, &column)
		columns[table] = append(columns[table], column)
		return err
	}))
	delete(columns, "migration")
	require.Empty(t, rows.Unregistered(columns))
	columns["note"] = []string{"tenant", "id", "athlete"}
	columns["plan"] = append(columns["plan"], "athlete")
	delete(columns, "answer")
	require.Len(t, rows.Unregistered(columns), 3, "a forgotten table is found")
}

func TestRevisionsAreFinal(t *testing.T) {
	clock := storetest.NewClock()
	s := openAt(t, fresh(t), clock.Now)
	_, err := storetest.Fill(context.Background(), s, "t", clock, 1, func() string { return "x" })
	require.NoError(t, err)
	c := <-s.writer
	defer func() { s.writer <- c }()
	_, err = c.raw.ExecContext(context.Background(), "UPDATE revision SET reason = 'other'")
	require.ErrorContains(t, err, "a revision is final")
}

func TestSchemaOfAnotherProgram(t *testing.T) {
	for what, change := range map[string]string{
		"newer": "INSERT INTO migration VALUES (9999, 'later', 'x')",
		"other": "UPDATE migration SET digest = 'x'",
	} {
		dir := fresh(t)
		s := openAt(t, dir, storetest.NewClock().Now)
		c := <-s.writer
		_, err := c.raw.ExecContext(context.Background(), change)
		require.NoError(t, err)
		s.writer <- c
		require.NoError(t, s.Close())
		_, err = Open(context.Background(), Config{Dir: dir, Now: storetest.NewClock().Now})
		refused(t, err, fault.Unavailable, service.ReasonSchema)
		refused(t, Check(context.Background(), filepath.Join(dir, file)), fault.Unavailable, service.ReasonSchema)
		require.NotEmpty(t, what)
	}
}

// schema gives all of a database's definitions.
func schema(t *testing.T, dir string) string {
	s := openAt(t, dir, storetest.NewClock().Now)
	c := <-s.writer
	defer func() { s.writer <- c; require.NoError(t, s.Close()) }()
	var all []string
	require.NoError(t, bound{context.Background(), c}.Query("SELECT name || ': ' || coalesce(sql, '') FROM sqlite_schema ORDER BY name", nil, func(scan func(...any) error) error {
		var text string
		err := scan(&text)
		all = append(all, text)
		return err
	}))
	return strings.Join(all, "\n")
}

func TestBackupAndRestore(t *testing.T) {
	ctx := context.Background()
	clock := storetest.NewClock()
	dir := fresh(t)
	s := openAt(t, dir, clock.Now)
	n := 0
	canary := func() string { n++; return fmt.Sprintf("canary-%d-nightingale", n) }
	kept, err := storetest.Fill(ctx, s, "t", clock, 1, func() string { return "kept" })
	require.NoError(t, err)
	gone, err := storetest.Fill(ctx, s, "t", clock, 2, canary)
	require.NoError(t, err)

	backup := filepath.Join(t.TempDir(), "backup.db")
	require.NoError(t, s.Backup(ctx, backup))
	refused(t, s.Backup(ctx, backup), fault.Exists, service.ReasonIDTaken)
	require.NoError(t, Check(ctx, backup))
	info, err := os.Stat(backup)
	require.NoError(t, err)
	require.Zero(t, info.Mode().Perm()&0o077)

	require.NoError(t, s.Update(ctx, "t", func(tx service.Tx) error {
		_, err := tx.Erase(gone.Athlete.ID, "asked for")
		return err
	}))
	later, err := storetest.Fill(ctx, s, "t", clock, 3, func() string { return "later" })
	require.NoError(t, err)
	require.NoError(t, s.Close())

	there := func(dir string) (got []service.ID) {
		s := openAt(t, dir, clock.Now)
		require.NoError(t, s.View(ctx, "t", func(tx service.Tx) error {
			got = nil
			for _, id := range []service.ID{kept.Athlete.ID, gone.Athlete.ID, later.Athlete.ID} {
				if tx.Export(id, func(any) error { return nil }) == nil {
					got = append(got, id)
				}
			}
			return nil
		}))
		require.NoError(t, s.Close())
		require.NoError(t, Check(ctx, filepath.Join(dir, file)))
		return got
	}
	replayed, err := Restore(ctx, Config{Dir: dir, Now: clock.Now}, backup, nil)
	require.NoError(t, err)
	require.Equal(t, 1, replayed)
	require.Equal(t, []service.ID{kept.Athlete.ID}, there(dir))
	require.Empty(t, storetest.Found(t, dir, []string{"nightingale"}))

	// On another machine nothing remembers the erasure but the list that is handed in.
	dir = fresh(t)
	replayed, err = Restore(ctx, Config{Dir: dir, Now: clock.Now}, backup, nil)
	require.NoError(t, err)
	require.Zero(t, replayed)
	require.Equal(t, []service.ID{kept.Athlete.ID, gone.Athlete.ID}, there(dir))
	require.NotEmpty(t, storetest.Found(t, dir, []string{"nightingale"}), "the search finds what is there")
	replayed, err = Restore(ctx, Config{Dir: dir, Now: clock.Now}, backup, map[service.Tenant][]service.Erasure{"t": {{Athlete: gone.Athlete.ID, At: 1}}})
	require.NoError(t, err)
	require.Equal(t, 1, replayed)
	require.Equal(t, []service.ID{kept.Athlete.ID}, there(dir))
	require.Empty(t, storetest.Found(t, dir, []string{"nightingale"}))

	// A damaged backup is refused and changes nothing.
	b, err := os.ReadFile(backup)
	require.NoError(t, err)
	for i := len(b) / 3; i < len(b)/3+8192; i++ {
		b[i] = 0x55
	}
	require.NoError(t, os.WriteFile(backup, b, 0o600))
	_, err = Restore(ctx, Config{Dir: dir, Now: clock.Now}, backup, nil)
	refused(t, err, fault.Unavailable, service.ReasonIO)
	require.Equal(t, []service.ID{kept.Athlete.ID}, there(dir))
}

// While a backup is taken writing goes on, and it holds a state that was.
func TestBackupWhileWriting(t *testing.T) {
	ctx := context.Background()
	clock := storetest.NewClock()
	s := openAt(t, fresh(t), clock.Now)
	stop, done := make(chan struct{}), make(chan error, 1)
	go func() {
		for i := uint64(0); ; i++ {
			select {
			case <-stop:
				done <- nil
				return
			default:
			}
			if _, err := storetest.Fill(ctx, s, "t", clock, i, func() string { return "" }); err != nil {
				done <- err
				return
			}
		}
	}()
	for i := range 5 {
		path := filepath.Join(t.TempDir(), fmt.Sprint(i))
		require.NoError(t, s.Backup(ctx, path))
		dir := fresh(t)
		_, err := Restore(ctx, Config{Dir: dir, Now: clock.Now}, path, nil)
		require.NoError(t, err)
		copied := openAt(t, dir, clock.Now)
		require.NoError(t, copied.View(ctx, "t", func(tx service.Tx) error {
			page, err := tx.Programs().List(service.Query{Size: service.MaxPage})
			for _, p := range page.Items {
				require.Equal(t, int32(2), p.Latest, "no half transaction")
			}
			return err
		}))
		require.NoError(t, copied.Close())
	}
	close(stop)
	require.NoError(t, <-done)
}
