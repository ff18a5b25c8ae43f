package job_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/job"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
)

// scripted is an engine that does as it is told for a seed.
type scripted struct {
	service.Engine
	generate func(ctx context.Context, seed uint32) error
}

func (e scripted) Generate(ctx context.Context, r plan.Request) (p plan.Program, err error) {
	err = e.generate(ctx, r.Seed)
	p.Seed = r.Seed
	return p, err
}

// bench is a service on a store of its own with a clock that is moved by hand.
type bench struct {
	t     *testing.T
	s     *service.Service
	store service.Store
	mint  *service.Mint
	ctx   context.Context
	ahead atomic.Int64 // milliseconds
}

func newBench(t *testing.T, generate func(b *bench) func(context.Context, uint32) error) *bench {
	b := &bench{t: t, mint: service.NewMint(time.Now, rand.Reader), ctx: service.WithCaller(context.Background(), service.Open("t"))}
	b.store = memory.New(func() service.Instant { return service.At(time.Now()) + service.Instant(b.ahead.Load()) })
	b.s = service.New(scripted{generate: generate(b)}, service.WithStorage(service.Storage{Store: b.store, Key: [32]byte{1}}))
	return b
}

// begin begins a job of so many requests, their seeds being their places.
func (b *bench) begin(n int) service.ID {
	j, err := b.s.BeginJob(b.ctx, service.Write{Method: "test"}, service.NewJob{})
	require.NoError(b.t, err)
	items := make([]service.NewItem, n)
	for i := range items {
		items[i].Request.Seed = uint32(i)
	}
	_, err = b.s.AddItems(b.ctx, service.Write{Method: "test"}, j.ID, 0, items, true)
	require.NoError(b.t, err)
	return j.ID
}

func (b *bench) state(id service.ID) service.JobState {
	j, err := b.s.Job(b.ctx, id)
	require.NoError(b.t, err)
	return j
}

// run has the work done until the job has ended.
func (b *bench) run(id service.ID, workers int) {
	ctx, cancel := context.WithCancel(context.Background())
	var all sync.WaitGroup
	all.Go(func() {
		job.New(job.Config{Service: b.s, Store: b.store, Mint: b.mint, Workers: workers, Poll: time.Millisecond, Lease: 20 * time.Millisecond}).Run(ctx)
	})
	require.Eventually(b.t, func() bool { return b.state(id).Ended != 0 }, 20*time.Second, time.Millisecond)
	cancel()
	all.Wait()
}

func (b *bench) results(id service.ID) (out []service.Result) {
	_, err := b.s.Results(b.ctx, id, "", func(r service.Result) bool { out = append(out, r); return true })
	require.NoError(b.t, err)
	return out
}

func TestEachOnceInOrder(t *testing.T) {
	b := newBench(t, func(*bench) func(context.Context, uint32) error {
		return func(context.Context, uint32) error { return nil }
	})
	id := b.begin(333)
	b.run(id, 4)
	require.Equal(t, service.Tally{Items: 333, Dealt: 333, Made: 333}, b.state(id).Tally)
	for i, r := range b.results(id) {
		require.EqualValues(t, i, r.Place)
		require.EqualValues(t, i, r.Made.Value.Seed)
	}
}

// A worker that was away for longer than its lease finds its chunk in other hands, and stores
// nothing.
func TestLateWorkerStoresNothing(t *testing.T) {
	var calls atomic.Int32
	b := newBench(t, func(b *bench) func(context.Context, uint32) error {
		return func(context.Context, uint32) error {
			if calls.Add(1) > 1 {
				return nil
			}
			b.ahead.Add(time.Hour.Milliseconds())
			other, err := b.mint.New()
			require.NoError(b.t, err)
			some, err := b.s.Work(b.ctx, other, time.Minute, func(error) {})
			require.NoError(b.t, err)
			require.True(b.t, some)
			return nil
		}
	})
	id := b.begin(5)
	me, err := b.mint.New()
	require.NoError(t, err)
	seen := 0
	some, err := b.s.Work(b.ctx, me, time.Minute, func(error) { seen++ })
	require.NoError(t, err)
	require.True(t, some)
	require.Zero(t, seen)
	require.Equal(t, service.Tally{Items: 5, Dealt: 5, Made: 5}, b.state(id).Tally)
	require.NotZero(t, b.state(id).Ended)
}

