package analyse

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/sequential"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Looks are the rules for analyses before the end, frozen with the protocol.
type Looks struct {
	Spending sequential.Spending
	// PlannedSE is the standard error that the trial was planned to end with: information
	// is its square over that of now.
	PlannedSE float64
	// Before are the shares of information of the looks that were had.
	Before []float64
}

// Look is what one look at arm 1 against arm 0 shows.
type Look struct {
	Estimate  stat.Estimate
	Share     float64 // of the information, at most 1
	Z, Bound  float64 // stop for a difference when Z is as large in size as Bound
	Crossed   bool
	Low, High float64 // repeated confidence interval: holds at all looks together
	Spent     float64 // of alpha up to this look
	// Evidence is the e-value from the differences of complete pairs, in the order in
	// which pairs were made: 1/alpha or more is enough at any time, planned or not. Zero
	// where the design has no pairs or fewer than two are complete.
	Evidence float64
	// Anytime is the confidence sequence of the pairs' mean difference: it may be read
	// after every pair. Unset where Evidence is zero or pairs are too few.
	Anytime plan.Opt[[2]float64]
	Says    string
}

// Interim looks at a trial that is under way. last tells that it is the final analysis,
// which uses up all of alpha that is left. Too little information since the look before
// and data without an answer are faults.
func Interim(d *Data, r Rules, l Looks, last bool) (*Look, error) {
	if err := r.Check(); err != nil {
		return nil, fault.Within("rules", err)
	}
	if err := d.check(); err != nil {
		return nil, err
	}
	if !(l.PlannedSE > 0) || math.IsInf(l.PlannedSE, 0) {
		return nil, fault.New(fault.Invalid, ReasonRules, "looks.planned_se", fmt.Sprintf("is %v; want the standard error the trial was planned to end with", l.PlannedSE))
	}
	if len(d.Design.Arms) != 2 {
		return nil, fault.New(fault.Infeasible, ReasonRules, "looks", "are for two arms; with more, wait for the end")
	}
	e, err := Primary(d, 1, r.Level)
	if err != nil {
		return nil, err
	}
	out := &Look{Estimate: e, Z: sequential.Z(e.T, e.DF), Share: min(1, l.PlannedSE*l.PlannedSE/(e.SE*e.SE))}
	if last {
		out.Share = 1
	}
	looks := append(append([]float64(nil), l.Before...), out.Share)
	b, err := sequential.Spend(l.Spending, looks, 1-r.Level)
	if err != nil {
		return nil, err
	}
	k := len(looks) - 1
	out.Bound, out.Spent = b.Z[k], b.Spent[k]
	out.Crossed = math.Abs(out.Z) >= out.Bound
	// On t's scale, where the bound's nominal level is spent.
	half := float64(stat.TQuantile(1-float64(b.Nominal[k]/2), e.DF) * e.SE)
	out.Low, out.High = e.Value-half, e.Value+half
	out.Evidence, out.Anytime = d.anytime(1 - r.Level)
	out.Says = out.words(last)
	return out, nil
}

func (l *Look) words(last bool) string {
	switch {
	case l.Crossed:
		return fmt.Sprintf("The bound of this look is crossed (|Z| %.2f, bound %.2f): there is a difference. Its size is likely overstated by a trial that ends here.", math.Abs(l.Z), l.Bound)
	case last:
		return fmt.Sprintf("The last bound is not crossed (|Z| %.2f, bound %.2f).", math.Abs(l.Z), l.Bound)
	}
	return fmt.Sprintf("The bound of this look is not crossed (|Z| %.2f, bound %.2f) at %.0f %% of the information: go on.", math.Abs(l.Z), l.Bound, 100*l.Share)
}

// anytime reads complete pairs with a t mixture that expects effects of about one SD of
// differences.
func (d *Data) anytime(alpha float64) (evidence float64, interval plan.Opt[[2]float64]) {
	const g = 1
	f := d.frame(func(int) bool { return true })
	if !f.paired {
		return 0, interval
	}
	x, y := f.pairs()
	e, err := stat.Paired(y, x, 1-alpha)
	if err != nil {
		return 0, interval // too few pairs, or none that differ
	}
	v, err := sequential.TMixture(e.T, len(x), g)
	if err != nil {
		return 0, interval
	}
	if i, err := sequential.TInterval(e.Value, e.SE, len(x), g, alpha); err == nil {
		interval = i
	}
	return v, interval
}
