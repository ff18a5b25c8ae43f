package stat

import (
	"cmp"
	"fmt"
	"slices"
)

// Adjustment makes p-values of several tests answer for all of them.
type Adjustment uint8

// Adjustments.
const (
	Holm              Adjustment = iota // chance of any false finding (Holm 1979, Scand J Stat 6:65-70)
	BenjaminiHochberg                   // share of false ones among findings (1995, JRSS B 57:289-300)
	Bonferroni
	Hochberg           // as Holm, for independent tests (1988, Biometrika 75:800-802)
	BenjaminiYekutieli // as BenjaminiHochberg under any dependence (2001, Ann Stat 29:1165-1188)
)

// Adjust gives adjusted p-values in the order given.
func Adjust(by Adjustment, ps []float64) ([]float64, error) {
	for i, p := range ps {
		if !(p >= 0 && p <= 1) {
			return nil, invalid(fmt.Sprintf("p[%d]", i), "is %v; want 0 to 1", p)
		}
	}
	m := len(ps)
	order := make([]int, m)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(ps[a], ps[b]) })
	var harmonic float64
	for i := 1; i <= m; i++ {
		harmonic += 1 / float64(i)
	}
	out := make([]float64, m)
	raw := make([]float64, m)
	for rank, at := range order {
		k := float64(rank + 1)
		switch by {
		case Holm, Hochberg:
			raw[rank] = (float64(m) - k + 1) * ps[at]
		case BenjaminiHochberg:
			raw[rank] = float64(m) / k * ps[at]
		case BenjaminiYekutieli:
			raw[rank] = harmonic * float64(m) / k * ps[at]
		case Bonferroni:
			raw[rank] = float64(m) * ps[at]
		default:
			return nil, invalid("adjustment", "is %d; want a known one", by)
		}
	}
	if by == Holm {
		for i := 1; i < m; i++ {
			raw[i] = max(raw[i], raw[i-1])
		}
	}
	if by == BenjaminiHochberg || by == Hochberg || by == BenjaminiYekutieli {
		for i := m - 2; i >= 0; i-- {
			raw[i] = min(raw[i], raw[i+1])
		}
	}
	for rank, at := range order {
		out[at] = min(1, raw[rank])
	}
	return out, nil
}
