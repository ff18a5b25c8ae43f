package export

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// Changes writes in what a program differs from the one it came out of, as compare.Programs
// tells it: a block a session with all weeks that change, then weekly sets, then findings
// that are new. + came, − went, ~ is another; a line that does not hold for all weeks of
// its block names its own. Options.Week and Why are not looked at. The error is that of w.
func Changes(w io.Writer, was, is *plan.Program, list []plan.Change, o Options) error {
	t := &text{p: was, o: o, names: map[string]string{}, found: map[foundAt]int32{}}
	t.index()
	t.p = is
	t.index()
	c := &changes{text: t, was: was}
	c.heading(c.title())
	if len(list) == 0 {
		c.line("Nothing changes.")
	}
	c.stronger()
	c.weekKinds(list)
	for _, b := range blocks(list) {
		c.block(&b)
	}
	c.advice(list)
	c.muscles()
	c.newFindings()
	_, err := io.WriteString(w, c.String())
	return err
}

type changes struct {
	*text
	was *plan.Program
}

func (c *changes) title() string {
	r := c.p.Reworked
	if !r.Set || r.Value.Week == 1 && r.Value.Day == 0 {
		return "Changes"
	}
	from := "week " + number(r.Value.Week)
	switch start := c.p.Request.Constraints.Start; {
	case start.Set:
		from = longDate(start.Value.AddDays(7*int(r.Value.Week-1)+int(r.Value.Day))) + ", " + from
	case r.Value.Day > 0:
		from += ", day " + number(r.Value.Day+1)
	}
	return "Changes from " + from
}

// block is all that changes in sessions of one weekday or workout.
type block struct {
	head  plan.Change
	list  []*plan.Change
	weeks []int32
}

func blocks(list []plan.Change) []block {
	var out []block
	for i := range list {
		x := &list[i]
		if x.Kind == plan.ChangeWeek || x.Kind == plan.ChangeAdvice {
			continue
		}
		at := slices.IndexFunc(out, func(b block) bool {
			return b.head.Weekday == x.Weekday && b.head.Group == x.Group && b.head.Session == x.Session && (x.Group != "" || b.head.Day == x.Day)
		})
		if at < 0 {
			at = len(out)
			out = append(out, block{head: *x})
		}
		out[at].list = append(out[at].list, x)
		for _, w := range x.Weeks {
			if !slices.Contains(out[at].weeks, w.Week) {
				out[at].weeks = append(out[at].weeks, w.Week)
			}
		}
	}
	for i := range out {
		slices.Sort(out[i].weeks)
	}
	slices.SortStableFunc(out, func(a, b block) int { return int(a.head.Day - b.head.Day) })
	return out
}

func dayName(x *plan.Change) string {
	name := x.Weekday.String()
	switch {
	case x.Group != "":
		name = "Workout " + x.Group
	case x.Weekday == plan.WeekdayUnspecified:
		name = "Day " + number(x.Day+1)
	}
	if x.Session != plan.SessionTraining && x.Session != plan.SessionUnspecified {
		name += ", " + x.Session.String()
	}
	return name
}

func (c *changes) block(b *block) {
	c.blank()
	c.line(dayName(&b.head) + " · " + inWeeks(b.weeks))
	for _, k := range [...]plan.ChangeKind{
		plan.ChangeSessionLeftOut, plan.ChangeSessionAdded, plan.ChangeSessionMoved, plan.ChangeExerciseSwapped,
		plan.ChangeExerciseLeftOut, plan.ChangeExerciseAdded, plan.ChangeExerciseChanged,
	} {
		for _, x := range b.list {
			if x.Kind == k {
				c.change(b, x)
			}
		}
	}
}

