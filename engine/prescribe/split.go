package prescribe

import "github.com/phasewright/phasewright/engine/plan"

// Split settles the number of sets of each scheme so that they are n in all: fixed
// schemes come first and exactly, the scaled ones share the rest within their bounds,
// each first its Min in order, then one set at a time in turn. With fewer sets than
// the fixed schemes have, the later ones go without; n beyond all Max is not reached.
// Schemes left without a set are left out.
func Split(schemes []plan.Scheme, n int32) []plan.Scheme {
	if len(schemes) == 1 {
		s := schemes[0]
		k := min(n, s.Sets.Max)
		if k <= 0 {
			return nil
		}
		s.Sets = plan.FixedSets(k)
		return []plan.Scheme{s}
	}
	var out []plan.Scheme
	for i, k := range counts(schemes, n) {
		if k == 0 {
			continue
		}
		s := schemes[i]
		s.Sets = plan.FixedSets(k)
		out = append(out, s)
	}
	return out
}

func counts(schemes []plan.Scheme, n int32) []int32 {
	out := make([]int32, len(schemes))
	take := func(i int, k int32) {
		k = min(max(k, 0), n)
		out[i] += k
		n -= k
	}
	for i := range schemes {
		if s := schemes[i].Sets; s.Fixed {
			take(i, s.Max)
		}
	}
	for i := range schemes {
		if s := schemes[i].Sets; !s.Fixed {
			take(i, s.Min)
		}
	}
	for given := true; n > 0 && given; {
		given = false
		for i := range schemes {
			if s := schemes[i].Sets; !s.Fixed && out[i] < s.Max && n > 0 {
				take(i, 1)
				given = true
			}
		}
	}
	return out
}
