package app

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"context"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// postgresData starts a PostgreSQL of the test's own and gives a database in it. False,
// with a notice, where it is not installed; where PHASEWRIGHT_STORE_TOOLS is set that is
// a failure.
func postgresData(t *testing.T) (Data, bool) {
	t.Helper()
	bin := ""
	if path, err := exec.LookPath("initdb"); err == nil {
		path, err = filepath.EvalSymlinks(path)
		require.NoError(t, err)
		bin = filepath.Dir(path)
	} else if all, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb"); len(all) > 0 {
		bin = filepath.Dir(all[len(all)-1])
	}
	if bin == "" {
		require.Empty(t, os.Getenv("PHASEWRIGHT_STORE_TOOLS"), "PostgreSQL is missing")
		t.Log("not run: PostgreSQL is missing (Debian: apt-get install postgresql)")
		return Data{}, false
	}
	dir, err := os.MkdirTemp("", "phasewright-pg")
	require.NoError(t, err)
	attr := &syscall.SysProcAttr{}
	if os.Getuid() == 0 { // it does not run as root: then as Debian's user for it
		u, err := user.Lookup("postgres")
		require.NoError(t, err)
		uid, err := strconv.Atoi(u.Uid)
		require.NoError(t, err)
		gid, err := strconv.Atoi(u.Gid)
		require.NoError(t, err)
		require.NoError(t, os.Chown(dir, uid, gid))
		attr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	}
	data := filepath.Join(dir, "data")
	initdb := exec.Command(filepath.Join(bin, "initdb"), "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync")
	initdb.SysProcAttr, initdb.Dir = attr, dir
	out, err := initdb.CombinedOutput()
	require.NoError(t, err, string(out))
	// The shell ends the server when its input ends: also when the tests are killed.
	run := exec.Command("/bin/sh", "-c", `"$@" </dev/null & read -r _; kill -INT $!; wait $!`, "sh",
		filepath.Join(bin, "postgres"), "-D", data, "-k", dir, "-h", "")
	run.SysProcAttr, run.Dir = attr, dir
	in, err := run.StdinPipe()
	require.NoError(t, err)
	require.NoError(t, run.Start())
	t.Cleanup(func() {
		require.NoError(t, errors.Join(in.Close(), run.Wait(), os.RemoveAll(dir)))
	})
	url := func(role, database string) string {
		return fmt.Sprintf("postgres://%s@/%s?host=%s", role, database, dir)
	}
	var conn *pgx.Conn
	require.Eventually(t, func() bool {
		conn, err = pgx.Connect(context.Background(), url("postgres", "postgres"))
		return err == nil
	}, 30*time.Second, 50*time.Millisecond)
	for _, s := range []string{"CREATE ROLE owner LOGIN", "CREATE ROLE app LOGIN", "CREATE DATABASE data OWNER owner"} {
		_, err := conn.Exec(context.Background(), s)
		require.NoError(t, err)
	}
	require.NoError(t, conn.Close(context.Background()))
	d := Data{URL: url("app", "data"), Pepper: pepperOf(t)}
	owner := d
	owner.Owner = url("owner", "data")
	require.NoError(t, owner.Migrate(context.Background()))
	return d, true
}
