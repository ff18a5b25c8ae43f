//go:build unix

package postgres

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/internal/service"
)

// cluster is a private server of the tests, reached by a socket in its directory.
type cluster struct {
	dir  string
	stop func() error
}

// server is nil where PostgreSQL is not installed.
var server *cluster

// TestMain starts the server. Without PostgreSQL the tests say that they did not run,
// but where PHASEWRIGHT_STORE_TOOLS is set they fail.
func TestMain(m *testing.M) {
	bin, err := binaries()
	if err == nil {
		server, err = startCluster(bin)
	} else if os.Getenv("PHASEWRIGHT_STORE_TOOLS") == "" {
		fmt.Println("not run: PostgreSQL is missing (Debian: apt-get install postgresql)")
		os.Exit(0)
	}
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	code := m.Run()
	if err := server.stop(); err != nil {
		fmt.Println(err)
		code = 1
	}
	os.Exit(code)
}

// binaries finds the folder with initdb and postgres.
func binaries() (string, error) {
	if path, err := exec.LookPath("initdb"); err == nil {
		if real, err := filepath.EvalSymlinks(path); err == nil {
			return filepath.Dir(real), nil
		}
	}
	all, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil || len(all) == 0 {
		return "", errors.New("PostgreSQL is missing")
	}
	return filepath.Dir(all[len(all)-1]), nil
}

func startCluster(bin string) (*cluster, error) {
	dir, err := os.MkdirTemp("", "phasewright-pg")
	if err != nil {
		return nil, err
	}
	c := &cluster{dir: dir}
	// PostgreSQL does not run as root: then as Debian's user for it.
	attr := &syscall.SysProcAttr{}
	if os.Getuid() == 0 {
		u, err := user.Lookup("postgres")
		if err != nil {
			return nil, err
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		if err := os.Chown(dir, uid, gid); err != nil {
			return nil, err
		}
		attr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	}
	data := filepath.Join(dir, "data")
	// Sorting by language shows where an order would depend on it.
	initdb := exec.Command(filepath.Join(bin, "initdb"), "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale-provider=icu", "--icu-locale=en", "--no-sync")
	initdb.SysProcAttr, initdb.Dir = attr, dir
	if out, err := initdb.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("initdb: %w\n%s", err, out)
	}
	// In the file and not on the command line, so that benchmarks can change it.
	conf, err := os.OpenFile(filepath.Join(data, "postgresql.conf"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		return nil, err
	}
	if _, err = conf.WriteString("fsync = off\n"); err != nil {
		return nil, err
	}
	if err := conf.Close(); err != nil {
		return nil, err
	}
	log, err := os.Create(filepath.Join(dir, "log"))
	if err != nil {
		return nil, err
	}
	// The shell ends the server when its input ends: also when the tests are killed.
	run := exec.Command("/bin/sh", "-c", `"$@" </dev/null & read -r _; kill -INT $!; wait $!`, "sh",
		filepath.Join(bin, "postgres"), "-D", data, "-k", dir, "-h", "", "-c", "max_connections=120",
		"-c", "wal_recycle=off", "-c", "min_wal_size=32MB", "-c", "wal_keep_size=0", "-c", "autovacuum_naptime=1h")
	run.SysProcAttr, run.Dir, run.Stdout, run.Stderr = attr, dir, log, log
	in, err := run.StdinPipe()
	if err != nil {
		return nil, err
	}
	if err := run.Start(); err != nil {
		return nil, err
	}
	c.stop = func() error {
		return errors.Join(in.Close(), run.Wait(), log.Close(), os.RemoveAll(dir))
	}
	for range 200 {
		if err = c.do("postgres", "SELECT 1"); err == nil {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	if err == nil {
		err = c.do("postgres", "CREATE ROLE owner LOGIN", "CREATE ROLE app LOGIN", "CREATE DATABASE model OWNER owner")
	}
	if err == nil {
		err = Migrate(context.Background(), c.url("owner", "model"), "app")
	}
	if err != nil {
		return nil, errors.Join(err, c.stop())
	}
	return c, nil
}

func (c *cluster) url(role, database string) string {
	return fmt.Sprintf("postgres://%s@/%s?host=%s", role, database, c.dir)
}

// do runs statements as a superuser.
func (c *cluster) do(database string, statements ...string) error {
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, c.url("postgres", database))
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close(ctx) }()
	for _, s := range statements {
		if _, err := conn.Exec(ctx, s); err != nil {
			return fmt.Errorf("%s: %w", s, err)
		}
	}
	return nil
}

var databases atomic.Int64

// database makes one with the schema in it, or with template0 an empty one.
func database(t *testing.T, template string) string {
	t.Helper()
	name := fmt.Sprintf("test_%d", databases.Add(1))
	require.NoError(t, server.do("postgres", "CREATE DATABASE "+name+" OWNER owner TEMPLATE "+template))
	t.Cleanup(func() { require.NoError(t, server.do("postgres", "DROP DATABASE "+name+" WITH (FORCE)")) })
	return name
}

// config is that of a store on a database of the test's own.
func config(t *testing.T, now func() service.Instant) Config {
	name := database(t, "model")
	return Config{URL: server.url("app", name), Owner: server.url("owner", name), Now: now, unsynced: true}
}

func openWith(t *testing.T, cfg Config) *Store {
	t.Helper()
	s, err := Open(context.Background(), cfg)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

func open(t *testing.T, now func() service.Instant) service.Store {
	return openWith(t, config(t, now))
}
