package stat

import "math"

// Intercepts is a linear model with a random level for each group, by restricted maximum
// likelihood: y = X b + u_group + e. It uses units whose partner is missing, which
// differences of pairs lose.
type Intercepts struct {
	Intercept       float64
	Coef, SE        []float64
	SDGroup, SDUnit float64
	LogLik          float64 // restricted
	Groups, N       int
	InterceptSE     float64
}

// RandomIntercepts fits the model: by rows y, columns and group. For a given ratio of
// variances v = SDGroup^2/SDUnit^2 it is least squares on values less a share
// 1 - 1/sqrt(1 + v n) of their group's mean; the ratio is found on a grid and by golden
// section, on the log scale and at 0.
func RandomIntercepts(m Model) (*Intercepts, error) {
	if len(m.Group) != len(m.Y) {
		return nil, invalid("group", "has %d values; want %d", len(m.Group), len(m.Y))
	}
	by, sizes := groups(m.Group, len(m.Y))
	p := len(m.Columns) + 1
	if len(m.Y) <= p || len(sizes) < 2 {
		return nil, infeasible(ReasonFew, "y", "are %d values in %d groups for %d coefficients; want more", len(m.Y), len(sizes), p)
	}
	ones := make([]float64, len(m.Y))
	for i := range ones {
		ones[i] = 1
	}
	columns := append([][]float64{ones}, m.Columns...)
	if _, err := LeastSquares(m); err != nil {
		return nil, err // its checks of the input
	}
	at := func(v float64) (*Intercepts, error) { return intercepts(m.Y, columns, by, sizes, v) }
	best, err := at(0)
	if err != nil {
		return nil, err
	}
	bestLog := math.Inf(-1)
	for l := -9.0; l <= 12; l += 0.5 {
		if r, err := at(math.Exp(l)); err == nil && r.LogLik > best.LogLik {
			best, bestLog = r, l
		}
	}
	if math.IsInf(bestLog, -1) {
		return best, nil
	}
	l := maximum(func(l float64) float64 {
		if r, err := at(math.Exp(l)); err == nil {
			return r.LogLik
		}
		return math.Inf(-1)
	}, bestLog-0.5, bestLog+0.5)
	if r, err := at(math.Exp(l)); err == nil && r.LogLik >= best.LogLik {
		best = r
	}
	return best, nil
}

// maximum is where f is largest between a and b, by golden section.
func maximum(f func(float64) float64, a, b float64) float64 {
	g := (math.Sqrt(5) - 1) / 2
	c, d := b-float64(g*(b-a)), a+float64(g*(b-a))
	fc, fd := f(c), f(d)
	for range 60 {
		if fc > fd {
			b, d, fd = d, c, fc
			c = b - float64(g*(b-a))
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + float64(g*(b-a))
			fd = f(d)
		}
	}
	return (a + b) / 2
}

func intercepts(y []float64, columns [][]float64, by []int, sizes []float64, v float64) (*Intercepts, error) {
	shrink := func(x []float64) []float64 {
		sums := make([]float64, len(sizes))
		for i, a := range x {
			sums[by[i]] += a
		}
		out := make([]float64, len(x))
		for i, a := range x {
			n := sizes[by[i]]
			out[i] = a - (1-1/math.Sqrt(1+float64(v*n)))*sums[by[i]]/n
		}
		return out
	}
	p := len(columns)
	f := &Fit{Coef: make([]float64, p), SE: make([]float64, p), HC3: make([]float64, p), Aliased: make([]bool, p)}
	raw := make([][]float64, p)
	for j, c := range columns {
		raw[j] = shrink(c)
	}
	ys := shrink(y)
	q, r := f.plain(raw, make([]float64, p))
	if f.Rank < p {
		return nil, infeasible(ReasonAlias, "columns", "depend on each other")
	}
	f.solve(ys, q, r)
	e := append([]float64(nil), ys...)
	for _, c := range q {
		k := dot(c, e)
		for i := range e {
			e[i] -= float64(k * c[i])
		}
	}
	df := float64(len(y) - p)
	s2 := dot(e, e) / df
	if s2 <= 1e-24*dot(ys, ys)/df {
		return nil, infeasible(ReasonSpread, "y", "is fitted without any rest: no standard error")
	}
	out := &Intercepts{Groups: len(sizes), N: len(y), SDUnit: math.Sqrt(s2), SDGroup: math.Sqrt(v * s2)}
	logdet := 0.0
	for _, n := range sizes {
		logdet += math.Log(1 + float64(v*n))
	}
	for j := range p {
		logdet += float64(2 * math.Log(r[j][j]))
	}
	out.LogLik = -0.5 * (float64(df*(math.Log(2*math.Pi*s2)+1)) + logdet)
	out.Intercept, out.InterceptSE = f.Coef[0], out.SDUnit*math.Sqrt(f.inverse[0][0])
	for j := 1; j < p; j++ {
		out.Coef = append(out.Coef, f.Coef[j])
		out.SE = append(out.SE, out.SDUnit*math.Sqrt(f.inverse[j][j]))
	}
	return out, nil
}
