package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A change prints its differences the same, whoever answers, and writes a program that
// can be audited and changed again.
func TestChangeWritesWhatItReads(t *testing.T) {
	at := serving(t).GRPCAddr()
	dir := t.TempDir()
	first, second := filepath.Join(dir, "1.json"), filepath.Join(dir, "2.json")
	require.NoError(t, os.WriteFile(first, []byte(demoJSON(t)), 0o644))
	args := []string{"change", "-f", first, "--from-week", "3", "--minutes", "thursday=60", "-o", second}
	here := run(t, "", args...)
	require.Equal(t, exitOK, here.code, here.err)
	require.Contains(t, here.out, "~ 60 instead of 75 minutes")
	require.Contains(t, here.err, second)
	there := run(t, "", append(args, "--server", at)...)
	require.Equal(t, here, there)
	require.Equal(t, exitOK, run(t, "", "audit", "-f", second).code)
	again := run(t, "", "change", "-f", second, "--from", "2027-02-01", "--lock", "monday")
	require.Equal(t, exitOK, again.code, again.err)
	require.Contains(t, again.out, "Nothing changes.")
}

func TestChangeNamesWhatWasTyped(t *testing.T) {
	made := demoJSON(t)
	for said, args := range map[string][]string{
		"--from-week: must be between 1 and 8": {"--from-week", "9"},
		"--from: is not a day of the program":  {"--from", "2026-01-01"},
		"--lock sunday: locks what":            {"--lock", "sunday"},
		`--swap mon:nix=dip: "nix" is not in`:  {"--swap", "mon:nix=dip"},
		"--swap dip: write what goes":          {"--swap", "dip"},
		"--swap noday:a=b: \"noday\" is no":    {"--swap", "noday:a=b"},
		"--minutes sunday=45: the request has": {"--minutes", "sunday=45"},
		"--minutes monday=5: 15 to 240":        {"--minutes", "monday=5"},
		"--exclude nix: \"nix\" is not in":     {"--exclude", "nix"},
		"--pin nix: \"nix\" is not in":         {"--pin", "nix"},
		"--from and --from-week say the same":  {"--from", "2027-02-01", "--from-week", "2"},
	} {
		got := run(t, made, append([]string{"change", "-f", "-"}, args...)...)
		require.Equal(t, exitInvalid, got.code, said)
		require.Contains(t, got.err, said)
		require.Empty(t, got.out)
	}
}

// TestChangeThatCannotBe: a coach reads what clashes, and what of what was typed, or of the
// request, to give up, whoever answers.
func TestChangeThatCannotBe(t *testing.T) {
	made := demoJSON(t)
	at := serving(t).GRPCAddr()
	for name, args := range map[string][]string{
		"shorter-day":     {"--from-week", "3", "--minutes", "thursday=20", "--lock", "thursday", "--lock", "back-squat"},
		"locked-excluded": {"--lock", "fri:lat-pulldown", "--exclude", "lat-pulldown"},
		"swap-and-lock":   {"--from-week", "5", "--minutes", "friday=25", "--swap", "fri:lat-pulldown=pull-up", "--lock", "fri:overhead-press"},
	} {
		t.Run(name, func(t *testing.T) {
			args := append([]string{"change", "-f", "-"}, args...)
			here := run(t, made, args...)
			require.Equal(t, exitInfeasible, here.code, here.err)
			require.Empty(t, here.out)
			require.Equal(t, here, run(t, made, append(args, "--server", at)...))
			golden(t, filepath.Join("testdata/change", name+".txt"), here.err)
		})
	}
}
