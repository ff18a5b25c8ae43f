package stat

import (
	"math"

	"github.com/phasewright/phasewright/engine/plan"
)

// FisherTest is the exact test of a 2 x 2 table: adverse events by arm, say.
type FisherTest struct {
	P        float64 // tables no likelier than this one
	PGreater float64 // the first cell as large or larger
	// OddsRatio is the conditional maximum likelihood; unset where it would be infinite.
	OddsRatio plan.Opt[float64]
}

// Fisher tests the table [[a, b], [c, d]]. Without anything in a row or a column there
// is nothing to test: an Infeasible fault.
func Fisher(a, b, c, d int) (FisherTest, error) {
	if a < 0 || b < 0 || c < 0 || d < 0 || a+b+c+d > 1_000_000 {
		return FisherTest{}, invalid("table", "is %d, %d, %d, %d; want counts, at most a million in all", a, b, c, d)
	}
	row, other, col := a+b, c+d, a+c
	if row == 0 || other == 0 || col == 0 || b+d == 0 {
		return FisherTest{}, infeasible(ReasonSpread, "table", "has an empty row or column: nothing to compare")
	}
	lo, hi := max(0, col-other), min(row, col)
	logs := make([]float64, hi-lo+1)
	for x := lo; x <= hi; x++ {
		logs[x-lo] = logChoose(row, x) + logChoose(other, col-x) - logChoose(row+other, col)
	}
	var f FisherTest
	own := math.Exp(logs[a-lo])
	for x := lo; x <= hi; x++ {
		p := math.Exp(logs[x-lo])
		if p <= own*(1+1e-7) {
			f.P += p
		}
		if x >= a {
			f.PGreater += p
		}
	}
	f.P, f.PGreater = min(1, f.P), min(1, f.PGreater)
	switch a {
	case lo:
		f.OddsRatio = plan.Some(0.0)
	case hi:
	default:
		f.OddsRatio = plan.Some(math.Exp(root(func(l float64) float64 { return expected(logs, lo, l) - float64(a) }, -50, 50)))
	}
	return f, nil
}

// expected is the mean of the first cell at a log odds ratio.
func expected(logs []float64, lo int, l float64) float64 {
	most := math.Inf(-1)
	for i, w := range logs {
		most = max(most, w+float64(float64(i)*l))
	}
	var sum, first float64
	for i, w := range logs {
		p := math.Exp(w + float64(float64(i)*l) - most)
		sum += p
		first += float64(p * float64(lo+i))
	}
	return first / sum
}

func logChoose(n, k int) float64 {
	return lgamma(float64(n+1)) - lgamma(float64(k+1)) - lgamma(float64(n-k+1))
}
