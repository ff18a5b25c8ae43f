package chart

import (
	"image/color"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"github.com/phasewright/phasewright/engine/plan"
)

// line is the numbers of one arm, or of several with the same.
type line struct {
	style  int // the first arm's
	labels []string
	xys    plotter.XYs
}

// lines puts arms with the same numbers together.
func lines(c *plan.Comparison, of func(*plan.Figures) (float64, bool)) []line {
	var out []line
	for i := range c.Arms {
		l := line{style: i, labels: []string{c.Arms[i].Label}}
		for k := range c.Arms[i].Weeks {
			w := &c.Arms[i].Weeks[k]
			if y, ok := of(&w.Figures); ok {
				l.xys = append(l.xys, plotter.XY{X: float64(w.Number), Y: y})
			}
		}
		if at := slices.IndexFunc(out, func(o line) bool { return slices.Equal(o.xys, l.xys) }); at >= 0 {
			out[at].labels = append(out[at].labels, l.labels...)
			continue
		}
		out = append(out, l)
	}
	return out
}

// weekly draws a number of all arms over the weeks.
func weekly(c *plan.Comparison, title string, d *panel, last bool) (*plot.Plot, error) {
	p := blank(title)
	weeks := len(c.Arms[0].Weeks)
	lighter(p, c)
	var ends []end
	lo, hi := math.Inf(1), 0.0
	all := lines(c, d.of)
	for _, l := range all {
		for _, xy := range l.xys {
			lo, hi = min(lo, xy.Y), max(hi, xy.Y)
		}
	}
	lo, hi = scale(lo, hi, d.loose)
	marks := steps(lo, hi)
	across := plotter.NewGrid()
	across.Vertical.Color = nil
	across.Horizontal = draw.LineStyle{Color: pale, Width: vg.Points(0.5)}
	p.Add(across)
	for _, l := range all {
		if len(l.xys) == 0 {
			continue
		}
		style := draw.LineStyle{Color: colours[l.style], Width: vg.Points(1.2), Dashes: dashes(l.style)}
		ln, points, err := plotter.NewLinePoints(l.xys)
		if err != nil {
			return nil, err
		}
		ln.LineStyle = style
		points.GlyphStyle = draw.GlyphStyle{Color: colours[l.style], Radius: vg.Points(3), Shape: glyphs[l.style]}
		p.Add(ln, points)
		name := strings.Join(l.labels, ", ")
		if len(l.labels) == len(c.Arms) {
			name = "all arms alike"
		}
		ends = append(ends, end{name: name, style: l.style, y: l.xys[len(l.xys)-1].Y})
	}
	names, err := named(ends, float64(weeks), lo, hi)
	if err != nil {
		return nil, err
	}
	p.Add(names...)
	if last {
		p.X.Label.Text = "Week"
	}
	aside := (letter*float64(longest(ends)) + 30) / float64(width)
	p.X.Min, p.X.Max = 0.5, 0.5+float64(weeks)/(1-min(aside, 0.6))
	p.X.Tick.Marker = weekTicks(weeks)
	p.Y.Min, p.Y.Max, p.Y.Tick.Marker = lo, hi, marks
	return p, nil
}

// letter is the width of a letter of a name, on average, in points.
const letter = 4.6

// scale begins at nothing, where it may somewhat below the least.
func scale(lo, hi float64, loose bool) (float64, float64) {
	switch {
	case hi <= 0 || math.IsInf(lo, 1):
		return 0, 1
	case !loose:
		return 0, hi * 1.08
	}
	room := max(0.15*(hi-lo), 0.02*hi)
	return lo - room, hi + room
}

// end is where a line ends and what it is called.
type end struct {
	name  string
	style int
	y     float64
}

func longest(ends []end) int {
	n := 8
	for _, e := range ends {
		n = max(n, len([]rune(e.name)))
	}
	return n
}

// named writes the names at the lines' ends, apart from each other, with a thin line to
// where each belongs.
func named(ends []end, last, lo, hi float64) ([]plot.Plotter, error) {
	slices.SortStableFunc(ends, func(a, b end) int {
		switch {
		case a.y < b.y:
			return -1
		case a.y > b.y:
			return 1
		}
		return 0
	})
	gap := (hi - lo) * 0.075
	at := make([]float64, len(ends))
	for i, e := range ends {
		at[i] = e.y
		if i > 0 {
			at[i] = max(at[i], at[i-1]+gap)
		}
	}
	if n := len(at); n > 0 && at[n-1] > hi-gap/3 {
		at[n-1] = hi - gap/3
		for i := n - 2; i >= 0; i-- {
			at[i] = min(at[i], at[i+1]-gap)
		}
	}
	var out []plot.Plotter
	from, to := last+0.012*last+0.1, last*1.03+0.25
	for i, e := range ends {
		lead, err := plotter.NewLine(plotter.XYs{{X: from, Y: e.y}, {X: to, Y: at[i]}})
		if err != nil {
			return nil, err
		}
		lead.LineStyle = draw.LineStyle{Color: colours[e.style], Width: vg.Points(0.6)}
		name, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{{X: to, Y: at[i]}}, Labels: []string{e.name}})
		if err != nil {
			return nil, err
		}
		name.TextStyle[0].Font, name.TextStyle[0].Color, name.TextStyle[0].YAlign = sans(9), color.Black, draw.YCenter
		name.Offset.X = 3
		out = append(out, lead, name)
	}
	return out, nil
}

// weekTicks writes every week, or every second or fourth of many.
type weekTicks int

func (n weekTicks) Ticks(_, _ float64) []plot.Tick {
	step := 1
	switch {
	case n > 36:
		step = 4
	case n > 18:
		step = 2
	}
	var out []plot.Tick
	for w := 1; w <= int(n); w++ {
		t := plot.Tick{Value: float64(w)}
		if w%step == 0 || step > 1 && w == 1 {
			t.Label = strconv.Itoa(w)
		}
		out = append(out, t)
	}
	return out
}

// lighter shades the weeks that are no training weeks in any arm.
func lighter(p *plot.Plot, c *plan.Comparison) {
	for k := range c.Arms[0].Weeks {
		all := true
		for i := range c.Arms {
			all = all && k < len(c.Arms[i].Weeks) && c.Arms[i].Weeks[k].Kind != plan.WeekTraining
		}
		if all {
			p.Add(band{float64(c.Arms[0].Weeks[k].Number), c.Arms[0].Weeks[k].Kind.String()})
		}
	}
}

// band is a shaded week with its kind written at the foot.
type band struct {
	week float64
	kind string
}

// Plot draws it.
func (b band) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	c.FillPolygon(grey, []vg.Point{{X: x(b.week - 0.4), Y: y(p.Y.Min)}, {X: x(b.week + 0.4), Y: y(p.Y.Min)}, {X: x(b.week + 0.4), Y: y(p.Y.Max)}, {X: x(b.week - 0.4), Y: y(p.Y.Max)}})
	style := p.X.Tick.Label
	style.Font, style.XAlign, style.YAlign = sans(7), draw.XCenter, draw.YBottom
	c.FillText(style, vg.Point{X: x(b.week), Y: y(p.Y.Min) + 2}, b.kind)
}
