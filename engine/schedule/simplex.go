package schedule

import (
	"math"
	"math/bits"
	"slices"
)

// simplex is the dual simplex method for a linear program whose columns are all
// boxed, in floating point, with the inverse of the basis kept whole: programs here
// have some tens of rows. It only proposes: its prices go to linear.floor, its values
// to the search, and both are judged in integers. Every product is rounded on its own,
// so that all machines take the same way.
//
// Variable i < most is the activity of row i, variable most + j is column j; a row
// says A x - activity = 0. A basis that was optimal stays dual feasible whatever
// becomes of the boxes, so each node of a search starts where the last one ended.
type simplex struct {
	l       *linear
	m, n    int // rows taken over, columns
	most    int // rows there may ever be
	cost    []float64
	lo, up  []float64
	x       []float64 // of variables outside the basis: one end of the box
	d       []float64 // reduced cost
	alpha   []float64 // row of the pivot
	where   []int32   // row of the basis, -1 outside
	head    []int32   // variable by row of the basis
	value   []float64 // by row of the basis
	inverse [][]float64
	norm    []float64 // squared lengths of the rows of the inverse
	column  []float64
	sum     []float64
	ratios  []ratio
	pivots  int // since the inverse was made anew
	price   []int64
	part    []bool    // by column: it need not be whole; nil: none
	scale   []float64 // by row, a power of two: rows count in it
	grid    float64
}

type ratio struct {
	at   int32
	step float64
	size float64
}

const (
	primalSlack = 1e-7
	dualSlack   = 1e-9
	pivotLeast  = 1e-7
	freshPivots = 120
)

// verdict is how a run of the simplex ended.
type verdict int

const (
	solved verdict = iota
	exceeded
	stuck
)

// newSimplex starts from the basis of the rows. grid is a unit of the cost; columns get
// a little of it on top, each another, or the many equals would make it go in rounds.
func newSimplex(l *linear, most int, grid int64) *simplex {
	n := len(l.cost)
	s := &simplex{l: l, n: n, most: most, grid: float64(grid)}
	flat := make([]float64, 6*(most+n))
	cut := func() []float64 {
		f := flat[: most+n : most+n]
		flat = flat[most+n:]
		return f
	}
	s.cost, s.lo, s.up, s.x, s.d, s.alpha = cut(), cut(), cut(), cut(), cut(), cut()
	s.where = make([]int32, most+n)
	s.head = make([]int32, 0, most)
	s.value, s.norm = make([]float64, most), make([]float64, most)
	s.column, s.sum = make([]float64, most), make([]float64, most)
	s.price, s.scale = make([]int64, most), make([]float64, most)
	rng := uint64(0x9e3779b97f4a7c15)
	for j := range n {
		rng ^= rng << 13
		rng ^= rng >> 7
		rng ^= rng << 17
		little := float64(float64(rng>>40) / (1 << 24))
		s.cost[most+j] = float64(l.cost[j]) + float64(s.grid*float64(1e-5*(0.5+little)))
		s.d[most+j] = s.cost[most+j]
	}
	for i := range s.where {
		s.where[i] = -1
	}
	s.grow()
	return s
}

// grow takes over rows that were added to the program.
func (s *simplex) grow() {
	for s.m < len(s.l.rows) {
		i := s.m
		row := make([]float64, s.most)
		large := int64(1)
		for _, e := range s.l.rows[i] {
			large = max(large, e.by, -e.by)
		}
		s.scale[i] = math.Ldexp(1, -bits.Len64(uint64(large)))
		for _, e := range s.l.rows[i] {
			if k := s.where[s.most+int(e.at)]; k >= 0 {
				by := float64(float64(e.by) * s.scale[i])
				for c, v := range s.inverse[k][:i] {
					row[c] += float64(by * v)
				}
			}
		}
		row[i] = -1
		s.inverse = append(s.inverse, row)
		s.head = append(s.head, int32(i))
		s.where[i] = int32(i)
		s.d[i] = 0
		s.m++
		s.measure(i)
	}
}

func (s *simplex) measure(i int) {
	n := 0.0
	for _, v := range s.inverse[i][:s.m] {
		n += float64(v * v)
	}
	s.norm[i] = n
}