func (c *changes) change(b *block, x *plan.Change) {
	weeks := weeksIn(x)
	when := ""
	if !slices.Equal(weeks, b.weeks) {
		when = ", " + inWeeks(weeks)
	}
	sign, says := "~", ""
	switch x.Kind {
	case plan.ChangeSessionLeftOut:
		sign, says = "−", "the session"
	case plan.ChangeSessionAdded:
		sign, says = "+", "a session"
	case plan.ChangeSessionMoved:
		says = c.moved(x)
	case plan.ChangeExerciseSwapped:
		c.wrap("  − ", "      ", c.name(x.ExerciseID)+when)
		sign, says = "+", c.name(x.With)+" in its place"+when+": "+c.prescribed(x.With, x.Weeks)
		when = ""
	case plan.ChangeExerciseLeftOut:
		sign, says = "−", c.name(x.ExerciseID)
	case plan.ChangeExerciseAdded:
		sign, says = "+", c.name(x.ExerciseID)+when+": "+c.prescribed(x.ExerciseID, x.Weeks)
		when = ""
	case plan.ChangeExerciseChanged:
		says = c.name(x.ExerciseID) + when + ": " + c.numbers(x)
		when = ""
	}
	c.wrap("  "+sign+" ", "      ", says+when)
}

func weeksIn(x *plan.Change) []int32 {
	out := make([]int32, len(x.Weeks))
	for i := range x.Weeks {
		out[i] = x.Weeks[i].Week
	}
	return out
}

// moved says what of a session is another; Was and Is agree over its weeks but for dates.
func (c *changes) moved(x *plan.Change) string {
	a, b := x.Weeks[0].FrameWas.Value, x.Weeks[0].FrameIs.Value
	var out []string
	if a.Weekday != b.Weekday {
		out = append(out, b.Weekday.String()+" instead of "+a.Weekday.String())
	}
	if a.PlaceID != b.PlaceID {
		before := &text{p: c.was}
		out = append(out, c.place(b.PlaceID)+" instead of "+before.place(a.PlaceID))
	}
	if a.Limit != b.Limit {
		most := plan.Seconds(0)
		for i := range x.Weeks {
			most = max(most, x.Weeks[i].FrameIs.Value.Seconds)
		}
		out = append(out, fmt.Sprintf("%s instead of %s minutes (uses up to %s)", minutes(b.Limit), minutes(a.Limit), minutes(most)))
	}
	if a.Label != b.Label {
		out = append(out, fmt.Sprintf("%q instead of %q", b.Label, a.Label))
	}
	if len(out) == 0 {
		return "another date or warm-up"
	}
	return strings.Join(out, ", ")
}

// unfolded gives the sets of runs as an exercise, for printing.
func unfolded(id string, list []plan.SetRun) *plan.ProgramExercise {
	e := &plan.ProgramExercise{ExerciseID: id}
	for _, r := range list {
		for range r.Count {
			e.Sets = append(e.Sets, r.Each)
		}
	}
	return e
}

// prescribed says what comes: "3×8–12, RIR 2, rest 2:00; load 100, 102.5 kg".
func (c *changes) prescribed(id string, weeks []plan.ChangedWeek) string {
	f := make([]facts, len(weeks))
	for i := range weeks {
		f[i] = c.facts(unfolded(id, weeks[i].Is))
	}
	var out []string
	for _, of := range aspects {
		values := make([]string, len(f))
		for i := range f {
			values[i] = f[i][of.at]
		}
		if !said(values) || of.at == aimsOf {
			continue
		}
		shown := weeks
		if of.at != loadOf { // a single set has no rest
			values, shown = filled(values, weeks)
		}
		out = append(out, of.before+series(values, shown, of.many)+c.unitOf(of.at, id, values))
	}
	return strings.Join(out, " · ")
}

