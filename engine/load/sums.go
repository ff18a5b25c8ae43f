package load

import (
	"bytes"
	"cmp"
	"slices"

	"github.com/phasewright/phasewright/engine/plan"
)

// sums are the distinct subset sums of a stock of plates, rising from 0, each with the
// plates that make it.
type sums struct {
	pieces []plan.Load // heaviest first
	values []int64     // in 1e-11 kg
	counts []uint8     // len(pieces) per value
}

type kind struct {
	mass  plan.Load
	exact int64
	count int64 // how many times it can be used in one sum
}

// newSums forms all sums up to limit from plates used in groups of per (2 for pairs).
// A sum is made with the fewest plates and, of those, with the heaviest. Kinds are
// taken heaviest first; one that would make more than maxOptions sums is left out, so
// a huge mixed stock loses its finest steps and not its range.
func newSums(stock []plan.PlateStock, per int32, limit int64) sums {
	kinds := kindsOf(stock, per, limit)
	s := sums{pieces: make([]plan.Load, len(kinds))}
	for i, k := range kinds {
		s.pieces[i] = k.mass
	}
	w := len(kinds)
	s.values, s.counts = []int64{0}, make([]uint8, w)
	for k, kd := range kinds {
		if next, ok := s.with(k, kd, limit); ok {
			s = next
		}
	}
	return s
}

func kindsOf(stock []plan.PlateStock, per int32, limit int64) []kind {
	var kinds []kind
	for _, p := range stock {
		v := exact(p.Mass)
		if p.Mass.Milli <= 0 || p.Count <= 0 || v > limit {
			continue
		}
		if i := slices.IndexFunc(kinds, func(k kind) bool { return k.mass == p.Mass }); i >= 0 {
			kinds[i].count += int64(p.Count)
			continue
		}
		kinds = append(kinds, kind{p.Mass, v, int64(p.Count)})
	}
	out := kinds[:0]
	for _, k := range kinds {
		// 255 single plates of a kind are more than any bar or belt takes.
		k.count = min(k.count/int64(per), limit/k.exact, 255)
		if k.count > 0 {
			out = append(out, k)
		}
	}
	slices.SortStableFunc(out, func(a, b kind) int { return cmp.Compare(b.exact, a.exact) })
	return out
}

// with extends the sums by one kind. It is false when they would be too many.
func (s sums) with(k int, kd kind, limit int64) (sums, bool) {
	w := len(s.pieces)
	type cand struct {
		value  int64
		from   int
		n      uint8
		plates int
	}
	var all []cand
	for i, v := range s.values {
		base := 0
		for _, c := range s.counts[i*w : i*w+w] {
			base += int(c)
		}
		for n := int64(0); n <= kd.count && v+n*kd.exact <= limit; n++ {
			all = append(all, cand{v + n*kd.exact, i, uint8(n), base + int(n)})
		}
		if len(all) > 20*maxOptions {
			return s, false
		}
	}
	slices.SortFunc(all, func(a, b cand) int {
		if c := cmp.Or(cmp.Compare(a.value, b.value), cmp.Compare(a.plates, b.plates)); c != 0 {
			return c
		}
		// Heavier plates first: kinds so far are in falling order of mass, and the one
		// being added is the lightest, so its count decides only through the others'.
		return bytes.Compare(s.counts[b.from*w:b.from*w+w], s.counts[a.from*w:a.from*w+w])
	})
	all = slices.CompactFunc(all, func(a, b cand) bool { return a.value == b.value })
	if len(all) > maxOptions {
		return s, false
	}
	out := sums{pieces: s.pieces, values: make([]int64, len(all)), counts: make([]uint8, len(all)*w)}
	for i, c := range all {
		out.values[i] = c.value
		copy(out.counts[i*w:], s.counts[c.from*w:c.from*w+w])
		out.counts[i*w+k] = c.n
	}
	return out, true
}
