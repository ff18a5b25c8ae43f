package engine

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// drawLane makes an outline of so many weeks in which every scheme is one of a kind.
func drawLane(t *rapid.T, name string, weeks int, sessions []int32, groups bool) lane {
	out := plan.Outline{Strategy: "s" + name + "@1"}
	n := int32(0)
	for w := 0; w < weeks; {
		ph := plan.OutlinePhase{Name: fmt.Sprintf("phase %d", len(out.Phases)), Aim: "An aim."}
		for range rapid.IntRange(1, weeks-w).Draw(t, "length") {
			week := plan.OutlineWeek{Kind: rapid.SampledFrom([]plan.WeekKind{plan.WeekTraining, plan.WeekDeload}).Draw(t, "kind"), Dose: plan.Permille(rapid.Int32Range(300, 1000).Draw(t, "dose"))}
			for s := range rapid.Int32Range(0, sessions[w]).Draw(t, "sessions") {
				o := plan.OutlineSession{Kind: plan.SessionTraining, Label: fmt.Sprint("l", s)}
				if groups {
					o.Group = "A"
				}
				for r := plan.GoalLift; r < plan.RoleCount; r++ {
					n++
					if rapid.Bool().Draw(t, "role") {
						o.Targets = append(o.Targets, plan.Target{Role: r, Schemes: []plan.Scheme{{Sets: plan.FixedSets(n)}}})
					}
				}
				week.Sessions = append(week.Sessions, o)
			}
			ph.Weeks = append(ph.Weeks, week)
			w++
		}
		out.Phases = append(out.Phases, ph)
	}
	return lane{name: name, path: "plan.tracks[1]", outline: out}
}

// Side by side, no lane loses, doubles or changes anything of another: each finds its
// own weeks, sessions and targets, in their order, and nothing else.
func TestMergeKeepsEveryLane(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		weeks := rapid.IntRange(1, 12).Draw(t, "weeks")
		sessions := make([]int32, weeks)
		for i := range sessions {
			sessions[i] = rapid.Int32Range(0, 5).Draw(t, "available")
		}
		lanes := []lane{drawLane(t, "", weeks, sessions, false)}
		for i := range rapid.IntRange(0, 2).Draw(t, "others") {
			lanes = append(lanes, drawLane(t, fmt.Sprint("track ", i), weeks, sessions, i == 0))
		}
		got, err := merge(lanes)
		if err != nil {
			t.Fatal(err)
		}
		if got.WeekCount() != weeks {
			t.Fatalf("%d weeks became %d", weeks, got.WeekCount())
		}
		whole := weeksOf(&got)
		for i := range lanes {
			for w, own := range weeksOf(&lanes[i].outline) {
				kind, dose := whole[w].Of(lanes[i].name)
				if dose != own.Dose || kind != own.Kind {
					t.Fatalf("week %d of %q is %v %d, was %v %d", w, lanes[i].name, kind, dose, own.Kind, own.Dose)
				}
				if len(whole[w].Sessions) > int(sessions[w]) {
					t.Fatalf("week %d has %d sessions of %d", w, len(whole[w].Sessions), sessions[w])
				}
				found := 0
				for s := range whole[w].Sessions {
					var have [plan.RoleCount][]plan.Scheme
					any := false
					for r := plan.GoalLift; r < plan.RoleCount; r++ {
						have[r] = whole[w].Sessions[s].Find(r, lanes[i].name)
						any = any || have[r] != nil
					}
					if !any {
						continue
					}
					for found < len(own.Sessions) && len(own.Sessions[found].Targets) == 0 {
						found++
					}
					if found == len(own.Sessions) {
						t.Fatalf("week %d of %q has a session too many", w, lanes[i].name)
					}
					for r := plan.GoalLift; r < plan.RoleCount; r++ {
						require.Equal(t, own.Sessions[found].Find(r, ""), have[r], "week %d, session %d of %q", w, s, lanes[i].name)
					}
					found++
				}
				for found < len(own.Sessions) && len(own.Sessions[found].Targets) == 0 {
					found++
				}
				if found != len(own.Sessions) {
					t.Fatalf("week %d of %q lost sessions: %d of %d", w, lanes[i].name, found, len(own.Sessions))
				}
			}
		}
	})
}

func TestOneLaneStaysAsItIs(t *testing.T) {
	o := plan.Outline{Strategy: "a@1", Phases: []plan.OutlinePhase{{Name: "p", Weeks: make([]plan.OutlineWeek, 3)}}}
	got, err := merge([]lane{{outline: o}})
	require.NoError(t, err)
	require.Equal(t, o, got)
}

func TestPhasesEndWhereALaneChanges(t *testing.T) {
	two := func(name string, first, second int) lane {
		return lane{name: name, outline: plan.Outline{Strategy: name + "@1", Phases: []plan.OutlinePhase{
			{Name: "one", Aim: "First.", Weeks: make([]plan.OutlineWeek, first)}, {Name: "two", Aim: "Second.", Weeks: make([]plan.OutlineWeek, second)}}}}
	}
	got, err := merge([]lane{two("", 3, 5), two("squat", 6, 2)})
	require.NoError(t, err)
	var phases []string
	for _, ph := range got.Phases {
		phases = append(phases, fmt.Sprint(ph.Name, " ", len(ph.Weeks)))
	}
	require.Equal(t, []string{"one; squat: one 3", "two; squat: one 3", "two; squat: two 2"}, phases)
	require.Equal(t, "@1 | squat: squat@1", got.Strategy)
	require.Equal(t, "Second. squat: First.", got.Phases[1].Aim)
}

func TestTracksThatRotateOtherwise(t *testing.T) {
	one := func(name string, groups ...string) lane {
		w := plan.OutlineWeek{Kind: plan.WeekTraining}
		for _, g := range groups {
			w.Sessions = append(w.Sessions, plan.OutlineSession{Group: g})
		}
		return lane{name: name, path: "plan.tracks[1]", outline: plan.Outline{Phases: []plan.OutlinePhase{{Weeks: []plan.OutlineWeek{w}}}}}
	}
	_, err := merge([]lane{one("", "A", "B"), one("x", "A", "B")})
	require.NoError(t, err)
	_, err = merge([]lane{one("", "A", "B"), one("x", "B", "A")})
	f, ok := fault.As(err)
	require.True(t, ok)
	require.Equal(t, "TRACKS_ROTATE", f.Violations[0].Reason)
	require.Equal(t, "plan.tracks[1]", f.Violations[0].Field)
}

func TestClippedAtARune(t *testing.T) {
	require.Equal(t, "abc", clipped("abc", 3))
	require.Equal(t, "é…", clipped("éé…é", 5))
}
