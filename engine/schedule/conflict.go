package schedule

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
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
		if r.Path != "" && (r.MaxWeek > 0 || r.MaxSession > 0) {
			w := add(r.Path, ReasonLimit)
			w.muscles = append(w.muscles, i)
		}
	}
	for i, k := range m.Clashes {
		if k.Hard {
			w := add(k.Path, ReasonRecovery)
			w.clashes = append(w.clashes, i)
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
			r.Days[j].Capacity, r.Days[j].MaxExercises, r.Days[j].MaxSets = unlimited, maxCandidates, maxCandidates*maxHi
		}
		for _, j := range w.pins {
			r.Candidates[j].MinDays = 0
			r.Candidates[j].MinSets = 0
		}
		for _, j := range w.lifts {
			r.Lifts[j].MinDays = 0
		}
		for _, j := range w.muscles {
			r.Muscles[j].MaxWeek, r.Muscles[j].MaxSession = 0, 0
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
	for _, c := range w.pins {
		x := &m.Candidates[c]
		s := m.need(x.ID, x.MinDays, "day", func(i int) bool { return i == c })
		if x.MinSets > 0 {
			s += fmt.Sprintf(", with at least %d sets a week", x.MinSets)
		}
		parts = append(parts, s)
	}
	for _, l := range w.lifts {
		x := &m.Lifts[l]
		parts = append(parts, m.need(x.ID, x.MinDays, "session a week", func(i int) bool { return int(m.Candidates[i].Lift) == l }))
	}
	for _, d := range w.days {
		x := &m.Days[d]
		parts = append(parts, fmt.Sprintf("%s has %s for exercises, at most %d of them and %d sets",
			m.dayName(d), minutes(x.Capacity), x.MaxExercises, x.MaxSets))
	}
	for _, k := range w.clashes {
		x := &m.Clashes[k]
		parts = append(parts, fmt.Sprintf("%s may get more than %s direct sets on only one of %s and %s",
			x.Muscle, plan.HalfSets(x.Cap/2*2), m.dayName(int(x.A)), m.dayName(int(x.B))))
	}
	for _, i := range w.muscles {
		x := &m.Muscles[i]
		if x.MaxWeek > 0 {
			parts = append(parts, fmt.Sprintf("%s may get at most %s sets a week", x.Muscle, x.MaxWeek))
		}
		if x.MaxSession > 0 {
			parts = append(parts, fmt.Sprintf("%s may get at most %s direct sets a session", x.Muscle, x.MaxSession))
		}
	}
	return strings.Join(parts, "; ")
}

// need says how much time so many days of any of some candidates take at least.
func (m *Model) need(id string, times int32, unit string, which func(int) bool) string {
	least, days := int32(-1), 0
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
			days++
		}
	}
	what := fmt.Sprintf("%s on %d %s", id, times, plural(unit, times))
	if unit != "day" {
		what = fmt.Sprintf("%s in %d %s", id, times, plural(unit, times))
	}
	if least < 0 {
		return what + ", but none of the days allows it"
	}
	return fmt.Sprintf("%s needs %d × %s at least, and %d of %d %s it", what, times, minutes(least), days, len(m.Days),
		map[bool]string{true: "days allows", false: "days allow"}[days == 1])
}

func plural(unit string, n int32) string {
	if n == 1 {
		return unit
	}
	first, rest, _ := strings.Cut(unit, " ")
	return strings.TrimSpace(first + "s " + rest)
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
