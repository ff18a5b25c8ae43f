package stat

import "fmt"

// Comparison is the data of a baseline-adjusted comparison, one row a unit: the outcome,
// the arm (0 the reference), covariates known before assignment, and the stratum, block
// or pair that was randomised within.
type Comparison struct {
	Y          []float64
	Arm        []int
	Arms       int
	Covariates [][]float64 // by covariate
	Group      []int       // none: no strata
}

// Adjusted is the analysis of covariance.
type Adjusted struct {
	Effects []Estimate // of arm 1, 2 ... against arm 0
	Robust  []Estimate // the same with HC3 standard errors
	Slopes  []Estimate // of the covariates; those that add nothing are left out
	Dropped []int      // covariates left out
	Means   []float64  // by arm, at the mean of the covariates
	Sigma   float64    // residual SD
	// Overall is the F test that all arms are alike.
	Overall FTest
	N       []int // units by arm
}

// FTest is a ratio of mean squares.
type FTest struct {
	F, DF1, DF2, P float64
}

// Ancova estimates the arms' effects with the covariates held equal. With pairs as groups
// it is the regression of pair differences on pair differences. A constant covariate is
// dropped and named; an arm that can't be told from the groups, an empty arm and values
// without spread are Infeasible faults.
func Ancova(c Comparison, level float64) (*Adjusted, error) {
	out := &Adjusted{N: make([]int, c.Arms)}
	if c.Arms < 2 || len(c.Arm) != len(c.Y) {
		return nil, invalid("arm", "has %d values for %d outcomes in %d arms; want one each and 2 arms or more", len(c.Arm), len(c.Y), c.Arms)
	}
	for i, a := range c.Arm {
		if a < 0 || a >= c.Arms {
			return nil, invalid(fmt.Sprintf("arm[%d]", i), "is %d; want 0 to %d", a, c.Arms-1)
		}
		out.N[a]++
	}
	for a, n := range out.N {
		if n == 0 {
			return nil, infeasible(ReasonFew, fmt.Sprintf("arms[%d]", a), "has no outcomes: nothing to compare")
		}
	}
	// Covariates first, so that one that repeats the arm hides the arm and not itself.
	k := len(c.Covariates)
	columns := append([][]float64(nil), c.Covariates...)
	for a := 1; a < c.Arms; a++ {
		d := make([]float64, len(c.Y))
		for i, x := range c.Arm {
			if x == a {
				d[i] = 1
			}
		}
		columns = append(columns, d)
	}
	f, err := LeastSquares(Model{c.Y, columns, c.Group})
	if err != nil {
		return nil, err
	}
	if err := out.fill(f, k, level); err != nil {
		return nil, err
	}
	return out, out.overall(c, f, k, columns)
}

func (out *Adjusted) fill(f *Fit, k int, level float64) error {
	out.Sigma = f.Sigma
	for j := range f.Coef {
		if j < k && f.Aliased[j] {
			out.Dropped = append(out.Dropped, j)
			continue
		}
		e, err := f.Estimate(j, level)
		if err != nil {
			return err
		}
		if j < k {
			out.Slopes = append(out.Slopes, e)
			continue
		}
		out.Effects = append(out.Effects, e)
		hc := f.HC3[j]
		if hc == 0 {
			hc = f.SE[j]
		}
		r, err := FromSE(f.Coef[j], hc, f.DF, level)
		if err != nil {
			return err
		}
		out.Robust = append(out.Robust, r)
	}
	return nil
}

// overall adds adjusted means and the F test.
func (out *Adjusted) overall(c Comparison, f *Fit, k int, columns [][]float64) error {
	grand := mean(c.Y)
	var weighted float64
	for a := 1; a < c.Arms; a++ {
		weighted += f.Coef[k+a-1] * float64(out.N[a]) / float64(len(c.Y))
	}
	// At the covariates' means the arms' means lie around the grand mean.
	for a := range c.Arms {
		m := grand - weighted
		if a > 0 {
			m += f.Coef[k+a-1]
		}
		out.Means = append(out.Means, m)
	}
	small, err := LeastSquares(Model{c.Y, columns[:k], c.Group})
	if err != nil {
		return err
	}
	df1 := float64(f.Rank - small.Rank)
	out.Overall = FTest{DF1: df1, DF2: f.DF, F: (small.RSS - f.RSS) / df1 / (f.RSS / f.DF)}
	out.Overall.P = FUpper(out.Overall.F, df1, f.DF)
	return nil
}
