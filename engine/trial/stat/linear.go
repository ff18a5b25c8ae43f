package stat

import (
	"fmt"
	"math"
)

// Model is a least squares problem: y on the columns, with a level of its own for each
// group (without groups, one intercept).
type Model struct {
	Y       []float64
	Columns [][]float64
	Group   []int // by row, any numbers; none: all rows are one group
}

// Fit is what least squares gives. Columns that add nothing to those before them are
// aliased: they have no coefficient, and zeros in its place.
type Fit struct {
	Coef, SE, HC3 []float64 // HC3: standard errors that allow unequal variances
	Aliased       []bool
	DF            float64
	RSS, Sigma    float64 // residual sum of squares; root of RSS/DF
	Rank, Groups  int
	inverse       [][]float64 // (X'X)^-1 of the columns kept, zeros elsewhere
	triangle      [][]float64 // inverse of its Cholesky factor
}

// aliasTolerance is the share of a column's norm that must be left after those before.
const aliasTolerance = 1e-7

// LeastSquares fits a model by Gram and Schmidt's way, twice over, on the rows less their
// groups' means (Frisch & Waugh 1933, Econometrica 1:387-401: the same coefficients as
// with a dummy for each group).
func LeastSquares(m Model) (*Fit, error) {
	n, p := len(m.Y), len(m.Columns)
	if err := finite("y", m.Y...); err != nil {
		return nil, err
	}
	for j, c := range m.Columns {
		if len(c) != n {
			return nil, invalid(fmt.Sprintf("columns[%d]", j), "has %d values; want %d", len(c), n)
		}
		if err := finite(fmt.Sprintf("columns[%d]", j), c...); err != nil {
			return nil, err
		}
	}
	if len(m.Group) != 0 && len(m.Group) != n {
		return nil, invalid("group", "has %d values; want %d", len(m.Group), n)
	}
	by, sizes := groups(m.Group, n)
	f := &Fit{Groups: len(sizes), Coef: make([]float64, p), SE: make([]float64, p), HC3: make([]float64, p), Aliased: make([]bool, p)}
	y := within(m.Y, by, sizes)
	q, r := f.orthogonal(m.Columns, by, sizes)
	f.DF = float64(n - f.Groups - f.Rank)
	f.solve(y, q, r)
	f.errors(y, q, by, sizes)
	return f, nil
}

// groups numbers the groups from 0 and counts them.
func groups(group []int, n int) ([]int, []float64) {
	by := make([]int, n)
	if n == 0 {
		return by, nil
	}
	if len(group) == 0 {
		return by, []float64{float64(n)}
	}
	number := map[int]int{}
	var sizes []float64
	for i, g := range group {
		k, in := number[g]
		if !in {
			k = len(sizes)
			number[g] = k
			sizes = append(sizes, 0)
		}
		by[i] = k
		sizes[k]++
	}
	return by, sizes
}

// within takes the group's mean off each value.
func within(x []float64, by []int, sizes []float64) []float64 {
	out := append([]float64(nil), x...)
	for range 2 { // the second takes off what rounding left
		sums := make([]float64, len(sizes))
		for i, v := range out {
			sums[by[i]] += v
		}
		for i := range out {
			out[i] -= sums[by[i]] / sizes[by[i]]
		}
	}
	return out
}

func dot(a, b []float64) float64 {
	var s float64
	for i := range a {
		s += float64(a[i] * b[i])
	}
	return s
}

// orthogonal gives orthonormal columns q (nil where aliased) and the triangle r with
// column j = sum q_i r[j][i], of columns less their groups' means.
func (f *Fit) orthogonal(columns [][]float64, by []int, sizes []float64) (q, r [][]float64) {
	centred := make([][]float64, len(columns))
	norms := make([]float64, len(columns))
	for j, raw := range columns {
		centred[j] = within(raw, by, sizes)
		norms[j] = 1e-8 * math.Sqrt(dot(raw, raw)) // what rounding leaves of a constant
	}
	return f.plain(centred, norms)
}

