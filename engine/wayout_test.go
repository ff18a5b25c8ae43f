package engine_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// edit is a request and how a program is made again for it.
type edit struct {
	request plan.Request
	how     plan.Rework
}

func (c edit) own() edit {
	k := &c.request.Constraints
	c.request.Goals, k.Days, k.Pinned, k.Excluded = slices.Clone(c.request.Goals), slices.Clone(k.Days), slices.Clone(k.Pinned), slices.Clone(k.Excluded)
	k.Recovery, k.Places = slices.Clone(k.Recovery), slices.Clone(k.Places)
	for i := range k.Places {
		k.Places[i].Items, k.Places[i].Absent = slices.Clone(k.Places[i].Items), slices.Clone(k.Places[i].Absent)
	}
	c.how.Locks, c.how.Swaps = slices.Clone(c.how.Locks), slices.Clone(c.how.Swaps)
	return c
}

// apply makes the changes of a way by their paths and texts, as a person would who reads them.
func apply(t testing.TB, c edit, changes []fault.Change) edit {
	c = c.own()
	k, l := &c.request.Constraints, &c.request.Constraints.Limits
	list := slices.Clone(changes)
	slices.Reverse(list) // of a list, the last that goes first
	slices.SortStableFunc(list, func(a, b fault.Change) int { return indexIn(b.Field) - indexIn(a.Field) })
	for _, x := range list {
		i := indexIn(x.Field)
		number := func() int32 {
			n, err := strconv.ParseInt(x.To, 10, 32)
			require.NoError(t, err, x)
			return int32(n)
		}
		switch name := strings.ReplaceAll(x.Field, fmt.Sprintf("[%d]", i), "[]"); {
		case name == "constraints.days[].minutes":
			require.Equal(t, strconv.Itoa(int(k.Days[i].Minutes)), x.From)
			k.Days[i].Minutes = number()
		case name == "constraints.days":
			var day string
			var n int32
			_, err := fmt.Sscanf(strings.Replace(x.To, ",", " ,", 1), "%s , %d minutes", &day, &n)
			require.NoError(t, err, x)
			d := plan.Monday
			for d.String() != day {
				d++
			}
			at := slices.IndexFunc(k.Days, func(y plan.Day) bool { return y.Weekday > d })
			if at < 0 {
				at = len(k.Days)
			}
			k.Days = slices.Insert(k.Days, at, plan.Day{Weekday: d, Minutes: n, PlaceID: k.Days[0].PlaceID})
		case name == "constraints.pinned[]" && x.To == "":
			require.Equal(t, k.Pinned[i].ExerciseID, x.From)
			k.Pinned = slices.Delete(k.Pinned, i, i+1)
		case name == "constraints.pinned[].per_week":
			k.Pinned[i].PerWeek = number()
		case name == "constraints.pinned[].every_session":
			require.Equal(t, "false", x.To)
			k.Pinned[i].EverySession = false
		case name == "goals[]" && x.To == "":
			c.request.Goals = slices.Delete(c.request.Goals, i, i+1)
		case name == "constraints.excluded_exercise_ids[]" && x.To == "":
			require.Equal(t, k.Excluded[i], x.From)
			k.Excluded = slices.Delete(k.Excluded, i, i+1)
		case name == "constraints.limits.exercises_per_session":
			l.ExercisesPerSession = plan.Some(number())
		case name == "constraints.limits.sets_per_session":
			l.SetsPerSession = plan.Some(number())
		case name == "constraints.limits.muscle_sets_per_session":
			l.MuscleSetsPerSession = plan.Some(number())
		case name == "constraints.recovery[].hours":
			k.Recovery[i].Hours = number()
		case name == "constraints.recovery[]" && x.To == "":
			k.Recovery = slices.Delete(k.Recovery, i, i+1)
		case name == "constraints.places[].items" && x.From == "":
			item := plan.Equipment(1)
			for item.String() != x.To {
				item++
			}
			k.Places[i].Items = append(k.Places[i].Items, item)
			k.Places[i].Absent = slices.DeleteFunc(k.Places[i].Absent, func(e plan.Equipment) bool { return e == item })
		case name == "rework.locks[]" && x.To == "":
			c.how.Locks = slices.Delete(c.how.Locks, i, i+1)
		case name == "rework.swaps[]" && x.To == "":
			c.how.Swaps = slices.Delete(c.how.Swaps, i, i+1)
		case name == "rework.from_week":
			c.how.FromWeek = number()
		case name == "rework.from_date":
			d, err := plan.ParseDate(x.To)
			require.NoError(t, err)
			c.how.From = plan.Some(d)
		default:
			require.Fail(t, "a change that nobody can make", "%+v", x)
		}
	}
	return c
}

