package plan

// ChangeKind is in what two programs differ.
type ChangeKind uint8

// Kinds.
const (
	ChangeUnspecified     ChangeKind = iota
	ChangeWeek                       // the week is of another kind
	ChangeSessionAdded               // the session is new
	ChangeSessionLeftOut             // the session is gone
	ChangeSessionMoved               // day, place, minutes or name of the session are others
	ChangeExerciseAdded              // the exercise is new in the session
	ChangeExerciseLeftOut            // the exercise is gone from the session
	ChangeExerciseSwapped            // the exercise gave way to another, as was asked
	ChangeExerciseChanged            // numbers of the exercise are others
	ChangeAdvice                     // only what is said beside the numbers is another
)

// SetRun is sets in a row that are alike; the rest of Each is the one between them.
type SetRun struct {
	Count int32
	Each  Set
}

// SessionFrame is when, where and how long a session is.
type SessionFrame struct {
	Weekday Weekday
	Date    Opt[Date]
	PlaceID string
	Limit   Seconds // what the day has
	Seconds Seconds // what the session takes
	Label   string
}

// ChangedWeek is a change in one week. Only what its kind needs is set: Numbers of
// changed exercises, sets of exercises (Was of those that went, Is of those that came),
// frames of sessions, kinds of weeks (unspecified where there is no such week).
type ChangedWeek struct {
	Week     int32 // 1-based
	Numbers  []Number
	Was, Is  []SetRun
	FrameWas Opt[SessionFrame]
	FrameIs  Opt[SessionFrame]
	KindWas  WeekKind
	KindIs   WeekKind
}

// Change is a difference between a program and the one it came out of, with all weeks
// that have it. Weekday, Group, Day and Session are those of the session in the earlier
// program, of one that was added those in the new one.
type Change struct {
	Kind       ChangeKind
	Weekday    Weekday
	Group      string
	Day        int32 // index into the request's days
	Session    SessionKind
	ExerciseID string // of a swap the one that went
	With       string // of a swap the one that came
	Weeks      []ChangedWeek
}
