package dose

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/plan"
)

func weeks(n int) []Week {
	out := make([]Week, n)
	for i := range out {
		out[i] = Week{Kind: plan.WeekTraining, Dose: 1000}
	}
	return out
}

func current(h plan.HalfSets) (out [plan.MuscleCount]plan.HalfSets) {
	for i := range out {
		out[i] = h
	}
	return out
}

// Weekly sets by status and priority: common practice, no source.
func TestPublishedRangesByStatus(t *testing.T) {
	for _, c := range []struct {
		status                         plan.Status
		first, second, other, kept     int32
		liftFirst, liftSecond, liftLow int32
	}{
		{plan.Novice, 10, 8, 6, 3, 6, 5, 4},
		{plan.Intermediate, 16, 12, 8, 4, 10, 8, 6},
		{plan.Advanced, 20, 14, 10, 5, 12, 10, 8},
	} {
		got := Plan(Input{Status: c.status, Current: current(60), Weeks: weeks(1), Goals: []plan.Goal{
			{Kind: plan.GoalGrow, Muscle: plan.Chest, Priority: 1},
			{Kind: plan.GoalGrow, Muscle: plan.Lats, Priority: 2},
			{Kind: plan.GoalMaintainMuscle, Muscle: plan.Quads, Priority: 2},
			{Kind: plan.GoalRaise1RM, ExerciseID: "a", Priority: 1},
			{Kind: plan.GoalRaise1RM, ExerciseID: "b", Priority: 2},
			{Kind: plan.GoalPeak, ExerciseID: "c", Priority: 3},
			{Kind: plan.GoalMaintainLift, ExerciseID: "d", Priority: 3},
		}})[0]
		require.Equal(t, 2*plan.HalfSets(c.first), got.Muscles[plan.Chest].Wanted)
		require.Equal(t, 2*plan.HalfSets(c.second), got.Muscles[plan.Lats].Wanted)
		require.Equal(t, 2*plan.HalfSets(c.other), got.Muscles[plan.Glutes].Wanted)
		require.Equal(t, 2*plan.HalfSets(c.kept), got.Muscles[plan.Quads].Wanted)
		require.Equal(t, 2*plan.HalfSets(c.kept), got.Muscles[plan.Biceps].Wanted, "small muscles get the maintained amount")
		require.Equal(t, plan.HalfSets(0), got.Muscles[plan.Forearms].Wanted)
		require.Equal(t, got.Muscles[plan.Chest].Wanted/2, got.Muscles[plan.Chest].Direct, "half of a priority is direct")
		require.Equal(t, plan.HalfSets(8), got.Muscles[plan.Glutes].Floor, "four sets before priorities are filled")
		require.Equal(t, []int32{c.liftFirst, c.liftSecond, c.liftLow, c.kept},
			[]int32{got.Lifts[0].Sets, got.Lifts[1].Sets, got.Lifts[2].Sets, got.Lifts[3].Sets})
	}
}

func TestClimbStartsNearWhatIsDone(t *testing.T) {
	in := Input{Status: plan.Intermediate, Current: current(16), Weeks: weeks(6), // eight sets now
		Goals: []plan.Goal{{Kind: plan.GoalGrow, Muscle: plan.Chest, Priority: 1}}}
	got := Plan(in)
	for w, want := range []plan.HalfSets{20, 22, 24, 26, 28, 30} { // 10 sets, a quarter above 8, then one more a week
		require.Equal(t, want, got[w].Muscles[plan.Chest].Wanted, "week %d", w+1)
	}
	require.Equal(t, RuleClimb, got[0].Muscles[plan.Chest].Rule)
}

func TestCostlyLiftsGetTwoThirds(t *testing.T) {
	in := Input{Status: plan.Advanced, Current: current(40), Weeks: weeks(1), Goals: []plan.Goal{{Kind: plan.GoalPeak, ExerciseID: "deadlift", Priority: 1}},
		Costly: func(id string) bool { return id == "deadlift" }}
	require.Equal(t, int32(8), Plan(in)[0].Lifts[0].Sets, "two thirds of 12")
}