// What is only not there yet is waited for; what goes wrong with one program, a panic
// included, is that one's result.
func TestFailures(t *testing.T) {
	var away atomic.Int32
	b := newBench(t, func(*bench) func(context.Context, uint32) error {
		return func(_ context.Context, seed uint32) error {
			switch {
			case seed == 3 && away.Add(1) < 3:
				return fault.New(fault.Unavailable, "STRATEGY", "", "a strategy does not answer")
			case seed == 7:
				panic("a bug with " + "a name in it")
			case seed == 9:
				return fault.New(fault.Refused, "CLEARANCE", "athlete", "a clinician first")
			}
			return nil
		}
	})
	id := b.begin(12)
	b.run(id, 1)
	require.Equal(t, service.Tally{Items: 12, Dealt: 12, Made: 10, Failed: 2}, b.state(id).Tally)
	all := b.results(id)
	require.Equal(t, fault.Internal, all[7].Fault.Kind)
	require.NotContains(t, all[7].Fault.Error(), "name", "details are for the log")
	require.Equal(t, fault.Refused, all[9].Fault.Kind)
	require.Equal(t, "CLEARANCE", all[9].Fault.Violations[0].Reason)
	require.EqualValues(t, 3, away.Load())
}

// Told to stop, a worker keeps what it has made and lets go of the rest at once.
func TestStops(t *testing.T) {
	ctx, cancel := context.WithCancel(service.WithCaller(context.Background(), service.Open("t")))
	b := newBench(t, func(*bench) func(context.Context, uint32) error {
		return func(ctx context.Context, seed uint32) error {
			if seed == 4 {
				cancel()
			}
			if ctx.Err() != nil {
				return fault.Wrap(fault.Canceled, "CANCELED", ctx.Err())
			}
			return nil
		}
	})
	id := b.begin(10)
	me, err := b.mint.New()
	require.NoError(t, err)
	_, err = b.s.Work(ctx, me, time.Hour, func(error) {})
	require.Error(t, err)
	require.EqualValues(t, 4, b.state(id).Tally.Made)
	b.s = service.New(scripted{generate: func(context.Context, uint32) error { return nil }}, service.WithStorage(service.Storage{Store: b.store, Key: [32]byte{1}}))
	b.run(id, 1)
	require.EqualValues(t, 10, b.state(id).Tally.Made)
}

// A canceled job is left alone, by whoever is at it too.
func TestCanceledMeanwhile(t *testing.T) {
	var id service.ID
	b := newBench(t, func(b *bench) func(context.Context, uint32) error {
		return func(_ context.Context, seed uint32) error {
			if seed == 2 {
				_, err := b.s.CancelJob(b.ctx, service.Write{Method: "test"}, id)
				require.NoError(b.t, err)
			}
			return nil
		}
	})
	id = b.begin(60)
	me, err := b.mint.New()
	require.NoError(t, err)
	_, err = b.s.Work(b.ctx, me, time.Minute, func(error) {})
	require.NoError(t, err)
	some, err := b.s.Work(b.ctx, me, time.Minute, func(error) {})
	require.NoError(t, err)
	require.False(t, some)
	require.NotZero(t, b.state(id).Canceled)
	require.Zero(t, b.state(id).Ended)
}

// A runner removes what is too old of every tenant, and by itself; one that keeps for ever
// only what was deleted. Many at the same time leave one event for each job.
func TestSweeps(t *testing.T) {
	b := newBench(t, func(*bench) func(context.Context, uint32) error {
		return func(context.Context, uint32) error { return nil }
	})
	ctx := context.Background()
	begin := func(tenant service.Tenant) (context.Context, service.ID) {
		require.NoError(t, b.store.Admit(ctx, tenant))
		b.ctx = service.WithCaller(ctx, service.Open(tenant))
		id := b.begin(450)
		b.run(id, 2)
		return b.ctx, id
	}
	const tenants = 120 // more than are listed at once
	for i := range tenants {
		require.NoError(t, b.store.Admit(ctx, service.Tenant(fmt.Sprintf("empty-%03d", i))))
	}
	one, first := begin("a")
	two, second := begin("z")
	three, deleted := begin("z2")
	require.NoError(t, b.s.DeleteJob(three, service.Write{Method: "test"}, deleted))
	left := func(ctx context.Context, id service.ID) (n int) {
		c, _ := service.CallerOf(ctx)
		require.NoError(t, b.store.View(ctx, c.Tenant, func(tx service.Tx) error {
			items, err := tx.Items(id, -1, 1000, false)
			n = len(items)
			return err
		}))
		return n
	}
	runner := func(keep time.Duration) *job.Runner {
		return job.New(job.Config{Service: b.s, Store: b.store, Mint: b.mint, Poll: time.Millisecond, Keep: keep, Sweep: time.Millisecond})
	}
	b.ahead.Add((24 * time.Hour).Milliseconds())
	require.NoError(t, runner(0).Sweep(ctx))
	require.NoError(t, runner(25*time.Hour).Sweep(ctx))
	require.Zero(t, left(three, deleted))
	require.Equal(t, 450, left(one, first))
	require.Equal(t, 450, left(two, second))

	running, stop := context.WithCancel(ctx)
	var all sync.WaitGroup
	for range 3 {
		all.Go(func() { runner(time.Hour).Run(running) })
	}
	require.Eventually(t, func() bool { return left(one, first)+left(two, second) == 0 }, 20*time.Second, time.Millisecond)
	stop()
	all.Wait()
	for _, tenant := range []service.Tenant{"a", "z", "z2"} {
		require.NoError(t, b.store.View(ctx, tenant, func(tx service.Tx) error {
			page, err := tx.Events(service.Query{Size: 100})
			require.Len(t, page.Items, map[service.Tenant]int{"a": 1, "z": 1}[tenant])
			return err
		}))
	}
}

