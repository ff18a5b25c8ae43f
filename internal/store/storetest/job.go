package storetest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

func (m *maker) job() service.Job {
	j := service.Job{Head: m.head(), Name: m.text(), Sealed: m.IntN(2) == 0}
	j.Request.Seed = m.Uint32()
	return j
}

// items makes so many that wait, from a place on; some are an athlete's.
func (m *maker) items(job, athlete service.ID, first int64, n int) []service.Item {
	out := make([]service.Item, n)
	for i := range out {
		out[i] = service.Item{Job: job, Place: first + int64(i)}
		if i%2 == 0 {
			out[i].Athlete = athlete
		} else {
			out[i].Asked = []byte(m.text())
		}
	}
	return out
}

// withJob stores a job with chunks of the sizes given, of items of an athlete's.
func (b *fixture) withJob(athlete service.ID, sizes ...int64) service.Job {
	j := b.job()
	b.update(func(tx service.Tx) error {
		var err error
		if j, err = tx.Jobs().Create(service.Job{Head: service.Head{ID: j.ID}}); err != nil {
			return err
		}
		first := int64(0)
		for _, n := range sizes {
			if err := tx.Enqueue(service.Chunk{Job: j.ID, Number: first + 1, First: first, Size: n}, b.items(j.ID, athlete, first, int(n))); err != nil {
				return err
			}
			first += n
		}
		return nil
	})
	return j
}

func testJobs(t *testing.T, b *fixture) {
	ctx := context.Background()
	working := func() []service.Tenant {
		got, err := b.s.Working(ctx, "", 10)
		require.NoError(t, err)
		return got
	}
	require.Empty(t, working())
	a := b.newAthlete()
	older := b.withJob(a.ID, 2, 3)
	younger := b.withJob(a.ID, 1)
	require.Equal(t, []service.Tenant{ours}, working())
	after, err := b.s.Working(ctx, ours, 10)
	require.NoError(t, err)
	require.Empty(t, after)

	// Chunks come in order, the older job's first, each to one worker while its lease runs.
	me, you := b.id(), b.id()
	claim := func(who service.ID) (c service.Chunk, ok bool) {
		b.update(func(tx service.Tx) (err error) {
			c, ok, err = tx.Claim(who, tx.Now()+1000)
			return err
		})
		return c, ok
	}
	var got []service.Chunk
	for _, who := range []service.ID{me, you, me} {
		c, ok := claim(who)
		require.True(t, ok)
		require.Equal(t, who, c.Owner)
		got = append(got, c)
	}
	require.Equal(t, []int64{1, 3, 1}, []int64{got[0].Number, got[1].Number, got[2].Number})
	require.Equal(t, []service.ID{older.ID, older.ID, younger.ID}, []service.ID{got[0].Job, got[1].Job, got[2].Job})
	_, ok := claim(you)
	require.False(t, ok)
	require.Equal(t, []service.Tenant{ours}, working(), "what is leased may come back")
	b.clock.Move(time.Second)
	c, ok := claim(you)
	require.True(t, ok, "the lease has ended")
	require.Equal(t, you, c.Owner)
	require.Equal(t, got[0].Number, c.Number)

	// What is finished is counted as the worker says, once.
	b.update(func(tx service.Tx) error {
		items, err := tx.Items(older.ID, -1, 10, false)
		require.NoError(t, err)
		require.Len(t, items, 5)
		done := items[1]
		done.State, done.Program, done.Result = service.ItemMade, b.id(), []byte("result")
		require.NoError(t, tx.Finish(done))
		refused(t, tx.Finish(done), fault.Exists, service.ReasonFinished)
		refused(t, tx.Finish(service.Item{Job: older.ID, Place: 99, State: service.ItemMade}), fault.NotFound, service.ReasonUnknown)
		finished, err := tx.Items(older.ID, -1, 10, true)
		require.NoError(t, err)
		require.Equal(t, []service.Item{done}, finished)
		rest, err := tx.Items(older.ID, 2, 1, false)
		require.NoError(t, err)
		require.Equal(t, items[3:4], rest)
		c.Next, c.Made, c.Failed, c.Open = 2, 1, 1, false
		return tx.SetChunk(c)
	})
	b.view(func(tx service.Tx) error {
		tally, err := tx.Tally(older.ID)
		require.NoError(t, err)
		require.Equal(t, service.Tally{Items: 5, Dealt: 2, Made: 1, Failed: 1, Open: 1}, tally)
		now, err := tx.Chunk(older.ID, 1)
		require.NoError(t, err)
		require.Equal(t, c, now)
		_, err = tx.Chunk(older.ID, 2)
		refused(t, err, fault.NotFound, service.ReasonUnknown)
		return nil
	})

	// A job that is halted has nothing to do; without any the tenant is not listed.
	for _, j := range []service.Job{older, younger} {
		b.update(func(tx service.Tx) error { return tx.Halt(j.ID) })
		b.view(func(tx service.Tx) error {
			more, err := tx.Pending(j.ID)
			require.False(t, more)
			return err
		})
	}
	b.clock.Move(time.Minute)
	_, ok = claim(me)
	require.False(t, ok)
	require.Empty(t, working())

	// What a worker says comes too late once its job is gone.
	b.update(func(tx service.Tx) error { return only(tx.Jobs().Delete(older.ID, older.Version)) })
	b.clock.Move(time.Minute)
	b.update(func(tx service.Tx) error {
		gone, err := tx.Purge(b.clock.Now(), 100)
		require.Empty(t, gone, "jobs are cleared")
		return errors.Join(err, only(tx.ClearJobs(100)))
	})
	b.update(func(tx service.Tx) error {
		refused(t, tx.SetChunk(c), fault.NotFound, service.ReasonUnknown)
		items, err := tx.Items(older.ID, -1, 10, false)
		require.Empty(t, items)
		return err
	})

	b.update(func(tx service.Tx) error {
		refused(t, tx.Enqueue(service.Chunk{Job: b.id(), Number: 1}, nil), fault.NotFound, service.ReasonUnknown)
		refused(t, tx.Enqueue(service.Chunk{Job: younger.ID, Number: 1}, nil), fault.Exists, service.ReasonIDTaken)
		refused(t, tx.Enqueue(service.Chunk{Job: younger.ID, Number: 9, Size: 1}, nil), fault.Invalid, service.ReasonItems)
		refused(t, tx.Enqueue(service.Chunk{Job: younger.ID, Number: 9, First: 5, Size: 1}, b.items(younger.ID, a.ID, 4, 1)), fault.Invalid, service.ReasonItems)
		return nil
	})
}

