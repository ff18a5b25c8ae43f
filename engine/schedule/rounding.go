package schedule

import (
	"cmp"
	"math"
	"slices"
)

const (
	roundRows  = 4       // that are added up
	roundTries = 8       // divisors of a sum
	roundCuts  = 24      // that are taken at once
	roundDepth = 0.01    // distance that a cut must put between itself and the values
	roundAlike = 0.9     // cosine above which the shallower of two cuts is left out
	roundLarge = 1 << 36 // coefficients that are still counted
	roundSafe  = 1 << 58 // and sums
	roundUnit  = 32      // terms for a unit of work
	roundEnd   = 1e-5    // a column as near as that to an end of its box is there
)

// rounding looks for mixed-integer rounding cuts of sums of rows. For whole t >= 0 and for
// v >= 0 that need not be whole,
//
//	sum of a t - sum of c v <= b,  c >= 0
//
// gives for any divisor d > 0, with b = q d + r, a = p d + s and 0 <= r, s < d,
//
//	sum of (p (d - r) + max(0, s - r)) t - sum of c v <= q (d - r)
//
// (Marchand and Wolsey 2001, Aggregation and mixed integer rounding to solve MIPs,
// Operations Research 49:363-371, times d - r). It is in integers throughout; the values
// of the simplex only choose. A column is counted from one end of its box; where it need
// not be whole and its coefficient is positive, it goes.
type rounding struct {
	s      *simplex
	limits []limit
	sides  [][2]int32 // by row: its limits above and below, from one on; 0: none
	coef   []int64    // of the sum, by column
	most   int64      // its right side
	cols   []int32    // that it has
	in     []bool     // by column: whether it is in cols
	used   []bool     // by row: whether it is in the sum
	terms  []roundTerm
	work   int64 // terms looked at
}

// limit is one side of a row: sign * row <= most.
type limit struct {
	row, sign int32
	most      int64
	slack     float64 // that the values leave
}

// roundTerm is a column of a sum, counted from an end of its box.
type roundTerm struct {
	at    int32
	by    int64
	part  bool // it need not be whole
	down  bool // counted from the upper end
	value float64
	width int64
}

// roundCut is a cut: row >= least.
type roundCut struct {
	row   []entry
	least int64
	depth float64
	norm  float64
}

// roundings gives the deepest cuts that the values break, of those alike one. The limits
// of the rows in the program must hold everywhere.
func (s *simplex) roundings(mt *meter) []roundCut {
	r := &rounding{s: s, coef: make([]int64, s.n), in: make([]bool, s.n), used: make([]bool, s.m), sides: make([][2]int32, s.m)}
	for i, row := range s.l.rows[:s.m] {
		v := s.activity(row)
		if up := s.l.rup[i]; up != endless {
			r.limits = append(r.limits, limit{int32(i), 1, up, float64(up) - v})
			r.sides[i][0] = int32(len(r.limits))
		}
		if lo := s.l.rlo[i]; lo != -endless {
			r.limits = append(r.limits, limit{int32(i), -1, -lo, v - float64(lo)})
			r.sides[i][1] = int32(len(r.limits))
		}
	}
	var list []roundCut
	for i := range r.limits {
		if c, ok := r.from(&r.limits[i]); ok {
			list = append(list, c)
		}
	}
	mt.spend(1 + r.work/roundUnit)
	slices.SortStableFunc(list, func(x, y roundCut) int { return cmp.Compare(y.depth, x.depth) })
	return unlike(list, s.n)
}

// unlike leaves out what is nearly parallel to a deeper cut.
func unlike(list []roundCut, columns int) []roundCut {
	flat := make([]float64, columns)
	kept := list[:0]
	for _, c := range list {
		if len(kept) == roundCuts {
			break
		}
		for _, e := range c.row {
			flat[e.at] = float64(e.by)
		}
		if !slices.ContainsFunc(kept, func(k roundCut) bool {
			dot := 0.0
			for _, e := range k.row {
				dot += float64(float64(e.by) * flat[e.at])
			}
			return dot > roundAlike*c.norm*k.norm
		}) {
			kept = append(kept, c)
		}
		for _, e := range c.row {
			flat[e.at] = 0
		}
	}
	return kept
}

