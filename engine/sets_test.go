package engine

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// The notation is the trade's (common practice, no source).
func TestParseSets(t *testing.T) {
	fixed := func(n, lo, hi int32, more ...func(*plan.Scheme)) plan.Scheme {
		s := plan.Scheme{Kind: plan.SetWorking, Sets: plan.FixedSets(n), Reps: plan.Range{Min: lo, Max: hi}}
		for _, f := range more {
			f(&s)
		}
		return s
	}
	at := func(p plan.Permille) func(*plan.Scheme) {
		return func(s *plan.Scheme) { s.Effort.Intensity = plan.Some(p) }
	}
	rm := func(n int32) func(*plan.Scheme) {
		return func(s *plan.Scheme) { s.Effort.Reference = plan.Reference{Kind: plan.RefRM, RM: n} }
	}
	open := func(s *plan.Scheme) { s.OpenEnded = true }
	rest := func(n plan.Seconds) func(*plan.Scheme) { return func(s *plan.Scheme) { s.Rest = n } }
	for _, c := range []struct {
		text, short string // short where it is written in another way
		want        []plan.Scheme
	}{
		{"", "", nil},
		{"  ", "", nil},
		{"3x8", "", []plan.Scheme{fixed(3, 8, 8)}},
		{"3 × 8–12", "3x8-12", []plan.Scheme{fixed(3, 8, 12)}},
		{"1x8-12", "8-12", []plan.Scheme{fixed(1, 8, 12)}},
		{"3x3, 1x10", "3x3, 10", []plan.Scheme{fixed(3, 3, 3), fixed(1, 10, 10)}},
		{"10@70%,8@75%,6@80%", "10@70%, 8@75%, 6@80%", []plan.Scheme{fixed(1, 10, 10, at(700)), fixed(1, 8, 8, at(750)), fixed(1, 6, 6, at(800))}},
		{"5x10@RM", "", []plan.Scheme{fixed(5, 10, 10, at(1000), rm(10))}},
		{"5x10@10 rm", "5x10@RM", []plan.Scheme{fixed(5, 10, 10, at(1000), rm(10))}},
		{"5x10@90%RM", "", []plan.Scheme{fixed(5, 10, 10, at(900), rm(10))}},
		{"5x5@100%10RM", "5x5@10RM", []plan.Scheme{fixed(5, 5, 5, at(1000), rm(10))}},
		{"3x8-10@90%12RM", "", []plan.Scheme{fixed(3, 8, 10, at(900), rm(12))}},
		{"3x8@fail", "", []plan.Scheme{fixed(3, 8, 8, func(s *plan.Scheme) { s.Effort.ToFailure = true })}},
		{"3X8@rir 2", "3x8@RIR2", []plan.Scheme{fixed(3, 8, 8, func(s *plan.Scheme) { s.Effort.RIR = plan.Some(int32(2)) })}},
		{"4x3@90%/180s", "", []plan.Scheme{fixed(4, 3, 3, at(900), rest(180))}},
		{"4x3@92.5% / 3 min", "4x3@92.5%/180s", []plan.Scheme{fixed(4, 3, 3, at(925), rest(180))}},
		{"3xmax@100%", "", []plan.Scheme{fixed(3, 1, 1, at(1000), open)}},
		{"max@100%", "", []plan.Scheme{fixed(1, 1, 1, at(1000), open)}},
		{"1+@6RM", "max@6RM", []plan.Scheme{fixed(1, 1, 1, at(1000), rm(6), open)}},
		{"6+@RM", "", []plan.Scheme{fixed(1, 6, 6, at(1000), rm(6), open)}},
	} {
		got, err := ParseSets(c.text)
		require.NoError(t, err, c.text)
		require.Equal(t, c.want, got, c.text)
		short := c.short
		if short == "" {
			short = strings.TrimSpace(c.text)
		}
		require.Equal(t, short, SetsText(got))
	}
}

