package service

import (
	"context"

	"github.com/phasewright/phasewright/engine/plan"
)

// Store keeps tenants' data. Implementations pass internal/store/storetest; their
// errors are faults with the reasons of this package, and never a driver's.
//
// What Update returned nil for is durable. With Unavailable CONTENTION and CLOSED, and
// Exhausted STORAGE_FULL, nothing was changed, and trying again may help. With
// OUTCOME_UNKNOWN (the connection broke while committing) and STORAGE_FAULT (writing or
// syncing failed) it is not acknowledged and yet may turn out to be kept: ask again with
// the same request id.
// A store is safe for concurrent use.
type Store interface {
	// View runs fn on one consistent state of a tenant. Writes are refused. fn may run
	// more than once.
	View(ctx context.Context, t Tenant, fn func(Tx) error) error
	// Update runs fn in a transaction, as if nothing else ran at the same time, and
	// keeps all of its writes, or none where it returns an error, which Update passes
	// on. fn may run more than once: what it takes from outside it must leave as it is,
	// and what it gives outward it must set, not add to.
	Update(ctx context.Context, t Tenant, fn func(Tx) error) error

	// Admit makes a tenant known to Tenants. Again is fine.
	Admit(ctx context.Context, t Tenant) error
	// Tenants lists those admitted, by name, at most size after one.
	Tenants(ctx context.Context, after Tenant, size int) ([]Tenant, error)

	// Working lists tenants with open chunks, and at times one whose last was just closed,
	// by name, at most size after one.
	Working(ctx context.Context, after Tenant, size int) ([]Tenant, error)

	// Scrub rewrites what the files still hold of erased and purged data: to be called
	// after an erasure, or once for many. It takes time and may hold up writers.
	Scrub(ctx context.Context) error
	// Ready reports whether the store can answer and take writes.
	Ready(ctx context.Context) error
	Close() error
}

// Tx is a transaction of one tenant, good until the function it was given to returns,
// and for one goroutine. After an error that is not about the call itself (kinds
// Internal, Unavailable, Exhausted, Canceled) it only returns that error.
type Tx interface {
	// Now is the time of the transaction, the same in every run of it.
	Now() Instant

	Athletes() Shelf[Athlete]
	Performances() Shelf[Performance]
	SessionLogs() Shelf[SessionLog]
	Measurements() Shelf[Measurement]
	Exercises() Shelf[OwnExercise]
	Plans() Shelf[SavedPlan]
	Programs() Shelf[Program]
	Keys() Shelf[Key]
	Jobs() Shelf[Job]
	Trials() Shelf[Trial]
	Participants() Shelf[Participant]

	// Revise adds a revision to a program: number p.Latest+1, facts taken from r.Made.
	// It is an update of p (see Shelf.Update), and gives what is new of both. A revision
	// is final.
	Revise(p Program, r Revision) (Program, Facts, error)
	// Revision reads one; number 0 is the newest. NotFound UNKNOWN.
	Revision(program ID, number int32) (Revision, error)
	// Revisions lists facts, the oldest first, after a number.
	Revisions(program ID, after int32, size int) ([]Facts, error)

	// Continue adds events to a trial's chain, numbers t.Latest+1 on. It is an update of t
	// (see Shelf.Update), and gives it as stored; Stale STALE where they don't follow what
	// is there (Trial.Follow). Events are final; of those with private text Athlete says
	// whose it is.
	Continue(t Trial, more []TrialEvent) (Trial, error)
	// Chain lists a trial's events, the oldest first, after a number, with what is private
	// of them where it was not erased.
	Chain(trial ID, after int32, size int) ([]TrialEvent, error)

	// Record adds an event and gives it with its time. Exists ID_TAKEN.
	Record(e Event) (Event, error)
	// Events lists by id. Of the query, Athlete, Newest, After and Size count.
	Events(q Query) (Page[Event], error)

	// Recall finds the answer to a request that was answered before.
	Recall(requestID string) (Answer, bool, error)
	// Remember keeps an answer: Exists REQUEST_ID_USED where there is one.
	Remember(a Answer) error

	// Enqueue adds an open chunk with its items to a job, and the tenant to Working.
	// NotFound UNKNOWN without the job; Exists ID_TAKEN where its number or an item's is.
	Enqueue(c Chunk, items []Item) error
	// Claim leases, until a moment, the first open chunk that nobody has, of the oldest
	// job that has one. Where no chunk is open at all the tenant leaves Working.
	Claim(owner ID, until Instant) (Chunk, bool, error)
	// Chunk reads one. NotFound UNKNOWN.
	Chunk(job ID, number int64) (Chunk, error)
	// SetChunk replaces what changes of a chunk: Next and all after it. NotFound UNKNOWN.
	SetChunk(c Chunk) error
	// Halt closes all chunks of a job.
	Halt(job ID) error
	// Pending says whether a job has an open chunk.
	Pending(job ID) (bool, error)
	// Tally counts a job's chunks.
	Tally(job ID) (Tally, error)
	// Items lists a job's items after a place (-1: all), only those not waiting where
	// finished is asked for.
	Items(job ID, after int64, size int, finished bool) ([]Item, error)
	// Finish sets State, Program and Result of an item that waits: Exists FINISHED where
	// it does not, NotFound UNKNOWN where it was erased.
	Finish(i Item) error

	// ClearJobs removes for good at most size rows of deleted jobs, one job after the other:
	// its items, its chunks, itself. It returns how many: fewer than size means that it is
	// done, or that another transaction is at what is left.
	ClearJobs(size int) (int, error)

	// Export gives all there is about an athlete, deleted things included: an Athlete,
	// then Performances, SessionLogs, Measurements, Programs, Revisions, Events, Answers,
	// Items, TrialEvents with private text and Participants, each by value. NotFound
	// UNKNOWN.
	Export(athlete ID, each func(record any) error) error
	// Erase takes all of that away and leaves an Erasure. Again is fine and gives the
	// first one. NotFound UNKNOWN.
	Erase(athlete ID, reason string) (Erasure, error)
	// Erasures lists by athlete. Of the query, After.ID and Size count.
	Erasures(q Query) (Page[Erasure], error)
	// Replay erases, in a backup that was brought back, whoever was erased since it
	// was made. It returns how many were there.
	Replay(list []Erasure) (int, error)
	// Expire removes for good at most size answers that expired before a moment, the oldest
	// first. It returns how many: fewer than size means that it is done, or that another
	// transaction is at what is left.
	Expire(before Instant, size int) (int, error)
	// Purge removes for good at most size things that were deleted before a moment, kinds in
	// the order of Purgeable and of one the oldest deletion first: with a program its
	// revisions, with a trial its events and participants, with an athlete all that Erase
	// takes. One of a kind that is Heavy is the last of its call. Those stay that are needed: an
	// athlete in a trial, with the programs, and an athlete about whom an answer is kept that
	// expires. It returns what it removed: none means that it is done, or that another
	// transaction is at what is left.
	Purge(before Instant, size int) ([]Purged, error)
}

