package contrast

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

func some[T any](v T) plan.Opt[T] { return plan.Some(v) }

func set(kind plan.SetKind, expected, max, rir int32, kg int64, share plan.Permille) plan.Set {
	s := plan.Set{Kind: kind, Expected: expected, Reps: plan.Range{Min: 1, Max: max}}
	if rir >= 0 {
		s.RIR = some(rir)
	}
	if kg > 0 {
		s.Load = some(plan.Kg(kg * 1000))
	}
	if share > 0 {
		s.Intensity = some(share)
	}
	return s
}

func program(weeks ...plan.Week) *plan.Program {
	p := &plan.Program{Request: plan.Request{Constraints: plan.Constraints{Unit: plan.Kilogram}}, Phases: []plan.Phase{{Name: "first"}, {Name: "second"}, {Name: "empty"}}}
	for i := range weeks {
		weeks[i].Number = int32(i + 1)
		at := min(i, 1)
		p.Phases[at].Weeks = append(p.Phases[at].Weeks, weeks[i])
	}
	return p
}

func week(seconds plan.Seconds, list ...plan.ProgramExercise) plan.Week {
	return plan.Week{Kind: plan.WeekTraining, Sessions: []plan.Session{{Kind: plan.SessionTraining, Seconds: seconds, Exercises: list}}}
}

// Counted by hand: 5 × 100 + 8 × 80 + 14 × 60 kg; warm-ups and tests are no work; help is not
// lifted; a hold has no repetitions.
func TestFiguresByHand(t *testing.T) {
	squat := plan.ProgramExercise{ExerciseID: "back-squat", Sets: []plan.Set{
		set(plan.SetWarmup, 5, 5, -1, 60, 0),
		set(plan.SetWorking, 5, 6, 3, 100, 800),
		set(plan.SetWorking, 8, 10, 4, 80, 700),
		set(plan.SetCalibration, 14, 15, -1, 60, 0),
		set(plan.SetTest, 1, 1, 0, 140, 1000),
	}}
	pull := plan.ProgramExercise{ExerciseID: "assisted-pull-up", Sets: []plan.Set{set(plan.SetWorking, 0, 12, 2, 20, 0)}}
	plank := plan.ProgramExercise{ExerciseID: "front-plank", Sets: []plan.Set{{Kind: plan.SetWorking, Hold: plan.Range{Min: 20, Max: 30}, ToFailure: true}}}
	cat := exercise.Builtin()
	for _, id := range []string{"back-squat", "assisted-pull-up", "front-plank"} {
		_, ok := cat.ByID(id)
		require.True(t, ok, id)
	}
	got := Of("arm", program(week(1800, squat), week(1200, pull, plank), week(600)), cat)
	require.Len(t, got.Weeks, 3)
	require.Equal(t, []plan.ArmPhase{{Name: "first", FromWeek: 1, ToWeek: 1, Figures: got.Weeks[0].Figures}, {Name: "second", FromWeek: 2, ToWeek: 3, Figures: got.Phases[1].Figures}}, got.Phases)

	f := got.Weeks[0].Figures
	require.Equal(t, []plan.MuscleWork(nil), got.Weeks[2].Figures.Muscles)
	muscles := f.Muscles
	f.Muscles = nil
	require.Equal(t, plan.Figures{
		Sessions: 1, HardSets: 3, StatedRIR: 2, NearFailure: 1, Reps: 27, Zones: [plan.ZoneCount]int32{5, 8, 14}, LoadedSets: 3,
		VolumeLoad: some(plan.Kg(1_980_000)), RatedReps: 13, Intensity: some(plan.Permille(738)), Seconds: 1800, // (5·800 + 8·700)/13 = 738.46
	}, f)
	for _, m := range muscles {
		x, _ := cat.ByID("back-squat")
		require.Equal(t, 3*x.SetCountsFor(m.Muscle), m.Sets, m.Muscle)
		require.Equal(t, x.Direct(m.Muscle), m.Direct > 0, m.Muscle)
	}

	f = got.Weeks[1].Figures
	require.Equal(t, plan.Figures{Sessions: 1, HardSets: 2, StatedRIR: 2, NearFailure: 2, Reps: 12, Zones: [plan.ZoneCount]int32{0, 12, 0}, Seconds: 1200, Muscles: f.Muscles}, f)
	require.Equal(t, plan.Seconds(3600), got.Total.Seconds)
	require.Equal(t, int32(5), got.Total.HardSets)
	require.Equal(t, some(plan.Kg(1_980_000)), got.Total.VolumeLoad)
}

