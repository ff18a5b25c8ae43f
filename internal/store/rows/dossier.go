package rows

import (
	"slices"
	"strings"

	"github.com/phasewright/phasewright/internal/service"
)

// give hands out one athlete's rows of a shelf, by id.
func give[T any, P record[T]](x *Tx, athlete service.ID, each func(any) error) error {
	s := newShelf[T, P](x)
	column := "athlete = "
	if s.kind == service.KindAthlete {
		column = "id = "
	}
	q := x.statement("SELECT ", s.columns(), " FROM ", string(s.kind)).where(x.tenant).and(column, athlete).add(" ORDER BY id")
	var all []T
	if err := x.query(q, func(scan func(...any) error) error {
		v, err := s.read(scan)
		all = append(all, v)
		return err
	}); err != nil {
		return err
	}
	return hand(all, each)
}

func hand[T any](all []T, each func(any) error) error {
	for _, v := range all {
		if err := each(v); err != nil {
			return err
		}
	}
	return nil
}

func giveRevisions(x *Tx, athlete service.ID, each func(any) error) error {
	q := x.statement("SELECT ", factColumns, ", format, doc FROM revision").where(x.tenant).and("athlete = ", athlete)
	all, err := x.revisions(q.add(" ORDER BY program, number"))
	return orElse(err, hand(all, each))
}

func giveEvents(x *Tx, athlete service.ID, each func(any) error) error {
	q := x.statement("SELECT ", eventColumns, " FROM event").where(x.tenant).and("athlete = ", athlete)
	all, err := x.events(q.add(" ORDER BY id"))
	return orElse(err, hand(all, each))
}

func giveAnswers(x *Tx, athlete service.ID, each func(any) error) error {
	all, err := x.answers(x.statement("SELECT ", answerColumns, " FROM answer").where(x.tenant).and("athlete = ", athlete))
	// Here and not in SQL: databases sort texts each in their own way.
	slices.SortFunc(all, func(a, b service.Answer) int { return strings.Compare(a.RequestID, b.RequestID) })
	return orElse(err, hand(all, each))
}

func (x *Tx) Export(athlete service.ID, each func(any) error) error {
	if _, err := x.Athletes().Get(athlete); err != nil {
		return err
	}
	for _, t := range Tables() {
		if t.export == nil {
			continue
		}
		if err := t.export(x, athlete, each); err != nil {
			return err
		}
	}
	return nil
}

func (x *Tx) Erase(athlete service.ID, reason string) (service.Erasure, error) {
	if err := x.writes(); err != nil {
		return service.Erasure{}, err
	}
	if err := service.CheckReason(reason); err != nil {
		return service.Erasure{}, err
	}
	// A refusal leaves no trace, and what only mentions the id of nobody stays.
	was, err := x.exists(x.statement("SELECT 1 FROM athlete").where(x.tenant).and("id = ", athlete))
	if err == nil && was {
		if _, err = x.wipe(athlete); err == nil {
			err = x.trace(service.Erasure{Athlete: athlete, At: x.now, Reason: reason})
		}
	}
	if err != nil {
		return service.Erasure{}, err
	}
	got, err := x.erasures(x.statement("SELECT ", erasureColumns, " FROM erasure").where(x.tenant).and("athlete = ", athlete))
	if err != nil || len(got) == 0 {
		return service.Erasure{}, orElse(err, service.Unknown(service.KindAthlete))
	}
	return got[0], nil
}

// wipe takes away all there is about an athlete, children first, and reports whether
// they were there.
func (x *Tx) wipe(athlete service.ID) (was bool, err error) {
	for _, t := range slices.Backward(Tables()) {
		var q *statement
		switch t.Bearing {
		case Own:
			q = x.statement("DELETE FROM ", t.Name)
		case Mention:
			set, rest, _ := strings.Cut(t.blank, "{empty}")
			q = x.statement("UPDATE ", t.Name, " SET ", t.Athlete, " = ").arg(service.ID{}).add(", ", set)
			if rest != "" {
				q.arg([]byte{}).add(rest)
			}
		default:
			continue
		}
		n, err := x.exec(q.where(x.tenant).and(t.Athlete+" = ", athlete))
		if err != nil {
			return false, err
		}
		was = was || t.Name == string(service.KindAthlete) && n > 0
	}
	return was, nil
}

// trace leaves an erasure, where there is none.
func (x *Tx) trace(e service.Erasure) error {
	q := x.insert("erasure", []column{{"tenant", x.tenant}, {"athlete", e.Athlete}, {"at", int64(e.At)}, {"reason", e.Reason}})
	_, err := x.exec(q.add(" WHERE true ON CONFLICT DO NOTHING"))
	return err
}

const erasureColumns = "athlete, at, reason"

func (x *Tx) erasures(q *statement) ([]service.Erasure, error) {
	var out []service.Erasure
	err := x.query(q, func(scan func(...any) error) error {
		var e service.Erasure
		var at int64
		err := scan(&e.Athlete, &at, &e.Reason)
		e.At = service.Instant(at)
		out = append(out, e)
		return err
	})
	return out, err
}

