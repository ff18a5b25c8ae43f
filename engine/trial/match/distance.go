package match

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
)

// Unit is how many whole-number steps a distance of 1 has.
const Unit = 1_000_000_000

// MostCovariate is the largest value of a covariate, and with a minus the least.
const MostCovariate = int64(1) << 40

// farthest is where distances end before they become costs, far beyond any real one.
const farthest = 4000

// ReasonCovariate is the reason of faults about covariates.
const ReasonCovariate = "MATCH_COVARIATE"

// Distances are those between n units.
type Distances struct {
	N    int
	D    []float64   // n x n by rows
	Cov  [][]float64 // sample covariance, divisor n-1
	Rank int         // covariates that say something of their own
	// White are coordinates in which the covariance is the identity and distances are
	// plain ones: n rows of Rank.
	White [][]float64
}

// Mahalanobis gives d_ij = sqrt((x_i-x_j)' S^-1 (x_i-x_j)) with the sample covariance S
// of the rows, one for each unit, in whole numbers of any unit (thousandths, say). Where
// S is singular (a constant, a copy, as many covariates as units) dependent covariates
// are left out, which changes no distance: differences of rows lie in the space of S,
// where every generalised inverse is the same. With Rank 0 all distances are 0. Rows of
// different length or numbers beyond MostCovariate are Invalid faults.
func Mahalanobis(rows [][]int64) (*Distances, error) {
	out := &Distances{N: len(rows), D: make([]float64, len(rows)*len(rows))}
	if len(rows) == 0 {
		return out, nil
	}
	p := len(rows[0])
	for i, r := range rows {
		if len(r) != p {
			return nil, fault.New(fault.Invalid, ReasonCovariate, fmt.Sprintf("units[%d].covariates", i), fmt.Sprintf("are %d; want %d as the others have", len(r), p))
		}
		for j, v := range r {
			if v > MostCovariate || v < -MostCovariate {
				return nil, fault.New(fault.Invalid, ReasonCovariate, fmt.Sprintf("units[%d].covariates[%d]", i, j), fmt.Sprintf("is %d; want at most %d", v, MostCovariate))
			}
		}
	}
	out.White = out.whiten(rows, p)
	for i := range rows {
		for j := range i {
			var q float64
			for k := range out.Rank {
				d := out.White[i][k] - out.White[j][k]
				q += float64(d * d)
			}
			out.D[i*out.N+j] = math.Sqrt(q)
			out.D[j*out.N+i] = out.D[i*out.N+j]
		}
	}
	return out, nil
}

// whiten gives coordinates in which S is the identity: the rows of L^-1 (x - mean), by a
// Cholesky factor of the correlations that takes the largest pivot first.
func (out *Distances) whiten(rows [][]int64, p int) [][]float64 {
	n := len(rows)
	centred := make([][]float64, n)
	for i := range centred {
		centred[i] = make([]float64, p)
	}
	scale := make([]float64, p)
	for k := range p {
		var sum int64
		for _, r := range rows {
			sum += r[k] // at most 4000 * 2^40: exact
		}
		mean := float64(sum) / float64(n)
		for i, r := range rows {
			centred[i][k] = float64(r[k]) - mean
		}
	}
	out.Cov = make([][]float64, p)
	for a := range p {
		out.Cov[a] = make([]float64, p)
		for b := range p {
			var s float64
			for i := range centred {
				s += float64(centred[i][a] * centred[i][b])
			}
			out.Cov[a][b] = s / float64(max(1, n-1))
		}
		scale[a] = math.Sqrt(out.Cov[a][a])
	}
	chol, order := factor(out.Cov, scale)
	out.Rank = len(order)
	white := make([][]float64, n)
	for i := range white {
		white[i] = make([]float64, len(order))
		for r, k := range order {
			v := centred[i][k] / scale[k]
			for c := range r {
				v -= float64(chol[r][c] * white[i][c])
			}
			white[i][r] = v / chol[r][r]
		}
	}
	return white
}

// factor gives the Cholesky factor of the correlation matrix in the order its columns
// were taken, and stops where what is left is nothing but rounding.
func factor(cov [][]float64, scale []float64) ([][]float64, []int) {
	const least = 1e-9
	p := len(cov)
	left := make([]float64, p)
	for k := range left {
		if scale[k] > 0 {
			left[k] = 1
		}
	}
	var chol [][]float64
	var order []int
	part := make([][]float64, p) // of each column: its row of the factor
	for range p {
		best := -1
		for k, v := range left {
			if v > least && (best < 0 || v > left[best]+least) {
				best = k
			}
		}
		if best < 0 {
			break
		}
		pivot := math.Sqrt(left[best])
		for k := range p {
			if k == best || left[k] <= least {
				continue
			}
			v := cov[k][best] / scale[k] / scale[best]
			for c, x := range part[best] {
				v -= float64(part[k][c] * x)
			}
			v /= pivot
			part[k] = append(part[k], v)
			left[k] -= float64(v * v)
		}
		chol = append(chol, append(append([]float64(nil), part[best]...), pivot))
		order = append(order, best)
		left[best] = 0
	}
	return chol, order
}

// Whole gives the distances as whole numbers of 1/Unit, the costs for Perfect.
func (d *Distances) Whole() []int64 { return d.whole(false) }

// WholeSquared gives their squares, which shun single bad pairs more: another optimum.
// Steps are coarser, 1/1,000,000.
func (d *Distances) WholeSquared() []int64 { return d.whole(true) }

func (d *Distances) whole(squared bool) []int64 {
	out := make([]int64, len(d.D))
	for i, v := range d.D {
		v = min(v, farthest)
		if squared {
			out[i] = int64(math.Round(v * v * 1_000_000))
			continue
		}
		out[i] = int64(math.Round(v * Unit))
	}
	return out
}
