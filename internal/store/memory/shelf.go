package memory

import (
	"bytes"
	"cmp"
	"encoding/json"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// record is a pointer to something that lies on a shelf.
type record[T any] interface {
	*T
	service.Record
}

// shelf is a service.Shelf.
type shelf[T any, P record[T]] struct {
	x    *tx
	kind service.Kind
}

func newShelf[T any, P record[T]](x *tx) service.Shelf[T] {
	var zero T
	return shelf[T, P]{x: x, kind: P(&zero).Kind()}
}

func (s shelf[T, P]) rows() map[service.ID]row {
	m := s.x.d.rows[s.kind]
	if m == nil {
		m = map[service.ID]row{}
		if !s.x.view {
			s.x.d.rows[s.kind] = m
		}
	}
	return m
}

// open makes the thing of a row.
func (s shelf[T, P]) open(r row) (T, error) {
	var v T
	if err := json.Unmarshal(r.doc, &v); err != nil {
		return v, fault.Wrap(fault.Internal, service.ReasonStorage, err)
	}
	*P(&v).Heading() = r.head
	place(any(&v), r)
	return v, nil
}

// place sets what stands beside a document.
func place(v any, r row) {
	switch v := v.(type) {
	case *service.Performance:
		v.Athlete = r.athlete
	case *service.SessionLog:
		v.Athlete = r.athlete
	case *service.Measurement:
		v.Athlete = r.athlete
	case *service.Program:
		v.Athlete = r.athlete
	case *service.Participant:
		v.Athlete = r.athlete
	}
	if c, ok := v.(service.Counted); ok {
		*c.Counter() = r.latest
	}
}

// taken reports whether another thing has the label of v.
func (s shelf[T, P]) taken(v P) bool {
	if !service.TraitsOf(s.kind).Unique || v.Label() == "" {
		return false
	}
	for id, r := range s.rows() {
		if id == v.Heading().ID || r.head.Deleted != 0 {
			continue
		}
		if o, err := s.open(r); err == nil && P(&o).Label() == v.Label() {
			return true
		}
	}
	return false
}

func (s shelf[T, P]) Create(v T) (T, error) {
	var none T
	p := P(&v)
	if s.x.view {
		return none, service.ReadOnly()
	}
	h := p.Heading()
	if err := h.ID.Check("id"); err != nil {
		return none, err
	}
	if err := p.Check(); err != nil {
		return none, err
	}
	if service.TraitsOf(s.kind).Athlete {
		if a, ok := s.x.d.rows[service.KindAthlete][p.Owner()]; !ok || a.head.Deleted != 0 {
			return none, service.NoAthlete()
		}
	}
	if _, ok := s.rows()[h.ID]; ok {
		return none, service.IDTaken(s.kind)
	}
	if s.taken(p) {
		return none, service.NameTaken(s.kind)
	}
	*h = service.Head{ID: h.ID, Version: 1, Created: s.x.now, Updated: s.x.now}
	if c, ok := any(p).(service.Counted); ok {
		*c.Counter() = 0
	}
	return s.keep(p, 0)
}

// keep writes a thing as it is.
func (s shelf[T, P]) keep(p P, latest int32) (T, error) {
	doc, err := plan.Canonical(p)
	if err != nil {
		var none T
		return none, fault.Wrap(fault.Internal, service.ReasonStorage, err)
	}
	h := p.Heading()
	put(s.x, s.rows(), h.ID, row{head: *h, athlete: p.Owner(), latest: latest, doc: doc})
	return *p, nil
}

func (s shelf[T, P]) Get(id service.ID) (T, error) {
	r, ok := s.rows()[id]
	if !ok {
		var none T
		return none, service.Unknown(s.kind)
	}
	return s.open(r)
}

func (s shelf[T, P]) Update(v T) (T, error) {
	var none T
	p := P(&v)
	if s.x.view {
		return none, service.ReadOnly()
	}
	if err := p.Check(); err != nil {
		return none, err
	}
	h := p.Heading()
	r, ok := s.rows()[h.ID]
	switch {
	case !ok:
		return none, service.Unknown(s.kind)
	case r.head.Deleted != 0:
		return none, service.Gone(s.kind)
	case r.head.Version != h.Version:
		return none, service.Outdated(s.kind)
	case r.athlete != p.Owner():
		return none, service.Fixed(s.kind)
	}
	if c, ok := any(p).(service.Counted); ok && *c.Counter() != r.latest {
		return none, service.Fixed(s.kind)
	}
	if s.taken(p) {
		return none, service.NameTaken(s.kind)
	}
	*h = r.head
	h.Version, h.Updated = h.Version+1, s.x.now
	return s.keep(p, r.latest)
}

func (s shelf[T, P]) Delete(id service.ID, version int64) (T, error) {
	return s.mark(id, version, true)
}

func (s shelf[T, P]) Undelete(id service.ID, version int64) (T, error) {
	return s.mark(id, version, false)
}

func (s shelf[T, P]) mark(id service.ID, version int64, deleted bool) (T, error) {
	var none T
	if s.x.view {
		return none, service.ReadOnly()
	}
	r, ok := s.rows()[id]
	switch {
	case !ok:
		return none, service.Unknown(s.kind)
	case deleted && r.head.Deleted != 0:
		return none, service.Gone(s.kind)
	case !deleted && r.head.Deleted == 0:
		return none, service.NotDeleted(s.kind)
	case r.head.Version != version:
		return none, service.Outdated(s.kind)
	}
	v, err := s.open(r)
	if err != nil {
		return none, err
	}
	if !deleted && s.taken(P(&v)) {
		return none, service.NameTaken(s.kind)
	}
	r.head.Deleted = 0
	if deleted {
		r.head.Deleted = s.x.now
	}
	r.head.Version, r.head.Updated = r.head.Version+1, s.x.now
	put(s.x, s.rows(), id, r)
	return s.open(r)
}

// compare orders as lists are: by day, then id.
func compare(a, b service.Cursor) int {
	return cmp.Or(cmp.Compare(a.Day, b.Day), bytes.Compare(a.ID[:], b.ID[:]))
}

func (s shelf[T, P]) List(q service.Query) (service.Page[T], error) {
	if err := q.Check(s.kind); err != nil {
		return service.Page[T]{}, err
	}
	var all []T
	for _, r := range s.rows() {
		v, err := s.open(r)
		if err != nil {
			return service.Page[T]{}, err
		}
		if matches(P(&v), q) {
			all = append(all, v)
		}
	}
	return page(all, q, func(v *T) service.Cursor {
		return service.Cursor{Day: P(v).Day(), ID: P(v).Heading().ID}
	}), nil
}

func matches(v service.Record, q service.Query) bool {
	if l, ok := v.(*service.SessionLog); ok && q.Program != (service.ID{}) && l.Program != q.Program {
		return false
	}
	return (q.Deleted || v.Heading().Deleted == 0) &&
		(q.Athlete == service.ID{} || q.Athlete == v.Owner()) &&
		(q.Label == "" || q.Label == v.Label()) &&
		(!q.From.Set || v.Day() >= q.From.Value) &&
		(!q.To.Set || v.Day() <= q.To.Value)
}

// page cuts what a query asks for out of everything that matches it.
func page[T any](all []T, q service.Query, at func(*T) service.Cursor) service.Page[T] {
	sign := 1
	if q.Newest {
		sign = -1
	}
	slices.SortFunc(all, func(a, b T) int { return sign * compare(at(&a), at(&b)) })
	if q.After != (service.Cursor{}) {
		all = slices.DeleteFunc(all, func(v T) bool { return sign*compare(at(&v), q.After) <= 0 })
	}
	if len(all) == 0 {
		return service.Page[T]{}
	}
	if len(all) <= q.Size {
		return service.Page[T]{Items: all}
	}
	return service.Page[T]{Items: all[:q.Size:q.Size], Next: at(&all[q.Size-1])}
}
