package load

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/plan"
)

func TestPublishedTextbookTable(t *testing.T) {
	// Printed rows (from memory); 13 and 14 are the linear fill.
	want := map[int32]plan.Permille{1: 1000, 2: 950, 3: 930, 4: 900, 5: 870, 6: 850, 7: 830, 8: 800, 9: 770,
		10: 750, 11: 700, 12: 670, 13: 663, 14: 657, 15: 650}
	for reps, p := range want {
		got, ok := Textbook(reps)
		require.True(t, ok)
		require.Equal(t, p, got, reps)
	}
	for _, reps := range []int32{-1, 0, 16} {
		for _, table := range []LoadTable{Textbook, EpleyTable, BrzyckiTable} {
			_, ok := table(reps)
			require.False(t, ok)
		}
	}
}

func TestPublishedRIRTables(t *testing.T) {
	tables := []struct {
		name  string
		table LoadTable
		want  [10][]plan.Permille
	}{
		{"NSCA", Textbook, [10][]plan.Permille{
			{1000, 950, 930, 900, 870, 850}, {950, 930, 900, 870, 850, 830}, {930, 900, 870, 850, 830, 800},
			{900, 870, 850, 830, 800, 770}, {870, 850, 830, 800, 770, 750}, {850, 830, 800, 770, 750, 700},
			{830, 800, 770, 750, 700, 670}, {800, 770, 750, 700, 670, 663}, {770, 750, 700, 670, 663, 657},
			{750, 700, 670, 663, 657, 650}}},
		{"Epley", EpleyTable, [10][]plan.Permille{
			{1000, 938, 909, 882, 857, 833}, {938, 909, 882, 857, 833, 811}, {909, 882, 857, 833, 811, 789},
			{882, 857, 833, 811, 789, 769}, {857, 833, 811, 789, 769, 750}, {833, 811, 789, 769, 750, 732},
			{811, 789, 769, 750, 732, 714}, {789, 769, 750, 732, 714, 698}, {769, 750, 732, 714, 698, 682},
			{750, 732, 714, 698, 682, 667}}},
		{"Brzycki", BrzyckiTable, [10][]plan.Permille{
			{1000, 972, 944, 917}, {972, 944, 917, 889}, {944, 917, 889, 861}, {917, 889, 861, 833},
			{889, 861, 833, 806}, {861, 833, 806, 778}, {833, 806, 778, 750}, {806, 778, 750, 722},
			{778, 750, 722, 694}, {750, 722, 694, 667}}},
	}
	for _, tt := range tables {
		t.Run(tt.name, func(t *testing.T) {
			for i, row := range tt.want {
				for rir, want := range row {
					got, ok := tt.table.ByRIR(int32(i+1), int32(rir))
					require.True(t, ok)
					require.Equal(t, want, got, "%d repetitions, RIR %d", i+1, rir)
				}
			}
		})
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
