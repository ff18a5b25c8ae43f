package plan

// Sex as far as published norms need it.
type Sex uint8

// Sexes.
const (
	SexUnspecified Sex = iota
	Female
	Male
)

// AgeBand replaces a birth year where the caller will not send one.
type AgeBand uint8

// Age bands.
const (
	AgeUnspecified AgeBand = iota
	AgeChild               // under 13
	AgeAdolescent          // 13 to 17
	AgeAdult               // 18 to 59
	AgeOlder               // 60 and over
)

var ageNames = [...]string{"", "child", "adolescent", "adult", "older adult"}

// String gives the plain name.
func (a AgeBand) String() string { return nameOf(ageNames[:], uint8(a), "AgeBand") }

// Minor reports ages under 18.
func (a AgeBand) Minor() bool { return a == AgeChild || a == AgeAdolescent }

// Status is training status.
type Status uint8

// Training statuses.
const (
	StatusUnspecified Status = iota
	Novice
	Intermediate
	Advanced
)

var statusNames = [...]string{"", "novice", "intermediate", "advanced"}

// String gives the plain name.
func (s Status) String() string { return nameOf(statusNames[:], uint8(s), "Status") }

// MuscleSets is a number of weekly sets for a muscle.
type MuscleSets struct {
	Muscle Muscle   `json:"muscle"`
	Sets   HalfSets `json:"half_sets"`
}

// Performance is something the athlete has shown. Load is what was on the bar (or
// in one hand, or added to the body); unset for body mass alone.
type Performance struct {
	ExerciseID string     `json:"exercise"`
	Load       Opt[Load]  `json:"load,omitzero"` // of a counterweight: the help that it gave
	Reps       int32      `json:"reps"`
	RIR        Opt[int32] `json:"rir,omitzero"`        // repetitions left, as reported
	ToFailure  bool       `json:"to_failure,omitzero"` // no further repetition possible
	Date       Opt[Date]  `json:"date,omitzero"`
}

// Severity says how strictly a restriction is meant.
type Severity uint8

// Severities.
const (
	SeverityUnspecified Severity = iota
	SeverityMild                 // light stress is fine, marked stress is not
	SeverityAvoid                // nothing that stresses it
)

// Restriction names exactly one of a joint, a movement pattern or an exercise.
type Restriction struct {
	Joint      Joint    `json:"joint,omitzero"`
	Pattern    Pattern  `json:"pattern,omitzero"`
	ExerciseID string   `json:"exercise,omitzero"`
	Severity   Severity `json:"severity,omitzero"`
	Note       string   `json:"note,omitzero"`
}

// Condition is a listed medical condition that bears on resistance exercise.
type Condition uint8

// Conditions. The first group are absolute contraindications, the second relative
// ones, the third absolute stops in pregnancy.
const (
	ConditionUnspecified Condition = iota
	UnstableCoronaryDisease
	DecompensatedHeartFailure
	UncontrolledArrhythmia
	SeverePulmonaryHypertension
	SevereAorticStenosis
	AcuteCarditis
	HypertensionAbove180Over110
	AorticDissection
	MarfanSyndrome
	AdvancedRetinopathy // forbids heavy work
	MajorCoronaryRisk   // first of the relative ones
	Diabetes
	HypertensionAbove160Over100
	LowCapacity // under 4 METs
	MusculoskeletalLimits
	PacemakerOrDefibrillator
	StrainSensitive         // hernia, recent eye or abdominal surgery, glaucoma, aneurysm
	RecentSurgeryOrFracture // defer to the clinician
	AcuteNerveSigns         // defer to the clinician
	RapidWeightLoss         // or signs of an eating disorder; defer to the clinician
	PregnancyHeartOrLung    // first of the absolute stops in pregnancy
	CervicalInsufficiency
	MultiplePregnancyAtRisk
	BleedingLatePregnancy
	PlacentaPraevia
	PretermLabourOrRupture
	PreEclampsia
	SevereAnaemia
	YouthCardiacOrSeizure // cardiomyopathy, prior anthracyclines, uncontrolled seizures
	ConditionCount
)