func arm(label string, cat *exercise.Catalogue, kg int64, sets ...int) plan.ArmReport {
	var weeks []plan.Week
	for _, n := range sets {
		e := plan.ProgramExercise{ExerciseID: "bench-press"}
		for range n {
			e.Sets = append(e.Sets, set(plan.SetWorking, 10, 10, 2, kg, 750))
		}
		weeks = append(weeks, week(1000, e))
	}
	return Of(label, program(weeks...), cat)
}

// 1 % of 1,000 kg is equal, a kilogram more is not; sets are equal only when they are.
func TestBalancesByHand(t *testing.T) {
	cat := exercise.Builtin()
	find := func(c *plan.Comparison, m plan.Measure) plan.Balance {
		for _, b := range c.Balances {
			if b.Measure == m && b.Muscle == 0 && b.ExerciseID == "" {
				return b
			}
		}
		t.Fatal("no such balance")
		return plan.Balance{}
	}
	c := Compare(plan.EquateVolumeLoad, []plan.ArmReport{arm("light", cat, 100, 2, 3), arm("heavy", cat, 101, 3, 2)})
	b := find(&c, plan.MeasureVolumeLoad)
	require.Equal(t, c.Balances[0], b, "what is sought comes first")
	require.Equal(t, []int64{5_000_000, 5_050_000}, b.Values)
	require.True(t, b.Equal)
	require.Equal(t, "equal volume load within 1 %: 5000 kg (light) to 5050 kg (heavy); a gap of 50 kg, 1 % of the smallest", b.Says)
	require.Empty(t, c.EqualWeeks, "each has the sets of the other's other week")
	sets := find(&c, plan.MeasureHardSets)
	require.True(t, sets.Equal)
	require.False(t, sets.Sought)
	require.Equal(t, "equal hard sets: 5 in every arm", sets.Says)

	c = Compare(plan.EquateVolumeLoad, []plan.ArmReport{arm("light", cat, 100, 2, 3), arm("heavy", cat, 102, 2, 3)})
	b = find(&c, plan.MeasureVolumeLoad)
	require.False(t, b.Equal)
	require.Equal(t, plan.Permille(20), b.Share)
	require.Contains(t, b.Says, "can't be equated")
	require.Equal(t, []int32{1, 2}, c.EqualWeeks)

	c = Compare(plan.EquateHardSets, []plan.ArmReport{arm("few", cat, 100, 2), arm("many", cat, 100, 3)})
	require.Equal(t, "hard sets can't be equated: 2 (few) to 3 (many); a gap of 1, 50 % of the smallest", c.Balances[0].Says)
	var about []string
	for _, b := range c.Balances {
		if b.ExerciseID != "" {
			about = append(about, b.ExerciseID)
			require.Equal(t, []int64{2, 3}, b.Values)
		}
		if b.Muscle == plan.Chest {
			require.Equal(t, []int64{4, 6}, b.Values, "half sets")
			require.Equal(t, "sets for the chest can't be equated: 2 (few) to 3 (many); a gap of 1, 50 % of the smallest", b.Says)
		}
	}
	require.Equal(t, []string{"bench-press"}, about)
}

// Loads that are found on the day make no volume load, and none is not equal to none.
func TestUnknownVolumeLoadIsNotEqual(t *testing.T) {
	cat := exercise.Builtin()
	for rule, says := range map[plan.Equating]string{
		plan.EquateHardSets:   "volume load is not known: no load is a number before the day",
		plan.EquateVolumeLoad: "volume load is not known: no load is a number before the day; hard sets are equal instead",
	} {
		c := Compare(rule, []plan.ArmReport{arm("one", cat, 0, 2), arm("other", cat, 0, 2)})
		for _, b := range c.Balances {
			if b.Measure == plan.MeasureVolumeLoad {
				require.False(t, b.Equal)
				require.Equal(t, says, b.Says)
			}
		}
	}
	c := Compare(plan.EquateHardSets, []plan.ArmReport{arm("one", cat, 100, 2), arm("other", cat, 0, 2)})
	for _, b := range c.Balances {
		if b.Measure == plan.MeasureVolumeLoad {
			require.Contains(t, b.Says, "at least 0 of 2")
		}
	}
}
