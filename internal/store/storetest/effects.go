package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

func testOnce(t *testing.T, b *fixture) {
	ctx := context.Background()
	a := b.athlete()
	ran, runs := false, 0
	create := func(tx service.Tx) (service.Effect, error) {
		ran = true
		_, err := tx.Athletes().Create(a)
		return service.Effect{Body: []byte("made"), Athlete: a.ID}, err
	}
	once := func(c service.Call) ([]byte, error) {
		ran = false
		got, err := service.Once(ctx, b.s, ours, c, create)
		if ran {
			runs++
		}
		return got, err
	}
	call := service.Call{RequestID: "r-1", Method: "CreateAthlete", Body: []byte("body")}
	for range 3 {
		got, err := once(call)
		require.NoError(t, err)
		require.Equal(t, "made", string(got))
		b.clock.Move(time.Hour)
	}
	require.Equal(t, 1, runs)
	other := call
	other.Body = []byte("another body")
	_, err := once(other)
	refused(t, err, fault.Exists, service.ReasonRequestOther)
	other = call
	other.Method = "UpdateAthlete"
	_, err = once(other)
	refused(t, err, fault.Exists, service.ReasonRequestOther)

	fresh := service.Call{RequestID: "r-2", Method: "CreateAthlete"}
	for range 2 {
		_, err = once(fresh)
		refused(t, err, fault.Exists, service.ReasonIDTaken)
	}
	require.Equal(t, 3, runs, "a refusal is not kept")
	_, err = once(service.Call{})
	refused(t, err, fault.Exists, service.ReasonIDTaken)

	b.update(func(tx service.Tx) error {
		refused(t, tx.Remember(service.Answer{RequestID: "r-1"}), fault.Exists, service.ReasonRequestUsed)
		refused(t, tx.Remember(service.Answer{}), fault.Invalid, service.ReasonText)
		_, err := tx.Erase(a.ID, "asked for")
		return err
	})
	_, err = once(call)
	refused(t, err, fault.NotFound, service.ReasonAnswerErased)
	require.Equal(t, 4, runs, "an erased athlete does not come back with a retry")
}

// Many is how much of a costly test runs: all of it where PHASEWRIGHT_STORE_STEPS is set.
func Many(all, few int) int {
	if os.Getenv("PHASEWRIGHT_STORE_STEPS") != "" {
		return all
	}
	return few
}

// Creates with five duplicates each, all at once, make one row each.
func testOnceTogether(t *testing.T, b *fixture) {
	creates, duplicates := Many(1000, 60), 5
	athletes := make([]service.Athlete, creates*duplicates)
	for i := range athletes {
		athletes[i] = b.athlete()
		athletes[i].Profile.CallerID = ""
	}
	answers := make([][]byte, len(athletes))
	const workers = 20
	require.NoError(t, together(workers, func(w int) error {
		for i := w; i < len(athletes); i += workers {
			call := service.Call{RequestID: fmt.Sprintf("create-%d", i/duplicates), Method: "CreateAthlete"}
			var err error
			answers[i], err = service.Once(context.Background(), b.s, ours, call, func(tx service.Tx) (service.Effect, error) {
				x, err := tx.Athletes().Create(athletes[i])
				return service.Effect{Body: x.ID[:], Athlete: x.ID}, err
			})
			if err != nil {
				return err
			}
		}
		return nil
	}))
	for i := range answers {
		require.Equal(t, answers[i/duplicates*duplicates], answers[i], "the same answer")
	}
	b.view(func(tx service.Tx) error {
		all, err := walk(tx.Athletes(), service.Query{Size: 500})
		require.Len(t, all, creates)
		for _, a := range all {
			ans, ok, err := tx.Recall(fmt.Sprintf("create-%d", indexOf(athletes, a.ID)/duplicates))
			require.NoError(t, err)
			require.True(t, ok)
			require.True(t, bytes.Equal(a.ID[:], ans.Body))
		}
		return err
	})
}

