package rows

import (
	"bytes"
	"cmp"
	"slices"
	"strconv"

	"github.com/phasewright/phasewright/internal/service"
)

func (x *Tx) Continue(t service.Trial, more []service.TrialEvent) (service.Trial, error) {
	var none service.Trial
	if err := x.writes(); err != nil {
		return none, err
	}
	last, err := x.lastHash(t.ID, t.Latest)
	if err != nil {
		return none, err
	}
	if err := t.Follow(last, more); err != nil {
		return none, err
	}
	if t, err = newShelf[service.Trial](x).update(t, ", latest = latest + "+strconv.Itoa(len(more))); err != nil {
		return none, err
	}
	for i := range more {
		if err := x.link(&more[i]); err != nil {
			return none, err
		}
	}
	t.Latest += int32(len(more))
	return t, nil
}

// lastHash is that of an event; of none, empty.
func (x *Tx) lastHash(trial service.ID, number int32) (hash string, err error) {
	q := x.statement("SELECT hash FROM trial_event").where(x.tenant).and("trial = ", trial).and("number = ", int64(number))
	err = x.query(q, func(scan func(...any) error) error { return scan(&hash) })
	return hash, err
}

// link keeps one event, and what is private of it beside.
func (x *Tx) link(e *service.TrialEvent) error {
	public, hidden, err := e.Part()
	if err != nil {
		return err
	}
	doc, err := encode(&public, formatJSON)
	if err != nil {
		return err
	}
	key := []column{{"tenant", x.tenant}, {"trial", e.Trial}, {"number", int64(public.Number)}, {"format", formatJSON}}
	if _, err := x.exec(x.insert("trial_event", append(key, column{"hash", public.Hash}, column{"doc", doc}))); err != nil {
		return err
	}
	if hidden == nil {
		return nil
	}
	_, err = x.exec(x.insert("trial_private", append(key, column{"athlete", e.Athlete}, column{"doc", hidden})))
	return err
}

// links reads the events that a condition on trial_event selects, and joins what is
// private of them, which a condition on trial_private selects.
func (x *Tx) links(public, hidden func(q *statement)) ([]service.TrialEvent, error) {
	type key struct {
		trial  service.ID
		number int
	}
	private := map[key]service.TrialEvent{}
	q := x.statement("SELECT trial, number, athlete, doc FROM trial_private").where(x.tenant)
	hidden(q)
	err := x.query(q, func(scan func(...any) error) error {
		var k key
		var number int64
		var doc []byte
		var e service.TrialEvent
		if err := scan(&k.trial, &number, &e.Athlete, &doc); err != nil {
			return err
		}
		k.number = int(number)
		err := e.Join(doc)
		private[k] = e
		return err
	})
	if err != nil {
		return nil, err
	}
	q = x.statement("SELECT trial, format, doc FROM trial_event").where(x.tenant)
	public(q)
	var out []service.TrialEvent
	err = x.query(q, func(scan func(...any) error) error {
		var e service.TrialEvent
		var format int64
		var doc []byte
		if err := scan(&e.Trial, &format, &doc); err != nil {
			return err
		}
		if err := decode(format, doc, &e.Event); err != nil {
			return err
		}
		p := private[key{e.Trial, e.Event.Number}]
		e.Athlete, e.Event.Private, e.Event.Salt = p.Athlete, p.Event.Private, p.Event.Salt
		out = append(out, e)
		return nil
	})
	return out, err
}

func (x *Tx) Chain(trial service.ID, after int32, size int) ([]service.TrialEvent, error) {
	if err := service.CheckSize(size); err != nil {
		return nil, err
	}
	of := func(q *statement) {
		q.and("trial = ", trial).and("number > ", int64(after)).and("number <= ", int64(after)+int64(size)).add(" ORDER BY number")
	}
	return x.links(of, of)
}

func giveHidden(x *Tx, athlete service.ID, each func(any) error) error {
	all, err := x.links(func(q *statement) {
		q.add(" AND (trial, number) IN (SELECT trial, number FROM trial_private").where(x.tenant).and("athlete = ", athlete).add(")")
	}, func(q *statement) { q.and("athlete = ", athlete) })
	// Here and not in SQL: no index has both whose they are and their order.
	slices.SortFunc(all, func(a, b service.TrialEvent) int {
		return cmp.Or(bytes.Compare(a.Trial[:], b.Trial[:]), a.Event.Number-b.Event.Number)
	})
	return orElse(err, hand(all, each))
}