// plain does the same with columns as they are. norms are the least that a column's own
// norm counts as.
func (f *Fit) plain(columns [][]float64, norms []float64) (q, r [][]float64) {
	p := len(columns)
	q, r = make([][]float64, p), make([][]float64, p)
	for j := range columns {
		r[j] = make([]float64, p)
		c := append([]float64(nil), columns[j]...)
		before := max(math.Sqrt(dot(c, c)), norms[j])
		for range 2 {
			for i := range j {
				if q[i] == nil {
					continue
				}
				k := dot(q[i], c)
				r[j][i] += k
				for row := range c {
					c[row] -= float64(k * q[i][row])
				}
			}
		}
		left := math.Sqrt(dot(c, c))
		if left <= aliasTolerance*before || before == 0 {
			f.Aliased[j] = true
			continue
		}
		for row := range c {
			c[row] /= left
		}
		r[j][j], q[j] = left, c
		f.Rank++
	}
	return q, r
}

// solve works the triangle back for coefficients and the inverse of X'X.
func (f *Fit) solve(y []float64, q, r [][]float64) {
	p := len(q)
	inv := make([][]float64, p) // inverse of the triangle: inv[i][j], i <= j
	for i := range inv {
		inv[i] = make([]float64, p)
	}
	for j := range p {
		if q[j] == nil {
			continue
		}
		inv[j][j] = 1 / r[j][j]
		for i := j - 1; i >= 0; i-- {
			if q[i] == nil {
				continue
			}
			var s float64
			for k := i + 1; k <= j; k++ {
				if q[k] != nil {
					s += float64(r[k][i] * inv[k][j])
				}
			}
			inv[i][j] = -s / r[i][i]
		}
	}
	f.inverse = make([][]float64, p)
	for i := range p {
		f.inverse[i] = make([]float64, p)
		for j := range p {
			for k := max(i, j); k < p; k++ {
				f.inverse[i][j] += float64(inv[i][k] * inv[j][k])
			}
		}
		for k := i; k < p; k++ {
			if q[k] != nil {
				f.Coef[i] += float64(inv[i][k] * dot(q[k], y))
			}
		}
	}
	f.triangle = inv
}

// errors gives residuals, their scale and the standard errors.
func (f *Fit) errors(y []float64, q [][]float64, by []int, sizes []float64) {
	e := append([]float64(nil), y...)
	lever := make([]float64, len(y))
	for i := range lever {
		lever[i] = 1 / sizes[by[i]]
	}
	for _, c := range q {
		if c == nil {
			continue
		}
		k := dot(c, e)
		for i := range e {
			e[i] -= float64(k * c[i])
			lever[i] += float64(c[i] * c[i])
		}
	}
	f.RSS = dot(e, e)
	if f.RSS <= 1e-24*dot(y, y) {
		f.RSS = 0 // nothing but rounding is left
	}
	if f.DF <= 0 {
		return
	}
	f.Sigma = math.Sqrt(f.RSS / f.DF)
	inv := f.triangle
	for j := range q {
		f.SE[j] = f.Sigma * math.Sqrt(f.inverse[j][j])
		// HC3: row j of (X'X)^-1 X' is sum_k inv[j][k] q_k.
		var v float64
		for i := range e {
			var a float64
			for k := j; k < len(q); k++ {
				if q[k] != nil {
					a += float64(inv[j][k] * q[k][i])
				}
			}
			if h := 1 - lever[i]; h > 1e-12 {
				v += float64((a * e[i] / h) * (a * e[i] / h))
			}
		}
		f.HC3[j] = math.Sqrt(v)
	}
}

// Covariance is that of two coefficients.
func (f *Fit) Covariance(i, j int) float64 { return f.Sigma * f.Sigma * f.inverse[i][j] }

// Estimate is a coefficient with its interval. An aliased one is an Infeasible fault.
func (f *Fit) Estimate(j int, level float64) (Estimate, error) {
	if f.Aliased[j] {
		return Estimate{}, infeasible(ReasonAlias, fmt.Sprintf("columns[%d]", j), "can't be told from the strata or covariates before it")
	}
	return FromSE(f.Coef[j], f.SE[j], f.DF, level)
}
