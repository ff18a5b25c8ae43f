package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/spf13/pflag"
	"github.com/stretchr/testify/require"
)

// shown gives the settings that config prints, by name.
func shown(t *testing.T, args ...string) map[string]setting {
	t.Helper()
	r := run(t, "", append([]string{"config", "--json"}, args...)...)
	require.Equal(t, exitOK, r.code, r.err)
	var list []setting
	require.NoError(t, json.Unmarshal([]byte(r.out), &list))
	out := map[string]setting{}
	for _, s := range list {
		out[s.Name] = s
	}
	return out
}

func TestSettingsFromFlagsThenEnvironmentThenFile(t *testing.T) {
	f := file(t, "s.yaml", "# ours\nburst: 7\nrate: 8\ndeadline: 12s\n")
	t.Setenv("PHASEWRIGHT_RATE", "9")
	t.Setenv("PHASEWRIGHT_DEADLINE", "13s")
	got := shown(t, "--config", f, "--deadline", "14s", "--data-dir", t.TempDir())
	require.Equal(t, setting{"burst", "7", f + ":2"}, got["burst"])
	require.Equal(t, setting{"rate", "9", "environment PHASEWRIGHT_RATE"}, got["rate"])
	require.Equal(t, setting{"deadline", "14s", "flag"}, got["deadline"])
	require.Equal(t, setting{"log-level", "info", "default"}, got["log-level"])

	t.Setenv("PHASEWRIGHT_CONFIG", f)
	require.Equal(t, f+":2", shown(t)["burst"].From, "the file itself can come from the environment")
}

func TestEverySettingIsShown(t *testing.T) {
	got := shown(t)
	var cmd = new(program).serve()
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		require.Contains(t, got, f.Name)
		delete(got, f.Name)
	})
	require.Empty(t, got, "config shows what serve does not take")
}

func TestSettingsRefuseWhatIsNone(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"grpc-adr: x\n", "s.yaml:1: grpc-adr is no setting; did you mean grpc-addr?"},
		{"rate: 5\nrate: 6\n", "already"},
		{"rate: [1, 2]\n", "s.yaml:1: rate: want one value"},
		{"rate:\n", "s.yaml:1: rate: want one value"},
		{"rate: fast\n", "s.yaml:1: invalid argument \"fast\""},
		{"config: other.yaml\n", "config is no setting"},
		{"- rate\n", "want settings by name"},
		{"a: [\n", "s.yaml: yaml:"},
		{"one: 1\ntwo: 2\n", "s.yaml:2: two is no setting"},
	} {
		for _, command := range []string{"config", "serve"} {
			r := run(t, "", command, "--config", file(t, "s.yaml", c.text))
			require.Equal(t, exitInvalid, r.code, c.text)
			require.Contains(t, r.err, c.want)
		}
	}
	r := run(t, "", "config", "--config", "none.yaml")
	require.Equal(t, exitInvalid, r.code)
	require.Contains(t, r.err, "--config: none.yaml:")
}

func TestSettingsAreChecked(t *testing.T) {
	r := run(t, "", "config", "--http-addr", ":80")
	require.Equal(t, exitInvalid, r.code)
	require.Contains(t, r.err, "plain text")
	require.Contains(t, r.out, ":80", "what is wrong is shown too")
}

func TestHowLongBulkJobsStay(t *testing.T) {
	require.Equal(t, setting{"bulk-keep", "720h0m0s", "default"}, shown(t)["bulk-keep"])
	f := file(t, "s.yaml", "bulk-keep: 24h\n")
	require.Equal(t, setting{"bulk-keep", "24h0m0s", f + ":1"}, shown(t, "--config", f)["bulk-keep"])
	t.Setenv("PHASEWRIGHT_BULK_KEEP", "48h")
	require.Equal(t, setting{"bulk-keep", "48h0m0s", "environment PHASEWRIGHT_BULK_KEEP"}, shown(t, "--config", f)["bulk-keep"])
	for value, right := range map[string]bool{"0": true, "1m": true, "87600h": true, "59s": false, "-1h": false, "87601h": false} {
		r := run(t, "", "config", "--data-dir", t.TempDir(), "--bulk-keep", value)
		if right {
			require.Equal(t, exitOK, r.code, r.err)
			continue
		}
		require.Equal(t, exitInvalid, r.code, value)
		require.Contains(t, r.err, "bulk-keep: ")
		require.Contains(t, r.err, "0s (until they are deleted), or 1m to 87600h is possible")
	}
}

func TestHowLongDeletedThingsStay(t *testing.T) {
	require.Equal(t, setting{"deleted-keep", "0s", "default"}, shown(t)["deleted-keep"])
	t.Setenv("PHASEWRIGHT_DELETED_KEEP", "720h")
	require.Equal(t, setting{"deleted-keep", "720h0m0s", "environment PHASEWRIGHT_DELETED_KEEP"}, shown(t)["deleted-keep"])
	for value, right := range map[string]bool{"0": true, "96h": true, "87600h": true, "95h59m": false, "-1h": false, "87601h": false} {
		r := run(t, "", "config", "--data-dir", t.TempDir(), "--deleted-keep", value)
		if right {
			require.Equal(t, exitOK, r.code, r.err)
			continue
		}
		require.Equal(t, exitInvalid, r.code, value)
		require.Contains(t, r.err, "deleted-keep: ")
		require.Contains(t, r.err, "0s (for ever), or 96h to 87600h is possible")
	}
}

func TestSecretsAreNotShown(t *testing.T) {
	t.Setenv("PHASEWRIGHT_DATABASE_URL", "postgres://gym:hidden@db/gym")
	t.Setenv("PHASEWRIGHT_KEY", "hidden")
	for _, args := range [][]string{{"config", "--pepper-file", "p"}, {"config", "--json", "--pepper-file", "p"}} {
		r := run(t, "", args...)
		require.Contains(t, r.out, "PHASEWRIGHT_DATABASE_URL")
		require.NotContains(t, r.out+r.err, "hidden")
	}
}

func TestMisspeltVariablesAreNamed(t *testing.T) {
	t.Setenv("PHASEWRIGHT_BURTS", "9")
	r := run(t, "", "config")
	require.Equal(t, exitOK, r.code, r.err)
	require.Contains(t, r.err, "PHASEWRIGHT_BURTS is no setting; did you mean PHASEWRIGHT_BURST?")
	require.Equal(t, 1, strings.Count(r.err, "\n"))
}
