package sequential

import (
	"math"

	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Spending says how much of alpha may be used up by a share of the information.
type Spending uint8

// Spendings.
const (
	// OBrienFleming spends next to nothing early: in each tail 2 (1 - Phi(z / sqrt t))
	// with z = z(1 - alpha/4) (Lan & DeMets 1983, Biometrika 70:659-663). Alpha is halved
	// between the tails first, as the tabulated bounds are.
	OBrienFleming Spending = iota
	// Pocock spends evenly: alpha ln(1 + (e-1) t).
	Pocock
	// WholeOBrienFleming spends 2 (1 - Phi(z(1-alpha/2) / sqrt t)) of the two-sided
	// alpha. It is valid, and others' bounds by it differ from the tabulated ones.
	WholeOBrienFleming
)

// Spent is the two-sided alpha used up at a share t of the information.
func (s Spending) Spent(alpha, t float64) float64 {
	t = min(1, max(0, t))
	if t == 0 {
		return 0
	}
	switch s {
	case Pocock:
		return alpha * math.Log1p((math.E-1)*t)
	case WholeOBrienFleming:
		return 2 * stat.NormalUpper(stat.NormalUpperQuantile(alpha/2)/math.Sqrt(t))
	}
	return 4 * stat.NormalUpper(stat.NormalUpperQuantile(alpha/4)/math.Sqrt(t))
}

// Bounds are the critical values of |Z| at each look.
type Bounds struct {
	Looks   []float64 // shares of the information
	Z       []float64 // stop when |Z| is as large
	Spent   []float64 // two-sided alpha used up to this look
	Nominal []float64 // two-sided p-value that Z stands for
}

// Spend gives the bounds of a spending function at the looks that were had: their times
// need not be planned.
func Spend(s Spending, looks []float64, alpha float64) (*Bounds, error) {
	if err := checkLooks(looks); err != nil {
		return nil, err
	}
	if err := checkAlpha(alpha); err != nil {
		return nil, err
	}
	if s > WholeOBrienFleming {
		return nil, invalid(ReasonInput, "spending", "is %d; want a known one", s)
	}
	b := &Bounds{Looks: looks}
	w := newWalk()
	before := 0.0
	for _, t := range looks {
		spent := s.Spent(alpha, t)
		z := w.bound(t, (spent-before)/2)
		b.add(z, spent)
		w.stay(t, z)
		before = spent
	}
	return b, nil
}

func (b *Bounds) add(z, spent float64) {
	b.Z, b.Spent = append(b.Z, z), append(b.Spent, spent)
	b.Nominal = append(b.Nominal, 2*stat.NormalUpper(z))
}

// Constant gives the bounds of the classical designs: with shape 0 the same Z at every
// look (Pocock 1977, Biometrika 64:191-199), with shape 0.5 c / sqrt(t) (O'Brien &
// Fleming 1979, Biometrics 35:549-556; Wang & Tsiatis 1987 for shapes between), c such
// that all looks together use up alpha. Looks must be those planned, the last at 1.
func Constant(shape float64, looks []float64, alpha float64) (*Bounds, error) {
	if err := checkLooks(looks); err != nil {
		return nil, err
	}
	if err := checkAlpha(alpha); err != nil {
		return nil, err
	}
	if !(shape >= 0 && shape <= 0.5) {
		return nil, invalid(ReasonInput, "shape", "is %v; want 0 (Pocock) to 0.5 (O'Brien and Fleming)", shape)
	}
	try := func(c float64) *Bounds {
		b, w := &Bounds{Looks: looks}, newWalk()
		var spent float64
		for _, t := range looks {
			z := c * math.Pow(t, -shape)
			spent += 2 * w.beyond(t, z)
			b.add(z, spent)
			w.stay(t, z)
		}
		return b
	}
	last := len(looks) - 1
	c := stat.Root(func(c float64) float64 { return try(c).Spent[last] - alpha }, 0.3, 9)
	return try(c), nil
}

// Crossing gives the chance to stop at each look under a drift: the expected Z at full
// information. With drift 0 its sum is the type I error, else the power; both tails count.
func (b *Bounds) Crossing(drift float64) ([]float64, error) {
	if err := finite("drift", drift); err != nil {
		return nil, err
	}
	w := newWalk()
	w.drift = drift
	out := make([]float64, len(b.Z))
	for i, z := range b.Z {
		out[i] = w.beyond(b.Looks[i], z) + w.below(b.Looks[i], z)
		w.stay(b.Looks[i], z)
	}
	return out, nil
}

// Repeated is the repeated confidence interval at look i (Jennison & Turnbull 1989, JRSS
// B 51:305-361): it holds whatever the looks before showed and however the trial ends.
func (b *Bounds) Repeated(i int, estimate, se float64) (low, high float64, err error) {
	if i < 0 || i >= len(b.Z) {
		return 0, 0, invalid(ReasonLooks, "look", "is %d; want 0 to %d", i, len(b.Z)-1)
	}
	if err := finite("estimate", estimate, se); err != nil {
		return 0, 0, err
	}
	return estimate - float64(b.Z[i]*se), estimate + float64(b.Z[i]*se), nil
}

// walk carries the density of the score S = Z sqrt(t) among trials that go on, look by
// look: f_k(y) = integral of f_(k-1)(x) phi((y-x)/sqrt(dt))/sqrt(dt) over where they went
// on (Armitage, McPherson & Rowe 1969, JRSS A 132:235-244), by Simpson's rule.
type walk struct {
	at    float64
	drift float64
	x, f  []float64 // points and density times weight; nil before the first look
}

// cells is the number of Simpson's intervals, even.
const cells = 600

func newWalk() *walk { return &walk{} }

// beyond is the chance to go on so far and then to be at or above z at t.
func (w *walk) beyond(t, z float64) float64 {
	return w.tail(t, z*math.Sqrt(t), 1)
}

// below is the same for -z and less.
func (w *walk) below(t, z float64) float64 {
	return w.tail(t, -z*math.Sqrt(t), -1)
}

func (w *walk) tail(t, edge, sign float64) float64 {
	if w.x == nil {
		return stat.NormalUpper(sign * (edge - float64(w.drift*t)) / math.Sqrt(t))
	}
	s, move := math.Sqrt(t-w.at), float64(w.drift*(t-w.at))
	var sum float64
	for i, x := range w.x {
		sum += float64(w.f[i] * stat.NormalUpper(sign*(edge-x-move)/s))
	}
	return sum
}

// bound is the z whose upper tail at t is p.
func (w *walk) bound(t, p float64) float64 {
	return stat.Root(func(z float64) float64 { return w.beyond(t, z) - p }, 0, 40)
}

// stay goes on with the trials that were inside z at t. Points reach as far as there is
// any mass to speak of.
func (w *walk) stay(t, z float64) {
	edge := float64(z * math.Sqrt(t))
	reach := float64(9 * math.Sqrt(t))
	low, high := max(-edge, float64(w.drift*t)-reach), min(edge, float64(w.drift*t)+reach)
	x, f := make([]float64, cells+1), make([]float64, cells+1)
	h := float64((high - low) / cells)
	for i := range x {
		x[i] = low + float64(h*float64(i))
		weight := 2.0
		switch {
		case i == 0 || i == cells:
			weight = 1
		case i%2 == 1:
			weight = 4
		}
		f[i] = weight * h / 3 * w.density(t, x[i])
	}
	if high <= low {
		x, f = []float64{0}, []float64{0}
	}
	w.at, w.x, w.f = t, x, f
}

func (w *walk) density(t, y float64) float64 {
	if w.x == nil {
		s := math.Sqrt(t)
		return stat.NormalDensity((y-float64(w.drift*t))/s) / s
	}
	s, move := math.Sqrt(t-w.at), float64(w.drift*(t-w.at))
	var sum float64
	for i, x := range w.x {
		sum += float64(w.f[i] * stat.NormalDensity((y-x-move)/s))
	}
	return sum / s
}