func indexOf(list []service.Athlete, id service.ID) int {
	for i := range list {
		if list[i].ID == id {
			return i
		}
	}
	return -1
}

// 64 writers on one thing: none is lost, and of those that bring the same version one
// succeeds.
func testWriters(t *testing.T, b *fixture) {
	ctx := context.Background()
	const writers = 64
	rounds := Many(10, 2)
	a := b.newAthlete()
	m := b.measurement(a.ID)
	m.Milli = 0
	b.update(func(tx service.Tx) error { return only(tx.Measurements().Create(m)) })
	require.NoError(t, together(writers, func(int) error {
		for range rounds {
			if err := b.s.Update(ctx, ours, func(tx service.Tx) error {
				x, err := tx.Measurements().Get(m.ID)
				if err != nil {
					return err
				}
				x.Milli++
				return only(tx.Measurements().Update(x))
			}); err != nil {
				return err
			}
		}
		return nil
	}))
	read := func() (x service.Measurement) {
		b.view(func(tx service.Tx) (err error) { x, err = tx.Measurements().Get(m.ID); return err })
		return x
	}
	x := read()
	require.Equal(t, int64(writers*rounds), x.Milli, "every write is there")
	require.Equal(t, int64(writers*rounds+1), x.Version)

	won := make([]bool, writers)
	require.NoError(t, together(writers, func(i int) error {
		mine := x
		mine.Milli = int64(1000 + i)
		err := b.s.Update(ctx, ours, func(tx service.Tx) error { return only(tx.Measurements().Update(mine)) })
		if f, ok := fault.As(err); ok && f.Kind == fault.Stale {
			return nil
		}
		won[i] = err == nil
		return err
	}))
	y := read()
	require.Equal(t, x.Version+1, y.Version)
	for i, ok := range won {
		require.Equal(t, y.Milli == int64(1000+i), ok, "only the writer whose value is there was told so")
	}

	// Two who each read both and write one never both act on what the other changed.
	p, q := b.measurement(a.ID), b.measurement(a.ID)
	p.Milli, q.Milli = 1, 1
	b.update(func(tx service.Tx) error {
		return errors.Join(only(tx.Measurements().Create(p)), only(tx.Measurements().Create(q)))
	})
	require.NoError(t, together(2, func(i int) error {
		return b.s.Update(ctx, ours, func(tx service.Tx) error {
			x, err := tx.Measurements().Get(p.ID)
			y, err2 := tx.Measurements().Get(q.ID)
			if err := errors.Join(err, err2); err != nil || x.Milli+y.Milli < 2 {
				return err
			}
			if i == 1 {
				x = y
			}
			x.Milli = 0
			return only(tx.Measurements().Update(x))
		})
	}))
	b.view(func(tx service.Tx) error {
		x, err := tx.Measurements().Get(p.ID)
		y, err2 := tx.Measurements().Get(q.ID)
		require.Equal(t, int64(1), x.Milli+y.Milli, "one of them stayed")
		return errors.Join(err, err2)
	})
}