// An erasure takes the athlete's items out of a job, and nothing else of it.
func testJobErasure(t *testing.T, b *fixture) {
	a, other := b.newAthlete(), b.newAthlete()
	mine, theirs := b.withJob(a.ID, 4), b.withJob(other.ID, 4)
	b.update(func(tx service.Tx) error { return only(tx.Erase(a.ID, "")) })
	b.update(func(tx service.Tx) error {
		items, err := tx.Items(mine.ID, -1, 10, false)
		require.NoError(t, err)
		require.Len(t, items, 2)
		require.EqualValues(t, 1, items[0].Place)
		refused(t, tx.Finish(service.Item{Job: mine.ID, Place: 0, State: service.ItemMade}), fault.NotFound, service.ReasonUnknown)
		items, err = tx.Items(theirs.ID, -1, 10, false)
		require.Len(t, items, 4)
		return err
	})
}

// Many workers at once: each chunk is one's, and each item finished once.
func testWorkersTogether(t *testing.T, b *fixture) {
	const workers, chunks, each = 8, 24, 3
	sizes := make([]int64, chunks)
	for i := range sizes {
		sizes[i] = each
	}
	j := b.withJob(b.newAthlete().ID, sizes...)
	ids := make([]service.ID, workers)
	for i := range ids {
		ids[i] = b.id()
	}
	until := b.clock.Now() + 1000
	var all sync.WaitGroup
	errs, did := make([]error, workers), make([]int, workers)
	for w := range workers {
		all.Go(func() {
			for {
				var ok bool
				errs[w] = b.s.Update(context.Background(), ours, func(tx service.Tx) error {
					var c service.Chunk
					var err error
					if c, ok, err = tx.Claim(ids[w], until); err != nil || !ok {
						return err
					}
					for i := range int64(each) {
						if err := tx.Finish(service.Item{Job: j.ID, Place: c.First + i, State: service.ItemMade}); err != nil {
							return fmt.Errorf("chunk %d: %w", c.Number, err)
						}
					}
					c.Next, c.Made, c.Open = c.First+each, each, false
					return tx.SetChunk(c)
				})
				if errs[w] != nil || !ok {
					return
				}
				did[w]++
			}
		})
	}
	all.Wait()
	total := 0
	for w := range workers {
		require.NoError(t, errs[w])
		total += did[w]
	}
	// One that saw nothing free while others held it may have left early, but none is left over.
	b.view(func(tx service.Tx) error {
		tally, err := tx.Tally(j.ID)
		require.EqualValues(t, total*each, tally.Made)
		require.Equal(t, service.Tally{Items: chunks * each, Dealt: chunks * each, Made: chunks * each}, tally)
		return err
	})
}

