package engine_test

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/dose"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// plain is a strategy of one week: every exercise gets the same sets.
type plain struct {
	sets plan.SetCount
	reps int32
	rest plan.Seconds
}

func (plain) Describe() plan.Descriptor {
	return plan.Descriptor{Name: "plain", Version: "1", Says: "Plain.", Claims: "None.", MinWeeks: 1, MaxWeeks: 1}
}

func (p plain) Parse([]plan.Param) (engine.Instance, error) { return p, nil }

func (p plain) Outline(_ context.Context, r plan.OutlineRequest) (plan.Outline, error) {
	w := plan.OutlineWeek{Kind: plan.WeekTraining, Dose: 1000}
	for range r.Sessions[0] {
		s := plan.OutlineSession{Kind: plan.SessionTraining}
		for role := plan.GoalLift; role < plan.RoleCount; role++ {
			s.Targets = append(s.Targets, plan.Target{Role: role, Schemes: []plan.Scheme{{Kind: plan.SetWorking, Sets: p.sets,
				Reps: plan.Range{Min: p.reps, Max: p.reps}, Effort: plan.Effort{RIR: plan.Some(int32(3))}, Rest: p.rest}}})
		}
		w.Sessions = append(w.Sessions, s)
	}
	return plan.Outline{Strategy: "plain@1", Phases: []plan.OutlinePhase{{Name: "plain", Aim: "Plain.", Weeks: []plan.OutlineWeek{w}}}}, nil
}

// tiny is a case small enough to try everything.
type tiny struct {
	r     plan.Request
	s     plain
	list  []exercise.Exercise
	doses dose.WeekDose
}

var weekdays = [...]plan.Weekday{plan.Monday, plan.Thursday} // three days apart

