package service

import (
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/report"
)

// Reasons of faults around trials.
const (
	ReasonTrialKey      = "TRIAL_KEY_SEALED"
	ReasonTrialArm      = "TRIAL_NO_ARM"
	ReasonTrialMade     = "TRIAL_PROGRAM_MADE"
	ReasonTrialStrategy = "TRIAL_STRATEGY"
)

// running is a trial within a transaction: its chain folded, and what is to be added.
type running struct {
	service *Service
	tx      Tx
	tenant  Tenant
	actor   string
	head    Trial
	state   *conduct.Trial
	more    []TrialEvent
}

// trial reads a trial within a transaction, a deleted one too.
func (s *Service) trial(ctx context.Context, tx Tx, id ID) (*running, error) {
	head, err := tx.Trials().Get(id)
	if err != nil {
		return nil, err
	}
	return s.run(ctx, tx, head)
}

func (s *Service) run(ctx context.Context, tx Tx, head Trial) (*running, error) {
	r := s.starting(ctx, tx, head)
	events, err := chain(tx, &head)
	if err != nil {
		return nil, err
	}
	r.state, err = conduct.Open(bare(events))
	return r, err
}

func (s *Service) starting(ctx context.Context, tx Tx, head Trial) *running {
	c, _ := CallerOf(ctx)
	actor := "without a key"
	if c.Key != (ID{}) {
		actor = c.Key.String()
	}
	return &running{service: s, tx: tx, tenant: c.Tenant, actor: actor, head: head}
}

// chain reads all events of a trial.
func chain(tx Tx, t *Trial) ([]TrialEvent, error) {
	var out []TrialEvent
	for int32(len(out)) < t.Latest {
		page, err := tx.Chain(t.ID, int32(len(out)), MaxPage)
		if err != nil {
			return nil, err
		}
		if len(page) == 0 {
			return nil, fault.New(fault.Internal, ReasonStorage, "", "events of a trial are missing")
		}
		out = append(out, page...)
	}
	return out, nil
}

func bare(events []TrialEvent) []conduct.Event {
	out := make([]conduct.Event, len(events))
	for i := range events {
		out[i] = events[i].Event
	}
	return out
}

// add appends an event; about is the athlete whom its private text is about.
func (r *running) add(b conduct.Body, about ID, p *conduct.Private) error {
	salt := make([]byte, conduct.SaltBytes)
	if _, err := io.ReadFull(r.service.storage.Random, salt); err != nil {
		return fault.Wrap(fault.Internal, "RANDOM", err)
	}
	// Clocks of replicas differ a little; the chain's own time never steps back.
	at := int64(r.tx.Now())
	if past := r.state.Events(); len(past) > 0 {
		at = max(at, past[len(past)-1].At)
	}
	e, err := r.state.Append(conduct.Stamp{At: at, Actor: r.actor, Salt: salt}, b, p)
	if err != nil {
		return err
	}
	r.more = append(r.more, TrialEvent{Trial: r.head.ID, Athlete: about, Event: e})
	return nil
}

// onTrial takes a trial further in one transaction, with the answer that fn gives: what it
// adds to the chain is stored with it, or nothing is.
func onTrial[T any](ctx context.Context, s *Service, w Write, id ID, fn func(*running) (T, error)) (T, error) {
	return trialAnswer[T](s.write(ctx, w, func(tx Tx) (Effect, error) {
		r, err := s.trial(ctx, tx, id)
		switch {
		case err != nil:
		case w.Etag != "" && w.Etag != r.head.Etag():
			err = Outdated(KindTrial)
		case r.head.Deleted != 0:
			err = Gone(KindTrial)
		}
		if err != nil {
			return Effect{}, err
		}
		v, err := fn(r)
		if err == nil && len(r.more) > 0 {
			r.head, err = tx.Continue(r.head, r.more)
		}
		if err != nil {
			return Effect{}, err
		}
		if view, ok := any(&v).(*TrialView); ok {
			if *view, err = r.view(); err != nil {
				return Effect{}, err
			}
		}
		return trialEffect(id, v)
	}))
}

// changed takes a trial further by fn and gives it as it is then.
func (s *Service) changed(ctx context.Context, w Write, id ID, fn func(*running) error) (TrialView, error) {
	return onTrial(ctx, s, w, id, func(r *running) (TrialView, error) { return TrialView{}, fn(r) })
}

