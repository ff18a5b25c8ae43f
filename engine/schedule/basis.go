package schedule

import (
	"math"
	"slices"
)

// refresh makes the inverse, the reduced costs and the values anew.
func (s *simplex) refresh() {
	s.pivots = 0
	m := s.m
	work := make([][]float64, m)
	flat := make([]float64, 2*m*m)
	for k := range work {
		work[k] = flat[2*m*k : 2*m*(k+1)]
		work[k][m+k] = 1
	}
	some := make([]int32, 0, 2*m) // where the pivot's row is not 0
	for k, v := range s.head {
		if int(v) < s.most {
			work[v][k] = -1
			continue
		}
		for _, e := range s.l.cols[int(v)-s.most] {
			work[e.at][k] = float64(float64(e.by) * s.scale[e.at])
		}
	}
	for c := range m {
		at := c
		for r := c + 1; r < m; r++ {
			if math.Abs(work[r][c]) > math.Abs(work[at][c]) {
				at = r
			}
		}
		if math.Abs(work[at][c]) < 1e-10 {
			return // lean on the updated one
		}
		work[c], work[at] = work[at], work[c]
		pivot := work[c]
		p := pivot[c]
		some = some[:0]
		for j, v := range pivot[c:] {
			if v != 0 {
				pivot[c+j] = v / p
				some = append(some, int32(c+j))
			}
		}
		for r := range m {
			row := work[r]
			t := row[c]
			if r == c || t == 0 {
				continue
			}
			for _, j := range some {
				row[j] -= float64(t * pivot[j])
			}
		}
	}
	for k := range m {
		copy(s.inverse[k], work[k][m:])
		s.measure(k)
	}
	s.reprice()
	s.values()
}

// reprice computes the reduced costs from the basis.
func (s *simplex) reprice() {
	y := s.sum[:s.m]
	clear(y)
	for k, h := range s.head {
		if c := s.cost[h]; c != 0 {
			for i, v := range s.inverse[k][:s.m] {
				y[i] += float64(c * v)
			}
		}
	}
	for i := range s.m {
		s.d[i] = y[i]
		if s.where[i] >= 0 {
			s.d[i] = 0
		}
	}
	for j := range s.n {
		v := s.most + j
		s.d[v] = 0
		if s.where[v] >= 0 {
			continue
		}
		t := s.cost[v]
		for _, e := range s.l.cols[j] {
			t -= float64(y[e.at] * float64(float64(e.by)*s.scale[e.at]))
		}
		s.d[v] = t
	}
	for v := range s.where { // keep to the end that the cost wants
		if v >= s.m && v < s.most || s.where[v] >= 0 {
			continue
		}
		if s.d[v] < -dualSlack && s.up[v] < math.MaxFloat64 {
			s.x[v] = s.up[v]
		} else if s.d[v] > dualSlack && s.lo[v] > -math.MaxFloat64 {
			s.x[v] = s.lo[v]
		}
	}
}

// drop takes out a row whose activity is in the basis: nothing leans on it.
func (s *simplex) drop(i int32) {
	k := s.where[i]
	s.inverse = slices.Delete(s.inverse, int(k), int(k)+1)
	s.inverse = s.inverse[:s.m-1]
	for _, row := range s.inverse {
		copy(row[i:], row[i+1:s.m])
		row[s.m-1] = 0
	}
	s.head = slices.Delete(s.head, int(k), int(k)+1)
	copy(s.value[k:], s.value[k+1:s.m])
	copy(s.norm[k:], s.norm[k+1:s.m])
	for _, f := range [...][]float64{s.lo, s.up, s.x, s.d, s.scale} {
		copy(f[i:], f[i+1:s.m])
	}
	copy(s.where[i:], s.where[i+1:s.m])
	s.where[s.m-1] = -1
	s.d[s.m-1] = 0
	s.m--
	for v := range s.where {
		if s.where[v] > k {
			s.where[v]--
		}
	}
	for n, h := range s.head {
		if int(h) < s.most && h > i {
			s.head[n]--
		}
	}
	s.l.dropRow(i)
}

// saved is a basis to come back to.
type saved struct {
	inverse           []float64
	head, where       []int32
	x, d, value, norm []float64
	pivots            int
}

// save notes the basis; it may be taken back as long as no row joins or goes.
func (s *simplex) save(to *saved) {
	to.inverse = to.inverse[:0]
	for _, row := range s.inverse[:s.m] {
		to.inverse = append(to.inverse, row[:s.m]...)
	}
	to.head = append(to.head[:0], s.head...)
	to.where = append(to.where[:0], s.where...)
	to.x = append(to.x[:0], s.x...)
	to.d = append(to.d[:0], s.d...)
	to.value = append(to.value[:0], s.value[:s.m]...)
	to.norm = append(to.norm[:0], s.norm[:s.m]...)
	to.pivots = s.pivots
}

func (s *simplex) restore(from *saved) {
	for k, row := range s.inverse[:s.m] {
		copy(row, from.inverse[k*s.m:(k+1)*s.m])
	}
	copy(s.head, from.head)
	copy(s.where, from.where)
	copy(s.x, from.x)
	copy(s.d, from.d)
	copy(s.value, from.value)
	copy(s.norm, from.norm)
	s.pivots = from.pivots
}
