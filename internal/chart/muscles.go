package chart

import (
	"image/color"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"github.com/phasewright/phasewright/engine/plan"
)

// muscles draws the sets of every muscle, a row each: one mark with its number where all
// arms are alike, else a mark for each arm, a little below each other.
func muscles(c *plan.Comparison, title string) (*plot.Plot, error) {
	p := blank(title)
	rows, most := rowsOf(c)
	marks := make([]plotter.XYs, len(c.Arms))
	var alike plotter.XYLabels
	var names ticks
	apart := 0.7 / float64(len(c.Arms))
	for k, r := range rows {
		y := float64(len(rows) - 1 - k)
		names = append(names, plot.Tick{Value: y, Label: r.muscle.String()})
		across, err := plotter.NewLine(plotter.XYs{{X: 0, Y: y}, {X: most, Y: y}})
		if err != nil {
			return nil, err
		}
		across.LineStyle = draw.LineStyle{Color: pale, Width: vg.Points(0.5)}
		p.Add(across)
		if slices.Min(r.sets) == slices.Max(r.sets) {
			alike.XYs, alike.Labels = append(alike.XYs, plotter.XY{X: r.sets[0], Y: y}), append(alike.Labels, grouped(r.sets[0]))
			continue
		}
		for i, n := range r.sets {
			marks[i] = append(marks[i], plotter.XY{X: n, Y: y + apart*(float64(len(c.Arms)-1)/2-float64(i))})
		}
	}
	if err := together(p, alike, len(alike.XYs) == len(rows)); err != nil {
		return nil, err
	}
	for i := range c.Arms {
		if len(marks[i]) == 0 {
			continue
		}
		points, err := plotter.NewScatter(marks[i])
		if err != nil {
			return nil, err
		}
		points.GlyphStyle = draw.GlyphStyle{Color: colours[i], Radius: vg.Points(2.5), Shape: glyphs[i]}
		p.Add(points)
		p.Legend.Add(c.Arms[i].Label, points)
	}
	p.Legend.TextStyle.Font, p.Legend.Top, p.Legend.Padding = sans(9), true, 2
	p.X.Label.Text = "Sets"
	p.X.Min, p.X.Max, p.X.Tick.Marker = 0, most*1.4, steps(0, most)
	p.Y.Min, p.Y.Max, p.Y.Tick.Marker = -0.6, float64(len(rows))-0.4, names
	return p, nil
}

// together draws what all arms have alike.
func together(p *plot.Plot, alike plotter.XYLabels, all bool) error {
	if len(alike.XYs) == 0 {
		return nil
	}
	points, err := plotter.NewScatter(alike.XYs)
	if err != nil {
		return err
	}
	points.GlyphStyle = draw.GlyphStyle{Color: color.Black, Radius: vg.Points(5), Shape: upright{}}
	numbers, err := plotter.NewLabels(alike)
	if err != nil {
		return err
	}
	for i := range numbers.TextStyle {
		numbers.TextStyle[i].Font, numbers.TextStyle[i].YAlign = sans(8), draw.YCenter
	}
	numbers.Offset.X = 6
	p.Add(points, numbers)
	name := "all arms alike"
	if !all {
		name += " (with the number)"
	}
	p.Legend.Add(name, points)
	return nil
}

// row is a muscle with its sets by arm.
type row struct {
	muscle plan.Muscle
	sets   []float64
}

// rowsOf gives the muscles that any arm trains, and the most sets of one.
func rowsOf(c *plan.Comparison) ([]row, float64) {
	var out []row
	most := 1.0
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		r := row{m, make([]float64, len(c.Arms))}
		for i := range c.Arms {
			for _, w := range c.Arms[i].Total.Muscles {
				if w.Muscle == m {
					r.sets[i] = float64(w.Sets) / 2
				}
			}
		}
		if n := slices.Max(r.sets); n > 0 {
			out, most = append(out, r), max(most, n)
		}
	}
	return out, most
}

// upright is a mark that no arm has.
type upright struct{}

// DrawGlyph draws a thick line upwards.
func (upright) DrawGlyph(c *draw.Canvas, s draw.GlyphStyle, at vg.Point) {
	c.FillPolygon(s.Color, []vg.Point{
		{X: at.X - 1.2, Y: at.Y - s.Radius}, {X: at.X + 1.2, Y: at.Y - s.Radius}, {X: at.X + 1.2, Y: at.Y + s.Radius}, {X: at.X - 1.2, Y: at.Y + s.Radius},
	})
}
