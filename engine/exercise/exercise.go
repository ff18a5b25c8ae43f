package exercise

import (
	"slices"

	"github.com/phasewright/phasewright/engine/plan"
)

// Shares of a set that involvement takes.
const (
	Prime     plan.HalfSets = 2 // a direct set
	Secondary plan.HalfSets = 1 // an indirect set, counted half
)

// Joint stress levels; 0 is none worth naming.
const (
	StressMild   = 1
	StressMarked = 2
)

// Curve names the family of repetitions-intensity curves that an exercise follows.
type Curve string

// Curve families.
const (
	CurveBench            Curve = "bench"
	CurveSquat            Curve = "squat"
	CurveDeadlift         Curve = "deadlift"
	CurveLegPress         Curve = "leg-press"
	CurveUpperCompound    Curve = "upper-compound"
	CurveLowerCompound    Curve = "lower-compound"
	CurveSingleJointUpper Curve = "single-joint-upper"
	CurveSingleJointLower Curve = "single-joint-lower"
	CurveBodyweight       Curve = "bodyweight"
)

var curves = [...]Curve{CurveBench, CurveSquat, CurveDeadlift, CurveLegPress, CurveUpperCompound, CurveLowerCompound,
	CurveSingleJointUpper, CurveSingleJointLower, CurveBodyweight}

// Region is the part of the body that a split assigns an exercise to.
type Region uint8

// Regions.
const (
	RegionUnspecified Region = iota
	Upper
	Lower
	Midsection
	RegionCount
)

// String gives the name used in the data file.
func (r Region) String() string {
	switch r {
	case Upper:
		return "upper"
	case Lower:
		return "lower"
	case Midsection:
		return "trunk"
	}
	return "unspecified"
}

// Standing is how usual a choice an exercise is for a coach who may take any (judgement).
type Standing uint8

// Standings.
const (
	StandingUnspecified Standing = iota
	Staple
	Usual
	Niche
	StandingCount
)

// String gives the name used in the data file.
func (s Standing) String() string {
	switch s {
	case Staple:
		return "staple"
	case Usual:
		return "usual"
	case Niche:
		return "niche"
	}
	return "unspecified"
}

// Flag is a property that rules on safety, order and grouping ask for.
type Flag uint16

// Flags.
const (
	UnderBar        Flag = 1 << iota // needs a spotter or safeties near failure
	Supine                           // lying on the back
	Prone                            // lying face down, or the push-up position
	Overhead                         // arms loaded above the head
	Axial                            // loads the spine lengthwise
	Grip                             // tires the grip
	HardOnLowerBack                  // not stacked with others on one day
	Jump                             // lands
	MaxTest                          // a 1RM test is sensible
	FailureOK                        // safe and cheap to take to failure
	Timed                            // prescribed in seconds
)

var flagNames = [...]string{"under-bar", "supine", "prone", "overhead", "axial", "grip", "lower-back", "jump",
	"max-test", "failure-ok", "timed"}

const allFlags = Flag(1<<len(flagNames) - 1)

// Exercise is one movement with one way of loading. The same movement with
// another implement is another exercise, in the same Group.
type Exercise struct {
	ID       string // kebab-case, stable
	Name     string // as a coach prints it
	CallerID string // the caller's own id, for custom exercises
	Pattern  plan.Pattern
	Role     plan.Role // never GoalLift: a goal is the request's matter

	Involvement [plan.MuscleCount]plan.HalfSets // Prime, Secondary or 0

	Equipment  [][]plan.Equipment // alternatives, each a list of things needed together; none: the floor
	Loading    plan.Loading
	Bar        plan.Equipment     // the bar of LoadingBar
	AddedNeeds [][]plan.Equipment // LoadingAdded: alternatives for holding the added load

	Unilateral    bool          // one side after the other
	BodyMassShare plan.Permille // moved body mass; 0 where it does not matter
	Setup         plan.Seconds  // once: change plates, move station
	Rep           plan.Seconds  // each repetition
	SetSetup      plan.Seconds  // each set: unrack, stance

	Skill  plan.Skill
	Stress [plan.JointCount]uint8 // 0, StressMild or StressMarked

	StepMilliKg int64 // smallest sensible jump; 0 where no load is prescribed
	StepMilliLb int64
	Curve       Curve
	Region      Region
	Standing    Standing
	Flags       Flag
	MinReps     int32  // sensible lower limit as an accessory; 1 for timed
	Group       string // near-copies share it

	RelatedTo      string        // id of a big lift
	RelatedRatio   plan.Permille // 1RM as a share of that lift's (judgement, wide)
	MaxPlausibleKg int32         // a 1RM above it is a typing error; per hand where loads are
	Source         string        // of the muscle attribution
}

// Is reports whether all the given flags are set.
func (e *Exercise) Is(f Flag) bool { return e.Flags&f == f }