// What is left of deleted jobs goes in steps of a size, each of them whole or not at all, and
// nothing else goes with it.
func testClearJobs(t *testing.T, b *fixture) {
	ctx := context.Background()
	const theirs = service.Tenant("theirs")
	a := b.newAthlete()
	program := b.program(a.ID)
	b.update(func(tx service.Tx) error { return only(tx.Programs().Create(program)) })
	first, stays, second := b.withJob(a.ID, 3, 4), b.withJob(a.ID, 5), b.withJob(a.ID)
	other := service.Job{Head: b.head()}
	require.NoError(t, b.s.Update(ctx, theirs, func(tx service.Tx) error {
		j, err := tx.Jobs().Create(other)
		if err != nil {
			return err
		}
		return errors.Join(tx.Enqueue(service.Chunk{Job: j.ID, Size: 2}, b.items(j.ID, b.id(), 0, 2)), only(tx.Jobs().Delete(j.ID, j.Version)))
	}))
	clear := func(size int) (n int) {
		t.Helper()
		b.update(func(tx service.Tx) (err error) { n, err = tx.ClearJobs(size); return err })
		return n
	}
	left := func(j service.ID) (items []service.Item, tally service.Tally) {
		b.view(func(tx service.Tx) (err error) {
			if items, err = tx.Items(j, -1, 100, false); err == nil {
				tally, err = tx.Tally(j)
			}
			return err
		})
		return items, tally
	}
	require.Zero(t, clear(100), "none is deleted")
	b.update(func(tx service.Tx) error {
		refused(t, only(tx.ClearJobs(0)), fault.Invalid, service.ReasonQuery)
		return errors.Join(only(tx.Jobs().Delete(first.ID, first.Version)), only(tx.Jobs().Delete(second.ID, second.Version)))
	})

	require.Equal(t, 2, clear(2))
	items, tally := left(first.ID)
	require.Len(t, items, 5)
	require.EqualValues(t, 2, items[0].Place, "the first go first")
	require.EqualValues(t, 7, tally.Items)
	stop := errors.New("stop")
	require.ErrorIs(t, b.s.Update(ctx, ours, func(tx service.Tx) error {
		n, err := tx.ClearJobs(100)
		require.Equal(t, 9, n)
		return errors.Join(err, stop)
	}), stop)
	again, _ := left(first.ID)
	require.Equal(t, items, again)
	b.view(func(tx service.Tx) error {
		j, err := tx.Jobs().Get(first.ID)
		require.NotZero(t, j.Deleted, "until all of it is gone it stays a deleted one")
		return err
	})
	// 5 items, 2 chunks and the job are left of one, and the job of the other.
	require.Equal(t, 6, clear(6))
	items, tally = left(first.ID)
	require.Empty(t, items)
	require.EqualValues(t, 4, tally.Items)
	require.Equal(t, 2, clear(2))
	require.Equal(t, 1, clear(2))
	require.Zero(t, clear(2))
	b.update(func(tx service.Tx) error {
		for _, j := range []service.Job{first, second} {
			refused(t, only(tx.Jobs().Get(j.ID)), fault.NotFound, service.ReasonUnknown)
		}
		return errors.Join(only(tx.Jobs().Get(stays.ID)), only(tx.Programs().Get(program.ID)))
	})
	items, tally = left(stays.ID)
	require.Len(t, items, 5)
	require.EqualValues(t, 5, tally.Items)
	require.NoError(t, b.s.Update(ctx, theirs, func(tx service.Tx) error {
		n, err := tx.ClearJobs(100)
		require.Equal(t, 4, n, "another tenant's was left alone")
		return err
	}))
}

