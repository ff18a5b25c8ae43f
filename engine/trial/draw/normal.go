package draw

import "math"

// Uniform gives a number inside (0, 1): the middles of 2^53 steps.
func Uniform(s Source) float64 {
	return float64((float64(s.Uint64()>>11) + 0.5) / (1 << 53))
}

// Normal gives standard normal numbers by the polar method (Marsaglia & Bray 1964), for
// simulation only: its last bits may differ between machines.
type Normal struct {
	Source Source
	spare  float64
	has    bool
}

// Next gives the next number.
func (n *Normal) Next() float64 {
	if n.has {
		n.has = false
		return n.spare
	}
	for {
		u, v := float64(2*Uniform(n.Source))-1, float64(2*Uniform(n.Source))-1
		q := float64(u*u) + float64(v*v)
		if q >= 1 || q == 0 {
			continue
		}
		f := math.Sqrt(-2 * math.Log(q) / q)
		n.spare, n.has = v*f, true
		return u * f
	}
}
