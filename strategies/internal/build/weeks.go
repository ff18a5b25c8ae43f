package build

import (
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// The dose climbs inside a phase, so that sets are added while the work is familiar
// and not when it is new (common practice, no source).
const (
	firstDose = 850
	fullDose  = 1000
)

// Dose gives the dose of training week i of n in a phase. One week alone is a first
// one.
func Dose(i, n int32) plan.Permille {
	if n <= 1 {
		return firstDose
	}
	d := firstDose + (fullDose-firstDose)*i/(n-1)
	return plan.Permille(d / 10 * 10)
}

// Eased gives the effort of training week i of n in a phase: ease repetitions more in
// reserve in the first week, none in the last, evenly between.
func Eased(last Effort, ease, i, n int32) Effort {
	by := ease
	if n > 1 {
		by = nearest(ease*(n-1-i), n-1)
	}
	return last.Easier(by, 6)
}

// Between goes from a to b in n even steps and gives step i, to the nearest whole
// number at both ends of the range.
func Between(a, b plan.Range, i, n int32) plan.Range {
	if n <= 1 {
		return a
	}
	return plan.Range{
		Min: a.Min + nearest((b.Min-a.Min)*i, n-1),
		Max: a.Max + nearest((b.Max-a.Max)*i, n-1),
	}
}

// nearest divides, rounding half away from zero.
func nearest(a, b int32) int32 {
	if a < 0 {
		return -nearest(-a, b)
	}
	return (2*a + b) / (2 * b)
}

// Rotation hands out workouts in turn. It counts sessions, not weekdays, so a short
// week doesn't upset the order. With one workout every day has its own exercises.
type Rotation struct {
	Workouts int32
	next     int32
}

// Week gives n training sessions of the same work, each with its own copy of the
// targets.
func (r *Rotation) Week(n int32, w Work) []plan.OutlineSession {
	return r.Each(n, func(int32) (Work, string) { return w, "" })
}

// Each gives n training sessions whose work may differ from one to the next. It asks
// for the work of the workout whose turn it is (from 0), and for a label.
func (r *Rotation) Each(n int32, work func(workout int32) (w Work, label string)) []plan.OutlineSession {
	if n <= 0 {
		return nil
	}
	out := make([]plan.OutlineSession, n)
	for i := range out {
		w, label := work(r.next)
		out[i] = plan.OutlineSession{Kind: plan.SessionTraining, Label: label, Targets: w.Targets()}
		if r.Workouts > 1 {
			out[i].Group = string(rune('A' + r.next))
			if label == "" {
				out[i].Label = out[i].Group
			}
			r.next = (r.next + 1) % r.Workouts
		}
	}
	return out
}

// Turn gives which of n kinds of work session at (from 0) has, one after the other. So
// that no workout always meets the same kind, as A of three workouts would of three
// kinds, one is skipped a round.
func Turn(at, n, workouts int32) int32 {
	if gcd := divisor(workouts, n); workouts > 1 && gcd > 1 {
		at += at / (workouts / gcd * n)
	}
	return at % n
}

func divisor(a, b int32) int32 {
	for b > 0 {
		a, b = b, a%b
	}
	return a
}

// RangeText prints a range as a coach writes it.
func RangeText(r plan.Range) string {
	if r.Min == r.Max {
		return itoa(r.Min)
	}
	return itoa(r.Min) + "–" + itoa(r.Max)
}

// Steps names the ranges of a run of weeks, equal neighbours once.
func Steps(ranges []plan.Range) string {
	var out []string
	for _, r := range ranges {
		if t := RangeText(r); len(out) == 0 || out[len(out)-1] != t {
			out = append(out, t)
		}
	}
	return strings.Join(out, ", ")
}
