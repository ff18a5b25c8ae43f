package service

import (
	"encoding/json"
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/conduct"
)

// Trial is the head of a trial. What happened in it is its chain (Tx.Chain), of which the
// store counts the events, so that a version of the head is a state of the chain.
type Trial struct {
	Head   `json:"-"`
	Latest int32  `json:"-"` // number of the newest event; 0 before the first. Tx.Continue moves it
	Title  string `json:"title"`
	// Sealed is the key that arms are drawn with, encrypted; empty before the protocol is
	// frozen. It leaves the service only when the trial is revealed.
	Sealed []byte `json:"sealed,omitempty"`
}

// Participant ties an athlete to a pseudonym in a trial, the participant's own id. An
// erasure of the athlete takes it away, and the chain knows the pseudonym alone.
type Participant struct {
	Head    `json:"-"`
	Athlete ID           `json:"-"`
	Trial   ID           `json:"trial"`
	Unit    string       `json:"unit"`             // that is randomised with the participant
	Request plan.Request `json:"request"`          // what programs are made from, but for the arm
	LeadIn  ID           `json:"lead_in,omitzero"` // the program of the lead-in, once it is made
	Program ID           `json:"program,omitzero"` // of the arm, once it is made
}

// TrialEvent is a link of a trial's chain as it is stored: what is private of it lies
// apart, as the athlete's, and goes with them.
type TrialEvent struct {
	Trial   ID
	Athlete ID // whom Event.Private is about, where it is there
	Event   conduct.Event
}

// Counted are things on a shelf whose parts the store numbers.
type Counted interface{ Counter() *int32 }

// Counter gives where the number of the newest revision stands.
func (p *Program) Counter() *int32 { return &p.Latest }

// Counter gives where the number of the newest event stands.
func (t *Trial) Counter() *int32 { return &t.Latest }

func (*Trial) Kind() Kind      { return KindTrial }
func (t *Trial) Label() string { return t.Title }

// Check refuses what no store would take.
func (t *Trial) Check() error {
	if t.Latest < 0 {
		return fault.New(fault.Invalid, ReasonFixed, "latest", "events are counted by the store")
	}
	return CheckLabel("title", t.Title)
}

func (*Participant) Kind() Kind      { return KindParticipant }
func (p *Participant) Owner() ID     { return p.Athlete }
func (p *Participant) Label() string { return p.Trial.String() }

// Follow checks that events come next in the chain of a trial, each by number and by the
// hash of the one before: Stale STALE where the chain has gone on. last is the hash of the
// newest event that is there.
func (t *Trial) Follow(last string, more []TrialEvent) error {
	for i := range more {
		e := &more[i].Event
		if e.Number != int(t.Latest)+1+i || e.Prev != last || more[i].Trial != t.ID {
			return Outdated(KindTrial)
		}
		if e.Hash == "" {
			return fault.New(fault.Invalid, ReasonFixed, fmt.Sprintf("events[%d].hash", i), "is empty; events are chained before they are stored")
		}
		last = e.Hash
	}
	return nil
}

// Hidden is what is private of an event.
type Hidden struct {
	Private *conduct.Private `json:"private"`
	Salt    string           `json:"salt"`
}

// Part gives an event as everyone may keep it, and what is private of it as JSON; nothing
// where there is nothing.
func (e *TrialEvent) Part() (public conduct.Event, hidden []byte, err error) {
	public = e.Event
	public.Private, public.Salt = nil, ""
	if e.Event.Private == nil {
		return public, nil, nil
	}
	hidden, err = plan.Canonical(&Hidden{e.Event.Private, e.Event.Salt})
	if err != nil {
		return public, nil, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	return public, hidden, nil
}

// Join puts the two together again.
func (e *TrialEvent) Join(hidden []byte) error {
	if len(hidden) == 0 {
		return nil
	}
	var h Hidden
	if err := json.Unmarshal(hidden, &h); err != nil {
		return fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	e.Event.Private, e.Event.Salt = h.Private, h.Salt
	return nil
}
