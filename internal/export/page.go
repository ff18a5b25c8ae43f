package export

import (
	"strings"
	"unicode/utf8"
)

// Width is the most columns a line takes.
const Width = 100

// page collects lines.
type page struct{ b strings.Builder }

// String gives the text so far.
func (p *page) String() string { return p.b.String() }

func (p *page) line(s string) {
	p.b.WriteString(strings.TrimRight(s, " "))
	p.b.WriteByte('\n')
}

func (p *page) blank() {
	if p.b.Len() > 0 {
		p.b.WriteByte('\n')
	}
}

func (p *page) heading(s string) {
	p.blank()
	p.line(strings.ToUpper(s))
}

// wrap writes a paragraph: first before its first line, rest before the others.
func (p *page) wrap(first, rest, s string) {
	lead := first
	for _, l := range fold(s, Width-max(columns(first), columns(rest))) {
		p.line(lead + l)
		lead = rest
	}
}

// item writes a paragraph of a list.
func (p *page) item(s string) { p.wrap("- ", "  ", s) }

// columns counts the columns of a text: everything printed here is one column wide.
func columns(s string) int { return utf8.RuneCountInString(s) }

// fold breaks a text into lines at spaces; a word longer than a line stays whole. A
// number stays with the unit or sign that belongs to it.
func fold(s string, width int) []string {
	var out []string
	var line strings.Builder
	n := 0
	for _, w := range chunks(s) {
		c := columns(w)
		if n > 0 && n+1+c > width {
			out = append(out, line.String())
			line.Reset()
			n = 0
		}
		if n > 0 {
			line.WriteByte(' ')
			n++
		}
		line.WriteString(w)
		n += c
	}
	return append(out, line.String())
}

// chunks splits at spaces, but not inside "4 × 8", "@ 100 kg", "RIR 2" and the like.
func chunks(s string) []string {
	var out []string
	stuck := false
	for _, w := range strings.Fields(s) {
		switch {
		case stuck, len(out) > 0 && clings(w):
			out[len(out)-1] += " " + w
		default:
			out = append(out, w)
		}
		stuck = w == "×" || w == "@" || w == "RIR" || w == "rest" || w == "–" || w == "aim"
	}
	return out
}

func clings(w string) bool {
	w = strings.TrimRight(w, ",.;:)")
	return w == "×" || w == "@" || w == "kg" || w == "lb" || w == "%" || w == "–" || w == "·"
}

// pad fills a text up to a width, on the right.
func pad(s string, width int) string {
	if n := width - columns(s); n > 0 {
		return s + strings.Repeat(" ", n)
	}
	return s
}

// Paragraph folds a text to the page's width, each line indented.
func Paragraph(indent, s string) string {
	var p page
	p.wrap(indent, indent, s)
	return p.String()
}
