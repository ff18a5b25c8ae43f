package plan

// Range is a closed range of whole numbers.
type Range struct {
	Min int32 `json:"min"`
	Max int32 `json:"max"`
}

// IsZero lets encoding/json leave unset ranges out.
func (r Range) IsZero() bool { return r == Range{} }

// SetCount is a number of working sets: fixed (Min equal to Max), or scaled by the
// dose between Min and Max. Fixed beats dose.
type SetCount struct {
	Min   int32 `json:"min"`
	Max   int32 `json:"max"`
	Fixed bool  `json:"fixed,omitzero"`
}

// FixedSets and ScaledSets build set counts.
func FixedSets(n int32) SetCount { return SetCount{Min: n, Max: n, Fixed: true} }

// ScaledSets lets the dose choose between lo and hi.
func ScaledSets(lo, hi int32) SetCount { return SetCount{Min: lo, Max: hi} }

// ReferenceKind is what an intensity is a share of.
type ReferenceKind uint8

// Kinds of reference.
const (
	RefPlanned     ReferenceKind = iota // the 1RM planned for that week
	RefLatest                           // the athlete's own latest 1RM estimate on the day: a deferred load
	RefEstimate                         // a named estimate that a retest or calibration gives: a deferred load
	RefRM                               // the load for so many repetitions maximum
	RefSetBefore                        // the load of the set before, adjusted by its repetitions
	RefCalibration                      // the load that the calibration set of the same exercise showed
)

// Reference names what an intensity is a share of.
type Reference struct {
	Kind ReferenceKind `json:"kind,omitzero"`
	RM   int32         `json:"rm,omitzero"`   // for RefRM
	Name string        `json:"name,omitzero"` // for RefEstimate
}

// Effort says how the load of a scheme is found. Without Intensity it follows from
// repetitions and RIR through the athlete's curve; with Intensity it is that share
// of the reference. RIR is the one wanted in the last set of the scheme.
type Effort struct {
	RIR       Opt[int32]    `json:"rir,omitzero"`
	ToFailure bool          `json:"to_failure,omitzero"` // RIR 0, the last repetition may fail
	Intensity Opt[Permille] `json:"intensity,omitzero"`
	Reference Reference     `json:"reference,omitzero"`
}

// Wanted gives the RIR wanted, or unset where only the intensity decides.
func (e Effort) Wanted() Opt[int32] {
	if e.ToFailure {
		return Some(int32(0))
	}
	return e.RIR
}

// ProgressKind is the rule by which a scheme moves on from week to week.
type ProgressKind uint8

// Rules of progression.
const (
	ProgressPlanned      ProgressKind = iota // load follows the planned 1RM, repetitions first where the step is coarse
	ProgressRepsThenLoad                     // up through the range, then one step of load
	ProgressStep                             // one step of load when all repetitions were done
	ProgressPercent                          // Permille a week
	ProgressFromLastTest                     // only a retest or a log moves it
	ProgressAdjustTable                      // by the Adjust table of the set
	ProgressHold                             // stays
)

// Progression is a rule with its amount.
type Progression struct {
	Kind ProgressKind `json:"kind,omitzero"`
	By   Permille     `json:"by,omitzero"` // for ProgressPercent
}

// AdjustStep moves a load after a set by the repetitions done in it, both ends
// included; From and To are changes in thousandths of Unit.
type AdjustStep struct {
	Reps Range    `json:"reps"`
	From int64    `json:"from"`
	To   int64    `json:"to"`
	Unit MassUnit `json:"unit"`
}

// SetKind is what a set is for.
type SetKind uint8

// Kinds of set.
const (
	SetUnspecified SetKind = iota
	SetWarmup
	SetWorking
	SetCalibration // ramp to a submaximal set that shows the strength
	SetTest        // single attempts at a 1RM, or a repetition maximum
	SetAttempt     // on the day
)

var setKindNames = [...]string{"", "warm-up", "working", "calibration", "test", "attempt"}

// String gives the plain name.
func (k SetKind) String() string { return nameOf(setKindNames[:], uint8(k), "SetKind") }

// Tempo is seconds down, held and up; all zero where it does not matter.
type Tempo struct {
	Down int32 `json:"down"`
	Hold int32 `json:"hold"`
	Up   int32 `json:"up"`
}

// IsZero reports a tempo that does not matter.
func (t Tempo) IsZero() bool { return t == Tempo{} }

