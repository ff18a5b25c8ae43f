// Package stat holds the statistics of a trial: each a function from numbers to an
// estimate with its uncertainty, or to a fault that says why there is none. Nothing here
// knows athletes, arms by name, or storage.
//
//   - dist.go, noncentral.go: distributions beyond those of gonum, and their tails
//   - ttest.go: paired, pooled and Welch; equivalence.go: two one-sided tests
//   - linear.go, ancova.go: least squares with a factor absorbed; the baseline-adjusted
//     effect; mixed.go: a random intercept by REML, which keeps the singles of pairs;
//     repeated.go: several visits with any covariance, for values missing at random
//   - effect.go: d, g with exact J, paired and pre-post kinds, intervals by noncentral t
//   - reliability.go: typical error, ICC, minimal detectable change, SD of response
//   - randomise.go: tests over the assignments that the scheme could have made
//   - rank.go, fisher.go: exact signed rank, exact 2 x 2
//   - multiple.go, missing.go: Holm, Benjamini-Hochberg and others; Rubin's rules, worst case
//   - bayes.go: normal prior, mixtures, what the posterior says of a smallest effect
//   - adaptive.go: chances and estimates where arms were not equally likely
//
// Levels are those of two-sided intervals (0.95), p-values two-sided where not named
// otherwise. Results are never NaN or infinite; where
// a quantity does not exist (no spread, too few, a covariate that is the arm) the answer
// is an Infeasible fault. Last bits may differ between machines: nothing here decides an
// assignment or a load.
package stat

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
)

// Reasons of faults.
const (
	ReasonInput  = "STAT_INPUT"  // a number that can't be
	ReasonFew    = "STAT_FEW"    // too few to estimate this
	ReasonSpread = "STAT_SPREAD" // no variation, so no standard error
	ReasonAlias  = "STAT_ALIAS"  // the effect can't be told from a covariate or a stratum
	ReasonRange  = "STAT_RANGE"  // no answer within what can be computed
)

func invalid(field, format string, args ...any) error {
	return fault.New(fault.Invalid, ReasonInput, field, fmt.Sprintf(format, args...))
}

func infeasible(reason, field, format string, args ...any) error {
	return fault.New(fault.Infeasible, reason, field, fmt.Sprintf(format, args...))
}

// finite checks that all of a field's numbers are.
func finite(field string, xs ...float64) error {
	for i, x := range xs {
		if math.IsNaN(x) || math.Abs(x) > 1e150 {
			return invalid(fmt.Sprintf("%s[%d]", field, i), "is %v; want a number of at most 1e150", x)
		}
	}
	return nil
}

func checkLevel(level float64) error {
	if !(level > 0 && level < 1) {
		return invalid("level", "is %v; want between 0 and 1, such as 0.95", level)
	}
	return nil
}

func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
