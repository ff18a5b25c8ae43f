package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Lease is how long a worker has a chunk without a sign of life: so long a chunk rests
// whose worker was killed.
const Lease = 15 * time.Second

const (
	keepEvery = 500 * time.Millisecond // what was made is stored so often: a kill costs no more
	endTime   = 5 * time.Second        // to store what is there when told to stop
)

// errLost ends the work on a chunk that another worker has now, or whose job was ended.
var errLost = errors.New("the chunk is no longer this worker's")

// chunkWork is a worker with its chunk.
type chunkWork struct {
	s      *Service
	tenant Tenant
	owner  ID
	lease  time.Duration
	job    Job
	chunk  Chunk
	ready  []madeItem // and not stored yet
	seen   func(error)
}

// madeItem is an item with what came of it.
type madeItem struct {
	Item
	asked plan.Request
	made  plan.Program
	again Revision // what it was made from, where it is one made again
	facts Facts    // as it is kept
	err   error
}

// Work does one chunk of the caller's tenant and says whether there was one. The items
// that failed, and how, are part of the job; seen is told of each item that is stored, with
// its fault. The error is about the work itself (the store is away, an external strategy does
// not answer, ctx ended): what was made is kept and the chunk left to the next who asks.
func (s *Service) Work(ctx context.Context, owner ID, lease time.Duration, seen func(error)) (some bool, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return false, err
	}
	w := &chunkWork{s: s, tenant: t, owner: owner, lease: lease, seen: seen}
	items, some, err := w.claim(ctx)
	if err != nil || !some || w.chunk.Size == 0 {
		return some, err
	}
	beating, stop := context.WithCancel(ctx)
	defer stop()
	go w.beat(beating)
	err = w.run(ctx, items)
	if errors.Is(err, errLost) {
		err = nil
	}
	return true, err
}

// claim takes a chunk with what is left of its items. Taking in athletes is done at once.
func (w *chunkWork) claim(ctx context.Context) (items []Item, some bool, err error) {
	err = w.s.storage.Store.Update(ctx, w.tenant, func(tx Tx) error {
		if w.chunk, some, err = tx.Claim(w.owner, tx.Now()+Instant(w.lease.Milliseconds())); err != nil || !some {
			return err
		}
		if w.job, err = tx.Jobs().Get(w.chunk.Job); err != nil {
			return err
		}
		if w.chunk.Size == 0 {
			return intake(tx, w.chunk, w.job)
		}
		end := w.chunk.First + w.chunk.Size
		items, err = tx.Items(w.job.ID, w.chunk.Next-1, int(end-w.chunk.Next), false)
		for len(items) > 0 && items[len(items)-1].Place >= end { // some before were erased
			items = items[:len(items)-1]
		}
		return err
	})
	return items, some, err
}

// intake takes the next athletes into a job that is for all.
func intake(tx Tx, c Chunk, j Job) error {
	page, err := tx.Athletes().List(Query{After: Cursor{ID: j.Planned}, Size: intakePage})
	if err != nil {
		return err
	}
	items := make([]Item, len(page.Items))
	for i := range page.Items {
		items[i].Athlete = page.Items[i].ID
		j.Planned = items[i].Athlete
	}
	if err := enqueue(tx, j.ID, j.Items, items); err != nil {
		return err
	}
	j.Items += int64(len(items))
	j.Sealed = page.Next == Cursor{}
	c.Open, c.Owner, c.Lease = !j.Sealed, ID{}, 0
	if err := tx.SetChunk(c); err != nil {
		return err
	}
	_, err = settled(tx, j)
	return err
}

// beat keeps the lease while programs are being made, or wait for their turn.
func (w *chunkWork) beat(ctx context.Context) {
	tick := time.NewTicker(w.lease / 3)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		// A beat that fails is made up for by the next one, and a lease that is lost is
		// noticed when results are stored.
		_ = w.s.storage.Store.Update(ctx, w.tenant, func(tx Tx) error {
			c, err := w.mine(tx)
			if err != nil {
				return err
			}
			c.Lease = tx.Now() + Instant(w.lease.Milliseconds())
			return tx.SetChunk(c)
		})
	}
}

