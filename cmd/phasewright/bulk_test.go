package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const (
	bulkLine    = `{"request": {"athlete": {"age_band": "AGE_BAND_ADULT"}, "constraints": {"weeks": 1, "days": [{"minutes": 20}], "places": [{"preset": "EQUIPMENT_PRESET_DUMBBELLS"}]}, "seed": %d}}`
	refusedLine = `{"request": {"athlete": {"age_band": "AGE_BAND_ADULT", "screening": {"symptoms": true}}, "constraints": {"weeks": 1, "days": [{"minutes": 20}], "places": [{"preset": "EQUIPMENT_PRESET_DUMBBELLS"}]}}}`
)

// bulkFile writes so many lines of invented athletes, the third of whom needs a clinician.
func bulkFile(t *testing.T, n int) string {
	var b strings.Builder
	for i := range n {
		if i == 2 {
			fmt.Fprintln(&b, refusedLine)
			continue
		}
		fmt.Fprintf(&b, bulkLine+"\n\n", i)
	}
	file := filepath.Join(t.TempDir(), "athletes.jsonl")
	require.NoError(t, os.WriteFile(file, []byte(b.String()), 0o600))
	return file
}

// results reads what bulk printed: one object a line, in order.
func results(t *testing.T, text string) (programs, errors int) {
	for i, line := range strings.Split(strings.TrimSpace(text), "\n") {
		var r struct {
			Index          int
			Program, Error map[string]any
		}
		require.NoError(t, json.Unmarshal([]byte(line), &r), line)
		require.Equal(t, i, r.Index)
		if r.Program != nil {
			programs++
		}
		if r.Error != nil {
			require.Equal(t, 2, i)
			errors++
		}
	}
	return programs, errors
}

func TestBulk(t *testing.T) {
	file := bulkFile(t, 12)
	for name, where := range map[string]string{"here": "--data-dir=" + filepath.Join(t.TempDir(), "data"), "on a server": "--server=" + serving(t).GRPCAddr()} {
		t.Run(name, func(t *testing.T) {
			r := run(t, "", "bulk", "-f", file, where)
			require.Equal(t, exitOK, r.code, r.err)
			made, failed := results(t, r.out)
			require.Equal(t, []int{11, 1}, []int{made, failed})
			require.Contains(t, r.err, "11 programs made, 1 could not be made.")

			// What is done already is only given out again.
			operation := strings.TrimSuffix(strings.Fields(r.err)[2], ".")
			out := filepath.Join(t.TempDir(), "results.jsonl")
			again := run(t, "", "bulk", "-f", file, "-o", out, "--resume", operation, where)
			require.Equal(t, exitOK, again.code, again.err)
			text, err := os.ReadFile(out)
			require.NoError(t, err)
			require.Len(t, strings.Split(string(text), "\n"), 13)
			require.Equal(t, exitInvalid, run(t, "", "bulk", "-f", file, "-o", out, "--resume", operation, where).code, "never over something else")
			require.Contains(t, run(t, "", "bulk", "-f", bulkFile(t, 3), "--resume", operation, where).err, "another file's")
		})
	}
}

func TestBulkIsResumed(t *testing.T) {
	file := bulkFile(t, 60)
	dir := "--data-dir=" + filepath.Join(t.TempDir(), "data")
	ctx, interrupt := context.WithCancel(context.Background())
	var out, said bytes.Buffer
	p := program{in: strings.NewReader(""), out: &out, err: watcher{&said, interrupt}, newMaker: newMaker, now: time.Now}
	require.NotEqual(t, exitOK, p.run(ctx, []string{"bulk", "-f", file, dir}))
	require.Empty(t, out.String())
	lines := strings.Fields(said.String())
	i := 0
	for ; i < len(lines) && lines[i] != "--resume"; i++ {
		continue
	}
	require.Less(t, i, len(lines), said.String())
	p.err = &said
	require.Equal(t, exitOK, p.run(context.Background(), []string{"bulk", "-f", file, dir, "--resume", lines[i+1]}), said.String())
	made, failed := results(t, out.String())
	require.Equal(t, []int{59, 1}, []int{made, failed})
}

// watcher interrupts as soon as the operation has a name.
type watcher struct {
	*bytes.Buffer
	interrupt func()
}

func (w watcher) Write(b []byte) (int, error) {
	if bytes.Contains(b, []byte("This is operations/")) {
		time.AfterFunc(150*time.Millisecond, w.interrupt)
	}
	return w.Buffer.Write(b)
}

func TestBulkRefuses(t *testing.T) {
	dir := t.TempDir()
	write := func(text string) string {
		file := filepath.Join(dir, "x.jsonl")
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		return file
	}
	for want, args := range map[string][]string{
		"-f needs a file":       {"bulk"},
		"it is read twice":      {"bulk", "-f", "-"},
		"no such file":          {"bulk", "-f", filepath.Join(dir, "nothing")},
		"line 2: request.weeks": {"bulk", "-f", write(fmt.Sprintf(bulkLine, 1) + "\n" + `{"request": {"weeks": 3}}`)},
		"--reason goes with":    {"bulk", "-f", "x", "--reason", "why"},
		"leave this out":        {"bulk", "-f", "x", "--revise-from", "2027-02-01", "--resume", "operations/019cae00-ffb8-7000-a5c2-3b71dbf8a160"},
	} {
		r := run(t, "", append(args, "--data-dir", filepath.Join(dir, "data"))...)
		require.Equal(t, exitInvalid, r.code, want)
		require.Contains(t, r.err, want)
	}
	r := run(t, "", "bulk", "-f", write(fmt.Sprintf(bulkLine, 1)), "--revise-from", "soon", "--data-dir", filepath.Join(dir, "data"))
	require.Equal(t, exitInvalid, r.code)
	require.Contains(t, r.err, "revise.from_date")
	r = run(t, "", "bulk", "-f", write("\n"), "--data-dir", filepath.Join(dir, "data"))
	require.Contains(t, r.err, "is empty")
}
