package stat

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// NormalBetter is P(b > a) of two independent normals.
func NormalBetter(a, b Normal) float64 {
	return NormalCDF((b.Mean - a.Mean) / math.Hypot(a.SD, b.SD))
}

// BetaBetter is P(B > A) of beta distributions; alphaB is a whole number.
func BetaBetter(alphaA, betaA float64, alphaB int, betaB float64) float64 {
	var sum float64
	for i := range alphaB {
		k := float64(i)
		sum += math.Exp(mathext.Lbeta(alphaA+k, betaA+betaB) - math.Log(betaB+k) - mathext.Lbeta(1+k, betaB) - mathext.Lbeta(alphaA, betaA))
	}
	return sum
}

// Tempered takes a chance of being better towards 1/2: p^c / (p^c + (1-p)^c), with c
// from 0 (1/2) to 1 (p) (Thall & Wathen 2007, Eur J Cancer 43:859-866).
func Tempered(p, c float64) float64 {
	a, b := math.Pow(p, c), math.Pow(1-p, c)
	return a / (a + b)
}

// Floored keeps a chance within [floor, 1-floor].
func Floored(p, floor float64) float64 { return min(1-floor, max(p, floor)) }

// Weighted are differences of treated and control where the chance of treatment was not
// the same for all but is known: Horvitz and Thompson's, Hajek's with weights that add up
// to one, and the plain one, which such assignments bias.
type Weighted struct{ HorvitzThompson, Hajek, Plain float64 }

// InverseProbability weighs outcomes by one over the chance of the arm they had.
func InverseProbability(y []float64, treated []bool, chance []float64) (Weighted, error) {
	if err := finite("y", y...); err != nil {
		return Weighted{}, err
	}
	if len(treated) != len(y) || len(chance) != len(y) {
		return Weighted{}, invalid("treated", "are %d with %d chances for %d outcomes", len(treated), len(chance), len(y))
	}
	var sum, weight, plain, count [2]float64
	for i, v := range y {
		p, arm := chance[i], 1
		if !(p > 0 && p < 1) {
			return Weighted{}, invalid(fmt.Sprintf("chance[%d]", i), "is %v; want between 0 and 1", p)
		}
		if !treated[i] {
			p, arm = 1-p, 0
		}
		sum[arm] += v / p
		weight[arm] += 1 / p
		plain[arm] += v
		count[arm]++
	}
	if count[0] == 0 || count[1] == 0 {
		return Weighted{}, infeasible(ReasonFew, "treated", "leave an arm empty")
	}
	n := float64(len(y))
	return Weighted{(sum[1] - sum[0]) / n, sum[1]/weight[1] - sum[0]/weight[0], plain[1]/count[1] - plain[0]/count[0]}, nil
}
