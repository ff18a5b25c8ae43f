// Package compare tells two programs apart, as a coach reads them: which sessions and
// exercises came, went and moved, and which numbers are others, each with all the weeks
// that have it.
//
// What is not told is equal, but for what follows from the rest: seconds, weekly totals,
// and the rules behind the numbers. Sessions of a week answer each other by weekday and
// workout, else by the day of the request, else by most of their exercises; exercises of
// a session by id, or as the later program's swaps say.
package compare

import (
	"reflect"
	"slices"

	"github.com/phasewright/phasewright/engine/plan"
)

// Programs lists in what is differs from was: by the first week that has it, within a
// week by session, weeks before sessions before exercises. Nothing for equal programs.
func Programs(was, is *plan.Program) []plan.Change {
	c := &comparer{}
	if is.Reworked.Set {
		c.swaps = is.Reworked.Value.Asked.Swaps
	}
	before, after := weeksOf(was), weeksOf(is)
	for i := range max(len(before), len(after)) {
		var a, b *plan.Week
		if i < len(before) {
			a = before[i]
		}
		if i < len(after) {
			b = after[i]
		}
		c.week(int32(i+1), a, b)
	}
	return c.out
}

func weeksOf(p *plan.Program) []*plan.Week {
	var out []*plan.Week
	for i := range p.Phases {
		for j := range p.Phases[i].Weeks {
			out = append(out, &p.Phases[i].Weeks[j])
		}
	}
	return out
}

type comparer struct {
	swaps []plan.Swap
	out   []plan.Change
}

// add puts a change of a week to its like of earlier weeks.
func (c *comparer) add(like plan.Change, w plan.ChangedWeek) {
	for i := range c.out {
		at := &c.out[i]
		weeks := at.Weeks
		at.Weeks = nil
		same := reflect.DeepEqual(*at, like)
		at.Weeks = weeks
		if same && weeks[len(weeks)-1].Week < w.Week && (like.Kind != plan.ChangeSessionMoved || sameFrames(&weeks[0], &w)) {
			at.Weeks = append(at.Weeks, w)
			return
		}
	}
	like.Weeks = []plan.ChangedWeek{w}
	c.out = append(c.out, like)
}

// sameFrames reports frames that moved alike, whatever their dates and length.
func sameFrames(a, b *plan.ChangedWeek) bool {
	plain := func(f plan.SessionFrame) plan.SessionFrame {
		f.Date, f.Seconds = plan.Opt[plan.Date]{}, 0
		return f
	}
	return plain(a.FrameWas.Value) == plain(b.FrameWas.Value) && plain(a.FrameIs.Value) == plain(b.FrameIs.Value)
}

func (c *comparer) week(n int32, was, is *plan.Week) {
	var before, after []plan.Session
	var from, to plan.WeekKind
	if was != nil {
		before, from = was.Sessions, was.Kind
	}
	if is != nil {
		after, to = is.Sessions, is.Kind
	}
	if from != to {
		c.add(plan.Change{Kind: plan.ChangeWeek}, plan.ChangedWeek{Week: n, KindWas: from, KindIs: to})
	}
	answer := paired(before, after)
	for i := range before {
		if answer[i] < 0 {
			c.add(about(plan.ChangeSessionLeftOut, &before[i]), plan.ChangedWeek{Week: n, FrameWas: plan.Some(frame(&before[i]))})
			continue
		}
		c.session(n, &before[i], &after[answer[i]])
	}
	for i := range after {
		if slices.Contains(answer, i) {
			continue
		}
		c.add(about(plan.ChangeSessionAdded, &after[i]), plan.ChangedWeek{Week: n, FrameIs: plan.Some(frame(&after[i]))})
		c.exercises(n, &plan.Session{Kind: after[i].Kind, Weekday: after[i].Weekday, Group: after[i].Group, Day: after[i].Day}, &after[i])
	}
}

// about starts a change of a session.
func about(k plan.ChangeKind, s *plan.Session) plan.Change {
	return plan.Change{Kind: k, Weekday: s.Weekday, Group: s.Group, Day: s.Day, Session: s.Kind}
}

func frame(s *plan.Session) plan.SessionFrame {
	return plan.SessionFrame{Weekday: s.Weekday, Date: s.Date, PlaceID: s.PlaceID, Limit: s.Limit, Seconds: s.Seconds, Label: s.Label}
}

