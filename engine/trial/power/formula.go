package power

import (
	"math"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Sides of a test.
type Sides uint8

// Kinds.
const (
	TwoSided Sides = iota
	OneSided       // towards a positive effect
)

// tPower is the power of a t test with df degrees of freedom and noncentrality ncp, both
// tails counted where two-sided.
func tPower(ncp, df, alpha float64, s Sides) float64 {
	if !(df > 0) {
		return 0
	}
	if s == OneSided {
		return stat.NoncentralTUpper(stat.TQuantile(1-alpha, df), df, ncp)
	}
	c := stat.TQuantile(1-float64(alpha/2), df)
	return stat.NoncentralTUpper(c, df, ncp) + stat.NoncentralTCDF(-c, df, ncp)
}

// TwoSample is the power of Student's t test for a standardised difference d between n1
// and n2 units.
func TwoSample(n1, n2, d, alpha float64, s Sides) (float64, error) {
	if err := first(number("d", d), level(alpha)); err != nil {
		return 0, err
	}
	if !(n1 >= 2 && n2 >= 2) || n1+n2 > 1e9 {
		return 0, invalid("n", "are %v and %v; want 2 or more each", n1, n2)
	}
	return tPower(d*math.Sqrt(n1*n2/(n1+n2)), n1+n2-2, alpha, s), nil
}

// Pairs is the power of the paired t test: dz is the mean over the SD of differences.
func Pairs(n, dz, alpha float64, s Sides) (float64, error) {
	if err := first(number("dz", dz), level(alpha)); err != nil {
		return 0, err
	}
	if !(n >= 2) || n > 1e9 {
		return 0, invalid("n", "is %v; want 2 or more pairs", n)
	}
	return tPower(dz*math.Sqrt(n), n-1, alpha, s), nil
}

// PairedFrom turns a difference in SDs of one measurement into one in SDs of
// differences, for two measurements that correlate by r.
func PairedFrom(d, r float64) float64 { return d / math.Sqrt(2*(1-r)) }

// Number is a sample size: what the formula gives, and the whole number to enrol.
type Number struct {
	Exact float64
	Whole int
}

// solve finds the size at which a rising power reaches its target.
func solve(f func(n float64) float64, low, target float64) (Number, error) {
	if err := unit("power", target); err != nil {
		return Number{}, err
	}
	high := math.Max(4, 2*low)
	for f(high) < target {
		if high *= 2; high > 1e8 {
			return Number{}, fault.New(fault.Infeasible, ReasonRange, "power", "is not reached with a hundred million units: the effect is as good as none")
		}
	}
	if f(low) >= target {
		return Number{low, int(math.Ceil(low))}, nil
	}
	n := stat.Root(func(n float64) float64 { return f(n) - target }, low, high)
	return Number{n, int(math.Ceil(n - 1e-9))}, nil
}

// TwoSampleSize is the number in each of two equal arms.
func TwoSampleSize(d, alpha, target float64, s Sides) (Number, error) {
	if err := first(number("d", d), level(alpha)); err != nil {
		return Number{}, err
	}
	d = sized(d, s)
	return solve(func(n float64) float64 { return tPower(d*math.Sqrt(n/2), 2*n-2, alpha, s) }, 2, target)
}

// sized is the effect as the test sees it: its size where two-sided.
func sized(d float64, s Sides) float64 {
	if s == TwoSided {
		return math.Abs(d)
	}
	return d
}

// PairsSize is the number of pairs.
func PairsSize(dz, alpha, target float64, s Sides) (Number, error) {
	if err := first(number("dz", dz), level(alpha)); err != nil {
		return Number{}, err
	}
	dz = sized(dz, s)
	return solve(func(n float64) float64 { return tPower(dz*math.Sqrt(n), n-1, alpha, s) }, 2, target)
}

// Detectable is the difference in SDs that n units in each arm show with a given power.
func Detectable(n, alpha, target float64, s Sides) (float64, error) {
	if err := first(level(alpha), unit("power", target)); err != nil {
		return 0, err
	}
	if !(n >= 2) || n > 1e8 || target <= alpha {
		return 0, invalid("n", "is %v with power %v; want 2 or more and a power above alpha", n, target)
	}
	return stat.Root(func(d float64) float64 { return tPower(d*math.Sqrt(n/2), 2*n-2, alpha, s) - target }, 0, 60), nil
}

// VarianceSize is the number in each of k arms for Cohen's f in a one-way analysis of
// variance.
func VarianceSize(k int, f, alpha, target float64) (Number, error) {
	if err := first(number("f", f), level(alpha)); err != nil {
		return Number{}, err
	}
	if k < 2 || !(f > 0) {
		return Number{}, invalid("k", "is %d with f %v; want 2 arms or more and f above 0", k, f)
	}
	arms := float64(k)
	return solve(func(n float64) float64 {
		df1, df2 := arms-1, float64(arms*n)-arms
		return stat.NoncentralFUpper(stat.FQuantile(1-alpha, df1, df2), df1, df2, f*f*arms*n)
	}, 2, target)
}

// CorrelationSize is the number of units that show a correlation r, by Fisher's z with
// its small-sample term.
func CorrelationSize(r, alpha, target float64) (Number, error) {
	if err := first(unit("r", math.Abs(r)), level(alpha)); err != nil {
		return Number{}, err
	}
	r = math.Abs(r)
	return solve(func(n float64) float64 {
		t := stat.TQuantile(1-float64(alpha/2), n-2)
		critical := math.Atanh(t / math.Sqrt(float64(t*t)+n-2))
		z := math.Atanh(r) + float64(r/(2*(n-1)))
		return stat.NormalCDF((z-critical)*math.Sqrt(n-3)) + stat.NormalCDF((-z-critical)*math.Sqrt(n-3))
	}, 4, target)
}

// ProportionsSize is the number in each arm for two proportions by the arcsine
// difference h, which it gives too.
func ProportionsSize(p1, p2, alpha, target float64) (h float64, n Number, err error) {
	if err := first(unit("p1", p1), unit("p2", p2), level(alpha)); err != nil {
		return 0, Number{}, err
	}
	h = math.Abs(float64(2*math.Asin(math.Sqrt(p1))) - float64(2*math.Asin(math.Sqrt(p2))))
	c := stat.NormalUpperQuantile(alpha / 2)
	n, err = solve(func(n float64) float64 {
		return stat.NormalUpper(c-float64(h*math.Sqrt(n/2))) + stat.NormalUpper(c+float64(h*math.Sqrt(n/2)))
	}, 1, target)
	return h, n, err
}