func indexIn(field string) int {
	_, rest, ok := strings.Cut(field, "[")
	if !ok {
		return -1
	}
	n, _, _ := strings.Cut(rest, "]")
	i, err := strconv.Atoi(n)
	if err != nil {
		return -1
	}
	return i
}

// requireWays holds a conflict's ways to what they say: the cheapest first, and each, made
// by what is written of it, lets the program be made again.
func requireWays(t testing.TB, e *engine.Engine, base *plan.Program, c edit, f *fault.Error) {
	for i, w := range f.Ways {
		require.True(t, i == 0 || w.Price >= f.Ways[i-1].Price, "the cheapest first")
		require.Regexp(t, `^[A-Z0-9].* makes? it possible\.$`, w.Says)
		require.NotContains(t, w.Says, "  ")
		now := apply(t, c, w.Changes)
		_, err := e.Rework(context.Background(), base, now.request, now.how)
		require.NoError(t, err, "%s %+v", w.Says, w.Changes)
	}
}

// requireIrreducible holds what a conflict names to be one: alone it clashes, and without
// any one of it no longer. It says false where the engine says itself that it does not know,
// and where other weeks, as they were solved, rule out what is held.
func requireIrreducible(t testing.TB, e *engine.Engine, base *plan.Program, c edit, f *fault.Error) bool {
	var fields []string
	said := ""
	for _, v := range f.Violations {
		if strings.Contains(v.Says, "may be larger") || strings.HasSuffix(v.Says, "hours before or after") {
			return false
		}
		fields = append(fields, v.Field)
		if strings.HasPrefix(v.Field, "rework.") && strings.Contains(v.Says, " in week") {
			said = v.Says
		}
	}
	alone := c.own()
	for i := len(c.how.Locks) - 1; i >= 0; i-- {
		if !slices.Contains(fields, fmt.Sprintf("rework.locks[%d]", i)) {
			alone.how.Locks = slices.Delete(alone.how.Locks, i, i+1)
		}
	}
	for i := len(c.how.Swaps) - 1; i >= 0; i-- {
		if !slices.Contains(fields, fmt.Sprintf("rework.swaps[%d]", i)) {
			alone.how.Swaps = slices.Delete(alone.how.Swaps, i, i+1)
		}
	}
	k := &alone.request.Constraints
	for i := len(k.Excluded) - 1; i >= 0; i-- {
		if !slices.Contains(fields, fmt.Sprintf("constraints.excluded_exercise_ids[%d]", i)) && !slices.Contains(base.Request.Constraints.Excluded, k.Excluded[i]) {
			k.Excluded = slices.Delete(k.Excluded, i, i+1)
			require.Empty(t, k.Excluded, "what is named keeps its place")
		}
	}
	clashes := func(c edit, without ...string) bool {
		for _, w := range e.HeldWindows(context.Background(), base, c.request, c.how) {
			if !strings.HasSuffix(said, " "+w.Weeks) && !strings.Contains(said, " "+w.Weeks+":") {
				continue
			}
			if w.Never {
				return true
			}
			gone := slices.DeleteFunc(w.Model.Wishes(), func(p string) bool { return p == "rework" || slices.Contains(fields, p) })
			m := w.Model.Without(append(gone, without...)...)
			for d := range m.Days {
				m.Days[d].Capacity = min(m.Days[d].Capacity, 24*60*4) // a day's, where it is unlimited
			}
			require.NoError(t, m.Check())
			ok, sure := schedule.Feasible(context.Background(), m, 0)
			require.True(t, sure)
			return !ok
		}
		require.Fail(t, "no such weeks", said)
		return false
	}
	require.True(t, clashes(alone), "it clashes: %v", f)
	for i := len(alone.how.Locks) - 1; i >= 0; i-- {
		less := alone.own()
		less.how.Locks = slices.Delete(less.how.Locks, i, i+1)
		require.False(t, clashes(less), "no lock %d: %v", i, f)
	}
	for i := len(alone.how.Swaps) - 1; i >= 0; i-- {
		less := alone.own()
		less.how.Swaps = slices.Delete(less.how.Swaps, i, i+1)
		require.False(t, clashes(less), "no swap %d: %v", i, f)
	}
	for _, field := range fields {
		var i int
		switch _, err := fmt.Sscanf(field, "constraints.excluded_exercise_ids[%d]", &i); {
		case strings.HasPrefix(field, "rework."):
		case err == nil:
			require.False(t, clashes(apply(t, alone, []fault.Change{{Field: field, From: c.request.Constraints.Excluded[i]}})), "%s: %v", field, f)
		case strings.HasPrefix(field, "constraints.recovery"):
			require.False(t, clashes(apply(t, alone, []fault.Change{{Field: field, From: "hours"}})), "%s: %v", field, f)
		default:
			require.False(t, clashes(alone, field), "%s: %v", field, f)
		}
	}
	return true
}

