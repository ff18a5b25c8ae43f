package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/internal/store/storetest"
)

// atDesk gives a function that types commands on one data directory, and the directory.
func atDesk(t *testing.T) (func(args ...string) result, string) {
	dir := filepath.Join(t.TempDir(), "data")
	return func(args ...string) result { return run(t, "", append(args, "--data-dir", dir)...) }, dir
}

func ok(t *testing.T, r result) string {
	t.Helper()
	require.Equal(t, exitOK, r.code, r.err)
	return r.out
}

func TestWhoIsMeant(t *testing.T) {
	desk, _ := atDesk(t)
	require.Contains(t, desk("athlete", "show", "kim").err, "athlete add makes one")
	ok(t, desk("athlete", "add", "--name", "Kim Example (invented)", "--id", "kim-1", "--age-band", "adult"))
	ok(t, desk("athlete", "add", "--name", "Kim Sample (invented)", "--age-band", "adult"))
	listed := strings.Split(strings.TrimSpace(ok(t, desk("athlete", "list"))), "\n")
	require.Len(t, listed, 2)
	slices.Sort(listed) // made in the same instant of the test's clock
	id := listed[1][strings.LastIndex(listed[1], " ")+1:]
	for _, who := range []string{"kim-1", "kim example", "exam", "Kim Example (invented)"} {
		require.Contains(t, ok(t, desk("athlete", "show", who)), "Kim Example", who)
	}
	for _, who := range []string{id, "sample", "kim s"} {
		require.Contains(t, ok(t, desk("athlete", "show", who)), "Kim Sample", who)
	}
	r := desk("athlete", "show", "kim")
	require.Equal(t, exitInvalid, r.code)
	require.Contains(t, r.err, listed[0])
	require.Contains(t, r.err, listed[1])
	require.Equal(t, exitInvalid, desk("athlete", "show", "zed").code)

	require.Contains(t, desk("athlete", "add", "--name", "x").err, "--age-band")
	require.Contains(t, desk("athlete", "add", "--id", "kim-1", "--age-band", "adult").err, "caller_id")
	ok(t, desk("athlete", "edit", "kim-1", "--body-mass", "70kg"))
	require.Contains(t, ok(t, desk("athlete", "show", "kim-1")), "70 kg")
	ok(t, desk("athlete", "edit", "kim-1", "--clear", "body_mass"))
	require.NotContains(t, ok(t, desk("athlete", "show", "kim-1")), "70 kg")
	require.Contains(t, desk("athlete", "edit", "kim-1", "--clear", "nose").err, "--clear")
	ok(t, desk("athlete", "remove", "kim-1"))
	require.NotContains(t, ok(t, desk("athlete", "list")), "kim-1")
	ok(t, desk("athlete", "remove", "kim-1", "--undo"))
	require.Contains(t, ok(t, desk("athlete", "list")), "kim-1")
}

// Everything that can be typed wrong is answered with what it is about.
func TestLogSaysWhatIsWrong(t *testing.T) {
	desk, _ := atDesk(t)
	ok(t, desk("athlete", "add", "--id", "kim", "--name", "Kim (invented)", "--age-band", "adult"))
	for _, c := range []struct {
		says string
		args []string
	}{
		{"program new makes one", []string{"log", "kim", "--missed"}},
		{"has no set", []string{"log", "kim", "--extra", "back-squat"}},
		{"without its exercise", []string{"log", "kim", "--extra", "100kgx5"}},
		{"is no set", []string{"log", "kim", "--extra", "back-squat", "100kgx5,a"}},
		{"did you mean back-squat", []string{"log", "kim", "--extra", "back-sqat", "100kgx5"}},
		{"kg or", []string{"log", "kim", "--extra", "back-squat", "100x5"}},
		{"is not yet", []string{"log", "kim", "--extra", "--date", "2030-01-01", "back-squat", "100kgx5"}},
		{"--date", []string{"log", "kim", "--extra", "--date", "soon", "back-squat", "100kgx5"}},
		{"--missed", []string{"log", "kim", "--missed", "back-squat", "100kgx5"}},
		{"--extra", []string{"log", "kim", "--extra", "--session", "1.1", "back-squat", "100kgx5"}},
		{"back-squat 9000 kg × 5 (1 left)", []string{"log", "kim", "--extra", "back-squat", "100kgx5@1", "9000kgx5@1"}},
		{"--server and --data-dir", []string{"log", "kim", "--server", "127.0.0.1:1"}},
	} {
		r := desk(c.args...)
		require.Equal(t, exitInvalid, r.code, "%v: %s", c.args, r.err)
		require.Contains(t, r.err, c.says, "%v", c.args)
	}
	require.Empty(t, ok(t, desk("log", "kim")))
	ok(t, desk("log", "kim", "--extra", "back-squat", "100kgx5,5,4@1", "60kgx10"))
	require.Contains(t, ok(t, desk("log", "kim")), "Back squat  100 kg × 5, 5, 4 (1 left); 60 kg × 10\n")
}

