package sqlite

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"

	_ "modernc.org/sqlite" // the driver "sqlite"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/rows"
)

//go:embed migrations
var steps embed.FS

// file is the database's name in the data directory.
const file = "phasewright.db"

// oldest is the first version of SQLite without the fault that could lose commits of a
// write-ahead log with more than one connection (sqlite.org/wal.html).
var oldest = [3]int{3, 51, 3}

// Config says where and how.
type Config struct {
	Dir     string // made where it is missing; nobody else may enter it
	Now     func() service.Instant
	Readers int // connections for reading; 0: 4

	// afterStatement is called after each statement of a migration; for tests.
	afterStatement func()
}

// Store is a service.Store.
type Store struct {
	cfg     Config
	lock    *os.File
	db      *sql.DB // writes
	rdb     *sql.DB // reads
	writer  chan *conn
	readers chan *conn
	closed  chan struct{}
	once    sync.Once
	broken  atomic.Pointer[fault.Error] // why no write is taken any more
}

var _ service.Store = (*Store)(nil)

// Open opens or makes the database of a directory and brings its schema up to date.
// Faults are Unavailable: LOCKED where another process has it, SCHEMA, STORAGE_FAULT.
func Open(ctx context.Context, cfg Config) (*Store, error) {
	if cfg.Readers == 0 {
		cfg.Readers = 4
	}
	if err := directory(cfg.Dir); err != nil {
		return nil, err
	}
	s := &Store{cfg: cfg, closed: make(chan struct{}), writer: make(chan *conn, 1), readers: make(chan *conn, cfg.Readers)}
	var err error
	if s.lock, err = acquire(cfg.Dir); err != nil {
		return nil, err
	}
	if err := s.open(ctx, filepath.Join(cfg.Dir, file)); err != nil {
		return nil, errors.Join(err, s.release())
	}
	return s, nil
}

// directory makes the data directory, and refuses one that others can look into.
func directory(dir string) error {
	err := os.MkdirAll(dir, 0o700)
	if err != nil {
		return unusable(err)
	}
	info, err := os.Stat(dir)
	if err != nil {
		return unusable(err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return fault.New(fault.Unavailable, service.ReasonIO, "", fmt.Sprintf("others may enter the data directory %s: run chmod 700 on it", dir))
	}
	return nil
}

func unusable(err error) error {
	return fault.New(fault.Unavailable, service.ReasonIO, "", "the data directory can't be used: "+err.Error())
}

func (s *Store) open(ctx context.Context, path string) error {
	// SQLite gives its other files the mode of this one.
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return unusable(err)
	}
	if err := f.Close(); err != nil {
		return unusable(err)
	}
	var w *conn
	if s.db, w, err = connect(ctx, path, writing); err != nil {
		return err
	}
	if err := w.migrate(ctx, s.cfg.afterStatement); err != nil {
		return err
	}
	s.writer <- w
	// The file's name in the directory must be as durable as what will be in it.
	if err := syncDir(filepath.Dir(path)); err != nil {
		return unusable(err)
	}
	for range s.cfg.Readers {
		var r *conn
		if s.rdb == nil {
			s.rdb, r, err = connect(ctx, path, reading)
		} else {
			r, err = take(ctx, s.rdb, reading)
		}
		if err != nil {
			return err
		}
		s.readers <- r
	}
	return nil
}

// pragmas are set on every connection and then asked for: SQLite ignores what it can't
// do.
type pragma struct{ name, set, want string }

var always = []pragma{
	{"busy_timeout", "5000", "5000"},
	{"foreign_keys", "ON", "1"},
	{"trusted_schema", "OFF", "0"},
	{"temp_store", "MEMORY", "2"}, // no copies in other files
	{"secure_delete", "ON", "1"},
}

var (
	writing = append([]pragma{{"journal_mode", "WAL", "wal"}, {"synchronous", "FULL", "2"}}, always...)
	reading = append([]pragma{{"query_only", "ON", "1"}}, always...)
)

func dsn(path string) string {
	return (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath()}).String()
}

// connect opens a database and takes its first connection.
func connect(ctx context.Context, path string, want []pragma) (*sql.DB, *conn, error) {
	db, err := sql.Open("sqlite", dsn(path))
	if err != nil {
		return nil, nil, translate(ctx, err)
	}
	c, err := take(ctx, db, want)
	if err != nil {
		return nil, nil, errors.Join(err, db.Close())
	}
	return db, c, nil
}

