// Package sequential lets one look at a trial before its end without fooling oneself.
//
//   - boundary.go: group sequential bounds, by exact constants or by spending alpha as
//     information comes in, each by numerical integration
//   - anytime.go: confidence sequences and e-values, which hold at every look
//   - harm.go: when to stop because one arm is worse
//
// Looks are counted in information, the inverse of the squared standard error, as a
// share of what the trial was planned for; not in weeks or athletes. A t statistic is
// put in as the z of the same p-value (Z).
package sequential

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Reasons of faults.
const (
	ReasonLooks = "SEQUENTIAL_LOOKS"
	ReasonAlpha = "SEQUENTIAL_ALPHA"
	ReasonInput = "SEQUENTIAL_INPUT"
)

// MostLooks is the largest number of looks at a trial.
const MostLooks = 20

// apart is how much information two looks have between them at least: bounds are
// integrated on a grid.
const apart = 0.02

func invalid(reason, field, format string, args ...any) error {
	return fault.New(fault.Invalid, reason, field, fmt.Sprintf(format, args...))
}

// Z is the normal deviate with the one-sided p-value of a t on df degrees of freedom.
func Z(t, df float64) float64 {
	if t < 0 {
		return -Z(-t, df)
	}
	return stat.NormalUpperQuantile(stat.TUpper(t, df))
}

func checkLooks(at []float64) error {
	if len(at) == 0 || len(at) > MostLooks {
		return invalid(ReasonLooks, "looks", "are %d; want 1 to %d", len(at), MostLooks)
	}
	before := 0.0
	for i, t := range at {
		if !(t > before && t <= 1) {
			return invalid(ReasonLooks, fmt.Sprintf("looks[%d]", i), "is at %v of the information; want more than %v and at most 1", t, before)
		}
		if i > 0 && t-before < apart {
			return invalid(ReasonLooks, fmt.Sprintf("looks[%d]", i), "is %v after the one before; want at least %v of the information between", t-before, apart)
		}
		before = t
	}
	return nil
}

func checkAlpha(alpha float64) error {
	if !(alpha >= 1e-6 && alpha < 0.5) {
		return invalid(ReasonAlpha, "alpha", "is %v; want a two-sided level such as 0.05", alpha)
	}
	return nil
}

func finite(field string, xs ...float64) error {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return invalid(ReasonInput, field, "is %v; want a number", x)
		}
	}
	return nil
}
