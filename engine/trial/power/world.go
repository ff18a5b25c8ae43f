package power

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
)

// World is what is believed of athletes and measurements: an outcome on a scale on which
// effects add (the log of a 1RM, or mm), for each unit
//
//	before = level + error
//	after  = level + gain of its arm + its own response + error
//
// with normal parts. Defaults for trained lifters over 8 weeks, a judgement and no
// published estimate: log 1RM spread 0.17 to 0.22, typical error 0.03 to 0.045, response
// 0 to 0.03, gain 0.05 to 0.10, between arms 0 to 0.03.
type World struct {
	Spread       float64   // SD of true levels
	TypicalError float64   // SD of one measurement's error
	Gain         []float64 // by arm
	Response     []float64 // by arm: SD of athletes' own responses; empty: none
	Dropout      []float64 // by arm: share without an outcome; empty: none
	// DropoutSlope makes those who gain little likelier to leave: added to the log odds
	// for each SD of change below the mean. The missing are then not like the others.
	DropoutSlope float64
	// CovariateR is how the design's covariates beyond the first correlate with the true
	// level; the first is the measured baseline. FactorShift is the difference in level
	// between the two halves of each factor, in SDs of level.
	CovariateR  []float64
	FactorShift []float64
	// Where units are clusters: athletes in each, and the share of the variance of levels
	// and responses that is between clusters.
	ClusterSize int
	ClusterICC  float64
}

// Lognormal gives mean and SD of the log of a quantity with a given mean and SD, such as
// a 1RM in kg.
func Lognormal(mean, sd float64) (mu, sigma float64, err error) {
	if !(mean > 0 && sd > 0) || math.IsInf(mean, 0) || math.IsInf(sd, 0) {
		return 0, 0, invalid("mean", "is %v with SD %v; want both above 0", mean, sd)
	}
	v := math.Log1p(sd * sd / (mean * mean))
	return math.Log(mean) - float64(v/2), math.Sqrt(v), nil
}

func (w *World) check(arms int) error {
	c := fault.NewCollector(fault.Invalid)
	add := func(field, format string, args ...any) {
		c.Add(ReasonInput, field, fmt.Sprintf(format, args...))
	}
	within := func(field string, x, low, high float64) {
		if !(x >= low && x <= high) {
			add(field, "is %v; want %v to %v", x, low, high)
		}
	}
	within("spread", w.Spread, 0, 1e6)
	within("typical_error", w.TypicalError, 0, 1e6)
	within("dropout_slope", w.DropoutSlope, -5, 5)
	within("cluster_icc", w.ClusterICC, 0, 1)
	if w.ClusterSize < 0 || w.ClusterSize > 1000 {
		add("cluster_size", "is %d; want 0 (units are athletes) to 1000", w.ClusterSize)
	}
	if w.Spread+w.TypicalError < 1e-6 {
		add("spread", "and typical error are less than a millionth together: nothing varies")
	}
	lists := []struct {
		field     string
		xs        []float64
		low, high float64
		need      bool
	}{{"gain", w.Gain, -1e6, 1e6, true}, {"response", w.Response, 0, 1e6, false}, {"dropout", w.Dropout, 0, 0.95, false}}
	for _, l := range lists {
		if len(l.xs) != arms && (l.need || len(l.xs) > 0) {
			add(l.field, "has %d entries; want one for each of %d arms", len(l.xs), arms)
		}
		for i, x := range l.xs {
			within(fmt.Sprintf("%s[%d]", l.field, i), x, l.low, l.high)
		}
	}
	for i, r := range w.CovariateR {
		within(fmt.Sprintf("covariate_r[%d]", i), r, -1, 1)
	}
	for i, s := range w.FactorShift {
		within(fmt.Sprintf("factor_shift[%d]", i), s, -5, 5)
	}
	return c.Err()
}

func at(xs []float64, i int) float64 {
	if i < len(xs) {
		return xs[i]
	}
	return 0
}

// Closed are the closed forms of a world of athletes without dropout.
type Closed struct {
	Reliability        float64 // of one measurement: ICC
	Correlation        float64 // of before and after, within an arm
	VarChange          float64
	VarAncova          float64 // of the residual with the baseline held equal
	SDOutcome          float64
	Delta              float64 // gain of arm 1 less arm 0
	Change, Ancova     float64 // power by change scores; by analysis of covariance
	After              float64 // power by the outcome alone
	Exaggeration       float64 // type M of the analysis of covariance: expected size over true, when significant
	WrongSign          float64 // type S: share of significant results that point the wrong way
	HalfWidth          float64 // expected, of the interval of level 1-alpha
	DetectableByAncova float64 // effect seen with power 0.8, on the outcome's scale
}

// Predict gives the closed forms for n units in each of arms 0 and 1, their responses'
// SDs pooled.
func (w *World) Predict(n int, alpha float64) (Closed, error) {
	if err := w.check(len(w.Gain)); err != nil {
		return Closed{}, fault.Within("world", err)
	}
	if err := level(alpha); err != nil {
		return Closed{}, err
	}
	if n < 3 || len(w.Gain) < 2 {
		return Closed{}, invalid("n", "is %d in %d arms; want 3 or more in 2 or more", n, len(w.Gain))
	}
	b, e := float64(w.Spread*w.Spread), float64(w.TypicalError*w.TypicalError)
	r0, r1 := at(w.Response, 0), at(w.Response, 1)
	r := float64((float64(r0*r0) + float64(r1*r1)) / 2)
	k := float64(n)
	c := Closed{Reliability: b / (b + e), Correlation: b / math.Sqrt((b+e)*(b+e+r)), VarChange: float64(2*e) + r, SDOutcome: math.Sqrt(b + e + r), Delta: w.Gain[1] - w.Gain[0]}
	c.VarAncova = b + e + r - float64(b*b/(b+e))
	if c.VarChange == 0 || c.VarAncova <= 0 {
		return Closed{}, invalid("world.typical_error", "is 0 with equal responses: changes would not vary at all")
	}
	c.Change = tPower(c.Delta/math.Sqrt(2/k*c.VarChange), 2*k-2, alpha, TwoSided)
	c.After = tPower(c.Delta/math.Sqrt(2/k)/c.SDOutcome, 2*k-2, alpha, TwoSided)
	se := math.Sqrt(2 / k * c.VarAncova * (1 + 1/(float64(2*k)-4)))
	df := float64(2*k) - 3
	c.Ancova = tPower(c.Delta/se, df, alpha, TwoSided)
	c.HalfWidth = float64(tQuantile(1-float64(alpha/2), df) * se)
	c.Exaggeration, c.WrongSign = exaggeration(c.Delta, se, df, alpha)
	d, err := detectable(df, alpha, 0.8)
	c.DetectableByAncova = d * se
	return c, err
}
