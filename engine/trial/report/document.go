package report

import (
	"html"
	"strings"
	"unicode/utf8"

	"github.com/phasewright/phasewright/engine/plan"
)

// block is a part of a text that can be written as Markdown and as HTML. All text in
// blocks is plain: writing escapes it.
type block interface {
	markdown(w *strings.Builder)
	html(w *strings.Builder)
}

type (
	heading struct {
		level int
		text  string
	}
	para   string
	strong string
	list   []string
	table  struct {
		head []string
		rows [][]string
	}
	figure struct{ plot plan.Plot }
	// rule ends the page that a coach reads.
	rule struct{}
)

// marks are what Markdown would read as more than text.
var marks = strings.NewReplacer(`\`, `\\`, `*`, `\*`, `|`, `\|`, "`", "\\`", `[`, `\[`, `<`, `\<`, "\n", " ", "\r", "")

func (b heading) markdown(w *strings.Builder) {
	w.WriteString(strings.Repeat("#", b.level) + " " + marks.Replace(b.text) + "\n\n")
}

func (b heading) html(w *strings.Builder) {
	tag := "h" + string(rune('0'+b.level))
	w.WriteString("<" + tag + ">" + html.EscapeString(b.text) + "</" + tag + ">\n")
}

func (b para) markdown(w *strings.Builder) { w.WriteString(marks.Replace(string(b)) + "\n\n") }
func (b para) html(w *strings.Builder) {
	w.WriteString("<p>" + html.EscapeString(string(b)) + "</p>\n")
}

func (b strong) markdown(w *strings.Builder) {
	w.WriteString("**" + marks.Replace(string(b)) + "**\n\n")
}

func (b strong) html(w *strings.Builder) {
	w.WriteString("<p><strong>" + html.EscapeString(string(b)) + "</strong></p>\n")
}

func (b list) markdown(w *strings.Builder) {
	for _, x := range b {
		w.WriteString("- " + marks.Replace(x) + "\n")
	}
	w.WriteString("\n")
}

func (b list) html(w *strings.Builder) {
	w.WriteString("<ul>\n")
	for _, x := range b {
		w.WriteString("<li>" + html.EscapeString(x) + "</li>\n")
	}
	w.WriteString("</ul>\n")
}

// markdown writes columns that line up, so that a terminal shows a table too.
func (b table) markdown(w *strings.Builder) {
	lines := [][]string{escaped(b.head), make([]string, len(b.head))}
	for _, r := range b.rows {
		lines = append(lines, escaped(r))
	}
	widths := make([]int, len(b.head))
	for _, l := range lines {
		for i, x := range l {
			widths[i] = max(widths[i], 3, utf8.RuneCountInString(x))
		}
	}
	for i := range b.head {
		lines[1][i] = strings.Repeat("-", widths[i])
	}
	for _, l := range lines {
		for i, x := range l {
			w.WriteString("| " + x + strings.Repeat(" ", widths[i]-utf8.RuneCountInString(x)) + " ")
		}
		w.WriteString("|\n")
	}
	w.WriteString("\n")
}

func escaped(cells []string) []string {
	out := make([]string, len(cells))
	for i, x := range cells {
		out[i] = marks.Replace(x)
	}
	return out
}

func (b table) html(w *strings.Builder) {
	row := func(tag string, cells []string) {
		w.WriteString("<tr>")
		for _, x := range cells {
			w.WriteString("<" + tag + ">" + html.EscapeString(x) + "</" + tag + ">")
		}
		w.WriteString("</tr>\n")
	}
	w.WriteString("<table>\n")
	row("th", b.head)
	for _, r := range b.rows {
		row("td", r)
	}
	w.WriteString("</table>\n")
}

func (b figure) markdown(w *strings.Builder) {
	w.WriteString("![" + marks.Replace(b.plot.Title) + "](" + b.plot.ID + ".svg)\n\n")
}

// html holds the drawing itself, without the line that says it is XML.
func (b figure) html(w *strings.Builder) {
	svg := b.plot.SVG
	if i := strings.Index(svg, "<svg"); i > 0 {
		svg = svg[i:]
	}
	w.WriteString("<figure>" + strings.TrimSpace(svg) + "</figure>\n")
}

func (rule) markdown(w *strings.Builder) { w.WriteString("---\n\n") }
func (rule) html(w *strings.Builder)     { w.WriteString("<hr>\n") }

const style = `body{font:15px/1.45 "Liberation Sans",Arial,Helvetica,sans-serif;color:#000;background:#fff;max-width:52em;margin:1.5em auto;padding:0 1em}
h1{font-size:1.5em;margin:.2em 0}h2{font-size:1.12em;margin:1em 0 .3em}h3{font-size:1em;margin:1em 0 .3em}
p{margin:.4em 0}ul{margin:.3em 0;padding-left:1.3em}li{margin:.15em 0}
table{border-collapse:collapse;margin:.5em 0 1em;font-size:.87em}th,td{text-align:left;vertical-align:top;padding:.22em .8em .22em 0;border-bottom:1px solid #ddd;overflow-wrap:anywhere}
figure{margin:.6em 0}svg{display:block;max-width:100%;height:auto}hr{border:0;border-top:1px solid #999;margin:2em 0}
@page{margin:13mm 15mm}
@media print{body{font-size:9pt;line-height:1.27;margin:0;padding:0;max-width:none}h1{margin:0}h2{margin:.6em 0 .2em}li{margin:.05em 0}
hr{break-after:page;border:0;margin:0}figure,tr{break-inside:avoid}figure{margin:.3em 0}figure svg{width:72%}h2,h3{break-after:avoid}}`

func writeMarkdown(blocks []block) string {
	var w strings.Builder
	for _, b := range blocks {
		b.markdown(&w)
	}
	return strings.TrimRight(w.String(), "\n") + "\n"
}

func writeHTML(title string, blocks []block) string {
	var w strings.Builder
	w.WriteString("<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width\">\n<title>" +
		html.EscapeString(title) + "</title>\n<style>\n" + style + "\n</style>\n</head>\n<body>\n")
	for _, b := range blocks {
		b.html(&w)
	}
	w.WriteString("</body>\n</html>\n")
	return w.String()
}