// box takes the boxes of the program over and puts all outside the basis to the end
// that its reduced cost wants.
func (s *simplex) box() {
	for i := range s.m {
		s.lo[i], s.up[i] = -math.MaxFloat64, math.MaxFloat64
		if v := s.l.rlo[i]; v != -endless {
			s.lo[i] = float64(float64(v) * s.scale[i])
		}
		if v := s.l.rup[i]; v != endless {
			s.up[i] = float64(float64(v) * s.scale[i])
		}
	}
	for j := range s.n {
		s.lo[s.most+j], s.up[s.most+j] = float64(s.l.lo[j]), float64(s.l.up[j])
	}
	for v := range s.where {
		if v >= s.m && v < s.most || s.where[v] >= 0 {
			continue
		}
		s.x[v] = s.lo[v]
		if s.d[v] < 0 || s.lo[v] == -math.MaxFloat64 {
			s.x[v] = s.up[v]
		}
		if s.x[v] == math.MaxFloat64 {
			s.x[v] = s.lo[v]
		}
	}
	s.values()
}

// values computes what the basis holds from what is outside.
func (s *simplex) values() {
	sum := s.sum[:s.m]
	clear(sum)
	for j := range s.n {
		v := s.most + j
		if s.where[v] >= 0 || s.x[v] == 0 {
			continue
		}
		for _, e := range s.l.cols[j] {
			if int(e.at) < s.m {
				sum[e.at] += float64(float64(float64(e.by)*s.scale[e.at]) * s.x[v])
			}
		}
	}
	for i := range s.m {
		if s.where[i] < 0 {
			sum[i] -= s.x[i]
		}
	}
	// Four rows at a time: each sum keeps its order, and none waits for another.
	k := 0
	for ; k+4 <= s.m; k += 4 {
		a, b, c, d := s.inverse[k][:len(sum)], s.inverse[k+1][:len(sum)], s.inverse[k+2][:len(sum)], s.inverse[k+3][:len(sum)]
		var t, u, v, w float64
		for i, y := range sum {
			t += float64(a[i] * y)
			u += float64(b[i] * y)
			v += float64(c[i] * y)
			w += float64(d[i] * y)
		}
		s.value[k], s.value[k+1], s.value[k+2], s.value[k+3] = -t, -u, -v, -w
	}
	for ; k < s.m; k++ {
		t := 0.0
		for i, v := range s.inverse[k][:len(sum)] {
			t += float64(v * sum[i])
		}
		s.value[k] = -t
	}
}

// leaving is the row of the basis that breaks its box most for the length of its row,
// -1 for none, and by how much: below zero where it lies under the box.
func (s *simplex) leaving() (int, float64) {
	at, by, worst := -1, 0.0, 0.0
	for k := range s.m {
		v, h := s.value[k], s.head[k]
		var off float64
		if t := v - s.lo[h]; t < -primalSlack {
			off = t
		} else if t := v - s.up[h]; t > primalSlack {
			off = t
		} else {
			continue
		}
		if g := float64(off*off) / s.norm[k]; g > worst {
			at, by, worst = k, off, g
		}
	}
	return at, by
}

// pivotRow computes row k of the table.
func (s *simplex) pivotRow(k int) {
	clear(s.alpha[s.most:])
	for i, r := range s.inverse[k][:s.m] {
		if s.where[i] < 0 {
			s.alpha[i] = -r
		}
		if r > -1e-12 && r < 1e-12 {
			continue
		}
		r = float64(r * s.scale[i])
		for _, e := range s.l.rows[i] {
			s.alpha[s.most+int(e.at)] += float64(r * float64(e.by))
		}
	}
}

