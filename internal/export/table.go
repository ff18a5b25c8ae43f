package export

import (
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// lane is the sessions of a phase that belong together: those of one weekday at one
// place, or of one workout that rotates over the days.
type lane struct {
	title    string
	sessions []*plan.Session
	weeks    []*plan.Week // of each session
}

// slot is an exercise of a lane and where it stands in each of its sessions.
type slot struct {
	key string
	at  []*plan.ProgramExercise
}

// tables prints each lane of a phase: exercises down, sessions across.
func (t *text) tables(ph *plan.Phase) {
	t.blank()
	t.line("All weeks of the phase: sets × repetitions, below them the load in " + t.unit())
	marks := legend{places: t.moved()}
	for _, l := range lanes(ph) {
		t.blank()
		t.lane(&l, &marks)
	}
	for _, s := range append(marks.says(), t.sums(ph)...) {
		t.wrap("", "  ", s)
	}
}

func (t *text) unit() string {
	if u := t.p.Request.Constraints.Unit; u != plan.UnitUnspecified {
		return u.String()
	}
	return "kg or lb as in the week in full"
}

// lanes sorts the sessions of a phase into lanes, in order of first appearance.
func lanes(ph *plan.Phase) []lane {
	var out []lane
	index := map[string]int{}
	for i := range ph.Weeks {
		w := &ph.Weeks[i]
		for k := range w.Sessions {
			s := &w.Sessions[k]
			if apart(s) {
				continue
			}
			key := "day " + number(s.Day) + " " + s.PlaceID
			title := weekday(s.Weekday)
			if title == "" {
				title = "Day " + number(s.Day+1)
			}
			if s.Group != "" {
				key, title = "group "+s.Group, "Workout "+s.Group
			}
			at, ok := index[key]
			if !ok {
				at = len(out)
				index[key] = at
				out = append(out, lane{title: title})
			}
			out[at].sessions = append(out[at].sessions, s)
			out[at].weeks = append(out[at].weeks, w)
		}
	}
	return out
}

// slots lines the exercises of a lane up; one that comes later goes behind the one
// before it in its own session.
func (l *lane) slots() []slot {
	var out []slot
	find := func(key string) int {
		for i := range out {
			if out[i].key == key {
				return i
			}
		}
		return -1
	}
	for c, s := range l.sessions {
		before := -1
		seen := map[string]int{}
		for i := range s.Exercises {
			e := &s.Exercises[i]
			key := fmt.Sprintf("%s#%d", e.ExerciseID, seen[e.ExerciseID])
			seen[e.ExerciseID]++
			at := find(key)
			if at < 0 {
				at = before + 1
				out = append(out, slot{})
				copy(out[at+1:], out[at:])
				out[at] = slot{key: key, at: make([]*plan.ProgramExercise, len(l.sessions))}
			}
			out[at].at[c] = e
			before = at
		}
	}
	return out
}

func (t *text) lane(l *lane, marks *legend) {
	g := grid{}
	title := l.title
	labels := varies(l.sessions, func(s *plan.Session) string { return s.Label })
	places := varies(l.sessions, func(s *plan.Session) string { return s.PlaceID })
	if !labels && l.sessions[0].Label != "" && l.sessions[0].Label != l.sessions[0].Group {
		title += " · " + l.sessions[0].Label
	}
	if !places && len(t.p.Request.Constraints.Places) > 1 {
		title += " · " + t.place(l.sessions[0].PlaceID)
	}
	for i, s := range l.sessions {
		head := column{from: l.weeks[i].Number, to: l.weeks[i].Number, marks: []string{kindMark(l.weeks[i]), "", ""}}
		switch {
		case s.Date.Set:
			head.day = shortDate(s.Date.Value)
		case s.Group != "":
			head.day = when(s)
		}
		if s.Kind != plan.SessionTraining && s.Kind != plan.SessionUnspecified {
			head.marks[0] = s.Kind.String()
		}
		if labels {
			head.marks[1] = clip(s.Label)
		}
		if places {
			head.marks[2] = clip(t.place(s.PlaceID))
		}
		g.columns = append(g.columns, head)
	}
	for _, s := range l.slots() {
		t.slotRows(&g, &s, marks)
	}
	limit, mixed := l.sessions[0].Limit, varies(l.sessions, func(s *plan.Session) string { return minutes(s.Limit) })
	used := make([]string, len(l.sessions))
	for i, s := range l.sessions {
		used[i] = minutes(s.Seconds)
		if mixed {
			used[i] += "/" + minutes(s.Limit)
		}
	}
	label := "minutes of " + minutes(limit)
	if mixed {
		label = "minutes"
	}
	g.add(label, used)
	t.line(title)
	t.grid(&g)
}

func varies(list []*plan.Session, of func(*plan.Session) string) bool {
	for _, s := range list {
		if of(s) != of(list[0]) {
			return true
		}
	}
	return false
}

// slotRows adds an exercise's rows: sets, load, and RIR and rest where they change.
func (t *text) slotRows(g *grid, s *slot, marks *legend) {
	n := len(s.at)
	sets, loads, rirs, rests := make([]string, n), make([]string, n), make([]string, n), make([]string, n)
	var e *plan.ProgramExercise
	for i, x := range s.at {
		if x == nil {
			sets[i] = "–"
			continue
		}
		if e == nil {
			e = x
		}
		sets[i] = setsCell(x)
		loads[i] = t.cell(x)
		marks.deferred = marks.deferred || strings.Contains(loads[i], "≈")
		marks.guessed = marks.guessed || strings.Contains(loads[i], "~")
		marks.helped = marks.helped || t.helped(x) && strings.Contains(loads[i], "×")
		marks.found = marks.found || !t.helped(x) && strings.Contains(loads[i], "×")
		marks.finds = marks.finds || strings.Contains(loads[i], "find")
		work := working(x)
		if rirs[i] = reserve(work); rirs[i] == "failure" {
			rirs[i] = "fail"
		}
		if r := rest(work); r > 0 {
			rests[i] = r.String()
		}
	}
	if said(rirs) {
		for i, x := range s.at {
			if x != nil && rirs[i] == "" {
				rirs[i] = "–" // none is stated there: not the same as the others
			}
		}
	}
	g.add(e.Name, narrow(sets, "+")[0])
	for _, more := range narrow(sets, "+")[1:] {
		g.add("  ", more)
	}
	var below []string
	rir, rirSame := common(rirs)
	pause, restSame := common(rests)
	if rirSame && rir == "fail" {
		below = append(below, "to failure")
	} else if rirSame && rir != "" {
		below = append(below, "RIR "+rir)
	}
	if restSame && pause != "" {
		below = append(below, "rest "+pause)
	}
	if x := t.exercise(e.ExerciseID); x != nil {
		if x.Unilateral {
			below = append(below, "each side")
		}
		switch {
		case x.Loading.PerHand():
			below = append(below, "a hand")
		case x.Loading == plan.LoadingAdded && said(loads):
			below = append(below, "added")
		case x.Loading == plan.LoadingAssisted && said(loads):
			below = append(below, "help")
		}
	}
	label := "  " + strings.Join(below, ", ")
	if said(loads) || len(below) > 0 {
		lines := narrow(loads, "/")
		g.rows = append(g.rows, gridRow{label: label, cells: lines[0]})
		for _, more := range lines[1:] {
			g.add("  ", more)
		}
	}
	if !rirSame {
		g.add("  RIR", rirs)
		for _, r := range rirs {
			marks.failure = marks.failure || r == "fail"
		}
	}
	if !restSame {
		g.add("  rest", rests)
	}
}

func working(e *plan.ProgramExercise) []plan.Set {
	var out []plan.Set
	for i := range e.Sets {
		if e.Sets[i].Kind != plan.SetWarmup {
			out = append(out, e.Sets[i])
		}
	}
	return out
}

// setsCell prints "3×8–12" or, where sets differ, "1×3+3×8".
func setsCell(e *plan.ProgramExercise) string {
	type like struct {
		n    int
		work string
	}
	var list []like
	for _, s := range working(e) {
		w := work(&s)
		if n := len(list); n > 0 && list[n-1].work == w {
			list[n-1].n++
			continue
		}
		list = append(list, like{1, w})
	}
	out := make([]string, len(list))
	for i, l := range list {
		out[i] = fmt.Sprintf("%d×%s", l.n, l.work)
	}
	return strings.Join(out, "+")
}

// common gives the value of all cells that have one, and whether it is one.
func common(cells []string) (string, bool) {
	out := ""
	for _, c := range cells {
		if c == "" {
			continue
		}
		if out != "" && c != out {
			return "", false
		}
		out = c
	}
	return out, true
}

func said(cells []string) bool {
	for _, c := range cells {
		if c != "" {
			return true
		}
	}
	return false
}

// legend collects the marks that need a word.
type legend struct{ finds, found, helped, guessed, places, deferred, failure bool }

func (l *legend) says() []string {
	var out []string
	if l.finds {
		out = append(out, "find: find the load in this session, as in the week in full")
	}
	if l.found && l.places {
		out = append(out, "×1.04: the load found in the exercise's first session (of a machine: on that very machine), times 1.04")
	} else if l.found {
		out = append(out, "×1.04: the load found in the exercise's first session, times 1.04")
	}
	if l.helped {
		out = append(out, "×0.95+4: the help found in the exercise's first session, times 0.95, and 4 more; the nearest that can be set")
	}
	if l.guessed {
		out = append(out, "~80: estimated from another lift; where the first session found a tenth more than it states, take a tenth more")
	}
	if l.deferred {
		out = append(out, "≈: fixed on the day from your latest estimate; the number is what it will be if all goes as planned")
	}
	if l.failure {
		out = append(out, "fail: to failure")
	}
	return out
}

// clip shortens a name for the head of a column.
func clip(s string) string {
	if r := []rune(s); len(r) > mostCell {
		return string(r[:mostCell-1]) + "…"
	}
	return s
}

// mostCell is the width from which a cell breaks, so that many weeks stand side by side.
const mostCell = 11

// narrow breaks cells after a separator into as many rows as the longest needs.
func narrow(cells []string, sep string) [][]string {
	rows := [][]string{make([]string, len(cells))}
	for i, c := range cells {
		at := 0
		for _, part := range strings.SplitAfter(c, sep) {
			if rows[at][i] != "" && columns(rows[at][i])+columns(part) > mostCell {
				at++
			}
			if at == len(rows) {
				rows = append(rows, make([]string, len(cells)))
			}
			rows[at][i] += part
		}
	}
	return rows
}