// Scheme is a run of like sets.
type Scheme struct {
	Kind      SetKind      `json:"kind"`
	Sets      SetCount     `json:"sets"`
	Reps      Range        `json:"reps,omitzero"`       // zero where timed
	Hold      Range        `json:"hold,omitzero"`       // seconds a set, for timed exercises
	OpenEnded bool         `json:"open_ended,omitzero"` // as many repetitions as possible at the load
	Effort    Effort       `json:"effort"`
	Rest      Seconds      `json:"rest"` // after each set
	Tempo     Tempo        `json:"tempo,omitzero"`
	Progress  Progression  `json:"progress,omitzero"`
	Adjust    []AdjustStep `json:"adjust,omitempty"`
}

// Target gives the schemes of one role in one session. Track restricts it to the
// exercises of a track of the plan; empty holds for the rest.
type Target struct {
	Role    Role     `json:"role"`
	Track   string   `json:"track,omitzero"`
	Schemes []Scheme `json:"schemes"`
}

// SessionKind is what a session is for.
type SessionKind uint8

// Kinds of session.
const (
	SessionUnspecified SessionKind = iota
	SessionTraining
	SessionCalibration
	SessionRetest
	SessionAttempt
)

var sessionKindNames = [...]string{"", "training", "calibration", "retest", "attempt"}

// String gives the plain name.
func (k SessionKind) String() string { return nameOf(sessionKindNames[:], uint8(k), "SessionKind") }

// OutlineSession is one occurrence of a session.
type OutlineSession struct {
	Kind  SessionKind `json:"kind"`
	Label string      `json:"label,omitzero"` // "heavy", "A"
	// Group makes sessions share their exercises, whatever day they fall on (workouts
	// A and B over three days). Empty: each day of the week has its own.
	Group   string   `json:"group,omitzero"`
	Targets []Target `json:"targets"`
}

// Find gives the schemes for a role and track: the track's own, else the general ones.
func (s *OutlineSession) Find(r Role, track string) []Scheme {
	var general []Scheme
	for i := range s.Targets {
		t := &s.Targets[i]
		if t.Role != r {
			continue
		}
		if t.Track == track && track != "" {
			return t.Schemes
		}
		if t.Track == "" {
			general = t.Schemes
		}
	}
	return general
}

// WeekKind is what a week is for.
type WeekKind uint8

// Kinds of week.
const (
	WeekUnspecified WeekKind = iota
	WeekTraining
	WeekLeadIn
	WeekDeload
	WeekRecovery // fewer sessions, lighter
	WeekTest
	WeekTaper
)

var weekKindNames = [...]string{"", "training", "lead-in", "deload", "recovery", "test", "taper"}

// String gives the plain name.
func (k WeekKind) String() string { return nameOf(weekKindNames[:], uint8(k), "WeekKind") }

// TrackWeek is what a week is for one track of the plan.
type TrackWeek struct {
	Track string   `json:"track"`
	Kind  WeekKind `json:"kind"`
	Dose  Permille `json:"dose"`
}

// OutlineWeek is one week of a phase. Dose is the share of the full weekly dose; Tracks
// says what holds for the tracks of the plan, where it has several.
type OutlineWeek struct {
	Kind     WeekKind         `json:"kind"`
	Dose     Permille         `json:"dose"`
	Tracks   []TrackWeek      `json:"tracks,omitempty"`
	Sessions []OutlineSession `json:"sessions"` // in order; at most the sessions of that week
}

// OutlinePhase is a run of weeks with one aim.
type OutlinePhase struct {
	Name  string        `json:"name"` // "strength", "size"
	Aim   string        `json:"aim"`  // a sentence
	Weeks []OutlineWeek `json:"weeks"`
}

// Outline is a strategy's answer. It knows no exercise, no equipment and no bar.
type Outline struct {
	Strategy string         `json:"strategy"` // name@version, or names joined by + where composed
	Phases   []OutlinePhase `json:"phases"`
}

// Of gives the week as it is for a track.
func (w *OutlineWeek) Of(track string) (WeekKind, Permille) {
	for i := range w.Tracks {
		if w.Tracks[i].Track == track {
			return w.Tracks[i].Kind, w.Tracks[i].Dose
		}
	}
	return w.Kind, w.Dose
}

// WeekCount counts the weeks of all phases.
func (o *Outline) WeekCount() int {
	n := 0
	for i := range o.Phases {
		n += len(o.Phases[i].Weeks)
	}
	return n
}

// OutlineRequest is all that a strategy sees.
type OutlineRequest struct {
	Weeks    int32   `json:"weeks"`
	Sessions []int32 `json:"sessions"` // available in each week; len is Weeks
	Status   Status  `json:"status"`
	Strength bool    `json:"strength"` // a goal is about the 1RM of a lift
	Size     bool    `json:"size"`     // a goal is about size
	Seed     uint32  `json:"seed"`
}