// drawn makes a program and an edit of it that is likely to ask too much.
func drawn(t testing.TB, e *engine.Engine, seed uint64) (*plan.Program, edit) {
	rng := rand.New(rand.NewPCG(seed, 41))
	r := fit()
	r.Constraints.Days = nil
	for d := plan.Monday; d <= plan.Saturday; d += plan.Weekday(1 + rng.IntN(2)) {
		if len(r.Constraints.Days) < 4 {
			r.Constraints.Days = append(r.Constraints.Days, plan.Day{Weekday: d, Minutes: int32(40 + 5*rng.IntN(8))})
		}
	}
	r.Constraints.Weeks = plan.Some(int32(4 + rng.IntN(3)))
	if rng.IntN(2) == 0 {
		r.Plan.Tracks = []plan.Track{{Segments: []plan.Segment{{Strategy: "constant"}}}}
	}
	if rng.IntN(2) == 0 {
		r.Goals = nil
	}
	base, err := e.Generate(context.Background(), r)
	require.NoError(t, err)
	c := edit{request: base.Request}.own()
	weeks := int32(base.WeekCount())
	switch rng.IntN(3) {
	case 0:
		c.how.FromWeek = 1 + rng.Int32N(weeks)
	case 1:
		c.how.From = plan.Some(today.AddDays(rng.IntN(7 * int(weeks-1))))
	}
	last := base.Phases[len(base.Phases)-1].Weeks
	var training []*plan.Session
	for i := range last[len(last)-1].Sessions {
		if s := &last[len(last)-1].Sessions[i]; s.Kind == plan.SessionTraining {
			training = append(training, s)
		}
	}
	s := training[rng.IntN(len(training))]
	day := func() plan.Weekday {
		if s.Group != "" || rng.IntN(3) == 0 {
			return plan.WeekdayUnspecified
		}
		return s.Weekday
	}
	for range 1 + rng.IntN(4) {
		c.how.Locks = append(c.how.Locks, plan.Lock{ExerciseID: s.Exercises[rng.IntN(len(s.Exercises))].ExerciseID, Weekday: day()})
	}
	if rng.IntN(4) == 0 && s.Group == "" {
		c.how.Locks = append(c.how.Locks, plan.Lock{Weekday: s.Weekday})
	}
	k := &c.request.Constraints
	for i := range k.Days {
		if k.Days[i].Weekday == s.Weekday && rng.IntN(4) > 0 {
			k.Days[i].Minutes = int32(15 + 5*rng.IntN(5))
		}
	}
	for range rng.IntN(3) {
		id := []string{"pull-up", "dip", "overhead-press", "bent-over-row", "leg-press", "barbell-curl"}[rng.IntN(6)]
		if !slices.ContainsFunc(k.Pinned, func(p plan.Pin) bool { return p.ExerciseID == id }) {
			k.Pinned = append(k.Pinned, plan.Pin{ExerciseID: id, EverySession: rng.IntN(2) == 0})
		}
	}
	switch rng.IntN(6) {
	case 0:
		k.Excluded = append(k.Excluded, c.how.Locks[0].ExerciseID)
	case 1:
		k.Limits.ExercisesPerSession = plan.Some(int32(1 + rng.IntN(3)))
	case 2:
		k.Recovery = append(k.Recovery, plan.Recovery{Muscle: []plan.Muscle{plan.Chest, plan.Quads}[rng.IntN(2)], Hours: int32(72 + 24*rng.IntN(3))})
	}
	for _, x := range s.Exercises[rng.IntN(len(s.Exercises))].Contingencies {
		if x.Case == plan.CasePain && len(x.Swap) > 0 && rng.IntN(2) == 0 {
			c.how.Swaps = append(c.how.Swaps, plan.Swap{ExerciseID: s.Exercises[rng.IntN(len(s.Exercises))].ExerciseID, With: x.Swap[0], Weekday: day()})
		}
	}
	return &base, c
}

