package stat

import "math"

// Rerandomised is what accepting only balanced draws does (Morgan & Rubin 2012, Ann Stat
// 40:1263-1282, Theorem 3.1; normal covariates, equal arms).
type Rerandomised struct {
	Most float64 // largest Mahalanobis distance M: the accept quantile of chi-squared
	// Left is the share of the variance of the covariates' differences that is left. That
	// of the outcome's falls by (1-Left) R^2.
	Left float64
}

// Rerandomise gives the rule that accepts a share of draws on k covariates.
func Rerandomise(k int, accept float64) (Rerandomised, error) {
	if k < 1 || !(accept > 0 && accept <= 1) || math.IsNaN(accept) {
		return Rerandomised{}, invalid("accept", "is %v with %d covariates; want a share above 0 and a covariate or more", accept, k)
	}
	if accept == 1 {
		return Rerandomised{}, invalid("accept", "is 1: every draw, which needs no rule")
	}
	a := ChiSquaredQuantile(accept, float64(k))
	return Rerandomised{a, ChiSquaredCDF(a, float64(k)+2) / ChiSquaredCDF(a, float64(k))}, nil
}
