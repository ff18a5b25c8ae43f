package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// trialEvents are of an invented trial of twenty in matched pairs.
const trialEvents = "../../engine/trial/conduct/testdata/events.jsonl"

func typed(t *testing.T, stdin string, args ...string) result {
	t.Helper()
	var out, errs bytes.Buffer
	p := program{in: strings.NewReader(stdin), out: &out, err: &errs, newMaker: newMaker, now: time.Now}
	code := p.run(context.Background(), args)
	return result{code, out.String(), errs.String()}
}

// What a coach's terminal shows before a trial and after one.
func TestTrialStory(t *testing.T) {
	events, err := os.ReadFile(trialEvents)
	require.NoError(t, err)
	changed := strings.Replace(string(events), `"value":26`, `"value":27`, 1)
	require.NotEqual(t, string(events), changed)
	dir := t.TempDir()
	kept := filepath.Join(dir, "events.jsonl")
	require.NoError(t, os.WriteFile(kept, events, 0o644))
	var page strings.Builder
	for _, c := range []struct {
		line, stdin string
		code        int
	}{
		{"trial predict --athletes 60 --scheme matched-pairs --difference 0.5 --smallest 0.5 --spread 3 --typical-error 0.8 --response 0.5 --unit mm", "", exitOK},
		{"trial predict --athletes 60 --smallest 0.5 --spread 3 --typical-error 0.8 --unit mm --dropout 10", "", exitOK},
		{"trial predict --athletes 2 --smallest 0.5 --dropout 99", "", exitInvalid},
		{"trial show events.jsonl", "", exitOK},
		{"trial show -", strings.Join(strings.SplitAfter(string(events), "\n")[:6], ""), exitOK},
		{"trial verify events.jsonl", "", exitOK},
		{"trial verify -", changed, exitInvalid},
		{"trial report events.jsonl -o report", "", exitOK},
		{"trial report -", strings.Join(strings.SplitAfter(string(events), "\n")[:40], ""), exitInfeasible},
	} {
		line := strings.NewReplacer("events.jsonl", kept, "-o report", "-o "+filepath.Join(dir, "report")).Replace(c.line)
		r := typed(t, c.stdin, strings.Fields(line)...)
		require.Equal(t, c.code, r.code, "%s\n%s", c.line, r.err)
		shown := strings.ReplaceAll(r.err+r.out, dir+string(filepath.Separator), "")
		fmt.Fprintf(&page, "$ phasewright %s\n%s\n", c.line, shown)
	}
	const golden = "testdata/trial/terminal.txt"
	if *rewrite {
		require.NoError(t, os.WriteFile(golden, []byte(page.String()), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.Equal(t, string(want), page.String())
}

// The folder holds every form of the report, and nothing that it refers to is missing.
func TestTrialReportFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "report")
	r := typed(t, "", "trial", "report", trialEvents, "-o", dir)
	require.Equal(t, exitOK, r.code, r.err)
	has := func(name string) []byte {
		text, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		return text
	}
	require.Contains(t, string(has("report.html")), "<svg")
	require.True(t, json.Valid(has("report.json")))
	rows, err := csv.NewReader(bytes.NewReader(has("data.csv"))).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 21)
	book, err := csv.NewReader(bytes.NewReader(has("codebook.csv"))).ReadAll()
	require.NoError(t, err)
	require.Len(t, book, len(rows[0])+1)
	text := string(has("report.md"))
	for _, line := range strings.Split(r.out, "\n") {
		require.Contains(t, text, line, "the terminal shows its page")
	}
	for _, part := range strings.Split(text, "](")[1:] {
		has(part[:strings.IndexByte(part, ')')])
	}
}

func TestTrialFaultsNameTheFlag(t *testing.T) {
	for args, says := range map[string]string{
		"--scheme blocks":                    "--scheme: there is no",
		"--smallest 1 --spread 1 --runs 5":   "--runs",
		"--smallest 1 --spread 1 --level 20": "--level",
		"--smallest 0 --spread 1":            "--smallest",
		"--smallest 1 --spread -1":           "--spread",
		"--smallest 1 --spread 1 --icc 2":    "--icc",
		"--smallest 1 --runs 30000":          "--runs: 30000 are too many",
	} {
		r := typed(t, "", append([]string{"trial", "predict"}, strings.Fields(args)...)...)
		require.Equal(t, exitInvalid, r.code, args)
		require.Contains(t, r.err, says, args)
	}
	r := typed(t, "{}\nx\n", "trial", "verify", "-")
	require.Equal(t, exitInvalid, r.code)
	require.Contains(t, r.err, "line 2")
}