// A caller who gives up is told so, and then nothing was kept; who is told that it was
// kept finds it; and the store goes on.
func testCancellations(t *testing.T, b *fixture) {
	const workers = 16
	each := Many(50, 15)
	plans := make([]service.SavedPlan, workers*each)
	patience := make([]time.Duration, len(plans))
	for i := range plans {
		plans[i], patience[i] = b.plan(), time.Duration(b.IntN(12000))*time.Microsecond
		if i%3 == 0 {
			patience[i] = time.Minute
		}
	}
	kept := make([]bool, len(plans))
	require.NoError(t, together(workers, func(w int) error {
		for i := w * each; i < (w+1)*each; i++ {
			ctx, cancel := context.WithTimeout(context.Background(), patience[i])
			err := b.s.Update(ctx, ours, func(tx service.Tx) error {
				if _, err := tx.Plans().Create(plans[i]); err != nil {
					return err
				}
				return only(tx.Plans().List(service.Query{Size: 50}))
			})
			cancel()
			if f, ok := fault.As(err); err != nil && (!ok || f.Kind != fault.Canceled) {
				return err
			}
			kept[i] = err == nil
			ctx, cancel = context.WithTimeout(context.Background(), min(patience[i], 96*time.Millisecond)/8)
			err = b.s.View(ctx, ours, func(tx service.Tx) error { return only(tx.Plans().List(service.Query{Size: 50})) })
			cancel()
			if f, ok := fault.As(err); err != nil && (!ok || f.Kind != fault.Canceled) {
				return err
			}
		}
		return nil
	}))
	n := 0
	b.update(func(tx service.Tx) error {
		n = 0
		for i, p := range plans {
			_, err := tx.Plans().Get(p.ID)
			if kept[i] {
				require.NoError(t, err)
				n++
			} else {
				refused(t, err, fault.NotFound, service.ReasonUnknown)
			}
		}
		return only(tx.Plans().Create(b.plan()))
	})
	require.GreaterOrEqual(t, n, len(plans)/3)
	require.Less(t, n, len(plans))
	t.Logf("%d kept of %d", n, len(plans))
}

// Filled is an athlete who has something of everything, made by Fill.
type Filled struct {
	Athlete service.Athlete
	Program service.Program
	All     []any // as Export gives it, but for the order within a kind
}

// Fill stores an athlete with one thing at least of every kind that can be about them.
// Text that is the athlete's own comes from text, called once for each.
func Fill(ctx context.Context, s service.Store, t service.Tenant, clock *Clock, seed uint64, text func() string) (Filled, error) {
	m := newMaker(seed, clock)
	var f Filled
	a, program := m.athlete(), m.program(service.ID{})
	a.Profile.CallerID, a.Profile.Name, a.Profile.Restrictions[0].Note = text(), text(), text()
	p, l, v := m.performance(a.ID), m.log(a.ID, program.ID), m.measurement(a.ID)
	p.Shown.ExerciseID, l.Note, l.Exercises[0].Note = text(), text(), text()
	v.What, v.Note = text(), text()
	program.Athlete, program.Name = a.ID, text()
	r, second := m.revision(3), m.revision(2)
	r.Asked.Athlete.Name, r.Made.Request.Athlete.Name, r.Reason = text(), text(), text()
	e, ans := m.event(a.ID), m.answer(a.ID)
	ans.RequestID, ans.Body = "fill-"+a.ID.String(), []byte(text())
	job := m.job()
	items := m.items(job.ID, a.ID, 0, 2)
	ready := items[0]
	ready.State, ready.Result = service.ItemMade, []byte(text())
	gone := m.measurement(a.ID)
	gone.Note = text()
	trial := m.trial()
	links := m.links(trial.ID, a.ID, text)
	who := m.participant(a.ID, trial.ID)
	who.Request.Athlete.Name = text()
	err := s.Update(ctx, t, func(tx service.Tx) error {
		var errs []error
		f = Filled{}
		note := func(v any, err error) { f.All, errs = append(f.All, v), append(errs, err) }
		var err error
		f.Athlete, err = tx.Athletes().Create(a)
		note(f.Athlete, err)
		note(tx.Performances().Create(p))
		note(tx.SessionLogs().Create(l))
		note(tx.Measurements().Create(v))
		_, err = tx.Measurements().Create(gone)
		errs = append(errs, err)
		note(tx.Measurements().Delete(gone.ID, 1))
		made, err := tx.Programs().Create(program)
		errs = append(errs, err)
		one, two := r, second
		made, one.Facts, err = tx.Revise(made, r)
		errs = append(errs, err)
		f.Program, two.Facts, err = tx.Revise(made, second)
		note(f.Program, err)
		note(one, nil)
		note(two, nil)
		note(tx.Record(e))
		errs = append(errs, tx.Remember(ans))
		kept, _, err := tx.Recall(ans.RequestID)
		note(kept, err)
		_, err = tx.Jobs().Create(job)
		errs = append(errs, err, tx.Enqueue(service.Chunk{Job: job.ID, Number: 1, Size: 2}, items), tx.Finish(ready))
		note(ready, nil)
		opened, err := tx.Trials().Create(trial)
		errs = append(errs, err)
		_, err = tx.Continue(opened, links)
		errs = append(errs, err)
		note(links[1], nil)
		note(tx.Participants().Create(who))
		return errors.Join(errs...)
	})
	return f, err
}

