package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// fixture is one store under test.
type fixture struct {
	*maker
	t     *testing.T
	clock *Clock
	s     service.Store
}

const ours = service.Tenant("ours")

// update runs a transaction of our tenant that must succeed.
func (b *fixture) update(fn func(service.Tx) error) {
	b.t.Helper()
	require.NoError(b.t, b.s.Update(context.Background(), ours, fn))
}

func (b *fixture) view(fn func(service.Tx) error) {
	b.t.Helper()
	require.NoError(b.t, b.s.View(context.Background(), ours, fn))
}

// newAthlete stores one without a caller id.
func (b *fixture) newAthlete() service.Athlete {
	a := b.athlete()
	a.Profile.CallerID = ""
	b.update(func(tx service.Tx) (err error) { a, err = tx.Athletes().Create(a); return err })
	return a
}

// refused requires a fault.
func refused(t *testing.T, err error, kind fault.Kind, reason string) {
	t.Helper()
	f, ok := fault.As(err)
	require.True(t, ok, "%v is no fault", err)
	require.Equal(t, kind, f.Kind, "%v", err)
	require.Equal(t, reason, f.Violations[0].Reason, "%v", err)
}

func testShelves(t *testing.T, b *fixture) {
	a := b.newAthlete()
	life(b, service.Tx.Athletes, b.athlete(), func(v *service.Athlete) { v.Profile.Name = "other" })
	life(b, service.Tx.Performances, b.performance(a.ID), func(v *service.Performance) { v.Shown.Reps = 99 })
	life(b, service.Tx.SessionLogs, b.log(a.ID, b.id()), func(v *service.SessionLog) { v.Exercises = nil })
	life(b, service.Tx.Measurements, b.measurement(a.ID), func(v *service.Measurement) { v.Milli = -1 })
	life(b, service.Tx.Exercises, b.exercise(), func(v *service.OwnExercise) { v.Exercise.Name = "other" })
	life(b, service.Tx.Jobs, b.job(), func(v *service.Job) { v.Ended = 5 })
	life(b, service.Tx.Plans, b.plan(), func(v *service.SavedPlan) { v.Plan.NoAttempts = true })
	life(b, service.Tx.Programs, b.program(a.ID), func(v *service.Program) { v.Name = "other" })
	life(b, service.Tx.Trials, b.trial(), func(v *service.Trial) { v.Title = "other" })
	life(b, service.Tx.Participants, b.participant(a.ID, b.id()), func(v *service.Participant) { v.Program = b.id() })
	life(b, service.Tx.Keys, b.key(), func(v *service.Key) { v.Revoked = 7 })
}