// entering chooses what comes into the basis. With a long step, variables whose
// reduced cost changes its sign go to the other end of their box, as long as what is
// left of the break still pays. left > 0: all of them can't mend it.
func (s *simplex) entering(off float64) (at int32, left float64) {
	s.ratios = s.ratios[:0]
	sign := 1.0
	if off < 0 {
		sign = -1
	}
	s.look(0, s.m, sign)
	s.look(s.most, len(s.where), sign)
	left = math.Abs(off)
	for i := range s.ratios {
		s.least(i)
		r := s.ratios[i]
		width := s.up[r.at] - s.lo[r.at]
		left -= float64(width * r.size)
		if left > 1e-9 && width < math.MaxFloat64 {
			continue
		}
		best := i
		for j := i + 1; j < len(s.ratios); j++ {
			if s.least(j); s.ratios[j].step > r.step+dualSlack {
				break
			}
			if s.ratios[j].size > s.ratios[best].size {
				best = j
			}
		}
		for _, f := range s.ratios[:i] {
			s.flip(int(f.at))
		}
		return s.ratios[best].at, 0
	}
	return -1, left
}

// look adds what may come into the basis of the variables from one up to another.
func (s *simplex) look(from, to int, sign float64) {
	alpha, where := s.alpha[from:to], s.where[from:to]
	lo, up, x, d := s.lo[from:to], s.up[from:to], s.x[from:to], s.d[from:to]
	for v, a := range alpha {
		if a > -pivotLeast && a < pivotLeast || where[v] >= 0 || lo[v] == up[v] {
			continue
		}
		a = float64(sign * a)
		if (x[v] == lo[v]) == (a < 0) {
			continue
		}
		s.ratios = append(s.ratios, ratio{int32(from + v), max(0, d[v]/a), math.Abs(a)})
	}
}

// fewRatios is how many ratios are looked out one by one before the others are sorted.
const fewRatios = 12

// least puts the least of the ratios from i on in place i, those before being in order.
func (s *simplex) least(i int) {
	rest := s.ratios[i:]
	switch {
	case i > fewRatios:
	case i == fewRatios:
		slices.SortFunc(rest, func(a, b ratio) int {
			switch {
			case a.less(b):
				return -1
			case b.less(a):
				return 1
			}
			return 0
		})
	default:
		at := 0
		for j := range rest {
			if rest[j].less(rest[at]) {
				at = j
			}
		}
		rest[0], rest[at] = rest[at], rest[0]
	}
}

// less orders ratios by step, equal ones by variable.
func (r ratio) less(o ratio) bool {
	return r.step < o.step || r.step == o.step && r.at < o.at
}

// flip sends a variable to the other end of its box.
func (s *simplex) flip(v int) {
	was := s.x[v]
	s.x[v] = s.lo[v]
	if was == s.lo[v] {
		s.x[v] = s.up[v]
	}
	by := s.x[v] - was
	s.direction(v)
	for k, a := range s.column[:s.m] {
		s.value[k] -= float64(a * by)
	}
}

// direction computes the column of the table of a variable.
func (s *simplex) direction(v int) {
	col := s.column[:s.m]
	if v < s.most {
		for k := range col {
			col[k] = -s.inverse[k][v]
		}
		return
	}
	clear(col)
	for _, e := range s.l.cols[v-s.most] {
		if int(e.at) >= s.m {
			continue
		}
		by := float64(float64(e.by) * s.scale[e.at])
		for k := range col {
			col[k] += float64(s.inverse[k][e.at] * by)
		}
	}
}

// run goes on until the basis is optimal, or its prices prove that the cost is at
// least goal, or most pivots are made.
func (s *simplex) run(goal int64, most int, mt *meter) verdict {
	s.box()
	for n := range most {
		mt.spend(int64(s.m*s.m+4*s.n)/512 + 1)
		if mt.done() {
			return stuck
		}
		if s.pivots >= freshPivots {
			s.refresh()
		}
		k, off := s.leaving()
		if k < 0 {
			return solved
		}
		if n%8 == 7 && s.proven(goal, nil) {
			return exceeded
		}
		s.pivotRow(k)
		q, left := s.entering(off)
		if q < 0 {
			if s.ray(k, off, left, goal) {
				return exceeded
			}
			return stuck
		}
		s.pivot(k, q, off)
	}
	return stuck
}

