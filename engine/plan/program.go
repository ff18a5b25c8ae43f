package plan

// RuleID names the rule that set a number; it resolves to a sentence and a source.
type RuleID string

// Rule is what an id resolves to. Source is a publication with its tag, or
// "common practice, no source".
type Rule struct {
	ID     RuleID `json:"id"`
	Says   string `json:"says"`
	Source string `json:"source"`
}

// Number is which number of an exercise a basis explains.
type Number uint8

// Numbers.
const (
	NumberUnspecified Number = iota
	NumberSets
	NumberReps
	NumberLoad
	NumberRIR
	NumberRest
	NumberOrder
	NumberWarmup
	NumberDuration
	NumberChoice // why this exercise
)

// Basis ties numbers to the rule that set them. Sets lists the 1-based working sets
// meant; empty means all of them.
type Basis struct {
	Number Number  `json:"number"`
	Rule   RuleID  `json:"rule"`
	Sets   []int32 `json:"sets,omitempty"`
	Input  string  `json:"input,omitzero"` // what went in: "1RM 140 kg, 8 repetitions, RIR 2"
}

// Deferred says that a load is fixed only on the day: a share of an estimate that
// the athlete will have by then.
type Deferred struct {
	Reference Reference `json:"reference"`
	Share     Permille  `json:"share"` // of that reference's 1RM; of what is moved, so with a counterweight not of the help
}

// Set is one prescribed set. Reps is a range where a range is meant; Expected is
// what the athlete's curve gives there, in whole repetitions.
type Set struct {
	Kind      SetKind       `json:"kind"`
	Reps      Range         `json:"reps,omitzero"`
	Hold      Range         `json:"hold,omitzero"` // seconds, timed sets
	OpenEnded bool          `json:"open_ended,omitzero"`
	Expected  int32         `json:"expected,omitzero"`
	Intensity Opt[Permille] `json:"intensity,omitzero"` // of the 1RM planned for that week
	RIR       Opt[int32]    `json:"rir,omitzero"`       // at the expected repetitions
	ToFailure bool          `json:"to_failure,omitzero"`
	Load      Opt[Load]     `json:"load,omitzero"` // to put on the bar; with Deferred, what it will be if all goes as planned
	Deferred  Opt[Deferred] `json:"deferred,omitzero"`
	Plates    []Load        `json:"plates,omitempty"` // a side, heaviest first; of a load on the body all that hangs
	// Base is the bar, handle or stack setting under the rest, where the load does not say
	// it: several are there, or it is marked in another unit.
	Base    Opt[Load]    `json:"base,omitzero"`
	Collars Opt[Load]    `json:"collars,omitzero"`  // both together; counted in the load
	AddOns  []Load       `json:"add_ons,omitempty"` // on top of the stack's setting; counted in the load
	Rest    Seconds      `json:"rest"`              // after the set; 0 after the last
	Tempo   Tempo        `json:"tempo,omitzero"`
	Adjust  []AdjustStep `json:"adjust,omitempty"`
}

// Case is a way in which a session can go differently.
type Case uint8

// Cases.
const (
	CaseUnspecified Case = iota
	CaseRepsMissed
	CaseAboveRange
	CaseEquipmentTaken
	CasePain
	CaseDayMissed
)

// Contingency is what to do then. TextID resolves in the text catalogue.
type Contingency struct {
	Case   Case      `json:"case"`
	TextID string    `json:"text"`
	Says   string    `json:"says"`
	Change Opt[Load] `json:"change,omitzero"` // of the load, signed; above zero is more help of a counterweight
	Swap   []string  `json:"swap,omitempty"`  // exercise ids
}

// ProgramExercise is an exercise of a session, in order.
type ProgramExercise struct {
	ExerciseID    string        `json:"exercise"`
	CallerID      string        `json:"caller_id,omitzero"`
	Name          string        `json:"name"`
	Role          Role          `json:"role"`
	Track         string        `json:"track,omitzero"`
	Sets          []Set         `json:"sets,omitempty"` // warm-up sets first
	Seconds       Seconds       `json:"seconds"`        // all of it: setting up, warm-up sets, working sets, rest
	Progress      Progression   `json:"progress,omitzero"`
	Note          string        `json:"note,omitzero"`
	Basis         []Basis       `json:"basis,omitempty"`
	Contingencies []Contingency `json:"contingencies,omitempty"`
}

// Counts reports a set that trains: tests and attempts show strength, and warm-up sets
// prepare.
func (k SetKind) Counts() bool { return k != SetWarmup && k != SetTest && k != SetAttempt }

// Working counts the sets that train.
func (e *ProgramExercise) Working() int32 {
	n := int32(0)
	for i := range e.Sets {
		if e.Sets[i].Kind.Counts() {
			n++
		}
	}
	return n
}

// Session is one training session.
type Session struct {
	Kind      SessionKind       `json:"kind"`
	Label     string            `json:"label,omitzero"`
	Group     string            `json:"group,omitzero"`
	Day       int32             `json:"day"` // index into the request's days
	Weekday   Weekday           `json:"weekday,omitzero"`
	Date      Opt[Date]         `json:"date,omitzero"`
	PlaceID   string            `json:"place"`
	Limit     Seconds           `json:"limit"`   // what the day has
	Warmup    Seconds           `json:"warmup"`  // general warm-up
	Seconds   Seconds           `json:"seconds"` // in all, upper estimate
	Exercises []ProgramExercise `json:"exercises,omitempty"`
}

