package memory

import (
	"bytes"
	"cmp"
	"encoding/json"
	"maps"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// tx is a service.Tx.
type tx struct {
	d    *tenant
	now  service.Instant
	view bool
	undo []func()
}

func (x *tx) Now() service.Instant { return x.now }

func (x *tx) Athletes() service.Shelf[service.Athlete] {
	return newShelf[service.Athlete, *service.Athlete](x)
}

func (x *tx) Performances() service.Shelf[service.Performance] {
	return newShelf[service.Performance, *service.Performance](x)
}

func (x *tx) SessionLogs() service.Shelf[service.SessionLog] {
	return newShelf[service.SessionLog, *service.SessionLog](x)
}

func (x *tx) Measurements() service.Shelf[service.Measurement] {
	return newShelf[service.Measurement, *service.Measurement](x)
}

func (x *tx) Exercises() service.Shelf[service.OwnExercise] {
	return newShelf[service.OwnExercise, *service.OwnExercise](x)
}

func (x *tx) Plans() service.Shelf[service.SavedPlan] {
	return newShelf[service.SavedPlan, *service.SavedPlan](x)
}

func (x *tx) Programs() service.Shelf[service.Program] {
	return newShelf[service.Program, *service.Program](x)
}

func (x *tx) Trials() service.Shelf[service.Trial] {
	return newShelf[service.Trial, *service.Trial](x)
}

func (x *tx) Participants() service.Shelf[service.Participant] {
	return newShelf[service.Participant, *service.Participant](x)
}

func (x *tx) Keys() service.Shelf[service.Key] { return newShelf[service.Key, *service.Key](x) }

func (x *tx) Jobs() service.Shelf[service.Job] { return newShelf[service.Job, *service.Job](x) }

func (x *tx) Revise(p service.Program, r service.Revision) (service.Program, service.Facts, error) {
	s := shelf[service.Program, *service.Program]{x: x, kind: service.KindProgram}
	refuse := func(err error) (service.Program, service.Facts, error) {
		return service.Program{}, service.Facts{}, err
	}
	if x.view {
		return refuse(service.ReadOnly())
	}
	if err := r.Settle(&p, x.now); err != nil {
		return refuse(err)
	}
	doc, err := plan.Canonical(&r)
	if err != nil {
		return refuse(fault.Wrap(fault.Internal, service.ReasonStorage, err))
	}
	if p, err = s.Update(p); err != nil {
		return refuse(err)
	}
	p.Latest++
	if p, err = s.keep(&p, p.Latest); err != nil {
		return refuse(err)
	}
	put(x, x.d.revisions, p.ID, append(slices.Clip(x.d.revisions[p.ID]), revision{r.Facts, doc}))
	return p, r.Facts, nil
}

func (r revision) open() (service.Revision, error) {
	var out service.Revision
	if err := json.Unmarshal(r.doc, &out); err != nil {
		return out, fault.Wrap(fault.Internal, service.ReasonStorage, err)
	}
	out.Facts = r.facts
	return out, nil
}

func (x *tx) Revision(program service.ID, number int32) (service.Revision, error) {
	all := x.d.revisions[program]
	if number == 0 {
		number = int32(len(all))
	}
	if number < 1 || int(number) > len(all) {
		return service.Revision{}, service.Unknown(service.KindRevision)
	}
	return all[number-1].open()
}

func (x *tx) Revisions(program service.ID, after int32, size int) ([]service.Facts, error) {
	if err := service.CheckSize(size); err != nil {
		return nil, err
	}
	var out []service.Facts
	for _, r := range x.d.revisions[program] {
		if r.facts.Number > after && len(out) < size {
			out = append(out, r.facts)
		}
	}
	return out, nil
}

func (x *tx) Record(e service.Event) (service.Event, error) {
	if x.view {
		return service.Event{}, service.ReadOnly()
	}
	if err := e.Check(); err != nil {
		return service.Event{}, err
	}
	if _, ok := x.d.events[e.ID]; ok {
		return service.Event{}, service.IDTaken(service.KindEvent)
	}
	e.At = x.now
	put(x, x.d.events, e.ID, e)
	return e, nil
}

func (x *tx) Events(q service.Query) (service.Page[service.Event], error) {
	if err := q.Check(service.KindEvent); err != nil {
		return service.Page[service.Event]{}, err
	}
	var all []service.Event
	for _, e := range x.d.events {
		if q.Athlete == (service.ID{}) || q.Athlete == e.Athlete {
			all = append(all, e)
		}
	}
	return page(all, q, func(e *service.Event) service.Cursor { return service.Cursor{ID: e.ID} }), nil
}

func (x *tx) Recall(requestID string) (service.Answer, bool, error) {
	if err := service.CheckLabel("request_id", requestID); err != nil {
		return service.Answer{}, false, err
	}
	a, ok := x.d.answers[requestID]
	return a.Apart(), ok, nil
}

func (x *tx) Remember(a service.Answer) error {
	if x.view {
		return service.ReadOnly()
	}
	if err := a.Check(); err != nil {
		return err
	}
	if _, ok := x.d.answers[a.RequestID]; ok {
		return service.RequestUsed()
	}
	a.Created, a.Erased = x.now, false
	put(x, x.d.answers, a.RequestID, a.Apart())
	return nil
}

// sorted lists ids in order.
func sorted[V any](m map[service.ID]V) []service.ID {
	return slices.SortedFunc(maps.Keys(m), func(a, b service.ID) int { return bytes.Compare(a[:], b[:]) })
}

// give hands out one athlete's things of a kind in the order of their ids.
func give[T any, P record[T]](x *tx, athlete service.ID, each func(any) error) error {
	s := newShelf[T, P](x).(shelf[T, P])
	for _, id := range sorted(s.rows()) {
		if r := s.rows()[id]; r.athlete != athlete {
			continue
		}
		v, err := s.Get(id)
		if err != nil {
			return err
		}
		if err := each(v); err != nil {
			return err
		}
	}
	return nil
}

func (x *tx) Export(athlete service.ID, each func(any) error) error {
	a, err := x.Athletes().Get(athlete)
	if err != nil {
		return err
	}
	if err := each(a); err != nil {
		return err
	}
	for _, f := range []func(*tx, service.ID, func(any) error) error{
		give[service.Performance, *service.Performance],
		give[service.SessionLog, *service.SessionLog],
		give[service.Measurement, *service.Measurement],
		give[service.Program, *service.Program],
	} {
		if err := f(x, athlete, each); err != nil {
			return err
		}
	}
	for _, p := range sorted(x.d.revisions) {
		for _, r := range x.d.revisions[p] {
			if r.facts.Athlete != athlete {
				continue
			}
			v, err := r.open()
			if err != nil {
				return err
			}
			if err := each(v); err != nil {
				return err
			}
		}
	}
	for _, id := range sorted(x.d.events) {
		if e := x.d.events[id]; e.Athlete == athlete {
			if err := each(e); err != nil {
				return err
			}
		}
	}
	for _, k := range slices.Sorted(maps.Keys(x.d.answers)) {
		if a, _, _ := x.Recall(k); a.Athlete == athlete {
			if err := each(a); err != nil {
				return err
			}
		}
	}
	if err := x.giveItems(athlete, each); err != nil {
		return err
	}
	if err := x.exportChains(athlete, each); err != nil {
		return err
	}
	return give[service.Participant, *service.Participant](x, athlete, each)
}

func (x *tx) Erase(athlete service.ID, reason string) (service.Erasure, error) {
	if x.view {
		return service.Erasure{}, service.ReadOnly()
	}
	if err := service.CheckReason(reason); err != nil {
		return service.Erasure{}, err
	}
	if _, ok := x.d.rows[service.KindAthlete][athlete]; !ok {
		if e, ok := x.d.erasures[athlete]; ok {
			return e, nil
		}
		return service.Erasure{}, service.Unknown(service.KindAthlete)
	}
	x.wipe(athlete)
	if _, ok := x.d.erasures[athlete]; !ok {
		put(x, x.d.erasures, athlete, service.Erasure{Athlete: athlete, At: x.now, Reason: reason})
	}
	return x.d.erasures[athlete], nil
}

// wipe takes away all there is about an athlete, and reports whether they were there.
func (x *tx) wipe(athlete service.ID) bool {
	_, was := x.d.rows[service.KindAthlete][athlete]
	drop(x, x.d.rows[service.KindAthlete], athlete)
	for _, m := range x.d.rows {
		for id, r := range m {
			if r.athlete == athlete {
				drop(x, m, id)
			}
		}
	}
	for p, list := range x.d.revisions {
		if list[0].facts.Athlete == athlete {
			drop(x, x.d.revisions, p)
		}
	}
	for id, e := range x.d.events {
		if e.Athlete == athlete {
			e.Athlete, e.Resource = service.ID{}, ""
			put(x, x.d.events, id, e)
		}
	}
	for k, a := range x.d.answers {
		if a.Athlete == athlete {
			a.Athlete, a.Body, a.Erased = service.ID{}, nil, true
			put(x, x.d.answers, k, a)
		}
	}
	for k, i := range x.d.items {
		if i.Athlete == athlete {
			drop(x, x.d.items, k)
		}
	}
	x.wipeChains(athlete)
	return was
}

func (x *tx) Erasures(q service.Query) (service.Page[service.Erasure], error) {
	if err := q.Check(service.KindErasure); err != nil {
		return service.Page[service.Erasure]{}, err
	}
	all := slices.Collect(maps.Values(x.d.erasures))
	return page(all, q, func(e *service.Erasure) service.Cursor { return service.Cursor{ID: e.Athlete} }), nil
}

func (x *tx) Replay(list []service.Erasure) (int, error) {
	if x.view {
		return 0, service.ReadOnly()
	}
	n := 0
	for _, e := range list {
		if err := e.Check(); err != nil {
			return 0, err
		}
		if x.wipe(e.Athlete) {
			n++
		}
		if _, ok := x.d.erasures[e.Athlete]; !ok {
			put(x, x.d.erasures, e.Athlete, e)
		}
	}
	return n, nil
}

func (x *tx) Expire(before service.Instant, size int) (int, error) {
	if x.view {
		return 0, service.ReadOnly()
	}
	if err := service.CheckSize(size); err != nil {
		return 0, err
	}
	var due []service.Answer
	for _, a := range x.d.answers {
		if a.Expires != 0 && a.Expires < before {
			due = append(due, a)
		}
	}
	slices.SortFunc(due, func(a, b service.Answer) int {
		return cmp.Or(cmp.Compare(a.Expires, b.Expires), strings.Compare(a.RequestID, b.RequestID))
	})
	due = due[:min(len(due), size)]
	for _, a := range due {
		drop(x, x.d.answers, a.RequestID)
	}
	return len(due), nil
}

func (x *tx) Purge(before service.Instant, size int) ([]service.Purged, error) {
	if x.view {
		return nil, service.ReadOnly()
	}
	if err := service.CheckSize(size); err != nil {
		return nil, err
	}
	var out []service.Purged
	for _, k := range service.Purgeable() {
		rows := x.d.rows[k]
		var due []service.ID
		for id, r := range rows {
			if r.head.Deleted != 0 && r.head.Deleted < before && !x.needed(k, id, r.athlete) {
				due = append(due, id)
			}
		}
		slices.SortFunc(due, func(a, b service.ID) int {
			return cmp.Or(cmp.Compare(rows[a].head.Deleted, rows[b].head.Deleted), bytes.Compare(a[:], b[:]))
		})
		for _, id := range due {
			p := service.Purged{Kind: k, ID: id, Athlete: rows[id].athlete}
			switch k {
			case service.KindAthlete:
				p.Athlete = id
				x.wipe(id)
			case service.KindProgram:
				drop(x, x.d.revisions, id)
			case service.KindTrial:
				x.unchain(id)
			}
			drop(x, rows, id)
			if out = append(out, p); len(out) == size || k.Heavy() {
				return out, nil
			}
		}
	}
	return out, nil
}

// needed says whether a deleted thing can't be purged yet.
func (x *tx) needed(k service.Kind, id, athlete service.ID) bool {
	if k != service.KindAthlete && k != service.KindProgram {
		return false
	}
	if k == service.KindAthlete {
		athlete = id
		for _, a := range x.d.answers {
			if a.Athlete == id && a.Expires != 0 {
				return true
			}
		}
	}
	for _, r := range x.d.rows[service.KindParticipant] {
		if r.athlete == athlete && r.head.Deleted == 0 {
			return true
		}
	}
	return false
}
