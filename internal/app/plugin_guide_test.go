package app

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Code in the guide is code of the example; its commands are run by .ci/plugin.sh.
func TestPluginGuideShowsTheExample(t *testing.T) {
	guide, err := os.ReadFile("../../docs/strategy-plugin.md")
	require.NoError(t, err)
	step, err := os.ReadFile("../../.ci/plugin.sh")
	require.NoError(t, err)
	blocks := regexp.MustCompile("(?ms)^(.*?)\n```(\\w+)\n(.*?)^```$").FindAllStringSubmatch(string(guide), -1)
	require.Len(t, blocks, strings.Count(string(guide), "\n```")/2)
	code := 0
	for _, b := range blocks {
		marker := regexp.MustCompile(`<!-- (\S+) -->$`).FindStringSubmatch(b[1])
		require.Len(t, marker, 2, "no marker before:\n%s", b[3])
		if b[2] != "ts" {
			require.Contains(t, string(step), "guide "+marker[1], "no step of CI runs it")
			continue
		}
		code++
		source, err := os.ReadFile(filepath.Join("../../examples/strategy-plugin/src", marker[1]))
		require.NoError(t, err)
		require.Contains(t, string(source), b[3])
	}
	require.Positive(t, code)
}
