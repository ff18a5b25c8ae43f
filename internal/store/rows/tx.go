package rows

import (
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// Tx is a service.Tx on a connection.
type Tx struct {
	conn   Conn
	d      Dialect
	tenant service.Tenant
	now    service.Instant
	view   bool
	dead   error
}

var _ service.Tx = (*Tx)(nil)

// NewTx makes one. With view, writes are refused.
func NewTx(c Conn, d Dialect, t service.Tenant, now service.Instant, view bool) *Tx {
	return &Tx{conn: c, d: d, tenant: t, now: now, view: view}
}

// Failed is the error of the connection that the transaction died of, if it did.
func (x *Tx) Failed() error { return x.dead }

// End makes everything after the transaction's end an error.
func (x *Tx) End() {
	if x.dead == nil {
		x.dead = fault.New(fault.Internal, service.ReasonStorage, "", "the transaction has ended")
	}
}

func (x *Tx) statement(parts ...string) *statement { return (&statement{d: x.d}).add(parts...) }

// insert begins an INSERT of one row that a WHERE may follow.
func (x *Tx) insert(table string, all []column) *statement {
	q := x.statement("INSERT INTO ", table, " (")
	for i, c := range all {
		if i > 0 {
			q.add(", ")
		}
		q.add(c.name)
	}
	q.add(") SELECT ")
	for i, c := range all {
		if i > 0 {
			q.add(", ")
		}
		q.arg(c.value)
	}
	return q
}

func (x *Tx) exec(q *statement) (int64, error) {
	if x.dead != nil {
		return 0, x.dead
	}
	n, err := x.conn.Exec(q.text.String(), q.args...)
	x.dead = err
	return n, err
}

func (x *Tx) query(q *statement, each func(scan func(...any) error) error) error {
	if x.dead != nil {
		return x.dead
	}
	var inner error
	err := x.conn.Query(q.text.String(), q.args, func(scan func(...any) error) error {
		inner = each(scan)
		return inner
	})
	if err != nil && inner == nil {
		x.dead = err
	}
	return err
}

func (x *Tx) exists(q *statement) (ok bool, err error) {
	err = x.query(q, func(scan func(...any) error) error { ok = true; var one int64; return scan(&one) })
	return ok, err
}

// writes refuses in a view.
func (x *Tx) writes() error {
	if x.view {
		return service.ReadOnly()
	}
	return x.dead
}

func (x *Tx) Now() service.Instant { return x.now }

func (x *Tx) Athletes() service.Shelf[service.Athlete] { return newShelf[service.Athlete](x) }

func (x *Tx) Performances() service.Shelf[service.Performance] {
	return newShelf[service.Performance](x)
}

func (x *Tx) SessionLogs() service.Shelf[service.SessionLog] { return newShelf[service.SessionLog](x) }

func (x *Tx) Measurements() service.Shelf[service.Measurement] {
	return newShelf[service.Measurement](x)
}

func (x *Tx) Exercises() service.Shelf[service.OwnExercise] { return newShelf[service.OwnExercise](x) }

func (x *Tx) Plans() service.Shelf[service.SavedPlan] { return newShelf[service.SavedPlan](x) }

func (x *Tx) Programs() service.Shelf[service.Program] { return newShelf[service.Program](x) }

func (x *Tx) Trials() service.Shelf[service.Trial] { return newShelf[service.Trial](x) }

func (x *Tx) Participants() service.Shelf[service.Participant] {
	return newShelf[service.Participant](x)
}

func (x *Tx) Keys() service.Shelf[service.Key] { return newShelf[service.Key](x) }

func (x *Tx) Revise(p service.Program, r service.Revision) (service.Program, service.Facts, error) {
	refuse := func(err error) (service.Program, service.Facts, error) {
		return service.Program{}, service.Facts{}, err
	}
	if err := x.writes(); err != nil {
		return refuse(err)
	}
	if err := r.Settle(&p, x.now); err != nil {
		return refuse(err)
	}
	doc, err := encode(&r, formatPacked)
	if err != nil {
		return refuse(err)
	}
	if p, err = newShelf[service.Program](x).update(p, ", latest = latest + 1"); err != nil {
		return refuse(err)
	}
	p.Latest++
	f := r.Facts
	q := x.insert("revision", []column{
		{"tenant", x.tenant}, {"program", f.Program}, {"number", int64(f.Number)}, {"athlete", f.Athlete}, {"created", int64(f.Created)},
		{"reason", f.Reason}, {"from_day", f.From}, {"digest", f.Digest}, {"request_digest", f.RequestDigest},
		{"seed", int64(f.Seed)}, {"engine", f.Engine}, {"format", formatPacked}, {"doc", doc},
	})
	if _, err := x.exec(q); err != nil {
		return refuse(err)
	}
	return p, f, nil
}

const factColumns = "program, number, athlete, created, reason, from_day, digest, request_digest, seed, engine"

// readFacts reads those columns and what else is asked for.
func readFacts(scan func(...any) error, more ...any) (service.Facts, error) {
	var f service.Facts
	var number, created, from, seed int64
	err := scan(append([]any{&f.Program, &number, &f.Athlete, &created, &f.Reason, &from, &f.Digest, &f.RequestDigest, &seed, &f.Engine}, more...)...)
	f.Number, f.Created, f.From, f.Seed = int32(number), service.Instant(created), plan.Date(from), uint32(seed)
	return f, err
}

// revisions reads those that a statement selects, whole.
func (x *Tx) revisions(q *statement) ([]service.Revision, error) {
	var out []service.Revision
	err := x.query(q, func(scan func(...any) error) error {
		var r service.Revision
		var format int64
		var doc []byte
		f, err := readFacts(scan, &format, &doc)
		if err != nil {
			return err
		}
		if err := decode(format, doc, &r); err != nil {
			return err
		}
		r.Facts = f
		out = append(out, r)
		return nil
	})
	return out, err
}

func (x *Tx) Revision(program service.ID, number int32) (service.Revision, error) {
	q := x.statement("SELECT ", factColumns, ", format, doc FROM revision").where(x.tenant).and("program = ", program)
	if number != 0 {
		q.and("number = ", int64(number))
	}
	q.add(" ORDER BY number DESC LIMIT 1")
	got, err := x.revisions(q)
	if err != nil || len(got) == 0 {
		return service.Revision{}, orElse(err, service.Unknown(service.KindRevision))
	}
	return got[0], nil
}

func (x *Tx) Revisions(program service.ID, after int32, size int) ([]service.Facts, error) {
	if err := service.CheckSize(size); err != nil {
		return nil, err
	}
	q := x.statement("SELECT ", factColumns, " FROM revision").where(x.tenant).and("program = ", program).and("number > ", int64(after))
	q.add(" ORDER BY number LIMIT ").arg(int64(size))
	var out []service.Facts
	err := x.query(q, func(scan func(...any) error) error {
		f, err := readFacts(scan)
		out = append(out, f)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

func (x *Tx) Record(e service.Event) (service.Event, error) {
	if err := x.writes(); err != nil {
		return service.Event{}, err
	}
	if err := e.Check(); err != nil {
		return service.Event{}, err
	}
	q := x.insert("event", []column{
		{"tenant", x.tenant}, {"id", e.ID}, {"at", int64(x.now)}, {"actor", e.Actor}, {"method", e.Method},
		{"resource", e.Resource}, {"athlete", e.Athlete}, {"outcome", e.Outcome},
	})
	n, err := x.exec(q.add(" WHERE true ON CONFLICT DO NOTHING"))
	if err != nil || n == 0 {
		return service.Event{}, orElse(err, service.IDTaken(service.KindEvent))
	}
	e.At = x.now
	return e, nil
}

func (x *Tx) events(q *statement) ([]service.Event, error) {
	var out []service.Event
	err := x.query(q, func(scan func(...any) error) error {
		var e service.Event
		var at int64
		err := scan(&e.ID, &at, &e.Actor, &e.Method, &e.Resource, &e.Athlete, &e.Outcome)
		e.At = service.Instant(at)
		out = append(out, e)
		return err
	})
	return out, err
}

const eventColumns = "id, at, actor, method, resource, athlete, outcome"

func (x *Tx) Events(q service.Query) (service.Page[service.Event], error) {
	if err := q.Check(service.KindEvent); err != nil {
		return service.Page[service.Event]{}, err
	}
	st := x.statement("SELECT ", eventColumns, " FROM event").where(x.tenant)
	if q.Athlete != (service.ID{}) {
		st.and("athlete = ", q.Athlete)
	}
	st.page(q, "id", false)
	all, err := x.events(st)
	if err != nil {
		return service.Page[service.Event]{}, err
	}
	return cut(all, q, func(e *service.Event) service.Cursor { return service.Cursor{ID: e.ID} }), nil
}

const answerColumns = "request_id, method, digest, body, athlete, created, expires, erased"

func (x *Tx) answers(q *statement) ([]service.Answer, error) {
	var out []service.Answer
	err := x.query(q, func(scan func(...any) error) error {
		var a service.Answer
		var digest, body []byte
		var created, expires, erased int64
		if err := scan(&a.RequestID, &a.Method, &digest, &body, &a.Athlete, &created, &expires, &erased); err != nil {
			return err
		}
		copy(a.Digest[:], digest)
		a.Body, a.Created, a.Expires, a.Erased = body, service.Instant(created), service.Instant(expires), erased != 0
		out = append(out, a.Apart())
		return nil
	})
	return out, err
}

func (x *Tx) Recall(requestID string) (service.Answer, bool, error) {
	if err := service.CheckLabel("request_id", requestID); err != nil {
		return service.Answer{}, false, err
	}
	got, err := x.answers(x.statement("SELECT ", answerColumns, " FROM answer").where(x.tenant).and("request_id = ", requestID))
	if err != nil || len(got) == 0 {
		return service.Answer{}, false, err
	}
	return got[0], true, nil
}

func (x *Tx) Remember(a service.Answer) error {
	if err := x.writes(); err != nil {
		return err
	}
	if err := a.Check(); err != nil {
		return err
	}
	q := x.insert("answer", []column{
		{"tenant", x.tenant}, {"request_id", a.RequestID}, {"method", a.Method}, {"digest", a.Digest[:]}, {"body", a.Body},
		{"athlete", a.Athlete}, {"created", int64(x.now)}, {"expires", int64(a.Expires)}, {"erased", int64(0)},
	})
	n, err := x.exec(q.add(" WHERE true ON CONFLICT DO NOTHING"))
	if err != nil || n == 0 {
		return orElse(err, service.RequestUsed())
	}
	return nil
}
