package strategies_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies"
)

// allSessions gives every session of an outline.
func allSessions(o plan.Outline) []plan.OutlineSession {
	var out []plan.OutlineSession
	for _, p := range o.Phases {
		for _, w := range p.Weeks {
			out = append(out, w.Sessions...)
		}
	}
	return out
}

func TestListsComeFirst(t *testing.T) {
	r := outlineRequest(4, 2, plan.Intermediate, true, true)
	o := outlineOf(t, "constant", r, number("ease", 0), number("rest", 75), text("effort", "2"), reps("goal_sets", 5, 5),
		sets("goal_list", "3x3@90%/4min, 10@RIR3"), sets("other_list", "4x6"))
	for _, s := range allSessions(o) {
		goal := s.Find(plan.GoalLift, "")
		require.Equal(t, "3x3@90%/240s, 10@RIR3/75s", engine.SetsText(goal), "the list beats goal_sets; its rest beats rest")
		require.Equal(t, "4x6@RIR2/75s", engine.SetsText(s.Find(plan.MultiJoint, "")), "what it leaves open is the strategy's")
		require.Equal(t, plan.Range{Min: 10, Max: 15}, s.Find(plan.SingleJoint, "")[0].Reps, "no list, no change")
		require.False(t, s.Find(plan.SingleJoint, "")[0].Sets.Fixed)
	}
	// What it leaves open moves as it would without a list.
	o = outlineOf(t, "constant", r, sets("other_list", "4x6"))
	require.Equal(t, int32(3), o.Phases[0].Weeks[0].Sessions[0].Find(plan.MultiJoint, "")[0].Effort.RIR.Value)
	require.Equal(t, int32(1), o.Phases[0].Weeks[3].Sessions[0].Find(plan.MultiJoint, "")[0].Effort.RIR.Value)
	o = outlineOf(t, "constant", r, sets("goal_list", "5x10@70%"), number("deferred_from", 3))
	for i, w := range o.Phases[0].Weeks {
		require.Equal(t, i >= 2, w.Sessions[0].Find(plan.GoalLift, "")[0].Effort.Reference.Kind == plan.RefLatest)
	}
}

func TestListsInDeloads(t *testing.T) {
	for text, want := range map[string]string{
		"5x5@80%":                          "3x5@72%",
		"10@70%, 8@75%, 6@80%":             "10@63%, 8@67.5%",
		"3x3@90%, 10@70%":                  "2x3@81%",
		"5x10@RM":                          "3x10@90%RM",
		"2x5@75%, max@90%":                 "5@67.5%",
		"3xmax@90%":                        "2x5@RIR4",
		"4x12@RIR1, 10@fail, 8@20%, 8@22%": "2x12@RIR3, 10@RIR2, 8@20%",
	} {
		o := outlineOf(t, "constant", outlineRequest(4, 1, plan.Intermediate, false, true), number("deload_every", 3), number("rest", 60), sets("goal_list", text))
		w := o.Phases[0].Weeks[2]
		require.Equal(t, plan.WeekDeload, w.Kind)
		got := w.Sessions[0].Find(plan.GoalLift, "")
		for i := range got {
			require.Equal(t, plan.Seconds(60), got[i].Rest)
			got[i].Rest = 0
		}
		require.Equal(t, want, engine.SetsText(got), text)
	}
}

