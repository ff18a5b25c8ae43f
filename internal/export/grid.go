package export

import (
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// grid is a table of short cells: labels on the left, weeks or sessions across. Columns
// that follow each other with the same cells become one; it breaks into blocks where it
// is wider than the page.
type grid struct {
	columns []column
	rows    []gridRow
}

// column is the head of a column: its weeks, its first day, and what is special.
type column struct {
	from, to int32
	day      string
	marks    []string // as many in every column
}

type gridRow struct {
	label    string
	cells    []string
	optional bool // left out of blocks where every cell is empty
}

// mostLabel is the width from which labels fold.
const mostLabel = 30

// row adds a row unless every cell is empty.
func (g *grid) row(label string, weeks []*plan.Week, cell func(*plan.Week) string) {
	cells := make([]string, len(weeks))
	for i, w := range weeks {
		cells[i] = cell(w)
	}
	g.add(label, cells)
}

func (g *grid) add(label string, cells []string) {
	if said(cells) {
		g.rows = append(g.rows, gridRow{label, cells, strings.HasPrefix(label, " ")})
	}
}

// merged joins columns that follow each other with the same cells and marks.
func (g *grid) merged() *grid {
	out := &grid{}
	for _, r := range g.rows {
		out.rows = append(out.rows, gridRow{label: r.label, optional: r.optional})
	}
	for c, col := range g.columns {
		last := len(out.columns) - 1
		same := last >= 0 && col.from <= out.columns[last].to+1 && slices.Equal(out.columns[last].marks, col.marks)
		for r := range g.rows {
			same = same && out.rows[r].cells[last] == g.rows[r].cells[c]
		}
		if same {
			out.columns[last].to = col.to
			if d := out.columns[last].day; d != "" && !strings.HasSuffix(d, "…") {
				out.columns[last].day += "…"
			}
			continue
		}
		out.columns = append(out.columns, col)
		for r := range g.rows {
			out.rows[r].cells = append(out.rows[r].cells, g.rows[r].cells[c])
		}
	}
	return out
}

// headers gives the header rows that say anything.
func (g *grid) headers() []gridRow {
	weeks, days := make([]string, len(g.columns)), make([]string, len(g.columns))
	for i, c := range g.columns {
		weeks[i], days[i] = "wk "+span(plan.Range{Min: c.from, Max: c.to}), c.day
	}
	out := []gridRow{{cells: weeks}}
	if said(days) {
		out = append(out, gridRow{cells: days, optional: true})
	}
	for m := range g.columns[0].marks {
		cells := make([]string, len(g.columns))
		for i := range g.columns {
			cells[i] = g.columns[i].marks[m]
		}
		if said(cells) {
			out = append(out, gridRow{cells: cells, optional: true})
		}
	}
	return out
}

func (t *text) grid(g *grid) {
	if len(g.columns) == 0 {
		return
	}
	g = g.merged()
	all := append(g.headers(), g.rows...)
	left, width := 0, 0
	for _, r := range all {
		left = max(left, min(columns(r.label), mostLabel))
		for _, c := range r.cells {
			width = max(width, columns(c))
		}
	}
	most := max(1, (Width-left)/(width+2))
	blocks := (len(g.columns) + most - 1) / most
	per := (len(g.columns) + blocks - 1) / blocks
	for from := 0; from < len(g.columns); from += per {
		if from > 0 {
			t.blank()
		}
		to := min(from+per, len(g.columns))
		for _, r := range all {
			if cells := r.cells[from:to]; !r.optional || said(cells) {
				t.gridRow(r.label, cells, left, width)
			}
		}
	}
}

func (t *text) gridRow(label string, cells []string, left, width int) {
	lines := []string{label}
	if columns(label) > mostLabel {
		indent := label[:len(label)-len(strings.TrimLeft(label, " "))]
		lines = fold(label, mostLabel-len(indent))
		for i := range lines {
			lines[i] = indent + lines[i]
		}
	}
	var b strings.Builder
	b.WriteString(pad(lines[0], left))
	for _, c := range cells {
		b.WriteString("  " + pad(c, width))
	}
	t.line(b.String())
	for _, l := range lines[1:] {
		t.line("  " + l)
	}
}
