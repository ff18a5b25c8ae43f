package service

import (
	"encoding/hex"
	"slices"
	"time"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// Tenant is whose data it is: 1 to 63 of a-z, 0-9 and hyphens, a letter first. No
// question to a store can be put without one.
type Tenant string

// ID names a stored thing: a UUID of version 7, so that ids sort by the time they
// were made. The zero value is none.
type ID [16]byte

// String prints 8-4-4-4-12 lower-case hex digits.
func (id ID) String() string {
	var b [36]byte
	hex.Encode(b[:8], id[:4])
	b[8] = '-'
	hex.Encode(b[9:13], id[4:6])
	b[13] = '-'
	hex.Encode(b[14:18], id[6:8])
	b[18] = '-'
	hex.Encode(b[19:23], id[8:10])
	b[23] = '-'
	hex.Encode(b[24:], id[10:])
	return string(b[:])
}

// MarshalText prints as String does, and nothing where there is no id.
func (id ID) MarshalText() ([]byte, error) {
	if id == (ID{}) {
		return nil, nil
	}
	return []byte(id.String()), nil
}

// UnmarshalText reads what MarshalText prints.
func (id *ID) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*id = ID{}
		return nil
	}
	got, err := ParseID(string(text))
	*id = got
	return err
}

// Instant is a moment: milliseconds since 1970 in UTC. Every store keeps it exactly.
// The zero value is never.
type Instant int64

// At rounds a time down to the instant.
func At(t time.Time) Instant { return Instant(t.UnixMilli()) }

// Time gives the moment in UTC.
func (i Instant) Time() time.Time { return time.UnixMilli(int64(i)).UTC() }

// Head is what every kept thing has. The caller sets ID when it creates one, the
// store everything else.
type Head struct {
	ID      ID
	Version int64 // 1, and one more with every write: what an etag is made of
	Created Instant
	Updated Instant
	Deleted Instant // softly: it can be brought back until it is purged
}

// Kind is a kind of stored thing.
type Kind string

// Kinds.
const (
	KindAthlete     Kind = "athlete"
	KindPerformance Kind = "performance"
	KindSessionLog  Kind = "session_log"
	KindMeasurement Kind = "measurement"
	KindExercise    Kind = "exercise"
	KindPlan        Kind = "plan"
	KindProgram     Kind = "program"
	KindRevision    Kind = "revision"
	KindKey         Kind = "api_key"
	KindEvent       Kind = "event"
	KindAnswer      Kind = "answer"
	KindErasure     Kind = "erasure"
	KindJob         Kind = "job"
	KindChunk       Kind = "chunk"
	KindItem        Kind = "item"
	KindTrial       Kind = "trial"
	KindParticipant Kind = "participant"
	KindTrialEvent  Kind = "trial_event"
)

// Shelved lists the kinds that lie on shelves, athletes last: they take the others along.
func Shelved() []Kind {
	return []Kind{
		KindPerformance, KindSessionLog, KindMeasurement, KindExercise, KindPlan, KindProgram, KindKey, KindJob, KindParticipant, KindTrial, KindAthlete,
	}
}

// Purgeable lists the kinds that Tx.Purge removes, in its order. Jobs go by Tx.ClearJobs.
func Purgeable() []Kind {
	return slices.DeleteFunc(Shelved(), func(k Kind) bool { return k == KindJob })
}

// Heavy says that things of a kind take along others, of which there may be many.
func (k Kind) Heavy() bool { return k == KindProgram || k == KindTrial || k == KindAthlete }

// Purged is a thing that was removed for good. Athlete is whose it was, or who.
type Purged struct {
	Kind    Kind
	ID      ID
	Athlete ID
}

// Athlete is a person who trains. Profile.CallerID, where there is one, is unique
// among a tenant's athletes that are not deleted.
type Athlete struct {
	Head    `json:"-"`
	Profile plan.Athlete `json:"profile"`
}

// Performance is something an athlete has shown.
type Performance struct {
	Head    `json:"-"`
	Athlete ID               `json:"-"`
	Shown   plan.Performance `json:"shown"`
}

// SessionLog is what was really done in a session. Program, Revision, Week and
// Session (the last two 1-based) name what was prescribed; zero where nothing was.
type SessionLog struct {
	Head      `json:"-"`
	Athlete   ID               `json:"-"`
	Date      plan.Date        `json:"date"`
	Program   ID               `json:"program,omitzero"`
	Revision  int32            `json:"revision,omitzero"`
	Week      int32            `json:"week,omitzero"`
	Session   int32            `json:"session,omitzero"`
	Exercises []LoggedExercise `json:"exercises,omitempty"`
	Note      string           `json:"note,omitzero"`
}

