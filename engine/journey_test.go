package engine_test

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

// A stack is found anew on another machine, a dumbbell is not; and a goal lift that a
// place rules out is said, with what stands in for it.
func TestJourney(t *testing.T) {
	r := fit()
	r.Plan = plan.Plan{}
	r.Constraints.Weeks = plan.Some(int32(5))
	cable := plan.Place{ID: "hotel", Items: []plan.Equipment{plan.CableStation, plan.FlatBench},
		Stacks: []plan.Stack{{Kind: plan.CableStation, First: plan.Kg(5000), Step: plan.Kg(5000), Last: plan.Kg(60_000)}}}
	for m := int64(5); m <= 30; m += 5 {
		cable.Dumbbells = append(cable.Dumbbells, plan.HeldStock{Mass: plan.Kg(m * 1000), Count: 2})
	}
	r.Constraints.Places = append(r.Constraints.Places, cable)
	r.Constraints.Places[0].ID = "gym"
	r.Constraints.Periods = []plan.PlacePeriod{{FromWeek: plan.Some(int32(3)), ToWeek: plan.Some(int32(3)), PlaceID: "hotel"}}
	r.Constraints.Pinned = []plan.Pin{{ExerciseID: "cable-curl"}, {ExerciseID: "lateral-raise"}}
	p, err := newEngine(t).Generate(context.Background(), r)
	require.NoError(t, err)

	found := map[string][]int32{}
	home := map[int32][]string{}
	light := false // a sentence for those whom the heaviest dumbbell doesn't tax
	for _, w := range p.Phases[0].Weeks {
		for _, s := range w.Sessions {
			for _, e := range s.Exercises {
				for _, set := range e.Sets {
					if set.Kind == plan.SetCalibration {
						found[e.ExerciseID] = append(found[e.ExerciseID], w.Number)
					}
				}
				home[w.Number] = append(home[w.Number], e.ExerciseID)
				light = light || s.PlaceID == "hotel" && strings.Contains(e.Note, "Should the heaviest there is leave more, take it and add repetitions up to that reserve, 25 at most.")
			}
		}
	}
	require.Equal(t, []int32{1, 3}, found["cable-curl"], "another stack")
	require.Equal(t, []int32{1}, found["lateral-raise"], "the same kilograms")
	require.Equal(t, home[2], home[4], "training goes on where it was")
	require.NotContains(t, home[3], "back-squat")
	require.True(t, light)
	said := ""
	for _, f := range p.Findings {
		if f.ExerciseID == "back-squat" && f.Level == plan.LevelShort && f.Week == 3 {
			said += f.Says
		}
	}
	require.Contains(t, said, "Week 3: Back squat is left out")
	require.Contains(t, said, "keeps its muscles trained")
}

// Nothing trained now and old performances: the time since the last is a layoff.
func TestLayoffFromTheLastPerformance(t *testing.T) {
	r := fit()
	r.Plan = plan.Plan{}
	r.Athlete.CurrentSetsEach = plan.Some(plan.HalfSets(0))
	for i := range r.Athlete.Performances {
		r.Athlete.Performances[i].Date = plan.Some(today - 90)
	}
	p, err := newEngine(t).Generate(context.Background(), r)
	require.NoError(t, err)
	require.Equal(t, plan.Some(int32(12)), p.Request.Athlete.LayoffWeeks)
	said := ""
	for _, a := range p.Assumptions {
		if a.Field == "athlete.layoff_weeks" {
			said = a.Says
		}
	}
	require.Contains(t, said, "12 weeks without training take 10 % off every 1RM")
	require.GreaterOrEqual(t, look(&plan.Program{Phases: []plan.Phase{{Weeks: p.Phases[0].Weeks[:2]}}}).rir, int32(4))
}
