package plan

// ParamSpec describes a parameter of a strategy, enough to draw a form from it.
// Default is what an intermediate athlete with general goals gets without it.
type ParamSpec struct {
	Name    string    `json:"name"`
	Kind    ValueKind `json:"kind"`
	Default Value     `json:"default"` // of its kind; a text for ValueSets, empty for none
	Min     int64     `json:"min"`     // of a number (thousandths) or the ends of a range (whole)
	Max     int64     `json:"max"`
	Choices []string  `json:"choices,omitempty"` // of a text
	Unit    string    `json:"unit,omitzero"`
	Whole   bool      `json:"whole,omitzero"`  // a number without thousandths
	Varies  string    `json:"varies,omitzero"` // how what is taken without the parameter differs from Default by athlete or goals; empty: never
	Says    string    `json:"says"`
	Source  string    `json:"source"`
}

// Descriptor describes a strategy. Claims are what the evidence lets it say.
type Descriptor struct {
	Name     string      `json:"name"`
	Version  string      `json:"version"`
	Says     string      `json:"says"`
	Claims   string      `json:"claims"`
	MinWeeks int32       `json:"min_weeks"`
	MaxWeeks int32       `json:"max_weeks"`
	Params   []ParamSpec `json:"params,omitempty"`
	External bool        `json:"external,omitzero"` // runs in a process of its own
}

// ID gives name@version.
func (d *Descriptor) ID() string { return d.Name + "@" + d.Version }
