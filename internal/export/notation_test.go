package export

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

func TestSetLines(t *testing.T) {
	lb := plan.Some(plan.Lb(225_000))
	for name, c := range map[string]struct {
		e    plan.ProgramExercise
		want []string
	}{
		"range": {
			move("back-squat", "", plan.MultiJoint, same(plan.Set{Reps: reps(8, 12), Load: kg(102_500), RIR: rir(2), Rest: 150}, 11, 10, 9, 8)),
			[]string{"4 × 8–12 @ 102.5 kg, RIR 2, rest 2:30"},
		},
		"falling load": {
			move("back-squat", "", plan.MultiJoint, same(plan.Set{Reps: reps(12, 12), Load: kg(60_000), RIR: rir(2), Rest: 90}, 12),
				same(plan.Set{Reps: reps(10, 10), Load: kg(57_500), RIR: rir(2), Rest: 90}, 10, 10)),
			[]string{"1 × 12 @ 60 kg · 2 × 10 @ 57.5 kg, RIR 2, rest 1:30"},
		},
		"other effort": {
			move("back-squat", "", plan.GoalLift, same(plan.Set{Reps: reps(3, 3), Load: lb, RIR: rir(0), Rest: 240}, 3),
				same(plan.Set{Reps: reps(10, 10), Load: kg(57_500), RIR: rir(2), Rest: 90}, 10, 10)),
			[]string{"1 × 3 @ 225 lb, RIR 0, rest 4:00", "2 × 10 @ 57.5 kg, RIR 2, rest 1:30"},
		},
		"reserve drifts": {
			move("back-squat", "", plan.MultiJoint, append(same(plan.Set{Reps: reps(8, 8), Load: kg(80_000), RIR: rir(3), Rest: 90}, 8),
				same(plan.Set{Reps: reps(8, 8), Load: kg(80_000), RIR: rir(2), Rest: 90}, 8)...)),
			[]string{"2 × 8 @ 80 kg, RIR 2–3, rest 1:30"},
		},
		"to failure": {
			move("leg-press", "", plan.MultiJoint, same(plan.Set{Reps: reps(8, 12), Load: kg(200_000), RIR: rir(0), ToFailure: true, Rest: 60}, 10, 8)),
			[]string{"2 × 8–12 @ 200 kg, to failure, rest 1:00"},
		},
		"a hand, each side": {
			move("split-squat", "", plan.MultiJoint, same(plan.Set{Reps: reps(8, 12), Load: kg(22_500), RIR: rir(2), Rest: 90}, 10, 10)),
			[]string{"2 × 8–12 each side @ 22.5 kg a hand, RIR 2, rest 1:30"},
		},
		"body mass":       {move("pull-up", "", plan.MultiJoint, same(plan.Set{Reps: reps(5, 8), Load: kg(0), RIR: rir(2)}, 6)), []string{"1 × 5–8 @ body mass, RIR 2"}},
		"body mass added": {move("pull-up", "", plan.MultiJoint, same(plan.Set{Reps: reps(5, 8), Load: kg(10_000), RIR: rir(2)}, 6)), []string{"1 × 5–8 @ body mass + 10 kg, RIR 2"}},
		"seconds":         {move("front-plank", "", plan.Trunk, same(plan.Set{Hold: reps(30, 45), RIR: rir(2), Rest: 60}, 0, 0)), []string{"2 × 30–45 s @ body mass, rest 1:00"}},
		"latest estimate": {
			move("leg-press", "", plan.MultiJoint, same(plan.Set{Reps: reps(8, 12), Load: kg(82_500), Deferred: deferred(plan.RefLatest, 800), Rest: 60}, 9, 9)),
			[]string{"2 × 8–12 @ 80 % of your latest 1RM estimate, about 82.5 kg if all goes as planned, rest 1:00"},
		},
		"found before": {
			move("leg-press", "", plan.MultiJoint, same(plan.Set{Reps: reps(8, 12), Deferred: deferred(plan.RefCalibration, 1040), RIR: rir(2)}, 9)),
			[]string{"1 × 8–12 @ the load found in week 1 × 1.04, RIR 2"},
		},
		"find": {
			move("back-squat", "", plan.MultiJoint, []plan.Set{{Kind: plan.SetCalibration, Reps: reps(8, 8), RIR: rir(3), Rest: 120}},
				same(plan.Set{Reps: reps(8, 10), Deferred: deferred(plan.RefCalibration, 1000), RIR: rir(3)}, 8)),
			[]string{"find the load: a set of 8 that leaves 3 in reserve, rest 2:00", "1 × 8–10 @ the load just found, RIR 3"},
		},
		"test": {
			move("back-squat", "", plan.GoalLift, []plan.Set{{Kind: plan.SetTest, Reps: reps(1, 1), Load: kg(140_000), ToFailure: true}}),
			[]string{"test: 1 × 1 @ 140 kg"},
		},
		"only warm-up": {move("back-squat", "", plan.GoalLift, []plan.Set{{Kind: plan.SetWarmup, Reps: reps(5, 5)}}), nil},
	} {
		x := &text{p: &plan.Program{}, o: Options{Catalogue: exercise.Builtin()}, found: map[foundAt]int32{{"leg-press", ""}: 1}}
		require.Equal(t, c.want, x.setLines(&c.e, 3), name)
	}
}