// pivot brings q in for row k of the basis.
func (s *simplex) pivot(k int, q int32, off float64) {
	s.direction(int(q))
	a := s.column[k]
	h := s.head[k]
	end := s.lo[h]
	if off > 0 {
		end = s.up[h]
	}
	step := s.d[q] / s.alpha[q]
	for i := range s.m {
		if s.where[i] < 0 {
			s.d[i] -= float64(step * s.alpha[i])
		}
	}
	for v := s.most; v < len(s.where); v++ {
		if s.where[v] < 0 {
			s.d[v] -= float64(step * s.alpha[v])
		}
	}
	s.d[q], s.d[h] = 0, -step
	by := (s.value[k] - end) / a
	for i, c := range s.column[:s.m] {
		s.value[i] -= float64(by * c)
	}
	s.value[k] = s.x[q] + by
	s.x[h] = end
	s.where[h], s.where[q], s.head[k] = -1, int32(k), q

	pivot := s.inverse[k][:s.m]
	for c := range pivot {
		pivot[c] /= a
	}
	s.measure(k)
	last := -1 // a row that waits for another, as two go at once
	for i, t := range s.column[:s.m] {
		if i == k || t > -1e-13 && t < 1e-13 {
			continue
		}
		if last < 0 {
			last = i
			continue
		}
		s.eliminate(pivot, last, i)
		last = -1
	}
	if last >= 0 {
		s.eliminate(pivot, last, last)
	}
	s.pivots++
}

// eliminate takes the pivot's row out of row i and, where it is another, row j. Their
// lengths are two chains of sums, neither of which waits for the other.
func (s *simplex) eliminate(pivot []float64, i, j int) {
	a, b := s.inverse[i][:len(pivot)], s.inverse[j][:len(pivot)]
	t, u := s.column[i], s.column[j]
	if i == j {
		u = 0 // once is enough
	}
	n, o := 0.0, 0.0
	for c, p := range pivot {
		v := a[c] - float64(t*p)
		a[c] = v
		n += float64(v * v)
		w := b[c] - float64(u*p)
		b[c] = w
		o += float64(w * w)
	}
	s.norm[i], s.norm[j] = n, o
}

// proven asks whether the prices prove a cost of at least goal (in whole units).
func (s *simplex) proven(goal int64, reduced []int64) bool {
	sum, ok := s.prices(reduced)
	return ok && ceilDiv(sum, 1<<priceBits) >= goal
}

// prices puts the prices of the rows on their grid and gives the floor they prove.
func (s *simplex) prices(reduced []int64) (int64, bool) {
	for i := range s.m {
		s.price[i] = 0
		if s.where[i] < 0 {
			s.price[i] = rounded(float64(s.d[i] * s.scale[i]))
		}
	}
	return s.l.floor(s.price[:s.m], reduced)
}

// rounded puts a price on the grid, far-off ones to its ends.
func rounded(y float64) int64 {
	const end = 1 << 50
	y = float64(y * (1 << priceBits))
	return int64(math.Round(min(max(y, -end), end)))
}

// ray proves that nothing fits below goal where row k of the basis can't be mended:
// along it the floor grows without end, by left a step.
func (s *simplex) ray(k int, off, left float64, goal int64) bool {
	sum, ok := s.prices(nil)
	if !ok {
		return false
	}
	far := (float64(goal) - float64(float64(sum)/(1<<priceBits)) + s.grid) / left
	far = float64(2 * max(far, 0))
	if off < 0 {
		far = -far
	}
	for i := range s.m {
		y := 0.0
		if s.where[i] < 0 {
			y = s.d[i]
		}
		s.price[i] = rounded(float64((y + float64(far*s.inverse[k][i])) * s.scale[i]))
	}
	sum, ok = s.l.floor(s.price[:s.m], nil)
	return ok && ceilDiv(sum, 1<<priceBits) >= goal
}

// at is the value of a column.
func (s *simplex) at(j int32) float64 {
	v := s.most + int(j)
	if k := s.where[v]; k >= 0 {
		return s.value[k]
	}
	return s.x[v]
}

// activity is the value of a row, whether it is taken over or not.
func (s *simplex) activity(row []entry) float64 {
	t := 0.0
	for _, e := range row {
		t += float64(float64(e.by) * s.at(e.at))
	}
	return t
}
