// Package prescribe turns set schemes into sets that can be done: repetitions,
// repetitions in reserve (RIR), loads that can be put on the bar, warm-up, rest and
// seconds.
//
// Repetitions, load and RIR of a set always agree: expected repetitions plus RIR are
// the repetitions that the athlete's curve gives at that load, less what the sets
// before have cost at their rest, to the nearest whole repetition. A set to failure
// costs its whole capacity, any other what it was expected to take.
//
// An exercise of unknown strength begins with a calibration: lighter sets of six from the
// lightest load there is, or one that can surely be lifted twenty times, about half more
// each time while that is easy, then by one step; three such sets at most under a bar, else
// two; then the first working set of 5 to 12 repetitions with 3 in reserve. Where a related
// lift foretells the load, the lighter sets lead to it. Later loads are shares of the load
// found. How loads go on from week to week stands at Before.
//
// All decisions are made in integers: tenths of a repetition, grams, permille, seconds.
package prescribe

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// Athlete is what the loads of one exercise depend on. OneRMGrams is the 1RM planned
// for the week (moved mass included: Share of body mass plus the load, or less the help of
// a counterweight), 0 where the strength in this exercise is unknown.
type Athlete struct {
	OneRMGrams int64
	Curve      *load.Curve // shifted to the athlete
	BodyGrams  int64       // 0 where unknown
	Share      plan.Permille
	// Capacity in repetitions to failure (tenths) for body mass alone, 0 where unknown.
	FreeRepsTenths int32
}

// Limits are what safety and equipment allow, whatever the scheme asks.
type Limits struct {
	MinRIR       int32         // of every working set
	MaxIntensity plan.Permille // 0: none
	Failure      bool          // sets to failure are allowed for this exercise here
	RepsFloor    int32         // fewest repetitions of a set of this exercise
	// Stretch lets sets go beyond the scheme's repetitions, up to this many, where no
	// load is heavy enough (one kettlebell, body mass alone). 0: they stay in the range.
	Stretch int32
	Most    int32 // repetitions at most where even the heaviest load is light; 0: not said
}

// Input is one exercise of one session with the sets that allocation gave it.
type Input struct {
	Exercise *exercise.Exercise
	Role     plan.Role
	Schemes  []plan.Scheme // Sets settled: Fixed, Min == Max
	Athlete  Athlete
	Menu     *load.Menu // loads that can be set at the place; nil where unloadable. Of a counterweight: see load.Menu.Help
	Limits   Limits
	Warmup   bool // the first of its pattern in the session
	// Calibrate makes an exercise of unknown strength find its load in the first set.
	Calibrate bool
	// Calibrated is the effort (repetitions to failure, tenths) that the calibration set
	// stood for (see Calibration); later weeks state their load as a share of what it
	// showed.
	CalibratedTenths int32
	GrowthPermille   int32 // planned since the calibration, 1000 for none
	// Related names the lift that OneRMGrams is judged from, where nothing was shown in
	// the exercise itself: with Calibrate the ramp leads to a load that the estimate
	// allows, with CalibratedTenths the loads are stated as well as the shares.
	Related  string
	Before   []Before     // what each scheme came to the time before; none: the first time
	Deferred bool         // state the load as a share of the latest estimate
	Budget   plan.Seconds // time allowed; 0: no bound
}

// Output is the exercise's sets, warm-up first, and what had to give.
type Output struct {
	Sets    []plan.Set
	Seconds plan.Seconds
	Basis   []plan.Basis
	Note    string   // for the athlete, short
	Loads   []Before // what each scheme came to, for the next time
	Off     string   // why RIR could not be within 1 of what was wanted; empty where it is
}

// Exercise prescribes the sets of one exercise. It refuses, as Internal, input that no
// stage before should let through: no exercise, no curve, sets that are not settled.
func Exercise(in Input) (Output, error) {
	if err := check(&in); err != nil {
		return Output{}, err
	}
	m := newMaker(&in)
	if m.calibrating {
		m.calibrate()
	}
	for i := range in.Schemes {
		m.scheme(i)
	}
	if len(m.work) > 0 {
		m.work[len(m.work)-1].Rest = 0
	}
	m.warmUp()
	m.fitBudget()
	if in.Exercise.Unilateral {
		m.notes.say(noteSides)
	}
	out := Output{Sets: m.sets(), Note: m.notes.join(), Loads: m.loads(), Off: m.off.join()}
	out.Seconds = Seconds(in.Exercise, out.Sets)
	out.Basis = m.explain(out.Seconds)
	return out, nil
}

func check(in *Input) error {
	bad := func(field, says string) error { return fault.New(fault.Internal, "PRESCRIBE_INPUT", field, says) }
	switch {
	case in.Exercise == nil:
		return bad("exercise", "there is no exercise to prescribe")
	case in.Athlete.Curve == nil:
		return bad("athlete.curve", "a curve is needed even where the strength is unknown")
	case in.Athlete.OneRMGrams < 0 || in.Athlete.BodyGrams < 0 || in.Athlete.Share < 0 || in.Athlete.FreeRepsTenths < 0:
		return bad("athlete", "masses and repetitions can't be negative")
	}
	for i := range in.Schemes {
		s := &in.Schemes[i]
		switch {
		case s.Sets.Min != s.Sets.Max || s.Sets.Min < 0:
			return bad("schemes.sets", "the number of sets has to be settled before: Min equal to Max")
		case s.Reps.Min < 0 || s.Reps.Max < s.Reps.Min || s.Hold.Min < 0 || s.Hold.Max < s.Hold.Min:
			return bad("schemes.reps", "a range goes from its smaller to its larger end")
		case s.Reps.IsZero() && s.Hold.IsZero() && !s.OpenEnded:
			return bad("schemes.reps", "a scheme needs repetitions or seconds")
		}
	}
	return nil
}
