package storetest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/internal/service"
)

// Steps is how many steps a model run takes: PHASEWRIGHT_STORE_STEPS, or few.
func Steps(few int) int {
	if n, err := strconv.Atoi(os.Getenv("PHASEWRIGHT_STORE_STEPS")); err == nil {
		return n
	}
	return few
}

// op is one call with its arguments drawn, so that it can be made of several stores.
// What it returns is compared.
type op struct {
	name string
	run  func(service.Tx) (any, error)
}

// world is what the drawing of ops remembers: ids that were used, of things that may
// be there or not.
type world struct {
	*maker
	ids map[service.Kind][]service.ID
}

func (w *world) note(k service.Kind, id service.ID) { w.ids[k] = append(w.ids[k], id) }

// pick gives an id that was used, rather a late one; now and then one that never was.
func (w *world) pick(k service.Kind) service.ID {
	all := w.ids[k]
	if len(all) == 0 || w.IntN(40) == 0 {
		return w.id()
	}
	return all[len(all)-1-w.IntN(min(len(all), 12))]
}

func (w *world) query() service.Query {
	q := service.Query{Size: 1 + w.IntN(6), Newest: w.IntN(2) == 0, Deleted: w.IntN(2) == 0}
	if w.IntN(20) == 0 {
		q.Size = w.IntN(3) * 600
	}
	return q
}

// shelfOp draws a call of a shelf.
func shelfOp[T any, P record[T]](w *world, shelf func(service.Tx) service.Shelf[T], sample func() T, change func(dst, src *T)) op {
	v := sample()
	kind := P(&v).Kind()
	traits := service.TraitsOf(kind)
	id := w.pick(kind)
	off := int64(0)
	if w.IntN(8) == 0 {
		off = int64(1 - 2*w.IntN(2))
	}
	switch w.IntN(8) {
	case 0, 1, 2:
		if w.IntN(15) == 0 {
			P(&v).Heading().ID = id // one that is taken
		}
		w.note(kind, P(&v).Heading().ID)
		return op{"create " + string(kind), func(tx service.Tx) (any, error) {
			return shelf(tx).Create(v)
		}}
	case 3:
		return op{"get " + string(kind), func(tx service.Tx) (any, error) { return shelf(tx).Get(id) }}
	case 4:
		return op{"update " + string(kind), func(tx service.Tx) (any, error) {
			out, err := shelf(tx).Get(id)
			if err != nil {
				P(&out).Heading().ID = id
			}
			change(&out, &v)
			P(&out).Heading().Version += off
			return shelf(tx).Update(out)
		}}
	case 5, 6:
		call := service.Shelf[T].Delete
		if w.IntN(2) == 0 {
			call = service.Shelf[T].Undelete
		}
		return op{"delete or undelete " + string(kind), func(tx service.Tx) (any, error) {
			now, _ := shelf(tx).Get(id)
			return call(shelf(tx), id, P(&now).Heading().Version+off)
		}}
	}
	q := w.query()
	if traits.Athlete && w.IntN(2) == 0 {
		q.Athlete = w.pick(service.KindAthlete)
	}
	if traits.Program && w.IntN(4) == 0 {
		q.Program = w.pick(service.KindProgram)
	}
	if traits.Label && w.IntN(3) == 0 {
		q.Label = w.label()
	}
	if traits.Day && w.IntN(3) == 0 {
		q.From = plan.Some(w.day())
	}
	if traits.Day && w.IntN(3) == 0 {
		q.To = plan.Some(w.day())
	}
	if w.IntN(2) == 0 {
		q.After = service.Cursor{ID: w.pick(kind)}
		if traits.Day {
			q.After.Day = w.day()
		}
	}
	return op{fmt.Sprintf("list %s %+v", kind, q), func(tx service.Tx) (any, error) { return shelf(tx).List(q) }}
}

