package report

import (
	"math"
	"strconv"

	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Answer compares an arm with the first. Differences are the arm's less the first's, in
// the outcome's unit.
type Answer struct {
	Arm     int    `json:"arm"` // index into Report.Arms
	Against int    `json:"against"`
	Reading string `json:"reading"`
	// Primary is by intention to treat, with baseline and design held equal; the others
	// stand beside it as the protocol has them.
	Primary       *Estimate      `json:"primary,omitempty"`
	Robust        *Estimate      `json:"robust,omitempty"`
	Simple        *Estimate      `json:"simple,omitempty"`
	Kept          *Estimate      `json:"kept_to_protocol,omitempty"`
	Singles       *Estimate      `json:"with_singles,omitempty"`
	Slope         *Estimate      `json:"slope_of_baseline,omitempty"`
	Randomisation *Randomisation `json:"randomisation,omitempty"`
	Standardised  *Standardised  `json:"standardised,omitempty"`
	Equivalence   *Equivalence   `json:"equivalence,omitempty"`
	Belief        *Belief        `json:"belief,omitempty"`
	Worst         *Range         `json:"worst_case,omitempty"`
	Spread        *Spread        `json:"spread_of_changes,omitempty"`
	// AcrossArms and AcrossOutcomes are Primary.P by Holm, over the arms compared and over
	// all outcomes that were not the question.
	AcrossArms     *float64 `json:"p_across_arms,omitempty"`
	AcrossOutcomes *float64 `json:"p_across_outcomes,omitempty"`
}

// Estimate is a number with its interval; without DF it rests on the normal distribution.
type Estimate struct {
	Value float64  `json:"value"`
	SE    float64  `json:"se"`
	Low   float64  `json:"low"`
	High  float64  `json:"high"`
	Level float64  `json:"level"`
	T     float64  `json:"t"`
	DF    *float64 `json:"df,omitempty"`
	P     float64  `json:"p"`
}

// FTest is a test of several effects.
type FTest struct {
	F   float64 `json:"f"`
	DF1 float64 `json:"df1"`
	DF2 float64 `json:"df2"`
	P   float64 `json:"p"`
}

// Randomisation is the test that deals the arms again by the trial's own scheme.
type Randomisation struct {
	P         float64  `json:"p"`
	Exact     bool     `json:"exact"`
	Looked    float64  `json:"assignments"`
	DrawError float64  `json:"p_drawing_error"`
	Low       *float64 `json:"low,omitempty"`
	High      *float64 `json:"high,omitempty"`
	Level     float64  `json:"level"`
}

// Standardised is the difference in SDs, of the outcome alone.
type Standardised struct {
	D     float64 `json:"d"`
	G     float64 `json:"g"`
	GLow  float64 `json:"g_low"`
	GHigh float64 `json:"g_high"`
}

// Equivalence is the pair of one-sided tests against the smallest effect of interest.
type Equivalence struct {
	P    float64 `json:"p"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Belief is the posterior from the stated prior.
type Belief struct {
	Mean       float64 `json:"mean"`
	Low        float64 `json:"low"`
	High       float64 `json:"high"`
	More       float64 `json:"chance_above_0"`
	Important  float64 `json:"chance_above_smallest"`
	Negligible float64 `json:"chance_between"`
	Less       float64 `json:"chance_below_minus_smallest"`
}

// Range is from the least to the most.
type Range struct {
	Least float64 `json:"least"`
	Most  float64 `json:"most"`
}

// Spread compares the SDs of changes: what of it could be response to training.
type Spread struct {
	SD   float64 `json:"sd"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Reliability is what repeats at the start tell of a measurement.
type Reliability struct {
	Athletes     int     `json:"athletes"`
	Times        int     `json:"times"`
	Level        float64 `json:"level"`
	TypicalError Bounded `json:"typical_error"`
	ICC21        Bounded `json:"icc_2_1"` // agreement: other assessors would do
	ICC31        Bounded `json:"icc_3_1"` // consistency: these assessors
	Shift        float64 `json:"shift"`   // mean of the last time less the first
}

// Bounded is a value with its interval.
type Bounded struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

func reliability(r *stat.Reliability) *Reliability {
	if r == nil {
		return nil
	}
	bounded := func(i stat.Interval) Bounded { return Bounded{round(i.Value), round(i.Low), round(i.High)} }
	return &Reliability{r.Subjects, r.Trials, r.Level, bounded(r.TypicalError), bounded(r.ICC21), bounded(r.ICC31), round(r.Shift)}
}

func answer(a *analyse.Answer) Answer {
	out := Answer{
		Reading: readingNames[a.Reading], Primary: Rounded(a.Primary), Robust: Rounded(a.Robust), Simple: Rounded(a.Simple),
		Kept: Rounded(a.Kept), Slope: Rounded(a.Slope),
	}
	if s := a.Singles; s != nil && a.Primary != nil {
		// REML has no degrees of freedom of its own; its interval is the normal one.
		if e, err := stat.FromSE(s.Coef[0], s.SE[0], math.Inf(1), a.Primary.Level); err == nil {
			out.Singles = Rounded(&e)
		}
	}
	if v := a.Randomisation; v != nil {
		x := Randomisation{P: round(v.P), Exact: v.Exact, Looked: v.Looked, DrawError: round(v.MonteCarloError), Level: v.Level}
		if v.Low.Set && v.High.Set {
			x.Low, x.High = rounded(v.Low.Value), rounded(v.High.Value)
		}
		out.Randomisation = &x
	}
	if v := a.Standardised; v != nil {
		out.Standardised = &Standardised{round(v.D), round(v.G), round(v.GLow), round(v.GHigh)}
	}
	if v := a.Equivalence; v != nil {
		out.Equivalence = &Equivalence{round(v.P), round(v.Low), round(v.High)}
	}
	if v := a.Belief; v != nil {
		out.Belief = &Belief{round(v.Mean), round(v.Low), round(v.High), round(v.Benefit), round(v.Important), round(v.Negligible), round(v.Harmful)}
	}
	if v := a.Worst; v != nil {
		out.Worst = &Range{round(v.Least), round(v.Most)}
	}
	if v := a.Spread; v != nil {
		out.Spread = &Spread{round(v.SD), round(v.Low), round(v.High)}
	}
	return out
}

// Rounded is an estimate as reports show it; nil for nil.
func Rounded(e *stat.Estimate) *Estimate {
	if e == nil {
		return nil
	}
	out := &Estimate{Value: round(e.Value), SE: round(e.SE), Low: round(e.Low), High: round(e.High), Level: e.Level, T: round(e.T), P: round(e.P)}
	if !math.IsInf(e.DF, 1) {
		out.DF = rounded(e.DF)
	}
	return out
}

// round keeps six significant digits, so that no last bit of a machine is shown. It never
// gives -0.
func round(x float64) float64 {
	out, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 6, 64), 64)
	if err != nil || out == 0 {
		return 0
	}
	return out
}

func rounded(x float64) *float64 {
	x = round(x)
	return &x
}