// TestPropertyReworkConflicts: of random edits that ask too much, what is named clashes
// and no less does, and each way out lets the program be made again. PHASEWRIGHT_REWORKS
// sets how many.
func TestPropertyReworkConflicts(t *testing.T) {
	total := 40
	if testing.Short() {
		total = 12
	}
	if n, err := strconv.Atoi(os.Getenv("PHASEWRIGHT_REWORKS")); err == nil {
		total = n
	}
	e := newEngine(t).WithBudget(20_000)
	made, invalid, request, locked, ways, unsure, none := 0, 0, 0, 0, 0, 0, 0
	kinds := map[string]int{}
	for seed := range uint64(total) {
		base, c := drawn(t, e, seed)
		_, err := e.Rework(context.Background(), base, c.request, c.how)
		f, ok := fault.As(err)
		switch {
		case err == nil:
			made++
			continue
		case ok && f.Kind == fault.Invalid:
			invalid++
			continue
		}
		require.True(t, ok && f.Kind == fault.Infeasible, "%d: %v", seed, err)
		requireWays(t, e, base, c, f)
		ways += len(f.Ways)
		for _, w := range f.Ways {
			kinds[strings.ReplaceAll(w.Changes[0].Field, fmt.Sprintf("[%d]", indexIn(w.Changes[0].Field)), "")]++
		}
		if len(f.Ways) == 0 {
			none++
			t.Logf("%d: no way: %+v: %v", seed, c.how, err)
		}
		if !slices.ContainsFunc(f.Violations, func(v fault.Violation) bool { return v.Reason == engine.ReasonLock }) {
			request++
			continue
		}
		if requireIrreducible(t, e, base, c, f) {
			locked++
		} else {
			unsure++
		}
	}
	t.Logf("%d made again, %d invalid; %d conflicts of the request alone, %d with locks or swaps, %d more that the work did not settle; %d ways out, %d conflicts without: %v",
		made, invalid, request, locked, unsure, ways, none, kinds)
	require.Greater(t, locked, total/4)
	require.Greater(t, ways, total/2)
}

