package stat

import "math"

// J is the factor that takes the bias off a standardised difference with df degrees of
// freedom, exactly (Hedges 1981, J Educ Stat 6:107-128); 1 - 3/(4 df - 1) is near it.
func J(df float64) float64 {
	if df > 1e7 {
		return 1 - 3/(float64(4*df)-1)
	}
	return math.Exp(lgamma(df/2)-lgamma((df-1)/2)) * math.Sqrt(2/df)
}

// Effect is a standardised difference of two groups.
type Effect struct {
	D, G        float64 // G = J D
	SD, J, DF   float64
	T           float64
	DLow, DHigh float64 // by the noncentral t
	GLow, GHigh float64 // J times those
	// Two conventions of the sampling variance are in use. VarD, VarG: Borenstein et al.
	// 2009, (n1+n2)/(n1 n2) + d^2/(2(n1+n2)) and J^2 times it. VarGLS: the first with g
	// for d. Pooled evidence states which.
	VarD, VarG, VarGLS float64
}

// StandardisedDifference is (a - b) / pooled SD, with its interval.
func StandardisedDifference(a, b Summary, level float64) (Effect, error) {
	if err := first(a.check("a"), b.check("b"), checkLevel(level)); err != nil {
		return Effect{}, err
	}
	n1, n2 := float64(a.N), float64(b.N)
	e := Effect{SD: PooledSD(a, b), DF: n1 + n2 - 2}
	if e.SD == 0 {
		return Effect{}, infeasible(ReasonSpread, "sd", "is 0 in both groups: no standardised difference")
	}
	k := math.Sqrt(1/n1 + 1/n2)
	e.J, e.D = J(e.DF), (a.Mean-b.Mean)/e.SD
	e.G, e.T = e.J*e.D, e.D/k
	low, high, err := NoncentralTInterval(e.T, e.DF, level)
	if err != nil {
		return Effect{}, err
	}
	e.DLow, e.DHigh = low*k, high*k
	e.GLow, e.GHigh = e.J*e.DLow, e.J*e.DHigh
	e.VarD = (n1+n2)/(n1*n2) + e.D*e.D/(2*(n1+n2))
	e.VarG = e.J * e.J * e.VarD
	e.VarGLS = (n1+n2)/(n1*n2) + e.G*e.G/(2*(n1+n2))
	return e, nil
}

// PairedEffect are the standardised differences of paired values. They differ in what
// they divide by and can't be pooled with each other.
type PairedEffect struct {
	DZ, GZ        float64 // by the SD of the differences
	DZLow, DZHigh float64
	DAv           float64 // by the root mean square of both SDs
	DRM           float64 // DZ sqrt(2(1-R)): by the SD within, from the SD of the differences
	R             float64
}

// PairedDifference standardises x - y of pairs.
func PairedDifference(x, y []float64, level float64) (PairedEffect, error) {
	d, err := differences(x, y)
	if err != nil {
		return PairedEffect{}, err
	}
	t, err := OneSample(d, level)
	if err != nil {
		return PairedEffect{}, err
	}
	r, err := Correlation(x, y)
	if err != nil {
		return PairedEffect{}, err
	}
	sx, _ := Summarise(x)
	sy, _ := Summarise(y)
	k := math.Sqrt(1 / float64(len(d)))
	low, high, err := NoncentralTInterval(t.T, t.DF, level)
	if err != nil {
		return PairedEffect{}, err
	}
	e := PairedEffect{DZ: t.T * k, R: r, DZLow: low * k, DZHigh: high * k}
	e.GZ = e.DZ * J(t.DF)
	e.DAv = t.Value / math.Sqrt((float64(sx.SD*sx.SD)+float64(sy.SD*sy.SD))/2)
	e.DRM = e.DZ * math.Sqrt(2*(1-r))
	return e, nil
}

// Correlation is Pearson's.
func Correlation(x, y []float64) (float64, error) {
	if len(x) != len(y) {
		return 0, invalid("y", "has %d values; want %d as x has", len(y), len(x))
	}
	sx, err := Summarise(x)
	if err != nil {
		return 0, err
	}
	sy, err := Summarise(y)
	if err != nil {
		return 0, err
	}
	if sx.SD == 0 || sy.SD == 0 {
		return 0, infeasible(ReasonSpread, "values", "don't vary: no correlation")
	}
	var sum float64
	for i := range x {
		sum += float64((x[i] - sx.Mean) / sx.SD * ((y[i] - sy.Mean) / sy.SD))
	}
	return max(-1, min(1, sum/float64(len(x)-1))), nil
}

