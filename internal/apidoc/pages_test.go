package apidoc

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const small = `{
  "info": {"title": "Gym", "version": "v1", "description": "One line\nwith another.\n\nA second <b>."},
  "tags": [{"name": "Bars", "description": "Of bars."}],
  "paths": {"/v1/bars/{bar}": {
    "get": {"operationId": "GetBar", "summary": "Gives a bar.", "description": "Gives a bar.\n\nReally.", "tags": ["Bars"],
      "parameters": [{"name": "bar", "in": "path", "required": true, "type": "string"}],
      "responses": {"200": {"description": "Good.", "schema": {"$ref": "#/definitions/Bar"}}}},
    "put": {"operationId": "PutBar", "summary": "Keeps a bar.", "tags": ["Bars"],
      "parameters": [{"name": "body", "in": "body", "schema": {"$ref": "#/definitions/Bar"}}], "responses": {}}}},
  "definitions": {
    "Bar": {"type": "object", "required": ["kind"], "properties": {
      "kind": {"description": "Which.", "allOf": [{"$ref": "#/definitions/Kind"}]},
      "after": {"type": "array", "items": {"$ref": "#/definitions/Bar"}, "readOnly": true},
      "grams": {"type": "string", "format": "int64"},
      "any": {}}},
    "Kind": {"type": "string", "enum": ["SHORT", "LONG"], "description": "What it is.\n\n - SHORT: One of\n15 kg.\n - LONG: One of 20 kg."}}}`

func TestPages(t *testing.T) {
	pages, err := Pages([]byte(small))
	require.NoError(t, err)
	require.Len(t, pages, 6)
	text := func(path string) string {
		require.Contains(t, pages, path)
		return strings.Join(strings.Fields(string(pages[path].Body)), " ")
	}
	home := text("/docs")
	require.Contains(t, home, "<p>One line with another.</p> <p>A second &lt;b&gt;.</p>")
	require.Contains(t, home, `href="/docs/calls/GetBar"`)
	require.Contains(t, text("/docs/calls/PutBar"), `<h2>Body</h2> <p><a href="/docs/types/Bar">Bar</a></p>`)
	require.Contains(t, text("/docs/calls/GetBar"), "<p>Really.</p>")
	bar := text("/docs/types/Bar")
	require.Contains(t, bar, `<code>kind</code> <span class="kind"><a href="/docs/types/Kind">Kind</a></span> <em>required</em>`)
	require.Contains(t, bar, `list of <a href="/docs/types/Bar">Bar</a></span> <em>output only</em>`)
	require.Contains(t, bar, `string (int64)`)
	require.Contains(t, bar, `<span class="kind">any</span>`)
	require.Less(t, strings.Index(bar, ">kind<"), strings.Index(bar, ">after<"), "fields keep their order")
	kind := text("/docs/types/Kind")
	require.Contains(t, kind, "<p>What it is.</p>")
	require.Contains(t, kind, "<dt><code>SHORT</code></dt> <dd>One of 15 kg.</dd>")
	require.NotContains(t, kind, " - ")
}

func TestPagesOfWhatIsNoDescription(t *testing.T) {
	for _, s := range []string{"", "[]", `{"paths": []}`, `{"definitions": {"A": {"properties": 1}}}`} {
		_, err := Pages([]byte(s))
		require.Error(t, err, s)
	}
}

// Every page runs nothing and loads nothing from elsewhere, whatever the description says.
func TestPagesAreInert(t *testing.T) {
	nasty := strings.ReplaceAll(small, "Which.", `<script src=//x></script>\" onclick=\"x`)
	pages, err := Pages([]byte(nasty))
	require.NoError(t, err)
	active := regexp.MustCompile(`(?i)<script|<style|<iframe|<img|\sstyle=|<[^>]*\son[a-z]+=|javascript:|(href|src)="[^/#]|(href|src)="//`)
	for path, p := range pages {
		require.False(t, active.Match(p.Body), "%s: %s", path, active.Find(p.Body))
	}
}