// trialEffect keeps an answer. It names no athlete: pseudonyms stay when one is erased.
func trialEffect(id ID, v any) (Effect, error) {
	body, err := json.Marshal(v)
	if err != nil {
		return Effect{}, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	return Effect{Body: body, Resource: "trials/" + id.String()}, nil
}

func trialAnswer[T any](body []byte, err error) (v T, _ error) {
	if err != nil {
		return v, err
	}
	if err := json.Unmarshal(body, &v); err != nil {
		return v, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	return v, nil
}

// CreateTrial begins a trial with a draft of its protocol, whose id the service gives.
// Faults are those of conduct.Protocol's Check, under protocol.
func (s *Service) CreateTrial(ctx context.Context, w Write, p conduct.Protocol) (TrialView, error) {
	p, err := s.pinned(p)
	if err != nil {
		return TrialView{}, err
	}
	return trialAnswer[TrialView](s.write(ctx, w, func(tx Tx) (Effect, error) {
		id, err := s.newID()
		if err != nil {
			return Effect{}, err
		}
		p := p
		p.ID = id.String()
		head, err := tx.Trials().Create(Trial{Head: Head{ID: id}, Title: p.Title})
		if err != nil {
			return Effect{}, err
		}
		r := s.starting(ctx, tx, head)
		if r.state, err = conduct.Open(nil); err != nil {
			return Effect{}, err
		}
		if err := r.add(conduct.Body{Created: &conduct.Created{Protocol: p}}, ID{}, nil); err != nil {
			return Effect{}, err
		}
		if r.head, err = tx.Continue(head, r.more); err != nil {
			return Effect{}, err
		}
		v, err := r.view()
		if err != nil {
			return Effect{}, err
		}
		return trialEffect(id, v)
	}))
}

// pinned names the versions of the strategies, so that everyone in a trial is trained by the
// same ones.
func (s *Service) pinned(p conduct.Protocol) (conduct.Protocol, error) {
	p.Arms = slices.Clone(p.Arms)
	for i := range p.Arms {
		if err := s.pin(&p.Arms[i].Plan); err != nil {
			return p, fault.Within(fmt.Sprintf("protocol.arms[%d].plan", i), err)
		}
	}
	if p.Before != nil {
		before := *p.Before
		p.Before = &before
		if err := s.pin(p.Before); err != nil {
			return p, fault.Within("protocol.lead_in", err)
		}
	}
	return p, nil
}

func (s *Service) pin(p *plan.Plan) error {
	p.Tracks = slices.Clone(p.Tracks)
	for i := range p.Tracks {
		t := &p.Tracks[i]
		t.Segments = slices.Clone(t.Segments)
		for j := range t.Segments {
			id := &t.Segments[j].Strategy
			if *id == "" {
				continue
			}
			d, err := s.engine.Strategy(*id)
			if err != nil {
				return fault.New(fault.Invalid, ReasonTrialStrategy, fmt.Sprintf("tracks[%d].segments[%d].strategy", i, j), err.Error())
			}
			*id = d.ID()
		}
	}
	return nil
}

// AmendTrial makes a new version of the protocol; once it is frozen with a reason.
func (s *Service) AmendTrial(ctx context.Context, w Write, id ID, a conduct.Amended) (TrialView, error) {
	var err error
	if a.Protocol, err = s.pinned(a.Protocol); err != nil {
		return TrialView{}, err
	}
	return s.changed(ctx, w, id, func(r *running) error {
		a := a
		a.Protocol.ID = id.String()
		r.head.Title = a.Protocol.Title
		return r.add(conduct.Body{Amended: &a}, ID{}, nil)
	})
}

// FreezeTrial fixes the protocol, makes the key that arms are drawn with, keeps it sealed
// and publishes the commitment to it.
func (s *Service) FreezeTrial(ctx context.Context, w Write, id ID) (TrialView, error) {
	return s.changed(ctx, w, id, func(r *running) error {
		raw := make([]byte, draw.KeyBytes)
		if _, err := io.ReadFull(s.storage.Random, raw); err != nil {
			return fault.Wrap(fault.Internal, "RANDOM", err)
		}
		hash, err := r.state.Protocol().Hash()
		if err != nil {
			return err
		}
		f := conduct.Frozen{Hash: hash, Commitment: draw.Key(raw).Commitment()}
		if err := r.add(conduct.Body{Frozen: &f}, ID{}, nil); err != nil {
			return err
		}
		r.head.Sealed, err = r.sealed(raw)
		return err
	})
}

// cipher seals keys of trials: under a key of the server's own that is in no database, and
// bound to tenant and trial.
func (r *running) cipher() (aead cipher.AEAD, bound []byte) {
	mac := hmac.New(sha256.New, r.service.storage.Key[:])
	mac.Write([]byte("keys of trials"))
	// Neither fails with 32 bytes and the usual block.
	block, _ := aes.NewCipher(mac.Sum(nil))
	aead, _ = cipher.NewGCM(block)
	return aead, append([]byte(r.tenant+"|"), r.head.ID[:]...)
}

func (r *running) sealed(raw []byte) ([]byte, error) {
	aead, bound := r.cipher()
	nonce := make([]byte, aead.NonceSize())
	if _, err := io.ReadFull(r.service.storage.Random, nonce); err != nil {
		return nil, fault.Wrap(fault.Internal, "RANDOM", err)
	}
	return aead.Seal(nonce, nonce, raw, bound), nil
}

// key opens the key of a frozen trial.
func (r *running) key() (draw.Key, error) {
	aead, bound := r.cipher()
	n := aead.NonceSize()
	if len(r.head.Sealed) < n {
		return nil, fault.New(fault.Infeasible, conduct.ReasonOrder, "name", "the protocol is not frozen yet, so there is no key to draw arms with")
	}
	raw, err := aead.Open(nil, r.head.Sealed[:n], r.head.Sealed[n:], bound)
	if err != nil {
		return nil, fault.New(fault.Internal, ReasonTrialKey, "", "the key of a trial can't be opened: this server has another key of its own than the one that sealed it")
	}
	return draw.NewKey(raw)
}

// RecordTrial adds what happened: Measured, Happened, Withdrawn, Enrolled, Closed or Ended.
// Arms, looks, adherence, the key and who joins have methods of their own.
func (s *Service) RecordTrial(ctx context.Context, w Write, id ID, b conduct.Body, p *conduct.Private) (TrialView, error) {
	if b.Measured == nil && b.Happened == nil && b.Withdrawn == nil && b.Enrolled == nil && b.Closed == nil && b.Ended == nil {
		return TrialView{}, fault.New(fault.Invalid, conduct.ReasonEvent, "event", "is of a kind that is not recorded from outside; measurements, what happened, withdrawals, enrolment, its close and the end are")
	}
	return s.changed(ctx, w, id, func(r *running) error {
		about, err := r.athlete(&b)
		if err != nil {
			return err
		}
		b := b
		if b.Measured != nil {
			if b.Measured, err = r.dated(*b.Measured, about); err != nil {
				return err
			}
		}
		return r.add(b, about, p)
	})
}

// dated says how long after the last logged session a measurement was taken.
func (r *running) dated(m conduct.Measured, athlete ID) (*conduct.Measured, error) {
	now := today(r.tx)
	if m.On == 0 {
		m.On = now
	}
	if m.On > now+1 { // east of here it may be tomorrow
		return nil, fault.New(fault.Invalid, conduct.ReasonEvent, "date", fmt.Sprintf("is %s, which is still to come", m.On))
	}
	logs, err := r.tx.SessionLogs().List(Query{Athlete: athlete, To: plan.Some(m.On), Newest: true, Size: 1})
	if err != nil {
		return nil, err
	}
	if len(logs.Items) > 0 {
		since := int32(m.On - logs.Items[0].Date)
		m.Since = &since
	}
	return &m, nil
}

// athlete finds whom an event is about; zero where it is about no one.
func (r *running) athlete(b *conduct.Body) (ID, error) {
	pseudonym := b.Participant()
	if pseudonym == "" {
		return ID{}, nil
	}
	p, err := r.participant(pseudonym)
	return p.Athlete, err
}

func (r *running) participant(pseudonym string) (Participant, error) {
	id, err := ParseID(pseudonym)
	if err != nil {
		return Participant{}, Unknown(KindParticipant)
	}
	return participantOf(r.tx, r.head.ID, id)
}

func participantOf(tx Tx, trial, id ID) (Participant, error) {
	p, err := tx.Participants().Get(id)
	if err == nil && p.Trial != trial {
		err = Unknown(KindParticipant)
	}
	return p, err
}

// AssignTrial draws the arms of all who are enrolled and can have one now, and gives the
// new ones, in the transaction that stores them. Enrolments were stored by calls before
// this one, so no arm is known before they are fixed. Whoever has to wait (for a partner,
// for the close of enrolment) is left out.
func (s *Service) AssignTrial(ctx context.Context, w Write, id ID) ([]assign.Assignment, error) {
	return onTrial(ctx, s, w, id, func(r *running) ([]assign.Assignment, error) {
		key, err := r.key()
		if err != nil {
			return nil, err
		}
		before := len(r.state.Assigned())
		for _, u := range r.state.Enrolled() {
			bodies, err := r.state.Draw(key, u.ID)
			if f, is := fault.As(err); is && (f.Kind == fault.Exists || f.Violations[0].Reason == assign.ReasonWaiting) {
				continue
			}
			if err != nil {
				return nil, err
			}
			for _, b := range bodies {
				if err := r.add(b, ID{}, nil); err != nil {
					return nil, err
				}
			}
		}
		return r.state.Assigned()[before:], nil
	})
}

// Looked is a look at results, and what it shows.
type Looked struct {
	Event conduct.Looked
	Shows analyse.Look
}

// LookAtTrial looks at the results so far as the protocol plans it. That one looked is
// stored before anyone sees what there is.
func (s *Service) LookAtTrial(ctx context.Context, w Write, id ID, last bool) (Looked, error) {
	return onTrial(ctx, s, w, id, func(r *running) (Looked, error) {
		l, shows, err := r.state.Look(today(r.tx), last)
		if err != nil {
			return Looked{}, err
		}
		return Looked{l, *shows}, r.add(conduct.Body{Looked: &l}, ID{}, nil)
	})
}

// RevealTrial shows the key of a trial that has ended.
func (s *Service) RevealTrial(ctx context.Context, w Write, id ID) (TrialView, error) {
	return s.changed(ctx, w, id, func(r *running) error {
		key, err := r.key()
		if err != nil {
			return err
		}
		return r.add(conduct.Body{Revealed: &conduct.Revealed{Key: hex.EncodeToString(key)}}, ID{}, nil)
	})
}

// readTrial runs fn on a trial as it is.
func (s *Service) readTrial(ctx context.Context, id ID, fn func(*running) error) error {
	return s.view(ctx, func(tx Tx) error {
		r, err := s.trial(ctx, tx, id)
		if err != nil {
			return err
		}
		return fn(r)
	})
}

// TrialView is what may be known of a trial.
type TrialView struct {
	Head     Head
	Etag     string
	Events   int32
	Protocol conduct.Protocol
	Standing conduct.Standing
	Warnings []string
	Assigned []assign.Assignment // arms that were told; no others can be asked for
	Frozen   Instant             // 0: not yet
	// Commitment is published when the protocol is frozen, and Key when it is revealed.
	Commitment, Key string
}

func (r *running) view() (v TrialView, err error) {
	v = TrialView{Head: r.head.Head, Etag: r.head.Etag(), Events: r.head.Latest, Protocol: *r.state.Protocol(), Assigned: r.state.Assigned()}
	v.Standing, _ = r.state.Standing()
	for _, e := range r.state.Events() {
		switch {
		case e.Body.Frozen != nil:
			v.Frozen, v.Commitment = Instant(e.At), e.Body.Frozen.Commitment
		case e.Body.Revealed != nil:
			v.Key = e.Body.Revealed.Key
		}
	}
	v.Warnings, err = v.Protocol.Warnings()
	return v, err
}

// Trial shows a trial.
func (s *Service) Trial(ctx context.Context, id ID) (v TrialView, err error) {
	err = s.readTrial(ctx, id, func(r *running) error {
		v, err = r.view()
		return err
	})
	return v, err
}

// TrialEvents gives the chain. Values, reasons and names of assessors are in it once the
// trial has ended: before, whoever reads them could look at results outside the plan.
func (s *Service) TrialEvents(ctx context.Context, id ID) (events []conduct.Event, err error) {
	err = s.readTrial(ctx, id, func(r *running) error {
		events = r.state.Events()
		if r.state.Ended() {
			return nil
		}
		for i := range events {
			events[i].Private, events[i].Salt = nil, ""
		}
		return nil
	})
	return events, err
}

// AnalyseTrial gives the answer about an outcome, by its place in the protocol, of a trial
// that has ended.
func (s *Service) AnalyseTrial(ctx context.Context, id ID, outcome int) (a *analyse.Report, err error) {
	err = s.readTrial(ctx, id, func(r *running) error {
		a, err = r.state.Answer(outcome)
		return err
	})
	return a, err
}

// ReportTrial gives all that is to be told of a trial that has ended.
func (s *Service) ReportTrial(ctx context.Context, id ID) (in *report.Input, err error) {
	err = s.readTrial(ctx, id, func(r *running) error {
		in, err = r.state.Report()
		return err
	})
	return in, err
}

// VerifyTrial goes through the stored chain as somebody who trusts none of it.
func (s *Service) VerifyTrial(ctx context.Context, id ID) (v conduct.Verified, err error) {
	err = s.view(ctx, func(tx Tx) error {
		head, err := tx.Trials().Get(id)
		if err != nil {
			return err
		}
		events, err := chain(tx, &head)
		if err != nil {
			return err
		}
		v, err = conduct.Verify(bare(events))
		return err
	})
	return v, err
}

// armOf is the arm of a unit, by its place in the protocol.
func (r *running) armOf(unit string) (int, error) {
	for _, a := range r.state.Assigned() {
		if a.Unit == unit {
			return a.Arm, nil
		}
	}
	return 0, fault.New(fault.Infeasible, ReasonTrialArm, "name", fmt.Sprintf("%q has no arm yet", unit))
}
