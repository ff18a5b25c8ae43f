package strategies_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies"
)

var rewrite = flag.Bool("rewrite", false, "rewrite the golden outlines")

func outlineRequest(weeks, sessions int32, s plan.Status, strength, size bool) plan.OutlineRequest {
	r := plan.OutlineRequest{Weeks: weeks, Status: s, Strength: strength, Size: size}
	for range weeks {
		r.Sessions = append(r.Sessions, sessions)
	}
	return r
}

func outlineOf(t testing.TB, id string, r plan.OutlineRequest, params ...plan.Param) plan.Outline {
	t.Helper()
	reg, err := engine.NewRegistry(strategies.Builtin()...)
	require.NoError(t, err)
	s, err := reg.Lookup(id)
	require.NoError(t, err)
	in, err := s.Parse(params)
	require.NoError(t, err)
	o, err := in.Outline(t.Context(), r)
	require.NoError(t, err)
	require.NoError(t, engine.CheckOutline(&o, r))
	return o
}

func TestBuiltinNames(t *testing.T) {
	reg, err := engine.NewRegistry(strategies.Builtin()...)
	require.NoError(t, err)
	var ids []string
	for _, d := range reg.List() {
		ids = append(ids, d.ID())
	}
	require.Equal(t, []string{"autoregulated@1", "block@1", "constant@1", "linear@1", "reverse-linear@1", "strength-then-size@1", "undulating@1"}, ids)
}

// Default outlines, to be read by eye. Rewritten with: go test ./strategies -rewrite
func TestGoldenOutlines(t *testing.T) {
	want := map[string]bool{}
	for _, s := range strategies.Builtin() {
		name := s.Describe().Name
		for _, weeks := range []int32{8, 12} {
			file := filepath.Join("testdata", fmt.Sprintf("%s-%d.txt", name, weeks))
			want[file] = true
			t.Run(filepath.Base(file), func(t *testing.T) {
				var parts []string
				for _, r := range []plan.OutlineRequest{
					outlineRequest(weeks, 2, plan.Novice, false, true),
					outlineRequest(weeks, 3, plan.Intermediate, true, true),
					outlineRequest(weeks, 4, plan.Advanced, true, false),
				} {
					o := outlineOf(t, name, r)
					parts = append(parts, render(&o, r))
				}
				got := strings.Join(parts, "\n"+strings.Repeat("-", 72)+"\n\n")
				if *rewrite {
					require.NoError(t, os.MkdirAll("testdata", 0o755))
					require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
				}
				golden, err := os.ReadFile(file)
				require.NoError(t, err)
				require.Equal(t, string(golden), got)
			})
		}
	}
	files, err := filepath.Glob("testdata/*.txt")
	require.NoError(t, err)
	for _, f := range files {
		require.True(t, want[f], "%s belongs to no strategy", f)
	}
}
