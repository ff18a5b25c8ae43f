package exercise

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

type reachPlace struct {
	name  string
	place plan.Place
}

func reachPlaces() []reachPlace {
	out := []reachPlace{{"one kettlebell", oneKettlebell()}}
	for _, pr := range presets {
		out = append(out, reachPlace{pr.String(), preset(pr, plan.Kilogram)}, reachPlace{pr.String() + " lb", preset(pr, plan.Pound)})
	}
	return out
}

func available(t *testing.T, p *plan.Place, want func(*Exercise) bool) []string {
	t.Helper()
	var out []string
	for _, e := range builtin(t).All() {
		if e.Available(p) && want(e) {
			out = append(out, e.ID)
		}
	}
	return out
}

func TestCatalogueReach(t *testing.T) {
	for _, rp := range reachPlaces() {
		for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
			got := available(t, &rp.place, func(e *Exercise) bool { return e.Direct(m) })
			require.NotEmpty(t, got, "%s: nothing trains %s directly", rp.name, m)
		}
		for _, m := range plan.LargeMuscles {
			got := available(t, &rp.place, func(e *Exercise) bool { return e.Direct(m) })
			require.GreaterOrEqual(t, len(got), 2, "%s: %s: %v", rp.name, m, got)
		}
		patterns := []plan.Pattern{plan.Squat, plan.Lunge, plan.Hinge, plan.HipExtension, plan.HorizontalPush, plan.VerticalPush,
			plan.HorizontalPull, plan.ShoulderAbduction, plan.ElbowFlexion, plan.PlantarFlexion, plan.ScapularElevation}
		if rp.place.Preset != plan.PresetMachines {
			patterns = append(patterns, plan.TrunkStability)
		}
		for _, p := range patterns {
			got := available(t, &rp.place, func(e *Exercise) bool { return e.Pattern == p })
			require.NotEmpty(t, got, "%s: nothing for %s", rp.name, p)
		}
	}
}

// Where nothing to hang from or pull down is there, lats are trained by rows,
// pullovers and slides; everywhere else a vertical pull exists.
func TestVerticalPulls(t *testing.T) {
	for _, pr := range []plan.Preset{plan.PresetFullGym, plan.PresetHome, plan.PresetBarbellGarage, plan.PresetMachines} {
		p := preset(pr, plan.Kilogram)
		require.NotEmpty(t, available(t, &p, func(e *Exercise) bool { return e.Pattern == plan.VerticalPull }), pr)
	}
}

// A restriction must leave something to do.
func TestShoulderRestrictionLeavesChoices(t *testing.T) {
	gym := preset(plan.PresetFullGym, plan.Kilogram)
	for _, m := range []plan.Muscle{plan.Glutes, plan.Quads, plan.Hamstrings, plan.Adductors, plan.Calves} {
		got := available(t, &gym, func(e *Exercise) bool { return e.Direct(m) && e.Stresses(plan.Shoulder) == 0 })
		require.GreaterOrEqual(t, len(got), 3, "%s: %v", m, got)
	}
	for _, m := range []plan.Muscle{plan.Chest, plan.FrontDelt, plan.SideDelt, plan.RearDelt, plan.Lats} {
		got := available(t, &gym, func(e *Exercise) bool { return e.Direct(m) && e.Stresses(plan.Shoulder) < StressMarked })
		floor := 3
		if m == plan.FrontDelt {
			floor = 2 // pressing and raising overhead stresses the shoulder
		}
		require.GreaterOrEqual(t, len(got), floor, "%s: %v", m, got)
	}
	for _, rp := range reachPlaces() {
		for _, m := range []plan.Muscle{plan.Chest, plan.Glutes, plan.Quads, plan.Hamstrings, plan.Calves, plan.MidBack} {
			got := available(t, &rp.place, func(e *Exercise) bool { return e.Direct(m) && e.Stresses(plan.Shoulder) < StressMarked })
			require.NotEmpty(t, got, "%s: %s", rp.name, m)
		}
	}
}

