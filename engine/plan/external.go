package plan

// External is a strategy in another process, as it was when a program was made with it,
// and what it planned: enough to make the program again without that process.
type External struct {
	Descriptor Descriptor        `json:"descriptor"`
	Outlines   []ExternalOutline `json:"outlines,omitempty"`
}

// ExternalOutline is what an external strategy answered. Params are those that were set,
// sorted by name.
type ExternalOutline struct {
	Params  []Param        `json:"params,omitempty"`
	Asked   OutlineRequest `json:"asked"`
	Outline Outline        `json:"outline"`
}
