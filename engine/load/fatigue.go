package load

import "github.com/phasewright/phasewright/engine/plan"

// FatigueVersion changes whenever a value of DefaultFatigue changes.
const FatigueVersion = "fatigue-1"

// Point is a pair of a table that is filled linearly and stays at its ends.
type Point struct{ At, Value int32 }

// Fatigue describes how sets of an exercise lower the repetitions possible in the
// next ones, and how rest brings them back. Its state is a Debt in two parts: a fast
// one, which a set to failure drives to the whole capacity and which is mostly gone
// after three minutes, and a slow one, which adds up from set to set.
//
// Capacity is fresh repetitions × (1 − fast − slow). The share is taken to be the
// same at every load (Willardson & Burkett, J Strength Cond Res 20(2):396-399, 2006:
// sustained shares at 80 and 50 % of 1RM not different), so the same debt holds for a
// different load of the same exercise.
//
// A set's strength s, 0 to 1, is share of the capacity used × nearness to failure ×
// weight of the load's fresh repetitions. After it, fast = fast + (1 − fast)·s and slow = slow + Slow·s.
type Fatigue struct {
	Slow     int32     // added to the slow debt by a set to failure, in 1/10,000
	FastLeft [10]Point // rest in seconds -> share of the fast debt left, in 1/10,000
	SlowLeft [10]Point // rest in seconds -> share of the slow debt left, in 1/10,000
	Nearness [9]Point  // RIR in tenths -> nearness to failure, in 1/10,000
	Weight   [4]Point  // fresh repetitions in tenths -> weight, in 1/10,000
}

// DefaultFatigue is fitted by hand to group means, and is judgement between them:
//
//   - bench press at 70 % to failure, 3 sets, 1 min rest: about 26.6 repetitions in
//     all where a fresh set gives 14 (Silva 2014, J Trainology 3:41-46).
//   - knee extension at 80 % to failure: with 1 min rest 10.8, 5.6, 4.8 repetitions,
//     with 3 min 9.4, 7.0, 6.4 (Rev Bras Med Esporte 13(5), 2007, abstract).
//   - 10RM, 3 sets of 3 upper-body exercises: 71.1 repetitions of 90 with 2 min rest,
//     83.7 with 5 min (Senna et al., J Sports Sci Med 8:197-202, 2009, abstract).
//   - 8RM, 4 sets: bench press totals 26 % higher with 2 min and 50 % higher with
//     5 min rest than with 1 min, squat 14 and 28 % (Willardson & Burkett 2005, as
//     quoted). The squat loses less; other lower-body lifts did not (Senna 2011), so
//     there is one set of numbers for all.
//   - bench press at 85 %, 4 sets: repetitions fully kept only with 8 min (Hernandez
//     et al., J Strength Cond Res 35(11):2981-2987, 2021, abstract).
//   - bench press at 75 %, 6 sets: bar speed lost from first to last set 22 % at
//     failure, 9 % with 1 RIR, 6 % with 3 RIR (Refalo et al., Sports Med Open 2023,
//     abstract). Speed is not repetitions, so nearness falls less steeply here.
//   - 3RM bench press: with 2 to 5 min rest no loss before the third or fourth set
//     (Scudese et al., J Strength Cond Res 29(11):3079-3083, 2015, abstract): loads
//     of few repetitions weigh less (how much less is judgement).
func DefaultFatigue() Fatigue {
	return Fatigue{
		Slow: 1000,
		FastLeft: [10]Point{{0, 10_000}, {15, 8000}, {30, 6400}, {60, 4150}, {90, 3100}, {120, 2170},
			{180, 780}, {240, 320}, {300, 120}, {480, 0}},
		SlowLeft: [10]Point{{0, 10_000}, {60, 9000}, {120, 8000}, {180, 7000}, {240, 6100}, {300, 5300},
			{480, 3300}, {600, 2500}, {900, 1200}, {1800, 0}},
		Nearness: [9]Point{{0, 10_000}, {10, 5600}, {20, 4600}, {30, 4000}, {40, 3700}, {50, 3500},
			{60, 3300}, {80, 3100}, {100, 3000}},
		Weight: [4]Point{{0, 4000}, {10, 4750}, {30, 6250}, {80, 10_000}},
	}
}

