package sequential

import (
	"math"

	"github.com/phasewright/phasewright/engine/plan"
)

// Mixture is the two-sided normal mixture (Robbins 1970, Ann Math Stat 41:1397-1409;
// Howard, Ramdas, McAuliffe & Sekhon 2021, Ann Stat 49:1055-1080): for sums S of t values
// with known SD sigma, at all t at once with chance 1-alpha,
//
//	|S - t mu| <= sigma sqrt((t+rho) ln((t+rho) / (rho alpha^2))).
type Mixture struct {
	Sigma float64
	Rho   float64 // above 0: when the bounds are tight, see TunedFor
	Alpha float64
}

// TunedFor gives the rho with the narrowest bounds at t = m: m / (-W(-alpha^2/e) - 1)
// with the lower branch of Lambert's W.
func TunedFor(m, alpha float64) (float64, error) {
	if err := checkAlpha(alpha); err != nil {
		return 0, err
	}
	if !(m > 0) || math.IsInf(m, 0) {
		return 0, invalid(ReasonInput, "m", "is %v; want the number at which bounds should be tight", m)
	}
	return m / (-lambertLower(-alpha*alpha/math.E) - 1), nil
}

// lambertLower is the w <= -1 with w e^w = x, for -1/e < x < 0.
func lambertLower(x float64) float64 {
	w := math.Log(-x) - math.Log(-math.Log(-x))
	for range 50 {
		// Newton's on w + log(-w) = log(-x).
		next := w - (w+math.Log(-w)-math.Log(-x))/(1+1/w)
		if math.Abs(next-w) <= 1e-15*math.Abs(w) {
			return next
		}
		w = next
	}
	return w
}

func (m Mixture) check(t float64) error {
	if err := checkAlpha(m.Alpha); err != nil {
		return err
	}
	if !(m.Sigma > 0 && m.Rho > 0) || math.IsInf(m.Sigma, 0) || math.IsInf(m.Rho, 0) {
		return invalid(ReasonInput, "mixture", "has sigma %v and rho %v; want both above 0", m.Sigma, m.Rho)
	}
	if !(t > 0) || math.IsInf(t, 0) {
		return invalid(ReasonInput, "t", "is %v; want 1 or more", t)
	}
	return nil
}

// Radius is how far on either side of the running mean of t values the confidence
// sequence reaches. Feed matched pairs' differences in the order in which pairs complete.
// With an estimated sigma it holds only for many: see MinEstimated.
func (m Mixture) Radius(t float64) (float64, error) {
	if err := m.check(t); err != nil {
		return 0, err
	}
	return m.Sigma * math.Sqrt((t+m.Rho)*math.Log((t+m.Rho)/(m.Rho*m.Alpha*m.Alpha))) / t, nil
}

// MinEstimated is the number of values below which the sequence must not be used with an
// estimated sigma; TMixture needs none.
const MinEstimated = 30

// Evidence is the e-value of a sum s of t values against no effect: reject as soon as it
// is 1/alpha or more. Under no effect its expectation is 1 at every t.
func (m Mixture) Evidence(s, t float64) (float64, error) {
	if err := m.check(t); err != nil {
		return 0, err
	}
	if err := finite("s", s); err != nil {
		return 0, err
	}
	return bounded(math.Sqrt(m.Rho/(t+m.Rho)) * math.Exp(s*s/(2*m.Sigma*m.Sigma*(t+m.Rho)))), nil
}

// TMixture is the e-value of a one-sample or paired t on n values with sigma unknown: the
// scale-invariant normal mixture, effect/sigma ~ N(0, 1/g) (Lai 1976, Ann Stat
// 4:265-280).
func TMixture(t float64, n int, g float64) (float64, error) {
	if err := finite("t", t, g); err != nil {
		return 0, err
	}
	if n < 2 || !(g > 0) {
		return 0, invalid(ReasonInput, "n", "is %d with g %v; want 2 or more, and g above 0", n, g)
	}
	v, k := float64(n-1), float64(n)
	t = min(math.Abs(t), 1e100)
	up := math.Log1p(t*t/v) - math.Log1p(g*t*t/(v*(k+g)))
	return bounded(math.Exp(float64(0.5*math.Log(g/(k+g))) + float64((v+1)/2*up))), nil
}

// TInterval is the confidence sequence that belongs to TMixture, with sigma unknown: the
// mean of n values with standard error se, plus and minus the t at which the e-value is
// 1/alpha, in closed form. It holds at all n at once; so few values that no t is
// enough leave it unset.
func TInterval(mean, se float64, n int, g, alpha float64) (plan.Opt[[2]float64], error) {
	if err := checkAlpha(alpha); err != nil {
		return plan.Opt[[2]float64]{}, err
	}
	if err := finite("mean", mean, se, g); err != nil {
		return plan.Opt[[2]float64]{}, err
	}
	if n < 2 || !(g > 0) || se < 0 {
		return plan.Opt[[2]float64]{}, invalid(ReasonInput, "n", "is %d with g %v and se %v; want 2 or more, g above 0 and no negative se", n, g, se)
	}
	v, share := float64(n-1), g/(float64(n)+g)
	k := math.Exp(-2 / (v + 1) * (math.Log(alpha) + float64(0.5*math.Log(share))))
	if k*share >= 1 {
		return plan.Opt[[2]float64]{}, nil
	}
	t := math.Sqrt(v * (k - 1) / (1 - float64(k*share)))
	return plan.Some([2]float64{mean - float64(t*se), mean + float64(t*se)}), nil
}

func bounded(e float64) float64 { return min(e, math.MaxFloat64) }

// AnytimeP turns the e-values of the looks so far into a p-value that may be read at any
// of them: 1 over the largest, at most 1.
func AnytimeP(evidence []float64) float64 {
	most := 1.0
	for _, e := range evidence {
		most = max(most, e)
	}
	return 1 / most
}