// life takes a thing through all it can go through.
func life[T any, P record[T]](b *fixture, shelf func(service.Tx) service.Shelf[T], v T, change func(*T)) {
	t, h := b.t, P(&v).Heading()
	get := func() (got T) {
		b.view(func(tx service.Tx) (err error) { got, err = shelf(tx).Get(h.ID); return err })
		return got
	}
	fails := func(kind fault.Kind, reason string, fn func(service.Shelf[T]) error) {
		t.Helper()
		refused(t, b.s.Update(context.Background(), ours, func(tx service.Tx) error { return fn(shelf(tx)) }), kind, reason)
	}

	fails(fault.NotFound, service.ReasonUnknown, func(s service.Shelf[T]) error { _, err := s.Get(h.ID); return err })
	fails(fault.NotFound, service.ReasonUnknown, func(s service.Shelf[T]) error { _, err := s.Delete(h.ID, 1); return err })
	fails(fault.NotFound, service.ReasonUnknown, func(s service.Shelf[T]) error { return only(s.Update(v)) })
	for _, bad := range []service.ID{{}, {6: 0x40, 8: 0x80}, {6: 0x70}} {
		fails(fault.Invalid, service.ReasonID, func(s service.Shelf[T]) error {
			x := v
			P(&x).Heading().ID = bad
			return only(s.Create(x))
		})
	}

	given := v
	b.update(func(tx service.Tx) (err error) { v, err = shelf(tx).Create(given); return err })
	made := b.clock.Now()
	require.Equal(t, service.Head{ID: h.ID, Version: 1, Created: made, Updated: made}, *h)
	require.Equal(t, v, get())
	fails(fault.Exists, service.ReasonIDTaken, func(s service.Shelf[T]) error { return only(s.Create(v)) })

	b.clock.Move(time.Second)
	given = v
	change(&given)
	var changed T
	b.update(func(tx service.Tx) (err error) { changed, err = shelf(tx).Update(given); return err })
	require.Equal(t, service.Head{ID: h.ID, Version: 2, Created: made, Updated: b.clock.Now()}, *P(&changed).Heading())
	require.Equal(t, changed, get())
	fails(fault.Stale, service.ReasonStale, func(s service.Shelf[T]) error { return only(s.Update(v)) })
	fails(fault.Stale, service.ReasonStale, func(s service.Shelf[T]) error { _, err := s.Delete(h.ID, 1); return err })
	fails(fault.Exists, service.ReasonNotDeleted, func(s service.Shelf[T]) error { _, err := s.Undelete(h.ID, 2); return err })
	require.Equal(t, changed, get(), "what was refused left nothing")

	b.clock.Move(time.Second)
	var deleted, back T
	b.update(func(tx service.Tx) (err error) { deleted, err = shelf(tx).Delete(h.ID, 2); return err })
	require.Equal(t, deleted, get(), "a deleted thing can be read")
	require.Equal(t, service.Head{ID: h.ID, Version: 3, Created: made, Updated: b.clock.Now(), Deleted: b.clock.Now()}, *P(&deleted).Heading())
	fails(fault.NotFound, service.ReasonDeleted, func(s service.Shelf[T]) error { _, err := s.Delete(h.ID, 3); return err })
	fails(fault.NotFound, service.ReasonDeleted, func(s service.Shelf[T]) error { return only(s.Update(deleted)) })
	fails(fault.Stale, service.ReasonStale, func(s service.Shelf[T]) error { _, err := s.Undelete(h.ID, 2); return err })
	listed := func(deleted bool) (n int) {
		b.view(func(tx service.Tx) error {
			all, err := walk(shelf(tx), service.Query{Size: 2, Deleted: deleted})
			n = 0
			for i := range all {
				if P(&all[i]).Heading().ID == h.ID {
					n++
				}
			}
			return err
		})
		return n
	}
	require.Equal(t, 0, listed(false))
	require.Equal(t, 1, listed(true))

	b.update(func(tx service.Tx) (err error) { back, err = shelf(tx).Undelete(h.ID, 3); return err })
	require.Equal(t, int64(4), P(&back).Heading().Version)
	*P(&back).Heading() = *P(&changed).Heading()
	require.Equal(t, changed, back, "all but the head is as it was")
	require.Equal(t, 1, listed(false))
}

func testLabels(t *testing.T, b *fixture) {
	ctx := context.Background()
	one, two := b.athlete(), b.athlete()
	one.Profile.CallerID, two.Profile.CallerID = "client-7", "client-7"
	b.update(func(tx service.Tx) error { return only(tx.Athletes().Create(one)) })
	create := func(a *service.Athlete) error {
		given := *a
		return b.s.Update(ctx, ours, func(tx service.Tx) (err error) { *a, err = tx.Athletes().Create(given); return err })
	}
	dupe := two
	refused(t, create(&dupe), fault.Exists, service.ReasonNameTaken)
	b.update(func(tx service.Tx) (err error) { one, err = tx.Athletes().Delete(one.ID, 1); return err })
	require.NoError(t, create(&two), "a deleted athlete's caller id is free")
	refused(t, b.s.Update(ctx, ours, func(tx service.Tx) error { _, err := tx.Athletes().Undelete(one.ID, 2); return err }), fault.Exists, service.ReasonNameTaken)

	three, four := b.athlete(), b.athlete()
	three.Profile.CallerID, four.Profile.CallerID = "", ""
	require.NoError(t, create(&three))
	require.NoError(t, create(&four), "none is not a name")
	four.Profile.CallerID = "client-7"
	refused(t, b.s.Update(ctx, ours, func(tx service.Tx) error { return only(tx.Athletes().Update(four)) }), fault.Exists, service.ReasonNameTaken)
	b.update(func(tx service.Tx) error {
		// A refusal inside a transaction leaves the transaction usable.
		refused(t, only(tx.Athletes().Create(four)), fault.Exists, service.ReasonIDTaken)
		x := four
		x.Profile.CallerID = "client-8"
		return only(tx.Athletes().Update(x))
	})
	b.view(func(tx service.Tx) error {
		got, err := tx.Athletes().List(service.Query{Label: "client-8", Size: 9})
		require.Len(t, got.Items, 1)
		require.Equal(t, four.ID, got.Items[0].ID)
		return err
	})
}