// tinyCase draws up to five body-mass exercises on one day, or three on two.
func tinyCase(t *rapid.T) tiny {
	n := func(lo, hi int32, label string) int32 { return rapid.Int32Range(lo, hi).Draw(t, label) }
	chance := func(percent int, label string) bool {
		return rapid.Uint64().Draw(t, label)*2654435761>>13%100 < uint64(percent)
	}
	var c tiny
	days := n(1, 2, "days")
	most := map[int32]int32{1: 5, 2: 3}[days]
	patterns := []plan.Pattern{plan.Squat, plan.HorizontalPush, plan.HorizontalPull, plan.KneeFlexion, plan.ElbowFlexion, plan.VerticalPull, plan.TrunkFlexion}
	muscles := []plan.Muscle{plan.Chest, plan.Quads, plan.Lats, plan.Hamstrings, plan.Biceps, plan.Glutes, plan.Abs}
	for i := range n(2, most, "exercises") {
		x := exercise.Exercise{ID: fmt.Sprintf("x-%c", 'a'+i), Pattern: patterns[i], Role: plan.Unloadable, Loading: plan.LoadingBodyweight,
			Curve: exercise.CurveBodyweight, Region: exercise.Upper, Standing: exercise.Usual, Skill: plan.SkillLow, MinReps: 1, Source: "judgement",
			Setup: plan.Seconds(n(0, 90, "setup")), Rep: plan.Seconds(n(2, 5, "rep")), SetSetup: plan.Seconds(n(0, 15, "set setup")), Unilateral: chance(25, "one-sided")}
		x.Name, x.Group = "Exercise "+x.ID, x.ID
		for range n(1, 2, "primes") {
			x.Involvement[muscles[n(0, int32(len(muscles))-1, "prime")]] = exercise.Prime
		}
		for range n(0, 2, "secondaries") {
			if m := muscles[n(0, int32(len(muscles))-1, "secondary")]; x.Involvement[m] == 0 {
				x.Involvement[m] = exercise.Secondary
			}
		}
		c.list = append(c.list, x)
	}
	c.s = plain{sets: plan.ScaledSets(1, n(2, 4, "sets")), reps: n(5, 12, "reps"), rest: plan.Seconds(2 * n(15, 90, "rest"))}
	if chance(25, "fixed") {
		c.s.sets = plan.FixedSets(n(1, 4, "fixed sets"))
	}
	c.r = fit()
	c.r.Athlete.Performances = nil
	c.r.Athlete.CurrentSetsEach = plan.Some(plan.HalfSets(100)) // no climb
	c.r.Goals = nil
	for range n(0, 3, "goals") {
		g := plan.Goal{Kind: plan.GoalGrow, Muscle: muscles[n(0, int32(len(muscles))-1, "goal")], Priority: n(1, 3, "priority")}
		if !slices.ContainsFunc(c.r.Goals, func(o plan.Goal) bool { return o.Muscle == g.Muscle }) {
			c.r.Goals = append(c.r.Goals, g)
		}
	}
	if chance(30, "kept lift") {
		c.r.Goals = append(c.r.Goals, plan.Goal{Kind: plan.GoalMaintainLift, ExerciseID: c.list[0].ID, Priority: n(1, 3, "lift priority")})
	}
	if len(c.r.Goals) == 0 {
		c.r.Goals = []plan.Goal{{Kind: plan.GoalGeneral, Priority: 2}}
	}
	k := &c.r.Constraints
	*k = plan.Constraints{Unit: plan.Kilogram, Weeks: plan.Some(int32(1)), Places: []plan.Place{{Preset: plan.PresetBodyweight}}}
	for i := range days {
		k.Days = append(k.Days, plan.Day{Weekday: weekdays[i], Minutes: n(15, 40, "minutes")})
	}
	for _, x := range c.list {
		switch {
		case chance(25, "pinned"):
			k.Pinned = append(k.Pinned, plan.Pin{ExerciseID: x.ID, PerWeek: n(0, days, "per week")})
		case chance(10, "excluded") && len(k.Excluded) == 0 && x.ID != c.list[0].ID:
			k.Excluded = append(k.Excluded, x.ID)
		}
	}
	if chance(30, "few exercises") {
		k.Limits.ExercisesPerSession = plan.Some(n(1, 3, "exercises a session"))
	}
	if chance(30, "few sets") {
		k.Limits.SetsPerSession = plan.Some(n(2, 9, "sets a session"))
	}
	if chance(30, "few of a muscle") {
		k.Limits.MuscleSetsPerSession = plan.Some(n(1, 5, "muscle sets"))
	}
	if chance(40, "weekly limit") {
		k.Limits.MuscleSetsPerWeek = []plan.MuscleSets{{Muscle: muscles[n(0, 6, "limited")], Sets: plan.HalfSets(n(1, 8, "limit"))}}
	}
	if chance(40, "recovery") {
		k.Recovery = []plan.Recovery{{Muscle: muscles[n(0, 6, "recovers")], Hours: 48 + 48*n(0, 1, "hours")}}
	}
	c.r.Plan = plan.Plan{Tracks: []plan.Track{{Segments: []plan.Segment{{Strategy: "plain"}}}}}
	in := dose.Input{Status: c.r.Athlete.Status, Goals: c.r.Goals, Weeks: []dose.Week{{Kind: plan.WeekTraining, Dose: 1000}}}
	for m := range in.Current {
		in.Current[m] = 100
	}
	for _, l := range k.Limits.MuscleSetsPerWeek {
		in.Caps[l.Muscle] = l.Sets
	}
	c.doses = dose.Plan(in)[0]
	return c
}

// ticks is the time model's 15 s grid, rounded up.
func ticks(s plan.Seconds) int32 {
	if s < 0 {
		return -int32(-s / 15) // rounded up too
	}
	return int32((s + 14) / 15)
}

// costs gives the ticks for being there and for each set, the last rest left out.
func (c *tiny) costs(x *exercise.Exercise) (fixed, per int32) {
	rest, work := c.s.rest, plan.Seconds(c.s.reps)*x.Rep
	if x.Unilateral {
		rest, work = rest/2, 2*work
	}
	return ticks(x.Setup - rest), ticks(work + x.SetSetup + rest)
}