// Debt is what earlier sets have left, in 1/10,000 of the fresh repetitions. The zero
// value is fresh.
type Debt struct{ Fast, Slow int32 }

const whole = 10_000

// Done is a set as done: repetitions in tenths, and the rest before the next set.
type Done struct {
	RepsTenths int32
	Rest       plan.Seconds
}

// Capacity gives the repetitions to failure now possible, in tenths, at a load that
// gives freshTenths when fresh, to the nearest. Never below 0.
func (f Fatigue) Capacity(freshTenths int32, d Debt) int32 {
	left := whole - d.Fast - d.Slow
	if left <= 0 || freshTenths <= 0 {
		return 0
	}
	return int32((int64(freshTenths)*int64(left) + whole/2) / whole)
}

// After gives the debt right after a set of repsTenths at that load. More
// repetitions than the capacity count as failure.
func (f Fatigue) After(d Debt, freshTenths, repsTenths int32) Debt {
	if repsTenths <= 0 {
		return d
	}
	can := f.Capacity(freshTenths, d)
	strength := int64(whole)
	if repsTenths < can {
		strength = int64(repsTenths) * whole / int64(can)
		strength = strength * int64(lookup(f.Nearness[:], can-repsTenths)) / whole
	}
	strength = strength * int64(lookup(f.Weight[:], freshTenths)) / whole
	d.Fast += int32(int64(whole-d.Fast) * strength / whole)
	d.Slow += int32(int64(f.Slow) * strength / whole)
	return d
}

// Recover gives the debt left after a rest.
func (f Fatigue) Recover(d Debt, rest plan.Seconds) Debt {
	return Debt{
		Fast: int32(int64(d.Fast) * int64(lookup(f.FastLeft[:], int32(rest))) / whole),
		Slow: int32(int64(d.Slow) * int64(lookup(f.SlowLeft[:], int32(rest))) / whole),
	}
}

// Next gives the debt at the start of the next set, after a set and its rest.
func (f Fatigue) Next(d Debt, freshTenths int32, set Done) Debt {
	return f.Recover(f.After(d, freshTenths, set.RepsTenths), set.Rest)
}

// Sequence gives the capacity at the start of each of the sets, done at one load, and
// of one more set after them: len(sets)+1 values in tenths, the first freshTenths.
func (f Fatigue) Sequence(freshTenths int32, sets []Done) []int32 {
	out := make([]int32, 0, len(sets)+1)
	var d Debt
	for _, s := range sets {
		out = append(out, f.Capacity(freshTenths, d))
		d = f.Next(d, freshTenths, s)
	}
	return append(out, f.Capacity(freshTenths, d))
}

// FreshFor gives the smallest fresh repetitions, in tenths, from which all sets of
// reps at one load and rest can be done with at least rirTenths left in the last of
// them, and false if even limitTenths is not enough.
func (f Fatigue) FreshFor(sets, reps int32, rest plan.Seconds, rirTenths, limitTenths int32) (int32, bool) {
	// Not a bisection: a tenth more at the start need not be worth a tenth at the end
	// once values are rounded, and the span is short.
	for fresh := reps*10 + rirTenths; fresh <= limitTenths; fresh++ {
		if f.holds(fresh, sets, reps, rest, rirTenths) {
			return fresh, true
		}
	}
	return 0, false
}

func (f Fatigue) holds(fresh, sets, reps int32, rest plan.Seconds, rirTenths int32) bool {
	var d Debt
	for k := int32(1); k <= sets; k++ {
		need := reps * 10
		if k == sets {
			need += rirTenths
		}
		if f.Capacity(fresh, d) < need {
			return false
		}
		d = f.Next(d, fresh, Done{RepsTenths: reps * 10, Rest: rest})
	}
	return true
}

// lookup fills a table linearly, rounding towards the piece's first value, which
// keeps it monotone, and keeps its end values outside.
func lookup(table []Point, at int32) int32 {
	if at <= table[0].At {
		return table[0].Value
	}
	for i := 1; i < len(table); i++ {
		a, b := table[i-1], table[i]
		if at <= b.At {
			return a.Value + int32(int64(b.Value-a.Value)*int64(at-a.At)/int64(b.At-a.At))
		}
	}
	return table[len(table)-1].Value
}
