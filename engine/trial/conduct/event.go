package conduct

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"reflect"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/report"
)

// Event is one thing that happened. Hash is over all of it but Private and Salt, and Prev
// is the hash of the event before.
type Event struct {
	Number int    `json:"number"` // from 1
	At     int64  `json:"at"`     // milliseconds since 1970, UTC
	Actor  string `json:"actor"`  // who did it: a key or a role, no name
	Body   Body   `json:"body"`
	Sealed string `json:"sealed,omitempty"` // digest of salt and Private
	Prev   string `json:"prev,omitempty"`
	Hash   string `json:"hash"`

	Private *Private `json:"private,omitempty"`
	Salt    string   `json:"salt,omitempty"` // hex
}

// Private says something of a person. Erased, it is gone while Sealed stays.
type Private struct {
	Text  string `json:"text,omitempty"`  // a reason, what happened
	By    string `json:"by,omitempty"`    // who measured
	Value *int64 `json:"value,omitempty"` // in thousandths of the outcome's unit
}

// Body is what happened: exactly one of these.
type Body struct {
	Created   *Created   `json:"created,omitempty"`
	Amended   *Amended   `json:"amended,omitempty"`
	Frozen    *Frozen    `json:"frozen,omitempty"`
	Excluded  *Excluded  `json:"excluded,omitempty"`
	Joined    *Joined    `json:"joined,omitempty"`
	Measured  *Measured  `json:"measured,omitempty"`
	Feasible  *Feasible  `json:"feasible,omitempty"`
	Enrolled  *Enrolled  `json:"enrolled,omitempty"`
	Closed    *Closed    `json:"closed,omitempty"`
	Assigned  *Assigned  `json:"assigned,omitempty"`
	Adherence *Adherence `json:"adherence,omitempty"`
	Happened  *Happened  `json:"happened,omitempty"`
	Withdrawn *Withdrawn `json:"withdrawn,omitempty"`
	Looked    *Looked    `json:"looked,omitempty"`
	Ended     *Ended     `json:"ended,omitempty"`
	Revealed  *Revealed  `json:"revealed,omitempty"`
}

// Kinds of events.
type (
	// Created begins a trial.
	Created struct {
		Protocol Protocol `json:"protocol"`
	}
	// Amended is a new version of the protocol. Once someone is enrolled the scheme and
	// the arms' ids and ratios stay. Where training changes, who is not enrolled has to be
	// found a program anew.
	Amended struct {
		Protocol     Protocol `json:"protocol"`
		Reason       string   `json:"reason"`
		OutcomesSeen bool     `json:"outcomes_seen"` // by who changed it
	}
	// Frozen fixes the protocol and commits to the key.
	Frozen struct {
		Hash       string `json:"hash"`
		Commitment string `json:"commitment"`
	}
	// Excluded was considered and does not join; Private has the reason.
	Excluded struct{}
	// Joined is an athlete, by a pseudonym. Consent is that of the athlete to be in the
	// trial and to the arm that chance gives.
	Joined struct {
		Participant string `json:"participant"`
		Unit        string `json:"unit"` // that is randomised: the participant, or a coach or gym
		Consent     bool   `json:"consent"`
	}
	// Measured is one measurement; Private has value and assessor.
	Measured struct {
		Participant string `json:"participant"`
		Outcome     string `json:"outcome"`
		When        When   `json:"when"`
		Blind       bool   `json:"blind"` // the assessor did not know the arm
		// On is the day it was taken, and Since how many days after the last session that is
		// logged; zero and nil where nobody said, or none is.
		On    plan.Date `json:"on,omitzero"`
		Since *int32    `json:"days_since_session,omitempty"`
	}
	// Feasible says under which arms no program works for a participant; none is well.
	Feasible struct {
		Participant string   `json:"participant"`
		Without     []string `json:"without,omitempty"` // ids of arms
	}
	// Enrolled is a unit before its arm is drawn, with what the scheme asks for.
	Enrolled struct {
		Unit       string   `json:"unit"`
		Levels     []string `json:"levels,omitempty"`
		Covariates []int64  `json:"covariates,omitempty"`
	}
	// Closed ends enrolment.
	Closed struct{}
	// Assigned is the arm of a unit, as Draw gives it.
	Assigned struct {
		Assignment assign.Assignment `json:"assignment"`
	}
	// Adherence is the sets done of those planned, in thousandths, and whether the
	// participant kept to the protocol by its definition; the last one counts.
	Adherence struct {
		Participant string `json:"participant"`
		Permille    int32  `json:"permille"`
		Kept        bool   `json:"kept"`
	}
	// Happened is an adverse event, a co-intervention or a deviation; Private has what.
	Happened struct {
		Participant string           `json:"participant"`
		Kind        report.EventKind `json:"kind"`
		Serious     bool             `json:"serious,omitempty"`
	}
	// Withdrawn left; Private has the reason. What is measured afterwards still counts.
	Withdrawn struct {
		Participant string `json:"participant"`
	}
	// Looked is a look at results, with the share of information at it in millionths.
	Looked struct {
		On    plan.Date `json:"on"`
		Share int64     `json:"share"`
		Last  bool      `json:"last,omitempty"`
	}
	// Ended is the end of the trial; results can be seen.
	Ended struct {
		Reason string `json:"reason,omitempty"`
	}
	// Revealed shows the key, in hex.
	Revealed struct {
		Key string `json:"key"`
	}
)

