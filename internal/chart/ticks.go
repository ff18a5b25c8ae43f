package chart

import (
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
)

// ticks are where an axis is marked.
type ticks []plot.Tick

// Ticks gives them.
func (t ticks) Ticks(_, _ float64) []plot.Tick { return t }

// steps marks round numbers, four to eight of them.
func steps(lo, hi float64) ticks {
	step := math.Pow(10, math.Floor(math.Log10((hi-lo)/4)))
	for _, by := range [...]float64{5, 2.5, 2} {
		if (hi-lo)/(by*step) >= 4 {
			step *= by
			break
		}
	}
	var out ticks
	for k := math.Ceil(lo / step); k*step <= hi; k++ {
		out = append(out, plot.Tick{Value: k * step, Label: grouped(k * step)})
	}
	return out
}

// grouped prints a number with its thousands apart.
func grouped(v float64) string {
	s := strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64)
	whole, part, decimals := strings.Cut(s, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if decimals {
		return whole + "." + part
	}
	return whole
}