// mine reads the chunk as it is, if it is still this worker's.
func (w *chunkWork) mine(tx Tx) (Chunk, error) {
	c, err := tx.Chunk(w.chunk.Job, w.chunk.Number)
	if f, ok := fault.As(err); ok && f.Kind == fault.NotFound {
		return c, errLost // the job was purged
	}
	if err == nil && (!c.Open || c.Owner != w.owner) {
		err = errLost
	}
	return c, err
}

func (w *chunkWork) run(ctx context.Context, items []Item) error {
	kept := w.s.storage.Now()
	for _, i := range items {
		m, err := w.make(ctx, i)
		if err != nil {
			end, cancel := context.WithTimeout(context.WithoutCancel(ctx), endTime)
			defer cancel()
			then := resting
			if ctx.Err() != nil {
				then = released
			}
			return errors.Join(err, w.keep(end, then))
		}
		w.ready = append(w.ready, m)
		if w.s.storage.Now().Sub(kept) >= keepEvery {
			if err := w.keep(ctx, held); err != nil {
				return err
			}
			kept = w.s.storage.Now()
		}
	}
	return w.keep(ctx, done)
}

// make makes the program of an item. The error is one that says nothing about the item. There
// is no deadline: the engine's work is bounded, and the wait for a turn is not the item's fault.
func (w *chunkWork) make(ctx context.Context, i Item) (m madeItem, err error) {
	m = madeItem{Item: i}
	func() {
		defer func() {
			if p := recover(); p != nil {
				m.err = fault.Wrap(fault.Internal, "PANIC", fmt.Errorf("%v", p))
			}
		}()
		m.err = w.program(ctx, &m)
	}()
	if f, ok := fault.As(m.err); ok {
		switch f.Kind {
		case fault.Canceled, fault.Unavailable, fault.Exhausted:
			return m, m.err
		}
	}
	return m, nil
}

func (w *chunkWork) program(ctx context.Context, m *madeItem) (err error) {
	if m.Athlete == (ID{}) {
		if err := json.Unmarshal(m.Item.Asked, &m.asked); err != nil {
			return fault.Wrap(fault.Internal, ReasonStorage, err)
		}
		m.made, err = w.s.engine.Generate(ctx, m.asked)
		return err
	}
	if w.job.Again.Set {
		return w.again(ctx, m)
	}
	if m.asked, _, err = w.s.prepare(ctx, Write{}, w.order(m.Item)); err != nil {
		return err
	}
	m.made, err = w.s.engine.Generate(ctx, m.asked)
	return ofAthlete(ofStored(err, m.asked.Own))
}

// again makes the athlete's newest program again. NotFound UNKNOWN where there is none.
func (w *chunkWork) again(ctx context.Context, m *madeItem) error {
	n := NewRevision{Athlete: m.Athlete, Reason: w.job.Again.Value.Reason, Rework: plan.Rework{From: plan.Some(w.job.Again.Value.From)}}
	err := w.s.view(ctx, func(tx Tx) error {
		a, err := tx.Athletes().Get(m.Athlete)
		if f, ok := fault.As(err); ok && f.Kind == fault.NotFound || err == nil && a.Deleted != 0 {
			return NoAthlete()
		}
		if err != nil {
			return err
		}
		list, err := tx.Programs().List(Query{Athlete: m.Athlete, Newest: true, Size: 1})
		if err != nil {
			return err
		}
		if len(list.Items) == 0 {
			return fault.New(fault.NotFound, ReasonNoProgram, "athlete", "this athlete has no program that could be made again; make a new one first")
		}
		n.Program = list.Items[0].ID
		m.again, m.asked, err = w.s.reworked(tx, &n)
		return err
	})
	if err != nil {
		return err
	}
	m.made, err = w.s.engine.Rework(ctx, &m.again.Made, m.asked, n.Rework)
	return err
}

// keepAgain stores a program that was made again: Stale STALE where somebody else made it
// again, or deleted it, meanwhile.
func (w *chunkWork) keepAgain(tx Tx, m *madeItem) (Program, Facts, error) {
	p, err := tx.Programs().Get(m.again.Program)
	if err == nil && (p.Deleted != 0 || p.Latest != m.again.Number) {
		err = Outdated(KindProgram)
	}
	if err != nil {
		return p, Facts{}, err
	}
	return tx.Revise(p, Revision{Facts: Facts{Reason: w.job.Again.Value.Reason, From: firstDay(&m.made)}, Asked: m.asked, Made: m.made})
}

