package prescribe

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

const (
	defaultRIR   = 2    // where a scheme names neither effort nor intensity; common practice, no source
	mostReps     = 30   // the curves end there
	openReps     = 10   // what an open-ended set without a known strength is timed with
	fewReps      = 3    // up to here loads are rounded down
	hiddenRIR    = 5    // a reserve above it is no RIR any more (scale: below 7 do not convert)
	mostRIR      = 10   // the scale ends there; more is said, not stated
	mostStated   = 20   // where a cap asks for more than the scale has
	tooFew       = 20   // how many repetitions short a triple counts where none is meant
	noSet        = 1000 // and how many a set that can't be done at all: any lighter load is better
	belowRange   = 4    // how far below a range repetitions may go for a load that is some work
	repsTogether = 3    // fewest repetitions of a body-mass set that is still prescribed
)

// demand is a scheme with the limits laid over it.
type demand struct {
	src     *plan.Scheme
	n       int32
	lo, hi  int32
	rir     int32 // wanted
	floor   int32 // of RIR
	asked   bool  // the scheme names an effort; else repetitions or intensity decide
	failure bool
	open    bool
	down    bool // round loads down
	rest    plan.Seconds
}

// demandOf lays the limits over a scheme; what changed goes to say.
func demandOf(s *plan.Scheme, l Limits, say func(id string, args ...string)) demand {
	d := demand{src: s, n: s.Sets.Min, open: s.OpenEnded, rest: s.Rest, floor: max(l.MinRIR, 0)}
	d.lo, d.hi = floored(s, l.RepsFloor)
	if d.lo != s.Reps.Min && !s.Reps.IsZero() {
		say(noteRepsFloor, "reps", rangeText(s.Reps), "new", rangeText(plan.Range{Min: d.lo, Max: d.hi}))
	}
	want := s.Effort.Wanted()
	d.asked = want.Set || !s.Effort.Intensity.Set && !s.OpenEnded
	d.rir = want.Or(defaultRIR)
	if !d.asked {
		d.rir = 1
	}
	d.failure = s.Effort.ToFailure
	if d.failure && (!l.Failure || d.floor > 0) {
		d.failure = false
		d.rir = max(1, d.floor)
		say(noteNoFailure, "rir", itoa(d.rir))
	}
	if d.rir < d.floor {
		if d.asked {
			say(noteMinRIR, "rir", itoa(d.floor))
		}
		d.rir = d.floor
	}
	d.down = d.lo <= fewReps || d.asked && (d.rir <= 1 || d.rir == d.floor)
	return d
}

// floored gives a scheme's repetitions raised to the floor, the width kept.
func floored(s *plan.Scheme, floor int32) (lo, hi int32) {
	lo, hi = max(s.Reps.Min, 1), max(s.Reps.Max, s.Reps.Min, 1)
	if floor > lo && s.Kind != plan.SetTest && s.Kind != plan.SetAttempt {
		hi += floor - lo
		lo = floor
	}
	return lo, hi
}

// timed reports schemes that are held for seconds.
func timed(ex *exercise.Exercise, s *plan.Scheme) bool {
	return !s.Hold.IsZero() && (ex.Is(exercise.Timed) || s.Reps.IsZero())
}

// half rounds tenths of a repetition: half up, but half down where nothing is to be
// left, since half a repetition is none.
func (d *demand) half() int32 {
	if d.rir == 0 {
		return 4
	}
	return 5
}

// most is the highest number of repetitions of a set.
func (d *demand) most() int32 {
	if d.open {
		return mostReps
	}
	return d.hi
}

// least is the smallest RIR that is still close enough to the wanted one.
func (d *demand) least() int32 {
	if !d.asked {
		return d.floor
	}
	return max(d.rir-1, d.floor)
}

// assess gives the repetitions expected of a capacity (tenths) and the RIR left. It
// keeps the range, unless fewer repetitions are the only safe answer; then the
// repetitions are as many as leave enough in reserve, down to 0.
func (d *demand) assess(capacity int32) (reps, rir int32) {
	h := d.half()
	reps = min(floorDiv(capacity-10*d.rir+h, 10), d.most())
	if reps < d.lo {
		need := 10 * d.lo
		if d.rir == 0 {
			need -= h
		}
		if left := capacity - 10*d.lo; capacity >= need && floorDiv(left+h, 10) >= d.least() {
			reps = d.lo
		} else {
			reps = d.fewer(capacity)
		}
	}
	return reps, max(floorDiv(capacity-10*reps+h, 10), 0)
}

// fewer gives repetitions below the range: at the wanted reserve, or where that leaves
// hardly a set, at the smallest that will do.
func (d *demand) fewer(capacity int32) int32 {
	reps := floorDiv(capacity-10*d.goal()+d.half(), 10)
	if least := d.least(); reps < repsTogether {
		part := d.half()
		if least == 0 && d.rir > 0 {
			part = 0 // no repetition that may fail where none should
		}
		reps = min(floorDiv(capacity-10*least+part, 10), repsTogether)
	}
	return min(max(reps, 0), d.lo-1)
}

// goal is the reserve to aim at where the load or the repetitions have to come down.
func (d *demand) goal() int32 {
	if d.asked || d.open {
		return d.rir
	}
	return d.floor
}

// miss is how far sets are from what was wanted.
type miss struct {
	short int32 // repetitions below the range
	over  int32 // RIR beyond one too many
	soft  int32 // sets to failure that the range ends one repetition before
}

func (m miss) add(o miss) miss { return miss{m.short + o.short, m.over + o.over, m.soft + o.soft} }

// none reports sets as wanted; one repetition before failure is close enough.
func (m miss) none() bool { return m.short == 0 && m.over == 0 }

// cost weighs them: a repetition short is worse than one left over.
func (m miss) cost() int32 { return 100*(2*m.short+m.over) + m.soft }

func (d *demand) miss(reps, rir int32) miss {
	var m miss
	if reps < d.lo {
		m.short = d.lo - reps
		if reps <= fewReps && d.lo > fewReps {
			m.short += tooFew
		}
		if reps <= 0 {
			m.short += noSet
		}
	}
	if d.asked && rir > d.rir+1 {
		m.over = rir - d.rir - 1
	}
	if d.failure && rir == 1 && reps >= d.lo {
		m.soft = 1
	}
	return m
}

func floorDiv(a, b int32) int32 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
