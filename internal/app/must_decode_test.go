package app

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReadMust(t *testing.T) {
	m, err := readMust([]byte(`about: Something.
program:
  - {weeks: 8}
  - {sets: {of: all, weeks: "1-3,5", rir: 2-}, because: a novice can't judge it}
`))
	require.NoError(t, err)
	require.Len(t, m.Program, 2)
	require.Equal(t, "a novice can't judge it", m.Program[1].Because)
	require.Equal(t, weekCount(8), *m.Program[0].Weeks)
	s := m.Program[1].Sets
	for n, want := range map[int32]bool{1: true, 3: true, 4: false, 5: true, 6: false} {
		require.Equal(t, want, s.Weeks.has(n), n)
	}
	require.True(t, s.RIR.has(99_000))
	require.False(t, s.RIR.has(1_999))
}

func TestSpans(t *testing.T) {
	for text, want := range map[string][2]int64{
		"6": {6000, 6000}, "6-10": {6000, 10_000}, "0.7-1.4": {700, 1400}, "2.5": {2500, 2500}, "0": {0, 0}, "1.125": {1125, 1125},
	} {
		var quoted, bare span
		require.NoError(t, quoted.UnmarshalJSON([]byte(`"`+text+`"`)), text)
		require.Equal(t, want, [2]int64{quoted.lo, quoted.hi}, text)
		if !strings.Contains(text, "-") {
			require.NoError(t, bare.UnmarshalJSON([]byte(text)), text)
			require.Equal(t, quoted, bare)
		}
	}
}

func TestReadMustRefuses(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"program: [{weeks: 8}]", "about is missing"},
		{"about: x", "either program or refused"},
		{"about: x\nprogram: []", "either program or refused"},
		{"about: x\nprogram: [{weeks: 8}]\nrefused: {kind: invalid, field: a, says: [b]}", "either program or refused"},
		{"about: x\nrefused: {kind: invalid, field: a}", "refused needs"},
		{"about: x\nrefused: {kind: invalid, field: a, says: [b], why: c}", "why"},
		{"about: x\nprogram: [{week: 8}]", "week"},
		{"about: x\nprogram: [{because: y}]", "a line without a property"},
		{"about: x\nprogram: [{weeks: 8, unit: kg}]", "one property a line"},
		{"about: x\nprogram: [{sets: {of: all, repetitions: 5}}]", "repetitions"},
		{"about: x\nprogram: [{sets: {of: all, reps: 5, reps: 6}}]", "reps"},
		{"about: x\nprogram: [{minutes_kept: false}]", "only true is meant"},
		{"about: x\nprogram: [{finds_loads: 1}]", "only true is meant"},
		{"about: x\nprogram: [{sets: {of: all, reps: 6-5}}]", "ends before it starts"},
		{"about: x\nprogram: [{sets: {of: all, reps: few}}]", "is no number"},
		{"about: x\nprogram: [{sets: {of: all, reps: 1.2345}}]", "is no number"},
		{"about: x\nprogram: [{sets: {of: all, reps: -5}}]", "is no number"},
		{"about: x\nprogram: [{sets: {of: all, reps: [5]}}]", "is no number"},
		{"about: x\nprogram: [{sets: {of: all, weeks: 0-3, reps: 5}}]", "whole numbers from 1"},
		{"about: x\nprogram: [{sets: {of: all, weeks: 3-, reps: 5}}]", "whole numbers from 1"},
		{"about: x\nprogram: [{sets: {of: all, weeks: \"1,,2\", reps: 5}}]", "is no number"},
	} {
		_, err := readMust([]byte(c.text))
		require.ErrorContains(t, err, c.want, c.text)
	}
}
