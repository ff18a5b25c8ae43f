package lint

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const module = "github.com/phasewright/phasewright"

// source is one parsed Go file of the main module.
type source struct {
	path string // from the root, with slashes
	fset *token.FileSet
	file *ast.File
}

// pkg is the file's package path below the module, "" for the root.
func (s source) pkg() string {
	dir := path.Dir(s.path)
	if dir == "." {
		return ""
	}
	return dir
}

func (s source) isTest() bool { return strings.HasSuffix(s.path, "_test.go") }

func (s source) line(p token.Pos) string {
	return s.path + ":" + strconv.Itoa(s.fset.Position(p).Line)
}

// imports lists the import paths in the order written.
func (s source) imports() []string {
	var out []string
	for _, spec := range s.file.Imports {
		p, err := strconv.Unquote(spec.Path.Value)
		if err == nil {
			out = append(out, p)
		}
	}
	return out
}

func parse(t *testing.T, name, text string) source {
	t.Helper()
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, name, text, parser.SkipObjectResolution)
	require.NoError(t, err)
	return source{path: name, fset: fset, file: file}
}

func root(t *testing.T) string {
	t.Helper()
	dir, err := filepath.Abs("../..")
	require.NoError(t, err)
	require.FileExists(t, filepath.Join(dir, "go.mod"))
	return dir
}

// files lists what is or would be committed; without git, everything but what
// the tools fetch.
func files(t *testing.T) []string {
	t.Helper()
	dir := root(t)
	cmd := exec.Command("git", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
	cmd.Dir = dir
	var out []string
	if list, err := cmd.Output(); err == nil {
		for _, name := range strings.Split(string(list), "\x00") {
			if info, err := os.Lstat(filepath.Join(dir, name)); name != "" && err == nil && info.Mode().IsRegular() {
				out = append(out, name)
			}
		}
	} else {
		fetched := map[string]bool{".git": true, "tools/bin": true, "tools/node_modules": true, "tools/thirdparty": true}
		err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			name, err := filepath.Rel(dir, p)
			if err != nil {
				return err
			}
			name = filepath.ToSlash(name)
			if d.IsDir() && fetched[name] {
				return filepath.SkipDir
			}
			if d.Type().IsRegular() {
				out = append(out, name)
			}
			return nil
		})
		require.NoError(t, err)
	}
	require.Contains(t, out, "go.mod")
	return out
}

// sources parses every Go file of the main module.
func sources(t *testing.T) []source {
	t.Helper()
	var out []source
	for _, name := range files(t) {
		if !strings.HasSuffix(name, ".go") || strings.HasPrefix(name, "tools/") || strings.Contains("/"+name, "/testdata/") {
			continue
		}
		text, err := os.ReadFile(filepath.Join(root(t), filepath.FromSlash(name)))
		require.NoError(t, err)
		out = append(out, parse(t, name, string(text)))
	}
	require.NotEmpty(t, out)
	return out
}

// within reports whether package path p is dir or below it.
func within(p, dir string) bool { return p == dir || strings.HasPrefix(p, dir+"/") }

// pure reports whether a package must be deterministic and free of transport,
// storage and clock: the engine and the built-in strategies.
func pure(p string) bool {
	return within(p, "engine") || within(p, "strategies") && !within(p, "strategies/remote")
}

// testSupport reports whether a package exists to be imported by tests, like a
// conformance suite.
func testSupport(p string) bool { return strings.HasSuffix(p, "test") }
