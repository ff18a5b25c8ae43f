package export

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// Comparison writes arms beside each other: what is equal and what is not, all weeks, phases,
// and week by week. Options.Week and Why are not looked at. The error is that of w.
func Comparison(w io.Writer, c *plan.Comparison, o Options) error {
	x := &compared{text: &text{p: &plan.Program{}, o: o, names: map[string]string{}}, c: c}
	x.heading(fmt.Sprintf("%s compared: %s", count(len(c.Arms), "arm"), c.Rule))
	for i := range c.Arms {
		a := &c.Arms[i]
		says := a.Label + ": " + strings.ReplaceAll(a.Strategy, "+", ", then ")
		if d := strings.TrimPrefix(a.Digest, "sha256:"); d != "" {
			says += " · digest " + d[:min(shortDigest, len(d))]
		}
		x.item(says)
	}
	x.balances()
	x.totals()
	x.phases()
	x.weekly()
	x.muscleSets()
	x.blank()
	x.wrap("", "", "All arms have the same exercises on the same days of every week. The figures say what is asked for, not what comes of it: no order of repetition ranges has been shown to be better for everybody. The programs are training guidance and no medical advice; each carries its own cautions.")
	_, err := io.WriteString(w, x.String())
	return err
}

type compared struct {
	*text
	c *plan.Comparison
}

// balances lists what was sought, then the rest; muscles and exercises that are alike are
// put into one line.
func (x *compared) balances() {
	for _, part := range [...]struct {
		title  string
		sought bool
	}{{"To be equal", true}, {"Left as it is", false}} {
		x.balanced(part.title, part.sought)
	}
	weeks := "in no week"
	if n := len(x.c.EqualWeeks); n > 0 {
		weeks = "in " + inWeeks(x.c.EqualWeeks)
	}
	x.item(fmt.Sprintf("the same sets of every exercise on every day in all arms: %s of %d", weeks, len(x.c.Arms[0].Weeks)))
}

func (x *compared) balanced(title string, sought bool) {
	same, first := []string{}, true
	for i := range x.c.Balances {
		b := &x.c.Balances[i]
		if b.Sought != sought {
			continue
		}
		if first {
			x.heading(title)
			first = false
		}
		if b.Muscle != plan.MuscleUnspecified && b.Equal {
			same = append(same, fmt.Sprintf("%s %s", b.Muscle, plan.HalfSets(b.Values[0])))
			continue
		}
		x.item(x.named(b))
	}
	if len(same) > 0 {
		x.item(fmt.Sprintf("equal sets for %s: %s", count(len(same), "muscle"), strings.Join(same, ", ")))
	}
}

// named says a balance with the exercise's name instead of its id.
func (x *compared) named(b *plan.Balance) string {
	if b.ExerciseID == "" || x.o.Catalogue == nil {
		return b.Says
	}
	if e, ok := x.o.Catalogue.ByID(b.ExerciseID); ok {
		return strings.Replace(b.Says, b.ExerciseID, e.Name, 1)
	}
	return b.Says
}

// measures are the columns of the totals, and the tables week by week.
var measures = [...]struct {
	head, title string
	of          func(*plan.Figures) string
}{
	{"hard sets", "Hard sets", func(f *plan.Figures) string { return number(f.HardSets) }},
	{"near failure", fmt.Sprintf("Of these near failure (%d or fewer repetitions in reserve)", plan.NearFailureRIR), func(f *plan.Figures) string { return number(f.NearFailure) }},
	{"reps 1–5", "Repetitions in sets of 1–5", func(f *plan.Figures) string { return number(f.Zones[plan.ZoneLow]) }},
	{"6–12", "Repetitions in sets of 6–12", func(f *plan.Figures) string { return number(f.Zones[plan.ZoneMiddle]) }},
	{"13+", "Repetitions in sets of 13 and more", func(f *plan.Figures) string { return number(f.Zones[plan.ZoneHigh]) }},
	{"volume load", "Volume load (repetitions × load as written, of sets whose load is a number)", func(f *plan.Figures) string {
		if !f.VolumeLoad.Set {
			return "–"
		}
		return f.VolumeLoad.Value.Whole()
	}},
	{"intensity", "Mean intensity, of the 1RM planned for the week, by repetition", func(f *plan.Figures) string {
		if !f.Intensity.Set {
			return "–"
		}
		return f.Intensity.Value.String()
	}},
	{"minutes", "Minutes (upper estimate)", func(f *plan.Figures) string { return minutes(f.Seconds) }},
}

