package plan

// Rework says what of a program is made again, and what stays as it is. At most one of
// From and FromWeek is given; with neither, all of it is made again.
type Rework struct {
	From     Opt[Date] `json:"from,omitzero"`      // what lies before this day stays; for programs with dates
	FromWeek int32     `json:"from_week,omitzero"` // the weeks before this one stay, 1-based
	Locks    []Lock    `json:"locks,omitempty"`
	Swaps    []Swap    `json:"swaps,omitempty"`
}

// Lock holds what is there: the exercise, or with none all exercises, in the sessions of
// a weekday or of a rotating workout, or with neither in all that have it. Sets stay as
// they are week by week. A lock that names no exercise holds what may still be there: what
// the request excludes or a swap takes gives way. One that names it clashes with that, and
// any does with a request that leaves none of its sessions; so does a Swap.
type Lock struct {
	ExerciseID string  `json:"exercise,omitzero"`
	Weekday    Weekday `json:"weekday,omitzero"` // where workouts don't rotate
	Group      string  `json:"group,omitzero"`   // the workout, where they do
}

// Swap puts one exercise in the place of another, with its sets, and locks it there.
// Weekday and Group as in Lock.
type Swap struct {
	ExerciseID string  `json:"exercise"` // that goes
	With       string  `json:"with"`     // that comes
	Weekday    Weekday `json:"weekday,omitzero"`
	Group      string  `json:"group,omitzero"`
}

// Reworked is how a program came out of an earlier one.
type Reworked struct {
	Base  string `json:"base"` // the digest of that one
	Week  int32  `json:"week"` // 1-based: with the first day that was made again
	Day   int32  `json:"day"`  // that day, counted from the week's first, 0; sessions before it stay
	Asked Rework `json:"asked,omitzero"`
}

// In reports a session that a weekday and a rotating workout, where given, name. A weekday
// names none that rotates.
func (s *Session) In(day Weekday, group string) bool {
	return (day == WeekdayUnspecified || s.Weekday == day && s.Group == "") && (group == "" || s.Group == group)
}