// The same commands do the same on a server.
func TestDeskOnServer(t *testing.T) {
	addr, end := listening(t, "--dev")
	defer end()
	desk := func(args ...string) result { return run(t, "", append(args, "--server", addr)...) }
	ok(t, desk("athlete", "add", "-f", "testdata/story/athlete.yaml"))
	require.Contains(t, ok(t, desk("athlete", "show", "kim")), "female, intermediate, 66 kg")
	made := desk("program", "new", "kim", "-f", "testdata/story/program.yaml", "--start", "2027-02-01", "--name", "Spring")
	require.Contains(t, ok(t, made), "Kept as Spring")
	require.Contains(t, ok(t, desk("program", "list", "kim")), "revision 1")
	require.Contains(t, ok(t, desk("program", "next", "kim", "--program", "spr")), "Week 1 of 6, session 1 of 2")
	require.Contains(t, desk("program", "show", "kim", "--revision", "2").err, "--revision")
	require.Contains(t, desk("program", "diff", "kim").err, "--revisions")
	dry := ok(t, desk("program", "revise", "kim", "--minutes", "thursday=60", "--dry-run"))
	require.Contains(t, dry, "Nothing is kept")
	require.Contains(t, desk("program", "revise", "kim", "--swap", "leg-press=hack-squat").err, "--swap leg-press=hack-squat")
	require.Contains(t, ok(t, desk("program", "revisions", "kim")), "1  made")

	file := filepath.Join(t.TempDir(), "kim.jsonl")
	require.Contains(t, ok(t, desk("athlete", "export", "kim", "-o", file)), "records in")
	require.Equal(t, exitInvalid, desk("athlete", "export", "kim", "-o", file).code, "never over something else")
	info, err := os.Stat(file)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	kinds := map[string]int{}
	for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		var record map[string]json.RawMessage
		require.NoError(t, json.Unmarshal([]byte(line), &record))
		for kind := range record {
			kinds[kind]++
		}
	}
	require.Equal(t, 1, kinds["athlete"])
	require.Equal(t, 6, kinds["performance"])
	require.Equal(t, 1, kinds["revision"])
	require.Greater(t, kinds["audit_event"], 7)
	require.Greater(t, kinds["kept_answer"], 7)
}

// Who was erased is in no file of the directory, and does not come back with a backup.
func TestEraseForGood(t *testing.T) {
	desk, dir := atDesk(t)
	canaries := []string{"zqcanaryname", "zqcanaryid", "zqcanarynote", "zqcanaryprogram"}
	ok(t, desk("athlete", "add", "--name", "Kim "+canaries[0], "--id", canaries[1], "--age-band", "adult", "--status", "intermediate"))
	ok(t, desk("log", canaries[1], "--extra", "--note", canaries[2], "back-squat", "100kgx5@1"))
	ok(t, desk("program", "new", canaries[1], "-f", "testdata/story/program.yaml", "--name", canaries[3]))
	backup := filepath.Join(t.TempDir(), "copy.db")
	ok(t, desk("backup", backup))
	require.NotEmpty(t, storetest.Found(t, dir, canaries), "the search finds what is there")

	r := desk("athlete", "erase", canaries[1])
	require.Equal(t, exitInvalid, r.code)
	require.Contains(t, r.out, "1 session logs")
	require.Contains(t, r.err, "--yes")
	require.Contains(t, ok(t, desk("athlete", "list")), canaries[1])
	require.Contains(t, ok(t, desk("athlete", "erase", canaries[1], "--yes", "--reason", "asked for it")), "1 programs with 1 revisions")
	require.Empty(t, ok(t, desk("athlete", "list")))
	require.Empty(t, storetest.Found(t, dir, canaries))
	listed := ok(t, desk("erasures"))
	require.Regexp(t, `^\{"tenant":"main","athlete":"[0-9a-f-]{36}","at":"[^"]*","reason":"asked for it"\}\n$`, listed)
	require.Contains(t, ok(t, desk("restore", backup)), "erased again: 1")
	require.Empty(t, ok(t, desk("athlete", "list", "--removed")))
	require.Empty(t, storetest.Found(t, dir, canaries))

	// A directory that was lost knows of no erasure but from the list.
	pepper, err := os.ReadFile(filepath.Join(dir, "pepper"))
	require.NoError(t, err)
	elsewhere, dir := atDesk(t)
	require.Contains(t, ok(t, elsewhere("restore", backup)), "erased again: 0")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "pepper"), pepper, 0o600)) // which is in no backup
	require.Contains(t, ok(t, elsewhere("athlete", "list")), canaries[1])
	require.Contains(t, ok(t, elsewhere("erasures", "--replay", file(t, "erased.jsonl", listed))), "erased again: 1")
	require.Empty(t, ok(t, elsewhere("athlete", "list", "--removed")))
	require.Empty(t, storetest.Found(t, dir, canaries))
}
