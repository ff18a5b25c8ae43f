package chart

import (
	"fmt"
	"image/color"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"github.com/phasewright/phasewright/engine/trial/report"
)

// Measures of the drawing of the flow.
const (
	lineHeight = vg.Length(11.5)
	padding    = vg.Length(5)
	between    = vg.Length(20) // of rows
	margin     = vg.Length(8)
)

// box is a number of people, in lines of text.
type box struct {
	lines []string
	x, w  vg.Length // left edge and width
	arm   int       // whose colour its edge has; -1 for none
}

func (b box) height() vg.Length { return lineHeight*vg.Length(len(b.lines)) + 2*padding }

// tier is a row of boxes. The first of a tier with a side box is on the main way.
type tier struct {
	boxes []box
	side  bool // boxes[1] is of those who left
}

func (t tier) height() vg.Length {
	h := vg.Length(0)
	for _, b := range t.boxes {
		h = max(h, b.height())
	}
	return h
}

// flow draws where everyone went, as CONSORT 2010 (BMJ 340:c332) has it.
func flow(r *report.Report, title string) (string, error) {
	tiers := flowTiers(r)
	total := 2*margin + between*vg.Length(len(tiers)-1)
	for _, t := range tiers {
		total += t.height()
	}
	canvas := vgsvg.New(width, total)
	dc := draw.New(canvas)
	dc.SetColor(color.White)
	dc.Fill(dc.Rectangle.Path())
	top := total - margin
	for i, t := range tiers {
		t.draw(dc, top)
		if i+1 < len(tiers) {
			t.lead(dc, top, tiers[i+1])
		}
		top -= t.height() + between
	}
	return finished(title, canvas)
}

func flowTiers(r *report.Report) []tier {
	f := &r.Flow
	out := []tier{
		stage(fmt.Sprintf("considered: %d", f.Assessed), "not enrolled", f.Excluded),
		stage(fmt.Sprintf("enrolled: %d", f.Enrolled), "left before an arm was drawn", f.Before),
	}
	columns := len(r.Arms)
	w := (width - 2*margin - between*vg.Length(columns-1)) / vg.Length(columns)
	var given, left, seen tier
	for i, a := range f.Arms {
		x := margin + vg.Length(i)*(w+between)
		column := func(texts ...string) box { return box{wrapped(w, texts...), x, w, i} }
		dealt := fmt.Sprintf("dealt to it: %d", a.Assigned)
		if r.UnitOf != "athlete" {
			dealt += fmt.Sprintf(" of %d %s", a.Units, map[string]string{"coach": "coaches", "gym": "gyms"}[r.UnitOf])
		}
		given.boxes = append(given.boxes, column(r.Arms[i].Name, dealt))
		left.boxes = append(left.boxes, column(gone(a)...))
		seen.boxes = append(seen.boxes, column(fmt.Sprintf("measured at the end and analysed: %d", a.Analysed)))
	}
	return append(out, given, left, seen)
}

// gone lists who of an arm left or was not measured.
func gone(a report.ArmFlow) []string {
	n := 0
	for _, c := range a.Withdrawn {
		n += c.N
	}
	out := []string{fmt.Sprintf("withdrew: %d", n)}
	for _, c := range a.Withdrawn {
		out = append(out, fmt.Sprintf("– %s: %d", c.Reason, c.N))
	}
	if a.MeasuredAnyway > 0 {
		out = append(out, fmt.Sprintf("measured all the same: %d", a.MeasuredAnyway))
	}
	if a.Unmeasured > 0 {
		out = append(out, fmt.Sprintf("stayed, not measured: %d", a.Unmeasured))
	}
	return out
}

// stage is a row with everyone, and beside them those who left.
func stage(all, away string, reasons []report.Count) tier {
	const w = 0.34 * width
	t := tier{boxes: []box{{wrapped(w, all), (width - w) / 2, w, -1}}}
	if len(reasons) == 0 {
		return t
	}
	n, texts := 0, []string{""}
	for _, c := range reasons {
		n += c.N
		texts = append(texts, fmt.Sprintf("– %s: %d", c.Reason, c.N))
	}
	texts[0] = fmt.Sprintf("%s: %d", away, n)
	x := (width+w)/2 + between
	t.boxes, t.side = append(t.boxes, box{wrapped(width-x-margin, texts...), x, width - x - margin, -1}), true
	return t
}

var flowText = text.Style{Color: color.Black, Font: sans(9), XAlign: draw.XLeft, YAlign: draw.YTop, Handler: plot.DefaultTextHandler}

// wrapped breaks texts into lines that a box of a width holds.
func wrapped(w vg.Length, texts ...string) []string {
	var out []string
	for _, s := range texts {
		line := ""
		for _, word := range strings.Fields(s) {
			longer := strings.TrimSpace(line + " " + word)
			if line != "" && flowText.Width(longer) > w-3*padding {
				out, line = append(out, line), word
				continue
			}
			line = longer
		}
		out = append(out, line)
	}
	return out
}

// draw draws a row below top.
func (t tier) draw(c draw.Canvas, top vg.Length) {
	for i, b := range t.boxes {
		h := b.height()
		if !t.side {
			h = t.height()
		}
		y := top
		if t.side && i == 0 {
			y -= (t.height() - h) / 2
		}
		edge := draw.LineStyle{Color: color.Gray{Y: 120}, Width: vg.Points(0.8)}
		c.StrokeLines(edge, []vg.Point{{X: b.x, Y: y}, {X: b.x + b.w, Y: y}, {X: b.x + b.w, Y: y - h}, {X: b.x, Y: y - h}, {X: b.x, Y: y}})
		if b.arm >= 0 {
			c.FillPolygon(colours[b.arm], []vg.Point{{X: b.x, Y: y}, {X: b.x + 3, Y: y}, {X: b.x + 3, Y: y - h}, {X: b.x, Y: y - h}})
		}
		for k, l := range b.lines {
			c.FillText(flowText, vg.Point{X: b.x + 2*padding, Y: y - padding - lineHeight*vg.Length(k)}, l)
		}
	}
}

// lead draws the ways from a row to the next, and to those who left.
func (t tier) lead(c draw.Canvas, top vg.Length, next tier) {
	line := draw.LineStyle{Color: color.Gray{Y: 120}, Width: vg.Points(0.8)}
	foot := top - t.height()
	first := t.boxes[0]
	if t.side {
		centre := top - t.height()/2
		c.StrokeLine2(line, first.x+first.w, centre, t.boxes[1].x, centre)
		foot = centre - first.height()/2
	}
	to := top - t.height() - between
	if next.side {
		to -= (next.height() - next.boxes[0].height()) / 2
	}
	if next.side || len(next.boxes) == 1 {
		c.StrokeLine2(line, width/2, foot, width/2, to)
		return
	}
	if len(t.boxes) == len(next.boxes) && !t.side {
		for _, b := range t.boxes {
			c.StrokeLine2(line, b.x+b.w/2, foot, b.x+b.w/2, to)
		}
		return
	}
	fork := to + between/2
	c.StrokeLine2(line, width/2, foot, width/2, fork)
	last := next.boxes[len(next.boxes)-1]
	c.StrokeLine2(line, next.boxes[0].x+next.boxes[0].w/2, fork, last.x+last.w/2, fork)
	for _, b := range next.boxes {
		c.StrokeLine2(line, b.x+b.w/2, fork, b.x+b.w/2, to)
	}
}