// MuscleTotal is a week's sets for a muscle. Wanted is 0 where nothing is asked.
type MuscleTotal struct {
	Muscle Muscle   `json:"muscle"`
	Wanted HalfSets `json:"wanted"`
	Sets   HalfSets `json:"sets"`   // direct and indirect
	Direct HalfSets `json:"direct"` // direct alone
}

// LiftTotal is a week's work on a goal lift.
type LiftTotal struct {
	ExerciseID string        `json:"exercise"`
	Wanted     int32         `json:"wanted"`
	Sets       int32         `json:"sets"`
	Reps       int32         `json:"reps"` // as expected
	VolumeLoad Opt[Load]     `json:"volume_load,omitzero"`
	Top        Opt[Permille] `json:"top,omitzero"` // highest intensity
}

// Week is one week of a program.
type Week struct {
	Number   int32         `json:"number"` // 1-based, over the whole program
	Kind     WeekKind      `json:"kind"`
	Dose     Permille      `json:"dose"`
	Start    Opt[Date]     `json:"start,omitzero"`
	Sessions []Session     `json:"sessions,omitempty"`
	Muscles  []MuscleTotal `json:"muscles,omitempty"`
	Lifts    []LiftTotal   `json:"lifts,omitempty"`
}

// Phase is a run of weeks with one aim.
type Phase struct {
	Name  string `json:"name"`
	Aim   string `json:"aim"`
	Weeks []Week `json:"weeks,omitempty"`
}

// Assumption is a default that was filled in.
type Assumption struct {
	Field string `json:"field"`
	Says  string `json:"says"`
}

// FindingLevel is how grave a finding is.
type FindingLevel uint8

// Levels.
const (
	LevelUnspecified FindingLevel = iota
	LevelNote                     // worth knowing
	LevelDeparture                // from published guidance or common practice
	LevelShort                    // a wish that could not be met, with numbers
	LevelViolation                // of a hard limit
)

var levelNames = [...]string{"", "note", "departure", "short", "violation"}

// String gives the plain name.
func (l FindingLevel) String() string { return nameOf(levelNames[:], uint8(l), "FindingLevel") }

// Finding is what an audit, or the making of the program, has to say. Week and
// Session are 1-based, 0 where it is about more than one.
type Finding struct {
	Level      FindingLevel `json:"level"`
	Rule       RuleID       `json:"rule"`
	Week       int32        `json:"week,omitzero"`
	Session    int32        `json:"session,omitzero"`
	ExerciseID string       `json:"exercise,omitzero"`
	Muscle     Muscle       `json:"muscle,omitzero"`
	Field      string       `json:"field,omitzero"` // of the request, where one is behind it
	Says       string       `json:"says"`
}

// Caution is something the athlete has to read. ID resolves in the text catalogue.
type Caution struct {
	ID   string `json:"id"`
	Says string `json:"says"`
}

// Strength is what the loads of an exercise were made from, enough to check them.
// Masses include the moved share of body mass; for pairs they are those of one hand.
type Strength struct {
	ExerciseID string   `json:"exercise"`
	OneRMGrams int64    `json:"one_rm_grams"` // at the start
	SD         Permille `json:"sd"`           // of it
	Known      int32    `json:"known"`        // performances used; 0: borrowed from Borrowed
	Borrowed   string   `json:"borrowed,omitzero"`
	Curve      string   `json:"curve"`             // family
	Slope      Permille `json:"slope"`             // of repetitions beyond the first, 1000 is the population's
	Share      Permille `json:"share"`             // of body mass moved with the load
	Planned    []int64  `json:"planned,omitempty"` // 1RM in grams, week by week
}

// Versions are what the program depends on beside the request.
type Versions struct {
	Document  string `json:"document"`
	Engine    string `json:"engine"`
	Rules     string `json:"rules"`
	Catalogue string `json:"catalogue"`
	Curves    string `json:"curves"`
	Strategy  string `json:"strategy"`
}

// Allocation is what the solver can say of its answer for one window of weeks. A window
// that weeks at another place interrupt is listed once for each run of its weeks.
type Allocation struct {
	FromWeek   int32   `json:"from_week"`
	ToWeek     int32   `json:"to_week"`
	Candidates int32   `json:"candidates"`
	Value      []int64 `json:"value,omitempty"` // by level of the objective, first the gravest
	Bound      []int64 `json:"bound,omitempty"`
	Proven     []bool  `json:"proven,omitempty"`
	Work       int64   `json:"work"` // nodes
}

// Program is what an athlete is handed. Request is the settled one.
type Program struct {
	Versions      Versions      `json:"versions"`
	RequestDigest string        `json:"request_digest"` // of the request as it came
	Seed          uint32        `json:"seed"`
	Request       Request       `json:"request"`
	Phases        []Phase       `json:"phases,omitempty"`
	Strengths     []Strength    `json:"strengths,omitempty"`
	Allocations   []Allocation  `json:"allocations,omitempty"`
	Assumptions   []Assumption  `json:"assumptions,omitempty"`
	Findings      []Finding     `json:"findings,omitempty"`
	Cautions      []Caution     `json:"cautions,omitempty"`
	Rules         []Rule        `json:"rules,omitempty"`
	Reworked      Opt[Reworked] `json:"reworked,omitzero"`  // set where it came out of an earlier program
	External      []External    `json:"external,omitempty"` // strategies of other processes, by id
	Digest        string        `json:"digest,omitzero"`    // of all the above
}

// WeekCount counts the weeks of all phases.
func (p *Program) WeekCount() int {
	n := 0
	for i := range p.Phases {
		n += len(p.Phases[i].Weeks)
	}
	return n
}