// Screening holds the answers to the three questions of pre-participation
// screening and any listed conditions. An unset answer is not a no.
type Screening struct {
	RegularExercise Opt[bool]   `json:"regular_exercise,omitzero"` // 30 min moderate, 3 days a week, for 3 months
	KnownDisease    Opt[bool]   `json:"known_disease,omitzero"`    // cardiovascular, metabolic or renal
	Symptoms        Opt[bool]   `json:"symptoms,omitzero"`         // signs or symptoms of such a disease
	Conditions      []Condition `json:"conditions,omitempty"`
}

// Pregnancy is a stage of pregnancy or the time after.
type Pregnancy uint8

// Stages.
const (
	NotPregnant Pregnancy = iota
	FirstTrimester
	SecondTrimester
	ThirdTrimester
	Postpartum
)

// Scope is how far a clearance goes.
type Scope uint8

// Scopes.
const (
	ScopeUnspecified Scope = iota
	ScopeModerate          // light to moderate training
	ScopeVigorous          // everything, heavy lifting included
)

// Clearance is a clinician's consent. It counts for 12 months.
type Clearance struct {
	Scope Scope     `json:"scope"`
	Date  Opt[Date] `json:"date,omitzero"`
	Note  string    `json:"note,omitzero"`
}

// Supervision is who is there during training.
type Supervision uint8

// Kinds of supervision.
const (
	SupervisionUnspecified Supervision = iota
	Alone
	Partner   // someone, not qualified
	Qualified // a coach who may teach and spot
)

// MovementSkill is an athlete's skill in a pattern or one exercise.
type MovementSkill struct {
	Pattern    Pattern `json:"pattern,omitzero"`
	ExerciseID string  `json:"exercise,omitzero"`
	Skill      Skill   `json:"skill"`
}

// OtherTraining is sport or work on a weekday that costs recovery.
type OtherTraining struct {
	Weekday Weekday `json:"weekday"`
	Name    string  `json:"name,omitzero"`
	Hard    bool    `json:"hard,omitzero"`
	Lower   bool    `json:"lower,omitzero"` // loads the legs and hips
	Upper   bool    `json:"upper,omitzero"` // loads shoulders and arms
	Match   bool    `json:"match,omitzero"`
}

// Athlete is the person who trains.
type Athlete struct {
	CallerID          string          `json:"caller_id,omitzero"`
	Name              string          `json:"name,omitzero"`
	Sex               Sex             `json:"sex,omitzero"`
	BirthYear         Opt[int32]      `json:"birth_year,omitzero"`
	Age               AgeBand         `json:"age_band,omitzero"`
	BodyMass          Opt[Load]       `json:"body_mass,omitzero"`
	TrainingAgeMonths Opt[int32]      `json:"training_age_months,omitzero"`
	Status            Status          `json:"status,omitzero"`
	CurrentSets       []MuscleSets    `json:"current_sets,omitempty"`
	CurrentSetsEach   Opt[HalfSets]   `json:"current_sets_each,omitzero"` // for every muscle not listed
	LayoffWeeks       Opt[int32]      `json:"layoff_weeks,omitzero"`
	Performances      []Performance   `json:"performances,omitempty"`
	Restrictions      []Restriction   `json:"restrictions,omitempty"`
	Screening         Opt[Screening]  `json:"screening,omitzero"`
	Pregnancy         Pregnancy       `json:"pregnancy,omitzero"`
	Uncomplicated     Opt[bool]       `json:"uncomplicated,omitzero"` // pregnancy or birth, as the clinician says
	Clearance         Opt[Clearance]  `json:"clearance,omitzero"`
	Supervision       Supervision     `json:"supervision,omitzero"`
	Spotter           Opt[bool]       `json:"spotter,omitzero"`
	Skills            []MovementSkill `json:"skills,omitempty"`
	Other             []OtherTraining `json:"other_training,omitempty"`
}
