package plan

// StrengthQuery asks how strong an athlete is.
type StrengthQuery struct {
	Athlete     Athlete       `json:"athlete"`
	ExerciseIDs []string      `json:"exercises,omitempty"` // none: each that has a performance, in order of first mention
	Date        Opt[Date]     `json:"date,omitzero"`       // to estimate for; unset: the day of the last performance
	Unit        MassUnit      `json:"unit,omitzero"`
	Reps        []int32       `json:"reps,omitempty"` // whose loads are wanted, 1 to 30; none: a usual choice
	Own         []OwnExercise `json:"own,omitempty"`  // beside the catalogue's
}

// StrengthReport is what the performances of an athlete say. It is no program: nothing
// in it is to be lifted.
type StrengthReport struct {
	Date        Opt[Date]    `json:"date,omitzero"`
	Unit        MassUnit     `json:"unit"`
	Lifts       []Lift       `json:"lifts"`
	Assumptions []Assumption `json:"assumptions,omitempty"`
	Cautions    []Caution    `json:"cautions,omitempty"`
}

// Lift is the strength in one exercise. Loads are what is on the bar, in one hand or
// added to the body, to a tenth of the unit; below zero it is the help that is needed.
type Lift struct {
	ExerciseID string        `json:"exercise"`
	Name       string        `json:"name"`
	PerHand    bool          `json:"per_hand,omitzero"`
	Carried    Load          `json:"carried,omitzero"` // share of body mass that is moved with each load; zero where none is
	Max        Opt[OneRM]    `json:"max,omitzero"`
	Missing    string        `json:"missing,omitzero"` // where there is no Max: why, and what would give one
	Used       []int32       `json:"used,omitempty"`   // performances, by their place in the athlete's list
	Aside      []SetAside    `json:"aside,omitempty"`
	Loads      []RepsLoad    `json:"loads,omitempty"` // by repetitions, rising
	Best       Opt[BestSet]  `json:"best,omitzero"`
	Equations  []EquationMax `json:"equations,omitempty"`
}

// OneRM is an estimate with its error.
type OneRM struct {
	Middle   Load     `json:"middle"` // as likely too high as too low
	Low      Load     `json:"low"`    // the truth is between both nine times in ten
	High     Load     `json:"high"`
	Start    Load     `json:"start"` // what a program would start from, on the safe side
	SD       Permille `json:"sd"`    // of all that is moved
	Slope    Permille `json:"slope"` // of repetitions beyond the first, 1000 is the population's
	SlopeSD  Permille `json:"slope_sd"`
	Curve    string   `json:"curve"` // family
	Borrowed string   `json:"borrowed,omitzero"`
}

// SetAside is a performance that was not used and moves nothing.
type SetAside struct {
	Performance int32     `json:"performance"` // place in the athlete's list
	Reason      string    `json:"reason"`      // stable, UPPER_SNAKE_CASE
	Says        string    `json:"says"`
	Means       Opt[Load] `json:"means,omitzero"` // the 1RM it would mean, where it stands far from the others
}

// RepsLoad is what can be lifted so many times, fresh and to failure.
type RepsLoad struct {
	Reps int32    `json:"reps"`
	Load Load     `json:"load"`
	Low  Load     `json:"low"` // the truth is between both nine times in ten
	High Load     `json:"high"`
	SD   Permille `json:"sd"` // of all that is moved
}

// BestSet is the single performance that means the highest 1RM.
type BestSet struct {
	Performance int32 `json:"performance"` // place in the athlete's list
	Reps        int32 `json:"reps"`        // to failure: done and in reserve
}

// ReasonOtherLift is why an equation that was made on one lift says nothing about another.
const ReasonOtherLift = "OTHER_LIFT"

// EquationMax is what a published equation makes of the best set; for comparison only.
type EquationMax struct {
	Name    string    `json:"name"`
	Year    int32     `json:"year"`
	Formula string    `json:"formula"` // w load, r repetitions to failure
	Source  string    `json:"source"`
	Note    string    `json:"note,omitzero"`
	MinReps int32     `json:"min_reps"` // valid repetitions to failure
	MaxReps int32     `json:"max_reps"`
	Max     Opt[Load] `json:"max,omitzero"`
	Reason  string    `json:"reason,omitzero"` // where there is no Max, stable, UPPER_SNAKE_CASE
	WhyNot  string    `json:"why_not,omitzero"`
}
