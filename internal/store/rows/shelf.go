package rows

import (
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// record is a pointer to something that lies on a shelf.
type record[T any] interface {
	*T
	service.Record
}

// shelf is a service.Shelf: one table.
type shelf[T any, P record[T]] struct {
	x      *Tx
	kind   service.Kind
	traits service.Traits
}

func newShelf[T any, P record[T]](x *Tx) shelf[T, P] {
	var zero T
	k := P(&zero).Kind()
	return shelf[T, P]{x, k, service.TraitsOf(k)}
}

// place sets what stands in columns only.
func place(v any, athlete service.ID, latest int64) {
	switch v := v.(type) {
	case *service.Performance:
		v.Athlete = athlete
	case *service.SessionLog:
		v.Athlete = athlete
	case *service.Measurement:
		v.Athlete = athlete
	case *service.Program:
		v.Athlete = athlete
	case *service.Participant:
		v.Athlete = athlete
	}
	if c, ok := v.(service.Counted); ok {
		*c.Counter() = int32(latest)
	}
}

// column is one that can be asked for, with its value in v.
type column struct {
	name  string
	value any
}

// asked lists the columns that follow from the document.
func (s shelf[T, P]) asked(v P) []column {
	var out []column
	if s.traits.Day {
		out = append(out, column{"day", int64(v.Day())})
	}
	if s.traits.Label {
		out = append(out, column{"label", v.Label()})
	}
	if l, ok := any(v).(*service.SessionLog); ok {
		out = append(out, column{"program", l.Program})
	}
	return out
}

// fixed lists the columns that never change by an update.
func (s shelf[T, P]) fixed(v P) []column {
	var out []column
	if s.traits.Athlete {
		out = append(out, column{"athlete", v.Owner()})
	}
	if c, ok := any(v).(service.Counted); ok {
		out = append(out, column{"latest", int64(*c.Counter())})
	}
	return out
}

// columns are what read takes, in its order.
func (s shelf[T, P]) columns() string {
	c := "id, version, created, updated, deleted, format, doc"
	if s.traits.Athlete {
		c += ", athlete"
	}
	if s.counted() {
		c += ", latest"
	}
	return c
}

// counted tells whether the things have parts that are numbered.
func (s shelf[T, P]) counted() bool {
	_, ok := any(P(nil)).(service.Counted)
	return ok
}

// read makes a thing of a row.
func (s shelf[T, P]) read(scan func(...any) error) (T, error) {
	var v T
	var created, updated, deleted, format, latest int64
	var doc []byte
	var athlete service.ID
	h := P(&v).Heading()
	dest := []any{&h.ID, &h.Version, &created, &updated, &deleted, &format, &doc}
	if s.traits.Athlete {
		dest = append(dest, &athlete)
	}
	if s.counted() {
		dest = append(dest, &latest)
	}
	if err := scan(dest...); err != nil {
		return v, err
	}
	head := service.Head{ID: h.ID, Version: h.Version, Created: service.Instant(created), Updated: service.Instant(updated), Deleted: service.Instant(deleted)}
	if err := decode(format, doc, &v); err != nil {
		return v, err
	}
	*P(&v).Heading() = head
	place(&v, athlete, latest)
	return v, nil
}

// one runs a statement that gives at most one row.
func (s shelf[T, P]) one(q *statement) (v T, ok bool, err error) {
	err = s.x.query(q, func(scan func(...any) error) (err error) {
		v, err = s.read(scan)
		ok = err == nil
		return err
	})
	return v, ok, err
}

// find reads a row, whatever its state.
func (s shelf[T, P]) find(id service.ID) (T, bool, error) {
	q := s.x.statement("SELECT ", s.columns(), " FROM ", string(s.kind))
	q.where(s.x.tenant).and("id = ", id)
	return s.one(q)
}

func (s shelf[T, P]) Create(v T) (T, error) {
	var none T
	p := P(&v)
	if err := s.x.writes(); err != nil {
		return none, err
	}
	h := p.Heading()
	if err := h.ID.Check("id"); err != nil {
		return none, err
	}
	if err := p.Check(); err != nil {
		return none, err
	}
	if c, ok := any(p).(service.Counted); ok {
		*c.Counter() = 0
	}
	doc, err := encode(p, formatJSON)
	if err != nil {
		return none, err
	}
	now := int64(s.x.now)
	all := append([]column{
		{"tenant", s.x.tenant}, {"id", h.ID}, {"version", int64(1)}, {"created", now}, {"updated", now}, {"deleted", int64(0)},
		{"format", formatJSON}, {"doc", doc},
	}, append(s.fixed(p), s.asked(p)...)...)
	q := s.x.insert(string(s.kind), all)
	if s.traits.Athlete {
		q.add(" WHERE EXISTS (").live(s.x.tenant, p.Owner()).add(")")
	} else {
		q.add(" WHERE true")
	}
	q.add(" ON CONFLICT DO NOTHING")
	n, err := s.x.exec(q)
	if err != nil {
		return none, err
	}
	if n == 0 {
		return none, s.notCreated(p)
	}
	*h = service.Head{ID: h.ID, Version: 1, Created: s.x.now, Updated: s.x.now}
	return v, nil
}

// notCreated finds out why an insert touched no row.
func (s shelf[T, P]) notCreated(p P) error {
	if s.traits.Athlete {
		q := s.x.statement("").live(s.x.tenant, p.Owner())
		if ok, err := s.x.exists(q); err != nil || !ok {
			return orElse(err, service.NoAthlete())
		}
	}
	_, ok, err := s.find(p.Heading().ID)
	if err != nil || ok {
		return orElse(err, service.IDTaken(s.kind))
	}
	return service.NameTaken(s.kind)
}

// orElse gives the error, or what holds without one.
func orElse(err, otherwise error) error {
	if err != nil {
		return err
	}
	return otherwise
}

func (s shelf[T, P]) Get(id service.ID) (T, error) {
	v, ok, err := s.find(id)
	if err != nil || !ok {
		var none T
		return none, orElse(err, service.Unknown(s.kind))
	}
	return v, nil
}

func (s shelf[T, P]) Update(v T) (T, error) { return s.update(v, "") }

// update replaces a row; more is set beside the columns.
func (s shelf[T, P]) update(v T, more string) (T, error) {
	var none T
	p := P(&v)
	if err := s.x.writes(); err != nil {
		return none, err
	}
	if err := p.Check(); err != nil {
		return none, err
	}
	doc, err := encode(p, formatJSON)
	if err != nil {
		return none, err
	}
	h := p.Heading()
	q := s.x.statement("UPDATE ", string(s.kind), " SET version = version + 1, updated = ").arg(int64(s.x.now)).add(more)
	for _, c := range append(s.asked(p), column{"format", formatJSON}, column{"doc", doc}) {
		q.add(", ", c.name, " = ").arg(c.value)
	}
	q.where(s.x.tenant).and("id = ", h.ID).and("version = ", h.Version).add(" AND deleted = 0")
	for _, c := range s.fixed(p) {
		q.and(c.name+" = ", c.value)
	}
	s.free(q, h.ID, p.Label())
	q.add(" RETURNING created")
	created, ok := int64(0), false
	if err := s.x.query(q, func(scan func(...any) error) error { ok = true; return scan(&created) }); err != nil {
		return none, err
	}
	if !ok {
		return none, s.notChanged(h.ID, h.Version, func(now T) error {
			switch {
			case P(&now).Heading().Deleted != 0:
				return service.Gone(s.kind)
			case P(&now).Heading().Version != h.Version:
				return nil
			}
			is, was := s.fixed(p), s.fixed(P(&now))
			for i := range is {
				if is[i] != was[i] {
					return service.Fixed(s.kind)
				}
			}
			return nil
		})
	}
	*h = service.Head{ID: h.ID, Version: h.Version + 1, Created: service.Instant(created), Updated: s.x.now}
	return v, nil
}

// free demands that no other thing has the label.
func (s shelf[T, P]) free(q *statement, id service.ID, label string) {
	if s.traits.Unique && label != "" {
		q.add(" AND NOT EXISTS (SELECT 1 FROM ", string(s.kind), " o").where(s.x.tenant)
		q.add(" AND o.label <> '' AND o.deleted = 0").and("o.label = ", label).and("o.id <> ", id).add(")")
	}
}

// notChanged finds out why a change touched no row: state tells what the row's own
// state forbids.
func (s shelf[T, P]) notChanged(id service.ID, version int64, state func(T) error) error {
	now, ok, err := s.find(id)
	switch {
	case err != nil:
		return err
	case !ok:
		return service.Unknown(s.kind)
	}
	if err := state(now); err != nil {
		return err
	}
	if P(&now).Heading().Version != version {
		return service.Outdated(s.kind)
	}
	return service.NameTaken(s.kind)
}

func (s shelf[T, P]) Delete(id service.ID, version int64) (T, error) {
	return s.mark(id, version, true)
}

func (s shelf[T, P]) Undelete(id service.ID, version int64) (T, error) {
	return s.mark(id, version, false)
}

func (s shelf[T, P]) mark(id service.ID, version int64, deleted bool) (T, error) {
	var none T
	if err := s.x.writes(); err != nil {
		return none, err
	}
	to, from := service.Instant(0), " AND deleted <> 0"
	if deleted {
		to, from = s.x.now, " AND deleted = 0"
	}
	q := s.x.statement("UPDATE ", string(s.kind), " SET version = version + 1, updated = ").arg(int64(s.x.now)).add(", deleted = ").arg(int64(to))
	q.where(s.x.tenant).and("id = ", id).and("version = ", version).add(from)
	if !deleted && s.traits.Unique {
		k := string(s.kind)
		q.add(" AND NOT EXISTS (SELECT 1 FROM ", k, " o").where(s.x.tenant).add(" AND o.label = ", k, ".label AND o.label <> '' AND o.deleted = 0)")
	}
	q.add(" RETURNING ", s.columns())
	v, ok, err := s.one(q)
	if err != nil {
		return none, err
	}
	if !ok {
		return none, s.notChanged(id, version, func(now T) error {
			was := P(&now).Heading().Deleted != 0
			switch {
			case deleted && was:
				return service.Gone(s.kind)
			case !deleted && !was:
				return service.NotDeleted(s.kind)
			}
			return nil
		})
	}
	return v, nil
}

func (s shelf[T, P]) List(q service.Query) (service.Page[T], error) {
	if err := q.Check(s.kind); err != nil {
		return service.Page[T]{}, err
	}
	st := s.x.statement("SELECT ", s.columns(), " FROM ", string(s.kind))
	st.where(s.x.tenant)
	if !q.Deleted {
		st.add(" AND deleted = 0")
	}
	if q.Athlete != (service.ID{}) {
		st.and("athlete = ", q.Athlete)
	}
	if q.Program != (service.ID{}) {
		st.and("program = ", q.Program)
	}
	if q.Label != "" {
		st.and("label = ", q.Label)
	}
	if q.From.Set {
		st.and("day >= ", int64(q.From.Value))
	}
	if q.To.Set {
		st.and("day <= ", int64(q.To.Value))
	}
	st.page(q, "id", s.traits.Day)
	var all []T
	err := s.x.query(st, func(scan func(...any) error) error {
		v, err := s.read(scan)
		all = append(all, v)
		return err
	})
	if err != nil {
		return service.Page[T]{}, err
	}
	return cut(all, q, func(v *T) service.Cursor {
		return service.Cursor{Day: P(v).Day(), ID: P(v).Heading().ID}
	}), nil
}

// page orders and bounds a list: one more row than asked tells whether there is more.
func (q *statement) page(by service.Query, id string, day bool) {
	way, beyond := "", " > "
	if by.Newest {
		way, beyond = " DESC", " < "
	}
	if by.After != (service.Cursor{}) {
		if day {
			q.add(" AND (day, ", id, ")", beyond, "(").arg(int64(by.After.Day)).add(", ").arg(by.After.ID).add(")")
		} else {
			q.and(id+beyond, by.After.ID)
		}
	}
	q.add(" ORDER BY ")
	if day {
		q.add("day", way, ", ")
	}
	q.add(id, way, " LIMIT ").arg(int64(by.Size + 1))
}

// cut takes the one more row off and makes a cursor of the last that stays.
func cut[T any](all []T, q service.Query, at func(*T) service.Cursor) service.Page[T] {
	if len(all) <= q.Size {
		return service.Page[T]{Items: all}
	}
	return service.Page[T]{Items: all[:q.Size:q.Size], Next: at(&all[q.Size-1])}
}

// statement is SQL with its arguments.
type statement struct {
	d    Dialect
	text strings.Builder
	args []any
}

func (q *statement) add(parts ...string) *statement {
	for _, p := range parts {
		q.text.WriteString(p)
	}
	return q
}

func (q *statement) arg(v any) *statement {
	switch x := v.(type) {
	case service.Tenant:
		v = string(x)
	case plan.Date:
		v = int64(x)
	case []byte:
		if x == nil {
			v = []byte{}
		}
	}
	q.args = append(q.args, v)
	return q.add(q.d.Bind(len(q.args), v))
}

func (q *statement) where(t service.Tenant) *statement {
	if q.d.Unfiltered {
		return q.add(" WHERE true")
	}
	return q.add(" WHERE tenant = ").arg(t)
}

func (q *statement) and(condition string, v any) *statement {
	return q.add(" AND ", condition).arg(v)
}

// live selects an athlete who is there and not deleted.
func (q *statement) live(t service.Tenant, athlete service.ID) *statement {
	return q.add("SELECT 1 FROM athlete").where(t).and("id = ", athlete).add(" AND deleted = 0")
}
