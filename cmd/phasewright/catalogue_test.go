package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

func TestStrategies(t *testing.T) {
	all := run(t, "", "strategies")
	require.Equal(t, exitOK, all.code)
	for _, name := range []string{"constant@", "linear@", "reverse-linear@", "strength-then-size@"} {
		require.Contains(t, "\n"+all.out, "\n"+name)
	}
	require.Contains(t, all.out, "phasewright strategies autoregulated\n")
}

func TestOneStrategyInFull(t *testing.T) {
	got := run(t, "", "strategies", "linear")
	require.Equal(t, exitOK, got.code)
	for _, want := range []string{"linear@1", "What may be claimed: ", "first_reps = 12-14 repetitions  (1 to 30)", "Source: "} {
		require.Contains(t, got.out, want)
	}
	require.NotContains(t, got.out, "reverse-linear@")
	require.Equal(t, got.out, run(t, "", "strategies", "linear@1").out)
}

func TestStrategiesAsJSON(t *testing.T) {
	got := run(t, "", "strategies", "--json")
	var answer struct{ Strategies []struct{ ID, Claims string } }
	require.NoError(t, json.Unmarshal([]byte(got.out), &answer))
	require.GreaterOrEqual(t, len(answer.Strategies), 4)
	require.NotEmpty(t, answer.Strategies[0].Claims)
}

func TestExercisesFiltered(t *testing.T) {
	cat := exercise.Builtin()
	all := strings.Count(run(t, "", "exercises").out, "\n")
	require.Equal(t, cat.Len(), all)
	got := run(t, "", "exercises", "--muscle", "Mid-Back", "--pattern", "horizontal_pull", "--equipment", "dumbbells", "--place-preset", "full gym")
	require.Equal(t, exitOK, got.code, got.err)
	n := 0
	for l := range strings.SplitSeq(strings.TrimSpace(got.out), "\n") {
		e, ok := cat.ByID(strings.Fields(l)[0])
		require.True(t, ok, l)
		require.True(t, e.Direct(plan.MidBack), l)
		require.Equal(t, plan.HorizontalPull, e.Pattern, l)
		require.True(t, uses(e, plan.Dumbbells), l)
		n++
	}
	require.Positive(t, n)
	require.Less(t, n, all)
	require.Equal(t, "No exercise passes all of these filters.\n", run(t, "", "exercises", "--muscle", "calves", "--pattern", "squat").out)
}

func TestOneExercise(t *testing.T) {
	got := run(t, "", "exercises", "pull-up")
	require.Equal(t, exitOK, got.code)
	for _, want := range []string{"(pull-up)\n", "trains directly", "lats", "to add load", "body mass moved", "source"} {
		require.Contains(t, got.out, want)
	}
	var answer struct{ Exercises []struct{ ID string } }
	require.NoError(t, json.Unmarshal([]byte(run(t, "", "exercises", "pull-up", "--json").out), &answer))
	require.Len(t, answer.Exercises, 1)
	require.Equal(t, "pull-up", answer.Exercises[0].ID)
}

// Every exercise can be shown.
func TestEveryExerciseShows(t *testing.T) {
	for _, e := range exercise.Builtin().All() {
		var b strings.Builder
		require.NoError(t, showExercise(&b, e))
		require.Contains(t, b.String(), e.ID)
	}
}

func TestVersion(t *testing.T) {
	got := run(t, "", "version")
	require.Equal(t, exitOK, got.code)
	require.Regexp(t, `^phasewright \S.*\nengine \S+, rules \S+, catalogue \S+, curves \S+, document \S+\n$`, got.out)
}

func TestNearest(t *testing.T) {
	known := []string{"json", "week", "why"}
	require.Equal(t, "json", nearest("jsn", known))
	require.Equal(t, "week", nearest("weeks", known))
	require.Equal(t, "", nearest("zzzzzzz", known))
	require.Equal(t, "", nearest("", known))
}
