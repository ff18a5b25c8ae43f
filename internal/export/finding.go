package export

import (
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// findings prints what could not be met and what else there is to say, the gravest first.
func (t *text) findings() {
	t.findingList("Violations: do not use this program as it is", plan.LevelViolation)
	t.findingList("What could not be met", plan.LevelShort)
	t.findingList("Departures from guidance", plan.LevelDeparture)
	t.findingList("Worth knowing", plan.LevelNote)
}

func (t *text) findingList(title string, level plan.FindingLevel) {
	list := gather(t.p.Findings, level)
	if len(list) == 0 {
		return
	}
	t.heading(title)
	list, joined := join(list)
	for _, j := range joined {
		t.item(j)
	}
	for i := range list {
		t.item(t.finding(&list[i]))
	}
}

// join puts wishes for muscles that were missed in the same weeks for the same reason
// into one line: "weeks: muscle gets a of b weekly sets: reason." What is alone stays.
func join(list []gathered) (rest []gathered, lines []string) {
	type cause struct{ weeks, reason string }
	items := map[cause][]string{}
	var order []cause
	split := func(g *gathered) (cause, string, bool) {
		part := strings.SplitN(g.Says, ": ", 3)
		if g.Muscle == plan.MuscleUnspecified || len(part) < 3 || len(g.like) > 0 {
			return cause{}, "", false
		}
		item := strings.TrimSuffix(strings.Replace(part[1], " gets ", " ", 1), " weekly sets")
		return cause{part[0], part[2]}, item, item != part[1]
	}
	for i := range list {
		if c, item, ok := split(&list[i]); ok {
			if items[c] == nil {
				order = append(order, c)
			}
			items[c] = append(items[c], item)
		}
	}
	for i := range list {
		if c, _, ok := split(&list[i]); !ok || len(items[c]) < 2 {
			rest = append(rest, list[i])
		}
	}
	for _, c := range order {
		if len(items[c]) > 1 {
			lines = append(lines, c.weeks+", sets a week: "+strings.Join(items[c], ", ")+"; "+c.reason)
		}
	}
	return rest, lines
}

// gathered is a finding with the other weeks in which the same rule speaks of the same
// thing.
type gathered struct {
	plan.Finding
	same []int32 // weeks with the same words
	like []int32 // weeks with other numbers
}

func gather(findings []plan.Finding, level plan.FindingLevel) []gathered {
	type key struct {
		rule     plan.RuleID
		exercise string
		muscle   plan.Muscle
		field    string
		session  int32
	}
	var out []gathered
	index := map[key]int{}
	for _, f := range findings {
		if f.Level != level {
			continue
		}
		k := key{f.Rule, f.ExerciseID, f.Muscle, f.Field, f.Session}
		at, ok := index[k]
		if !ok || f.Week == 0 || out[at].Week == 0 {
			if !ok {
				index[k] = len(out)
			}
			out = append(out, gathered{Finding: f, same: []int32{f.Week}})
			continue
		}
		g := &out[at]
		switch {
		case f.Says == g.Says:
			g.same = addWeek(g.same, f.Week)
		case contains(g.same, f.Week):
			out = append(out, gathered{Finding: f, same: []int32{f.Week}})
		default:
			g.like = addWeek(g.like, f.Week)
		}
	}
	return out
}

func addWeek(list []int32, w int32) []int32 {
	if contains(list, w) {
		return list
	}
	return append(list, w)
}

func contains(list []int32, w int32) bool {
	for _, have := range list {
		if have == w {
			return true
		}
	}
	return false
}

func (t *text) finding(g *gathered) string {
	s := where(t.name, &g.Finding, g.same) + g.Says
	if len(g.like) > 0 {
		s = strings.TrimSuffix(s, ".") + fmt.Sprintf(". Likewise, with other numbers, in %s.", inWeeks(g.like))
	}
	return s
}

// where says what a finding is about, unless its sentence does.
func where(name func(string) string, f *plan.Finding, weeks []int32) string {
	var out []string
	if f.Week > 0 && !strings.HasPrefix(f.Says, "Week") {
		out = append(out, inWeeks(weeks))
	}
	if f.Session > 0 {
		out = append(out, "session "+number(f.Session))
	}
	if f.ExerciseID != "" && !mentions(f.Says, name(f.ExerciseID)) {
		out = append(out, name(f.ExerciseID))
	}
	if f.Muscle != plan.MuscleUnspecified && !mentions(f.Says, f.Muscle.String()) {
		out = append(out, f.Muscle.String())
	}
	if len(out) == 0 {
		return ""
	}
	return sentence(strings.Join(out, ", ")) + ": "
}

func mentions(s, name string) bool {
	return strings.Contains(strings.ToLower(s), strings.ToLower(name))
}

// Findings writes an audit's findings, one a line, the gravest first, with the rule
// that each is by.
func Findings(p *plan.Program, list []plan.Finding, o Options) string {
	t := &text{p: p, o: o, names: map[string]string{}, found: map[foundAt]int32{}}
	t.index()
	for _, level := range [...]plan.FindingLevel{plan.LevelViolation, plan.LevelShort, plan.LevelDeparture, plan.LevelNote} {
		for i := range list {
			if f := &list[i]; f.Level == level {
				t.wrap(pad(level.String(), 11), pad("", 11), where(t.name, f, []int32{f.Week})+f.Says+" ["+string(f.Rule)+"]")
			}
		}
	}
	return t.String()
}
