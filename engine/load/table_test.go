package load

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestTableEnds(t *testing.T) {
	for _, reps := range []int32{-1, 0, 16} {
		for _, table := range []LoadTable{Textbook, EpleyTable, BrzyckiTable} {
			_, ok := table(reps)
			require.False(t, ok)
		}
	}
	_, ok := LoadTable(Textbook).ByRIR(10, 6)
	require.False(t, ok)
	_, ok = LoadTable(Textbook).ByRIR(5, -1)
	require.False(t, ok)
}

func TestTableInverse(t *testing.T) {
	for _, table := range []LoadTable{Textbook, EpleyTable, BrzyckiTable} {
		for reps := int32(1); reps <= 15; reps++ {
			p, _ := table(reps)
			got, ok := table.Reps(p)
			require.True(t, ok)
			require.Equal(t, reps, got)
			if reps > 1 {
				got, ok = table.Reps(p + 1)
				require.True(t, ok)
				require.Equal(t, reps-1, got)
			}
		}
		_, ok := table.Reps(1001)
		require.False(t, ok)
		_, ok = table.Reps(400)
		require.False(t, ok, "the table ends before 40 %%")
	}
}

func TestIsqrt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Int64Range(-5, 1<<60).Draw(t, "v")
		r := isqrt(v)
		if v <= 0 {
			require.Zero(t, r)
			return
		}
		require.LessOrEqual(t, r*r, v)
		require.Greater(t, (r+1)*(r+1), v)
	})
}