// paired gives for each session the index of the one that answers it, -1 for none.
func paired(before, after []plan.Session) []int {
	out := make([]int, len(before))
	taken := make([]bool, len(after))
	for i := range out {
		out[i] = -1
	}
	match := func(is func(a, b *plan.Session) bool) {
		for i := range before {
			for j := range after {
				if out[i] < 0 && !taken[j] && is(&before[i], &after[j]) {
					out[i], taken[j] = j, true
				}
			}
		}
	}
	match(func(a, b *plan.Session) bool {
		return a.Kind == b.Kind && a.Weekday == b.Weekday && a.Group == b.Group && (a.Weekday != plan.WeekdayUnspecified || a.Day == b.Day)
	})
	match(func(a, b *plan.Session) bool {
		return a.Kind == b.Kind && a.Group == b.Group && (a.Group != "" || a.Day == b.Day)
	})
	match(func(a, b *plan.Session) bool {
		return a.Kind == b.Kind && 2*shared(a, b) > max(len(a.Exercises), len(b.Exercises))
	})
	return out
}

func shared(a, b *plan.Session) int {
	n := 0
	for i := range a.Exercises {
		if find(b, a.Exercises[i].ExerciseID) != nil {
			n++
		}
	}
	return n
}

func find(s *plan.Session, id string) *plan.ProgramExercise {
	for i := range s.Exercises {
		if s.Exercises[i].ExerciseID == id {
			return &s.Exercises[i]
		}
	}
	return nil
}

func (c *comparer) session(n int32, was, is *plan.Session) {
	a, b := frame(was), frame(is)
	a.Seconds, b.Seconds = 0, 0
	if a != b || was.Warmup != is.Warmup {
		c.add(about(plan.ChangeSessionMoved, was), plan.ChangedWeek{Week: n, FrameWas: plan.Some(frame(was)), FrameIs: plan.Some(frame(is))})
	}
	c.exercises(n, was, is)
}

// exercises compares those of a session, in the order of the one before; what is new
// comes last.
func (c *comparer) exercises(n int32, was, is *plan.Session) {
	taken := map[string]bool{}
	partner := make([]*plan.ProgramExercise, len(was.Exercises))
	var kept []string // in the order before
	for i := range was.Exercises {
		id := was.Exercises[i].ExerciseID
		if find(is, id) == nil {
			id = c.swapped(id, was)
		}
		if x := find(is, id); x != nil && !taken[id] && (id == was.Exercises[i].ExerciseID || find(was, id) == nil) {
			partner[i], taken[id] = x, true
			kept = append(kept, id)
		}
	}
	moved := outOfOrder(kept, is)
	for i := range was.Exercises {
		a, b := &was.Exercises[i], partner[i]
		change := about(plan.ChangeExerciseLeftOut, was)
		change.ExerciseID = a.ExerciseID
		w := plan.ChangedWeek{Week: n, Was: runs(a.Sets)}
		switch {
		case b == nil:
		case b.ExerciseID != a.ExerciseID:
			change.Kind, change.With, w.Is = plan.ChangeExerciseSwapped, b.ExerciseID, runs(b.Sets)
		default:
			if w.Numbers = numbers(a, b); slices.Contains(moved, a.ExerciseID) {
				w.Numbers = append(w.Numbers, plan.NumberOrder)
			}
			switch {
			case len(w.Numbers) > 0:
				change.Kind, w.Is = plan.ChangeExerciseChanged, runs(b.Sets)
			case a.Note != b.Note || a.Progress != b.Progress || a.Name != b.Name || a.Role != b.Role || !reflect.DeepEqual(a.Contingencies, b.Contingencies):
				change.Kind, w.Was = plan.ChangeAdvice, nil
			default:
				continue
			}
		}
		c.add(change, w)
	}
	for i := range is.Exercises {
		if b := &is.Exercises[i]; !taken[b.ExerciseID] {
			change := about(plan.ChangeExerciseAdded, was)
			change.ExerciseID = b.ExerciseID
			c.add(change, plan.ChangedWeek{Week: n, Is: runs(b.Sets)})
		}
	}
}

// swapped gives what was to come for an exercise of a session, "" for nothing.
func (c *comparer) swapped(id string, in *plan.Session) string {
	for _, s := range c.swaps {
		if s.ExerciseID == id && in.In(s.Weekday, s.Group) {
			return s.With
		}
	}
	return ""
}

