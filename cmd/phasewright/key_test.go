package main

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// listening starts the command and gives where it listens and what ends it; out is what
// it printed, log what it wrote to standard error.
func listening(t *testing.T, args ...string) (grpcAddr string, end func() (out, log string)) {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	logs, w := io.Pipe()
	var out strings.Builder
	p := program{in: strings.NewReader(""), out: &out, err: w, newMaker: newMaker, now: someDay}
	done := make(chan int, 1)
	go func() {
		done <- p.run(ctx, append([]string{"serve", "--grpc-addr", "127.0.0.1:0", "--http-addr", "127.0.0.1:0", "--drain-delay", "1ms"}, args...))
		w.Close()
	}()
	var log strings.Builder
	lines := json.NewDecoder(io.TeeReader(logs, &log))
	var line struct{ Msg, GRPC string }
	for line.Msg != "serving" {
		require.NoError(t, lines.Decode(&line))
	}
	rest := make(chan error, 1)
	go func() { // so that nothing waits for its log to be read
		_, err := io.Copy(&log, logs)
		rest <- err
	}()
	return line.GRPC, func() (string, string) {
		stop()
		require.NoError(t, <-rest)
		require.Equal(t, exitOK, <-done)
		return out.String(), log.String()
	}
}

// The first start prints a key, once and not into the log; it makes others over the API,
// and the directory does when no server runs.
func TestKeysFromTheFirstStart(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	_, end := listening(t, "--data-dir", dir, "--print-first-key")
	out, log := end()
	var admin string
	for _, l := range strings.Split(out, "\n") {
		if strings.HasPrefix(l, "phw_main_") {
			admin = l
		}
	}
	require.NotEmpty(t, admin, out)
	require.NotContains(t, log, admin)

	at, end := listening(t, "--data-dir", dir, "--print-first-key")
	keyFile := filepath.Join(t.TempDir(), "key")
	require.NoError(t, os.WriteFile(keyFile, []byte(admin+"\n"), 0o600))
	got := run(t, "", "strategies", "--server", at)
	require.Equal(t, exitNoKey, got.code, got.err)
	got = run(t, "", "strategies", "--server", at, "--key-file", keyFile)
	require.Equal(t, exitOK, got.code, got.err)
	made := run(t, "", "key", "create", "--server", at, "--key-file", keyFile, "--scopes", "read", "--name", "desk", "--expires-in", "24000h")
	require.Equal(t, exitOK, made.code, made.err)
	t.Setenv(envKey, strings.TrimSpace(made.out))
	require.Equal(t, exitOK, run(t, "", "strategies", "--server", at).code)
	got = run(t, "", "key", "list", "--server", at)
	require.Equal(t, exitNoKey, got.code)
	require.Contains(t, got.err, "admin")
	t.Setenv(envKey, "")
	require.Equal(t, exitUnavailable, run(t, "", "key", "list", "--data-dir", dir).code, "the server has it open")
	copied := filepath.Join(t.TempDir(), "copy.db")
	got = run(t, "", "backup", copied, "--data-dir", dir)
	require.Equal(t, exitOK, got.code, got.err)
	out, _ = end()
	require.Empty(t, out, "the first key is printed once")

	got = run(t, "", "key", "list", "--data-dir", dir)
	require.Equal(t, exitOK, got.code, got.err)
	require.Regexp(t, `(?m)^\S+  made .*, live, used .*  read,write,trial,admin,assess  first key\n\S+  made .*, live until .*, .*  read  desk$`, got.out)
	id, _, _ := strings.Cut(strings.Split(got.out, "\n")[1], " ")
	require.Equal(t, "revoked\n", run(t, "", "key", "revoke", id, "--data-dir", dir).out)
	require.Contains(t, run(t, "", "key", "list", "--data-dir", dir).out, "revoked 20")
	got = run(t, "", "restore", copied, "--data-dir", dir)
	require.Equal(t, exitOK, got.code, got.err)
	require.NotContains(t, run(t, "", "key", "list", "--data-dir", dir).out, "revoked 20")
	got = run(t, "", "key", "create", "--data-dir", dir, "--tenant", "gym-north", "--scopes", "admin")
	require.True(t, strings.HasPrefix(got.out, "phw_gym-north_"), got.out)
	require.Equal(t, "up to date\n", run(t, "", "migrate", "--data-dir", dir).out)
}

func TestKeyCommandsNameWhatIsWrong(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	loose := file(t, "key", "phw_x")
	require.NoError(t, os.Chmod(loose, 0o644))
	for _, c := range []struct {
		want string
		args []string
	}{
		{"--scopes", []string{"key", "create", "--scopes", "all", "--data-dir", dir}},
		{"--expires-in", []string{"key", "create", "--expires-in", "-1h", "--data-dir", dir}},
		{"UUID", []string{"key", "revoke", "x", "--data-dir", dir}},
		{"chmod 600", []string{"strategies", "--server", "127.0.0.1:1", "--key-file", loose}},
		{"--ca-file", []string{"strategies", "--server", "127.0.0.1:1", "--ca-file", loose}},
		{"--tenant", []string{"key", "list", "--server", "127.0.0.1:1", "--tenant", "a"}},
		{"grpc-addr", []string{"serve", "--dev", "--grpc-addr", "0.0.0.0:0"}},
		{"plain text", []string{"serve", "--data-dir", dir, "--http-addr", "0.0.0.0:0"}},
	} {
		got := run(t, "", c.args...)
		require.Equal(t, exitInvalid, got.code, "%v: %s", c.args, got.err)
		require.Contains(t, got.err, c.want)
	}
	t.Setenv(envKey, "phw_x")
	require.Contains(t, run(t, "", "strategies", "--server", "example.org:9090").err, "plain text")
}
