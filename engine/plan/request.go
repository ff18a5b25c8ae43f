package plan

// GoalKind is what a goal is about.
type GoalKind uint8

// Kinds of goal.
const (
	GoalUnspecified    GoalKind = iota
	GoalRaise1RM                // of an exercise
	GoalGrow                    // a muscle
	GoalMaintainLift            // an exercise
	GoalMaintainMuscle          // a muscle
	GoalPeak                    // an exercise, on a date
	GoalGeneral                 // strength and size of everything
)

var goalNames = [...]string{"", "raise the 1RM of", "grow", "maintain", "maintain", "peak", "general strength and size"}

// String gives a plain verb.
func (g GoalKind) String() string { return nameOf(goalNames[:], uint8(g), "GoalKind") }

// Goal is one wish. Priority 1 comes first, 3 last.
type Goal struct {
	Kind       GoalKind  `json:"kind"`
	ExerciseID string    `json:"exercise,omitzero"`
	Muscle     Muscle    `json:"muscle,omitzero"`
	Priority   int32     `json:"priority"`
	Date       Opt[Date] `json:"date,omitzero"`
}

// Lift reports goals about an exercise.
func (g Goal) Lift() bool {
	return g.Kind == GoalRaise1RM || g.Kind == GoalMaintainLift || g.Kind == GoalPeak
}

// Day is a day of the week on which the athlete can train.
type Day struct {
	Weekday Weekday `json:"weekday,omitzero"` // unset: any, days are then only ordered
	Minutes int32   `json:"minutes"`
	PlaceID string  `json:"place,omitzero"`
}

// PlacePeriod moves every session of some weeks or dates to another place.
// Either both dates or both weeks are set; both ends belong to it.
type PlacePeriod struct {
	FromDate Opt[Date]  `json:"from_date,omitzero"`
	ToDate   Opt[Date]  `json:"to_date,omitzero"`
	FromWeek Opt[int32] `json:"from_week,omitzero"`
	ToWeek   Opt[int32] `json:"to_week,omitzero"`
	PlaceID  string     `json:"place"`
}

// Pin is an exercise that must be in the program.
type Pin struct {
	ExerciseID   string `json:"exercise"`
	Group        string `json:"group,omitzero"`    // only in sessions of this rotation group ("A", "B")
	PerWeek      int32  `json:"per_week,omitzero"` // sessions a week at least; 0: one
	EverySession bool   `json:"every_session,omitzero"`
}

// Limits are upper bounds that the caller sets; unset ones get the guideline's.
type Limits struct {
	ExercisesPerSession  Opt[int32]   `json:"exercises_per_session,omitzero"`
	SetsPerSession       Opt[int32]   `json:"sets_per_session,omitzero"`
	MuscleSetsPerSession Opt[int32]   `json:"muscle_sets_per_session,omitzero"` // direct sets
	MuscleSetsPerWeek    []MuscleSets `json:"muscle_sets_per_week,omitempty"`
}

// Recovery asks for hours between hard work for one muscle.
type Recovery struct {
	Muscle Muscle `json:"muscle"`
	Hours  int32  `json:"hours"`
}

// DateRange is a run of days, both ends included.
type DateRange struct {
	From Date `json:"from"`
	To   Date `json:"to"`
}

// Constraints are the facts of the athlete's life.
type Constraints struct {
	Unit       MassUnit      `json:"unit,omitzero"`
	Days       []Day         `json:"days,omitempty"`
	Places     []Place       `json:"places,omitempty"`
	Periods    []PlacePeriod `json:"periods,omitempty"`
	PreparedOn Opt[Date]     `json:"prepared_on,omitzero"` // the day the request is made: evidence and clearance are aged from it
	Start      Opt[Date]     `json:"start,omitzero"`
	Weeks      Opt[int32]    `json:"weeks,omitzero"`
	Target     Opt[Date]     `json:"target,omitzero"`
	Pinned     []Pin         `json:"pinned,omitempty"`
	Excluded   []string      `json:"excluded,omitempty"`
	Limits     Limits        `json:"limits,omitzero"`
	Recovery   []Recovery    `json:"recovery,omitempty"`
	NoTraining []DateRange   `json:"no_training,omitempty"`
}

// ValueKind is the type of a parameter's value.
type ValueKind uint8

// Value kinds.
const (
	ValueUnspecified ValueKind = iota
	ValueNumber                // thousandths
	ValueRange                 // whole numbers, Lo to Hi
	ValueText
	ValueBool
	ValueList // whole numbers
	ValueSets // of a parameter only: sets as a coach writes them; its values are texts
)

