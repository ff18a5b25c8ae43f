package schedule

import (
	"math"
	"slices"
)

// Grids of the cuts: of the multipliers of rows, and of the coefficients that result.
const (
	ratioBits = 24
	cutBits   = 12
	steepest  = 1 << 46 // multiple that is still counted, of what need not be whole
)

// longCut is how many columns a cut of a program with columns that need not be whole may
// have: long ones make every pivot dear.
const longCut = 100

// cut derives a Gomory mixed-integer cut from the basic variable in row k of the basis.
// Columns are whole but for those that need not be, and so, with whole coefficients, are
// the activities of rows without such a column. For any whole multipliers m of the rows,
// sum of m(i) (A x - activity)(i) = 0 holds; with each variable counted from one end of
// its box, t >= 0, that is
//
//	sum of g t = b, all over 2^24, and so   sum of h t >= 1
//
// with h = f/f0 where the fraction f of g is at most that of b, f0, else (1-f)/(1-f0); of
// what need not be whole, g/f0 where g is positive and -g/(1-f0) where it is not (Gomory
// 1960, An algorithm for the mixed integer problem, RAND RM-2597). Rounding h up keeps it
// true, as does a smaller right side by what a left out term may be at most. So the
// multipliers, taken from the inverse, may be as inexact as they are: the cut is valid, only
// weaker. rlo and rup are limits of rows that always hold.
func (s *simplex) cut(k int) (row []entry, least int64, ok bool) {
	const Q = 1 << ratioBits
	l := s.l
	mult := make([]int64, s.m)
	for i, r := range s.inverse[k][:s.m] {
		r = float64(float64(r*s.scale[i]) * Q)
		if math.Abs(r) > 1<<44 {
			return nil, 0, false
		}
		mult[i] = -int64(math.Round(r))
	}
	g := make([]int64, s.n)
	size := 0.0
	for i, m := range mult {
		if m == 0 {
			continue
		}
		for _, e := range l.rows[i] {
			g[e.at] += m * e.by
			size += float64(math.Abs(float64(m)) * math.Abs(float64(e.by)))
		}
	}
	if size > 1<<58 {
		return nil, 0, false
	}
	b := int64(0)
	atUp := make([]bool, s.n)
	for j := range g {
		v := s.most + j
		atUp[j] = s.where[v] < 0 && s.x[v] == s.up[v] && s.up[v] != s.lo[v]
		if atUp[j] {
			b -= g[j] * l.up[j]
			g[j] = -g[j]
		} else {
			b -= g[j] * l.lo[j]
		}
	}
	rowUp := make([]bool, s.m)
	for i, m := range mult {
		if m == 0 {
			continue
		}
		rowUp[i] = l.rlo[i] == -endless || s.where[i] < 0 && s.x[i] == s.up[i] && l.rup[i] != endless
		end := l.rlo[i]
		if rowUp[i] {
			end = l.rup[i]
		} else {
			mult[i] = -m
		}
		if end == endless {
			return nil, 0, false
		}
		b += m * end
		// mult now holds g of the activity.
	}
	f0 := b & (Q - 1)
	if f0 < Q/50 || f0 > Q-Q/50 {
		return nil, 0, false
	}
	const R = 1 << cutBits
	// h is num/den in units of 1/R, rounded up.
	up := func(g int64, part bool) (num, den int64) {
		f := g & (Q - 1)
		switch {
		case part && g < 0:
			return -g, Q - f0
		case part:
			return g, f0
		case f <= f0:
			return f, f0
		}
		return Q - f, Q - f0
	}
	least, size = R, 0
	out := make([]int64, s.n)
	for j := range g {
		if g[j] == 0 || l.lo[j] == l.up[j] {
			continue
		}
		num, den := up(g[j], s.part != nil && s.part[j])
		if num > steepest {
			return nil, 0, false
		}
		h := ceilDiv(num*R, den)
		if h == 0 {
			continue
		}
		size += float64(float64(h) * math.Max(math.Abs(float64(l.lo[j])), math.Abs(float64(l.up[j]))))
		if w := l.up[j] - l.lo[j]; h*w <= R/256 {
			least -= h * w
			continue
		}
		if atUp[j] {
			out[j] -= h
			least -= h * l.up[j]
		} else {
			out[j] += h
			least += h * l.lo[j]
		}
	}
	for i := range mult {
		if mult[i] == 0 {
			continue
		}
		num, den := up(mult[i], s.mixed(l.rows[i]))
		if num > steepest {
			return nil, 0, false
		}
		h := ceilDiv(num*R, den)
		if h == 0 {
			continue
		}
		if l.rlo[i] != -endless && l.rup[i] != endless {
			if w := l.rup[i] - l.rlo[i]; h*w <= R/256 {
				least -= h * w
				continue
			}
		}
		sign, end := h, l.rlo[i]
		if rowUp[i] {
			sign, end = -h, l.rup[i]
		}
		least += sign * end
		size += float64(float64(h) * math.Max(math.Abs(float64(end)), float64(l.large)))
		for _, e := range l.rows[i] {
			out[e.at] += sign * e.by
		}
	}
	if size > 1<<58 {
		return nil, 0, false
	}
	value, norm := 0.0, 0.0
	for j, h := range out {
		if h != 0 {
			row = append(row, entry{int32(j), h})
			value += float64(float64(h) * s.at(int32(j)))
			norm += float64(float64(h) * float64(h))
		}
	}
	if norm == 0 || s.part != nil && len(row) > longCut || float64(least)-value < float64(0.002*math.Sqrt(norm)) {
		return nil, 0, false
	}
	return row, least, true
}

// mixed reports a row with a column that need not be whole.
func (s *simplex) mixed(row []entry) bool {
	if s.part == nil {
		return false
	}
	for _, e := range row {
		if s.part[e.at] {
			return true
		}
	}
	return false
}

// fractional lists the rows of the basis with a column of broken value, those furthest
// from whole first.
func (s *simplex) fractional() []int {
	type broken struct {
		k   int
		off float64
	}
	var list []broken
	for k, h := range s.head {
		if int(h) < s.most {
			continue
		}
		if off := math.Abs(s.value[k] - math.Round(s.value[k])); off > 0.01 {
			list = append(list, broken{k, off})
		}
	}
	slices.SortStableFunc(list, func(a, b broken) int {
		switch {
		case a.off > b.off:
			return -1
		case a.off < b.off:
			return 1
		}
		return a.k - b.k
	})
	out := make([]int, len(list))
	for i := range list {
		out[i] = list[i].k
	}
	return out
}
