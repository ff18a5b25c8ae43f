package stat

import (
	"fmt"
	"math"
)

// Combined is an estimate over several completed data sets.
type Combined struct {
	Estimate
	Within, Between, Total float64
	Increase               float64 // relative, of the variance for what is missing
	Lambda                 float64 // share of the variance that is due to it
	DFLarge                float64 // Rubin 1987, for a complete sample without end
}

// Combine joins estimates and their squared standard errors by Rubin's rules, with the
// degrees of freedom of Barnard & Rubin 1999 (Biometrika 86:948-955); dfComplete is what
// a complete sample would have had.
func Combine(estimates, variances []float64, dfComplete, level float64) (*Combined, error) {
	m := len(estimates)
	if len(variances) != m {
		return nil, invalid("variances", "are %d; want %d", len(variances), m)
	}
	if m < 2 || !(dfComplete > 0) {
		return nil, infeasible(ReasonFew, "estimates", "are %d on %v degrees of freedom; want 2 or more of each", m, dfComplete)
	}
	if err := first(finite("estimates", estimates...), finite("variances", variances...)); err != nil {
		return nil, err
	}
	c := &Combined{Within: mean(variances)}
	for i, v := range variances {
		if v < 0 {
			return nil, invalid(fmt.Sprintf("variances[%d]", i), "is %v; want 0 or more", v)
		}
	}
	q := mean(estimates)
	c.Between = float64(squares(estimates, q) / float64(m-1))
	added := float64((1 + float64(1/float64(m))) * c.Between)
	c.Total = c.Within + added
	if c.Total == 0 {
		return nil, infeasible(ReasonSpread, "variances", "are all 0")
	}
	c.Lambda = added / c.Total
	df := dfComplete * (dfComplete + 1) / (dfComplete + 3) * (1 - c.Lambda)
	if c.Within > 0 {
		c.Increase = added / c.Within
	}
	if c.Lambda > 0 {
		c.DFLarge = float64(m-1) / (c.Lambda * c.Lambda)
		df = 1 / (1/c.DFLarge + 1/max(df, 1e-12))
	}
	e, err := FromSE(q, math.Sqrt(c.Total), df, level)
	c.Estimate = e
	return c, err
}

// Worst bounds what the missing could hide: the difference of arm 1 and arm 0 in means
// if all who are missing had the end of the outcome's range [low, high] that makes it
// least, and most. It is no confidence interval and needs no assumption.
type Worst struct{ Least, Most float64 }

// WorstCase gives the bounds from the outcomes seen in each arm and how many are missing.
func WorstCase(seen [2][]float64, missing [2]int, low, high float64) (Worst, error) {
	if err := finite("range", low, high); err != nil {
		return Worst{}, err
	}
	if low > high {
		return Worst{}, invalid("range", "is %v to %v; want the lower first", low, high)
	}
	fill := func(a int, with float64) float64 {
		var sum float64
		for _, x := range seen[a] {
			sum += x
		}
		return (sum + float64(float64(missing[a])*with)) / float64(len(seen[a])+missing[a])
	}
	for a := range seen {
		if err := finite(fmt.Sprintf("seen[%d]", a), seen[a]...); err != nil {
			return Worst{}, err
		}
		if missing[a] < 0 || len(seen[a])+missing[a] == 0 {
			return Worst{}, infeasible(ReasonFew, fmt.Sprintf("missing[%d]", a), "is %d with %d seen; want someone in the arm", missing[a], len(seen[a]))
		}
	}
	return Worst{fill(1, low) - fill(0, high), fill(1, high) - fill(0, low)}, nil
}