// PrePost is a standardised pre-post effect with its sampling variance.
type PrePost struct {
	SDWithin, D, VarD float64
	J, G, VarG        float64
}

// PrePostFromDifference standardises a mean difference by the SD within, from the SD of
// the differences and their correlation (Borenstein et al. 2009, ch. 4).
func PrePostFromDifference(diff, sd float64, n int, r float64) (PrePost, error) {
	if err := finite("difference", diff, sd, r); err != nil {
		return PrePost{}, err
	}
	if n < 3 || !(sd > 0) || !(r > -1 && r < 1) {
		return PrePost{}, infeasible(ReasonSpread, "pre_post", "has n %d, SD %v, r %v; want 3 or more, an SD above 0 and r between -1 and 1", n, sd, r)
	}
	p := PrePost{SDWithin: sd / math.Sqrt(2*(1-r)), J: J(float64(n - 1))}
	p.D = diff / p.SDWithin
	p.VarD = (1/float64(n) + p.D*p.D/(2*float64(n))) * 2 * (1 - r)
	p.G, p.VarG = p.J*p.D, p.J*p.J*p.VarD
	return p, nil
}

// Change is a group's mean before and after, with the SD before (raw units).
type Change struct {
	Pre, Post, SD float64
	N             int
}

// PrePostControl is Morris's d_ppc2 (2008, Organ Res Methods 11:364-386, eq. 8 to 10 and
// 25): the difference of the changes over the pooled SD before. r is the pre-post
// correlation.
type PrePostControl struct {
	SD      float64
	C       float64 // 1 - 3/(4 df - 1)
	D       float64 // with C
	DExactJ float64 // with the exact J
	Var     float64
}

// PrePostControlled compares the changes of a treated and a control group.
func PrePostControlled(t, c Change, r float64) (PrePostControl, error) {
	if err := finite("change", t.Pre, t.Post, t.SD, c.Pre, c.Post, c.SD, r); err != nil {
		return PrePostControl{}, err
	}
	n := float64(t.N + c.N)
	if t.N < 2 || c.N < 2 || n <= 4 {
		return PrePostControl{}, infeasible(ReasonFew, "n", "are %d and %d; want 2 or more each and 5 together", t.N, c.N)
	}
	out := PrePostControl{SD: PooledSD(Summary{t.N, 0, t.SD}, Summary{c.N, 0, c.SD}), C: 1 - 3/(float64(4*(n-2))-1)}
	if !(out.SD > 0) || !(r > -1 && r < 1) {
		return PrePostControl{}, infeasible(ReasonSpread, "sd", "is %v before and r %v; want an SD above 0 and r between -1 and 1", out.SD, r)
	}
	raw := ((t.Post - t.Pre) - (c.Post - c.Pre)) / out.SD
	out.D, out.DExactJ = out.C*raw, J(n-2)*raw
	k := 2 * (1 - r) * n / (float64(t.N) * float64(c.N))
	out.Var = float64(out.C*out.C*k*((n-2)/(n-4))*(1+out.D*out.D/k)) - float64(out.D*out.D)
	return out, nil
}

// StandardisedChange is the single group's mean change over its SD before, unbiased
// (Becker 1988, Br J Math Stat Psychol 41:257-278), with its variance 2(1-r)/n + d^2/(2n).
// It is no effect of a trial: time, learning and regression to the mean are in it.
func StandardisedChange(c Change, r float64) (d, variance float64, err error) {
	if err := finite("change", c.Pre, c.Post, c.SD, r); err != nil {
		return 0, 0, err
	}
	if c.N < 3 || !(c.SD > 0) {
		return 0, 0, infeasible(ReasonSpread, "sd", "is %v with n %d; want an SD above 0 and 3 or more", c.SD, c.N)
	}
	n := float64(c.N)
	d = J(n-1) * (c.Post - c.Pre) / c.SD
	return d, 2*(1-r)/n + d*d/(2*n), nil
}
