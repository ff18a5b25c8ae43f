package lint

import (
	"fmt"
	"go/ast"
	"go/build"
	"maps"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A page of claims has tables only below its first heading, but for sentences that end
// with a colon and lead to one. The last column of each says what holds the claim.
const (
	heldBy  = "held by"
	notHeld = "not held by a test"
)

var (
	namedTest = regexp.MustCompile("`(?:([a-z0-9]+)\\.)?((?:Test|Fuzz)[A-Z]\\w*)`")
	tableRule = regexp.MustCompile(`^\|[-|]+\|$`)
)

// claim is a row of the page, with the tests that its last column names: TestX, or
// folder.TestX.
type claim struct {
	line  int
	tests [][2]string
}

// claims reads a page and says what in it is neither held nor said to be not.
func claims(text string) (all []claim, bad []string) {
	section, columns := false, 0
	for i, line := range strings.Split(text, "\n") {
		at := fmt.Sprintf("line %d", i+1)
		switch {
		case strings.HasPrefix(line, "## "):
			section, columns = true, 0
		case !section, line == "", tableRule.MatchString(line):
		case !strings.HasPrefix(line, "|"):
			if !strings.HasSuffix(line, ":") {
				bad = append(bad, at+" claims something outside of a table")
			}
			columns = 0
		case columns == 0:
			columns = strings.Count(line, "|")
			if !strings.HasSuffix(line, "| "+heldBy+" |") {
				bad = append(bad, at+": the table has no last column "+heldBy)
			}
		default:
			cells := strings.Split(strings.Trim(line, "|"), "|")
			c := claim{line: i + 1}
			for _, m := range namedTest.FindAllStringSubmatch(cells[len(cells)-1], -1) {
				c.tests = append(c.tests, [2]string{m[1], m[2]})
			}
			if strings.Count(line, "|") != columns || len(c.tests) == 0 && !strings.Contains(cells[len(cells)-1], notHeld) {
				bad = append(bad, at+": no test is named, and it does not say "+notHeld)
			}
			all = append(all, c)
		}
	}
	return all, bad
}

// suite is what is known of the tests of a folder.
type suite struct {
	dir   string
	tests map[string]bool            // by name
	body  map[string][]*ast.FuncDecl // of all functions of its tests, by name
}

// suites are those of the tree, without files that are not built here.
func suites(t *testing.T, all []source) map[string]*suite {
	out := map[string]*suite{}
	for _, s := range all {
		if !s.isTest() {
			continue
		}
		dir := s.pkg()
		if built, err := build.Default.MatchFile(filepath.Join(root(t), filepath.FromSlash(dir)), path.Base(s.path)); err != nil || !built {
			continue
		}
		if out[dir] == nil {
			out[dir] = &suite{dir, map[string]bool{}, map[string][]*ast.FuncDecl{}}
		}
		out[dir].add(s)
	}
	return out
}

func (u *suite) add(s source) {
	for _, d := range s.file.Decls {
		f, ok := d.(*ast.FuncDecl)
		if !ok {
			continue
		}
		u.body[f.Name.Name] = append(u.body[f.Name.Name], f)
		if f.Recv == nil && regexp.MustCompile(`^(Test|Fuzz)[A-Z]`).MatchString(f.Name.Name) {
			u.tests[f.Name.Name] = true
		}
	}
}

// needs gives the variables of the environment without which a test does nothing, or
// less: those that decide about a t.Skip, and the one that asks for other programs. One
// that lies behind testing.Short is run by everything here. A skip that no variable
// decides about is "always".
func (u *suite) needs(test string) []string {
	out := map[string]bool{}
	for f := range u.reached(test, "TestMain") {
		var open []ast.Node
		ast.Inspect(f, func(n ast.Node) bool {
			if n == nil {
				open = open[:len(open)-1]
				return true
			}
			open = append(open, n)
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			if s, ok := call.Fun.(*ast.SelectorExpr); ok && slices.Contains([]string{"Skip", "Skipf", "SkipNow"}, s.Sel.Name) && !short(open) {
				some := false
				for g := range u.reached(f.Name.Name) {
					for _, v := range variables(g) {
						out[v], some = true, true
					}
				}
				out["always"] = out["always"] || !some
			}
			return true
		})
		if slices.Contains(variables(f), "PHASEWRIGHT_STORE_TOOLS") {
			out["PHASEWRIGHT_STORE_TOOLS"] = true
		}
	}
	delete(out, "")
	for v, ok := range out {
		if !ok {
			delete(out, v)
		}
	}
	return slices.Sorted(maps.Keys(out))
}

// reached are the functions of a folder's tests that some of them call, themselves too.
func (u *suite) reached(from ...string) map[*ast.FuncDecl]bool {
	out := map[*ast.FuncDecl]bool{}
	for len(from) > 0 {
		name := from[0]
		from = from[1:]
		for _, f := range u.body[name] {
			if out[f] {
				continue
			}
			out[f] = true
			ast.Inspect(f, func(n ast.Node) bool {
				if call, ok := n.(*ast.CallExpr); ok {
					if id, ok := call.Fun.(*ast.Ident); ok { // not methods: a name is no type
						from = append(from, id.Name)
					}
				}
				return true
			})
		}
	}
	return out
}

// short says whether the innermost if asks testing.Short.
func short(open []ast.Node) bool {
	for _, n := range slices.Backward(open) {
		if f, ok := n.(*ast.IfStmt); ok {
			asks := false
			ast.Inspect(f.Cond, func(n ast.Node) bool {
				s, ok := n.(*ast.SelectorExpr)
				asks = asks || ok && s.Sel.Name == "Short"
				return true
			})
			return asks
		}
	}
	return false
}

func variables(f *ast.FuncDecl) (out []string) {
	ast.Inspect(f, func(n ast.Node) bool {
		if l, ok := n.(*ast.BasicLit); ok && strings.HasPrefix(l.Value, `"PHASEWRIGHT_`) {
			out = append(out, strings.Trim(l.Value, `"`))
		}
		return true
	})
	return out
}

// command is a line that runs tests.
type command struct {
	set       []string // variables
	run, skip *regexp.Regexp
	folders   []string // as the go command takes them
}

func (c command) runs(dir, test string) bool {
	if c.run != nil && !c.run.MatchString(test) || c.skip != nil && c.skip.MatchString(test) {
		return false
	}
	return slices.ContainsFunc(c.folders, func(f string) bool {
		f = strings.TrimPrefix(f, "./")
		below, all := strings.CutSuffix(f, "...")
		return f == dir || all && within(dir, strings.TrimSuffix(below, "/")) || f == "..."
	})
}

var (
	flagRun    = regexp.MustCompile(`-run[ =]'([^']*)'`)
	flagSkip   = regexp.MustCompile(`-skip[ =]'([^']*)'`)
	setting    = regexp.MustCompile(`\b(PHASEWRIGHT_\w+)=`)
	folderName = regexp.MustCompile(`\./[\w./]*`)
	serverTest = regexp.MustCompile(`(?m)^ *server_tests \d+ '([^']*)'`)
	testsFence = regexp.MustCompile("(?s)<!-- tests -->\\s*```sh\\n(go test [^\\n]*)\\n")
)

// commands reads the README's own command and those of .ci/run. server_tests, which has
// its pattern from elsewhere, is read where it is used.
func commands(readme, run string) (out []command) {
	add := func(line string) {
		c := command{folders: folderName.FindAllString(line, -1)}
		for _, m := range setting.FindAllStringSubmatch(line, -1) {
			c.set = append(c.set, m[1])
		}
		if m := flagRun.FindStringSubmatch(line); m != nil {
			c.run = regexp.MustCompile(m[1])
		}
		if m := flagSkip.FindStringSubmatch(line); m != nil {
			c.skip = regexp.MustCompile(m[1])
		}
		out = append(out, c)
	}
	if m := testsFence.FindStringSubmatch(readme); m != nil {
		add(m[1])
	}
	for _, line := range strings.Split(strings.ReplaceAll(run, "\\\n", " "), "\n") {
		if code := strings.TrimSpace(line); strings.Contains(code, "go test ") && !strings.HasPrefix(code, "#") && !strings.Contains(code, "go test -c ") && !strings.Contains(code, "go test -race") && !strings.Contains(code, "$golden") {
			add(code)
		}
	}
	for _, m := range serverTest.FindAllStringSubmatch(run, -1) {
		out = append(out, command{set: []string{"PHASEWRIGHT_STORE_TOOLS", "PHASEWRIGHT_STORE_KILLS"}, run: regexp.MustCompile("^Test(" + m[1] + ")"), folders: []string{"./internal/app"}})
	}
	return out
}

// unheld says which claims name a test that is not there, is in several folders, or is
// run by no command as it has to be.
func unheld(all []claim, in map[string]*suite, by []command) (bad []string) {
	for _, c := range all {
		for _, name := range c.tests {
			at := fmt.Sprintf("line %d: %s", c.line, name[1])
			var found []*suite
			for _, dir := range slices.Sorted(maps.Keys(in)) {
				if in[dir].tests[name[1]] && (name[0] == "" || path.Base(dir) == name[0]) {
					found = append(found, in[dir])
				}
			}
			if len(found) != 1 {
				bad = append(bad, fmt.Sprintf("%s is in %d folders", at, len(found)))
				continue
			}
			needs := found[0].needs(name[1])
			if !slices.ContainsFunc(by, func(c command) bool {
				return c.runs(found[0].dir, name[1]) && !slices.ContainsFunc(needs, func(v string) bool { return !slices.Contains(c.set, v) })
			}) {
				bad = append(bad, fmt.Sprintf("%s is run by neither .ci/run nor the README's command with %v", at, needs))
			}
		}
	}
	return bad
}

// Every claim of the security guide is held by tests that exist and run, or says that it
// is not.
func TestSecurityClaimsAreHeld(t *testing.T) {
	read := func(name string) string {
		text, err := os.ReadFile(filepath.Join(root(t), name))
		require.NoError(t, err)
		return string(text)
	}
	all, bad := claims(read("docs/security.md"))
	in, by := suites(t, sources(t)), commands(read("README.md"), read(".ci/run"))
	require.Greater(t, len(by), 5)
	bad = append(bad, unheld(all, in, by)...)
	require.Empty(t, bad, strings.Join(bad, "\n"))
	names, open := map[[2]string]bool{}, 0
	for _, c := range all {
		for _, name := range c.tests {
			names[name] = true
		}
		if len(c.tests) == 0 {
			open++
		}
	}
	require.Greater(t, len(all), 40)
	t.Logf("%d claims, %d tests, %d claims that none holds", len(all), len(names), open)
}

func TestSecurityClaimsAreHeldCatches(t *testing.T) {
	const table = "# A\nAnything.\n\n## B\n| claim | held by |\n|---|---|\n"
	for page, want := range map[string]int{
		table + "| a | `TestA` |\n| b | not held by a test |\n":                0,
		"## B\nSee:\n\n| a | held by |\n|--|--|\n| b | `x.FuzzA`, `TestB` |\n": 0,
		table + "| a | |\n":                     1,
		table + "| a | TestA |\n":               1,
		table + "| `TestA` | soon |\n":          1,
		table + "\nIt is safe.\n":               1,
		"## B\n| claim |\n|---|\n| `TestA` |\n": 1,
		table + "| a | `TestA` | b |\n":         1,
	} {
		_, bad := claims(page)
		require.Len(t, bad, want, page)
	}

	u := &suite{"internal/app", map[string]bool{}, map[string][]*ast.FuncDecl{}}
	u.add(parse(t, "internal/app/a_test.go", `package app
import ("os"; "testing")
func TestPlain(t *testing.T) { helper() }
func TestShort(t *testing.T) { if testing.Short() { t.Skip("x") }; for range os.Getenv("PHASEWRIGHT_LONG") {} }
func TestLong(t *testing.T) { if os.Getenv("PHASEWRIGHT_LONG") == "" { t.Skip("x") } }
func TestStore(t *testing.T) { if !tools() { t.Skip("x") } }
func TestServer(t *testing.T) { helped(t) }
func TestNever(t *testing.T) { t.Skip("some day") }
func helper() {}
func helped(t *testing.T) { if !tools() { return } }
func tools() bool { return os.Getenv("PHASEWRIGHT_STORE_TOOLS") != "" }
`))
	in := map[string]*suite{"internal/app": u, "x/app": {"x/app", map[string]bool{"TestPlain": true}, nil}}
	const run = "step() {\n  PHASEWRIGHT_STORE_TOOLS=1 go test \\\n    -run '^TestStore$' ./internal/app\n  server_tests 8 'Serv'\n}\n"
	readme := "<!-- tests -->\n```sh\ngo test ./...\n```\n"
	name := func(folder, test string) []claim { return []claim{{1, [][2]string{{folder, test}}}} }
	for test, want := range map[string]int{"TestShort": 0, "TestStore": 0, "TestServer": 0, "TestLong": 1, "TestNever": 1, "TestNone": 1, "TestPlain": 1} {
		require.Len(t, unheld(name("", test), in, commands(readme, run)), want, test)
	}
	require.Len(t, unheld(name("app", "TestPlain"), in, commands(readme, run)), 1, "two folders")
	delete(in, "x/app")
	require.Empty(t, unheld(name("app", "TestPlain"), in, commands(readme, run)))
	for test, want := range map[string]int{"TestShort": 1, "TestStore": 0, "TestServer": 0} {
		require.Len(t, unheld(name("", test), in, commands("<!-- tests -->\n```sh\ngo test -skip 'Short|Store' ./...\n```\n", run)), want, test)
	}
	require.Len(t, unheld(name("", "TestStore"), in, commands(readme, "")), 1, "no command has the tools")
}