func testChildren(t *testing.T, b *fixture) {
	ctx := context.Background()
	a, other := b.newAthlete(), b.newAthlete()
	create := func(owner service.ID) error {
		return b.s.Update(ctx, ours, func(tx service.Tx) error { return only(tx.Performances().Create(b.performance(owner))) })
	}
	refused(t, create(b.id()), fault.NotFound, service.ReasonUnknownAthlete)
	refused(t, create(service.ID{}), fault.NotFound, service.ReasonUnknownAthlete)
	require.NoError(t, create(a.ID))
	p, given := service.Program{}, b.program(a.ID)
	given.Latest = 7
	b.update(func(tx service.Tx) (err error) { p, err = tx.Programs().Create(given); return err })
	require.Zero(t, p.Latest, "the store counts revisions")
	for _, change := range []func(*service.Program){
		func(p *service.Program) { p.Athlete = other.ID },
		func(p *service.Program) { p.Latest = 3 },
	} {
		x := p
		change(&x)
		refused(t, b.s.Update(ctx, ours, func(tx service.Tx) error { return only(tx.Programs().Update(x)) }), fault.Invalid, service.ReasonFixed)
	}
	b.update(func(tx service.Tx) error { _, err := tx.Athletes().Delete(a.ID, 1); return err })
	refused(t, create(a.ID), fault.NotFound, service.ReasonUnknownAthlete)
}

func testTexts(t *testing.T, b *fixture) {
	ctx := context.Background()
	for _, s := range texts {
		v, given := service.SavedPlan{}, b.plan()
		given.Name = s
		b.update(func(tx service.Tx) (err error) { v, err = tx.Plans().Create(given); return err })
		b.view(func(tx service.Tx) error {
			got, err := tx.Plans().Get(v.ID)
			require.Equal(t, v, got)
			return err
		})
	}
	for _, s := range []string{"nul\x00", "\xff", string(make([]byte, 300))} {
		v := b.plan()
		v.Name = s
		refused(t, b.s.Update(ctx, ours, func(tx service.Tx) error { return only(tx.Plans().Create(v)) }), fault.Invalid, service.ReasonText)
		refused(t, b.s.View(ctx, ours, func(tx service.Tx) error {
			_, err := tx.Plans().List(service.Query{Label: s, Size: 1})
			return err
		}), fault.Invalid, service.ReasonText)
	}
	for _, s := range []service.Tenant{"", "A", "a_b", "-a", "a'b", "x123456789012345678901234567890123456789012345678901234567890123"} {
		refused(t, b.s.View(ctx, s, func(service.Tx) error { return nil }), fault.Invalid, service.ReasonTenant)
		refused(t, b.s.Update(ctx, s, func(service.Tx) error { return nil }), fault.Invalid, service.ReasonTenant)
		refused(t, b.s.Admit(ctx, s), fault.Invalid, service.ReasonTenant)
	}
}

func testPages(t *testing.T, b *fixture) {
	a := b.newAthlete()
	const n = 57
	var want []service.Measurement
	b.update(func(tx service.Tx) error {
		want = want[:0]
		for range n {
			m, err := tx.Measurements().Create(b.measurement(a.ID))
			if err != nil {
				return err
			}
			want = append(want, m)
		}
		return nil
	})
	for _, newest := range []bool{false, true} {
		for _, size := range []int{1, 2, 7, 56, 57, 58, service.MaxPage} {
			b.view(func(tx service.Tx) error {
				got, err := walk(tx.Measurements(), service.Query{Size: size, Newest: newest, Athlete: a.ID})
				require.ElementsMatch(t, want, got)
				for i := 1; i < len(got); i++ {
					x, y := got[i-1], got[i]
					if newest {
						x, y = y, x
					}
					require.True(t, x.Date < y.Date || x.Date == y.Date && x.ID.String() < y.ID.String(), "order")
				}
				return err
			})
		}
	}
	b.view(func(tx service.Tx) error {
		from, to := plan.Date(20503), plan.Date(20506)
		got, err := walk(tx.Measurements(), service.Query{Size: 5, From: plan.Some(from), To: plan.Some(to)})
		var in []service.Measurement
		for _, m := range want {
			if m.Date >= from && m.Date <= to {
				in = append(in, m)
			}
		}
		require.ElementsMatch(t, in, got)
		for _, q := range []service.Query{{}, {Size: -1}, {Size: service.MaxPage + 1}, {Size: 1, Program: b.id()}} {
			_, err := tx.Measurements().List(q)
			refused(t, err, fault.Invalid, service.ReasonQuery)
		}
		for _, q := range []service.Query{{Size: 1, Athlete: a.ID}, {Size: 1, From: plan.Some(from)}, {Size: 1, After: service.Cursor{Day: 1}}} {
			_, err := tx.Keys().List(q)
			refused(t, err, fault.Invalid, service.ReasonQuery)
		}
		return err
	})
}

