package service

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Reasons of a store's faults.
const (
	ReasonTenant         = "INVALID_TENANT"
	ReasonID             = "INVALID_ID"
	ReasonText           = "TEXT"
	ReasonQuery          = "QUERY"
	ReasonFixed          = "FIXED"
	ReasonIDTaken        = "ID_TAKEN"
	ReasonNameTaken      = "NAME_TAKEN"
	ReasonRequestUsed    = "REQUEST_ID_USED"
	ReasonRequestOther   = "REQUEST_ID_OTHER"
	ReasonAnswerErased   = "ANSWER_ERASED"
	ReasonNotDeleted     = "NOT_DELETED"
	ReasonUnknown        = "UNKNOWN"
	ReasonUnknownAthlete = "UNKNOWN_ATHLETE"
	ReasonDeleted        = "DELETED"
	ReasonStale          = "STALE"
	ReasonReadOnly       = "READ_ONLY"
	ReasonClosed         = "CLOSED"
	ReasonContention     = "CONTENTION"
	ReasonFull           = "STORAGE_FULL"
	ReasonIO             = "STORAGE_FAULT"
	ReasonOutcome        = "OUTCOME_UNKNOWN"
	ReasonSchema         = "SCHEMA"
	ReasonLocked         = "LOCKED"
	ReasonRole           = "ROLE"
	ReasonURL            = "URL"
	ReasonItems          = "ITEMS"
	ReasonFinished       = "FINISHED"
	ReasonStorage        = "STORAGE" // a bug or a damaged store: details are for the log
)

const (
	maxLabel = 200 // bytes of a text that can be searched for
	maxText  = 1000
)

var tenantForm = regexp.MustCompile(`^[a-z][a-z0-9-]{0,62}$`)

// Check refuses what is no tenant: Invalid INVALID_TENANT.
func (t Tenant) Check() error {
	if !tenantForm.MatchString(string(t)) {
		return fault.New(fault.Invalid, ReasonTenant, "tenant", "a tenant is named by 1 to 63 of a-z, 0-9 and hyphens, a letter first")
	}
	return nil
}

// Check refuses ids that were not made for this: Invalid INVALID_ID.
func (id ID) Check(field string) error {
	if id[6]>>4 != 7 || id[8]>>6 != 2 {
		return fault.New(fault.Invalid, ReasonID, field, "an id is a UUID of version 7")
	}
	return nil
}

// text refuses what some store could not keep as it is.
func text(c *fault.Collector, field, s string, limit int) {
	switch {
	case len(s) > limit:
		c.Add(ReasonText, field, fmt.Sprintf("at most %d bytes", limit))
	case !utf8.ValidString(s) || strings.IndexByte(s, 0) >= 0:
		c.Add(ReasonText, field, "a text is valid UTF-8 without NUL")
	}
}

// CheckLabel refuses a text to search by that no store could have: Invalid TEXT.
func CheckLabel(field, s string) error {
	c := fault.NewCollector(fault.Invalid)
	text(c, field, s, maxLabel)
	return c.Err()
}

func (h *Head) Heading() *Head { return h }
func (h *Head) Owner() ID      { return ID{} }
func (h *Head) Day() plan.Date { return 0 }
func (h *Head) Label() string  { return "" }
func (h *Head) Check() error   { return nil }

func (*Athlete) Kind() Kind      { return KindAthlete }
func (a *Athlete) Label() string { return a.Profile.CallerID }
func (a *Athlete) Check() error  { return CheckLabel("profile.caller_id", a.Label()) }

func (*Performance) Kind() Kind       { return KindPerformance }
func (p *Performance) Owner() ID      { return p.Athlete }
func (p *Performance) Day() plan.Date { return p.Shown.Date.Value }
func (p *Performance) Label() string  { return p.Shown.ExerciseID }
func (p *Performance) Check() error   { return CheckLabel("shown.exercise", p.Label()) }

func (*SessionLog) Kind() Kind       { return KindSessionLog }
func (l *SessionLog) Owner() ID      { return l.Athlete }
func (l *SessionLog) Day() plan.Date { return l.Date }

func (*Measurement) Kind() Kind       { return KindMeasurement }
func (m *Measurement) Owner() ID      { return m.Athlete }
func (m *Measurement) Day() plan.Date { return m.Date }
func (m *Measurement) Label() string  { return m.What }
func (m *Measurement) Check() error   { return CheckLabel("what", m.What) }

func (*OwnExercise) Kind() Kind      { return KindExercise }
func (e *OwnExercise) Label() string { return e.Exercise.ID }
func (e *OwnExercise) Check() error  { return CheckLabel("exercise.id", e.Label()) }

func (*SavedPlan) Kind() Kind      { return KindPlan }
func (p *SavedPlan) Label() string { return p.Name }
func (p *SavedPlan) Check() error  { return CheckLabel("name", p.Name) }

func (*Program) Kind() Kind  { return KindProgram }
func (p *Program) Owner() ID { return p.Athlete }
func (p *Program) Check() error {
	if p.Latest < 0 {
		return fault.New(fault.Invalid, ReasonFixed, "latest", "revisions are counted by the store")
	}
	return nil
}

func (*Key) Kind() Kind { return KindKey }
func (*Job) Kind() Kind { return KindJob }

