package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

func TestParseSets(t *testing.T) {
	for in, want := range map[string]string{
		"100kgx5,5,4@1":       "100 kg × 5, 5, 4 (1 left)",
		"100kgx5@3,5@2,4@0":   "100 kg × 5 (3 left), 5 (2 left), 4 (0 left)",
		"100kgx5,5,5":         "100 kg × 5, 5, 5",
		"100kgx5@3,5,4":       "100 kg × 5 (3 left), 5 (not said), 4 (not said)",
		"102,5kgx5,4@rpe8":    "102.5 kg × 5, 4 (2 left)",
		"60kgx8@3,80kgx5,5@1": "60 kg × 8 (3 left); 80 kg × 5 (not said), 5 (1 left)",
		"bwx8,7@2":            "body mass × 8, 7 (2 left)",
		"225 lb x 5, 5 @ 1":   "225 lb × 5, 5 (1 left)",
		"100×5":               "100 kg × 5",
		"bw+10kgx5@1":         "10 kg × 5 (1 left)",
	} {
		got, err := parseSets(in, plan.Kilogram)
		require.NoError(t, err, in)
		require.Equal(t, want, setLine(got), in)
	}
	for _, in := range []string{"", "5", "100kgx", "100kgx5,", "100kgx5,a", "x5", "100kgx5@", "100kgx5@2.5", "100kgx5,5@@1"} {
		_, err := parseSets(in, plan.Kilogram)
		require.Error(t, err, in)
	}
}

func FuzzParseSets(f *testing.F) {
	for _, s := range []string{"100kgx5,5,4@1", "bwx8,7@2", "102,5kgx5@rpe8", ",x,@", "60kgx8@3,80kgx5"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		sets, err := parseSets(s, plan.Kilogram)
		if err == nil && len(sets) == 0 {
			t.Fatal("neither sets nor an error")
		}
	})
}

func TestGenerateWritesFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "program.json")
	r := run(t, "", "generate", "-o", file)
	require.Equal(t, exitOK, r.code, r.err)
	require.Contains(t, r.out, "READ FIRST")
	got, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, demoJSON(t), string(got))
	require.Equal(t, exitInvalid, run(t, "", "generate", "-o", filepath.Join(t.TempDir(), "no", "such")).code)
}