// Shelf keeps one kind of thing. Nothing is shared with the store, and no argument is
// changed, so that a transaction can run again.
type Shelf[T any] interface {
	// Create keeps a new thing and gives it with its head complete. Invalid INVALID_ID, TEXT, ...;
	// Exists ID_TAKEN, NAME_TAKEN; NotFound UNKNOWN_ATHLETE where the athlete it belongs
	// to is missing or deleted.
	Create(v T) (T, error)
	// Get finds a thing, a deleted one too. NotFound UNKNOWN.
	Get(id ID) (T, error)
	// Update replaces a thing and gives it as stored. Its Version must be the stored one:
	// else Stale STALE. NotFound UNKNOWN, or DELETED for a deleted one; Invalid
	// FIXED where it would change its athlete or latest revision; Exists NAME_TAKEN.
	Update(v T) (T, error)
	// Delete marks a thing as deleted. Errors as Update.
	Delete(id ID, version int64) (T, error)
	// Undelete takes the mark back: Exists NOT_DELETED where there is none.
	Undelete(id ID, version int64) (T, error)
	// List gives a page in the order of day, then id; kinds without a day by id.
	List(q Query) (Page[T], error)
}

// MaxPage bounds Query.Size.
const MaxPage = 1000

// Query narrows a list. Fields that a kind does not know are Invalid QUERY.
type Query struct {
	Athlete  ID                  // those of one athlete
	Program  ID                  // logs of one program
	Label    string              // exact: caller id, exercise id, what was measured, plan's name
	From, To plan.Opt[plan.Date] // both ends included
	Deleted  bool                // deleted ones too
	Newest   bool                // backwards
	After    Cursor              // where the page before ended
	Size     int                 // 1 to MaxPage
}

// Cursor is a place in a list; the zero value is before its first entry.
type Cursor struct {
	Day plan.Date
	ID  ID
}

// Page is a part of a list. Next is zero after the last entry.
type Page[T any] struct {
	Items []T
	Next  Cursor
}

// Record is what a store asks of the things it keeps on shelves. Implementations are
// pointers to the types of this package.
type Record interface {
	Kind() Kind
	Heading() *Head
	Owner() ID      // the athlete it belongs to, where it belongs to one
	Day() plan.Date // by which it is listed, where it has one
	Label() string  // what it can be found by
	Check() error   // Invalid: what no store would take
}

// Traits are what stores and Query know of a kind.
type Traits struct {
	Athlete bool // belongs to one
	Day     bool
	Label   bool
	Unique  bool // the label, among those not deleted
	Program bool
}

// TraitsOf tells what a kind on a shelf is like.
func TraitsOf(k Kind) Traits {
	switch k {
	case KindAthlete, KindExercise:
		return Traits{Label: true, Unique: true}
	case KindPerformance, KindMeasurement:
		return Traits{Athlete: true, Day: true, Label: true}
	case KindSessionLog:
		return Traits{Athlete: true, Day: true, Program: true}
	case KindPlan, KindTrial:
		return Traits{Label: true}
	case KindParticipant:
		return Traits{Athlete: true, Label: true}
	case KindProgram, KindEvent:
		return Traits{Athlete: true}
	}
	return Traits{}
}