// Loose stores one thing of each kind that is about no athlete.
func Loose(tx service.Tx, seed service.ID) error {
	m := newMaker(uint64(seed[15]), NewClock())
	e, p, k := m.exercise(), m.plan(), m.key()
	e.Exercise.ID = ""
	return errors.Join(only(tx.Exercises().Create(e)), only(tx.Plans().Create(p)), only(tx.Keys().Create(k)))
}

// Stale creates things on one of two stores that share a database, looks for each on the
// other, and counts those that are not there.
func Stale(ctx context.Context, t *testing.T, s [2]service.Store, pairs int) int {
	t.Helper()
	m := newMaker(9, NewClock())
	stale := 0
	for i := range pairs {
		p := m.plan()
		require.NoError(t, s[i%2].Update(ctx, ours, func(tx service.Tx) error { return only(tx.Plans().Create(p)) }))
		err := s[1-i%2].View(ctx, ours, func(tx service.Tx) error { _, err := tx.Plans().Get(p.ID); return err })
		if err != nil {
			stale++
		}
	}
	return stale
}

func testDossier(t *testing.T, b *fixture) {
	ctx := context.Background()
	n := 0
	text := func() string { n++; return fmt.Sprintf("text-%d", n) }
	f, err := Fill(ctx, b.s, ours, b.clock, 5, text)
	require.NoError(t, err)
	other, err := Fill(ctx, b.s, ours, b.clock, 6, text)
	require.NoError(t, err)
	export := func(id service.ID) (all []any, err error) {
		err = b.s.View(ctx, ours, func(tx service.Tx) error {
			all = nil
			return tx.Export(id, func(v any) error { all = append(all, v); return nil })
		})
		return all, err
	}
	got, err := export(f.Athlete.ID)
	require.NoError(t, err)
	require.Equal(t, f.All, got)
	stop := errors.New("stop")
	require.ErrorIs(t, b.s.View(ctx, ours, func(tx service.Tx) error { return tx.Export(f.Athlete.ID, func(any) error { return stop }) }), stop)
	_, err = export(b.id())
	refused(t, err, fault.NotFound, service.ReasonUnknown)

	b.clock.Move(time.Minute)
	var first service.Erasure
	b.update(func(tx service.Tx) (err error) { first, err = tx.Erase(f.Athlete.ID, "asked for"); return err })
	require.Equal(t, service.Erasure{Athlete: f.Athlete.ID, At: b.clock.Now(), Reason: "asked for"}, first)
	_, err = export(f.Athlete.ID)
	refused(t, err, fault.NotFound, service.ReasonUnknown)
	b.clock.Move(time.Minute)
	b.update(func(tx service.Tx) error {
		again, err := tx.Erase(f.Athlete.ID, "again")
		require.Equal(t, first, again)
		_, none := tx.Erase(b.id(), "")
		refused(t, none, fault.NotFound, service.ReasonUnknown)
		return err
	})
	b.view(func(tx service.Tx) error {
		_, err := tx.Revision(f.Program.ID, 1)
		refused(t, err, fault.NotFound, service.ReasonUnknown)
		ans, ok, err := tx.Recall("fill-" + f.Athlete.ID.String())
		require.NoError(t, err)
		require.True(t, ok)
		require.True(t, ans.Erased)
		require.Empty(t, ans.Body)
		require.Zero(t, ans.Athlete)
		events, err := pages(service.Query{Size: 2}, tx.Events)
		require.Len(t, events, 2, "the event stays, without the athlete")
		for _, e := range events {
			require.NotEqual(t, f.Athlete.ID, e.Athlete)
			require.NotContains(t, e.Resource, f.Athlete.ID.String())
		}
		return err
	})
	got, err = export(other.Athlete.ID)
	require.NoError(t, err)
	require.Equal(t, other.All, got, "another athlete's data is untouched")
}

