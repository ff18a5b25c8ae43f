package power

import (
	"math"

	"github.com/phasewright/phasewright/engine/trial/stat"
)

func tQuantile(p, df float64) float64 { return stat.TQuantile(p, df) }

// detectable is the noncentrality that a t test with df degrees of freedom finds with a
// given power.
func detectable(df, alpha, target float64) (float64, error) {
	if target <= alpha {
		return 0, invalid("power", "is %v; want more than alpha %v", target, alpha)
	}
	return stat.Root(func(ncp float64) float64 { return tPower(ncp, df, alpha, TwoSided) - target }, 0, 100), nil
}

// exaggeration gives type M and type S of an estimate that is normal about delta with
// standard error se, judged by a t with df degrees of freedom whose own error is left
// out (Gelman & Carlin 2014): the expected size of significant estimates over delta, and
// the share of them with the wrong sign. Both are 0 without a true effect.
func exaggeration(delta, se, df, alpha float64) (typeM, typeS float64) {
	if delta == 0 {
		return 0, 0
	}
	c, m := tQuantile(1-float64(alpha/2), df), float64(math.Abs(delta)/se)
	up, down := stat.NormalUpper(c-m), stat.NormalUpper(c+m)
	// E|X| over both tails of X ~ N(m, 1).
	size := float64(m*up) + stat.NormalDensity(c-m) - float64(m*down) + stat.NormalDensity(c+m)
	return size / (up + down) / m, down / (up + down)
}