func TestDeloadCutsEverythingAndDoesNotClimb(t *testing.T) {
	w := weeks(3)
	w[1] = Week{Kind: plan.WeekDeload, Dose: 500}
	in := Input{Status: plan.Intermediate, Current: current(16), Weeks: w, Goals: []plan.Goal{
		{Kind: plan.GoalGrow, Muscle: plan.Chest, Priority: 1}, {Kind: plan.GoalRaise1RM, ExerciseID: "squat", Priority: 1}}}
	got := Plan(in)
	require.Equal(t, plan.HalfSets(20), got[0].Muscles[plan.Chest].Wanted)
	require.Equal(t, plan.HalfSets(11), got[1].Muscles[plan.Chest].Wanted, "half of 22")
	require.Equal(t, plan.HalfSets(22), got[2].Muscles[plan.Chest].Wanted)
	require.Equal(t, int32(5), got[1].Lifts[0].Sets)
}

func TestRequestCapsHold(t *testing.T) {
	in := Input{Status: plan.Advanced, Current: current(40), Weeks: weeks(2), Goals: []plan.Goal{{Kind: plan.GoalGrow, Muscle: plan.Quads, Priority: 1}}}
	in.Caps[plan.Quads] = 18
	got := Plan(in)
	require.Equal(t, plan.HalfSets(18), got[0].Muscles[plan.Quads].Wanted)
	require.Equal(t, RuleCapped, got[0].Muscles[plan.Quads].Rule)
}

func TestEveryRuleResolves(t *testing.T) {
	known := map[plan.RuleID]bool{}
	for _, r := range Rules() {
		require.NotEmpty(t, r.Says)
		require.NotEmpty(t, r.Source)
		require.False(t, known[r.ID])
		known[r.ID] = true
	}
	for _, id := range []plan.RuleID{RulePriority, RuleOther, RuleMaintained, RuleLift, RuleLiftCostly, RuleLiftMaintained, RuleClimb, RuleCapped} {
		require.True(t, known[id], id)
	}
}

func TestLawsOfTheDose(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := Input{Status: plan.Status(rapid.IntRange(1, 3).Draw(t, "status"))}
		n := rapid.IntRange(1, 20).Draw(t, "weeks")
		for range n {
			in.Weeks = append(in.Weeks, Week{Kind: plan.WeekKind(rapid.IntRange(1, 6).Draw(t, "kind")), Dose: plan.Permille(rapid.IntRange(0, 1500).Draw(t, "dose"))})
		}
		for m := range in.Current {
			in.Current[m] = plan.HalfSets(rapid.IntRange(0, 60).Draw(t, "now"))
			in.Caps[m] = plan.HalfSets(rapid.SampledFrom([]int{0, 0, 0, 6, 20}).Draw(t, "cap"))
		}
		for range rapid.IntRange(1, 6).Draw(t, "goals") {
			in.Goals = append(in.Goals, plan.Goal{Kind: plan.GoalKind(rapid.IntRange(1, 6).Draw(t, "goal")),
				Muscle: plan.Muscle(rapid.IntRange(1, int(plan.MuscleCount)-1).Draw(t, "muscle")), Priority: int32(rapid.IntRange(1, 3).Draw(t, "priority"))})
		}
		for w, d := range Plan(in) {
			for m := range d.Muscles {
				row := d.Muscles[m]
				require.GreaterOrEqual(t, row.Wanted, row.Floor)
				require.GreaterOrEqual(t, row.Wanted, row.Direct)
				require.GreaterOrEqual(t, row.Floor, plan.HalfSets(0))
				if in.Weeks[w].Dose <= 1000 && in.Caps[m] > 0 {
					require.LessOrEqual(t, row.Wanted, in.Caps[m])
				}
				if w == 0 && in.Weeks[0].Dose <= 1000 {
					require.LessOrEqual(t, row.Wanted, max(in.Current[m]+in.Current[m]/4, StartSets), "a quarter above now, or four sets")
				}
			}
			for _, l := range d.Lifts {
				require.Positive(t, l.Sets)
			}
		}
	})
}
