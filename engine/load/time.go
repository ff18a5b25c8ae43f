package load

import "github.com/phasewright/phasewright/engine/plan"

// WorkSet is one set as the clock sees it. A timed hold is one repetition of its length.
type WorkSet struct {
	Reps      int32
	RepTenths int32        // tenths of a second a repetition: 35 is 3.5 s
	SetUp     plan.Seconds // unrack, stance; 0 for warm-up sets, whose rest holds it
	Rest      plan.Seconds // after it; not counted after the last working set
}

// Timing is one exercise as the clock sees it.
type Timing struct {
	SetUp      plan.Seconds // change plates or station, once
	Warm       []WorkSet    // rest counts after each of them
	Work       []WorkSet
	Unilateral bool // both sides in each set: twice the repetitions, half the rest
}

// tenths gives a set's working time without rest.
func (s WorkSet) tenths(unilateral bool) int64 {
	t := int64(s.Reps) * int64(s.RepTenths)
	if unilateral {
		t *= 2
	}
	return t + int64(s.SetUp)*10
}

// rest gives the rest in tenths; one side rests while the other works.
func (s WorkSet) rest(unilateral bool) int64 {
	if unilateral {
		return int64(s.Rest) * 5
	}
	return int64(s.Rest) * 10
}

// SetSeconds gives one set without its rest, rounded up.
func SetSeconds(s WorkSet, unilateral bool) plan.Seconds { return upSeconds(s.tenths(unilateral)) }

// ExerciseSeconds gives all of an exercise: setting up, warm-up sets with their rest,
// working sets, and the rest between them. Rounded up.
func ExerciseSeconds(t Timing) plan.Seconds { return upSeconds(t.tenths()) }

func (t Timing) tenths() int64 {
	sum := t.before()
	for i, s := range t.Work {
		sum += s.tenths(t.Unilateral)
		if i < len(t.Work)-1 {
			sum += s.rest(t.Unilateral)
		}
	}
	return sum
}

func (t Timing) before() int64 {
	sum := int64(t.SetUp) * 10
	for _, s := range t.Warm {
		sum += s.tenths(t.Unilateral) + s.rest(t.Unilateral)
	}
	return sum
}

// PairSeconds gives two exercises whose working sets alternate: the longer of the two
// rests counts once a round. Sets that one of them has more are done alone at the end.
func PairSeconds(a, b Timing) plan.Seconds {
	sum := a.before() + b.before()
	rounds := max(len(a.Work), len(b.Work))
	for i := range rounds {
		var rest int64
		for _, t := range []Timing{a, b} {
			if i < len(t.Work) {
				sum += t.Work[i].tenths(t.Unilateral)
				rest = max(rest, t.Work[i].rest(t.Unilateral))
			}
		}
		if i < rounds-1 {
			sum += rest
		}
	}
	return upSeconds(sum)
}

// SessionSeconds sums a session: general warm-up, exercises or pairs, end.
func SessionSeconds(warmUp, end plan.Seconds, parts ...plan.Seconds) plan.Seconds {
	sum := warmUp + end
	for _, p := range parts {
		sum += p
	}
	return sum
}

func upSeconds(tenths int64) plan.Seconds { return plan.Seconds((tenths + 9) / 10) }
