package app

import (
	"io"
	"net/http"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
)

// The pages about the API are there without a key, all of them can be reached by
// following links from the first, and no link leads nowhere.
func TestDocsHangTogether(t *testing.T) {
	r, _ := locked(t)
	links := regexp.MustCompile(`href="(/[^"#]*)"`)
	seen, next := map[string]bool{"/docs": true}, []string{"/docs"}
	for len(next) > 0 {
		path := next[0]
		next = next[1:]
		answer, err := http.Get(r.url(path))
		require.NoError(t, err)
		body, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		require.Equal(t, http.StatusOK, answer.StatusCode, path)
		if path == "/openapi.json" {
			continue
		}
		policy := answer.Header.Get("Content-Security-Policy")
		require.Contains(t, policy, "default-src 'none'", path)
		require.NotContains(t, policy, "script-src", path)
		for _, m := range links.FindAllSubmatch(body, -1) {
			if to := string(m[1]); !seen[to] {
				seen[to] = true
				next = append(next, to)
			}
		}
	}
	docs, err := docPages()
	require.NoError(t, err)
	require.Greater(t, len(docs), 200)
	for path := range docs {
		require.True(t, seen[path], "no link leads to %s", path)
	}
}