func take(ctx context.Context, db *sql.DB, want []pragma) (*conn, error) {
	raw, err := db.Conn(ctx)
	if err != nil {
		return nil, translate(ctx, err)
	}
	c := &conn{raw: raw, prepared: map[string]*sql.Stmt{}}
	var version string
	if err := raw.QueryRowContext(ctx, "SELECT sqlite_version()").Scan(&version); err != nil {
		return nil, translate(ctx, err)
	}
	if err := recent(version); err != nil {
		return nil, err
	}
	for _, p := range want {
		if _, err := raw.ExecContext(ctx, "PRAGMA "+p.name+" = "+p.set); err != nil {
			return nil, translate(ctx, err)
		}
		var got string
		if err := raw.QueryRowContext(ctx, "PRAGMA "+p.name).Scan(&got); err != nil {
			return nil, translate(ctx, err)
		}
		if got != p.want {
			return nil, fault.New(fault.Unavailable, service.ReasonIO, "", fmt.Sprintf("the database can't have %s = %s here: it is %s", p.name, p.set, got))
		}
	}
	return c, nil
}

// recent refuses versions of SQLite before the oldest that is safe.
func recent(version string) error {
	var got [3]int
	for i, part := range strings.SplitN(version, ".", 3) {
		n, err := strconv.Atoi(part)
		if err != nil {
			n = -1
		}
		got[i] = n
	}
	for i := range got {
		if got[i] > oldest[i] {
			return nil
		}
		if got[i] < oldest[i] {
			return fault.New(fault.Unavailable, service.ReasonSchema, "",
				fmt.Sprintf("SQLite %s can lose commits: build with %d.%d.%d or newer", version, oldest[0], oldest[1], oldest[2]))
		}
	}
	return nil
}

// migrate takes the steps that are missing, each in one transaction with its version.
func (c *conn) migrate(ctx context.Context, after func()) error {
	all, err := rows.Migrations(steps, "migrations")
	if err != nil {
		return fault.Wrap(fault.Internal, service.ReasonSchema, err)
	}
	if _, err := c.raw.ExecContext(ctx, rows.MigrationTable); err != nil {
		return translate(ctx, err)
	}
	done, err := c.applied(ctx)
	if err != nil {
		return err
	}
	todo, err := rows.Pending(all, done)
	if err != nil {
		return err
	}
	for _, m := range todo {
		if err := c.transact(ctx, "BEGIN IMMEDIATE", func() error {
			for _, s := range m.Statements {
				if _, err := c.raw.ExecContext(ctx, s); err != nil {
					return translate(ctx, fmt.Errorf("migration %d: %w", m.Version, err))
				}
				if after != nil {
					after()
				}
			}
			_, err := c.raw.ExecContext(ctx, "INSERT INTO migration (version, name, digest) VALUES (?1, ?2, ?3)", m.Version, m.Name, m.Digest)
			return translate(ctx, err)
		}); err != nil {
			return err
		}
	}
	return nil
}

func (c *conn) applied(ctx context.Context) ([]rows.Applied, error) {
	got, err := c.raw.QueryContext(ctx, "SELECT version, digest FROM migration ORDER BY version")
	if err != nil {
		return nil, translate(ctx, err)
	}
	defer func() { _ = got.Close() }()
	var out []rows.Applied
	for got.Next() {
		var a rows.Applied
		if err := got.Scan(&a.Version, &a.Digest); err != nil {
			return nil, translate(ctx, err)
		}
		out = append(out, a)
	}
	return out, translate(ctx, got.Err())
}

// release gives back what Open took.
func (s *Store) release() error {
	var errs []error
	for _, db := range []*sql.DB{s.rdb, s.db} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	if s.lock != nil {
		errs = append(errs, s.lock.Close())
	}
	if err := errors.Join(errs...); err != nil {
		return fault.Wrap(fault.Internal, service.ReasonStorage, err)
	}
	return nil
}

// Close waits for the transactions that run. Closing twice is fine.
func (s *Store) Close() error {
	var err error
	s.once.Do(func() {
		close(s.closed)
		all := []*conn{<-s.writer}
		for range s.cfg.Readers {
			all = append(all, <-s.readers)
		}
		for _, c := range all {
			c.close()
		}
		err = s.release()
	})
	return err
}

// exists reports whether a database is there.
func exists(path string) (bool, error) {
	_, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, unusable(err)
	}
	return true, nil
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