// Rows that nobody touches appear exactly once in a walk, whatever is written meanwhile.
func testPagesWhileWriting(t *testing.T, b *fixture) {
	a := b.newAthlete()
	still := map[service.ID]int{}
	var moving []service.ID
	b.update(func(tx service.Tx) error {
		clear(still)
		moving = moving[:0]
		for i := range 60 {
			m, err := tx.Measurements().Create(b.measurement(a.ID))
			if err != nil {
				return err
			}
			if i%3 == 0 {
				moving = append(moving, m.ID)
			} else {
				still[m.ID] = 0
			}
		}
		return nil
	})
	q := service.Query{Size: 4}
	for i := 0; ; i++ {
		var page service.Page[service.Measurement]
		b.view(func(tx service.Tx) (err error) { page, err = tx.Measurements().List(q); return err })
		for _, m := range page.Items {
			if _, ok := still[m.ID]; ok {
				still[m.ID]++
			}
		}
		if page.Next == (service.Cursor{}) {
			break
		}
		q.After = page.Next
		b.update(func(tx service.Tx) error {
			if err := only(tx.Measurements().Create(b.measurement(a.ID))); err != nil || i >= len(moving) {
				return err
			}
			_, err := tx.Measurements().Delete(moving[i], 1)
			return err
		})
	}
	for id, n := range still {
		require.Equal(t, 1, n, id.String())
	}
}

func testRevisions(t *testing.T, b *fixture) {
	ctx := context.Background()
	a := b.newAthlete()
	var p service.Program
	program, list := b.program(a.ID), []service.Revision{b.revision(12), b.revision(2), b.revision(2), b.revision(2)}
	var made []service.Revision
	b.update(func(tx service.Tx) (err error) {
		if p, err = tx.Programs().Create(program); err != nil {
			return err
		}
		_, none := tx.Revision(p.ID, 0)
		refused(t, none, fault.NotFound, service.ReasonUnknown)
		p, list[0].Facts, err = tx.Revise(p, list[0])
		return err
	})
	for i := range list[1:] {
		b.clock.Move(time.Minute)
		before := p
		b.update(func(tx service.Tx) (err error) {
			p, list[i+1].Facts, err = tx.Revise(before, list[i+1])
			return err
		})
	}
	made = list
	require.Equal(t, int32(4), p.Latest)
	require.Equal(t, int64(5), p.Version)
	stale := p
	stale.Version--
	refused(t, b.s.Update(ctx, ours, func(tx service.Tx) error { return reviseOnly(tx, stale, b.revision(1)) }), fault.Stale, service.ReasonStale)
	b.view(func(tx service.Tx) error {
		got, err := tx.Programs().Get(p.ID)
		require.Equal(t, p, got)
		for i, want := range made {
			r, err := tx.Revision(p.ID, int32(i+1))
			require.NoError(t, err)
			require.Equal(t, want, r)
			require.Equal(t, r.Made.Digest, r.Digest)
			intact, err := r.Made.Intact()
			require.NoError(t, err)
			require.True(t, intact, "the digest still fits")
		}
		newest, err2 := tx.Revision(p.ID, 0)
		require.Equal(t, made[3], newest)
		facts, err3 := tx.Revisions(p.ID, 1, 2)
		require.Equal(t, []service.Facts{made[1].Facts, made[2].Facts}, facts)
		_, none := tx.Revision(p.ID, 5)
		refused(t, none, fault.NotFound, service.ReasonUnknown)
		return errors.Join(err, err2, err3)
	})
	b.update(func(tx service.Tx) error { _, err := tx.Programs().Delete(p.ID, 5); return err })
	refused(t, b.s.Update(ctx, ours, func(tx service.Tx) error {
		x, err := tx.Programs().Get(p.ID)
		require.NoError(t, err)
		return reviseOnly(tx, x, b.revision(1))
	}), fault.NotFound, service.ReasonDeleted)
}