// Many clear at once: none fails, and each row goes once.
func testClearTogether(t *testing.T, b *fixture) {
	const jobs, chunks, each = 4, 10, 5
	a := b.newAthlete()
	sizes := slices.Repeat([]int64{each}, chunks)
	for range jobs {
		j := b.withJob(a.ID, sizes...)
		b.update(func(tx service.Tx) error { return only(tx.Jobs().Delete(j.ID, j.Version)) })
	}
	var sum atomic.Int64
	clear := func(int) error {
		for {
			var n int
			err := b.s.Update(context.Background(), ours, func(tx service.Tx) (err error) { n, err = tx.ClearJobs(7); return err })
			if sum.Add(int64(n)); err != nil || n < 7 {
				return err
			}
		}
	}
	require.NoError(t, together(6, clear))
	// Each may have left because others were at what was left, and then these may have too.
	require.NoError(t, clear(0))
	require.EqualValues(t, jobs*(chunks*each+chunks+1), sum.Load())
	b.view(func(tx service.Tx) error {
		page, err := tx.Jobs().List(service.Query{Size: 10, Deleted: true})
		require.Empty(t, page.Items)
		return err
	})
}

// jobOp draws a call about jobs.
func (w *world) jobOp(a service.ID) op {
	id, number := w.pick(service.KindJob), int64(w.IntN(6))
	switch w.IntN(10) {
	case 0, 1:
		size := w.IntN(4)
		c := service.Chunk{Job: id, Number: number, First: number * 4, Size: int64(size)}
		items := w.items(id, a, c.First, size)
		if w.IntN(10) == 0 {
			c.Size++
		}
		return op{"enqueue", func(tx service.Tx) (any, error) { return nil, tx.Enqueue(c, items) }}
	case 2:
		owner, until := w.id(), service.At(begin)+service.Instant(w.IntN(96))*3600_000
		return op{"claim", func(tx service.Tx) (any, error) {
			c, ok, err := tx.Claim(owner, until)
			return []any{c, ok}, err
		}}
	case 3:
		return op{"set chunk", func(tx service.Tx) (any, error) {
			c, err := tx.Chunk(id, number)
			c.Job, c.Number, c.Next, c.Open, c.Lease = id, number, c.Next+1, c.Made < 2, 0
			c.Made++
			if err != nil {
				return nil, tx.SetChunk(c)
			}
			return c, tx.SetChunk(c)
		}}
	case 4:
		return op{"finish", func(tx service.Tx) (any, error) {
			return nil, tx.Finish(service.Item{Job: id, Place: number*4 + 1, State: service.ItemFailed, Program: a, Result: []byte("x")})
		}}
	case 5:
		finished, size := w.IntN(2) == 0, w.IntN(6)
		return op{"items", func(tx service.Tx) (any, error) { return tx.Items(id, number-1, size, finished) }}
	case 6:
		return op{"tally", func(tx service.Tx) (any, error) {
			t, err := tx.Tally(id)
			if err != nil {
				return nil, err
			}
			more, err := tx.Pending(id)
			return []any{t, more}, err
		}}
	case 7:
		if w.IntN(4) == 0 {
			return op{"halt", func(tx service.Tx) (any, error) { return nil, tx.Halt(id) }}
		}
	case 8:
		size := w.IntN(6)
		return op{"clear jobs", func(tx service.Tx) (any, error) { return tx.ClearJobs(size) }}
	}
	return shelfOp(w, service.Tx.Jobs, w.job, func(d, s *service.Job) { d.Name, d.Sealed = s.Name, s.Sealed })
}
