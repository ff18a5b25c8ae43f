package service_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/exercise"
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

// answers takes away all that is due, and says how many and in how many steps.
func (w *bulkWorld) answers(ctx context.Context) (n, steps int) {
	w.t.Helper()
	for more := true; more; steps++ {
		var some int
		var err error
		some, more, err = w.ExpireAnswers(ctx)
		require.NoError(w.t, err)
		n += some
	}
	return n, steps
}

// purged takes away all that was deleted too long ago.
func (w *bulkWorld) purged(ctx context.Context, keep time.Duration) (n int) {
	w.t.Helper()
	for more := true; more; {
		var some int
		var err error
		some, more, err = w.PurgeDeleted(ctx, keep)
		require.NoError(w.t, err)
		n += some
	}
	return n
}

func (w *bulkWorld) athlete(ctx context.Context) service.Athlete {
	w.t.Helper()
	a, err := w.Athletes().Create(ctx, w.once(), service.Athlete{Profile: plan.Athlete{Age: plan.AgeAdult}})
	require.NoError(w.t, err)
	return a
}

func TestOldAnswersGo(t *testing.T) {
	w := newBulkWorld(t)
	ctx, other := as("a"), as("b")
	create := func(ctx context.Context) service.Athlete {
		a, err := w.Athletes().Create(ctx, write("first", "b"), service.Athlete{})
		require.NoError(t, err)
		return a
	}
	first, theirs := create(ctx), create(other)
	w.now = w.now.Add(3 * day)
	n, _ := w.answers(ctx)
	require.Zero(t, n)
	require.Equal(t, first, create(ctx), "after three days to the millisecond")
	const many = 450
	for range many {
		w.athlete(ctx)
	}
	w.now = w.now.Add(time.Hour)
	n, _ = w.answers(ctx)
	require.Zero(t, n, "an hour more")
	w.now = w.now.Add(time.Millisecond)
	n, _ = w.answers(ctx)
	require.Equal(t, 1, n)
	require.NotEqual(t, first.ID, create(ctx).ID, "as if it had never been asked")
	require.Equal(t, theirs, create(other))
	w.now = w.now.Add(3 * day)
	n, steps := w.answers(ctx)
	require.Equal(t, many, n)
	require.Equal(t, 3, steps)
	require.Empty(t, w.purges("a"), "nothing is gone but answers")
}

// Whenever the server sweeps: whoever asks again within three days is given the first answer, and
// what is much older is gone after a sweep.
func TestAnswersAreKeptAsPromised(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		w := newBulkWorld(t)
		ctx := as("a")
		type told struct {
			at time.Time
			id service.ID
		}
		first, retried := map[string]told{}, 0
		r.Repeat(map[string]func(*rapid.T){
			"ask": func(r *rapid.T) {
				id := fmt.Sprint("r", rapid.IntRange(0, 5).Draw(r, "id"))
				a, err := w.Athletes().Create(ctx, write(id, "b"), service.Athlete{})
				require.NoError(r, err)
				was, again := first[id]
				switch {
				case again && w.now.Sub(was.at) <= 3*day:
					require.Equal(r, was.id, a.ID)
					retried++
				case !again || was.id != a.ID:
					first[id] = told{w.now, a.ID}
				}
			},
			"wait": func(r *rapid.T) {
				w.now = w.now.Add(time.Duration(rapid.SampledFrom([]int64{1, 1000, 3600_000, 3 * 86400_000}).Draw(r, "ms")) * time.Millisecond)
			},
			"sweep": func(r *rapid.T) {
				for more := true; more; {
					var err error
					_, more, err = w.ExpireAnswers(ctx)
					require.NoError(r, err)
				}
				require.NoError(r, w.store.View(ctx, "a", func(tx service.Tx) error {
					for id, was := range first {
						_, there, err := tx.Recall(id)
						require.NoError(r, err)
						require.Equal(r, w.now.Sub(was.at) <= 3*day+time.Hour, there)
					}
					return nil
				}))
				maps.DeleteFunc(first, func(_ string, was told) bool { return w.now.Sub(was.at) > 3*day+time.Hour })
			},
		})
	})
}