func TestZoneLists(t *testing.T) {
	r := outlineRequest(4, 3, plan.Intermediate, false, true)
	params := []plan.Param{number("ease", 0), number("rest", 90), sets("zone_1_list", "4x3@90%"), sets("zone_3_list", "2x15, 12@60%")}
	o := outlineOf(t, "undulating", r, params...)
	for i, s := range allSessions(o) {
		goal, single := engine.SetsText(s.Find(plan.GoalLift, "")), s.Find(plan.SingleJoint, "")
		switch i % 3 {
		case 0:
			require.Equal(t, "4x3@90%/90s", goal)
			require.Equal(t, "heavy", s.Label)
			require.Equal(t, "4x8@RIR1/90s", engine.SetsText(single), "8 and more, and no load that 8 can't be done with")
		case 1:
			require.Equal(t, plan.ScaledSets(3, 5), s.Find(plan.GoalLift, "")[0].Sets)
		case 2:
			require.Equal(t, "2x15@RIR1/90s, 12@60%/90s", goal)
			require.Equal(t, "2x15@RIR1/90s, 12@RIR1/90s", engine.SetsText(single), "no share of a maximum that nobody tests")
		}
		require.Equal(t, plan.Range{Min: 3, Max: 5}, s.Find(plan.Explosive, "")[0].Reps)
	}
	o = outlineOf(t, "undulating", r, append(params, text("undulates", "goal"), sets("other_list", "3x6@fail"), sets("single_list", "3x6-8"))...)
	for i, s := range allSessions(o) {
		require.Equal(t, "3x6@fail/90s", engine.SetsText(s.Find(plan.MultiJoint, "")))
		require.Equal(t, "3x6-8@RIR1/90s", engine.SetsText(s.Find(plan.SingleJoint, "")))
		require.Equal(t, i%3 == 0, engine.SetsText(s.Find(plan.GoalLift, "")) == "4x3@90%/90s")
	}
}

func TestListsThatClash(t *testing.T) {
	for _, c := range []struct {
		strategy string
		params   []plan.Param
		says     string
	}{
		{"constant", []plan.Param{sets("single_list", "3x8, 2x3")}, "parameters.single_list: begins at 3 repetitions in item 2; single-joint exercises take 4 or more [PARAMETERS_CLASH]"},
		{"undulating", []plan.Param{sets("zone_4_list", "3x8")}, "parameters.zone_4_list: is given for zone 4 of 3; more zones, or no list, is right [PARAMETERS_CLASH]"},
		{"constant", []plan.Param{sets("goal_list", "3x8@")}, `parameters.goal_list: is "3x8@": sets[0] at 5: the item ends; a load such as 80%, 10RM, RM, fail or RIR2 is right [PARAMETER_NOT_SETS]`},
		{"constant", []plan.Param{reps("goal_list", 8, 12)}, "parameters.goal_list: is a range; it has to be a list of sets written as text, such as 3x8-12 [PARAMETER_KIND]"},
		{"autoregulated", []plan.Param{sets("lead_6", "10@50%, 6")}, "parameters.lead_6: names no share and number of repetitions in item 2; 10@50% is right [PARAMETERS_CLASH]"},
		{"autoregulated", []plan.Param{sets("lead_3", "6@50%6RM")}, "parameters.lead_3: names no share"},
		{"autoregulated", []plan.Param{list("table_6", 0, 4, -1, 0, 5)}, "parameters.table_6: has 5 numbers; four a band are right [PARAMETERS_CLASH]"},
		{"autoregulated", []plan.Param{list("table_6", 0, 4, -1, 0, 4, 9, 0, 0)}, "parameters.table_6: has the repetitions 4 to 9 in band 2; rising ones from 5 up are right"},
		{"autoregulated", []plan.Param{list("next_10", 0, 4, 1, 0)}, "parameters.next_10: moves by 1 to 0 steps in band 1; the lower one comes first; a single 0 takes the table of the set before"},
		{"autoregulated", []plan.Param{list("next_10", 0, 4, -1, 11)}, "parameters.next_10: moves by -1 to 11 steps in band 1; at most 10 either way are possible; a single 0 takes the table of the set before"},
	} {
		reg, err := engine.NewRegistry(strategies.Builtin()...)
		require.NoError(t, err)
		s, err := reg.Lookup(c.strategy)
		require.NoError(t, err)
		_, err = s.Parse(c.params)
		f, ok := fault.As(err)
		require.True(t, ok, c.says)
		require.Contains(t, f.Error(), c.says)
	}
}

