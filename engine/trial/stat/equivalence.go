package stat

// Equivalence is the answer of two one-sided tests (Schuirmann 1987, J Pharmacokinet
// Biopharm 15:657-680).
type Equivalence struct {
	Lower, Upper   float64 // the bounds, in the outcome's unit
	TLower, PLower float64 // against an effect at or below Lower
	TUpper, PUpper float64 // against one at or above Upper
	P              float64 // the larger of both
	Low, High      float64 // interval of level 1-2 alpha: inside the bounds when P < alpha
}

// TOST tests whether an estimate lies between two bounds that were set before the data,
// at alpha (0.05).
func TOST(e Estimate, lower, upper, alpha float64) (Equivalence, error) {
	if err := first(finite("bounds", lower, upper), finite("estimate", e.Value, e.SE)); err != nil {
		return Equivalence{}, err
	}
	if lower >= upper {
		return Equivalence{}, invalid("bounds", "are %v and %v; want the lower one first", lower, upper)
	}
	if !(alpha > 0 && alpha < 0.5) {
		return Equivalence{}, invalid("alpha", "is %v; want between 0 and 0.5, such as 0.05", alpha)
	}
	again, err := FromSE(e.Value, e.SE, e.DF, 1-2*alpha)
	if err != nil {
		return Equivalence{}, err
	}
	q := Equivalence{
		Lower: lower, Upper: upper, Low: again.Low, High: again.High,
		TLower: (e.Value - lower) / e.SE, TUpper: (e.Value - upper) / e.SE,
	}
	q.PLower = TUpper(q.TLower, e.DF)
	q.PUpper = TUpper(-q.TUpper, e.DF)
	q.P = max(q.PLower, q.PUpper)
	return q, nil
}