func testReplay(t *testing.T, b *fixture) {
	ctx := context.Background()
	text := func() string { return fmt.Sprint(b.Uint32()) }
	f, err := Fill(ctx, b.s, ours, b.clock, 5, text)
	require.NoError(t, err)
	list := []service.Erasure{{Athlete: f.Athlete.ID, At: 77, Reason: "asked for"}, {Athlete: b.id(), At: 78}}
	for _, want := range []int{1, 0} {
		b.update(func(tx service.Tx) error {
			n, err := tx.Replay(list)
			require.Equal(t, want, n)
			return err
		})
	}
	b.view(func(tx service.Tx) error {
		refused(t, tx.Export(f.Athlete.ID, func(any) error { return nil }), fault.NotFound, service.ReasonUnknown)
		got, err := pages(service.Query{Size: 1}, tx.Erasures)
		require.ElementsMatch(t, list, got)
		return err
	})
	refused(t, b.s.Update(ctx, ours, func(tx service.Tx) error { _, err := tx.Replay([]service.Erasure{{}}); return err }), fault.Invalid, service.ReasonID)
}

// Answers go when they have expired and not at that moment, the oldest first, in steps; those
// of other tenants, and those without an end, stay.
func testExpire(t *testing.T, b *fixture) {
	const theirs = service.Tenant("theirs")
	expire := func(before service.Instant, size int) (n int) {
		t.Helper()
		b.update(func(tx service.Tx) (err error) { n, err = tx.Expire(before, size); return err })
		return n
	}
	now := b.clock.Now()
	fill := func(tx service.Tx) error {
		return errors.Join(
			tx.Remember(service.Answer{RequestID: "a", Expires: now + 2}), tx.Remember(service.Answer{RequestID: "b", Expires: now}),
			tx.Remember(service.Answer{RequestID: "c", Expires: now + 1}), tx.Remember(service.Answer{RequestID: "d", Expires: now + 1}),
			tx.Remember(service.Answer{RequestID: "for ever"}),
		)
	}
	b.update(fill)
	require.NoError(t, b.s.Update(context.Background(), theirs, fill))
	left := func(tenant service.Tenant) (out string) {
		t.Helper()
		require.NoError(t, b.s.View(context.Background(), tenant, func(tx service.Tx) error {
			out = ""
			for _, id := range []string{"a", "b", "c", "d", "for ever"} {
				_, ok, err := tx.Recall(id)
				if err != nil {
					return err
				}
				if ok {
					out += id + " "
				}
			}
			return nil
		}))
		return out
	}
	b.update(func(tx service.Tx) error {
		refused(t, only(tx.Expire(1, 0)), fault.Invalid, service.ReasonQuery)
		return nil
	})
	require.Zero(t, expire(now, 10), "what expires at that moment stays")
	require.Equal(t, 1, expire(now+1, 10))
	require.Equal(t, "a c d for ever ", left(ours))
	require.Equal(t, 1, expire(now+3, 1))
	require.Equal(t, "a d for ever ", left(ours))
	require.Equal(t, 2, expire(now+3, 10))
	require.Zero(t, expire(now+1_000_000, 10))
	require.Equal(t, "for ever ", left(ours))
	require.Equal(t, "a b c d for ever ", left(theirs))
	b.update(func(tx service.Tx) error { return tx.Remember(service.Answer{RequestID: "a", Expires: now + 9}) })
}

