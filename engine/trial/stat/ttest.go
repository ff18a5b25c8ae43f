package stat

import (
	"math"
)

// Summary is what a t test needs of a group.
type Summary struct {
	N    int
	Mean float64
	SD   float64 // divisor n-1; 0 with one
}

// Estimate is a value with what is known of it.
type Estimate struct {
	Value     float64
	SE        float64
	DF        float64 // +Inf where the normal is used
	T         float64
	P         float64 // two-sided, of no effect
	Low, High float64
	Level     float64
}

// Summarise gives number, mean and SD.
func Summarise(xs []float64) (Summary, error) {
	if err := finite("values", xs...); err != nil {
		return Summary{}, err
	}
	if len(xs) == 0 {
		return Summary{}, infeasible(ReasonFew, "values", "are none")
	}
	s := Summary{N: len(xs), Mean: mean(xs)}
	if s.N > 1 {
		s.SD = math.Sqrt(squares(xs, s.Mean) / float64(s.N-1))
		if s.SD <= 1e-13*math.Abs(s.Mean) {
			s.SD = 0 // rounding of equal numbers
		}
	}
	return s, nil
}

func mean(xs []float64) float64 {
	var sum float64
	for _, x := range xs {
		sum += x
	}
	m := sum / float64(len(xs))
	// Once more, for what the first sum lost.
	var rest float64
	for _, x := range xs {
		rest += x - m
	}
	return m + rest/float64(len(xs))
}

func squares(xs []float64, m float64) float64 {
	var ss float64
	for _, x := range xs {
		ss += float64((x - m) * (x - m))
	}
	return ss
}

// FromSE makes an estimate of a value with a standard error on df degrees of freedom.
func FromSE(value, se, df, level float64) (Estimate, error) {
	if err := first(finite("value", value, se), checkLevel(level)); err != nil {
		return Estimate{}, err
	}
	if !(df > 0) {
		return Estimate{}, infeasible(ReasonFew, "df", "are %v: too few units for a standard error", df)
	}
	if !(se > 0) {
		return Estimate{}, infeasible(ReasonSpread, "se", "is 0: the values don't vary, so chance can't be judged")
	}
	t := float64(value / se)
	half := float64(TQuantile(0.5+float64(level/2), df) * se)
	return Estimate{Value: value, SE: se, DF: df, T: t, P: TTwoSided(t, df), Low: value - half, High: value + half, Level: level}, nil
}

// OneSample is the t test of a mean against 0: for pairs, of their differences.
func OneSample(d []float64, level float64) (Estimate, error) {
	s, err := Summarise(d)
	if err != nil {
		return Estimate{}, err
	}
	if s.N < 2 {
		return Estimate{}, infeasible(ReasonFew, "differences", "are %d; want 2 or more", s.N)
	}
	return FromSE(s.Mean, s.SD/math.Sqrt(float64(s.N)), float64(s.N-1), level)
}

// Paired is the t test of x - y, place by place.
func Paired(x, y []float64, level float64) (Estimate, error) {
	d, err := differences(x, y)
	if err != nil {
		return Estimate{}, err
	}
	return OneSample(d, level)
}

func differences(x, y []float64) ([]float64, error) {
	if len(x) != len(y) {
		return nil, invalid("y", "has %d values; want %d as x has", len(y), len(x))
	}
	d := make([]float64, len(x))
	for i := range x {
		d[i] = x[i] - y[i]
	}
	return d, nil
}

func (s Summary) check(field string) error {
	if err := finite(field, s.Mean, s.SD); err != nil {
		return err
	}
	if s.SD < 0 {
		return invalid(field+".sd", "is %v; want 0 or more", s.SD)
	}
	if s.N < 2 {
		return infeasible(ReasonFew, field+".n", "is %d; want 2 or more", s.N)
	}
	return nil
}

// PooledSD is the SD within two groups.
func PooledSD(a, b Summary) float64 {
	n1, n2 := float64(a.N), float64(b.N)
	return math.Sqrt((float64((n1-1)*a.SD*a.SD) + float64((n2-1)*b.SD*b.SD)) / (n1 + n2 - 2))
}

// Pooled is Student's t test of a - b, which takes the groups' SDs as equal.
func Pooled(a, b Summary, level float64) (Estimate, error) {
	if err := first(a.check("a"), b.check("b")); err != nil {
		return Estimate{}, err
	}
	se := PooledSD(a, b) * math.Sqrt(1/float64(a.N)+1/float64(b.N))
	return FromSE(a.Mean-b.Mean, se, float64(a.N+b.N-2), level)
}

// Welch is the t test of a - b without equal SDs (Welch 1947, Biometrika 34:28-35).
func Welch(a, b Summary, level float64) (Estimate, error) {
	if err := first(a.check("a"), b.check("b")); err != nil {
		return Estimate{}, err
	}
	v1, v2 := a.SD*a.SD/float64(a.N), b.SD*b.SD/float64(b.N)
	if v1+v2 == 0 {
		return FromSE(a.Mean-b.Mean, 0, 1, level)
	}
	df := (v1 + v2) * (v1 + v2) / (v1*v1/float64(a.N-1) + v2*v2/float64(b.N-1))
	return FromSE(a.Mean-b.Mean, math.Sqrt(v1+v2), df, level)
}