// Check refuses a query that a kind can't answer: Invalid QUERY.
func (q *Query) Check(k Kind) error {
	t := TraitsOf(k)
	c := fault.NewCollector(fault.Invalid)
	refuse := func(no bool, field, says string) {
		if no {
			c.Add(ReasonQuery, field, says)
		}
	}
	refuse(q.Size < 1 || q.Size > MaxPage, "size", fmt.Sprintf("a page has 1 to %d entries", MaxPage))
	refuse(q.Athlete != ID{} && !t.Athlete, "athlete", "these belong to no athlete")
	refuse(q.Program != ID{} && !t.Program, "program", "these belong to no program")
	refuse(q.Label != "" && !t.Label, "label", "these have no label")
	refuse((q.From.Set || q.To.Set) && !t.Day, "from", "these have no day")
	refuse(q.After.Day != 0 && !t.Day, "after", "these have no day")
	if q.Label != "" {
		text(c, "label", q.Label, maxLabel)
	}
	return c.Err()
}

// Check refuses what no store would take.
func (e *Event) Check() error {
	c := fault.NewCollector(fault.Invalid)
	if err := e.ID.Check("id"); err != nil {
		return err
	}
	text(c, "method", e.Method, maxLabel)
	text(c, "resource", e.Resource, maxText)
	text(c, "outcome", e.Outcome, maxLabel)
	return c.Err()
}

// Check refuses what no store would take.
func (a *Answer) Check() error {
	c := fault.NewCollector(fault.Invalid)
	if a.RequestID == "" {
		c.Add(ReasonText, "request_id", "a request id is needed")
	}
	text(c, "request_id", a.RequestID, maxLabel)
	text(c, "method", a.Method, maxLabel)
	return c.Err()
}

// Apart gives a copy that shares nothing; an empty body is none.
func (a Answer) Apart() Answer {
	if len(a.Body) == 0 {
		a.Body = nil
	}
	a.Body = bytes.Clone(a.Body)
	return a
}

// Settle fills in the facts of a revision that is added to p at a moment.
func (r *Revision) Settle(p *Program, now Instant) error {
	c := fault.NewCollector(fault.Invalid)
	text(c, "reason", r.Reason, maxText)
	text(c, "made.digest", r.Made.Digest, maxLabel)
	text(c, "made.request_digest", r.Made.RequestDigest, maxLabel)
	text(c, "made.versions.engine", r.Made.Versions.Engine, maxLabel)
	if err := c.Err(); err != nil {
		return err
	}
	r.Program, r.Number, r.Athlete, r.Created = p.ID, p.Latest+1, p.Athlete, now
	r.Digest, r.RequestDigest = r.Made.Digest, r.Made.RequestDigest
	r.Seed, r.Engine = r.Made.Seed, r.Made.Versions.Engine
	return nil
}

// CheckReason refuses a reason of an erasure that no store would take.
func CheckReason(reason string) error {
	c := fault.NewCollector(fault.Invalid)
	text(c, "reason", reason, maxText)
	return c.Err()
}

// Check refuses what no store would take.
func (e *Erasure) Check() error {
	if err := e.Athlete.Check("athlete"); err != nil {
		return err
	}
	return CheckReason(e.Reason)
}

// CheckSize refuses page sizes outside 1 to MaxPage: Invalid QUERY.
func CheckSize(size int) error {
	if size < 1 || size > MaxPage {
		return fault.New(fault.Invalid, ReasonQuery, "size", fmt.Sprintf("a page has 1 to %d entries", MaxPage))
	}
	return nil
}

// Faults that stores share, so that each says the same.

// Unknown is the fault of a name that is not there, whoever asks.
func Unknown(k Kind) error {
	return fault.New(fault.NotFound, ReasonUnknown, "name", fmt.Sprintf("there is no such %s", words(k)))
}

// Gone is the fault of changing what is deleted.
func Gone(k Kind) error {
	return fault.New(fault.NotFound, ReasonDeleted, "name", fmt.Sprintf("this %s is deleted; undelete it first", words(k)))
}

// Outdated is the fault of a version that is not the stored one.
func Outdated(k Kind) error {
	return fault.New(fault.Stale, ReasonStale, "etag", fmt.Sprintf("this %s was changed in the meantime; read it again", words(k)))
}

// Fixed is the fault of a change to what never changes.
func Fixed(k Kind) error {
	return fault.New(fault.Invalid, ReasonFixed, "athlete", fmt.Sprintf("the athlete and the revisions of a %s stay", words(k)))
}

// IDTaken is the fault of an id that is there already.
func IDTaken(k Kind) error {
	return fault.New(fault.Exists, ReasonIDTaken, "name", fmt.Sprintf("there is a %s of this name already", words(k)))
}

// NameTaken is the fault of a label that another one has.
func NameTaken(k Kind) error {
	return fault.New(fault.Exists, ReasonNameTaken, labelField(k), fmt.Sprintf("another %s has it already", words(k)))
}

// NotDeleted is the fault of undeleting what is there.
func NotDeleted(k Kind) error {
	return fault.New(fault.Exists, ReasonNotDeleted, "name", fmt.Sprintf("this %s is not deleted", words(k)))
}

// NoAthlete is the fault of something for an athlete who is missing or deleted.
func NoAthlete() error {
	return fault.New(fault.NotFound, ReasonUnknownAthlete, "athlete", "there is no such athlete")
}

// RequestUsed is the fault of remembering a second answer.
func RequestUsed() error {
	return fault.New(fault.Exists, ReasonRequestUsed, "request_id", "this request id was answered already")
}

// ReadOnly is the fault of a write in a View.
func ReadOnly() error {
	return fault.New(fault.Internal, ReasonReadOnly, "", "a view does not write")
}

func labelField(k Kind) string {
	if k == KindAthlete {
		return "caller_id"
	}
	return "id"
}

func words(k Kind) string { return strings.ReplaceAll(string(k), "_", " ") }