func testPurge(t *testing.T, b *fixture) {
	ctx := context.Background()
	text := func() string { return fmt.Sprint(b.Uint32()) }
	f, err := Fill(ctx, b.s, ours, b.clock, 5, text)
	require.NoError(t, err)
	kept, err := Fill(ctx, b.s, ours, b.clock, 6, text)
	require.NoError(t, err)
	purge := func(before service.Instant, size int) (list []service.Purged) {
		t.Helper()
		b.update(func(tx service.Tx) (err error) { list, err = tx.Purge(before, size); return err })
		return list
	}
	// Of both there is a deleted measurement; answers and trials that Fill has left hold the
	// athletes, until they are gone.
	var measurements []service.Measurement
	var trials []service.Trial
	b.update(func(tx service.Tx) error {
		_, err := tx.Athletes().Delete(f.Athlete.ID, f.Athlete.Version)
		all, err2 := walk(tx.Measurements(), service.Query{Size: 100, Deleted: true})
		measurements = slices.DeleteFunc(all, func(m service.Measurement) bool { return m.Deleted == 0 })
		var err3 error
		trials, err3 = walk(tx.Trials(), service.Query{Size: 100})
		return errors.Join(err, err2, err3)
	})
	require.Len(t, measurements, 2)
	require.Equal(t, measurements[0].Deleted, measurements[1].Deleted)
	slices.SortFunc(measurements, func(a, b service.Measurement) int { return bytes.Compare(a.ID[:], b.ID[:]) })
	thing := func(m service.Measurement) service.Purged {
		return service.Purged{Kind: service.KindMeasurement, ID: m.ID, Athlete: m.Athlete}
	}
	require.Empty(t, purge(measurements[0].Deleted, 100), "what was deleted at that moment stays")
	b.update(func(tx service.Tx) error {
		refused(t, only(tx.Purge(1, 0)), fault.Invalid, service.ReasonQuery)
		return nil
	})
	b.clock.Move(time.Minute)
	require.Equal(t, []service.Purged{thing(measurements[0])}, purge(b.clock.Now(), 1))
	require.Equal(t, []service.Purged{thing(measurements[1])}, purge(b.clock.Now(), 10))
	require.Empty(t, purge(b.clock.Now(), 10), "the athlete takes part in a trial")
	for _, x := range trials {
		b.update(func(tx service.Tx) error { return only(tx.Trials().Delete(x.ID, x.Version)) })
	}
	b.clock.Move(time.Minute)
	for range trials {
		got := purge(b.clock.Now(), 10)
		require.Len(t, got, 1, "a trial alone")
		require.Equal(t, service.KindTrial, got[0].Kind)
	}
	b.update(func(tx service.Tx) error {
		return tx.Remember(service.Answer{RequestID: "about", Athlete: f.Athlete.ID, Expires: b.clock.Now()})
	})
	require.Empty(t, purge(b.clock.Now(), 10), "an answer about the athlete is kept")
	b.update(func(tx service.Tx) error { return only(tx.Expire(b.clock.Now()+1_000_000_000_000, 100)) })
	gone := service.Purged{Kind: service.KindAthlete, ID: f.Athlete.ID, Athlete: f.Athlete.ID}
	require.Equal(t, []service.Purged{gone}, purge(b.clock.Now(), 10))
	require.Empty(t, purge(b.clock.Now(), 10))
	b.view(func(tx service.Tx) error {
		_, err := tx.Revision(f.Program.ID, 1)
		refused(t, err, fault.NotFound, service.ReasonUnknown)
		refused(t, tx.Export(f.Athlete.ID, func(any) error { return nil }), fault.NotFound, service.ReasonUnknown)
		_, err = tx.Revision(kept.Program.ID, 2)
		return err
	})

	// A program goes with its revisions, and one that came back does not.
	back := b.measurement(kept.Athlete.ID)
	b.update(func(tx service.Tx) error {
		m, err := tx.Measurements().Create(back)
		if err == nil {
			m, err = tx.Measurements().Delete(m.ID, m.Version)
		}
		return errors.Join(err, only(tx.Programs().Delete(kept.Program.ID, kept.Program.Version)), only(tx.Measurements().Undelete(m.ID, m.Version)))
	})
	require.Equal(t, []service.Purged{{Kind: service.KindProgram, ID: kept.Program.ID, Athlete: kept.Athlete.ID}}, purge(b.clock.Now()+1, 10))
	b.view(func(tx service.Tx) error {
		_, none := tx.Revision(kept.Program.ID, 1)
		refused(t, none, fault.NotFound, service.ReasonUnknown)
		return errors.Join(only(tx.Measurements().Get(back.ID)), only(tx.Athletes().Get(kept.Athlete.ID)))
	})

	// The oldest deletion is first, whatever was made first.
	younger, older := b.measurement(kept.Athlete.ID), b.measurement(kept.Athlete.ID)
	for _, m := range []service.Measurement{older, younger} {
		b.update(func(tx service.Tx) error {
			return errors.Join(only(tx.Measurements().Create(m)), only(tx.Measurements().Delete(m.ID, 1)))
		})
		b.clock.Move(time.Second)
	}
	require.Equal(t, older.ID, purge(b.clock.Now(), 1)[0].ID)
	require.Equal(t, younger.ID, purge(b.clock.Now(), 1)[0].ID)

	// Programs of an athlete in a trial stay.
	trial, second := b.trial(), b.program(kept.Athlete.ID)
	b.update(func(tx service.Tx) error {
		p, err := tx.Programs().Create(second)
		if err != nil {
			return err
		}
		who := b.participant(kept.Athlete.ID, trial.ID)
		return errors.Join(only(tx.Trials().Create(trial)), only(tx.Participants().Create(who)), only(tx.Programs().Delete(p.ID, p.Version)))
	})
	require.Empty(t, purge(b.clock.Now()+1, 10))
}

