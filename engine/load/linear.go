package load

import "math"

// The posterior needs logarithms, exponentials and a factorised matrix. All three are
// written out here with + - * / and square roots only, which every machine rounds
// alike, and every product is converted so that no compiler may fuse it with a sum:
// the standard library's Log and Exp differ in the last bit between machines.

const ln2 = 0.693147180559945309417232121458176568

// logOf is the natural logarithm of a positive, finite number: the halvings are
// counted and the rest goes through the series of the inverse hyperbolic tangent.
func logOf(v float64) float64 {
	m, e := math.Frexp(v) // exact
	if m < math.Sqrt2/2 {
		m, e = m*2, e-1
	}
	s := (m - 1) / (m + 1)
	s2 := float64(s * s)
	sum := 0.0
	for k := 23; k >= 1; k -= 2 {
		sum = float64(sum*s2) + 1/float64(k)
	}
	return float64(2*float64(s*sum)) + float64(float64(e)*ln2)
}

// expOf is the exponential of a number between -700 and 700.
func expOf(v float64) float64 {
	k := math.Floor(v/ln2 + 0.5)
	r := v - float64(k*ln2)
	sum := 1.0
	for i := 16; i >= 1; i-- {
		sum = 1 + float64(r*sum)/float64(i)
	}
	return math.Ldexp(sum, int(k)) // exact
}

// triangle is the lower Cholesky factor of a symmetric positive definite matrix.
type triangle [][]float64

// factor takes the lower half of a matrix; it is false when the matrix is not
// positive definite.
func factor(a [][]float64) (triangle, bool) {
	l := make(triangle, len(a))
	for i := range a {
		l[i] = make([]float64, i+1)
		for j := 0; j <= i; j++ {
			sum := a[i][j]
			for k := range j {
				sum -= float64(l[i][k] * l[j][k])
			}
			if i > j {
				l[i][j] = sum / l[j][j]
				continue
			}
			if !(sum > 0) {
				return nil, false
			}
			l[i][i] = math.Sqrt(sum)
		}
	}
	return l, true
}

// solve gives x with L Lᵀ x = b.
func (l triangle) solve(b []float64) []float64 {
	x := append([]float64(nil), b...)
	for i := range x {
		for k := range i {
			x[i] -= float64(l[i][k] * x[k])
		}
		x[i] /= l[i][i]
	}
	for i := len(x) - 1; i >= 0; i-- {
		for k := i + 1; k < len(x); k++ {
			x[i] -= float64(l[k][i] * x[k])
		}
		x[i] /= l[i][i]
	}
	return x
}

// inverseDiagonal gives the diagonal of the inverse.
func (l triangle) inverseDiagonal() []float64 {
	out := make([]float64, len(l))
	unit := make([]float64, len(l))
	for i := range l {
		clear(unit)
		unit[i] = 1
		out[i] = l.solve(unit)[i]
	}
	return out
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += float64(a[i] * b[i])
	}
	return sum
}

// wholeOf rounds half away from zero to an integer.
func wholeOf(v float64) int64 {
	if v < 0 {
		return -wholeOf(-v)
	}
	return int64(float64(v) + 0.5) // converted: v may be a product once inlined
}