func testTransactions(t *testing.T, b *fixture) {
	ctx := context.Background()
	a := b.athlete()
	boom := errors.New("boom")
	body := func(tx service.Tx) error {
		require.NoError(t, only(tx.Athletes().Create(a)))
		p, err := tx.Programs().Create(b.program(a.ID))
		require.NoError(t, err)
		require.NoError(t, reviseOnly(tx, p, b.revision(1)))
		ans := b.answer(a.ID)
		ans.RequestID = "once"
		require.NoError(t, tx.Remember(ans))
		_, err = tx.Athletes().Get(a.ID)
		require.NoError(t, err, "a transaction sees its own writes")
		return only(tx.Record(b.event(a.ID)))
	}
	require.ErrorIs(t, b.s.Update(ctx, ours, func(tx service.Tx) error { require.NoError(t, body(tx)); return boom }), boom)
	require.PanicsWithValue(t, boom, func() {
		_ = b.s.Update(ctx, ours, func(tx service.Tx) error { require.NoError(t, body(tx)); panic(boom) })
	})
	gone, cancel := context.WithCancel(ctx)
	refused(t, b.s.Update(gone, ours, func(tx service.Tx) error { require.NoError(t, body(tx)); cancel(); return nil }), fault.Canceled, "CANCELED")
	b.view(func(tx service.Tx) error {
		all, err := everything(tx)
		for _, list := range all.([]any) {
			require.Empty(t, list, "nothing is left")
		}
		_, ok, err2 := tx.Recall("once")
		require.False(t, ok)
		return errors.Join(err, err2)
	})
	b.update(body)
}

func testViews(t *testing.T, b *fixture) {
	a := b.newAthlete()
	b.view(func(tx service.Tx) error {
		x, p, r, e, ans := b.athlete(), b.program(a.ID), b.revision(1), b.event(a.ID), b.answer(a.ID)
		_, del := tx.Athletes().Delete(a.ID, 1)
		_, undel := tx.Athletes().Undelete(a.ID, 1)
		_, erase := tx.Erase(a.ID, "")
		_, replay := tx.Replay(nil)
		_, purge := tx.Purge(1, 1)
		_, expire := tx.Expire(1, 1)
		_, clear := tx.ClearJobs(1)
		for i, err := range []error{
			only(tx.Athletes().Create(x)), only(tx.Athletes().Update(a)), del, undel, reviseOnly(tx, p, r),
			only(tx.Record(e)), tx.Remember(ans), erase, replay, purge, expire, clear,
		} {
			require.Error(t, err, i)
			refused(t, err, fault.Internal, service.ReasonReadOnly)
		}
		return nil
	})
	// A view is one moment: what is written while it runs stays unseen. The plain store
	// makes the writer wait instead.
	started, done := make(chan struct{}), make(chan error, 1)
	var once sync.Once
	go func() {
		<-started
		done <- b.s.Update(context.Background(), ours, func(tx service.Tx) error {
			x := b.athlete()
			x.Profile.CallerID = ""
			return only(tx.Athletes().Create(x))
		})
	}()
	b.view(func(tx service.Tx) error {
		before, err := walk(tx.Athletes(), service.Query{Size: 9})
		once.Do(func() { close(started) })
		select {
		case err := <-done:
			done <- err
		case <-time.After(50 * time.Millisecond):
		}
		after, err2 := walk(tx.Athletes(), service.Query{Size: 9})
		require.Equal(t, before, after)
		return errors.Join(err, err2)
	})
	require.NoError(t, <-done)
}