// Many purge and expire at once, and others bring back what is being purged: nobody fails, each
// thing goes once, and what somebody brought back is there.
func testPurgeTogether(t *testing.T, b *fixture) {
	ctx := context.Background()
	const things, workers = 90, 4
	a := b.newAthlete()
	ids, now := make([]service.ID, things), b.clock.Now()
	for i := range ids {
		m := b.measurement(a.ID)
		ids[i] = m.ID
		b.update(func(tx service.Tx) error {
			return errors.Join(only(tx.Measurements().Create(m)), only(tx.Measurements().Delete(m.ID, 1)), tx.Remember(service.Answer{RequestID: fmt.Sprint("x", i), Expires: now}))
		})
	}
	b.clock.Move(time.Minute)
	var mu sync.Mutex
	seen, answers := map[service.ID]int{}, 0
	sweep := func() error {
		for {
			var list []service.Purged
			var n int
			if err := b.s.Update(ctx, ours, func(tx service.Tx) (err error) {
				if n, err = tx.Expire(b.clock.Now(), 7); err == nil {
					list, err = tx.Purge(b.clock.Now(), 7)
				}
				return err
			}); err != nil {
				return err
			}
			mu.Lock()
			for _, p := range list {
				seen[p.ID]++
			}
			answers += n
			mu.Unlock()
			if len(list) == 0 && n == 0 {
				return nil
			}
		}
	}
	back := map[service.ID]bool{}
	require.NoError(t, together(workers, func(w int) error {
		if w > 0 {
			return sweep()
		}
		for i := things - 1; i >= 0; i -= 9 {
			err := b.s.Update(ctx, ours, func(tx service.Tx) error { return only(tx.Measurements().Undelete(ids[i], 2)) })
			if f, ok := fault.As(err); ok && f.Kind == fault.NotFound {
				continue // it was too late
			}
			if err != nil {
				return err
			}
			back[ids[i]] = true
		}
		return nil
	}))
	require.NoError(t, sweep()) // what each left to the others
	require.Equal(t, things, answers)
	b.view(func(tx service.Tx) error {
		for _, id := range ids {
			_, err := tx.Measurements().Get(id)
			require.Equal(t, back[id], err == nil)
			require.Equal(t, !back[id], seen[id] == 1)
		}
		return nil
	})
}