// When is when something was measured.
type When uint8

// Times of measurements.
const (
	WhenUnspecified When = iota
	Baseline
	Mid
	End
)

// whole is all of the information, in millionths.
const whole = 1_000_000

// SaltBytes is the length of a salt.
const SaltBytes = 16

// seal is the digest of what is private.
func seal(p *Private, salt string) (string, error) {
	text, err := plan.Canonical(p)
	if err != nil {
		return "", fault.Wrap(fault.Internal, ReasonEvent, err)
	}
	sum := sha256.Sum256(append([]byte(salt+"|"), text...))
	return hex.EncodeToString(sum[:]), nil
}

// digest is the hash of an event.
func (e *Event) digest() (string, error) {
	public := *e
	public.Hash, public.Private, public.Salt = "", nil, ""
	text, err := plan.Canonical(&public)
	if err != nil {
		return "", fault.Wrap(fault.Internal, ReasonEvent, err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:]), nil
}

// checkChain says whether an event follows another (nil: it is the first) unchanged.
func (e *Event) checkChain(before *Event) error {
	broken := func(format string, args ...any) error {
		return fault.New(fault.Invalid, ReasonChain, "events", fmt.Sprintf(format, args...))
	}
	number, prev := 1, ""
	if before != nil {
		number, prev = before.Number+1, before.Hash
	}
	if e.Number != number || e.Prev != prev {
		return broken("number %d does not follow %d: an event was lost, put in or changed", e.Number, number-1)
	}
	d, err := e.digest()
	if err != nil {
		return err
	}
	if d != e.Hash {
		return broken("number %d was changed: its hash is %s, not %s", e.Number, d, e.Hash)
	}
	if e.Private == nil {
		return nil // none, or erased
	}
	s, err := seal(e.Private, e.Salt)
	if err != nil {
		return err
	}
	if s != e.Sealed {
		return broken("number %d has private text that was changed", e.Number)
	}
	return nil
}

// Kind is the name of what happened, as in its JSON.
func (b *Body) Kind() string {
	v := reflect.ValueOf(*b)
	for i := range v.NumField() {
		if !v.Field(i).IsNil() {
			name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
			return name
		}
	}
	return ""
}

// Participant is whom an event is about, by pseudonym; empty where it is about no one.
func (b *Body) Participant() string {
	switch {
	case b.Joined != nil:
		return b.Joined.Participant
	case b.Measured != nil:
		return b.Measured.Participant
	case b.Feasible != nil:
		return b.Feasible.Participant
	case b.Adherence != nil:
		return b.Adherence.Participant
	case b.Happened != nil:
		return b.Happened.Participant
	case b.Withdrawn != nil:
		return b.Withdrawn.Participant
	}
	return ""
}

// Erase takes what is private of a participant out of events, and tells how many had
// any. The chain still holds; answers change.
func Erase(events []Event, participant string) int {
	n := 0
	for i := range events {
		if e := &events[i]; e.Private != nil && e.Body.Participant() == participant {
			e.Private, e.Salt = nil, ""
			n++
		}
	}
	return n
}