func testTenants(t *testing.T, b *fixture) {
	ctx := context.Background()
	a := b.athlete()
	a.Profile.CallerID = "client-1"
	p, r, e, ans := b.program(a.ID), b.revision(1), b.event(a.ID), b.answer(a.ID)
	fill := func(tx service.Tx) error {
		_, err := tx.Athletes().Create(a)
		y, err2 := tx.Programs().Create(p)
		return errors.Join(err, err2, reviseOnly(tx, y, r), only(tx.Record(e)), tx.Remember(ans))
	}
	b.update(fill)
	theirs := service.Tenant("theirs")
	require.NoError(t, b.s.Update(ctx, theirs, func(tx service.Tx) error {
		all, err := everything(tx)
		for _, list := range all.([]any) {
			require.Empty(t, list, "nothing of ours")
		}
		_, get := tx.Athletes().Get(a.ID)
		_, del := tx.Athletes().Delete(a.ID, 1)
		_, rev := tx.Revision(p.ID, 1)
		_, erase := tx.Erase(a.ID, "")
		x := a
		x.Version = 1
		for _, err := range []error{get, del, rev, erase, only(tx.Athletes().Update(x)), tx.Export(a.ID, func(any) error { return nil })} {
			refused(t, err, fault.NotFound, service.ReasonUnknown)
		}
		refused(t, only(tx.Performances().Create(b.performance(a.ID))), fault.NotFound, service.ReasonUnknownAthlete)
		_, ok, err2 := tx.Recall(ans.RequestID)
		require.False(t, ok)
		return errors.Join(err, err2)
	}))
	require.NoError(t, b.s.Update(ctx, theirs, fill), "the same ids and names are free for another tenant")
	require.NoError(t, b.s.Update(ctx, theirs, func(tx service.Tx) error {
		x, err := tx.Athletes().Get(a.ID)
		require.NoError(t, err)
		x, err = tx.Athletes().Update(x)
		require.NoError(t, err)
		x, err = tx.Athletes().Delete(x.ID, x.Version)
		require.NoError(t, err)
		_, err = tx.Athletes().Undelete(x.ID, x.Version)
		return err
	}), "whatever our names are")
	require.NoError(t, b.s.Update(ctx, theirs, func(tx service.Tx) error { _, err := tx.Erase(a.ID, ""); return err }))
	b.view(func(tx service.Tx) error { _, err := tx.Revision(p.ID, 1); return err })

	for _, name := range []service.Tenant{"b", "a-1", "a", "b"} {
		require.NoError(t, b.s.Admit(ctx, name))
	}
	got, err := b.s.Tenants(ctx, "", 9)
	require.NoError(t, err)
	require.Equal(t, []service.Tenant{"a", "a-1", "b"}, got)
	got, err = b.s.Tenants(ctx, "a", 1)
	require.NoError(t, err)
	require.Equal(t, []service.Tenant{"a-1"}, got)
}

func testEnds(t *testing.T, b *fixture) {
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	nop := func(service.Tx) error { return nil }
	refused(t, b.s.View(gone, ours, nop), fault.Canceled, "CANCELED")
	refused(t, b.s.Update(gone, ours, nop), fault.Canceled, "CANCELED")
	require.NoError(t, b.s.Ready(context.Background()))
	require.NoError(t, b.s.Scrub(context.Background()))
	require.NoError(t, b.s.Close())
	ctx := context.Background()
	refused(t, b.s.View(ctx, ours, nop), fault.Unavailable, service.ReasonClosed)
	refused(t, b.s.Update(ctx, ours, nop), fault.Unavailable, service.ReasonClosed)
	refused(t, b.s.Ready(ctx), fault.Unavailable, service.ReasonClosed)
	refused(t, b.s.Admit(ctx, ours), fault.Unavailable, service.ReasonClosed)
	_, err := b.s.Tenants(ctx, "", 1)
	refused(t, err, fault.Unavailable, service.ReasonClosed)
	require.NoError(t, b.s.Close(), "closing twice is fine")
}

// only gives the error of a call whose value is not of interest.
func only(_ any, err error) error { return err }

func reviseOnly(tx service.Tx, p service.Program, r service.Revision) error {
	_, _, err := tx.Revise(p, r)
	return err
}

// together runs fn from so many goroutines and gives their errors.
func together(n int, fn func(i int) error) error {
	errs := make([]error, n)
	var wg sync.WaitGroup
	for i := range n {
		wg.Go(func() {
			if err := fn(i); err != nil {
				errs[i] = fmt.Errorf("%d: %w", i, err)
			}
		})
	}
	wg.Wait()
	return errors.Join(errs...)
}
