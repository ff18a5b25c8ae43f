package stat

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// NormalCDF is P(Z <= z).
func NormalCDF(z float64) float64 { return float64(0.5 * math.Erfc(-z/math.Sqrt2)) }

// NormalUpper is P(Z > z), exact far out.
func NormalUpper(z float64) float64 { return NormalCDF(-z) }

// NormalDensity is the standard normal density.
func NormalDensity(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }

// NormalQuantile is the z with P(Z <= z) = p.
func NormalQuantile(p float64) float64 {
	if p > 0.5 {
		return -NormalQuantile(1 - p)
	}
	switch {
	case math.IsNaN(p) || p < 0:
		return math.NaN()
	case p == 0:
		return math.Inf(-1)
	}
	z := mathext.NormalQuantile(p)
	// A step of Newton's takes off what the approximation left.
	if f := NormalDensity(z); f > 0 {
		z -= float64((NormalCDF(z) - p) / f)
	}
	return z
}

// NormalUpperQuantile is the z with P(Z > z) = p, exact for small p.
func NormalUpperQuantile(p float64) float64 { return -NormalQuantile(p) }

// TUpper is P(T > t) for df > 0 degrees of freedom; infinite df are the normal's.
func TUpper(t, df float64) float64 {
	if math.IsInf(df, 1) || df > 1e10 {
		return NormalUpper(t)
	}
	if math.Abs(t) < 1 {
		return 0.5 - math.Copysign(0.5*mathext.RegIncBeta(0.5, df/2, t*t/(df+float64(t*t))), t)
	}
	half := float64(0.5 * mathext.RegIncBeta(df/2, 0.5, df/(df+float64(t*t))))
	if t < 0 {
		return 1 - half
	}
	return half
}

// TTwoSided is P(|T| > |t|).
func TTwoSided(t, df float64) float64 { return float64(2 * TUpper(math.Abs(t), df)) }

// TQuantile is the t with P(T <= t) = p.
func TQuantile(p, df float64) float64 {
	switch {
	case p == 0.5:
		return 0
	case p < 0.5:
		return -TQuantile(1-p, df)
	case math.IsInf(df, 1) || df > 1e10:
		return NormalQuantile(p)
	}
	upper := 1 - p
	high := 1.0
	for TUpper(high, df) > upper && high < 1e300 {
		high *= 2
	}
	return root(func(t float64) float64 { return TUpper(t, df) - upper }, 0, high)
}

// ChiSquaredCDF is P(X <= x).
func ChiSquaredCDF(x, df float64) float64 {
	if x <= 0 {
		return 0
	}
	return mathext.GammaIncReg(df/2, x/2)
}

// ChiSquaredQuantile is the x with P(X <= x) = p.
func ChiSquaredQuantile(p, df float64) float64 {
	x := 2 * mathext.GammaIncRegInv(df/2, p)
	// In logs, as small quantiles of one degree of freedom are the usual case.
	for range 3 {
		density := math.Exp(float64((float64(df/2)-1)*math.Log(x)) - float64(x/2) - lgamma(df/2) - float64(df/2*math.Ln2))
		next := x - float64((ChiSquaredCDF(x, df)-p)/density)
		if !(next > 0) || math.IsInf(next, 0) {
			return x
		}
		x = next
	}
	return x
}

// FUpper is P(F > f).
func FUpper(f, df1, df2 float64) float64 {
	if f <= 0 {
		return 1
	}
	return mathext.RegIncBeta(df2/2, df1/2, df2/(df2+float64(df1*f)))
}

// FQuantile is the f with P(F <= f) = p.
func FQuantile(p, df1, df2 float64) float64 {
	high := 1.0
	for FUpper(high, df1, df2) > 1-p && high < 1e300 {
		high *= 2
	}
	return root(func(f float64) float64 { return FUpper(f, df1, df2) - (1 - p) }, 0, high)
}

func lgamma(x float64) float64 {
	v, _ := math.Lgamma(x)
	return v
}

// Root finds where f changes its sign between a and b; b where it does not.
func Root(f func(float64) float64, a, b float64) float64 { return root(f, a, b) }

// root is Brent's method (1973, Algorithms for Minimization without Derivatives, ch. 4).
func root(f func(float64) float64, a, b float64) float64 {
	fa, fb := f(a), f(b)
	if fa == 0 {
		return a
	}
	if fa*fb > 0 {
		return b
	}
	c, fc := a, fa
	d := b - a
	e := d
	for range 200 {
		if fb*fc > 0 {
			c, fc = a, fa
			d = b - a
			e = d
		}
		if math.Abs(fc) < math.Abs(fb) {
			a, b, c = b, c, b
			fa, fb, fc = fb, fc, fb
		}
		tol := float64(2e-16*math.Abs(b)) + 1e-300
		m := (c - b) / 2
		if math.Abs(m) <= tol || fb == 0 {
			return b
		}
		if math.Abs(e) >= tol && math.Abs(fa) > math.Abs(fb) {
			e, d = interpolate(a, b, c, fa, fb, fc, m, e, d, tol)
		} else {
			d, e = m, m
		}
		a, fa = b, fb
		if math.Abs(d) > tol {
			b += d
		} else {
			b += math.Copysign(tol, m)
		}
		fb = f(b)
	}
	return b
}

// interpolate proposes Brent's next step, or halves.
func interpolate(a, b, c, fa, fb, fc, m, e, d, tol float64) (float64, float64) {
	s := fb / fa
	var p, q float64
	if a == c {
		p, q = 2*m*s, 1-s
	} else {
		r, t := fb/fc, fa/fc
		p = s * (float64(2*m*t*(t-r)) - float64((b-a)*(r-1)))
		q = (t - 1) * (r - 1) * (s - 1)
	}
	if p > 0 {
		q = -q
	}
	p = math.Abs(p)
	if 2*p < min(float64(3*m*q)-math.Abs(tol*q), math.Abs(e*q)) {
		return d, p / q
	}
	return m, m
}
