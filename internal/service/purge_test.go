package service_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

const day = 24 * time.Hour

// bulkWorld is a world with the store in hand.
type bulkWorld struct {
	*world
	t     *testing.T
	store service.Store
	calls int
}

func newBulkWorld(t *testing.T) *bulkWorld {
	w := &bulkWorld{world: &world{now: time.UnixMilli(1_767_225_600_000)}, t: t}
	w.store = memoryTwice(w.world)
	w.Service = service.New(counting{made: &w.made}, service.WithStorage(service.Storage{Store: w.store, Key: [32]byte{7}, Now: func() time.Time { return w.now }}))
	return w
}

func (w *bulkWorld) once() service.Write {
	w.calls++
	return write(fmt.Sprint("r", w.calls), "")
}

// job begins one of so many requests; all of them, where last.
func (w *bulkWorld) job(ctx context.Context, n int, last bool) service.ID {
	w.t.Helper()
	j, err := w.BeginJob(ctx, w.once(), service.NewJob{})
	require.NoError(w.t, err)
	items := make([]service.NewItem, n)
	for i := range items {
		items[i].Request = plan.Request{Seed: uint32(i)}
	}
	_, err = w.AddItems(ctx, w.once(), j.ID, 0, items, last)
	require.NoError(w.t, err)
	return j.ID
}

