package lint

import (
	"fmt"
	"go/ast"
	"go/token"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// clock are the functions of package time that read or wait for it.
var clock = set("Now Since Until After AfterFunc Tick NewTimer NewTicker Sleep")

// seeded are the names of math/rand (v1 and v2) that draw only from a source
// that the caller made; everything else there is the global source.
var seeded = set("New NewSource NewPCG NewChaCha8 NewZipf Rand Source Source64 PCG ChaCha8 Zipf")

// inexact are the functions of package math whose last bits may differ with
// and without fused multiply-add. Square root and rounding are exact.
var inexact = set("Acos Acosh Asin Asinh Atan Atan2 Atanh Cbrt Cos Cosh Erf Erfc Erfcinv Erfinv Exp Exp2 Expm1 " +
	"FMA Gamma Hypot J0 J1 Jn Lgamma Log Log10 Log1p Log2 Logb Pow Pow10 Sin Sincos Sinh Tan Tanh Y0 Y1 Yn")

func set(names string) map[string]bool {
	out := map[string]bool{}
	for _, n := range strings.Fields(names) {
		out[n] = true
	}
	return out
}

// impure says what in a file of the engine or a built-in strategy could make
// two runs differ. Uses of inexact math are keyed by file.
func impure(s source) (bad []string, math []string) {
	if s.isTest() || !pure(s.pkg()) {
		return nil, nil
	}
	names := map[string]string{}
	for _, spec := range s.file.Imports {
		p := strings.Trim(spec.Path.Value, `"`)
		name := p[strings.LastIndex(p, "/")+1:]
		if p == "math/rand/v2" {
			name = "rand"
		}
		if spec.Name != nil {
			name = spec.Name.Name
		}
		switch p {
		case "time", "math", "math/rand", "math/rand/v2":
			if name == "." {
				bad = append(bad, fmt.Sprintf("%s: dot import of %s hides what it uses", s.line(spec.Pos()), p))
			}
			names[name] = p
		case "hash/maphash":
			bad = append(bad, fmt.Sprintf("%s: hash/maphash has another seed in each process", s.line(spec.Pos())))
		}
	}
	for _, d := range s.file.Decls {
		if f, ok := d.(*ast.FuncDecl); ok && f.Recv == nil && f.Name.Name == "init" {
			bad = append(bad, fmt.Sprintf("%s: func init hides work and order; use a value and a constructor", s.line(f.Pos())))
		}
	}
	ast.Inspect(s.file, func(n ast.Node) bool {
		if g, ok := n.(*ast.GoStmt); ok {
			bad = append(bad, s.line(g.Pos())+": starts a goroutine; concurrency is the caller's, and the race run relies on it")
		}
		sel, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		id, ok := sel.X.(*ast.Ident)
		if !ok {
			return true
		}
		use := func(p token.Pos) string { return s.line(p) + ": " + id.Name + "." + sel.Sel.Name }
		switch names[id.Name] {
		case "time":
			if clock[sel.Sel.Name] {
				bad = append(bad, use(sel.Pos())+" uses the clock; dates are arguments")
			}
		case "math/rand", "math/rand/v2":
			if !seeded[sel.Sel.Name] {
				bad = append(bad, use(sel.Pos())+" draws from the global source; seeds are arguments")
			}
		case "math":
			if inexact[sel.Sel.Name] {
				math = append(math, use(sel.Pos())+" has other bits on other machines")
			}
		}
		return true
	})
	return bad, math
}

// allowance reads testdata/inexact_math.txt: "path: reason" a line.
func allowance(text string) (map[string]bool, error) {
	out := map[string]bool{}
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		file, reason, _ := strings.Cut(line, ":")
		if strings.TrimSpace(reason) == "" {
			return nil, fmt.Errorf("line %d: want \"path: reason\"", i+1)
		}
		out[file] = true
	}
	return out, nil
}

// judge applies the allowance to the files' findings; an entry that nothing
// needs is a finding too.
func judge(all []source, allow map[string]bool) []string {
	var bad []string
	needed := map[string]bool{}
	for _, s := range all {
		b, math := impure(s)
		bad = append(bad, b...)
		if len(math) > 0 && allow[s.path] {
			needed[s.path] = true
			continue
		}
		bad = append(bad, math...)
	}
	for file := range allow {
		if !needed[file] {
			bad = append(bad, file+": allowed inexact math but uses none")
		}
	}
	return bad
}

func TestPureCodeIsDeterministic(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("testdata", "inexact_math.txt"))
	require.NoError(t, err)
	allow, err := allowance(string(text))
	require.NoError(t, err)
	bad := judge(sources(t), allow)
	require.Empty(t, bad, strings.Join(bad, "\n"))
}

func TestPureCodeIsDeterministicCatches(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{`import "time"; var _ = time.Now()`, "uses the clock"},
		{`import clock "time"; var _ = clock.Since`, "uses the clock"},
		{`import . "time"; var _ = Now()`, "dot import"},
		{`import "math/rand"; var _ = rand.Intn(3)`, "global source"},
		{`import "math/rand/v2"; var _ = rand.N(3)`, "global source"},
		{`import r "math/rand/v2"; var _ = r.Shuffle`, "global source"},
		{`import "hash/maphash"; var _ maphash.Hash`, "another seed"},
		{`func init() {}`, "func init"},
		{`func f() { go f() }`, "goroutine"},
		{`import "math"; var _ = math.Exp(1)`, "other bits"},
		{`import "math"; var _ = math.Pow`, "other bits"},
		{`import m "math"; var _ = m.Log(2)`, "other bits"},
	} {
		for _, file := range []string{"engine/load/a.go", "strategies/linear/a.go", "strategies/a.go"} {
			got := judge([]source{parse(t, file, "package a; "+c.text)}, nil)
			require.Len(t, got, 1, c.text)
			require.Contains(t, got[0], c.want)
		}
		for _, file := range []string{"engine/load/a_test.go", "internal/app/a.go", "strategies/remote/a.go"} {
			require.Empty(t, judge([]source{parse(t, file, "package a; "+c.text)}, nil), file)
		}
	}
	fine := parse(t, "engine/a.go", `package a; import ("math"; "math/rand/v2"; "time")
		type T struct{}; func (T) init() {}
		var _, _, _ = math.Sqrt(2), rand.New(rand.NewPCG(1, 2)), time.Date`)
	require.Empty(t, judge([]source{fine}, nil))
}

func TestInexactMathAllowance(t *testing.T) {
	uses := parse(t, "engine/load/a.go", `package a; import "math"; var _ = math.Exp(1)`)
	allow, err := allowance("# why\n\nengine/load/a.go: shown to the reader only, decides nothing\n")
	require.NoError(t, err)
	require.Empty(t, judge([]source{uses}, allow))

	allow, err = allowance("engine/load/b.go: gone")
	require.NoError(t, err)
	require.Len(t, judge([]source{uses}, allow), 2, "the use, and the entry nothing needs")

	_, err = allowance("engine/load/a.go:")
	require.ErrorContains(t, err, "reason")
}
