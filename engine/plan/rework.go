package plan

// Rework says what of a program is made again, and what stays as it is. At most one of
// From and FromWeek is given; with neither, all of it is made again.
type Rework struct {
	From     Opt[Date] `json:"from,omitzero"`      // what lies before this day stays; for programs with dates
	FromWeek int32     `json:"from_week,omitzero"` // the weeks before this one stay, 1-based
	Locks    []Lock    `json:"locks,omitempty"`
	Swaps    []Swap    `json:"swaps,omitempty"`
}

// Lock holds what is there: the exercise, or with none all exercises, on a weekday, or
// with none on every day that has it. Sets stay as they are week by week.
type Lock struct {
	ExerciseID string  `json:"exercise,omitzero"`
	Weekday    Weekday `json:"weekday,omitzero"`
}

// Swap puts one exercise in the place of another, with its sets, and locks it there.
type Swap struct {
	ExerciseID string  `json:"exercise"` // that goes
	With       string  `json:"with"`     // that comes
	Weekday    Weekday `json:"weekday,omitzero"`
}

// Reworked is how a program came out of an earlier one.
type Reworked struct {
	Base   string `json:"base"` // the digest of that one
	Week   int32  `json:"week"` // 1-based: with the first day that was made again
	Day    int32  `json:"day"`  // that day, counted from the week's first, 0; sessions before it stay
	Rework        // as asked for
}