// numbers says what of an exercise is another: "3×8–12 instead of 4×8–12".
func (c *changes) numbers(x *plan.Change) string {
	var was, is []facts
	other := map[plan.Number]bool{}
	for i := range x.Weeks {
		w := &x.Weeks[i]
		was, is = append(was, c.facts(unfolded(x.ExerciseID, w.Was))), append(is, c.facts(unfolded(x.ExerciseID, w.Is)))
		for _, n := range w.Numbers {
			other[n] = true
		}
	}
	var out []string
	told := map[plan.Number]bool{}
	for _, of := range aspects {
		var before, after []string
		var weeks []plan.ChangedWeek
		for i := range was {
			if was[i][of.at] != is[i][of.at] {
				before, after, weeks = append(before, was[i][of.at]), append(after, is[i][of.at]), append(weeks, x.Weeks[i])
			}
		}
		if len(weeks) == 0 || of.at == aimsOf && told[plan.NumberReps] {
			continue
		}
		for _, n := range of.numbers {
			told[n] = true
		}
		out = append(out, of.before+instead(after, before, weeks, len(weeks) < len(x.Weeks), of.many)+c.unitOf(of.at, x.ExerciseID, append(before, after...)))
	}
	if other[plan.NumberLoad] && !told[plan.NumberLoad] {
		out = append(out, "the load is another share of the 1RM or made of other pieces")
	}
	if other[plan.NumberOrder] {
		out = append(out, "at another place in the order")
	}
	if other[plan.NumberWarmup] && len(out) == 0 {
		out = append(out, "other warm-up sets")
	}
	if len(out) == 0 {
		out = append(out, "details of its sets")
	}
	return strings.Join(out, " · ")
}

// facts are what is told of an exercise in one week.
type facts [5]string

const (
	setsOf = iota
	loadOf
	rirOf
	restOf
	aimsOf
)

// aspects say how each of the facts is told, and what numbers are told with it.
var aspects = [...]struct {
	at      int
	before  string
	many    bool // a list week by week, where it changes
	numbers []plan.Number
}{
	{setsOf, "", false, []plan.Number{plan.NumberSets, plan.NumberReps}},
	{loadOf, "load ", true, []plan.Number{plan.NumberLoad}},
	{rirOf, "RIR ", false, nil},
	{restOf, "rest ", false, nil},
	{aimsOf, "", false, nil},
}

func (c *changes) facts(e *plan.ProgramExercise) facts {
	work := working(e)
	f := facts{setsCell(e), c.cell(e), reserve(work), "", aims(e)}
	if r := rest(work); r > 0 {
		f[restOf] = r.String()
	}
	return f
}

// unitOf follows loads that are numbers.
func (c *changes) unitOf(at int, id string, values []string) string {
	u := c.p.Request.Constraints.Unit
	if at != loadOf || u == plan.UnitUnspecified || !slices.ContainsFunc(values, func(v string) bool { return strings.ContainsAny(v, "0123456789") && !strings.Contains(v, "×") }) {
		return ""
	}
	out := " " + u.String()
	if x := c.exercise(id); x != nil && x.Loading.PerHand() {
		out += " a hand"
	}
	return out
}

// filled leaves out the weeks without a value.
func filled(values []string, weeks []plan.ChangedWeek) ([]string, []plan.ChangedWeek) {
	var out []string
	var of []plan.ChangedWeek
	for i, v := range values {
		if v != "" {
			out, of = append(out, v), append(of, weeks[i])
		}
	}
	return out, of
}

// series prints values of weeks: one where all are equal, else with their weeks, or where
// there are many just in order of the weeks.
func series(values []string, weeks []plan.ChangedWeek, many bool) string {
	for i, v := range values {
		if v == "" {
			values[i] = "–"
		}
	}
	if many && len(slices.Compact(slices.Clone(values))) > 2 {
		return strings.Join(values, ", ")
	}
	var order []string
	at := map[string][]int32{}
	for i, v := range values {
		if at[v] == nil {
			order = append(order, v)
		}
		at[v] = append(at[v], weeks[i].Week)
	}
	if len(order) == 1 {
		return order[0]
	}
	for i, v := range order {
		order[i] = v + " (" + inWeeks(at[v]) + ")"
	}
	return strings.Join(order, ", ")
}