// All that can be deleted goes when its time is over, is on record by its name, and leaves what
// was not deleted.
func TestDeletedThingsGo(t *testing.T) {
	const keep = 30 * day
	w := newBulkWorld(t)
	ctx := as("a")
	gone, stays := w.athlete(ctx), w.athlete(ctx)
	want := []string{"athletes/" + gone.ID.String()}
	of := func(collection string, id service.ID) string {
		return "athletes/" + stays.ID.String() + "/" + collection + "/" + id.String()
	}
	var err error
	fails := func(e error) { t.Helper(); err = errors.Join(err, e); require.NoError(t, err) }

	p := service.Performance{Athlete: stays.ID, Shown: plan.Performance{ExerciseID: "back-squat", Reps: 5, Load: plan.Some(plan.Kg(100_000)), Date: plan.Some(plan.Date(20_000))}}
	performance, e := w.Performances().Create(ctx, w.once(), p)
	fails(e)
	live, e := w.Performances().Create(ctx, w.once(), p)
	fails(e)
	m := measured(1)
	m.Athlete = stays.ID
	measurement, e := w.Measurements().Create(ctx, w.once(), m)
	fails(e)
	back, e := w.Measurements().Create(ctx, w.once(), m)
	fails(e)
	program, made, e := w.CreateProgram(ctx, w.once(), service.NewProgram{Athlete: stays.ID})
	fails(e)
	log, e := w.SessionLogs().Create(ctx, w.once(), service.SessionLog{Athlete: stays.ID, Date: 20_000})
	fails(e)
	logged, e := w.SessionLogs().Create(ctx, w.once(), service.SessionLog{Athlete: stays.ID, Date: 20_000, Program: program.ID, Revision: made.Number})
	fails(e)
	own := *exercise.Builtin().All()[0]
	own.ID, own.Name = "my-own", "My own"
	x, e := w.Exercises().Create(ctx, w.once(), service.OwnExercise{Exercise: own})
	fails(e)
	saved, e := w.Plans().Create(ctx, w.once(), service.SavedPlan{Name: "a plan"})
	fails(e)
	for _, e := range []error{
		second(w.Athletes().Delete(ctx, w.once(), service.ID{}, gone.ID)), second(w.Performances().Delete(ctx, w.once(), stays.ID, performance.ID)),
		second(w.Measurements().Delete(ctx, w.once(), stays.ID, measurement.ID)), second(w.Measurements().Delete(ctx, w.once(), stays.ID, back.ID)),
		second(w.Programs().Delete(ctx, w.once(), stays.ID, program.ID)), second(w.SessionLogs().Delete(ctx, w.once(), stays.ID, log.ID)),
		second(w.Exercises().Delete(ctx, w.once(), service.ID{}, x.ID)), second(w.Plans().Delete(ctx, w.once(), service.ID{}, saved.ID)),
	} {
		fails(e)
	}
	want = append(want, of("performances", performance.ID), of("measurements", measurement.ID), of("programs", program.ID), of("sessionLogs", log.ID),
		"ownExercises/"+x.ID.String(), "plans/"+saved.ID.String())

	w.now = w.now.Add(keep)
	_, e = w.Measurements().Undelete(ctx, w.once(), stays.ID, back.ID)
	fails(e)
	w.answers(ctx) // what is kept about an athlete goes first
	require.Zero(t, w.purged(ctx, keep), "not before its time is over")
	w.now = w.now.Add(time.Millisecond)
	require.Zero(t, w.purged(as("b"), keep))
	require.Equal(t, len(want), w.purged(ctx, keep))
	require.Zero(t, w.purged(ctx, keep), "once")

	var said []string
	for _, e := range w.purges("a") {
		require.Equal(t, service.Event{ID: e.ID, At: service.At(w.now), Method: "server purge", Resource: e.Resource, Athlete: e.Athlete, Outcome: "OK"}, e)
		said = append(said, e.Resource)
	}
	require.ElementsMatch(t, want, said)
	unknown := func(err error) { t.Helper(); kindOf(t, err, fault.NotFound, service.ReasonUnknown) }
	unknown(second(w.Athletes().Undelete(ctx, w.once(), service.ID{}, gone.ID)))
	unknown(second(w.Performances().Get(ctx, stays.ID, performance.ID)))
	unknown(second(w.Programs().Undelete(ctx, w.once(), stays.ID, program.ID)))
	unknown(second(w.Revision(ctx, stays.ID, program.ID, 1)))
	for _, e := range []error{
		second(w.Athletes().Get(ctx, service.ID{}, stays.ID)), second(w.Performances().Get(ctx, stays.ID, live.ID)), second(w.Measurements().Get(ctx, stays.ID, back.ID)),
	} {
		fails(e)
	}

	// What was logged of a program that is gone can still be corrected, and not given another's.
	_, e = w.SessionLogs().Update(ctx, w.once(), stays.ID, logged.ID, func(l service.SessionLog) (service.SessionLog, error) { l.Note = "n"; return l, nil })
	fails(e)
	_, e = w.SessionLogs().Update(ctx, w.once(), stays.ID, logged.ID, func(l service.SessionLog) (service.SessionLog, error) { l.Revision++; return l, nil })
	kindOf(t, e, fault.Invalid, service.ReasonUnknownRevision)

	// An erasure takes what is on record of the athlete's things, too.
	_, e = w.Erase(ctx, w.once(), stays.ID, "asked for")
	fails(e)
	said = nil
	for _, e := range w.purges("a") {
		if e.Resource != "" {
			said = append(said, e.Resource)
		}
	}
	slices.Sort(said)
	require.Equal(t, []string{"athletes/" + gone.ID.String(), "ownExercises/" + x.ID.String(), "plans/" + saved.ID.String()}, said)
}

func second[T any](_ T, err error) error { return err }

// Wherever a purge is interrupted, the next goes on: each thing goes once, with its event.
func TestInterruptedPurgeOfDeletedGoesOn(t *testing.T) {
	w := newBulkWorld(t)
	ctx := as("a")
	a := w.athlete(ctx)
	const things = 130
	for i := range things {
		m := measured(i)
		m.Athlete = a.ID
		m, err := w.Measurements().Create(ctx, w.once(), m)
		require.NoError(t, err)
		require.NoError(t, second(w.Measurements().Delete(ctx, w.once(), a.ID, m.ID)))
	}
	w.now = w.now.Add(10 * day)
	s := service.New(counting{made: &w.made}, service.WithStorage(service.Storage{Store: &interrupted{Store: w.store}, Key: [32]byte{7}, Now: func() time.Time { return w.now }}))
	kills := 0
	all := func(step func() (int, bool, error)) (n int) {
		for more := true; more; {
			did, again, err := step()
			if more = again; err != nil {
				require.ErrorIs(t, err, errKilled)
				require.Zero(t, did)
				kills++
				more = true
			}
			n += did
		}
		return n
	}
	answers := all(func() (int, bool, error) { return s.ExpireAnswers(ctx) })
	n := all(func() (int, bool, error) { return s.PurgeDeleted(ctx, 9*day) })
	require.Greater(t, kills, 4)
	require.Equal(t, things, n)
	require.Equal(t, 2*things+1, answers)
	require.Len(t, w.purges("a"), things)
}