func (x *Tx) Erasures(q service.Query) (service.Page[service.Erasure], error) {
	if err := q.Check(service.KindErasure); err != nil {
		return service.Page[service.Erasure]{}, err
	}
	st := x.statement("SELECT ", erasureColumns, " FROM erasure").where(x.tenant)
	st.page(q, "athlete", false)
	all, err := x.erasures(st)
	if err != nil {
		return service.Page[service.Erasure]{}, err
	}
	return cut(all, q, func(e *service.Erasure) service.Cursor { return service.Cursor{ID: e.Athlete} }), nil
}

func (x *Tx) Replay(list []service.Erasure) (int, error) {
	if err := x.writes(); err != nil {
		return 0, err
	}
	n := 0
	for _, e := range list {
		if err := e.Check(); err != nil {
			return 0, err
		}
		was, err := x.wipe(e.Athlete)
		if err == nil {
			err = x.trace(e)
		}
		if err != nil {
			return 0, err
		}
		if was {
			n++
		}
	}
	return n, nil
}

func (x *Tx) Purge(before service.Instant, size int) ([]service.Purged, error) {
	if err := x.writes(); err != nil {
		return nil, err
	}
	if err := service.CheckSize(size); err != nil {
		return nil, err
	}
	var out []service.Purged
	for _, k := range service.Purgeable() {
		some := size - len(out)
		if k.Heavy() {
			some = 1
		}
		did, err := x.purgeKind(k, before, some)
		if err != nil {
			return nil, err
		}
		if out = append(out, did...); len(out) == size || k.Heavy() && len(did) > 0 {
			break
		}
	}
	return out, nil
}

// unchain takes away the events of a trial, and who was in it.
func (x *Tx) unchain(trial service.ID) error {
	for _, table := range []string{"trial_private", "trial_event"} {
		if _, err := x.exec(x.statement("DELETE FROM ", table).where(x.tenant).and("trial = ", trial)); err != nil {
			return err
		}
	}
	_, err := x.exec(x.statement("DELETE FROM participant").where(x.tenant).and("label = ", trial.String()))
	return err
}

func (x *Tx) Expire(before service.Instant, size int) (int, error) {
	if err := x.writes(); err != nil {
		return 0, err
	}
	if err := service.CheckSize(size); err != nil {
		return 0, err
	}
	var ids []string
	q := x.statement("SELECT request_id FROM answer").where(x.tenant).add(" AND expires > 0").and("expires < ", int64(before))
	q.add(" ORDER BY expires, request_id LIMIT ").arg(int64(size)).add(x.d.Skip)
	if err := x.query(q, func(scan func(...any) error) error {
		var id string
		err := scan(&id)
		ids = append(ids, id)
		return err
	}); err != nil {
		return 0, err
	}
	for _, id := range ids {
		if _, err := x.exec(x.statement("DELETE FROM answer").where(x.tenant).and("request_id = ", id)); err != nil {
			return 0, err
		}
	}
	return len(ids), nil
}

func (x *Tx) purgeKind(k service.Kind, before service.Instant, size int) ([]service.Purged, error) {
	table, owner := string(k), "id"
	if service.TraitsOf(k).Athlete {
		owner = "athlete"
	}
	q := x.statement("SELECT id, ", owner, " FROM ", table).where(x.tenant).add(" AND deleted > 0").and("deleted < ", int64(before))
	switch k {
	case service.KindAthlete:
		q.none(x.tenant, "participant", "athlete.id", "deleted = 0").none(x.tenant, "answer", "athlete.id", "expires > 0")
	case service.KindProgram:
		q.none(x.tenant, "participant", "program.athlete", "deleted = 0")
	}
	q.add(" ORDER BY deleted, id LIMIT ").arg(int64(size)).add(x.d.Skip)
	var out []service.Purged
	if err := x.query(q, func(scan func(...any) error) error {
		p := service.Purged{Kind: k}
		err := scan(&p.ID, &p.Athlete)
		if owner == "id" && k != service.KindAthlete {
			p.Athlete = service.ID{}
		}
		out = append(out, p)
		return err
	}); err != nil {
		return nil, err
	}
	for _, p := range out {
		if err := x.purge(p); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// none demands that a table has no row about the athlete in a column for which a condition holds.
func (q *statement) none(t service.Tenant, table, athlete, condition string) *statement {
	q.add(" AND NOT EXISTS (SELECT 1 FROM ", table, " o").where(t)
	return q.add(" AND o.athlete = ", athlete, " AND o.", condition, ")")
}

// purge removes a thing with what goes with it.
func (x *Tx) purge(p service.Purged) (err error) {
	switch p.Kind {
	case service.KindAthlete:
		_, err := x.wipe(p.ID)
		return err
	case service.KindProgram:
		_, err = x.exec(x.statement("DELETE FROM revision").where(x.tenant).and("program = ", p.ID))
	case service.KindTrial:
		err = x.unchain(p.ID)
	}
	if err == nil {
		_, err = x.exec(x.statement("DELETE FROM ", string(p.Kind)).where(x.tenant).and("id = ", p.ID))
	}
	return err
}