// instead prints what values of weeks are and were.
func instead(is, was []string, weeks []plan.ChangedWeek, some, many bool) string {
	pairs := make([]string, len(is))
	for i := range is {
		pairs[i] = orNone(is[i]) + " instead of " + orNone(was[i])
	}
	out := ""
	if many && len(slices.Compact(slices.Clone(pairs))) > 2 {
		out = series(is, weeks, true) + " instead of " + series(was, weeks, true)
	} else {
		out = series(pairs, weeks, false)
	}
	if some && !strings.Contains(out, "(week") {
		list := make([]int32, len(weeks))
		for i := range weeks {
			list[i] = weeks[i].Week
		}
		out += " (" + inWeeks(list) + ")"
	}
	return out
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

func (c *changes) weekKinds(list []plan.Change) {
	for i := range list {
		if list[i].Kind != plan.ChangeWeek {
			continue
		}
		var says []string
		for _, w := range list[i].Weeks {
			switch {
			case w.KindWas == plan.WeekUnspecified:
				says = append(says, "+ new")
			case w.KindIs == plan.WeekUnspecified:
				says = append(says, "− gone")
			default:
				says = append(says, "~ "+w.KindIs.String()+" instead of "+w.KindWas.String())
			}
		}
		c.wrap("Weeks: ", "  ", series(says, list[i].Weeks, false)+lone(list[i].Weeks, says))
	}
}

// lone names the weeks that series leaves out where all are alike.
func lone(weeks []plan.ChangedWeek, says []string) string {
	if len(slices.Compact(slices.Clone(says))) > 1 {
		return ""
	}
	return " (" + inWeeks(weeksIn(&plan.Change{Weeks: weeks})) + ")"
}

// advice names the exercises of which only what is said beside the numbers is another.
func (c *changes) advice(list []plan.Change) {
	var names []string
	for i := range list {
		if list[i].Kind == plan.ChangeAdvice {
			names = distinct(names, c.name(list[i].ExerciseID))
		}
	}
	if len(names) > 0 {
		c.blank()
		c.wrap("", "  ", "Numbers as before, but another note, substitute or next step: "+strings.Join(names, ", ")+".")
	}
}

// muscles prints the weekly sets that are others, what they were in brackets.
func (c *changes) muscles() {
	before, after := map[int32]*plan.Week{}, []*plan.Week(nil)
	for i := range c.was.Phases {
		for k := range c.was.Phases[i].Weeks {
			w := &c.was.Phases[i].Weeks[k]
			before[w.Number] = w
		}
	}
	for i := range c.p.Phases {
		for k := range c.p.Phases[i].Weeks {
			if w := &c.p.Phases[i].Weeks[k]; before[w.Number] != nil {
				after = append(after, w)
			}
		}
	}
	sets := func(w *plan.Week, m plan.Muscle) plan.HalfSets {
		for i := range w.Muscles {
			if w.Muscles[i].Muscle == m {
				return w.Muscles[i].Sets
			}
		}
		return 0
	}
	others := func(w *plan.Week) bool {
		for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
			if sets(w, m) != sets(before[w.Number], m) {
				return true
			}
		}
		return false
	}
	after = slices.DeleteFunc(after, func(w *plan.Week) bool { return !others(w) })
	g := grid{}
	for _, w := range after {
		g.columns = append(g.columns, column{from: w.Number, to: w.Number, marks: []string{kindMark(w)}})
	}
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if !slices.ContainsFunc(after, func(w *plan.Week) bool { return sets(w, m) != sets(before[w.Number], m) }) {
			continue
		}
		g.row(m.String(), after, func(w *plan.Week) string {
			is, was := sets(w, m), sets(before[w.Number], m)
			if is == was {
				return is.String()
			}
			return is.String() + " (" + was.String() + ")"
		})
	}
	if len(g.rows) > 0 {
		c.heading("Sets a week by muscle, where they change")
		c.line("Now, and before in brackets.")
		c.grid(&g)
	}
}

// newFindings prints what was not said of the earlier program.
func (c *changes) newFindings() {
	var list []plan.Finding
	for i := range c.p.Findings {
		f := c.p.Findings[i]
		if f.Level > plan.LevelNote && !slices.Contains(c.was.Findings, f) {
			list = append(list, f)
		}
	}
	if len(list) == 0 {
		return
	}
	p := *c.p
	p.Findings = list
	c.text.p = &p
	c.findingList("New: violations, do not use this program as it is", plan.LevelViolation)
	c.findingList("New in what could not be met", plan.LevelShort)
	c.findingList("New departures from guidance", plan.LevelDeparture)
}