// outOfOrder gives the fewest exercises whose moving brings one order to the other.
func outOfOrder(kept []string, is *plan.Session) []string {
	at := make([]int, len(kept))
	for i, id := range kept {
		at[i] = slices.IndexFunc(is.Exercises, func(e plan.ProgramExercise) bool { return e.ExerciseID == id })
	}
	longest, from := make([]int, len(kept)), make([]int, len(kept))
	best := -1
	for i := range kept {
		longest[i], from[i] = 1, -1
		for j := range i {
			if at[j] < at[i] && longest[j]+1 > longest[i] {
				longest[i], from[i] = longest[j]+1, j
			}
		}
		if best < 0 || longest[i] > longest[best] {
			best = i
		}
	}
	stays := map[int]bool{}
	for i := best; i >= 0; i = from[i] {
		stays[i] = true
	}
	var out []string
	for i, id := range kept {
		if !stays[i] {
			out = append(out, id)
		}
	}
	return out
}

// numbers lists which of an exercise's are others.
func numbers(a, b *plan.ProgramExercise) []plan.Number {
	x, y := working(a), working(b)
	var out []plan.Number
	if len(x) != len(y) {
		out = append(out, plan.NumberSets)
	}
	n := min(len(x), len(y))
	for _, is := range [...]struct {
		number plan.Number
		equal  func(a, b *plan.Set) bool
	}{
		{plan.NumberReps, func(a, b *plan.Set) bool {
			return a.Kind == b.Kind && a.Reps == b.Reps && a.Hold == b.Hold && a.OpenEnded == b.OpenEnded && a.Expected == b.Expected && a.Tempo == b.Tempo
		}},
		{plan.NumberLoad, func(a, b *plan.Set) bool {
			return a.Load == b.Load && a.Intensity == b.Intensity && a.Deferred == b.Deferred && a.Base == b.Base && a.Collars == b.Collars &&
				slices.Equal(a.Plates, b.Plates) && slices.Equal(a.AddOns, b.AddOns) && slices.Equal(a.Adjust, b.Adjust)
		}},
		{plan.NumberRIR, func(a, b *plan.Set) bool { return a.RIR == b.RIR && a.ToFailure == b.ToFailure }},
	} {
		for i := range n {
			if !is.equal(&x[i], &y[i]) {
				out = append(out, is.number)
				break
			}
		}
	}
	if pause(x) != pause(y) || len(x) == len(y) && slices.ContainsFunc(zip(x, y), func(p [2]*plan.Set) bool { return p[0].Rest != p[1].Rest }) {
		out = append(out, plan.NumberRest)
	}
	if !reflect.DeepEqual(warmups(a), warmups(b)) {
		out = append(out, plan.NumberWarmup)
	}
	return out
}

func zip(x, y []plan.Set) [][2]*plan.Set {
	out := make([][2]*plan.Set, len(x))
	for i := range x {
		out[i] = [2]*plan.Set{&x[i], &y[i]}
	}
	return out
}

// pause is the longest rest of some sets: the last of an exercise has none.
func pause(sets []plan.Set) plan.Seconds {
	r := plan.Seconds(0)
	for i := range sets {
		r = max(r, sets[i].Rest)
	}
	return r
}

func working(e *plan.ProgramExercise) []plan.Set {
	return slices.DeleteFunc(slices.Clone(e.Sets), func(s plan.Set) bool { return s.Kind == plan.SetWarmup })
}

func warmups(e *plan.ProgramExercise) []plan.Set {
	return slices.DeleteFunc(slices.Clone(e.Sets), func(s plan.Set) bool { return s.Kind != plan.SetWarmup })
}

// runs folds the sets of an exercise, warm-up sets left out. Only the last may have
// another rest than its run.
func runs(sets []plan.Set) []plan.SetRun {
	var out []plan.SetRun
	for _, s := range sets {
		if s.Kind == plan.SetWarmup {
			continue
		}
		if n := len(out); n > 0 {
			last := out[n-1].Each
			if s.Rest == 0 {
				last.Rest = 0
			}
			if reflect.DeepEqual(last, s) {
				out[n-1].Count++
				continue
			}
		}
		out = append(out, plan.SetRun{Count: 1, Each: s})
	}
	return out
}
