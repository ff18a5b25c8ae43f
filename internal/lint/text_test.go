package lint

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// machine finds paths that mean something on one machine only. The pattern is
// put together so that this file doesn't match itself.
var machine = regexp.MustCompile(`(^|[^\w.*/])/(` + `work|root|home/\w+` + `)/|` + `\.\./` + `shared\b`)

func mentions(name string, text []byte) []string {
	if bytes.IndexByte(text, 0) >= 0 {
		return nil
	}
	var bad []string
	for i, line := range bytes.Split(text, []byte("\n")) {
		if m := machine.Find(line); m != nil {
			bad = append(bad, fmt.Sprintf("%s:%d: mentions %q", name, i+1, strings.TrimSpace(string(m))))
		}
	}
	return bad
}

func TestNoFileMentionsAMachine(t *testing.T) {
	var bad []string
	for _, name := range files(t) {
		text, err := os.ReadFile(filepath.Join(root(t), filepath.FromSlash(name)))
		require.NoError(t, err)
		bad = append(bad, mentions(name, text)...)
	}
	require.Empty(t, bad, strings.Join(bad, "\n"))
}

func TestNoFileMentionsAMachineCatches(t *testing.T) {
	for _, text := range []string{
		"see /wo" + "rk/main/README.md", "\"/ro" + "ot/.cache\"", "(../sha" + "red/DESIGN.md)", "/ho" + "me/someone/src", "x\n/wo" + "rk/a",
	} {
		require.Len(t, mentions("a", []byte(text)), 1, text)
	}
	for _, text := range []string{"sets/wo" + "rk/rest", "https://example.org/wo" + "rk/1", "a shared floor", "..sharedness"} {
		require.Empty(t, mentions("a", []byte(text)), text)
	}
}
