package plan

// OwnExercise is an exercise that a caller brings along, with all that the catalogue has
// of its own. Package exercise checks it and says what the numbers mean.
type OwnExercise struct {
	ID       string  `json:"id"` // kebab-case, in no catalogue yet
	Name     string  `json:"name"`
	CallerID string  `json:"caller_id,omitzero"`
	Pattern  Pattern `json:"pattern"`
	Role     Role    `json:"role"`

	Prime     []Muscle `json:"prime,omitempty"`     // a set counts in full
	Secondary []Muscle `json:"secondary,omitempty"` // a set counts half

	Equipment  [][]Equipment `json:"equipment,omitempty"` // alternatives, each a list of things needed together
	Loading    Loading       `json:"loading"`
	Bar        Equipment     `json:"bar,omitzero"`
	AddedNeeds [][]Equipment `json:"added_needs,omitempty"`

	Unilateral    bool     `json:"unilateral,omitzero"`
	BodyMassShare Permille `json:"body_mass_share,omitzero"`
	Setup         Seconds  `json:"setup,omitzero"`
	Rep           Seconds  `json:"rep,omitzero"`
	SetSetup      Seconds  `json:"set_setup,omitzero"`

	Skill  Skill         `json:"skill"`
	Joints []JointStress `json:"joints,omitempty"`

	StepMilliKg int64  `json:"step_milli_kg,omitzero"`
	StepMilliLb int64  `json:"step_milli_lb,omitzero"`
	Curve       string `json:"curve"`
	Region      uint8  `json:"region"`         // exercise.Region
	Standing    uint8  `json:"standing"`       // exercise.Standing
	Flags       uint16 `json:"flags,omitzero"` // exercise.Flag
	MinReps     int32  `json:"min_reps"`
	Group       string `json:"group"`

	RelatedTo      string   `json:"related_to,omitzero"`
	RelatedRatio   Permille `json:"related_ratio,omitzero"`
	MaxPlausibleKg int32    `json:"max_plausible_kg,omitzero"`
	Source         string   `json:"source"`
}

// JointStress is a joint with its level of stress: 1 mild, 2 marked.
type JointStress struct {
	Joint Joint `json:"joint"`
	Level uint8 `json:"level"`
}
