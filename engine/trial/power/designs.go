package power

import (
	"math"

	"github.com/phasewright/phasewright/engine/trial/stat"
)

// AncovaFactor is by how much holding the baseline equal shrinks a two-sample size, for a
// correlation rho within arms (Borm, Fransen & Lemmens 2007, J Clin Epidemiol
// 60:1234-1238). Multiply the exact size, not the rounded one; add one to each arm when
// small.
func AncovaFactor(rho float64) float64 { return 1 - float64(rho*rho) }

// ChangeFactor is the same for change scores: below 1 only for rho above 0.5, and never
// below AncovaFactor.
func ChangeFactor(rho float64) float64 { return 2 * (1 - rho) }

// Times scales an exact size.
func (n Number) Times(factor float64) Number {
	x := float64(n.Exact * factor)
	return Number{x, int(math.Ceil(x - 1e-9))}
}

// Ancova is the power of an analysis of covariance for d in SDs of the outcome, with n
// units in each arm and covariates that leave 1-rho^2 of the variance; chance imbalance
// of the covariates costs the factor 1 + p/(2n-p-3).
func Ancova(n, d, rho float64, covariates int, alpha float64) (float64, error) {
	if err := first(number("d", d), number("n", n), level(alpha)); err != nil {
		return 0, err
	}
	p := float64(covariates)
	if !(rho > -1 && rho < 1) || covariates < 0 || !(float64(2*n)-p-3 > 0) {
		return 0, invalid("rho", "is %v with %d covariates and %v in each arm; want between -1 and 1, and more units than covariates", rho, covariates, n)
	}
	return tPower(d/math.Sqrt(2/n*(1-float64(rho*rho))*(1+p/(float64(2*n)-p-3))), float64(2*n)-2-p, alpha, TwoSided), nil
}

// DesignEffect is by how much clusters of m athletes inflate variance at an intraclass
// correlation (Donner & Klar 2000), with sizes that vary by a coefficient cv (Eldridge,
// Ashby & Kerry 2006, Int J Epidemiol 35:1292-1300).
func DesignEffect(m, icc, cv float64) float64 {
	return 1 + float64((float64((float64(cv*cv)+1)*m)-1)*icc)
}

// Clusters is the power with k clusters of m in each arm. Degrees of freedom count
// clusters; more athletes to a cluster never take the noncentrality above d sqrt(k/(2 icc)).
func Clusters(k, m, icc, d, alpha float64) (power, ncp, df float64, err error) {
	if err := first(number("d", d), number("clusters", k), number("cluster_size", m), level(alpha)); err != nil {
		return 0, 0, 0, err
	}
	if !(k >= 2 && m >= 1 && icc >= 0 && icc <= 1) {
		return 0, 0, 0, invalid("clusters", "are %v of %v with icc %v; want 2 or more of 1 or more, icc 0 to 1", k, m, icc)
	}
	ncp, df = d*math.Sqrt(k*m/(2*DesignEffect(m, icc, 0))), 2*(k-1)
	return tPower(ncp, df, alpha, TwoSided), ncp, df, nil
}

// EquivalenceSize is the number in each arm that shows an effect of 0 to lie within
// -bound and bound (in SDs) by two one-sided tests; normal approximation (Schuirmann 1987).
func EquivalenceSize(bound, alpha, target float64) (Number, error) {
	if err := first(level(alpha), unit("power", target)); err != nil {
		return Number{}, err
	}
	if !(bound > 0) || math.IsInf(bound, 0) {
		return Number{}, invalid("bound", "is %v; want more than 0 SDs", bound)
	}
	z := stat.NormalUpperQuantile(alpha) + stat.NormalUpperQuantile((1-target)/2)
	return Number{Exact: 2}.Times(z * z / (bound * bound)), nil
}

// SmallestClusterP is the least two-sided p-value that drawing k of 2k clusters can
// give: 2 / C(2k, k), 0.1 with three in each arm.
func SmallestClusterP(k int) float64 {
	ways := 1.0
	for i := 1; i <= k; i++ {
		ways = ways * float64(k+i) / float64(i)
	}
	return 2 / ways
}