func TestOtherRestrictionsLeaveChoices(t *testing.T) {
	gym := preset(plan.PresetFullGym, plan.Kilogram)
	for _, row := range []struct {
		joint   plan.Joint
		muscles []plan.Muscle
	}{
		{plan.LowerBack, []plan.Muscle{plan.Glutes, plan.Hamstrings, plan.Quads, plan.MidBack, plan.Lats}},
		{plan.Knee, []plan.Muscle{plan.Glutes, plan.Hamstrings, plan.Chest, plan.Calves}},
		{plan.Wrist, []plan.Muscle{plan.Chest, plan.Quads, plan.Biceps, plan.Triceps}},
	} {
		for _, m := range row.muscles {
			got := available(t, &gym, func(e *Exercise) bool { return e.Direct(m) && e.Stresses(row.joint) == 0 })
			require.NotEmpty(t, got, "%s without stress on the %s", m, row.joint)
		}
	}
	got := available(t, &gym, func(e *Exercise) bool { return e.Direct(plan.Quads) && e.Stresses(plan.Knee) < StressMarked })
	require.GreaterOrEqual(t, len(got), 3, "quads with a restricted knee: %v", got)
}

func TestAvailable(t *testing.T) {
	bell := oneKettlebell()
	require.True(t, byID(t, "kettlebell-goblet-squat").Available(&bell))
	require.False(t, byID(t, "kettlebell-front-squat").Available(&bell), "one kettlebell is no pair")
	require.False(t, byID(t, "pull-up").Available(&bell))
	require.Equal(t, []plan.Equipment{plan.PullUpBar}, byID(t, "pull-up").Missing(&bell))
	require.Equal(t, []plan.Equipment{plan.Barbell, plan.Rack}, byID(t, "back-squat").Missing(&bell))
	require.Equal(t, []plan.Equipment{plan.Box}, byID(t, "kettlebell-hip-thrust").Missing(&bell), "the alternative that lacks least")

	lonely := plan.Place{Items: []plan.Equipment{plan.Dumbbells, plan.FlatBench}, Dumbbells: []plan.HeldStock{{Mass: plan.Kg(10_000), Count: 1}}}
	require.True(t, byID(t, "one-arm-dumbbell-row").Available(&lonely))
	require.False(t, byID(t, "dumbbell-bench-press").Available(&lonely), "one dumbbell is no pair")
	require.Empty(t, byID(t, "dumbbell-bench-press").Missing(&lonely))

	garage := preset(plan.PresetBarbellGarage, plan.Kilogram)
	require.True(t, byID(t, "pull-up").Available(&garage))
	require.False(t, byID(t, "pull-up").Addable(&garage))
	require.Equal(t, plan.Unloadable, byID(t, "pull-up").RoleAt(&garage))
	require.Equal(t, plan.MultiJoint, byID(t, "back-squat").RoleAt(&garage))
	require.False(t, byID(t, "trap-bar-deadlift").Available(&garage))
	gym := preset(plan.PresetFullGym, plan.Kilogram)
	require.True(t, byID(t, "pull-up").Addable(&gym))
	require.Equal(t, plan.MultiJoint, byID(t, "pull-up").RoleAt(&gym))
	require.False(t, byID(t, "back-squat").Addable(&gym))
	belt := plan.Place{Items: []plan.Equipment{plan.PullUpBar, plan.DipBelt}}
	require.False(t, byID(t, "pull-up").Addable(&belt), "a belt with nothing to hang on it")

	machines := preset(plan.PresetMachines, plan.Pound)
	require.True(t, byID(t, "assisted-pull-up").Available(&machines))
	require.False(t, byID(t, "bench-press").Available(&machines))
	dumbbells := preset(plan.PresetDumbbells, plan.Kilogram)
	require.True(t, byID(t, "step-up").Available(&dumbbells), "the bench is an alternative to the box")
}

func BenchmarkAvailable(b *testing.B) {
	c := Builtin()
	gym := preset(plan.PresetFullGym, plan.Kilogram)
	b.ReportAllocs()
	for b.Loop() {
		for _, e := range c.All() {
			e.Available(&gym)
		}
	}
}