func (w *chunkWork) order(i Item) NewProgram {
	return NewProgram{Athlete: i.Athlete, Name: w.job.Name, Request: w.job.Request, Plan: w.job.Plan}
}

// after says what is to be of a chunk once results are stored.
type after uint8

const (
	held     after = iota // the worker goes on with it
	released              // somebody else may
	resting               // the same, after a pause: what is missing has to come back first
	done
)

// keep stores what is ready: results, programs and the count in one transaction, as the
// owner of the chunk or not at all, so that nothing is there twice.
func (w *chunkWork) keep(ctx context.Context, then after) error {
	var outcomes []error
	err := w.s.storage.Store.Update(ctx, w.tenant, func(tx Tx) error {
		outcomes = outcomes[:0]
		c, err := w.mine(tx)
		if err != nil {
			return err
		}
		for _, m := range w.ready {
			was, err := w.finish(tx, &c, m)
			if err != nil {
				return err
			}
			outcomes = append(outcomes, was)
		}
		switch pause := Instant(w.lease.Milliseconds()); then {
		case held:
			c.Lease = tx.Now() + pause
		case released:
			c.Owner, c.Lease = ID{}, 0
		case resting:
			c.Owner, c.Lease = ID{}, tx.Now()+pause/5
		case done:
			c.Next, c.Open, c.Owner, c.Lease = c.First+c.Size, false, ID{}, 0
		}
		if err := tx.SetChunk(c); err != nil || c.Open {
			return err
		}
		return w.end(tx)
	})
	if err != nil {
		return err
	}
	w.ready = w.ready[:0]
	for _, e := range outcomes {
		w.seen(e)
	}
	return nil
}

// end ends the job where this was the last of its chunks.
func (w *chunkWork) end(tx Tx) error {
	more, err := tx.Pending(w.job.ID)
	if err != nil || more {
		return err
	}
	j, err := tx.Jobs().Get(w.job.ID)
	if err != nil || !j.Sealed || j.Done() || j.Deleted != 0 {
		return err
	}
	j.Ended = tx.Now()
	_, err = tx.Jobs().Update(j)
	return err
}

// finish stores one item and counts it. It gives the item's own fault.
func (w *chunkWork) finish(tx Tx, c *Chunk, m madeItem) (was, err error) {
	was = m.err
	if was == nil && m.Athlete != (ID{}) {
		var p Program
		if w.job.Again.Set {
			p, m.facts, err = w.keepAgain(tx, &m)
		} else {
			p, m.facts, err = w.s.keepProgram(tx, w.order(m.Item), m.asked, m.made)
		}
		switch f, ok := fault.As(err); {
		case ok && f.Kind == fault.NotFound:
			was = NoAthlete() // gone meanwhile
		case ok && f.Kind == fault.Stale:
			was = err
		case err != nil:
			return nil, err
		}
		m.Program = p.ID
	}
	m.State = ItemMade
	if was != nil {
		m.State, m.Program = ItemFailed, ID{}
	}
	if m.Result, err = resultDocument(&m, was); err != nil {
		return nil, err
	}
	c.Next = m.Place + 1
	err = tx.Finish(m.Item)
	if f, ok := fault.As(err); ok && f.Kind == fault.NotFound {
		return was, nil // the athlete was erased
	}
	if was == nil {
		c.Made++
	} else {
		c.Failed++
	}
	return was, err
}

// resultDocument holds a program that is kept nowhere else, or a fault.
func resultDocument(m *madeItem, was error) ([]byte, error) {
	var r itemResult
	switch f, ok := fault.As(was); {
	case ok && f.Kind != fault.Internal:
		r.Fault = &itemFault{f.Kind.String(), f.Violations, f.Ways}
	case was != nil: // a bug, whose details are for the log
		r.Fault = &itemFault{Kind: fault.Internal.String(), Violations: []fault.Violation{{Reason: "INTERNAL", Says: "this program could not be made; the server's log says why"}}}
	case m.Athlete == ID{}:
		r.Made = &m.made
	case m.facts.Number > 1:
		r.Number = m.facts.Number
	default:
		return nil, nil
	}
	b, err := json.Marshal(r)
	if err != nil {
		return nil, fault.Wrap(fault.Internal, ReasonStorage, err)
	}
	return b, nil
}
