package plan

// Equating is what of the training is made equal between the arms of a comparison.
type Equating uint8

// Rules of equating.
const (
	EquateUnspecified Equating = iota // hard sets
	EquateHardSets                    // of every exercise, week by week where the weeks are of one kind, and over all weeks
	EquateVolumeLoad                  // sets × repetitions × load over all weeks
	EquateMinutes                     // over all weeks
	EquateNothing                     // each arm has what its strategy asks for
	EquatingCount
)

var equatingNames = [...]string{"", "equal hard sets", "equal volume load", "equal minutes", "as they are"}

// String gives the plain name.
func (e Equating) String() string { return nameOf(equatingNames[:], uint8(e), "Equating") }

// Arm is one of several plans for the same athlete.
type Arm struct {
	Label string `json:"label"`
	Plan  Plan   `json:"plan"`
}

// MuscleWork is what a muscle gets.
type MuscleWork struct {
	Muscle Muscle   `json:"muscle"`
	Sets   HalfSets `json:"sets"`   // direct and indirect
	Direct HalfSets `json:"direct"` // direct alone
}

// Zones of repetitions in a set: up to 5, 6 to 12, more.
const (
	ZoneLow = iota
	ZoneMiddle
	ZoneHigh
	ZoneCount
)

// ZoneTop gives the most repetitions of a zone; the last has no end.
var ZoneTop = [ZoneCount]int32{ZoneLow: 5, ZoneMiddle: 12}

// NearFailureRIR is the most repetitions in reserve of a set near failure (judgement).
const NearFailureRIR = 3

// Figures count the sets that train, in a week, a phase or all of a program; warm-up sets,
// tests and attempts are left out, but for the time they take. A set has the repetitions
// that are expected in it, else the most of its range.
type Figures struct {
	Sessions    int32         `json:"sessions"`
	HardSets    int32         `json:"hard_sets"`
	StatedRIR   int32         `json:"stated_rir"`   // of these, sets whose RIR is stated
	NearFailure int32         `json:"near_failure"` // of these, sets with NearFailureRIR or fewer
	Reps        int32         `json:"reps"`
	Zones       [3]int32      `json:"zones"` // repetitions, by ZoneLow …
	LoadedSets  int32         `json:"loaded_sets"`
	VolumeLoad  Opt[Load]     `json:"volume_load,omitzero"` // repetitions × load as written, over LoadedSets
	RatedReps   int32         `json:"rated_reps"`
	Intensity   Opt[Permille] `json:"intensity,omitzero"` // mean of the 1RM planned, by repetition, over RatedReps
	Seconds     Seconds       `json:"seconds"`            // of the sessions, upper estimate
	Muscles     []MuscleWork  `json:"muscles,omitempty"`
}

// ArmWeek is one week of an arm.
type ArmWeek struct {
	Number  int32    `json:"number"` // from 1
	Phase   string   `json:"phase"`
	Kind    WeekKind `json:"kind"`
	Figures Figures  `json:"figures"`
}

// ArmPhase is one phase of an arm.
type ArmPhase struct {
	Name     string  `json:"name"`
	FromWeek int32   `json:"from_week"`
	ToWeek   int32   `json:"to_week"`
	Figures  Figures `json:"figures"`
}

// ArmReport is an arm's program and its figures.
type ArmReport struct {
	Label    string     `json:"label"`
	Strategy string     `json:"strategy"` // as in the program's versions
	Digest   string     `json:"digest"`   // of the program
	Total    Figures    `json:"total"`
	Phases   []ArmPhase `json:"phases"`
	Weeks    []ArmWeek  `json:"weeks"`
	Program  Program    `json:"program,omitzero"`
}

// Measure is what can be held equal.
type Measure uint8

// Measures, with the unit of their values.
const (
	MeasureUnspecified Measure = iota
	MeasureHardSets            // sets
	MeasureMuscleSets          // half sets of a muscle, direct and indirect
	MeasureVolumeLoad          // thousandths of the request's mass unit
	MeasureDuration            // seconds
)

var measureNames = [...]string{"", "hard sets", "sets", "volume load", "minutes"}

// String gives the plain name.
func (m Measure) String() string { return nameOf(measureNames[:], uint8(m), "Measure") }

// Tolerance is how far apart volume loads or minutes may be that count as equal: a share
// of the smallest. Sets are equal when they are the same.
const Tolerance Permille = 10

// Balance compares all weeks of the arms in one measure. Muscle or ExerciseID is set where
// it is about one.
type Balance struct {
	Measure    Measure  `json:"measure"`
	Muscle     Muscle   `json:"muscle,omitzero"`
	ExerciseID string   `json:"exercise,omitzero"`
	Sought     bool     `json:"sought"` // the rule asks for it
	Equal      bool     `json:"equal"`  // the same sets, or within Tolerance
	Values     []int64  `json:"values"` // by arm
	Gap        int64    `json:"gap"`    // the largest less the smallest
	Share      Permille `json:"share"`  // Gap as a share of the smallest, rounded up; 0 where that is 0
	Says       string   `json:"says"`
}

// Comparison is several arms for one athlete that have the same exercises on the same days.
type Comparison struct {
	Rule     Equating    `json:"rule"`
	Unit     MassUnit    `json:"unit"` // of volume loads
	Arms     []ArmReport `json:"arms"`
	Balances []Balance   `json:"balances"`
	// EqualWeeks are those in which every exercise has the same sets on the same days in
	// all arms.
	EqualWeeks []int32 `json:"equal_weeks,omitempty"`
}

// ComparisonQuery is all that a comparison is made from.
type ComparisonQuery struct {
	Request  Request  `json:"request"`
	Arms     []Arm    `json:"arms"`
	Rule     Equating `json:"rule,omitzero"`
	Programs bool     `json:"programs,omitzero"` // with the whole programs
	Plots    bool     `json:"plots,omitzero"`    // with drawings
}

// Plot is a drawing of the arms over the weeks.
type Plot struct {
	ID    string `json:"id"` // file name without ending
	Title string `json:"title"`
	SVG   string `json:"svg"`
}
