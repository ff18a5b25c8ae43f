package trial

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Every published value is checked by a test that names it.
func TestEveryVectorIsChecked(t *testing.T) {
	text, err := os.ReadFile("testdata/stats_vectors.json")
	require.NoError(t, err)
	var all []struct{ Name, Source string }
	require.NoError(t, json.Unmarshal(text, &all))
	require.Len(t, all, 79)
	files, err := filepath.Glob("*/*_test.go")
	require.NoError(t, err)
	var tests strings.Builder
	for _, f := range files {
		b, err := os.ReadFile(f)
		require.NoError(t, err)
		tests.Write(b)
	}
	for _, v := range all {
		require.NotEmpty(t, v.Source, v.Name)
		require.Contains(t, tests.String(), `"`+v.Name+`"`)
	}
}