// The catalogue's advice becomes one sentence for all weeks.
func TestGeneralAdviceHasNoNumbers(t *testing.T) {
	for _, id := range []string{
		prescribe.TextMissedStep, prescribe.TextMissedReps, prescribe.TextMissedHold, prescribe.TextMissedLightest,
		prescribe.TextAboveStep, prescribe.TextAboveFixed, prescribe.TextAboveCoarse, prescribe.TextAboveReps, prescribe.TextAboveHold,
	} {
		for _, change := range []plan.Opt[plan.Load]{kg(-2500), kg(2500), {}} {
			require.NotEqual(t, "62.5 kg", general(&plan.Contingency{TextID: id, Says: "62.5 kg", Change: change}), id)
		}
	}
	require.Equal(t, "62.5 kg", general(&plan.Contingency{TextID: "no-such", Says: "62.5 kg"}))
}

func TestFoldKeepsWords(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		words := rapid.SliceOfN(rapid.SampledFrom([]string{"4", "×", "8–12", "@", "102.5", "kg,", "RIR", "2,", "rest", "2:30", "a", "·", "sentence"}), 1, 40).Draw(r, "words")
		s := strings.Join(words, " ")
		lines := fold(s, 40)
		require.Equal(r, s, strings.Join(lines, " "))
		for _, l := range lines {
			require.False(r, strings.HasPrefix(l, "×") && l != lines[0], "a sign starts %q", l)
		}
	})
}

func TestGridMergesEqualColumns(t *testing.T) {
	g := &grid{columns: []column{{1, 1, "5 Jan", []string{""}}, {2, 2, "12 Jan", []string{""}}, {3, 3, "19 Jan", []string{"deload"}}}}
	g.add("a", []string{"3×8", "3×8", "3×8"})
	g.add("b", []string{"", "", ""})
	x := &text{}
	x.grid(g)
	require.Equal(t, "   wk 1–2  wk 3\n   5 Jan…  19 Jan\n           deload\na  3×8     3×8\n", x.String())
}

func TestNarrowKeepsCells(t *testing.T) {
	require.Equal(t, [][]string{{"115/107.5/", "80"}, {"100/95", ""}}, narrow([]string{"115/107.5/100/95", "80"}, "/"))
}

func TestRuns(t *testing.T) {
	require.Equal(t, "1–3, 5, 7–8", runs([]int32{1, 2, 3, 5, 7, 8}))
	require.Equal(t, "", runs(nil))
}