// from looks for a cut of a limit alone, then of its sum with others: each takes out the
// column that need not be whole and is furthest from the ends of its box.
func (r *rounding) from(x *limit) (roundCut, bool) {
	for _, j := range r.cols {
		r.coef[j], r.in[j] = 0, false
	}
	r.cols, r.most = r.cols[:0], 0
	clear(r.used)
	ok := r.add(x, 1, 1)
	for n := 1; ok; n++ {
		if c, deep := r.cut(); deep {
			return c, true
		}
		ok = n < roundRows && r.extend()
	}
	return roundCut{}, false
}

// extend adds the tightest limit that takes such a column out; false: there is none.
func (r *rounding) extend() bool {
	s := r.s
	out, far := int32(-1), roundEnd
	for _, j := range r.cols {
		if r.coef[j] == 0 || s.part == nil || !s.part[j] {
			continue
		}
		v := s.at(j)
		if d := math.Min(v-float64(s.l.lo[j]), float64(s.l.up[j])-v); d > far {
			out, far = j, d
		}
	}
	if out < 0 {
		return false
	}
	var best *limit
	var by int64
	for _, e := range s.l.cols[out] {
		if int(e.at) >= s.m || r.used[e.at] {
			continue
		}
		side := 0
		if (e.by > 0) == (r.coef[out] > 0) {
			side = 1
		}
		if k := r.sides[e.at][side]; k > 0 && (best == nil || r.limits[k-1].slack < best.slack) {
			best, by = &r.limits[k-1], e.by
		}
	}
	if best == nil {
		return false
	}
	mine, theirs := max(r.coef[out], -r.coef[out]), max(by, -by)
	g := gcd(mine, theirs)
	return r.add(best, theirs/g, mine/g)
}

// add makes the sum was times what it is and by times a limit; false: it gets too large.
func (r *rounding) add(x *limit, was, by int64) bool {
	row := r.s.l.rows[x.row]
	r.work += int64(len(r.cols) + len(row))
	r.used[x.row] = true
	fits := func(a, b, c int64) bool {
		return math.Abs(float64(float64(a)*float64(was)))+math.Abs(float64(float64(b)*float64(c))) < roundLarge
	}
	if !fits(r.most, by, x.most) {
		return false
	}
	r.most = r.most*was + by*x.most
	by *= int64(x.sign)
	for _, j := range r.cols {
		if !fits(r.coef[j], 0, 0) {
			return false
		}
		r.coef[j] *= was
	}
	for _, e := range row {
		if !r.in[e.at] {
			r.in[e.at] = true
			r.cols = append(r.cols, e.at)
		}
		if math.Abs(float64(float64(by)*float64(e.by))) >= roundLarge {
			return false
		}
		if r.coef[e.at] += by * e.by; r.coef[e.at] >= roundLarge || r.coef[e.at] <= -roundLarge {
			return false
		}
	}
	return true
}

// cut looks for the deepest cut of the sum: over divisors, then over fractions of the best
// of them, then with single columns counted from the other end.
func (r *rounding) cut() (roundCut, bool) {
	b, ok := r.count()
	if !ok {
		return roundCut{}, false
	}
	depth, divisor, scale := 0.0, int64(0), int64(1)
	var tried [roundTries]int64
	n := 0
	for i := range r.terms {
		x := &r.terms[i]
		d := max(x.by, -x.by)
		if x.part || x.value < roundEnd || slices.Contains(tried[:n], d) {
			continue
		}
		if v := r.depth(b, d, 1); v > depth {
			depth, divisor = v, d
		}
		tried[n] = d
		if n++; n == roundTries {
			break
		}
	}
	if divisor == 0 {
		return roundCut{}, false
	}
	for k := int64(2); k <= 8; k *= 2 {
		if v := r.depth(b, divisor, k); v > depth {
			depth, scale = v, k
		}
	}
	for i := range r.terms {
		x := &r.terms[i]
		if x.part || x.value < roundEnd {
			continue
		}
		was, other := *x, b-x.by*x.width
		x.by, x.down, x.value = -x.by, !x.down, float64(x.width)-x.value
		if v := r.depth(other, divisor, scale); v > depth {
			depth, b = v, other
		} else {
			*x = was
		}
	}
	if depth < roundDepth {
		return roundCut{}, false
	}
	return r.build(b, divisor, scale, depth), true
}