// work makes all there is to make.
func (w *bulkWorld) work(ctx context.Context) {
	w.t.Helper()
	owner, err := service.NewMint(func() time.Time { return w.now }, zeros{}).New()
	require.NoError(w.t, err)
	for some := true; some; {
		some, err = w.Work(ctx, owner, time.Minute, func(error) {})
		require.NoError(w.t, err)
	}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { return len(p), nil }

func (w *bulkWorld) expire(ctx context.Context, keep time.Duration) int {
	w.t.Helper()
	n, err := w.ExpireJobs(ctx, keep)
	require.NoError(w.t, err)
	return n
}

func (w *bulkWorld) clear(ctx context.Context) {
	w.t.Helper()
	for more := true; more; {
		var err error
		more, err = w.ClearJobs(ctx)
		require.NoError(w.t, err)
	}
}

// purges gives the audit events of it.
func (w *bulkWorld) purges(t service.Tenant) (out []service.Event) {
	w.t.Helper()
	require.NoError(w.t, w.store.View(context.Background(), t, func(tx service.Tx) error {
		out = nil
		for q := (service.Query{Size: 1000}); ; {
			page, err := tx.Events(q)
			if err != nil {
				return err
			}
			for _, e := range page.Items {
				if e.Method == service.MethodPurge {
					out = append(out, e)
				}
			}
			if q.After = page.Next; q.After == (service.Cursor{}) {
				return nil
			}
		}
	}))
	return out
}

// there says what of a job the store has.
func (w *bulkWorld) there(t service.Tenant, id service.ID) (items int, tally service.Tally, job bool) {
	w.t.Helper()
	require.NoError(w.t, w.store.View(context.Background(), t, func(tx service.Tx) error {
		list, err := tx.Items(id, -1, 1000, false)
		if err != nil {
			return err
		}
		items = len(list)
		_, err = tx.Jobs().Get(id)
		job = err == nil
		tally, err = tx.Tally(id)
		return err
	}))
	return items, tally, job
}

func (w *bulkWorld) results(ctx context.Context, id service.ID, token string) (n int, next string, err error) {
	next, err = w.Results(ctx, id, token, func(service.Result) bool { n++; return n < 20 })
	return n, next, err
}

func TestOldJobsGo(t *testing.T) {
	w := newBulkWorld(t)
	ctx, other := as("a"), as("b")
	athlete, err := w.Athletes().Create(ctx, w.once(), service.Athlete{Profile: plan.Athlete{Age: plan.AgeAdult}})
	require.NoError(t, err)
	ofAthlete, err := w.BeginJob(ctx, w.once(), service.NewJob{Athletes: []service.ID{athlete.ID}})
	require.NoError(t, err)
	ended, theirs := w.job(ctx, 30, true), w.job(other, 2, true)
	w.work(ctx)
	w.work(other)
	canceled := w.job(ctx, 30, true)
	began := service.Write{RequestID: "again", Method: "m"}
	deleted, err := w.BeginJob(ctx, began, service.NewJob{})
	require.NoError(t, err)
	open := w.job(ctx, 3, false) // more is to come
	waits := w.job(ctx, 3, true)
	cancel := w.once()
	_, err = w.CancelJob(ctx, cancel, canceled)
	require.NoError(t, err)
	require.NoError(t, w.DeleteJob(ctx, w.once(), deleted.ID))
	for id, done := range map[service.ID]bool{ended: true, ofAthlete.ID: true, canceled: true, open: false, waits: false} {
		j, err := w.Job(ctx, id)
		require.NoError(t, err)
		require.Equal(t, done, j.Done())
	}

	w.now = w.now.Add(2 * day)
	young := w.job(ctx, 1, true) // and those that were open are made
	w.work(ctx)
	w.now = w.now.Add(28*day - time.Millisecond)
	require.Zero(t, w.expire(ctx, 30*day))
	require.Empty(t, w.purges("a"))
	_, token, err := w.results(ctx, ended, "")
	require.NoError(t, err)
	require.NotEmpty(t, token)
	w.now = w.now.Add(time.Millisecond)
	require.Equal(t, 3, w.expire(ctx, 30*day))
	require.Zero(t, w.expire(ctx, 30*day), "once")

	// They are as if they had never been, and nothing of them is taken yet.
	n, _, there := w.there("a", ended)
	require.True(t, there)
	require.Equal(t, 30, n)
	for _, id := range []service.ID{ended, ofAthlete.ID, canceled, {6: 0x70, 8: 0x80}} {
		_, err := w.Job(ctx, id)
		unknown := func(err error) {
			t.Helper()
			kindOf(t, err, fault.NotFound, service.ReasonUnknown)
			require.Equal(t, service.Unknown(service.KindJob).Error(), err.Error())
		}
		unknown(err)
		_, _, err = w.results(ctx, id, "")
		unknown(err)
		_, err = w.CancelJob(ctx, w.once(), id)
		unknown(err)
		_, err = w.AddItems(ctx, w.once(), id, 0, make([]service.NewItem, 1), true)
		unknown(err)
		unknown(w.DeleteJob(ctx, w.once(), id))
	}
	_, _, err = w.results(ctx, ended, token)
	kindOf(t, err, fault.NotFound, service.ReasonUnknown)
	// A kept answer would show a job that is being taken apart.
	_, err = w.CancelJob(ctx, cancel, canceled)
	kindOf(t, err, fault.NotFound, service.ReasonUnknown)
	_, err = w.BeginJob(ctx, began, service.NewJob{})
	kindOf(t, err, fault.NotFound, service.ReasonUnknown)
	list, _, err := w.ListJobs(ctx, 100, "")
	require.NoError(t, err)
	var left []service.ID
	for _, j := range list {
		left = append(left, j.ID)
	}
	require.Equal(t, []service.ID{young, waits, open}, left)

	// It is on record once each, by nobody's key; of a job that a caller deleted there is the
	// caller's own event.
	var said []string
	for _, e := range w.purges("a") {
		require.Equal(t, service.Event{ID: e.ID, At: service.At(w.now), Method: "server purge", Resource: e.Resource, Outcome: "OK"}, e)
		said = append(said, e.Resource)
	}
	require.ElementsMatch(t, []string{"operations/" + ended.String(), "operations/" + ofAthlete.ID.String(), "operations/" + canceled.String()}, said)

	w.clear(ctx)
	for _, id := range []service.ID{ended, ofAthlete.ID, canceled, deleted.ID} {
		n, tally, there := w.there("a", id)
		require.False(t, there)
		require.Zero(t, n)
		require.Zero(t, tally)
	}
	for id, want := range map[service.ID]int{young: 1, waits: 3, open: 3} {
		n, _, err := w.results(ctx, id, "")
		require.NoError(t, err)
		require.Equal(t, want, n)
	}
	n, _, err = w.results(other, theirs, "")
	require.NoError(t, err)
	require.Equal(t, 2, n, "another tenant's stays until its turn")
	require.Empty(t, w.purges("b"))
	programs, _, err := w.Programs().List(ctx, service.Query{Athlete: athlete.ID, Size: 10}, "")
	require.NoError(t, err)
	require.Len(t, programs, 1, "programs of athletes stay")
	require.Equal(t, 1, w.expire(other, 30*day))
	require.Len(t, w.purges("a"), 3)
	require.Len(t, w.purges("b"), 1)

	// What was open is counted from its end, or not at all.
	w.now = w.now.Add(2 * day)
	require.Equal(t, 2, w.expire(ctx, 30*day))
	w.now = w.now.Add(3650 * day)
	require.Zero(t, w.expire(ctx, 30*day))
	_, err = w.Job(ctx, open)
	require.NoError(t, err)
}

// More than are looked at in one view.
func TestManyOldJobsGo(t *testing.T) {
	w := newBulkWorld(t)
	ctx := as("a")
	const many = 250
	for range many {
		w.job(ctx, 0, true)
	}
	last := w.job(ctx, 1, false)
	w.now = w.now.Add(day)
	young := w.job(ctx, 0, true)
	require.Equal(t, many, w.expire(ctx, day))
	require.Len(t, w.purges("a"), many)
	w.clear(ctx)
	list, _, err := w.ListJobs(ctx, 1000, "")
	require.NoError(t, err)
	require.Len(t, list, 2)
	require.Equal(t, []service.ID{young, last}, []service.ID{list[0].ID, list[1].ID})
}

// Whoever reads results while they are removed is told, and not given a list that looks whole.
func TestResultsThatGoWhileTheyAreRead(t *testing.T) {
	for steps := range 3 { // how much is removed meanwhile
		w := newBulkWorld(t)
		ctx := as("a")
		id := w.job(ctx, 500, true)
		w.work(ctx)
		n := 0
		_, err := w.Results(ctx, id, "", func(service.Result) bool {
			if n++; n == 1 {
				w.now = w.now.Add(day)
				require.Equal(t, 1, w.expire(ctx, day))
				for range steps {
					more, err := w.ClearJobs(ctx)
					require.NoError(t, err)
					require.True(t, more)
				}
			}
			return true
		})
		kindOf(t, err, fault.NotFound, service.ReasonUnknown)
		require.Less(t, n, 500)
		left, _, _ := w.there("a", id)
		require.Equal(t, 500-200*steps, left, "in steps")
	}
}

// interrupted fails an update now and then, as a process that is killed would.
type interrupted struct {
	service.Store
	n int
}

var errKilled = errors.New("killed")

func (s *interrupted) Update(ctx context.Context, t service.Tenant, fn func(service.Tx) error) error {
	s.n++
	return s.Store.Update(ctx, t, func(tx service.Tx) error {
		if err := fn(tx); err != nil || s.n%2 == 0 {
			return err
		}
		return errKilled
	})
}

// Wherever it is interrupted, the next goes on: everything goes, and is on record once.
func TestInterruptedPurgeGoesOn(t *testing.T) {
	w := newBulkWorld(t)
	ctx := as("a")
	ids := []service.ID{w.job(ctx, 300, true), w.job(ctx, 300, true)}
	w.work(ctx)
	w.now = w.now.Add(day)
	s := service.New(counting{made: &w.made}, service.WithStorage(service.Storage{Store: &interrupted{Store: w.store}, Key: [32]byte{7}, Now: func() time.Time { return w.now }}))
	kills, n := 0, 0
	for more := true; more; {
		did, err := s.ExpireJobs(ctx, day)
		n += did
		if err == nil {
			more, err = s.ClearJobs(ctx)
		}
		if err != nil {
			require.ErrorIs(t, err, errKilled)
			kills++
			more = true
		}
		for _, id := range ids {
			j, err := w.Job(ctx, id)
			if err == nil { // whoever sees it sees all of it
				require.Equal(t, service.Tally{Items: 300, Dealt: 300, Made: 300}, j.Tally)
				left, _, _ := w.there("a", id)
				require.Equal(t, 300, left)
			}
		}
	}
	require.Greater(t, kills, 4)
	require.Equal(t, 2, n)
	require.Len(t, w.purges("a"), 2)
	for _, id := range ids {
		_, _, there := w.there("a", id)
		require.False(t, there)
	}
}

// meanwhile lets something happen after the first view.
type meanwhile struct {
	service.Store
	once func()
}

func (s *meanwhile) View(ctx context.Context, t service.Tenant, fn func(service.Tx) error) error {
	err := s.Store.View(ctx, t, fn)
	if once := s.once; once != nil {
		s.once = nil
		once()
	}
	return err
}

// Another replica that was quicker is no error, and leaves the only event.
func TestOldJobsThatAnotherForgets(t *testing.T) {
	for _, cleared := range []bool{false, true} {
		w := newBulkWorld(t)
		ctx := as("a")
		for range 3 {
			w.job(ctx, 2, true)
		}
		w.work(ctx)
		w.now = w.now.Add(day)
		s := service.New(counting{made: &w.made}, service.WithStorage(service.Storage{Store: &meanwhile{w.store, func() {
			require.Equal(t, 3, w.expire(ctx, day))
			if cleared {
				w.clear(ctx)
			}
		}}, Key: [32]byte{7}, Now: func() time.Time { return w.now }}))
		n, err := s.ExpireJobs(ctx, day)
		require.NoError(t, err)
		require.Zero(t, n)
		require.Len(t, w.purges("a"), 3)
	}
}
