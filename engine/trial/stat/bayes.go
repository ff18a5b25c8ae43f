package stat

import (
	"fmt"
	"math"
)

// Normal is a normal distribution: a stated prior, or a posterior.
type Normal struct{ Mean, SD float64 }

// Component is one of a mixture, with its weight.
type Component struct {
	Weight float64
	Normal
}

// Mixture is a weighted set of normals; one of weight 1 is a plain normal.
type Mixture []Component

// Plain is a mixture of one.
func Plain(n Normal) Mixture { return Mixture{{1, n}} }

// Robust mixes an informative prior with a vague one, which takes over where data and
// prior disagree (Schmidli et al. 2014, Biometrics 70:1023-1032).
func Robust(weight float64, informative, vague Normal) Mixture {
	return Mixture{{weight, informative}, {1 - weight, vague}}
}

// Predictive is the prior for the effect of a new trial that a pooled mean with its
// standard error and the spread tau between trials give: N(mean, tau^2 + se^2), its SD
// times inflate where the evidence is indirect.
func Predictive(mean, se, tau, inflate float64) Normal {
	return Normal{mean, math.Sqrt(float64(tau*tau)+float64(se*se)) * inflate}
}

// Posterior combines a prior with an estimate that is normal with standard error se.
func (m Mixture) Posterior(estimate, se float64) (Mixture, error) {
	if err := finite("estimate", estimate, se); err != nil {
		return nil, err
	}
	if !(se > 0) {
		return nil, infeasible(ReasonSpread, "se", "is %v; want more than 0", se)
	}
	if len(m) == 0 {
		return nil, invalid("prior", "is empty; want one component or more")
	}
	out := make(Mixture, len(m))
	logs := make([]float64, len(m))
	most := math.Inf(-1)
	for i, c := range m {
		if err := finite(fmt.Sprintf("prior[%d]", i), c.Weight, c.Mean, c.SD); err != nil {
			return nil, err
		}
		if !(c.SD > 0) || c.Weight < 0 {
			return nil, invalid(fmt.Sprintf("prior[%d]", i), "has SD %v and weight %v; want an SD above 0 and no negative weight", c.SD, c.Weight)
		}
		// Weights by shares of the total, as precisions may be beyond what is finite.
		total := math.Hypot(c.SD, se)
		prior, data := se/total, c.SD/total
		out[i].Normal = Normal{float64(c.Mean*prior*prior) + float64(estimate*data*data), c.SD * prior}
		z := float64((estimate - c.Mean) / total)
		logs[i] = math.Log(c.Weight) - float64(z*z/2) - math.Log(total)
		most = max(most, logs[i])
	}
	if math.IsInf(most, -1) {
		return nil, invalid("prior", "has no weight; want a sum above 0")
	}
	var sum float64
	for i := range out {
		out[i].Weight = math.Exp(logs[i] - most)
		sum += out[i].Weight
	}
	for i := range out {
		out[i].Weight /= sum
	}
	return out, nil
}

// Moments are the mean and SD of the whole.
func (m Mixture) Moments() Normal {
	var mean, second float64
	for _, c := range m {
		mean += float64(c.Weight * c.Mean)
	}
	for _, c := range m {
		second += float64(c.Weight * (float64(c.SD*c.SD) + float64((c.Mean-mean)*(c.Mean-mean))))
	}
	return Normal{mean, math.Sqrt(second)}
}

// Above is P(effect > x).
func (m Mixture) Above(x float64) float64 {
	var p float64
	for _, c := range m {
		p += float64(c.Weight * NormalUpper((x-c.Mean)/c.SD))
	}
	return min(1, p)
}

// Within is P(low < effect < high).
func (m Mixture) Within(low, high float64) float64 { return max(0, m.Above(low)-m.Above(high)) }

// Quantile is the x with P(effect <= x) = p.
func (m Mixture) Quantile(p float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	z := NormalQuantile(p)
	for _, c := range m {
		low, high = min(low, c.Mean+float64(z*c.SD)), max(high, c.Mean+float64(z*c.SD))
	}
	if low == high {
		return low
	}
	return root(func(x float64) float64 { return m.Above(x) - (1 - p) }, low, high)
}

// Belief is what a posterior says of an effect against the smallest effect of interest.
type Belief struct {
	Mean, SD, Low, High float64
	Benefit             float64 // P(effect > 0)
	Important           float64 // P(effect > smallest)
	Negligible          float64 // P(-smallest < effect < smallest)
	Harmful             float64 // P(effect < -smallest)
}

// Believe reads a posterior, with smallest >= 0 and more being better.
func (m Mixture) Believe(smallest, level float64) Belief {
	n := m.Moments()
	return Belief{
		Mean: n.Mean, SD: n.SD, Low: m.Quantile(0.5 - float64(level/2)), High: m.Quantile(0.5 + float64(level/2)),
		Benefit: m.Above(0), Important: m.Above(smallest), Negligible: m.Within(-smallest, smallest), Harmful: max(0, 1-m.Above(-smallest)),
	}
}
