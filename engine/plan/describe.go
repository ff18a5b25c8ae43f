package plan

// ParamSpec describes a parameter of a strategy, enough to draw a form from it.
type ParamSpec struct {
	Name    string    `json:"name"`
	Kind    ValueKind `json:"kind"`
	Default Value     `json:"default"`
	Min     int64     `json:"min"` // of a number (thousandths) or the ends of a range (whole)
	Max     int64     `json:"max"`
	Choices []string  `json:"choices,omitempty"` // of a text
	Unit    string    `json:"unit,omitzero"`
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
}

// ID gives name@version.
func (d *Descriptor) ID() string { return d.Name + "@" + d.Version }
