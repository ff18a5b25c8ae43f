package stat

import (
	"math"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// MostVisits is the most visits of Repeated.
const MostVisits = 6

// Repeated is an outcome at several visits: rows of values, each of a subject at a visit
// (from 0), and the columns of the model, the constant included. A subject may miss
// visits; the answer then holds if who misses one can be told from the values that are
// there (missing at random).
type Repeated struct {
	Y       []float64
	Subject []int
	Visit   []int
	Columns [][]float64
}

// RepeatedFit is Repeated fitted by restricted maximum likelihood, with any covariance of
// a subject's visits.
type RepeatedFit struct {
	Coef       []float64
	Covariance [][]float64 // of visits
	LogLik     float64     // restricted
	Subjects   int
	model      *repeated
	at         []float64 // log-Cholesky of Covariance, in units of scale
	spread     *mat.SymDense
}

// repeated is a checked model, in units of scale.
type repeated struct {
	visits, p int
	subjects  []subject
	scale     float64
	values    int
}

type subject struct {
	visits []int
	y      *mat.VecDense
	x      *mat.Dense
}

// Unstructured fits the model. Too few subjects for the covariances, columns that depend
// on each other and a covariance without an inverse are Infeasible faults.
func Unstructured(m Repeated) (*RepeatedFit, error) {
	r, err := m.checked()
	if err != nil {
		return nil, err
	}
	theta := make([]float64, r.visits*(r.visits+1)/2) // unit variances: scale is the SD of rests
	problem := optimize.Problem{
		Func: r.loss,
		Grad: func(grad, x []float64) { fd.Gradient(grad, r.loss, x, &fd.Settings{Formula: fd.Central}) },
	}
	found, err := optimize.Minimize(problem, theta, &optimize.Settings{GradientThreshold: 1e-5, MajorIterations: 500}, &optimize.BFGS{})
	if found == nil || math.IsInf(found.F, 0) || math.IsNaN(found.F) {
		return nil, infeasible(ReasonRange, "y", "gives no covariance of visits: %v", err)
	}
	return r.fit(found.X)
}

func (m Repeated) checked() (*repeated, error) {
	n, p := len(m.Y), len(m.Columns)
	if len(m.Subject) != n || len(m.Visit) != n {
		return nil, invalid("subject", "and visit have %d and %d values; want %d", len(m.Subject), len(m.Visit), n)
	}
	for j, c := range m.Columns {
		if len(c) != n {
			return nil, invalid("columns", "%d has %d values; want %d", j, len(c), n)
		}
		if err := finite("columns", c...); err != nil {
			return nil, err
		}
	}
	if err := finite("y", m.Y...); err != nil {
		return nil, err
	}
	if p == 0 || n <= p {
		return nil, infeasible(ReasonFew, "y", "are %d values for %d coefficients; want more", n, p)
	}
	r := &repeated{p: p, values: n}
	by, sizes := groups(m.Subject, n)
	rows := make([][]int, len(sizes))
	for i, s := range by {
		if m.Visit[i] < 0 || m.Visit[i] >= MostVisits {
			return nil, invalid("visit", "is %d; want 0 to %d", m.Visit[i], MostVisits-1)
		}
		r.visits = max(r.visits, m.Visit[i]+1)
		rows[s] = append(rows[s], i)
	}
	if len(sizes) <= r.visits+1 {
		return nil, infeasible(ReasonFew, "subject", "are %d for %d visits; want more than %d", len(sizes), r.visits, r.visits+1)
	}
	var err error
	if r.scale, err = m.rest(); err != nil {
		return nil, err
	}
	return r, r.gather(m, rows)
}

// rest is the SD of what least squares leaves over.
func (m Repeated) rest() (float64, error) {
	f := &Fit{Coef: make([]float64, len(m.Columns)), Aliased: make([]bool, len(m.Columns))}
	q, _ := f.plain(m.Columns, make([]float64, len(m.Columns)))
	if f.Rank < len(m.Columns) {
		return 0, infeasible(ReasonAlias, "columns", "depend on each other")
	}
	e := append([]float64(nil), m.Y...)
	for _, c := range q {
		k := dot(c, e)
		for i := range e {
			e[i] -= float64(k * c[i])
		}
	}
	s := dot(e, e) / float64(len(e)-len(m.Columns))
	if s <= 1e-20*dot(m.Y, m.Y)/float64(len(e)) {
		return 0, infeasible(ReasonSpread, "y", "is fitted without any rest: no standard error")
	}
	return math.Sqrt(s), nil
}

func (r *repeated) gather(m Repeated, rows [][]int) error {
	for _, list := range rows {
		s := subject{y: mat.NewVecDense(len(list), nil), x: mat.NewDense(len(list), r.p, nil)}
		seen := [MostVisits]bool{}
		for k, i := range list {
			if seen[m.Visit[i]] {
				return invalid("visit", "%d is there twice for subject %d", m.Visit[i], m.Subject[i])
			}
			seen[m.Visit[i]] = true
			s.visits = append(s.visits, m.Visit[i])
			s.y.SetVec(k, m.Y[i]/r.scale)
			for j, c := range m.Columns {
				s.x.Set(k, j, c[i])
			}
		}
		r.subjects = append(r.subjects, s)
	}
	return nil
}

// covariance of visits is L L' for a lower triangle L whose diagonal is given as logs.
func (r *repeated) covariance(theta []float64) *mat.SymDense {
	l := mat.NewTriDense(r.visits, mat.Lower, nil)
	k := 0
	for i := range r.visits {
		for j := range i {
			l.SetTri(i, j, theta[k])
			k++
		}
		l.SetTri(i, i, math.Exp(theta[k]))
		k++
	}
	var v mat.SymDense
	v.SymOuterK(1, l)
	return &v
}

// sums are what the likelihood needs of all subjects; ok tells that all could be inverted.
type sums struct {
	xx     *mat.SymDense // X' V^-1 X
	xy     *mat.VecDense
	yy     float64
	logdet float64 // of V
}

func (r *repeated) sums(v *mat.SymDense) (*sums, bool) {
	out := &sums{xx: mat.NewSymDense(r.p, nil), xy: mat.NewVecDense(r.p, nil)}
	for _, s := range r.subjects {
		part := mat.NewSymDense(len(s.visits), nil)
		for a, i := range s.visits {
			for b, j := range s.visits[:a+1] {
				part.SetSym(a, b, v.At(i, j))
			}
		}
		var c mat.Cholesky
		if !c.Factorize(part) {
			return nil, false
		}
		var solvedX, xx mat.Dense
		var solvedY, xy mat.VecDense
		if c.SolveTo(&solvedX, s.x) != nil || c.SolveVecTo(&solvedY, s.y) != nil {
			return nil, false
		}
		xx.Mul(s.x.T(), &solvedX)
		for i := range r.p {
			for j := range i + 1 {
				out.xx.SetSym(i, j, out.xx.At(i, j)+xx.At(i, j))
			}
		}
		xy.MulVec(s.x.T(), &solvedY)
		out.xy.AddVec(out.xy, &xy)
		out.yy += mat.Dot(s.y, &solvedY)
		out.logdet += c.LogDet()
	}
	return out, true
}

// loss is the negative restricted log-likelihood, in units of scale.
func (r *repeated) loss(theta []float64) float64 {
	s, ok := r.sums(r.covariance(theta))
	var c mat.Cholesky
	if !ok || !c.Factorize(s.xx) {
		return math.Inf(1)
	}
	var b mat.VecDense
	if c.SolveVecTo(&b, s.xy) != nil {
		return math.Inf(1)
	}
	rest := s.yy - mat.Dot(s.xy, &b)
	return 0.5 * (float64(float64(r.values-r.p)*math.Log(2*math.Pi)) + s.logdet + c.LogDet() + rest)
}

func (r *repeated) fit(theta []float64) (*RepeatedFit, error) {
	v := r.covariance(theta)
	s, ok := r.sums(v)
	var c mat.Cholesky
	if !ok || !c.Factorize(s.xx) || c.Cond() > 1e14 {
		return nil, infeasible(ReasonRange, "y", "gives a covariance of visits without an inverse")
	}
	var b mat.VecDense
	if err := c.SolveVecTo(&b, s.xy); err != nil {
		return nil, infeasible(ReasonAlias, "columns", "depend on each other")
	}
	out := &RepeatedFit{Subjects: len(r.subjects), model: r, at: theta}
	for j := range r.p {
		out.Coef = append(out.Coef, b.AtVec(j)*r.scale)
	}
	for i := range r.visits {
		row := make([]float64, r.visits)
		for j := range row {
			row[j] = v.At(i, j) * r.scale * r.scale
		}
		out.Covariance = append(out.Covariance, row)
	}
	out.LogLik = -r.loss(theta) - float64(float64(r.values-r.p)*math.Log(r.scale))
	var h mat.SymDense
	fd.Hessian(&h, r.loss, theta, &fd.Settings{Formula: fd.Central, Step: 1e-4})
	var hc mat.Cholesky
	if !hc.Factorize(&h) {
		return nil, infeasible(ReasonRange, "y", "does not settle the covariance of visits: too few have them together")
	}
	out.spread = &mat.SymDense{}
	if err := hc.InverseTo(out.spread); err != nil {
		return nil, infeasible(ReasonRange, "y", "does not settle the covariance of visits: too few have them together")
	}
	return out, nil
}

// Contrast gives a sum of coefficients by weights, with Satterthwaite's degrees of
// freedom: 2 v^2 over the variance of v, the contrast's variance (Fai & Cornelius 1996,
// J Stat Comput Simul 54:363-378, from memory).
func (f *RepeatedFit) Contrast(weights []float64, level float64) (Estimate, error) {
	if len(weights) != len(f.Coef) {
		return Estimate{}, invalid("weights", "are %d; want one for each of %d coefficients", len(weights), len(f.Coef))
	}
	if err := finite("weights", weights...); err != nil {
		return Estimate{}, err
	}
	variance := func(theta []float64) float64 {
		s, ok := f.model.sums(f.model.covariance(theta))
		var c mat.Cholesky
		if !ok || !c.Factorize(s.xx) {
			return math.NaN()
		}
		w := mat.NewVecDense(len(weights), weights)
		var x mat.VecDense
		if c.SolveVecTo(&x, w) != nil {
			return math.NaN()
		}
		return mat.Dot(w, &x)
	}
	v := variance(f.at)
	g := mat.NewVecDense(len(f.at), fd.Gradient(nil, variance, f.at, &fd.Settings{Formula: fd.Central}))
	df := 2 * v * v / mat.Inner(g, f.spread, g)
	if !(v > 0) || !(df > 0) || math.IsInf(df, 0) {
		return Estimate{}, infeasible(ReasonSpread, "weights", "give a sum without a standard error")
	}
	return FromSE(dot(weights, f.Coef), math.Sqrt(v)*f.model.scale, df, level)
}