// TestReworkWaysOut: a coach reads what keeps a program from being made again, in the
// terms of what was asked, and what each way out asks.
func TestReworkWaysOut(t *testing.T) {
	e := newEngine(t).WithBudget(20_000)
	r := fit()
	r.Goals = nil
	r.Constraints.Pinned = []plan.Pin{{ExerciseID: "bench-press"}, {ExerciseID: "back-squat"}}
	base, err := e.Generate(context.Background(), r)
	require.NoError(t, err)
	unpinned := base.Request
	unpinned.Constraints.Pinned = nil
	bench := plan.Lock{ExerciseID: "bench-press"}
	onThursday := 0
	for _, p := range base.Phases {
		for _, w := range p.Weeks {
			for _, s := range w.Sessions {
				if s.Weekday == plan.Thursday {
					onThursday = len(s.Exercises) // of the last week, where the conflict is
				}
			}
		}
	}
	for name, c := range map[string]struct {
		change func(*edit)
		says   []string // the conflict, line by line
		ways   []string // in order
	}{
		"a shorter day": {
			func(c *edit) {
				c.how = plan.Rework{FromWeek: 3, Locks: []plan.Lock{{Weekday: plan.Monday}, {Weekday: plan.Thursday}}}
				c.request.Constraints.Days[1].Minutes = 30
			},
			[]string{"constraints.days[1].minutes: Thursday has 26 min for exercises [CONFLICT_DAY]", fmt.Sprintf("rework.locks[1]: %d exercises stay on Thursday (", onThursday)},
			[]string{"more minutes on Thursday make it possible.", "Giving up the lock on everything on Thursday makes it possible.", "more minutes on every training day make"},
		},
		"no bench any more": {
			func(c *edit) {
				c.how = plan.Rework{FromWeek: 3, Locks: []plan.Lock{bench}}
				c.request.Constraints.Places[0].Absent = []plan.Equipment{plan.FlatBench}
			},
			[]string{"constraints.places[0]: gym lacks flat bench for Bench press [EQUIPMENT]", "rework.locks[0]: Bench press can't stay on "},
			[]string{"A flat bench at gym makes it possible.", "Giving up the lock on Bench press makes it possible."},
		},
		"two weeks away": {
			func(c *edit) {
				c.how = plan.Rework{From: plan.Some(today.AddDays(7)), Locks: []plan.Lock{bench}}
				c.request.Constraints.Places = append(c.request.Constraints.Places, plan.Place{ID: "away", Preset: plan.PresetBodyweight})
				c.request.Constraints.Periods = []plan.PlacePeriod{{PlaceID: "away", FromWeek: plan.Some(int32(2)), ToWeek: plan.Some(int32(3))}}
			},
			[]string{"constraints.places[1]: away lacks ", "rework.locks[0]: Bench press can't stay on "},
			[]string{"Giving up the lock on Bench press makes it possible.", "Leaving all before 2027-01-25, week 4, as it is makes it possible."},
		},
		"locked and swapped": {
			func(c *edit) {
				c.how = plan.Rework{Locks: []plan.Lock{bench}, Swaps: []plan.Swap{{ExerciseID: "bench-press", With: "dumbbell-bench-press"}}}
			},
			[]string{"rework.locks[0]: Bench press can't stay on ", "rework.swaps[0]: takes Bench press away there [CONFLICT_LOCK]"},
			[]string{"Undoing the swap of Dumbbell bench press for Bench press makes it possible.", "Giving up the lock on Bench press makes it possible."},
		},
		"several at once": {
			func(c *edit) {
				c.how = plan.Rework{Locks: []plan.Lock{bench, {ExerciseID: "back-squat"}}}
				c.request.Constraints.Excluded = []string{"back-squat", "bench-press"}
			},
			[]string{"constraints.excluded_exercise_ids[1]: excludes Bench press [CONFLICT_LOCK]", "rework.locks[0]: Bench press can't stay on "},
			[]string{"Giving up the lock on Bench press and giving up the lock on Back squat make it possible."},
		},
	} {
		t.Run(name, func(t *testing.T) {
			edit := edit{request: unpinned}.own()
			c.change(&edit)
			_, err := e.Rework(context.Background(), &base, edit.request, edit.how)
			f, ok := fault.As(err)
			require.True(t, ok)
			require.Equal(t, fault.Infeasible, f.Kind, f)
			lines := strings.Split(f.Error(), "\n")
			require.Len(t, lines, len(c.says), "%v", f)
			for i, says := range c.says {
				require.Contains(t, lines[i], says)
			}
			var told []string
			for _, w := range f.Ways {
				told = append(told, w.Says)
			}
			for i, at := 0, 0; i < len(c.ways); i, at = i+1, at+1 {
				for at < len(told) && !strings.Contains(told[at], c.ways[i]) {
					at++
				}
				require.Less(t, at, len(told), "%s: %q", c.ways[i], told)
			}
			requireWays(t, e, &base, edit, f)
			_, again := e.Rework(context.Background(), &base, edit.request, edit.how)
			require.Equal(t, err, again)
		})
	}
}

// What ends before it knows says so, and no conflict.
func TestReworkWaysOutEndWithTheContext(t *testing.T) {
	e := newEngine(t)
	base, err := e.Generate(context.Background(), fit())
	require.NoError(t, err)
	c := edit{request: base.Request, how: plan.Rework{Locks: []plan.Lock{{Weekday: plan.Monday}}}}.own()
	c.request.Constraints.Days[0].Minutes = 20
	_, err = e.Rework(context.Background(), &base, c.request, c.how)
	f, ok := fault.As(err)
	require.True(t, ok && f.Kind == fault.Infeasible, "%v", err)
	for after := range 4 {
		ctx, cancel := context.WithCancel(context.Background())
		n := 0
		_, err = e.Watched(func(*schedule.Model, *schedule.Assignment) {
			if n++; n > after {
				cancel()
			}
		}).Rework(ctx, &base, c.request, c.how)
		cancel()
		f, ok = fault.As(err)
		require.True(t, ok && f.Kind == fault.Canceled, "%d: %v", after, err)
	}
}
