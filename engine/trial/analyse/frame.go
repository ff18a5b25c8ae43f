package analyse

import (
	"sort"

	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// frame is the comparison that a design asks for, over the units with an outcome that a
// condition lets through.
type frame struct {
	rows   []int // units
	in     stat.Comparison
	paired bool
	filled int // baselines that were missing and set to the mean
	noBase bool
}

// frame holds equal what the randomisation worked with: pairs and strata as groups, the
// factors of a minimisation and the covariates of a rerandomisation as covariates, and
// always the baseline. A missing baseline is set to the mean of all, which biases no
// effect as arms were drawn after it (White & Thompson 2005, Stat Med 24:993-1007, from
// memory).
func (d *Data) frame(use func(i int) bool) *frame {
	f := &frame{paired: d.Design.Scheme == assign.MatchedPairs || d.Design.Scheme == assign.SequentialPairs}
	f.in.Arms = len(d.Design.Arms)
	var sum, n float64
	for _, b := range d.Baseline {
		if b.Set {
			sum += b.Value
			n++
		}
	}
	var base []float64
	for i := range d.Units {
		if !d.Outcome[i].Set || !use(i) {
			continue
		}
		f.rows = append(f.rows, i)
		f.in.Y = append(f.in.Y, d.Outcome[i].Value)
		f.in.Arm = append(f.in.Arm, d.Assigned[i].Arm)
		switch b := d.Baseline[i]; {
		case b.Set:
			base = append(base, b.Value)
		case n > 0:
			base = append(base, sum/n)
			f.filled++
		default:
			base = append(base, 0)
		}
	}
	f.noBase = n == 0
	if !f.noBase {
		f.in.Covariates = append(f.in.Covariates, base)
	}
	d.hold(f)
	return f
}

func (d *Data) hold(f *frame) {
	switch d.Design.Scheme {
	case assign.MatchedPairs, assign.SequentialPairs:
		for _, i := range f.rows {
			g := d.Assigned[i].Pair
			if g == 0 {
				g = -1 - i // alone
			}
			f.in.Group = append(f.in.Group, g)
		}
	case assign.PermutedBlocks:
		number := map[string]int{}
		for _, i := range f.rows {
			s := d.Assigned[i].Stratum
			if _, in := number[s]; !in {
				number[s] = len(number)
			}
			f.in.Group = append(f.in.Group, number[s])
		}
	case assign.Minimisation:
		for k := range d.Design.Factors {
			f.in.Covariates = append(f.in.Covariates, d.dummies(f, k)...)
		}
	case assign.Rerandomisation:
		for k := range d.Design.Covariates {
			var x []float64
			for _, i := range f.rows {
				x = append(x, float64(d.Units[i].Covariates[k]))
			}
			f.in.Covariates = append(f.in.Covariates, x)
		}
	}
}

// dummies are the columns of a factor, its first level left out.
func (d *Data) dummies(f *frame, k int) [][]float64 {
	seen := map[string]bool{}
	for _, i := range f.rows {
		seen[d.Units[i].Levels[k]] = true
	}
	var levels []string
	for l := range seen {
		levels = append(levels, l)
	}
	sort.Strings(levels)
	var out [][]float64
	for _, l := range levels[min(1, len(levels)):] {
		x := make([]float64, len(f.rows))
		for r, i := range f.rows {
			if d.Units[i].Levels[k] == l {
				x[r] = 1
			}
		}
		out = append(out, x)
	}
	return out
}

// twoArms keeps arm 0 and arm a, as 0 and 1.
func (f *frame) twoArms(a int) *frame {
	out := &frame{paired: f.paired, filled: f.filled, noBase: f.noBase}
	out.in.Arms = 2
	out.in.Covariates = make([][]float64, len(f.in.Covariates))
	for r, arm := range f.in.Arm {
		if arm != 0 && arm != a {
			continue
		}
		out.rows = append(out.rows, f.rows[r])
		out.in.Y = append(out.in.Y, f.in.Y[r])
		out.in.Arm = append(out.in.Arm, min(1, arm))
		for c := range f.in.Covariates {
			out.in.Covariates[c] = append(out.in.Covariates[c], f.in.Covariates[c][r])
		}
		if len(f.in.Group) > 0 {
			out.in.Group = append(out.in.Group, f.in.Group[r])
		}
	}
	return out
}

// arm gives the outcomes of one arm.
func (f *frame) arm(a int) []float64 {
	var out []float64
	for r, arm := range f.in.Arm {
		if arm == a {
			out = append(out, f.in.Y[r])
		}
	}
	return out
}

// pairs gives the outcomes of complete pairs, arm 0 and arm 1.
func (f *frame) pairs() (x, y []float64) {
	first := map[int]int{}
	for r, g := range f.in.Group {
		s, in := first[g]
		if !in {
			first[g] = r
			continue
		}
		a, b := s, r
		if f.in.Arm[a] > f.in.Arm[b] {
			a, b = b, a
		}
		x, y = append(x, f.in.Y[a]), append(y, f.in.Y[b])
	}
	return x, y
}
