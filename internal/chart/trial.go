package chart

import (
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/report"
)

// solid are marks of arms that stand on a line: filled, up to the most arms of a trial.
var solid = [...]draw.GlyphDrawer{draw.CircleGlyph{}, draw.BoxGlyph{}, draw.PyramidGlyph{}, draw.CrossGlyph{}, draw.PlusGlyph{}, draw.RingGlyph{}}

// Trial draws what a trial shows: where everyone went, and for each outcome the
// differences against the smallest that matters and each athlete's way from start to end.
// A drawing without anything to draw is left out. The fault is Internal.
func Trial(r *report.Report) ([]plan.Plot, error) {
	out := []plan.Plot{{ID: report.PlotFlow, Title: "Where everyone went"}}
	var err error
	if out[0].SVG, err = flow(r, out[0].Title); err != nil {
		return nil, fault.Wrap(fault.Internal, "PLOT", err)
	}
	for i := range r.Outcomes {
		o := &r.Outcomes[i]
		for _, d := range [...]struct {
			id, title string
			draw      func(*report.Report, *report.Result, string) (string, error)
		}{
			{report.PlotEffect + o.ID, "Difference in " + o.Name + ", " + o.Unit, effect},
			{report.PlotChanges + o.ID, "From start to end: " + o.Name + ", " + o.Unit, changes},
		} {
			svg, err := d.draw(r, o, d.title)
			if err != nil {
				return nil, fault.Wrap(fault.Internal, "PLOT", err)
			}
			if svg != "" {
				out = append(out, plan.Plot{ID: d.id, Title: d.title, SVG: svg})
			}
		}
	}
	return out, nil
}

// interval is a row of the drawing of differences.
type interval struct {
	name             string
	value, low, high float64
	main             bool
	arm              int
}

// intervals are the main answer and the other ways of counting; with several arms the
// main answers alone.
func intervals(r *report.Report, o *report.Result) []interval {
	var out []interval
	for i := range o.Answers {
		a := &o.Answers[i]
		if a.Primary == nil {
			continue
		}
		add := func(name string, e *report.Estimate, main bool) {
			if e != nil {
				out = append(out, interval{name, e.Value, e.Low, e.High, main, a.Arm})
			}
		}
		if len(o.Answers) > 1 {
			add(r.Arms[a.Arm].Name+" less "+r.Arms[a.Against].Name, a.Primary, true)
			continue
		}
		add("all as dealt, same start", a.Primary, true)
		if n := len(r.Looks); n > 0 && o.Main {
			l := r.Looks[n-1]
			out = append(out, interval{"the same, for all looks together", l.Estimate.Value, l.Low, l.High, false, a.Arm})
		}
		add("with those whose partner is missing", a.Singles, false)
		add("those who kept to the protocol", a.Kept, false)
		add("ends alone, whatever the start", a.Simple, false)
	}
	return out
}

// effect draws differences with their intervals, and the smallest that matters as a band.
func effect(r *report.Report, o *report.Result, title string) (string, error) {
	rows := intervals(r, o)
	if len(rows) == 0 {
		return "", nil
	}
	p := blank(title)
	lo, hi := -1.6*o.Smallest, 1.6*o.Smallest
	for _, x := range rows {
		lo, hi = min(lo, x.low), max(hi, x.high)
	}
	room := 0.05 * (hi - lo)
	lo, hi = lo-room, hi+room
	p.Add(unimportant{o.Smallest})
	var names ticks
	for k, x := range rows {
		y := float64(len(rows) - 1 - k)
		names = append(names, plot.Tick{Value: y, Label: x.name})
		p.Add(whisker{x, y, o.Unit})
	}
	p.Y.Tick.Marker, p.Y.Min, p.Y.Max = names, -0.7, float64(len(rows))-0.3
	p.X.Tick.Marker, p.X.Min = steps(lo, hi), lo
	p.X.Max = hi + 0.3*(hi-lo) // for the numbers
	p.X.Label.Text, p.X.Label.Padding = sides(r, o), 4
	return written(title, vg.Centimeter*(3.6+0.85*font.Length(len(rows))), p)
}

