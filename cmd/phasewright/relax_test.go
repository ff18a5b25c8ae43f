package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
)

func TestRelaxationsAsText(t *testing.T) {
	var b strings.Builder
	require.NoError(t, printRelaxations(&b, []engine.Relaxation{{Way: fault.Way{Says: "10 more minutes on Thursday: more.", Changes: []fault.Change{
		{Field: "constraints.days[1].minutes", From: "45", To: "55"}, {Field: "constraints.pinned[0]", From: "dip"}, {Field: "constraints.days", To: "Saturday, 45 minutes"},
	}}}}))
	require.Equal(t, `Each of these was tried on its own; the first gains the most for what it asks.

1. 10 more minutes on Thursday: more.
   constraints.days[1].minutes: 55 instead of 45
   constraints.pinned[0]: take out dip
   constraints.days: add Saturday, 45 minutes
`, b.String())
}

// TestImpossibleSaysWhatIsEnough: the command tells ways out of a conflict.
func TestImpossibleSaysWhatIsEnough(t *testing.T) {
	const request = `
athlete: {age_band: AGE_BAND_ADULT}
constraints:
  weeks: 1
  days: [{weekday: WEEKDAY_MONDAY, minutes: 20}]
  places: [{id: gym, preset: EQUIPMENT_PRESET_FULL_GYM}]
  pinned: [{exercise_id: bench-press}, {exercise_id: back-squat}]
plan: {tracks: [{segments: [{strategy: constant}]}]}
`
	r := run(t, request, "generate", "-f", "-")
	require.Equal(t, exitInfeasible, r.code, r.err)
	require.Contains(t, r.err, "Any one of these is enough, the cheapest first:\n1. ")
	require.Contains(t, r.err, "more minutes on Monday make it possible.\n   constraints.days[0].minutes: ")
}

// TestSuggestions: what a coach reads who asks what a little more time would bring.
func TestSuggestions(t *testing.T) {
	r := run(t, "", "suggest", "-f", "../../testdata/scenarios/three-unequal-days/request.yaml")
	require.Zero(t, r.code, r.err)
	golden(t, "testdata/suggest/three-unequal-days.txt", r.out)
}