// jobless is a store in which jobs can't be cleared.
type jobless struct{ service.Store }

type joblessTx struct{ service.Tx }

var errJobless = errors.New("jobless")

func (joblessTx) ClearJobs(int) (int, error) { return 0, errJobless }

func (s jobless) Update(ctx context.Context, t service.Tenant, fn func(service.Tx) error) error {
	return s.Store.Update(ctx, t, func(tx service.Tx) error { return fn(joblessTx{tx}) })
}

// A runner removes old answers of every tenant, and what was deleted only where it is told to,
// says how much in one line, and goes on where a part fails.
func TestSweepsAnswersAndDeleted(t *testing.T) {
	b := newBench(t, func(*bench) func(context.Context, uint32) error { return nil })
	ctx := context.Background()
	ids := map[service.Tenant][]service.ID{}
	for _, tenant := range []service.Tenant{"a", "b"} {
		require.NoError(t, b.store.Admit(ctx, tenant))
		in := service.WithCaller(ctx, service.Open(tenant))
		for i := range 60 {
			x, err := b.s.Plans().Create(in, service.Write{RequestID: fmt.Sprint(i), Method: "test"}, service.SavedPlan{Name: "secret"})
			require.NoError(t, err)
			_, err = b.s.Plans().Delete(in, service.Write{}, service.ID{}, x.ID)
			require.NoError(t, err)
			ids[tenant] = append(ids[tenant], x.ID)
		}
	}
	left := func() (plans, answers int) {
		for tenant, list := range ids {
			require.NoError(t, b.store.View(ctx, tenant, func(tx service.Tx) error {
				for i, id := range list {
					if _, err := tx.Plans().Get(id); err == nil {
						plans++
					}
					if _, ok, err := tx.Recall(fmt.Sprint(i)); err == nil && ok {
						answers++
					}
				}
				return nil
			}))
		}
		return plans, answers
	}
	sweep := func(keep time.Duration, store func(service.Store) service.Store, want error) []string {
		var log bytes.Buffer
		s := service.New(scripted{}, service.WithStorage(service.Storage{Store: store(b.store), Key: [32]byte{1}}))
		r := job.New(job.Config{Service: s, Store: b.store, Mint: b.mint, DeletedKeep: keep, Log: slog.New(slog.NewJSONHandler(&log, nil))})
		require.ErrorIs(t, r.Sweep(ctx), want)
		var out []string
		for line := range bytes.Lines(log.Bytes()) {
			var said map[string]any
			require.NoError(t, json.Unmarshal(line, &said))
			delete(said, "time")
			text, err := json.Marshal(said)
			require.NoError(t, err)
			out = append(out, string(text))
		}
		return out
	}
	same := func(s service.Store) service.Store { return s }
	require.Empty(t, sweep(service.LeastDeletedKeep, same, nil))
	b.ahead.Add((1000 * time.Hour).Milliseconds())
	require.Equal(t, []string{`{"answers":120,"deleted":0,"jobs":0,"level":"INFO","msg":"old data is removed"}`}, sweep(0, same, nil))
	plans, answers := left()
	require.Equal(t, 120, plans, "for ever")
	require.Zero(t, answers)
	broken := func(s service.Store) service.Store { return jobless{s} }
	require.Equal(t, []string{`{"answers":0,"deleted":120,"jobs":0,"level":"INFO","msg":"old data is removed"}`}, sweep(service.LeastDeletedKeep, broken, errJobless))
	plans, _ = left()
	require.Zero(t, plans)
	require.Empty(t, sweep(service.LeastDeletedKeep, same, nil))
}
