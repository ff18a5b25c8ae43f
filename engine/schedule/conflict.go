package schedule

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
)

// Reasons of an Infeasible fault.
const (
	ReasonPin      = "CONFLICT_PIN"
	ReasonLift     = "CONFLICT_LIFT"
	ReasonDay      = "CONFLICT_DAY"
	ReasonRecovery = "CONFLICT_RECOVERY"
	ReasonLimit    = "CONFLICT_LIMIT"
	ReasonUnproven = "INFEASIBLE_UNPROVEN"
)

// unlimited is a day's capacity where its wish is left out.
const unlimited = maxTicks * maxCandidates

// wish is what one path of the request asks for; leaving it out drops all of it.
type wish struct {
	path, reason                        string
	pins, lifts, days, clashes, muscles []int
	// counts and sums are days whose exercises and sets are limited, sessions are muscles
	// whose sets of a session are.
	counts, sums, sessions []int
}

// wishes lists the hard wishes, in the order in which leaving them out is tried:
// what remains tends to be the pins, lifts and days that a person recognises.
func (m *Model) wishes() []wish {
	var list []wish
	add := func(path, reason string) *wish {
		for i := range list {
			if path != "" && list[i].path == path {
				return &list[i]
			}
		}
		list = append(list, wish{path: path, reason: reason})
		return &list[len(list)-1]
	}
	for i, r := range m.Muscles {
		if r.Path != "" && r.MaxWeek > 0 {
			w := add(r.Path, ReasonLimit)
			w.muscles = append(w.muscles, i)
		}
		if path := cmp.Or(r.SessionPath, r.Path); path != "" && r.MaxSession > 0 {
			w := add(path, ReasonLimit)
			w.sessions = append(w.sessions, i)
		}
	}
	for i, k := range m.Clashes {
		if k.Hard {
			w := add(k.Path, ReasonRecovery)
			w.clashes = append(w.clashes, i)
		}
	}
	for i := range m.Days { // shared limits before the days' own minutes
		if d := &m.Days[i]; d.SetsPath != "" {
			w := add(d.SetsPath, ReasonLimit)
			w.sums = append(w.sums, i)
		}
	}
	for i := range m.Days {
		if d := &m.Days[i]; d.ExercisesPath != "" {
			w := add(d.ExercisesPath, ReasonLimit)
			w.counts = append(w.counts, i)
		}
	}
	for i := len(m.Days) - 1; i >= 0; i-- {
		w := add(m.Days[i].Path, ReasonDay)
		w.days = append(w.days, i)
	}
	for i := len(m.Candidates) - 1; i >= 0; i-- {
		if m.Candidates[i].MinDays > 0 {
			w := add(m.Candidates[i].Path, ReasonPin)
			w.pins = append(w.pins, i)
		}
	}
	for i := len(m.Lifts) - 1; i >= 0; i-- {
		if m.Lifts[i].MinDays > 0 {
			w := add(m.Lifts[i].Path, ReasonLift)
			w.lifts = append(w.lifts, i)
		}
	}
	return list
}

// Without gives the model with what these paths of the request ask for left out: a pin, a
// lift's sessions, a day's limits, recovery, a muscle's limit. Of wishes nothing stays, so
// it is for questions of feasibility alone.
func (m *Model) Without(paths ...string) *Model {
	list := m.wishes()
	out := make([]bool, len(list))
	for i := range list {
		out[i] = slices.Contains(paths, list[i].path)
	}
	return m.without(list, out)
}

// Wishes lists the paths of the request that ask for something hard, in no particular order.
func (m *Model) Wishes() []string {
	var out []string
	for _, w := range m.wishes() {
		out = append(out, w.path)
	}
	return out
}

