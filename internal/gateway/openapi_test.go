package gateway

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/gen/openapi"
)

// The document that is served tells of every route, with the failures that it can give,
// and refers to nothing that isn't in it.
func TestOpenAPIIsWhatIsServed(t *testing.T) {
	var doc struct {
		Info  struct{ Title, Version, Description string }
		Paths map[string]map[string]struct {
			OperationID string
			Summary     string
			Responses   map[string]struct{ Schema map[string]any }
		}
		Definitions map[string]any
	}
	require.NoError(t, json.Unmarshal(openapi.JSON, &doc))
	require.Equal(t, "Phasewright", doc.Info.Title)
	require.Equal(t, "v1", doc.Info.Version)
	require.NotEmpty(t, doc.Info.Description)

	h := serve(t, &fake{}).(*gateway)
	name := regexp.MustCompile(`\{[\w.]+=([^}]+)\}`)
	one := regexp.MustCompile(`(\w+?)(ies|s)/\*`)
	ends := map[string]string{"ies": "y", "s": ""}
	found := map[string]bool{}
	for _, r := range h.routes {
		path := one.ReplaceAllStringFunc(name.ReplaceAllString(r.pattern, "$1"), func(s string) string {
			m := one.FindStringSubmatch(s)
			return m[1] + m[2] + "/{" + m[1] + ends[m[2]] + "}"
		})
		op, ok := doc.Paths[path][strings.ToLower(r.method)]
		require.True(t, ok, path)
		require.NotEmpty(t, op.Summary)
		require.False(t, found[op.OperationID])
		found[op.OperationID] = true
		codes := []string{"400", "401", "403", "404", "429", "405", "412", "500", "503", "504", "507", "default"}
		if r.body {
			codes = append(codes, "413", "415")
		}
		for _, c := range codes {
			require.Equal(t, "#/definitions/Status", op.Responses[c].Schema["$ref"], "%s %s", path, c)
		}
	}
	operations := 0
	for _, p := range doc.Paths {
		operations += len(p)
	}
	require.Equal(t, len(h.routes), operations)
	for _, ref := range regexp.MustCompile(`"#/definitions/(\w+)"`).FindAllSubmatch(openapi.JSON, -1) {
		require.Contains(t, doc.Definitions, string(ref[1]))
	}
}
