package engine

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// places makes weeks of one Monday session each, at these places.
func places(list ...int32) ([][]Slot, *plan.Outline) {
	var slots [][]Slot
	ph := plan.OutlinePhase{}
	for _, p := range list {
		slots = append(slots, []Slot{{Weekday: plan.Monday, Place: p}})
		ph.Weeks = append(ph.Weeks, plan.OutlineWeek{Kind: plan.WeekTraining, Dose: 1000, Sessions: make([]plan.OutlineSession, 1)})
	}
	return slots, &plan.Outline{Phases: []plan.OutlinePhase{ph}}
}

// Two weeks elsewhere don't end a window; a phase does.
func TestWindowsGoOnAfterAJourney(t *testing.T) {
	slots, o := places(0, 0, 1, 1, 0, 2, 1)
	wins := windows(o, slots)
	require.Len(t, wins, 3)
	require.Equal(t, []int{0, 1, 4}, wins[0].list)
	require.Equal(t, []int{2, 3, 6}, wins[1].list)
	require.Equal(t, "Weeks 1–2 and 5", wins[0].name())
	require.Equal(t, "Weeks 3–4 and 7", wins[1].name())
	require.Equal(t, "Week 6", wins[2].name())
	require.Equal(t, [][2]int32{{1, 2}, {5, 5}}, wins[0].runs())
	require.EqualValues(t, 3, wins[0].weeks)

	slots, o = places(0, 1, 0)
	o.Phases = []plan.OutlinePhase{{Weeks: o.Phases[0].Weeks[:2]}, {Weeks: o.Phases[0].Weeks[2:]}}
	require.Len(t, windows(o, slots), 3)
}

// A week in which only some sessions rotate has days that others lack: what is wanted
// every week can't be put on one of them.
func TestMixedWeeksStandAlone(t *testing.T) {
	slots, o := places(0, 0, 0, 0)
	for i := range slots {
		slots[i] = append(slots[i], Slot{Day: 1, Weekday: plan.Friday})
		groups := [2]string{"A", "B"}
		if i == 2 {
			groups = [2]string{"A", ""}
		}
		o.Phases[0].Weeks[i].Sessions = []plan.OutlineSession{{Group: groups[0]}, {Group: groups[1]}}
	}
	wins := windows(o, slots)
	require.Len(t, wins, 2)
	require.Equal(t, []int{0, 1, 3}, wins[0].list)
	require.Equal(t, []int{2}, wins[1].list)
}

// A taper's sets are shared out by the days' time, and no day gets more than its limit.
func TestTaperSetsByTime(t *testing.T) {
	w := &window{weeks: 2, columns: make([]column, 2)}
	m := &schedule.Model{Days: []schedule.Day{{Times: 2, Capacity: 300, MaxSets: 20}, {Times: 2, Capacity: 100, MaxSets: 20}}}
	w.limitSets(m, 16)
	require.Equal(t, []int32{12, 4}, []int32{m.Days[0].MaxSets, m.Days[1].MaxSets})
	require.Equal(t, []try{{true, 8}, {false, 8}, {false, 10}, {false, 12}, {false, 14}, {true, 0}, {false, 0}}, tries(8))
	require.Equal(t, []try{{true, 0}, {false, 0}}, tries(0))
}

// planned gives the planned 1RM of a lift of 100 kg by week, in grams.
func planned(t *testing.T, a plan.Athlete, kinds []plan.WeekKind, at ...int32) []int64 {
	cat, err := exercise.Load()
	require.NoError(t, err)
	squat, ok := cat.ByID("back-squat")
	require.True(t, ok)
	slots, _ := places(at...)
	b := &Brief{Request: plan.Request{Athlete: a}}
	b.Request.Constraints.Places = []plan.Place{
		exercise.ExpandPreset(plan.Place{ID: "gym", Preset: plan.PresetFullGym}, plan.Kilogram),
		exercise.ExpandPreset(plan.Place{ID: "hotel", Preset: plan.PresetHome}, plan.Kilogram),
	}
	return newStrengths(b, kinds, slots).grow(squat, 0, 100_000, load.AfterLayoff(100_000, a.LayoffWeeks.Or(0)))
}

func weeksOfTraining(n int) []plan.WeekKind {
	out := make([]plan.WeekKind, n)
	for i := range out {
		out[i] = plan.WeekTraining
	}
	return out
}

// What a lift can't be trained in adds nothing: the first week back is the last before.
func TestGrowthWaitsElsewhere(t *testing.T) {
	got := planned(t, plan.Athlete{Status: plan.Intermediate}, weeksOfTraining(6), 0, 0, 1, 1, 0, 0)
	require.Equal(t, []int64{100_000, 100_500, 100_500, 100_500, 100_500, 101_002}, got)
}