// op draws a call.
func (w *world) op() op {
	a := w.pick(service.KindAthlete)
	switch w.IntN(26) {
	case 0, 1, 2:
		return shelfOp(w, service.Tx.Athletes, w.athlete, func(d, s *service.Athlete) { d.Profile = s.Profile })
	case 3, 4:
		return shelfOp(w, service.Tx.Performances, func() service.Performance { return w.performance(a) }, func(d, s *service.Performance) { d.Shown = s.Shown })
	case 5, 6:
		return shelfOp(w, service.Tx.SessionLogs, func() service.SessionLog { return w.log(a, w.pick(service.KindProgram)) },
			func(d, s *service.SessionLog) {
				d.Date, d.Program, d.Note, d.Exercises = s.Date, s.Program, s.Note, s.Exercises
			})
	case 7, 8:
		return shelfOp(w, service.Tx.Measurements, func() service.Measurement { return w.measurement(a) },
			func(d, s *service.Measurement) { d.Athlete, d.What, d.Date = s.Athlete, s.What, s.Date })
	case 9:
		return shelfOp(w, service.Tx.Exercises, w.exercise, func(d, s *service.OwnExercise) { d.Exercise = s.Exercise })
	case 10:
		return shelfOp(w, service.Tx.Plans, w.plan, func(d, s *service.SavedPlan) { d.Name, d.Plan = s.Name, s.Plan })
	case 11:
		return shelfOp(w, service.Tx.Programs, func() service.Program { return w.program(a) },
			func(d, s *service.Program) { d.Name, d.Latest = s.Name, d.Latest+int32(len(s.Name)%9/8) })
	case 12:
		return shelfOp(w, service.Tx.Keys, w.key, func(d, s *service.Key) { d.Name, d.Hash = s.Name, s.Hash })
	case 13, 14:
		return w.revisionOp()
	case 15:
		return w.eventOp(a)
	case 16, 17:
		return w.answerOp(a)
	case 18:
		return w.eraseOp(a)
	case 19, 20, 21:
		return w.jobOp(a)
	case 22:
		return shelfOp(w, service.Tx.Trials, w.trial, func(d, s *service.Trial) { d.Title, d.Sealed = s.Title, s.Sealed })
	case 23:
		return shelfOp(w, service.Tx.Participants, func() service.Participant { return w.participant(a, w.pick(service.KindTrial)) },
			func(d, s *service.Participant) { d.Trial, d.Unit = s.Trial, s.Unit })
	case 24:
		return w.chainOp(a)
	}
	return op{"export", func(tx service.Tx) (any, error) {
		var all []any
		err := tx.Export(a, func(v any) error { all = append(all, v); return nil })
		return all, err
	}}
}

func (w *world) revisionOp() op {
	id, n := w.pick(service.KindProgram), int32(w.IntN(4))
	switch w.IntN(4) {
	case 0:
		return op{"revision", func(tx service.Tx) (any, error) { return tx.Revision(id, n) }}
	case 1:
		size := w.IntN(4)
		return op{"revisions", func(tx service.Tx) (any, error) { return tx.Revisions(id, n, size) }}
	}
	r, off := w.revision(1), int64(w.IntN(6)/5)
	return op{"revise", func(tx service.Tx) (any, error) {
		p, err := tx.Programs().Get(id)
		if err != nil {
			return nil, err
		}
		p.Version += off
		p, f, err := tx.Revise(p, r)
		return []any{p, f}, err
	}}
}

func (w *world) chainOp(a service.ID) op {
	id, after, size := w.pick(service.KindTrial), int32(w.IntN(4)), w.IntN(5)
	if w.IntN(3) == 0 {
		return op{"chain", func(tx service.Tx) (any, error) { return tx.Chain(id, after, size) }}
	}
	links, text, off := w.links(id, a, w.text), w.text(), int64(w.IntN(6)/5)
	return op{"continue", func(tx service.Tx) (any, error) {
		t, err := tx.Trials().Get(id)
		if err != nil {
			return nil, err
		}
		t.Version += off
		// They follow the first two of a trial, and on others are refused.
		more := slices.Clone(links)
		if t.Latest > 0 {
			more = more[1:]
			more[0].Event.Number, more[0].Event.Prev = int(t.Latest)+1, "second"
			more[0].Event.Private = &conduct.Private{Text: text}
		}
		return tx.Continue(t, more)
	}}
}

func (w *world) eventOp(a service.ID) op {
	if w.IntN(2) == 0 {
		e := w.event(a)
		if w.IntN(10) == 0 {
			e.ID = w.pick(service.KindEvent)
		}
		w.note(service.KindEvent, e.ID)
		return op{"record", func(tx service.Tx) (any, error) { return tx.Record(e) }}
	}
	q := w.query()
	if w.IntN(2) == 0 {
		q.Athlete = a
	}
	if w.IntN(2) == 0 {
		q.After.ID = w.pick(service.KindEvent)
	}
	return op{"events", func(tx service.Tx) (any, error) { return tx.Events(q) }}
}

func (w *world) answerOp(a service.ID) op {
	v := w.answer(a)
	if w.IntN(2) == 0 {
		return op{"remember", func(tx service.Tx) (any, error) { return nil, tx.Remember(v) }}
	}
	return op{"recall", func(tx service.Tx) (any, error) {
		got, ok, err := tx.Recall(v.RequestID)
		return []any{got, ok}, err
	}}
}

func (w *world) eraseOp(a service.ID) op {
	switch w.IntN(7) {
	case 0, 1:
		reason := w.text()
		return op{"erase", func(tx service.Tx) (any, error) { return tx.Erase(a, reason) }}
	case 2:
		list := []service.Erasure{{Athlete: a, At: 5, Reason: w.text()}, {Athlete: w.id(), At: 6}}
		return op{"replay", func(tx service.Tx) (any, error) { return tx.Replay(list) }}
	case 3:
		q := w.query()
		return op{"erasures", func(tx service.Tx) (any, error) { return tx.Erasures(q) }}
	}
	before, size := service.At(begin)+service.Instant(w.IntN(48))*3600_000, w.IntN(8)
	if w.IntN(2) == 0 {
		return op{"expire", func(tx service.Tx) (any, error) { return tx.Expire(before, size) }}
	}
	return op{"purge", func(tx service.Tx) (any, error) { return tx.Purge(before, size) }}
}

// errAbort is what a transaction ends with that is to leave nothing.
var errAbort = errors.New("abort")

