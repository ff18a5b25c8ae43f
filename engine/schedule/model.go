package schedule

import "github.com/phasewright/phasewright/engine/plan"

// Model is the allocation problem of one window of weeks as a value: which
// exercises, how many sets of each, on which day. All quantities are integers.
//
// A column of the problem is a Day: one kind of session, which happens Times times
// in the window (a weekday: once a week; a rotation group "A": as often as it
// comes up). Weekly sets of a muscle are the window's sets divided by Weeks, so all
// weekly bounds below are compared as
//
//	sum over days of Times * sets * involvement   against   Weeks * bound
type Model struct {
	Weeks      int32
	Days       []Day
	Candidates []Candidate
	Muscles    []Muscle // rows with something wanted or limited, in order of plan.Muscle
	Lifts      []Lift
	Patterns   []Pattern
	Clashes    []Clash
	Balances   []Balance
	Seed       uint32 // decides among equals
}

// Day is a column.
type Day struct {
	Path         string // of the request: constraints.days[1]
	Name         string // for sentences: "Tuesday"; empty: the path stands for it
	Times        int32
	Capacity     int32 // ticks of 15 s left for exercises
	MaxExercises int32
	MinExercises int32 // soft: fewer is a miss of the last level
	MaxSets      int32
	// Paths of the request where MaxExercises and MaxSets came from; empty: Path too.
	ExercisesPath string `json:",omitempty"`
	SetsPath      string `json:",omitempty"`
}

// Candidate is an exercise that may be chosen.
type Candidate struct {
	ID      string
	Name    string `json:",omitempty"` // for sentences; empty: the ID stands for it
	Path    string // of the request where a pin or goal brought it in, else empty
	Variant string // near-copies share it; two of one variant never share a day
	Pattern plan.Pattern
	// Involve is what a set counts for: 2 direct, 1 indirect, 0 for none. The unused
	// first place marks with 2 what is hard on the lower back, for Clash alone.
	Involve [plan.MuscleCount]plan.HalfSets
	Options []Option // one a day, in the order of Days
	// MinDays and MaxDays bound the number of columns that have it. MinDays > 0 pins it.
	MinDays, MaxDays int32
	MinSets          int32 // a week at least where it is chosen (times Weeks, as above); 0: none
	MaxSets          int32 // a week at most; 0: no bound beyond the options'
	Lift             int32 // index into Lifts, -1 for none
	Preference       int32 // the higher the better: specificity, skill, stability; 0 to 100
}

// Option is what a candidate may do on one day.
type Option struct {
	Allowed bool
	Lo, Hi  int32 // sets if it is there at all; Lo == Hi where the outline fixes them
	Fixed   int32 // ticks for being there: setting up, warm-up sets, less the last rest
	PerSet  int32 // ticks for each working set with its rest
}

// Muscle is a row: weekly sets wanted and allowed.
type Muscle struct {
	Muscle       plan.Muscle
	Wanted       plan.HalfSets
	Floor        plan.HalfSets // missing below it costs more than anything above it
	DirectWanted plan.HalfSets // at least this much of Wanted by direct sets; 0: none
	MaxWeek      plan.HalfSets // hard; 0: none
	MaxSession   plan.HalfSets // hard, direct sets; 0: none
	Weight       int32         // of a miss, 1 to 9
	PrioritySoft bool          // wanted by a goal: level 1 rather than level 2
	Path         string        // of the request where MaxWeek came from, else empty
	SessionPath  string        `json:",omitempty"` // where MaxSession came from; empty: Path too
}

// Pattern wants weekly sets of a movement, by any exercise of its patterns: muscles
// alone would let a week do without a hinge, or without a pull from above.
type Pattern struct {
	Name   string
	Any    []plan.Pattern
	Wanted int32 // sets a week
	Weight int32 // of a miss, 1 to 9
}

// Lift is a goal lift: its sets are counted by set, not by muscle.
type Lift struct {
	ID      string
	Path    string
	Wanted  int32 // sets a week
	Weight  int32
	MinDays int32 // sessions a week at least, hard
}

// Clash forbids or discourages hard work for a muscle on two days: the direct sets of
// Muscle on both may not both exceed Cap.
type Clash struct {
	Muscle plan.Muscle // unspecified: hard work for the lower back
	A, B   int32       // day indices
	Cap    plan.HalfSets
	Hard   bool // from the request; else a preference
	Path   string
}

// Balance keeps two kinds of weekly sets within 0.7 to 1.4 of each other (soft).
type Balance struct {
	Name        string
	Left, Right []plan.Pattern
}

// Assignment is an answer: Sets[c][d] for candidate c on day d.
type Assignment struct {
	Sets   [][]int32
	Value  []int64 // by level, first the gravest; smaller is better
	Bound  []int64 // proven lower bound of the level, given the levels before it
	Proven []bool  // Value equals Bound
	Work   int64   // nodes spent
}