func (x *compared) totals() {
	x.heading("All weeks")
	rows := [][]string{x.heads("")}
	for i := range x.c.Arms {
		rows = append(rows, cells(x.c.Arms[i].Label, &x.c.Arms[i].Total))
	}
	x.table(rows)
	for i := range x.c.Arms {
		if f := &x.c.Arms[i].Total; f.LoadedSets < f.HardSets {
			x.wrap("", "  ", fmt.Sprintf("Volume load is that of sets whose load is a number (%s: %d of %d), intensity of repetitions for which it is stated; the others find their load on the day or have none.", x.c.Arms[i].Label, f.LoadedSets, f.HardSets))
			break
		}
	}
}

func (x *compared) phases() {
	x.heading("Phases")
	rows := [][]string{x.heads("")}
	for i := range x.c.Arms {
		a := &x.c.Arms[i]
		for k := range a.Phases {
			ph := &a.Phases[k]
			name := fmt.Sprintf("%s, %s, weeks %s", a.Label, ph.Name, span(plan.Range{Min: ph.FromWeek, Max: ph.ToWeek}))
			if ph.Name == a.Label {
				name = fmt.Sprintf("%s, weeks %s", a.Label, span(plan.Range{Min: ph.FromWeek, Max: ph.ToWeek}))
			}
			rows = append(rows, cells(name, &ph.Figures))
		}
	}
	x.table(rows)
}

func (x *compared) heads(first string) []string {
	out := []string{first}
	for _, m := range measures {
		out = append(out, m.head)
	}
	return out
}

func cells(first string, f *plan.Figures) []string {
	out := []string{first}
	for _, m := range measures {
		out = append(out, m.of(f))
	}
	return out
}

// table prints rows of cells, the first of each folded on the left, others on the right of
// their columns.
func (x *compared) table(rows [][]string) {
	wide := make([]int, len(rows[0]))
	for _, r := range rows {
		for i, c := range r[1:] {
			wide[i+1] = max(wide[i+1], columns(c))
		}
	}
	left := Width
	for _, w := range wide[1:] {
		left -= w + 2
	}
	for _, r := range rows {
		lines := fold(r[0], max(10, left))
		b := pad(lines[0], max(10, left))
		for i, c := range r[1:] {
			b += "  " + strings.Repeat(" ", wide[i+1]-columns(c)) + c
		}
		x.line(b)
		for _, l := range lines[1:] {
			x.line("  " + l)
		}
	}
}

// weekly prints each measure with the arms below each other, those that are alike in one
// row.
func (x *compared) weekly() {
	x.heading("Week by week")
	for i, m := range measures {
		if i > 0 {
			x.blank()
		}
		x.line(m.title)
		g := x.weeks()
		for a := range x.c.Arms {
			var row []string
			for k := range x.c.Arms[a].Weeks {
				row = append(row, m.of(&x.c.Arms[a].Weeks[k].Figures))
			}
			x.alike(g, x.c.Arms[a].Label, row)
		}
		x.everyArm(g)
		x.grid(g)
	}
}

// weeks gives a grid of all weeks; what kind they are stands there where all arms agree.
func (x *compared) weeks() *grid {
	g := &grid{}
	for k := range x.c.Arms[0].Weeks {
		w := &x.c.Arms[0].Weeks[k]
		mark := kindMark(&plan.Week{Kind: w.Kind})
		for i := range x.c.Arms {
			if x.c.Arms[i].Weeks[k].Kind != w.Kind {
				mark = ""
			}
		}
		g.columns = append(g.columns, column{from: w.Number, to: w.Number, marks: []string{mark}})
	}
	return g
}

// alike adds a row, or the label to a row with the same cells.
func (x *compared) alike(g *grid, label string, row []string) {
	for i := range g.rows {
		if slices.Equal(g.rows[i].cells, row) {
			g.rows[i].label += ", " + label
			return
		}
	}
	g.rows = append(g.rows, gridRow{label: label, cells: row})
}

func (x *compared) everyArm(g *grid) {
	if len(g.rows) == 1 {
		g.rows[0].label = "every arm"
	}
}

// muscleSets prints the sets of every muscle, arms that are alike together.
func (x *compared) muscleSets() {
	x.heading("Sets a week by muscle")
	x.line("A set counts 1 for the muscles it trains directly and 0.5 indirectly.")
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		g := x.weeks()
		any := false
		for a := range x.c.Arms {
			var row []string
			for k := range x.c.Arms[a].Weeks {
				n := plan.HalfSets(0)
				for _, w := range x.c.Arms[a].Weeks[k].Figures.Muscles {
					if w.Muscle == m {
						n = w.Sets
					}
				}
				any = any || n > 0
				row = append(row, n.String())
			}
			x.alike(g, x.c.Arms[a].Label, row)
		}
		if !any {
			continue
		}
		x.everyArm(g)
		x.blank()
		x.line(sentence(m.String()))
		x.grid(g)
	}
}