// After a layoff 1 % of what was shown comes back a week, up to it; then growth is that
// of the status.
func TestGrowthAfterALayoff(t *testing.T) {
	a := plan.Athlete{Status: plan.Advanced, LayoffWeeks: plan.Some[int32](4)}
	require.Equal(t, []int64{98_000, 99_000, 100_000, 100_200}, planned(t, a, weeksOfTraining(4), 0, 0, 0, 0))
	a.LayoffWeeks = plan.Some[int32](2)
	require.Equal(t, []int64{100_000, 100_200}, planned(t, a, weeksOfTraining(2), 0, 0))
}

func TestReserveAfterALayoff(t *testing.T) {
	for weeks, want := range map[int32][]int32{2: {0, 0, 0, 0, 0}, 3: {3, 3, 0, 0, 0}, 8: {4, 4, 3, 3, 0}} {
		for week, rir := range want {
			require.Equal(t, rir, comingBack(&plan.Athlete{LayoffWeeks: plan.Some(weeks)}, week), "%d weeks, week %d", weeks, week)
		}
	}
}

// A taper cuts to its share of the dose; what a strategy has cut itself isn't cut again.
func TestTaperCutsOnce(t *testing.T) {
	target := plan.Date(100)
	for dose, want := range map[plan.Permille]plan.Permille{1000: 500, 600: 500, 400: 400} {
		w := &plan.OutlineWeek{Kind: plan.WeekTraining, Dose: dose, Sessions: []plan.OutlineSession{{Targets: []plan.Target{{Role: plan.GoalLift,
			Schemes: []plan.Scheme{{Kind: plan.SetWorking, Sets: plan.FixedSets(6)}}}}}}}
		taper([]*plan.OutlineWeek{w}, [][]Slot{{{Date: plan.Some(target - 5)}}}, target, plan.Taper{Days: 10, Keep: 500})
		require.Equal(t, plan.WeekTaper, w.Kind)
		require.Equal(t, want, w.Dose)
		require.Equal(t, plan.FixedSets(6*int32(want)/int32(dose)), w.Sessions[0].Targets[0].Schemes[0].Sets)
	}
}

// Four single sets of rising load: a taper keeps the two heaviest that stand alone, a
// deload the two lightest, and a set that depends on the one before goes first. Sets of
// a scheme are cut in proportion, all schemes together.
func TestFewerSets(t *testing.T) {
	one := func(share plan.Permille, ref plan.ReferenceKind, sets int32) plan.Scheme {
		return plan.Scheme{Kind: plan.SetWorking, Sets: plan.FixedSets(sets), Effort: plan.Effort{Intensity: plan.Some(share), Reference: plan.Reference{Kind: ref}}}
	}
	rising := []plan.Scheme{one(500, plan.RefRM, 1), one(750, plan.RefRM, 1), one(1000, plan.RefRM, 1), one(950, plan.RefSetBefore, 1)}
	require.Equal(t, rising[1:3], fewerSets(rising, 500, true))
	require.Equal(t, rising[:2], fewerSets(rising, 500, false))
	require.Equal(t, rising[2:3], fewerSets(rising, 100, true))
	require.Equal(t, rising, fewerSets(rising, 1000, true))
	require.Equal(t, []plan.Scheme{one(700, 0, 2), one(800, 0, 1)}, fewerSets([]plan.Scheme{one(700, 0, 3), one(800, 0, 2)}, 600, true))
	require.Equal(t, []plan.Scheme{one(700, 0, 1), one(800, 0, 2)}, fewerSets([]plan.Scheme{one(700, 0, 3), one(800, 0, 3)}, 500, true))
	scaled := plan.Scheme{Kind: plan.SetWorking, Sets: plan.ScaledSets(2, 4)}
	require.Equal(t, []plan.Scheme{scaled}, fewerSets([]plan.Scheme{scaled}, 500, true))
	rapid.Check(t, func(t *rapid.T) {
		var all []plan.Scheme
		total := int32(0)
		for range rapid.IntRange(1, 5).Draw(t, "schemes") {
			n := rapid.Int32Range(1, 6).Draw(t, "sets")
			all = append(all, one(plan.Permille(rapid.Int32Range(400, 1000).Draw(t, "share")), 0, n))
			total += n
		}
		keep := plan.Permille(rapid.Int32Range(1, 1000).Draw(t, "keep"))
		got := int32(0)
		for _, s := range fewerSets(all, keep, rapid.Bool().Draw(t, "heavier")) {
			got += s.Sets.Min
		}
		require.Equal(t, max(1, (total*int32(keep)+500)/1000), got)
	})
}
