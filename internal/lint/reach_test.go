package lint

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// unreachable are packages that nothing pure may depend on, however far down.
var unreachable = []string{
	"google.golang.org/protobuf", "google.golang.org/grpc", "github.com/grpc-ecosystem", "buf.build",
	"database/sql", "net", "crypto/rand",
	module + "/gen", module + "/internal",
}

// harmless lie below net but open no connection.
var harmless = map[string]bool{"net/url": true, "net/netip": true}

// reach returns, for each pure package, a chain of imports that ends in an
// unreachable one.
func reach(imports map[string][]string) []string {
	var starts []string
	for p := range imports {
		if own, ok := strings.CutPrefix(p, module+"/"); ok && pure(own) && !testSupport(own) {
			starts = append(starts, p)
		}
	}
	sort.Strings(starts)
	var bad []string
	for _, start := range starts {
		from := map[string]string{start: ""}
		queue := []string{start}
		for len(queue) > 0 {
			p := queue[0]
			queue = queue[1:]
			if p != start && forbidden(p) {
				chain := p
				for up := from[p]; up != ""; up = from[up] {
					chain = up + " -> " + chain
				}
				bad = append(bad, chain)
				break
			}
			for _, next := range imports[p] {
				if _, seen := from[next]; !seen {
					from[next] = p
					queue = append(queue, next)
				}
			}
		}
	}
	return bad
}

func forbidden(p string) bool {
	if harmless[p] {
		return false
	}
	for _, u := range unreachable {
		if within(p, u) {
			return true
		}
	}
	return false
}

func TestPureCodeReachesNoTransport(t *testing.T) {
	// -e: a package that doesn't compile is the compiler's finding, not ours.
	cmd := exec.Command("go", "list", "-e", "-deps", "-json=ImportPath,Imports", "./engine/...", "./strategies/...")
	cmd.Dir = root(t)
	out, err := cmd.Output()
	require.NoError(t, err)
	imports := map[string][]string{}
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p struct {
			ImportPath string
			Imports    []string
		}
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else {
			require.NoError(t, err)
		}
		imports[p.ImportPath] = p.Imports
	}
	require.Contains(t, imports, module+"/engine/plan")
	bad := reach(imports)
	require.Empty(t, bad, strings.Join(bad, "\n"))
}

func TestPureCodeReachesNoTransportCatches(t *testing.T) {
	engine, linear, helper := module+"/engine", module+"/strategies/linear", "example.org/helper"
	for _, target := range []string{
		"net", "net/http", "database/sql", "database/sql/driver", "crypto/rand",
		"google.golang.org/grpc/codes", "google.golang.org/protobuf/proto",
		module + "/gen/phasewright/v1", module + "/internal/wire",
	} {
		got := reach(map[string][]string{engine: {"fmt", helper}, linear: {engine}, helper: {target}})
		require.Equal(t, []string{
			engine + " -> " + helper + " -> " + target,
			linear + " -> " + engine + " -> " + helper + " -> " + target,
		}, got)
	}
	require.Empty(t, reach(map[string][]string{
		engine: {"net/url", "math"}, module + "/strategies/remote": {"net"}, module + "/engine/strategytest": {"net"},
	}))
}