// allowed holds sets[exercise][day] against every hard limit of the request.
func (c *tiny) allowed(sets [][]int32) bool {
	k := &c.r.Constraints
	var week, both [plan.MuscleCount]int32
	var direct [2][plan.MuscleCount]int32
	for d := range k.Days {
		warm := plan.Seconds(300)
		if k.Days[d].Minutes <= 30 {
			warm = 180
		}
		room := int32((plan.Seconds(k.Days[d].Minutes)*60 - warm - 60) / 15)
		exercises, all := int32(0), int32(0)
		for i := range c.list {
			n := sets[i][d]
			if n == 0 {
				continue
			}
			fixed, per := c.costs(&c.list[i])
			room -= fixed + n*per
			exercises, all = exercises+1, all+n
			for m, v := range c.list[i].Involvement {
				week[m] += n * int32(v)
				if v == exercise.Prime {
					direct[d][m] += n
				}
			}
		}
		if room < 0 || exercises > k.Limits.ExercisesPerSession.Or(7) || all > k.Limits.SetsPerSession.Or(28) ||
			slices.Max(direct[d][:]) > k.Limits.MuscleSetsPerSession.Or(8) {
			return false
		}
	}
	for m := range both {
		both[m] = min(direct[0][m], direct[1][m])
	}
	for _, l := range k.Limits.MuscleSetsPerWeek {
		if week[l.Muscle] > int32(l.Sets) {
			return false
		}
	}
	for _, r := range k.Recovery {
		if r.Hours > 72 && both[r.Muscle] > 0 {
			return false
		}
	}
	for _, l := range c.doses.Lifts {
		if l.MinDays > 0 && slices.Max(sets[0]) == 0 && l.ExerciseID == c.list[0].ID {
			return false
		}
	}
	for _, p := range k.Pinned {
		i := slices.IndexFunc(c.list, func(x exercise.Exercise) bool { return x.ID == p.ExerciseID })
		there := int32(0)
		for _, n := range sets[i] {
			if n > 0 {
				there++
			}
		}
		if there < max(1, p.PerWeek) {
			return false
		}
	}
	return true
}

// movements are wanted for two sets a week each where an exercise is there for them.
var movements = [...]struct {
	any    []plan.Pattern
	weight int64
}{
	{[]plan.Pattern{plan.Squat, plan.Lunge}, 3}, {[]plan.Pattern{plan.Hinge, plan.HipExtension}, 3},
	{[]plan.Pattern{plan.HorizontalPush}, 3}, {[]plan.Pattern{plan.HorizontalPull}, 3},
	{[]plan.Pattern{plan.VerticalPush}, 1}, {[]plan.Pattern{plan.VerticalPull}, 2},
	{[]plan.Pattern{plan.TrunkFlexion, plan.TrunkStability, plan.TrunkRotation, plan.Carry}, 1},
}

// cost is what a week misses: goals and floors, then the rest. The first half set missed
// costs 1, the second 2, and so on.
func (c *tiny) cost(sets [][]int32) [2]int64 {
	var total, direct [plan.MuscleCount]int64
	var pattern [plan.PatternCount]int64
	for i := range c.list {
		for _, n := range sets[i] {
			pattern[c.list[i].Pattern] += int64(n)
			for m, v := range c.list[i].Involvement {
				total[m] += int64(n) * int64(v)
				if v == exercise.Prime {
					direct[m] += 2 * int64(n)
				}
			}
		}
	}
	miss := func(aim plan.HalfSets, have int64) int64 {
		q := max(0, int64(aim)-have)
		return q * (q + 1) / 2
	}
	var out [2]int64
	for m := range c.doses.Muscles {
		d := &c.doses.Muscles[m]
		sum := miss(d.Wanted, total[m])
		if d.Direct > 0 {
			sum += miss(d.Direct, direct[m])
		}
		out[0] += 1000 * miss(d.Floor, total[m])
		if w := int64(max(1, d.Weight)); d.Priority {
			out[0] += w * sum
		} else {
			out[1] += 4 * w * sum
		}
	}
	for _, l := range c.doses.Lifts {
		have := int64(0)
		for _, n := range sets[0] {
			have += 2 * int64(n)
		}
		out[0] += int64(l.Weight) * miss(plan.HalfSets(2*l.Sets), have)
	}
	of := func(any ...plan.Pattern) (sum int64) {
		for _, p := range any {
			sum += pattern[p]
		}
		return sum
	}
	for _, w := range movements {
		if slices.ContainsFunc(c.list, func(x exercise.Exercise) bool {
			return slices.Contains(w.any, x.Pattern) && !slices.Contains(c.r.Constraints.Excluded, x.ID)
		}) {
			out[1] += 4 * w.weight * miss(4, 2*of(w.any...))
		}
	}
	balance := func(l, r int64) { out[1] += 5 * max(0, 7*r-10*l, 10*l-14*r) }
	balance(of(plan.HorizontalPush, plan.VerticalPush), of(plan.HorizontalPull, plan.VerticalPull))
	balance(of(plan.Squat, plan.Lunge, plan.KneeExtension), of(plan.Hinge, plan.HipExtension, plan.KneeFlexion))
	return out
}