// Every list that can be read gives an outline that can be used, or is refused by name.
func TestAnyListGivesAnOutline(t *testing.T) {
	item := rapid.Custom(func(t *rapid.T) string {
		reps := rapid.SampledFrom([]string{"1", "3", "5", "8-12", "20", "50"}).Draw(t, "reps")
		load := rapid.SampledFrom([]string{"", "@20%", "@80%", "@110%", "@6RM", "@90%10RM", "@fail", "@RIR0", "@RIR6"}).Draw(t, "load")
		if open := rapid.SampledFrom([]string{"", "max@75%", "5+@RM"}).Draw(t, "open"); open != "" {
			return open
		}
		return fmt.Sprintf("%dx%s%s", rapid.IntRange(1, 6).Draw(t, "sets"), reps, load)
	})
	names := map[string][]string{
		"constant":   {"goal_list", "other_list", "single_list"},
		"undulating": {"zone_1_list", "zone_2_list", "zone_3_list", "other_list", "single_list"},
	}
	rapid.Check(t, func(t *rapid.T) {
		strategy := rapid.SampledFrom([]string{"constant", "undulating"}).Draw(t, "strategy")
		params := []plan.Param{number("deload_every", rapid.Int64Range(2, 4).Draw(t, "deload"))}
		for _, name := range names[strategy] {
			list := ""
			for i := range rapid.IntRange(0, 3).Draw(t, "items") {
				if i > 0 {
					list += ", "
				}
				list += item.Draw(t, "item")
			}
			params = append(params, sets(name, list))
		}
		reg, err := engine.NewRegistry(strategies.Builtin()...)
		require.NoError(t, err)
		s, err := reg.Lookup(strategy)
		require.NoError(t, err)
		in, err := s.Parse(params)
		if err != nil {
			require.Contains(t, err.Error(), "parameters.single_list: begins at")
			return
		}
		r := outlineRequest(6, 3, plan.Status(rapid.IntRange(1, 3).Draw(t, "status")), rapid.Bool().Draw(t, "strength"), true)
		o, err := in.Outline(t.Context(), r)
		require.NoError(t, err)
		require.NoError(t, engine.CheckOutline(&o, r))
		for _, w := range o.Phases[0].Weeks {
			for _, session := range w.Sessions {
				for _, target := range session.Targets {
					for _, scheme := range target.Schemes {
						require.False(t, w.Kind == plan.WeekDeload && (scheme.OpenEnded || scheme.Effort.ToFailure), "a deload is easy")
					}
				}
			}
		}
	})
}

func TestStepWeeks(t *testing.T) {
	course := func(id string, weeks, step int64, first, last int32) []int32 {
		o := outlineOf(t, id, outlineRequest(int32(weeks), 1, plan.Intermediate, true, true),
			number("step_weeks", step), reps("first_reps", first, first), reps("last_reps", last, last), number("deload_every", 0))
		var out []int32
		for _, s := range allSessions(o) {
			out = append(out, s.Find(plan.GoalLift, "")[0].Reps.Min)
		}
		return out
	}
	require.Equal(t, []int32{8, 8, 8, 8, 6, 6, 6, 6, 4, 4, 4, 4}, course("linear", 12, 4, 8, 4))
	require.Equal(t, []int32{12, 12, 12, 8, 8, 8, 4}, course("linear", 7, 3, 12, 4), "a last block may be short")
	require.Equal(t, []int32{10, 10, 10, 10, 10}, course("linear", 5, 26, 10, 4), "one block keeps the first")
	require.Equal(t, []int32{4, 4, 8, 8, 12, 12}, course("reverse-linear", 6, 2, 4, 12))
	// Blocks count training weeks: a deload repeats the week before and takes none.
	o := outlineOf(t, "linear", outlineRequest(6, 1, plan.Intermediate, true, true), number("step_weeks", 2), number("deload_every", 3), reps("first_reps", 12, 12), reps("last_reps", 6, 6))
	var got []int32
	for _, s := range allSessions(o) {
		got = append(got, s.Find(plan.GoalLift, "")[0].Reps.Min)
	}
	require.Equal(t, []int32{12, 12, 12, 6, 6, 6}, got)
}
