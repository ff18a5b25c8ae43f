// Package chart draws comparisons and trials as SVG. Arms differ by marker and dash as well as by
// colour, and each line is named at its end; arms whose numbers are the same are one line.
// The same comparison gives the same bytes. Text stays text, in whatever sans-serif font
// the reader has; its widths are those of Liberation Sans.
package chart

import (
	"bytes"
	"fmt"
	"html"
	"image/color"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Size of a drawing with one panel, and what each further one adds.
const (
	width  = 22 * vg.Centimeter
	height = 10 * vg.Centimeter
	more   = 7 * vg.Centimeter
)

// sans is what text is measured with.
func sans(size font.Length) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: size}
}

// Colours that people with any common colour vision can tell apart, on white (Okabe and
// Ito 2008, without the yellow, which is too light for a line).
var colours = [...]color.RGBA{
	{0, 0, 0, 255}, {0, 114, 178, 255}, {213, 94, 0, 255}, {0, 158, 115, 255},
	{204, 121, 167, 255}, {86, 180, 233, 255}, {230, 159, 0, 255}, {110, 110, 110, 255},
}

var glyphs = [...]draw.GlyphDrawer{
	draw.CircleGlyph{}, draw.SquareGlyph{}, draw.TriangleGlyph{}, draw.RingGlyph{},
	draw.BoxGlyph{}, draw.PyramidGlyph{}, draw.CrossGlyph{}, draw.PlusGlyph{},
}

func dashes(i int) []vg.Length {
	return [...][]vg.Length{nil, {6, 2}, {2, 2}, {9, 2, 2, 2}, {4, 4}, {9, 3}, {1, 3}, {6, 2, 2, 2, 2, 2}}[i]
}

// pale is for lines across.
var pale = color.RGBA{222, 222, 222, 255}

// grey marks weeks that are lighter in every arm.
var grey = color.RGBA{235, 235, 235, 255}

// panel is one drawing area: a number of each arm over the weeks.
type panel struct {
	title string
	loose bool // the axis need not begin at nothing
	of    func(*plan.Figures) (float64, bool)
}

func count(n int32) (float64, bool) { return float64(n), true }

// Arms draws a comparison: hard sets, volume load, mean intensity, repetitions by zone,
// sets near failure and minutes, week by week, and sets for each muscle over all weeks. The
// fault is Internal.
func Arms(c *plan.Comparison) ([]plan.Plot, error) {
	var out []plan.Plot
	for _, d := range [...]struct {
		id, title string
		panels    []panel
	}{
		{"hard-sets", "Hard sets a week", []panel{{"", false, func(f *plan.Figures) (float64, bool) { return count(f.HardSets) }}}},
		{"volume-load", fmt.Sprintf("Volume load a week (repetitions × %s, where loads are numbers)", c.Unit), []panel{{"", false, func(f *plan.Figures) (float64, bool) {
			return float64(f.VolumeLoad.Value.Milli) / 1000, f.VolumeLoad.Set
		}}}},
		{"mean-intensity", "Mean intensity (% of the 1RM planned for the week, by repetition)", []panel{{"", true, func(f *plan.Figures) (float64, bool) {
			return float64(f.Intensity.Value) / 10, f.Intensity.Set
		}}}},
		{"repetition-zones", "Repetitions a week by zone", []panel{
			{"in sets of 1–5", false, func(f *plan.Figures) (float64, bool) { return count(f.Zones[plan.ZoneLow]) }},
			{"in sets of 6–12", false, func(f *plan.Figures) (float64, bool) { return count(f.Zones[plan.ZoneMiddle]) }},
			{"in sets of 13 and more", false, func(f *plan.Figures) (float64, bool) { return count(f.Zones[plan.ZoneHigh]) }},
		}},
		{"near-failure", fmt.Sprintf("Hard sets near failure a week (%d or fewer repetitions in reserve)", plan.NearFailureRIR), []panel{{"", false, func(f *plan.Figures) (float64, bool) { return count(f.NearFailure) }}}},
		{"minutes", "Minutes a week (upper estimate)", []panel{{"", false, func(f *plan.Figures) (float64, bool) { return float64(f.Seconds) / 60, true }}}},
	} {
		plots := make([]*plot.Plot, len(d.panels))
		for i, p := range d.panels {
			title := p.title
			if i == 0 {
				title = strings.TrimSuffix(d.title+": "+p.title, ": ")
			}
			var err error
			if plots[i], err = weekly(c, title, &d.panels[i], i == len(d.panels)-1); err != nil {
				return nil, fault.Wrap(fault.Internal, "PLOT", err)
			}
		}
		svg, err := written(d.title, height+more*font.Length(len(plots)-1), plots...)
		if err != nil {
			return nil, fault.Wrap(fault.Internal, "PLOT", err)
		}
		out = append(out, plan.Plot{ID: d.id, Title: d.title, SVG: svg})
	}
	const title = "Sets for each muscle over all weeks (direct 1, indirect 0.5)"
	muscles, err := muscles(c, title)
	if err != nil {
		return nil, fault.Wrap(fault.Internal, "PLOT", err)
	}
	svg, err := written(title, height+more, muscles)
	if err != nil {
		return nil, fault.Wrap(fault.Internal, "PLOT", err)
	}
	return append(out, plan.Plot{ID: "muscle-sets", Title: title, SVG: svg}), nil
}

// written draws panels below each other.
func written(title string, h font.Length, plots ...*plot.Plot) (string, error) {
	canvas := vgsvg.New(width, h)
	dc := draw.New(canvas)
	dc.SetColor(color.White)
	dc.Fill(dc.Rectangle.Path())
	dc = draw.Crop(dc, 6, -10, 6, -6)
	tiles := draw.Tiles{Rows: len(plots), Cols: 1, PadY: 10}
	table := make([][]*plot.Plot, len(plots))
	for i := range plots {
		table[i] = []*plot.Plot{plots[i]}
	}
	for i, row := range plot.Align(table, tiles, dc) {
		plots[i].Draw(row[0])
	}
	return finished(title, canvas)
}

// finished is a canvas as text, with a title for who can't see it.
func finished(title string, canvas *vgsvg.Canvas) (string, error) {
	var b bytes.Buffer
	if _, err := canvas.WriteTo(&b); err != nil {
		return "", err
	}
	out := strings.Replace(b.String(), "<!-- Generated by SVGo and Plotinum VG -->\n", "", 1)
	out = strings.ReplaceAll(out, "font-family:Liberation Sans;", "font-family:Liberation Sans,Arial,Helvetica,sans-serif;")
	at := strings.Index(out, "<svg")
	end := at + strings.Index(out[at:], ">") + 1
	return out[:end-1] + ` role="img"><title>` + html.EscapeString(title) + "</title>" + out[end:], nil
}

// blank is a plot with its texts in one font.
func blank(title string) *plot.Plot {
	p := plot.New()
	p.Title.Text, p.Title.TextStyle.Font, p.Title.Padding = title, sans(11), 6
	for _, a := range [...]*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font, a.Tick.Label.Font = sans(9), sans(9)
	}
	return p
}