// sides says which way is which.
func sides(r *report.Report, o *report.Result) string {
	if len(o.Answers) > 1 {
		return fmt.Sprintf("%s: below 0 lower, above 0 higher than with %s. Grey: too small to matter.", o.Unit, r.Arms[0].Name)
	}
	return fmt.Sprintf("%s: below 0 lower, above 0 higher with %s than with %s. Grey: too small to matter.", o.Unit, r.Arms[1].Name, r.Arms[0].Name)
}

// unimportant is the band of differences below the smallest of interest, with 0 in it.
type unimportant struct{ smallest float64 }

// Plot draws it.
func (u unimportant) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	left, right, foot, top := x(max(p.X.Min, -u.smallest)), x(u.smallest), y(p.Y.Min), y(p.Y.Max)
	c.FillPolygon(grey, []vg.Point{{X: left, Y: foot}, {X: right, Y: foot}, {X: right, Y: top}, {X: left, Y: top}})
	c.StrokeLine2(draw.LineStyle{Color: color.Black, Width: vg.Points(0.7)}, x(0), foot, x(0), top)
	for _, at := range [...]vg.Length{left, right} {
		c.StrokeLine2(draw.LineStyle{Color: color.Gray{Y: 150}, Width: vg.Points(0.7), Dashes: dashes(1)}, at, foot, at, top)
	}
}

// whisker is one difference with its interval and its numbers.
type whisker struct {
	interval
	y    float64
	unit string
}

// Plot draws it.
func (w whisker) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	style := draw.LineStyle{Color: color.Gray{Y: 90}, Width: vg.Points(1)}
	glyph := draw.GlyphStyle{Color: color.Gray{Y: 90}, Radius: vg.Points(2.5), Shape: draw.RingGlyph{}}
	if w.main {
		style = draw.LineStyle{Color: colours[w.arm], Width: vg.Points(2.4)}
		glyph = draw.GlyphStyle{Color: colours[w.arm], Radius: vg.Points(4.5), Shape: solid[w.arm]}
	}
	at := y(w.y)
	c.StrokeLine2(style, x(w.low), at, x(w.high), at)
	for _, end := range [...]float64{w.low, w.high} {
		c.StrokeLine2(style, x(end), at-3, x(end), at+3)
	}
	c.DrawGlyph(glyph, vg.Point{X: x(w.value), Y: at})
	text := p.Y.Tick.Label
	text.Font = sans(8.5)
	c.FillText(text, vg.Point{X: x(p.X.Max), Y: at}, fmt.Sprintf("%s (%s to %s)", short(w.value), short(w.low), short(w.high)))
}

// short shows a number with its sign and three significant digits, at most two decimals.
func short(v float64) string {
	decimals := 2
	for limit := 10.0; decimals > 0 && math.Abs(v) >= limit; limit *= 10 {
		decimals--
	}
	s := fmt.Sprintf("%+.*f", decimals, v)
	if s == "-0.00" {
		return "+0.00"
	}
	return s
}