// best tries everything; false where nothing is allowed.
func (c *tiny) best() (least [2]int64, found bool) {
	sets := make([][]int32, len(c.list))
	for i := range sets {
		sets[i] = make([]int32, len(c.r.Constraints.Days))
	}
	var try func(at int)
	try = func(at int) {
		if at == len(sets)*len(sets[0]) {
			if c.allowed(sets) {
				if v := c.cost(sets); !found || slices.Compare(v[:], least[:]) < 0 {
					least, found = v, true
				}
			}
			return
		}
		i, d := at/len(sets[0]), at%len(sets[0])
		try(at + 1)
		if slices.Contains(c.r.Constraints.Excluded, c.list[i].ID) {
			return
		}
		for n := c.s.sets.Min; n <= c.s.sets.Max; n++ {
			sets[i][d] = n
			try(at + 1)
		}
		sets[i][d] = 0
	}
	try(0)
	return least, found
}

// TestDosesEqualBruteForce makes programs of small cases and compares what they miss with
// the least that any choice of exercises, days and sets misses; refusals have to be of
// cases in which no choice keeps all limits.
func TestDosesEqualBruteForce(t *testing.T) {
	met, refusals, empty := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		for range 10 {
			c := tinyCase(t)
			cat, err := (&exercise.Catalogue{}).With(c.list)
			require.NoError(t, err)
			reg, err := engine.NewRegistry(c.s)
			require.NoError(t, err)
			want, possible := c.best()
			p, err := engine.New(reg, cat).Generate(context.Background(), c.r)
			if err != nil {
				f, ok := fault.As(err)
				require.True(t, ok, "%v", err)
				require.Equal(t, fault.Infeasible, f.Kind, "%v", err)
				if f.Violations[0].Reason == "NOTHING_FITS" {
					none := make([][]int32, len(c.list))
					for i := range none {
						none[i] = make([]int32, len(c.r.Constraints.Days))
					}
					require.Equal(t, want, c.cost(none), "something would be better than nothing: %v", err)
					empty++
					continue
				}
				require.False(t, possible, "a choice that keeps all limits exists: %v", err)
				for _, v := range f.Violations {
					require.NotEmpty(t, v.Field)
					require.NotEmpty(t, v.Reason)
				}
				refusals++
				continue
			}
			require.True(t, possible, "no choice keeps all limits")
			sets := make([][]int32, len(c.list))
			for i := range sets {
				sets[i] = make([]int32, len(c.r.Constraints.Days))
			}
			for _, s := range p.Phases[0].Weeks[0].Sessions {
				for _, e := range s.Exercises {
					i := slices.IndexFunc(c.list, func(x exercise.Exercise) bool { return x.ID == e.ExerciseID })
					sets[i][s.Day] = e.Working()
				}
			}
			require.True(t, c.allowed(sets), "limits are broken by %v", sets)
			require.Equal(t, want, c.cost(sets), "missed by %v, the allocation by %v: %+v", sets, p.Allocations, c)
			require.Equal(t, want[:], p.Allocations[0].Value[:2])
			met++
		}
	})
	t.Logf("%d programs as good as brute force, %d refusals confirmed, %d cases in which nothing fits", met, refusals, empty)
	if !testing.Short() {
		require.Greater(t, met, 200)
		require.Greater(t, refusals, 50)
	}
}