// Value is a parameter's value. Only the fields of its kind are set.
type Value struct {
	Kind  ValueKind `json:"kind"`
	Milli int64     `json:"milli,omitzero"`
	Lo    int32     `json:"lo,omitzero"`
	Hi    int32     `json:"hi,omitzero"`
	Text  string    `json:"text,omitzero"`
	Bool  bool      `json:"bool,omitzero"`
	List  []int32   `json:"list,omitempty"`
}

// Param is a named value for a strategy. Lists of them are sorted by name.
type Param struct {
	Name  string `json:"name"`
	Value Value  `json:"value"`
}

// Segment is a run of weeks under one strategy.
type Segment struct {
	Strategy string     `json:"strategy"` // name or name@version
	Weeks    Opt[int32] `json:"weeks,omitzero"`
	Params   []Param    `json:"params,omitempty"`
}

// Track is a sequence of segments for some lifts or muscles; the track that names
// none holds for everything else.
type Track struct {
	Name        string    `json:"name,omitzero"`
	ExerciseIDs []string  `json:"exercises,omitempty"`
	Muscles     []Muscle  `json:"muscles,omitempty"`
	Segments    []Segment `json:"segments,omitempty"`
}

// LeadIn is a run of easy weeks before the plan, the same whatever follows.
type LeadIn struct {
	Weeks int32 `json:"weeks"`
	Sets  int32 `json:"sets,omitzero"` // per exercise; 0: the default
	Reps  int32 `json:"reps,omitzero"` // upper end of the repetitions; 0: the default
}

// Deload cuts the dose every so many weeks.
type Deload struct {
	EveryWeeks int32    `json:"every_weeks"`
	Keep       Permille `json:"keep"` // share of the dose that stays
}

// Taper cuts the dose before a date while intensity stays.
type Taper struct {
	Days int32    `json:"days"`
	Keep Permille `json:"keep"`
}

// RecoveryWeeks puts in a week with fewer sessions, easier, every so many weeks.
type RecoveryWeeks struct {
	EveryWeeks int32    `json:"every_weeks"`
	Sessions   int32    `json:"sessions,omitzero"` // 0: one fewer than usual
	Keep       Permille `json:"keep,omitzero"`     // share of the dose that stays; 0: the default
}

// Retest tests lifts at the end of weeks of the program, counted from 1 with the
// lead-in. What refers to their 1RM afterwards refers to what the test shows.
type Retest struct {
	AfterWeeks  []int32  `json:"after_weeks,omitempty"`
	PhaseEnds   bool     `json:"phase_ends,omitzero"` // also where a phase ends, but for the last
	ExerciseIDs []string `json:"exercises,omitempty"` // none: the lifts that goals name
}

// EntryCondition is what an athlete must be able to do for the plan to be meant for
// them: 1RM of an exercise of at least Times body mass (permille).
type EntryCondition struct {
	ExerciseID string   `json:"exercise"`
	Times      Permille `json:"times_body_mass"`
}

// Plan says which strategies run when.
type Plan struct {
	Tracks []Track          `json:"tracks,omitempty"`
	LeadIn Opt[LeadIn]      `json:"lead_in,omitzero"`
	Deload Opt[Deload]      `json:"deload,omitzero"`
	Taper  Opt[Taper]       `json:"taper,omitzero"`
	Entry  []EntryCondition `json:"entry,omitempty"`

	Recovery        Opt[RecoveryWeeks] `json:"recovery,omitzero"`
	Retest          Opt[Retest]        `json:"retest,omitzero"`
	SessionsPerWeek Opt[int32]         `json:"sessions_per_week,omitzero"` // the first so many days; others stay free but for tests
	NoAttempts      bool               `json:"no_attempts,omitzero"`       // leave out the attempts on the day of a peak
	Shorten         bool               `json:"shorten,omitzero"`           // cut segments that don't fit the weeks, instead of refusing
}

// Request is all that a program is made from. Settled, it has no gap left.
type Request struct {
	Athlete     Athlete          `json:"athlete"`
	Goals       []Goal           `json:"goals,omitempty"`
	Constraints Constraints      `json:"constraints"`
	Plan        Plan             `json:"plan,omitzero"`
	Exercises   []CallerExercise `json:"exercises,omitempty"`
	Seed        uint32           `json:"seed,omitzero"`
	Own         []OwnExercise    `json:"own,omitempty"` // beside the catalogue's
	Search      Search           `json:"search,omitzero"`
}

// Search says how long to look for the best allocation.
type Search uint8

// Searches; the first two are the same.
const (
	SearchUnspecified Search = iota
	SearchUsual
	SearchThorough // goes on with some thirty times the work of a part, for all of them
)

// CallerExercise ties the caller's id of an exercise to ours.
type CallerExercise struct {
	ExerciseID string `json:"exercise"`
	CallerID   string `json:"caller_id"`
	Name       string `json:"name,omitzero"` // shown instead of ours
}