// Stresses gives the joint's stress level: 0 none, 1 mild, 2 marked.
func (e *Exercise) Stresses(j plan.Joint) int {
	if int(j) >= len(e.Stress) {
		return 0
	}
	return int(e.Stress[j])
}

// SetCountsFor gives what one working set counts for a muscle, in half sets.
// Explosive work counts for no size (judgement: submaximal by design).
func (e *Exercise) SetCountsFor(m plan.Muscle) plan.HalfSets {
	if int(m) >= len(e.Involvement) || e.Pattern.Explosive() {
		return 0
	}
	return e.Involvement[m]
}

// Direct reports whether a set is a direct one for the muscle.
func (e *Exercise) Direct(m plan.Muscle) bool { return e.SetCountsFor(m) == Prime }

// Step gives the smallest sensible jump in load in a unit; zero where the
// exercise takes no load in numbers.
func (e *Exercise) Step(u plan.MassUnit) plan.Load {
	if u == plan.Pound {
		return plan.Lb(e.StepMilliLb)
	}
	return plan.Kg(e.StepMilliKg)
}

// Available reports whether a settled place lets the exercise be done: every
// item of one equipment alternative is there, and so is a load that fits (the
// bar, a plate pair, a pair of equal dumbbells, a stack). Added load is no
// condition, see Addable.
func (e *Exercise) Available(p *plan.Place) bool {
	if len(e.Equipment) == 0 {
		return e.stocked(p, nil)
	}
	for _, alt := range e.Equipment {
		if hasAll(p, alt) && e.stocked(p, alt) {
			return true
		}
	}
	return false
}

// Addable reports whether a LoadingAdded exercise can be given more than body
// mass at a place: something holds the load (a dip belt; a plate or dumbbell in
// the hands) and there is something to hold.
func (e *Exercise) Addable(p *plan.Place) bool {
	dial := slices.ContainsFunc(p.Adjustables, func(a plan.Adjustable) bool { return len(a.Settings) > 0 })
	if e.Loading != plan.LoadingAdded || len(p.Plates)+len(p.Dumbbells)+len(p.Kettlebells) == 0 && !dial {
		return false
	}
	for _, alt := range e.AddedNeeds {
		if hasAll(p, alt) {
			return true
		}
	}
	return false
}

// RoleAt gives the role at a place: what could carry added load but cannot
// there is unloadable there.
func (e *Exercise) RoleAt(p *plan.Place) plan.Role {
	if e.Loading == plan.LoadingAdded && e.Role != plan.Trunk && !e.Addable(p) {
		return plan.Unloadable
	}
	return e.Role
}

// Missing lists what a place lacks for the exercise, by the alternative that
// lacks least (the first of several); nil where only a fitting load is missing
// or nothing is.
func (e *Exercise) Missing(p *plan.Place) []plan.Equipment {
	var best []plan.Equipment
	for i, alt := range e.Equipment {
		var lack []plan.Equipment
		for _, item := range alt {
			if !p.Has(item) {
				lack = append(lack, item)
			}
		}
		if i == 0 || len(lack) < len(best) {
			best = lack
		}
	}
	return best
}

func (e *Exercise) stocked(p *plan.Place, alt []plan.Equipment) bool {
	switch e.Loading {
	case plan.LoadingBar:
		for _, b := range p.Bars {
			if b.Kind == e.Bar {
				return true
			}
		}
	case plan.LoadingPlateMachine:
		for _, s := range p.Plates {
			if s.Count >= 2 {
				return true
			}
		}
	case plan.LoadingStack:
		for _, s := range p.Stacks {
			if s.Kind == plan.EquipmentUnspecified || contains(alt, s.Kind) {
				return true
			}
		}
	case plan.LoadingDumbbell:
		return dumbbells(p, 1)
	case plan.LoadingDumbbellPair:
		return dumbbells(p, 2)
	case plan.LoadingKettlebell:
		return held(p.Kettlebells, 1)
	case plan.LoadingKettlebellPair:
		return held(p.Kettlebells, 2)
	default:
		return true
	}
	return false
}

// dumbbells reports n equal ones, fixed or set alike.
func dumbbells(p *plan.Place, n int32) bool {
	for _, a := range p.Adjustables {
		if a.Count >= n {
			return true
		}
	}
	return held(p.Dumbbells, n)
}

func held(stock []plan.HeldStock, n int32) bool {
	for _, s := range stock {
		if s.Count >= n {
			return true
		}
	}
	return false
}

func hasAll(p *plan.Place, alt []plan.Equipment) bool {
	for _, item := range alt {
		if !p.Has(item) {
			return false
		}
	}
	return true
}

func contains(list []plan.Equipment, e plan.Equipment) bool {
	for _, i := range list {
		if i == e {
			return true
		}
	}
	return false
}