func TestParseSetsSaysWhatIsWrong(t *testing.T) {
	for text, says := range map[string]string{
		"3y8":                    `sets[0]: at 2: "y" is not expected; @ and a load, / and a rest, or a comma and the next item are right`,
		"3x":                     `sets[0]: at 3: the item ends; repetitions such as 8, 8-12, 6+ or max are right`,
		"x8":                     `sets[0]: at 1: "x" is not expected; repetitions such as 8, 8-12, 6+ or max are right`,
		"3x8,":                   `sets[1]: at 5: the item ends; repetitions such as`,
		"3x8, 0x5":               `sets[1]: at 6: sets are 0; 1 to 10 is possible`,
		"11x3":                   `sets[0]: at 1: sets are 11; 1 to 10 is possible`,
		"3x51":                   `sets[0]: at 3: repetitions are 51; 1 to 50 is possible`,
		"3x8.5":                  `sets[0]: at 3: repetitions are 8.5; 1 to 50 is possible`,
		"3x12-8":                 `sets[0]: at 6: repetitions run from 12 to 8; the lower end comes first`,
		"3x8@":                   `sets[0]: at 5: the item ends; a load such as 80%, 10RM, RM, fail or RIR2 is right`,
		"3x8@80":                 `sets[0]: at 7: the item ends; % or RM after a number is right`,
		"3x8@19%":                `sets[0]: at 5: a share is 19%; 20 to 110 with at most one decimal is possible`,
		"3x8@110.1%":             `sets[0]: at 5: a share is 110.1%; 20 to 110`,
		"3x8@80.25%":             `sets[0]: at 5: a share is 80.25%; 20 to 110`,
		"3x8@heavy":              `sets[0]: at 5: "heavy" is not expected; a load such as`,
		"3x8@RIR7":               `sets[0]: at 8: repetitions in reserve are 7; 0 to 6 is possible`,
		"3x8@RIR":                `sets[0]: at 8: the item ends; how many, as in RIR2, is right`,
		"3x8-10@RM":              `sets[0]: at 10: which repetition maximum is not clear; a number before RM is right`,
		"max@RM":                 `sets[0]: at 7: which repetition maximum is not clear`,
		"3x8@60RM":               `sets[0]: at 5: repetitions maximum are 60; 1 to 50 is possible`,
		"max":                    `sets[0]: at 1: as many repetitions as possible need a load, such as max@90% or 6+@6RM`,
		"3x6+@fail":              `sets[0]: at 1: as many repetitions as possible need a load`,
		"3x8/90":                 `sets[0]: at 7: the item ends; s or min after the number is right`,
		"3x8/0s":                 `sets[0]: at 5: seconds or minutes of rest are 0; 1 to 600 is possible`,
		"3x8/11min":              `sets[0]: at 5: the rest is 660 s; 1 to 600 s is possible`,
		"3x8 4x6":                `sets[0]: at 5: "4" is not expected`,
		"10x5, 10x5, 1x5":        `sets: are 21 in all; at most 20 are possible`,
		"3x8/90s@80%":            `sets[0]: at 8: "@" is not expected`,
		"3×é":                    `sets[0]: at 3: "é" is not expected`,
		strings.Repeat("1,", 13): `sets: has 14 items; at most 12 are possible`,
		strings.Repeat(" ", 201): `sets: is a text of 201 bytes; at most 200 are possible`,
		"3x99999999999999999999": `sets[0]: at 3: repetitions are 99999999999999999999; 1 to 50 is possible`,
		"3x8@12345RM":            `sets[0]: at 5: repetitions maximum are 12345; 1 to 50`,
		"3x8@max":                `sets[0]: at 5: "max" is not expected; a load such as`,
	} {
		_, err := ParseSets(text)
		f, ok := fault.As(err)
		require.True(t, ok, text)
		require.Equal(t, fault.Invalid, f.Kind)
		require.Len(t, f.Violations, 1)
		require.Equal(t, ReasonSets, f.Violations[0].Reason)
		require.Contains(t, f.Error(), says, text)
	}
	_, err := ParseSets("3y8, 3x8, 3x99")
	f, _ := fault.As(err)
	require.Len(t, f.Violations, 2, "every wrong item is named")
	require.Equal(t, "sets[2]", f.Violations[1].Field)
}

func listed(t *rapid.T) []plan.Scheme {
	n := rapid.IntRange(0, 6).Draw(t, "items")
	var out []plan.Scheme
	total := int32(0)
	for range n {
		s := plan.Scheme{Kind: plan.SetWorking, Sets: plan.FixedSets(rapid.Int32Range(1, outlineMaxSets).Draw(t, "sets"))}
		if total += s.Sets.Max; total > setsMaxTotal {
			break
		}
		s.Reps.Min = rapid.Int32Range(1, outlineMaxReps).Draw(t, "reps")
		s.Reps.Max = rapid.Int32Range(s.Reps.Min, outlineMaxReps).Draw(t, "most")
		switch rapid.IntRange(0, 4).Draw(t, "load") {
		case 1:
			s.Effort.RIR = plan.Some(rapid.Int32Range(0, outlineMaxRIR).Draw(t, "rir"))
		case 2:
			s.Effort.ToFailure = true
		case 3, 4:
			s.Effort.Intensity = plan.Some(plan.Permille(rapid.Int32Range(setsMinShare, setsMaxShare).Draw(t, "share")))
			if rapid.Bool().Draw(t, "of a maximum") {
				s.Effort.Reference = plan.Reference{Kind: plan.RefRM, RM: rapid.Int32Range(1, outlineMaxReps).Draw(t, "maximum")}
			}
			if rapid.Bool().Draw(t, "open") {
				s.OpenEnded, s.Reps.Max = true, s.Reps.Min
			}
		}
		s.Rest = plan.Seconds(rapid.Int32Range(0, outlineMaxRest).Draw(t, "rest"))
		out = append(out, s)
	}
	return out
}

func TestSetsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := listed(t)
		text := SetsText(want)
		got, err := ParseSets(text)
		require.NoError(t, err, text)
		require.Equal(t, want, got, text)
	})
}

// What a list may say, an outline may hold.
func TestSetsAreNoOutlinesFault(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := outlineCheck{c: fault.NewCollector(fault.Internal)}
		for _, s := range listed(t) {
			if s.Effort == (plan.Effort{}) {
				s.Effort.RIR = plan.Some(int32(2)) // which the strategy adds
			}
			k.checkScheme(&s, plan.GoalLift)
		}
		require.NoError(t, k.c.Err())
	})
}

func FuzzParseSets(f *testing.F) {
	for _, text := range []string{"3x8", "10@70%, 8@75%, 6@80%", "3 × 8–12@90%12RM/3min", "max@100%", "3x8@RIR2,", "@@//", "\xff3x8"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		got, err := ParseSets(text)
		if err != nil {
			fa, ok := fault.As(err)
			require.True(t, ok)
			require.Equal(t, fault.Invalid, fa.Kind)
			require.Nil(t, got)
			return
		}
		short := SetsText(got)
		again, err := ParseSets(short)
		require.NoError(t, err, short)
		require.Equal(t, got, again)
		require.Equal(t, short, SetsText(again))
	})
}
