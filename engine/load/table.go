package load

import "github.com/phasewright/phasewright/engine/plan"

// textbookPermille is the textbook table, repetitions 1 to 15: Sheppard & Triplett,
// Program Design for Resistance Training, in Haff & Triplett (eds.), NSCA Essentials
// of Strength Training and Conditioning, 4th ed. 2016, table 17.7 (from memory; rows
// 1 to 10 agree with a public copy). 13 and 14 are not printed there: linear fill.
// Another copied chart has 73 and 70 % at 11 and 12; this is the 4th edition.
var textbookPermille = [...]plan.Permille{1000, 950, 930, 900, 870, 850, 830, 800, 770, 750, 700, 670, 663, 657, 650}

// TextbookMaxReps is where the textbook table ends.
const TextbookMaxReps = int32(len(textbookPermille))

// LoadTable gives the share of the 1RM for repetitions to failure, and false where
// the table does not go.
type LoadTable func(reps int32) (plan.Permille, bool)

// Textbook is the textbook table.
func Textbook(reps int32) (plan.Permille, bool) {
	if reps < 1 || reps > TextbookMaxReps {
		return 0, false
	}
	return textbookPermille[reps-1], true
}

// EpleyTable is Epley's equation turned round, one repetition being 100 %, to 15
// repetitions.
func EpleyTable(reps int32) (plan.Permille, bool) {
	if reps < 1 || reps > 15 {
		return 0, false
	}
	if reps == 1 {
		return 1000, true
	}
	return plan.Permille(roundDiv(30_000, int64(30+reps))), true
}

// BrzyckiTable is Brzycki's equation turned round, to 15 repetitions.
func BrzyckiTable(reps int32) (plan.Permille, bool) {
	if reps < 1 || reps > 15 {
		return 0, false
	}
	return plan.Permille(roundDiv(int64(37-reps)*1000, 36)), true
}

// ByRIR gives the share of the 1RM at which reps leave rir repetitions in reserve:
// the table's row for reps + rir.
func (t LoadTable) ByRIR(reps, rir int32) (plan.Permille, bool) {
	if reps < 1 || rir < 0 {
		return 0, false
	}
	return t(reps + rir)
}

// Reps is the inverse: the most repetitions to failure that the table has at a share
// or above. It is false above 100 % and below the table's last row, where the table
// says nothing.
func (t LoadTable) Reps(share plan.Permille) (int32, bool) {
	best := int32(0)
	for n := int32(1); ; n++ {
		p, ok := t(n)
		if !ok {
			return 0, false // ran off the end: lighter than the last row
		}
		if p < share {
			return best, best > 0
		}
		best = n
		if p == share {
			return best, true
		}
	}
}

// roundDiv divides to the nearest integer, halves up; both must be non-negative, b positive.
func roundDiv(a, b int64) int64 { return (a + b/2) / b }

// isqrt is the integer square root, rounded down.
func isqrt(v int64) int64 {
	if v <= 0 {
		return 0
	}
	r := int64(1)
	for r*r <= v {
		r *= 2
	}
	for lo := r / 2; ; {
		mid := (lo + r) / 2
		if mid == lo {
			return lo
		}
		if mid*mid <= v {
			lo = mid
		} else {
			r = mid
		}
	}
}
