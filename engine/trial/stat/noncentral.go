package stat

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// NoncentralTCDF is P(T <= t) with df degrees of freedom and noncentrality ncp, to about
// 1e-13, by the sums of Guenther 1978 (J Stat Comput Simul 6:199-206): with x = t^2/(df+t^2)
// and Poisson weights of ncp^2/2,
//
//	Phi(-ncp) + 1/2 sum [ p_j I_x(j+1/2, df/2) + q_j I_x(j+1, df/2) ],  t >= 0.
//
// Terms are added from the largest index down, where the recurrence of the incomplete
// beta function only adds.
func NoncentralTCDF(t, df, ncp float64) float64 {
	if t < 0 {
		return 1 - NoncentralTCDF(-t, df, -ncp)
	}
	half := float64(ncp * ncp / 2)
	if half == 0 {
		return 1 - TUpper(t, df)
	}
	if math.IsInf(df, 1) || df > 1e8 {
		return NormalCDF(t - ncp)
	}
	if math.Abs(ncp) > farNoncentral {
		// Johnson & Welch 1940 (Biometrika 31:362-389): far out nothing but 0 or 1 is asked for.
		return NormalCDF((float64(t*(1-1/(4*df))) - ncp) / math.Sqrt(1+t*t/(2*df)))
	}
	base := NormalCDF(-ncp)
	if t == 0 {
		return base
	}
	x, y := float64(t*t/(df+float64(t*t))), float64(df/(df+float64(t*t)))
	lo := math.Max(0, math.Floor(half-float64(9*math.Sqrt(half))-20))
	hi := math.Floor(half + float64(9*math.Sqrt(half)) + 20)
	if half < 1 {
		hi = min(hi, math.Floor(-250/math.Log10(half))) // a first weight of 0 would make all of them 0
	}
	b := float64(df / 2)
	odd, even := mathext.RegIncBeta(hi+0.5, b, x), mathext.RegIncBeta(hi+1, b, x)
	logx, logy := math.Log(x), math.Log(y)
	// Differences I_x(a,b) - I_x(a+1,b) = x^a y^b / (a B(a,b)), carried down as ratios.
	step := func(a float64) float64 {
		return math.Exp(float64(a*logx) + float64(b*logy) - math.Log(a) - lgamma(a) - lgamma(b) + lgamma(a+b))
	}
	stepOdd, stepEven := step(hi+0.5), step(hi+1)
	p := math.Exp(float64(hi*math.Log(half)) - half - lgamma(hi+1))
	q := float64(math.Exp(float64(hi*math.Log(half))-half-lgamma(hi+1.5)) * ncp / math.Sqrt2)
	var sum float64
	for j := hi; j >= lo; j-- {
		sum += float64(p*odd) + float64(q*even)
		a := j + 0.5
		stepOdd = float64(stepOdd * a / ((a - 1 + b) * x))
		odd += stepOdd
		stepEven = float64(stepEven * (a + 0.5) / ((a - 0.5 + b) * x))
		even += stepEven
		p *= j / half
		q *= (j + 0.5) / half
	}
	return min(1, max(0, base+float64(sum/2)))
}

// farNoncentral is beyond what any test of a trial has.
const farNoncentral = 1000

// NoncentralTUpper is P(T > t).
func NoncentralTUpper(t, df, ncp float64) float64 { return NoncentralTCDF(-t, df, -ncp) }

// NoncentralFUpper is P(F > f): a Poisson mixture of incomplete beta functions.
func NoncentralFUpper(f, df1, df2, ncp float64) float64 {
	if f <= 0 {
		return 1
	}
	half := float64(ncp / 2)
	if half == 0 {
		return FUpper(f, df1, df2)
	}
	if ncp > farNoncentral*farNoncentral {
		// Patnaik 1949 (Biometrika 36:202-232): a central F of the same mean and variance.
		k := df1 + ncp
		return FUpper(f*df1/k, k*k/(df1+float64(2*ncp)), df2)
	}
	y := float64(df2 / (df2 + float64(df1*f)))
	lo := math.Max(0, math.Floor(half-float64(9*math.Sqrt(half))-20))
	hi := math.Floor(half + float64(9*math.Sqrt(half)) + 20)
	var sum float64
	for j := lo; j <= hi; j++ {
		p := math.Exp(float64(j*math.Log(half)) - half - lgamma(j+1))
		sum += float64(p * mathext.RegIncBeta(df2/2, float64(df1/2)+j, y))
	}
	return min(1, sum)
}

// NoncentralTInterval is the interval of the noncentrality that a t leaves: the values
// whose own upper and lower tails at t are half of 1-level each.
func NoncentralTInterval(t, df, level float64) (low, high float64, err error) {
	if err := first(finite("t", t, df), checkLevel(level)); err != nil {
		return 0, 0, err
	}
	if df <= 0 {
		return 0, 0, infeasible(ReasonFew, "df", "is %v; want more than 0", df)
	}
	if math.Abs(t) > 200 {
		return 0, 0, infeasible(ReasonRange, "t", "is %.4g; noncentral intervals are computed up to 200 in size", t)
	}
	a := float64((1 - level) / 2)
	at := func(p float64) float64 {
		f := func(ncp float64) float64 { return NoncentralTCDF(t, df, ncp) - p }
		lo, hi := t-1, t+1
		for step := 2.0; f(lo) < 0 && step < 1e4; step *= 2 {
			lo -= step
		}
		for step := 2.0; f(hi) > 0 && step < 1e4; step *= 2 {
			hi += step
		}
		return root(f, lo, hi)
	}
	return at(1 - a), at(a), nil
}
