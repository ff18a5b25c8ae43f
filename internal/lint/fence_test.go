package lint

import (
	"fmt"
	"go/ast"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// room is a package, or with /* every package below a path, and the rooms of
// this module that its non-test files may import.
type room struct {
	path string
	may  []string
}

var (
	floor0 = []string{"engine/plan", "engine/fault"}
	floor1 = join(floor0, "engine/load", "engine/exercise", "engine/dose")
	floor2 = join(floor1, "engine/schedule", "engine/prescribe", "engine/audit", "engine/compare", "engine/contrast", "engine/adapt", "engine/trial", "engine/trial/*", "engine/evidence")
	floor3 = join(floor2, "engine")
	floor4 = join(floor3, "strategies", "strategies/*", "internal/export", "internal/chart")
	floor5 = join(floor4, "internal/service", "internal/wire", "gen/*")
	floor6 = join(floor5, "engine/conform", "internal/apidoc", "internal/rpc", "internal/gateway", "internal/gate", "internal/telemetry", "internal/web", "internal/job", "internal/store", "internal/store/*", "strategies/remote")
	floor7 = join(floor6, "internal/app")
)

// plan of the house: each floor sees only lower ones and siblings never see
// each other. A new package gets a line here first.
var rooms = []room{
	{"engine/plan", nil},
	{"engine/fault", nil},

	{"engine/load", floor0},
	{"engine/exercise", floor0},
	{"engine/dose", join(floor0, "engine/exercise")},

	{"engine/schedule", floor1},
	{"engine/prescribe", floor1},
	{"engine/audit", floor1},
	{"engine/compare", floor0},
	{"engine/contrast", floor1},
	{"engine/adapt", floor1},
	{"engine/trial", join(floor1, "engine/trial/*")},
	{"engine/trial/draw", floor0},
	{"engine/trial/match", floor0},
	{"engine/trial/stat", join(floor0, "engine/trial/draw")},
	{"engine/trial/assign", join(floor0, "engine/trial/draw", "engine/trial/match")},
	{"engine/trial/sequential", join(floor0, "engine/trial/draw", "engine/trial/stat")},
	{"engine/trial/analyse", join(floor0, "engine/trial/draw", "engine/trial/assign", "engine/trial/stat", "engine/trial/sequential")},
	{"engine/trial/power", join(floor0, "engine/trial/draw", "engine/trial/match", "engine/trial/stat", "engine/trial/assign", "engine/trial/analyse")},
	{"engine/trial/conduct", join(floor0, "engine/trial/*")},
	{"engine/trial/report", join(floor0, "engine/trial/stat", "engine/trial/assign", "engine/trial/analyse")},
	{"engine/trial/report/reporttest", join(floor0, "engine/trial/*")},
	{"engine/evidence", floor1},

	{"engine", floor2},
	{"engine/conform", floor3},
	{"engine/strategytest", join(floor3, "engine/conform")},

	{"strategies", join(floor3, "strategies/*")},
	{"strategies/internal/*", floor3},
	{"strategies/remote", join(floor3, "internal/wire", "gen/*")},
	{"strategies/remote/remotetest", join(floor3, "internal/wire", "gen/*")},
	{"strategies/*", join(floor3, "strategies/internal/*")},
	{"internal/export", floor2},
	{"internal/chart", join(floor0, "engine/trial/report")},

	{"internal/service", join(floor3, "internal/export", "internal/chart")},
	{"internal/wire", join(floor3, "internal/service", "gen/*")},
	{"internal/rpc", join(floor4, "internal/service", "internal/wire", "gen/*")},
	{"internal/gateway", join(floor4, "internal/service", "gen/*")},
	{"internal/gate", join(floor4, "internal/service")},
	{"internal/telemetry", join(floor4, "internal/service")},
	{"internal/apidoc", nil},
	{"internal/web", join(floor4, "internal/service")},
	{"internal/job", join(floor4, "internal/service")},
	{"internal/store", join(floor4, "internal/service")},
	{"internal/store/storetest", join(floor4, "internal/service")},
	{"internal/store/memory", join(floor4, "internal/service")},
	{"internal/store/rows", join(floor4, "internal/service")},
	{"internal/store/sqlite", join(floor4, "internal/service", "internal/store/rows")},
	{"internal/store/postgres", join(floor4, "internal/service", "internal/store/rows")},

	{"internal/app", floor6},
	{"cmd/*", floor7},
	{"gen/*", []string{"gen/*"}},
	{"internal/reference", join(floor2)},
	{"internal/lint", nil},
}

func join(base []string, more ...string) []string {
	return append(append([]string(nil), base...), more...)
}

// find returns the room of a package: the exact one, else the narrowest /*.
func find(p string) (room, bool) {
	var best room
	found := false
	for _, r := range rooms {
		if r.path == p {
			return r, true
		}
		if covers(r.path, p) && len(r.path) > len(best.path) {
			best, found = r, true
		}
	}
	return best, found
}

func covers(pattern, p string) bool {
	if dir, ok := strings.CutSuffix(pattern, "/*"); ok {
		return strings.HasPrefix(p, dir+"/")
	}
	return pattern == p
}

// fence says what a file imports against the plan. Tests may look anywhere:
// they check floors against each other.
func fence(s source) []string {
	if s.isTest() {
		return nil
	}
	here, ok := find(s.pkg())
	if !ok {
		return []string{fmt.Sprintf("%s: package %q has no place on the floor plan: add it to rooms", s.path, s.pkg())}
	}
	var bad []string
	for _, imp := range s.imports() {
		target, ours := strings.CutPrefix(imp, module+"/")
		switch {
		case imp == module:
			bad = append(bad, fmt.Sprintf("%s: imports the module's root", s.path))
		case ours:
			if !allowed(here, target) {
				bad = append(bad, fmt.Sprintf("%s: %s may not import %s", s.path, s.pkg(), target))
			}
		case (here.path == "engine/plan" || here.path == "engine/fault") && strings.Contains(strings.Split(imp, "/")[0], "."):
			bad = append(bad, fmt.Sprintf("%s: %s may import the standard library only, not %s", s.path, s.pkg(), imp))
		}
	}
	return bad
}

func allowed(here room, target string) bool {
	// Built-in strategies stay free of transport, so none may pull in remote,
	// which the pattern strategies/* would let through.
	exact := within(target, "strategies/remote") || within(target, "strategies/internal")
	for _, may := range here.may {
		if exact && may == "strategies/*" {
			continue
		}
		if covers(may, target) {
			return true
		}
	}
	return false
}

func TestImportFence(t *testing.T) {
	var bad []string
	for _, s := range sources(t) {
		bad = append(bad, fence(s)...)
	}
	sort.Strings(bad)
	require.Empty(t, bad, strings.Join(bad, "\n"))
}

func TestImportFenceCatches(t *testing.T) {
	for _, c := range []struct{ file, imports, want string }{
		{"engine/plan/a.go", module + "/engine/fault", "may not import engine/fault"},
		{"engine/plan/a.go", "sigs.k8s.io/yaml", "standard library only"},
		{"engine/load/a.go", module + "/engine/dose", "may not import engine/dose"},
		{"engine/exercise/a.go", module + "/engine/dose", "may not import engine/dose"},
		{"engine/schedule/a.go", module + "/engine/prescribe", "may not import engine/prescribe"},
		{"engine/audit/a.go", module + "/engine", "may not import engine"},
		{"engine/a.go", module + "/strategies", "may not import strategies"},
		{"engine/a.go", module + "/internal/wire", "may not import internal/wire"},
		{"strategies/linear/a.go", module + "/strategies/block", "may not import strategies/block"},
		{"strategies/linear/a.go", module + "/internal/app", "may not import internal/app"},
		{"strategies/a.go", module + "/strategies/remote", "may not import strategies/remote"},
		{"strategies/a.go", module + "/gen/phasewright/v1", "may not import gen/phasewright/v1"},
		{"internal/wire/a.go", module + "/internal/app", "may not import internal/app"},
		{"internal/store/sqlite/a.go", module + "/internal/store/postgres", "may not import internal/store/postgres"},
		{"internal/store/memory/a.go", module + "/internal/store/rows", "may not import internal/store/rows"},
		{"internal/store/loose/a.go", "fmt", "no place on the floor plan"},
		{"internal/app/a.go", module + "/cmd/phasewright", "may not import cmd/phasewright"},
		{"engine/loose/a.go", "fmt", "no place on the floor plan"},
		{"a.go", "fmt", "no place on the floor plan"},
		{"cmd/phasewright/a.go", module, "module's root"},
	} {
		got := fence(parse(t, c.file, "package a\nimport _ \""+c.imports+"\"\n"))
		require.Len(t, got, 1, "%s importing %s", c.file, c.imports)
		require.Contains(t, got[0], c.want)
	}
}

func TestImportFenceLetsThrough(t *testing.T) {
	for _, c := range []struct{ file, imports string }{
		{"engine/load/a.go", module + "/engine/plan"},
		{"engine/dose/a.go", module + "/engine/exercise"},
		{"engine/audit/a.go", module + "/engine/load"},
		{"engine/a.go", module + "/engine/audit"},
		{"strategies/a.go", module + "/strategies/linear"},
		{"strategies/linear/a.go", module + "/engine"},
		{"strategies/remote/a.go", module + "/internal/wire"},
		{"internal/wire/a.go", module + "/gen/phasewright/v1"},
		{"internal/store/sqlite/a.go", module + "/internal/store/rows"},
		{"internal/app/a.go", module + "/strategies/remote"},
		{"cmd/phasewright/a.go", module + "/internal/app"},
		{"engine/plan/a_test.go", module + "/engine"},
	} {
		got := fence(parse(t, c.file, "package a\nimport _ \""+c.imports+"\"\n"))
		require.Empty(t, got, "%s importing %s", c.file, c.imports)
	}
}

// testOnly are libraries that no shipped package may carry.
var testOnly = []string{"github.com/stretchr/testify", "pgregory.net/rapid", "testing"}

// leaks says where a non-test file imports what is for tests only.
func leaks(s source) []string {
	if s.isTest() || testSupport(s.pkg()) {
		return nil
	}
	var bad []string
	for _, imp := range s.imports() {
		for _, lib := range testOnly {
			if within(imp, lib) {
				bad = append(bad, fmt.Sprintf("%s: %s is for tests only", s.path, imp))
			}
		}
		if strings.HasPrefix(imp, module+"/") && testSupport(imp) {
			bad = append(bad, fmt.Sprintf("%s: %s is for tests only", s.path, imp))
		}
	}
	return bad
}

func TestTestLibrariesStayInTests(t *testing.T) {
	var bad []string
	for _, s := range sources(t) {
		bad = append(bad, leaks(s)...)
	}
	require.Empty(t, bad, strings.Join(bad, "\n"))
}

func TestTestLibrariesStayInTestsCatches(t *testing.T) {
	for _, imp := range []string{
		"github.com/stretchr/testify/require", "pgregory.net/rapid", "testing", "testing/quick",
		module + "/engine/strategytest", module + "/internal/store/storetest",
	} {
		text := "package a\nimport _ \"" + imp + "\"\n"
		require.Len(t, leaks(parse(t, "engine/a.go", text)), 1, imp)
		require.Empty(t, leaks(parse(t, "engine/a_test.go", text)), imp)
		require.Empty(t, leaks(parse(t, "engine/strategytest/a.go", text)), imp)
	}
}

// databases are libraries that only the stores know.
var databases = []string{"database/sql", "github.com/jackc/pgx", "modernc.org/sqlite"}

// queries says where a file outside of the stores reaches for a database.
func queries(s source) []string {
	if s.isTest() || within(s.pkg(), "internal/store") {
		return nil
	}
	var bad []string
	for _, imp := range s.imports() {
		for _, lib := range databases {
			if within(imp, lib) {
				bad = append(bad, fmt.Sprintf("%s: %s is for internal/store only", s.path, imp))
			}
		}
	}
	return bad
}

func TestDatabasesStayInStores(t *testing.T) {
	var bad []string
	for _, s := range sources(t) {
		bad = append(bad, queries(s)...)
	}
	require.Empty(t, bad, strings.Join(bad, "\n"))
}

func TestDatabasesStayInStoresCatches(t *testing.T) {
	for _, imp := range []string{"database/sql", "database/sql/driver", "github.com/jackc/pgx/v5", "modernc.org/sqlite"} {
		text := "package a\nimport _ \"" + imp + "\"\n"
		for _, file := range []string{"internal/service/a.go", "internal/app/a.go", "engine/a.go"} {
			require.Len(t, queries(parse(t, file, text)), 1, imp)
		}
		require.Empty(t, queries(parse(t, "internal/store/sqlite/a.go", text)), imp)
		require.Empty(t, queries(parse(t, "internal/app/a_test.go", text)), imp)
	}
}

// opened says where a file that is no test opens a store with its walls taken down.
func opened(s source) []string {
	if s.isTest() {
		return nil
	}
	var bad []string
	ast.Inspect(s.file, func(n ast.Node) bool {
		if e, ok := n.(*ast.SelectorExpr); ok && e.Sel.Name == "OpenUnfiltered" {
			bad = append(bad, s.line(e.Pos())+": OpenUnfiltered is for tests only")
		}
		return true
	})
	return bad
}

func TestWallsStayUp(t *testing.T) {
	var bad []string
	for _, s := range sources(t) {
		bad = append(bad, opened(s)...)
	}
	require.Empty(t, bad, strings.Join(bad, "\n"))
}

func TestWallsStayUpCatches(t *testing.T) {
	text := "package a\nimport \"x/postgres\"\nvar open = postgres.OpenUnfiltered\n"
	require.Len(t, opened(parse(t, "internal/app/a.go", text)), 1)
	require.Empty(t, opened(parse(t, "internal/app/a_test.go", text)))
}