// count makes the terms of the sum, each counted from the nearer end of its box, and the
// right side that results; false: numbers could leave 64 bits.
func (r *rounding) count() (b int64, ok bool) {
	s := r.s
	b = r.most
	r.terms = r.terms[:0]
	largest, ends := 0.0, math.Abs(float64(b))
	for _, j := range r.cols {
		a, lo, up := r.coef[j], s.l.lo[j], s.l.up[j]
		if a == 0 {
			continue
		}
		b -= a * lo
		largest = math.Max(largest, math.Abs(float64(a)))
		ends += math.Abs(float64(lo)) + math.Abs(float64(up))
		if lo == up {
			continue
		}
		x := roundTerm{at: j, by: a, part: s.part != nil && s.part[j], width: up - lo, value: math.Max(0, s.at(j)-float64(lo))}
		if 2*x.value > float64(x.width) {
			b -= a * x.width
			x.by, x.down, x.value = -a, true, math.Max(0, float64(x.width)-x.value)
		}
		if !x.part || x.by < 0 {
			r.terms = append(r.terms, x)
		}
	}
	// A coefficient of a cut is at most eight times one of the sum, and a divisor more.
	return b, float64(16*largest)*ends < roundSafe
}

// depth is how far the cut of a divisor and so many times the sum is from the values.
func (r *rounding) depth(b, d, scale int64) float64 {
	r.work += int64(len(r.terms))
	q, rest := floorDiv(b*scale, d)
	if 50*rest < d {
		return 0
	}
	off, norm := -float64(q*(d-rest)), 0.0
	for i := range r.terms {
		x := &r.terms[i]
		h := float64(x.rounded(scale, d, rest))
		off += float64(h * x.value)
		norm += float64(h * h)
	}
	if off <= 0 || norm == 0 {
		return 0
	}
	return off / math.Sqrt(norm)
}

// rounded is the coefficient of a term in a cut.
func (x *roundTerm) rounded(scale, d, rest int64) int64 {
	if x.part {
		return x.by * scale
	}
	p, s := floorDiv(x.by*scale, d)
	return p*(d-rest) + max(0, s-rest)
}

// build is the cut in terms of the columns.
func (r *rounding) build(b, d, scale int64, depth float64) roundCut {
	q, rest := floorDiv(b*scale, d)
	c := roundCut{depth: depth}
	most, unit, part := q*(d-rest), int64(0), false
	for i := range r.terms {
		x := &r.terms[i]
		h := x.rounded(scale, d, rest)
		if h == 0 {
			continue
		}
		part = part || x.part
		unit = gcd(unit, h)
		if x.down {
			most -= h * r.s.l.up[x.at]
			h = -h
		} else {
			most += h * r.s.l.lo[x.at]
		}
		c.row = append(c.row, entry{x.at, -h})
	}
	if part {
		unit = gcd(unit, most)
	}
	for i := range c.row {
		c.row[i].by /= unit
		c.norm += float64(float64(c.row[i].by) * float64(c.row[i].by))
	}
	c.norm = math.Sqrt(c.norm)
	most, _ = floorDiv(most, unit)
	c.least = -most
	slices.SortFunc(c.row, func(x, y entry) int { return cmp.Compare(x.at, y.at) })
	return c
}

// floorDiv divides towards minus infinity; b > 0.
func floorDiv(a, b int64) (q, rest int64) {
	q, rest = a/b, a%b
	if rest < 0 {
		q, rest = q-1, rest+b
	}
	return q, rest
}