// LoggedExercise is one exercise as done, its sets in order.
type LoggedExercise struct {
	ExerciseID string      `json:"exercise"`
	Sets       []LoggedSet `json:"sets,omitempty"`
	Note       string      `json:"note,omitzero"`
}

// LoggedSet is one set as done. Load is as in plan.Performance.
type LoggedSet struct {
	Kind      plan.SetKind        `json:"kind,omitzero"`
	Reps      int32               `json:"reps,omitzero"`
	Hold      plan.Seconds        `json:"hold,omitzero"`
	Load      plan.Opt[plan.Load] `json:"load,omitzero"`
	RIR       plan.Opt[int32]     `json:"rir,omitzero"`
	ToFailure bool                `json:"to_failure,omitzero"`
}

// Measurement is a number taken of an athlete: body mass, a circumference, a jump.
type Measurement struct {
	Head    `json:"-"`
	Athlete ID        `json:"-"`
	What    string    `json:"what"`
	Date    plan.Date `json:"date"`
	Milli   int64     `json:"milli"` // thousandths of Unit
	Unit    string    `json:"unit,omitzero"`
	Note    string    `json:"note,omitzero"`
}

// OwnExercise is a tenant's addition to the catalogue. Exercise.ID is unique among a
// tenant's that are not deleted.
type OwnExercise struct {
	Head     `json:"-"`
	Exercise exercise.Exercise `json:"exercise"`
}

// SavedPlan is a composition of strategies under a name, to be used again.
type SavedPlan struct {
	Head `json:"-"`
	Name string    `json:"name"`
	Plan plan.Plan `json:"plan"`
}

// Program is an athlete's program: what stays the same while revisions of it come.
type Program struct {
	Head    `json:"-"`
	Athlete ID     `json:"-"`
	Latest  int32  `json:"-"` // number of the newest revision; 0 before the first. Tx.Revise moves it
	Name    string `json:"name,omitzero"`
}

// Facts are what can be asked of a revision without reading its program.
type Facts struct {
	Program       ID        `json:"-"`
	Number        int32     `json:"-"` // 1-based
	Athlete       ID        `json:"-"`
	Created       Instant   `json:"-"`
	Reason        string    `json:"-"` // why it was made
	From          plan.Date `json:"-"` // the first day that it changes; 0 for the first revision
	Digest        string    `json:"-"` // these and the next are those of the program
	RequestDigest string    `json:"-"`
	Seed          uint32    `json:"-"`
	Engine        string    `json:"-"`
}

// Revision is one state of a program, final once written. Asked is the request as it
// came; the settled one stands in Made.
type Revision struct {
	Facts
	Asked plan.Request `json:"asked"`
	Made  plan.Program `json:"made"`
}

// Key opens the API for a tenant. The secret itself is nowhere: Hash is an HMAC of it. A
// key is found by tenant and id, so its text has to carry both.
type Key struct {
	Head    `json:"-"`
	Name    string   `json:"name,omitzero"`
	Hash    []byte   `json:"hash"`
	Scopes  []string `json:"scopes,omitempty"`
	Expires Instant  `json:"expires,omitzero"`
	Revoked Instant  `json:"revoked,omitzero"`
	Used    Instant  `json:"used,omitzero"` // last, as far as noted
}

// Event is one line of the audit log. It names things by id and holds no text of an
// athlete's. An erasure takes Athlete and Resource out of it; the rest stays.
type Event struct {
	ID       ID      `json:"id"`
	At       Instant `json:"at"`             // set by the store
	Actor    ID      `json:"actor,omitzero"` // the key
	Method   string  `json:"method"`
	Resource string  `json:"resource,omitzero"`
	Athlete  ID      `json:"athlete,omitzero"`
	Outcome  string  `json:"outcome"`
}

// Answer is what a request with an id was answered, kept in the transaction of its
// effect. Body is in an encoding of the caller's. An erasure of the athlete it is
// about empties Body and sets Erased, so that a late retry has no effect either.
type Answer struct {
	RequestID string
	Method    string
	Digest    [32]byte // of the request
	Body      []byte
	Athlete   ID // whom Body is about
	Created   Instant
	Expires   Instant // may be purged from then on
	Erased    bool
}

// Erasure is what is left of an athlete who was erased: enough to erase them again
// from a backup that is older.
type Erasure struct {
	Athlete ID
	At      Instant
	Reason  string
}
