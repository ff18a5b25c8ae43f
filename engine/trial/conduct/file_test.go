package conduct

import (
	"bytes"
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
)

var rewrite = flag.Bool("rewrite", false, "write the golden files anew")

// Files that people kept have to be read for ever, and to hold: this one is never written
// anew but for a change before the first release.
func TestFileIsPinned(t *testing.T) {
	const golden = "testdata/events.jsonl"
	if *rewrite {
		var b bytes.Buffer
		require.NoError(t, Write(&b, runs(t, 20, 1.2, func(i, _ int) bool { return i == 5 }).tr.Events()))
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(golden, b.Bytes(), 0o644))
	}
	text, err := os.ReadFile(golden)
	require.NoError(t, err)
	events, err := Read(bytes.NewReader(text))
	require.NoError(t, err)
	v, err := Verify(events)
	require.NoError(t, err)
	require.True(t, v.Replayed)
	require.Equal(t, 20, v.Arms)
	var again bytes.Buffer
	require.NoError(t, Write(&again, events))
	require.Equal(t, string(text), again.String())
}

func TestReadNamesTheLine(t *testing.T) {
	for text, says := range map[string]string{
		"{}\n\nx\n":                       "line 3",
		`{"number":1,"nr":2}`:             `unknown field "nr"`,
		`{"number":1}{"number":2}`:        "more than one",
		`{"number":"1"}`:                  "line 1",
		strings.Repeat("x", mostLine+100): "can't be read",
	} {
		_, err := Read(strings.NewReader(text))
		f, is := fault.As(err)
		require.True(t, is)
		require.Equal(t, fault.Invalid, f.Kind)
		require.ErrorContains(t, err, says)
	}
}

// Whatever a file holds, it is a trial or a fault, and a trial that verifies is told
// without panic.
func FuzzVerify(f *testing.F) {
	var b bytes.Buffer
	require.NoError(f, Write(&b, runs(f, 4, 0, nobody).tr.Events()))
	f.Add(b.Bytes())
	f.Add([]byte(`{"number":1,"at":0,"actor":"a","body":{"closed":{}},"hash":""}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		events, err := Read(bytes.NewReader(text))
		if err == nil {
			_, err = Verify(events)
		}
		if err == nil {
			tr, openErr := Open(events)
			require.NoError(t, openErr)
			_, err = tr.Report()
		}
		if err != nil {
			_, is := fault.As(err)
			require.True(t, is, "%v", err)
		}
	})
}