// without gives the model with the wishes marked in out left out.
func (m *Model) without(list []wish, out []bool) *Model {
	r := *m
	r.Days, r.Candidates, r.Lifts = slices.Clone(m.Days), slices.Clone(m.Candidates), slices.Clone(m.Lifts)
	r.Muscles, r.Clashes = slices.Clone(m.Muscles), slices.Clone(m.Clashes)
	for i, w := range list {
		if !out[i] {
			continue
		}
		for _, j := range w.days {
			x := &r.Days[j]
			x.Capacity = unlimited
			if x.ExercisesPath == "" {
				x.MaxExercises = maxCandidates
			}
			if x.SetsPath == "" {
				x.MaxSets = maxCandidates * maxHi
			}
		}
		for _, j := range w.counts {
			r.Days[j].MaxExercises = maxCandidates
		}
		for _, j := range w.sums {
			r.Days[j].MaxSets = maxCandidates * maxHi
		}
		for _, j := range w.pins {
			r.Candidates[j].MinDays = 0
			r.Candidates[j].MinSets = 0
		}
		for _, j := range w.lifts {
			r.Lifts[j].MinDays = 0
		}
		for _, j := range w.muscles {
			r.Muscles[j].MaxWeek = 0
		}
		for _, j := range w.sessions {
			r.Muscles[j].MaxSession = 0
		}
		for _, j := range w.clashes {
			r.Clashes[j].Hard = false
		}
	}
	for i := range r.Muscles { // costs don't matter here, and their tables take time
		x := &r.Muscles[i]
		x.Wanted, x.Floor, x.DirectWanted = 0, 0, 0
	}
	for i := range r.Lifts {
		r.Lifts[i].Wanted = 0
	}
	return &r
}

// Conflict gives the fault of a model that has no answer, as Solve does: Infeasible with an
// irreducible set of clashing wishes. budget is the work for each of them. The model is
// known to have none; nil where the context ended.
func (m *Model) Conflict(ctx context.Context, budget int64) error {
	return m.conflict(&meter{ctx: ctx}, budget)
}

// conflict names an irreducible set of clashing wishes of a model that is known to
// be infeasible.
func (m *Model) conflict(mt *meter, budget int64) error {
	list := m.wishes()
	out := make([]bool, len(list))
	unsure := false
	for i := range list {
		out[i] = true
		mt.limit = mt.used + budget
		_, ok, proven := feasible(m.without(list, out), mt)
		if mt.canceled {
			return nil
		}
		out[i] = !ok && proven
		unsure = unsure || !ok && !proven
	}
	c := fault.NewCollector(fault.Infeasible)
	for i, w := range list {
		if out[i] {
			continue
		}
		says := m.sentence(&w)
		if unsure {
			says += " (part of a set that clashes; it may be larger than it need be)"
		}
		c.Add(w.reason, w.path, says)
	}
	return c.Err()
}

// unproven is the answer where the search ended before it knew.
func unproven(work int64) error {
	return fault.New(fault.Infeasible, ReasonUnproven, "constraints", fmt.Sprintf(
		"no way to meet all mandatory wishes was found in %d steps of search, but it is not proven that there is none: "+
			"give a larger budget, more minutes or fewer pinned exercises", work))
}