// changes draws a line for each athlete, arm beside arm on one scale, and the means of
// those lines.
func changes(r *report.Report, o *report.Result, title string) (string, error) {
	if len(o.Changes) == 0 {
		return "", nil
	}
	p := blank(title)
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range o.Changes {
		lo, hi = min(lo, x.Baseline, x.End), max(hi, x.Baseline, x.End)
	}
	lo, hi = scale(lo, hi, true)
	if lo >= hi {
		lo, hi = lo-1, hi+1
	}
	head := 0.09 * (hi - lo)
	var marks ticks
	for k := range r.Arms {
		at := 1.7 * float64(k)
		marks = append(marks, plot.Tick{Value: at, Label: "start"}, plot.Tick{Value: at + 1, Label: "end"})
		lines, err := ways(r, o, k, at, hi+head/3)
		if err != nil {
			return "", err
		}
		p.Add(lines...)
	}
	last := 1.7*float64(len(r.Arms)-1) + 1
	p.X.Min, p.X.Max, p.X.Tick.Marker = -0.3, last+0.3, marks
	if o.Detectable != nil {
		p.Add(noise{at: last + 0.42, from: lo + head, size: *o.Detectable})
		p.X.Max = last + 0.42 + 0.22*(last+0.72) // a share of the width, for the words
	}
	p.Y.Min, p.Y.Max, p.Y.Tick.Marker, p.Y.Label.Text = lo, hi+head, steps(lo, hi), o.Unit
	p.X.Label.Text = "Thin: one athlete each. Thick: the mean of these. One change is training, time and error of measurement in one."
	p.X.Label.Padding = 4
	return written(title, height+vg.Centimeter, p)
}

// ways are the lines of an arm, from at to at+1, its name above.
func ways(r *report.Report, o *report.Result, arm int, at, top float64) ([]plot.Plotter, error) {
	var out []plot.Plotter
	var from, to, n float64
	for _, x := range o.Changes {
		if x.Arm != arm {
			continue
		}
		l, err := plotter.NewLine(plotter.XYs{{X: at, Y: x.Baseline}, {X: at + 1, Y: x.End}})
		if err != nil {
			return nil, err
		}
		faint := colours[arm]
		l.LineStyle = draw.LineStyle{Color: lighterThan(faint), Width: vg.Points(0.7)}
		out = append(out, l)
		from, to, n = from+x.Baseline, to+x.End, n+1
	}
	name := fmt.Sprintf("%s (nobody measured twice)", r.Arms[arm].Name)
	if n > 0 {
		name = fmt.Sprintf("%s (%.0f)", r.Arms[arm].Name, n)
		l, points, err := plotter.NewLinePoints(plotter.XYs{{X: at, Y: from / n}, {X: at + 1, Y: to / n}})
		if err != nil {
			return nil, err
		}
		l.LineStyle = draw.LineStyle{Color: colours[arm], Width: vg.Points(2.6), Dashes: dashes(arm)}
		points.GlyphStyle = draw.GlyphStyle{Color: colours[arm], Radius: vg.Points(4.5), Shape: solid[arm]}
		out = append(out, l, points)
	}
	label, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{{X: at + 0.5, Y: top}}, Labels: []string{name}})
	if err != nil {
		return nil, err
	}
	label.TextStyle[0].Font, label.TextStyle[0].XAlign, label.TextStyle[0].YAlign = sans(9), draw.XCenter, draw.YCenter
	return append(out, label), nil
}

// lighterThan is a colour halfway to white.
func lighterThan(c color.RGBA) color.RGBA {
	half := func(x uint8) uint8 { return uint8((int(x) + 255) / 2) }
	return color.RGBA{half(c.R), half(c.G), half(c.B), 255}
}

// noise is a bar as high as the change of one athlete that error of measurement alone
// rarely makes.
type noise struct{ at, from, size float64 }

// Plot draws it.
func (n noise) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	line := draw.LineStyle{Color: color.Black, Width: vg.Points(1)}
	at, foot, top := x(n.at), y(n.from), y(n.from+n.size)
	c.StrokeLine2(line, at, foot, at, top)
	for _, end := range [...]vg.Length{foot, top} {
		c.StrokeLine2(line, at-3, end, at+3, end)
	}
	text := p.X.Tick.Label
	text.Font, text.XAlign, text.YAlign = sans(8), draw.XLeft, draw.YTop
	for i, s := range [...]string{"error of measurement", "alone rarely makes", "a larger change"} {
		c.FillText(text, vg.Point{X: at + 7, Y: top - vg.Length(10*i)}, s)
	}
}