// outcome is what one store made of an op.
type outcome struct {
	got any
	err error
}

// run makes a transaction of ops and says what each answered.
func run(s service.Store, t service.Tenant, ops []op, abort, view bool) ([]outcome, error) {
	var out []outcome
	body := func(tx service.Tx) error {
		out = out[:0]
		for _, o := range ops {
			got, err := o.run(tx)
			out = append(out, outcome{got, err})
		}
		if abort {
			return errAbort
		}
		return nil
	}
	if view {
		return out, s.View(context.Background(), t, body)
	}
	return out, s.Update(context.Background(), t, body)
}

// sameError compares faults by kind and violations, others by text.
func sameError(a, b error) bool {
	x, ok := fault.As(a)
	y, also := fault.As(b)
	if !ok || !also {
		return ok == also && (a == nil) == (b == nil) && (a == nil || a.Error() == b.Error())
	}
	return x.Kind == y.Kind && reflect.DeepEqual(x.Violations, y.Violations)
}

// Model plays so many random calls, in transactions of one to four and of two tenants,
// to stores and to plain ones, and compares every answer. Each so many steps it begins
// anew with the next seed.
func Model(t *testing.T, open Factory, plain func(func() service.Instant) service.Store, seed uint64, steps int) {
	const game = 2500
	for done := 0; done < steps; done += game {
		// A test of its own, so that the store is closed with it.
		t.Run(fmt.Sprintf("seed %d", seed), func(t *testing.T) { play(t, open, plain, seed, min(game, steps-done)) })
		seed++
	}
	t.Logf("%d steps, no divergence", steps)
}

func play(t *testing.T, open Factory, plain func(func() service.Instant) service.Store, seed uint64, steps int) {
	clock := NewClock()
	subject, model := open(t, clock.Now), plain(clock.Now)
	w := &world{newMaker(seed, clock), map[service.Kind][]service.ID{}}
	tenants := []service.Tenant{"one", "two"}
	var trail []string
	compare := func(done int, ops []op, tenant service.Tenant, abort, view bool) {
		got, err := run(subject, tenant, ops, abort, view)
		want, wantErr := run(model, tenant, ops, abort, view)
		where := fmt.Sprintf("seed %d, step %d, after\n%s", seed, done, strings.Join(trail, "\n"))
		require.True(t, sameError(err, wantErr), "%s\ngot error %v\nwant %v", where, err, wantErr)
		require.Len(t, got, len(want), where)
		for i := range got {
			require.True(t, sameError(got[i].err, want[i].err), "%s\ncall %d: got error %v\nwant %v", where, i, got[i].err, want[i].err)
			if !reflect.DeepEqual(got[i].got, want[i].got) {
				require.Equal(t, want[i].got, got[i].got, "%s\ncall %d", where, i)
				require.Fail(t, "equal in print only", "%s\ncall %d\n%#v\n%#v", where, i, want[i].got, got[i].got)
			}
		}
	}
	for done := 0; done < steps; {
		clock.Move(time.Duration(w.IntN(600)) * time.Second)
		tenant := tenants[w.IntN(5)/4]
		ops := make([]op, 1+w.IntN(4))
		abort, view := w.IntN(8) == 0, w.IntN(10) == 0
		for i := range ops {
			ops[i] = w.op()
			trail = append(trail, fmt.Sprintf("%s: %s (abort %v, view %v)", tenant, ops[i].name, abort, view))
		}
		trail = trail[max(0, len(trail)-12):]
		done += len(ops)
		compare(done, ops, tenant, abort, view)
	}
	for _, tenant := range tenants {
		compare(steps, []op{{"everything", everything}}, tenant, false, true)
	}
}

// everything lists all that a tenant has.
func everything(tx service.Tx) (any, error) {
	q := service.Query{Size: service.MaxPage, Deleted: true}
	var out []any
	add := func(v any, err error) error { out = append(out, v); return err }
	err := errors.Join(
		add(walk(tx.Athletes(), q)), add(walk(tx.Performances(), q)), add(walk(tx.SessionLogs(), q)), add(walk(tx.Measurements(), q)),
		add(walk(tx.Exercises(), q)), add(walk(tx.Plans(), q)), add(walk(tx.Programs(), q)), add(walk(tx.Keys(), q)), add(walk(tx.Jobs(), q)),
		add(walk(tx.Trials(), q)), add(walk(tx.Participants(), q)),
		add(pages(q, tx.Events)), add(pages(q, tx.Erasures)),
	)
	return out, err
}

// walk lists a whole shelf.
func walk[T any](s service.Shelf[T], q service.Query) ([]T, error) { return pages(q, s.List) }

// pages lists until the end.
func pages[T any](q service.Query, list func(service.Query) (service.Page[T], error)) ([]T, error) {
	var out []T
	for {
		p, err := list(q)
		if err != nil {
			return nil, err
		}
		out = append(out, p.Items...)
		if p.Next == (service.Cursor{}) {
			return out, nil
		}
		if p.Next == q.After || len(p.Items) == 0 {
			return nil, errors.New("a list without end")
		}
		q.After = p.Next
	}
}