// sentence says what a wish needs or allows, in numbers.
func (m *Model) sentence(w *wish) string {
	var parts []string
	say := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	for _, c := range w.pins {
		x := &m.Candidates[c]
		if x.MinSets == 0 && slices.ContainsFunc(w.lifts, func(l int) bool { return int(x.Lift) == l && m.Lifts[l].MinDays > x.MinDays }) {
			continue // said of the lift
		}
		most := ""
		if x.MinSets > 0 {
			most = fmt.Sprintf(", at least %s a week,", counted(x.MinSets, "set"))
		}
		parts = append(parts, m.need(x.name(), most, x.MinDays, func(i int) bool { return i == c }))
	}
	for _, l := range w.lifts {
		x := &m.Lifts[l]
		mine := func(i int) bool { return int(m.Candidates[i].Lift) == l }
		if i := slices.IndexFunc(w.pins, mine); i >= 0 && m.Candidates[w.pins[i]].MinDays >= x.MinDays {
			continue // said of the pin
		}
		name := x.ID
		for i := range m.Candidates {
			if mine(i) {
				name = m.Candidates[i].name()
				break
			}
		}
		parts = append(parts, m.need(name, "", x.MinDays, mine))
	}
	for _, d := range w.days {
		x := &m.Days[d]
		says := fmt.Sprintf("%s has %s for exercises", m.dayName(d), minutes(x.Capacity))
		if x.ExercisesPath == "" {
			says += fmt.Sprintf(", at most %d of them", x.MaxExercises)
		}
		if x.SetsPath == "" {
			says += fmt.Sprintf(", at most %s", counted(x.MaxSets, "set"))
		}
		parts = append(parts, says)
	}
	if len(w.counts) > 0 {
		say("a session may have at most %s", counted(m.Days[w.counts[0]].MaxExercises, "exercise"))
	}
	if len(w.sums) > 0 {
		say("a session may have at most %s", counted(m.Days[w.sums[0]].MaxSets, "set"))
	}
	for _, k := range w.clashes {
		x := &m.Clashes[k]
		if x.Cap < 2 {
			say("%s may be trained directly on only one of %s and %s", x.Muscle, m.dayName(int(x.A)), m.dayName(int(x.B)))
			continue
		}
		say("%s may get more than %s on only one of %s and %s", x.Muscle, counted(int32(x.Cap/2), "direct set"), m.dayName(int(x.A)), m.dayName(int(x.B)))
	}
	for _, i := range w.muscles {
		say("%s may get at most %s sets a week", m.Muscles[i].Muscle, m.Muscles[i].MaxWeek)
	}
	for n, i := range w.sessions {
		x := &m.Muscles[i]
		if same := func(j int) bool { return m.Muscles[j].MaxSession == x.MaxSession }; len(w.sessions) > 2 && !slices.ContainsFunc(w.sessions, func(j int) bool { return !same(j) }) {
			if n == 0 {
				say("a session may have at most %s for a muscle", counted(int32(x.MaxSession/2), "direct set"))
			}
			continue
		}
		say("%s may get at most %s a session", x.Muscle, counted(int32(x.MaxSession/2), "direct set"))
	}
	return strings.Join(parts, "; ")
}

// need says on how many days any of some candidates has to be, how long it takes there
// at least, and which days allow it.
func (m *Model) need(name, most string, times int32, which func(int) bool) string {
	least := int32(-1)
	var days []string
	for d := range m.Days {
		here := false
		for c := range m.Candidates {
			if o := m.Candidates[c].Options[d]; which(c) && o.Allowed {
				here = true
				if t := o.Fixed + o.PerSet*o.Lo; least < 0 || t < least {
					least = t
				}
			}
		}
		if here {
			days = append(days, m.dayName(d))
		}
	}
	says := fmt.Sprintf("%s has to be%s in %s", name, most, counted(times, "session"))
	if times == 1 && len(days) == len(m.Days) {
		return says + fmt.Sprintf(" and takes %s at least", minutes(least))
	}
	switch n := int32(len(days)); {
	case n == 0:
		return says + ", and no day allows it"
	case n < times:
		return says + fmt.Sprintf(", and only %s %s it", andList(days), map[bool]string{true: "allows", false: "allow"}[n == 1])
	case n == 1:
		return fmt.Sprintf("%s has to be%s on %s and takes %s at least", name, most, days[0], minutes(least))
	case n == times && n > 2 && len(days) == len(m.Days):
		return fmt.Sprintf("%s has to be%s on each of the %d days and takes %s at least each time", name, most, n, minutes(least))
	case n == times:
		return fmt.Sprintf("%s has to be%s on %s and takes %s at least each time", name, most, andList(days), minutes(least))
	default:
		return says + fmt.Sprintf(" on %s and takes %s at least each time", orList(days), minutes(least))
	}
}

func (c *Candidate) name() string { return cmp.Or(c.Name, c.ID) }

func andList(list []string) string { return joined(list, " and ") }
func orList(list []string) string  { return joined(list, " or ") }

func joined(list []string, last string) string {
	n := len(list)
	if n < 2 {
		return strings.Join(list, "")
	}
	return strings.Join(list[:n-1], ", ") + last + list[n-1]
}

// counted puts a number before a noun.
func counted(n int32, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func (m *Model) dayName(d int) string {
	switch x := &m.Days[d]; {
	case x.Name != "":
		return x.Name
	case x.Path != "":
		return x.Path
	}
	return "day " + strconv.Itoa(d+1)
}

// minutes prints ticks of 15 s.
func minutes(ticks int32) string {
	return strconv.FormatFloat(float64(ticks)/4, 'f', -1, 64) + " min"
}
