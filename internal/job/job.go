// Package job has bulk work done, and what is old removed. What there is to do lies in the store, in chunks that a
// worker leases: every replica that serves a store looks there, and whatever one leaves
// behind that was killed is taken over by another when the lease ends. A worker does one
// chunk of a tenant and goes on to the next tenant, so that none waits for another's million.
//
// The queue is our own, and polled. Of what there is for Go, River was looked at closest
// (v0.51.2, both drivers). Its jobs would lie in tables outside the wall between tenants;
// its inserts notify inside the transaction that asks, whether or not its workers poll; on
// SQLite it wants a second writer, and on no database does it take turns between tenants. The
// results' own rows, without which nothing happens exactly once, are most of a queue already.
package job

import (
	"context"
	"errors"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"

	"github.com/phasewright/phasewright/internal/service"
)

// Config of a Runner. Service, Store and Mint are required.
type Config struct {
	Service *service.Service
	Store   service.Store
	Mint    *service.Mint // of the workers' ids
	Workers int           // chunks done at the same time; at least 1
	Poll    time.Duration // how often to look where there was nothing; 0: 500 ms
	Lease   time.Duration // see service.Lease, which 0 is
	Log     *slog.Logger
	Seen    func(error) // told of every item with its fault; may be nil

	Sweep       time.Duration // how often what is to go is removed; 0: never
	Keep        time.Duration // how long jobs stay that have ended; 0: until they are deleted
	DeletedKeep time.Duration // how long deleted things stay, service.LeastDeletedKeep at least; 0: for ever

	// Mark makes the context of bulk work of one, so that others go before; may be nil.
	Mark func(context.Context) context.Context
}

// Runner does bulk work.
type Runner struct{ c Config }

// New makes a runner.
func New(c Config) *Runner {
	c.Workers = max(1, c.Workers)
	if c.Poll <= 0 {
		c.Poll = 500 * time.Millisecond
	}
	if c.Lease <= 0 {
		c.Lease = service.Lease
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Seen == nil {
		c.Seen = func(error) {}
	}
	if c.Mark == nil {
		c.Mark = func(ctx context.Context) context.Context { return ctx }
	}
	return &Runner{c}
}

// Run works until ctx ends, and returns when all that was made is stored.
func (r *Runner) Run(ctx context.Context) {
	var all sync.WaitGroup
	for range r.c.Workers {
		all.Go(func() { r.work(ctx) })
	}
	if r.c.Sweep > 0 {
		all.Go(func() { r.sweep(ctx) })
	}
	all.Wait()
}

func (r *Runner) work(ctx context.Context) {
	for ctx.Err() == nil {
		some, err := r.round(ctx)
		if err != nil && ctx.Err() == nil {
			r.c.Log.WarnContext(ctx, "bulk work rests", "error", err.Error())
		}
		if some && err == nil {
			continue
		}
		r.rest(ctx, r.c.Poll/2+rand.N(r.c.Poll)) // not all at the same time
	}
}

// sweep removes what is to go, at once and then again and again.
func (r *Runner) sweep(ctx context.Context) {
	for ctx.Err() == nil {
		if err := r.Sweep(ctx); err != nil && ctx.Err() == nil {
			r.c.Log.WarnContext(ctx, "old data stays for now", "error", err.Error())
		}
		r.rest(ctx, r.c.Sweep/2+rand.N(r.c.Sweep)) // not all replicas at the same time
	}
}

// rest waits, or until ctx ends.
func (r *Runner) rest(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// swept is how much a sweep removed.
type swept struct{ jobs, answers, deleted int }

// Sweep forgets the jobs of every tenant that ended too long ago, and removes what is left of
// forgotten and deleted ones, answers that no retry is promised any more, and things that were
// deleted too long ago. What it did not get to, because ctx ended or the process did, is
// removed by the next, here or on another replica.
func (r *Runner) Sweep(ctx context.Context) error {
	var did swept
	err := r.sweepAll(ctx, &did)
	if did != (swept{}) {
		r.c.Log.InfoContext(ctx, "old data is removed", "jobs", did.jobs, "answers", did.answers, "deleted", did.deleted)
	}
	return err
}

func (r *Runner) sweepAll(ctx context.Context, did *swept) error {
	var errs []error
	for after := service.Tenant(""); ; {
		list, err := r.c.Store.Tenants(ctx, after, tenantsAtOnce)
		if err != nil {
			return errors.Join(append(errs, err)...)
		}
		for _, t := range list {
			after = t
			errs = append(errs, r.sweepTenant(service.WithCaller(ctx, service.Open(t)), did))
			if ctx.Err() != nil {
				return ctx.Err()
			}
		}
		if len(list) < tenantsAtOnce {
			return errors.Join(errs...)
		}
	}
}

// sweepTenant does all that it can: one part that fails keeps no other from its turn.
func (r *Runner) sweepTenant(ctx context.Context, did *swept) error {
	err := r.steps(ctx, func() (more bool, err error) {
		n, more, err := r.c.Service.ExpireAnswers(ctx)
		did.answers += n
		return more, err
	})
	if r.c.DeletedKeep > 0 {
		err = errors.Join(err, r.steps(ctx, func() (more bool, err error) {
			n, more, err := r.c.Service.PurgeDeleted(ctx, r.c.DeletedKeep)
			did.deleted += n
			return more, err
		}))
	}
	if r.c.Keep > 0 {
		n, failed := r.c.Service.ExpireJobs(ctx, r.c.Keep)
		did.jobs += n
		err = errors.Join(err, failed)
	}
	return errors.Join(err, r.steps(ctx, func() (bool, error) { return r.c.Service.ClearJobs(ctx) }))
}

// steps goes on until there is no more or ctx ends; half of the time is others'.
func (r *Runner) steps(ctx context.Context, step func() (more bool, err error)) error {
	for ctx.Err() == nil {
		began := time.Now()
		more, err := step()
		if err != nil || !more {
			return err
		}
		r.rest(ctx, time.Since(began))
	}
	return ctx.Err()
}

// tenantsAtOnce is how many tenants are listed at a time.
const tenantsAtOnce = 100

// round does a chunk of each tenant that has one and says whether there was any.
func (r *Runner) round(ctx context.Context) (some bool, err error) {
	owner, err := r.c.Mint.New()
	if err != nil {
		return false, err
	}
	var errs []error
	for after := service.Tenant(""); ; {
		list, err := r.c.Store.Working(ctx, after, tenantsAtOnce)
		if err != nil {
			return some, errors.Join(append(errs, err)...)
		}
		for _, t := range list {
			after = t
			within := r.c.Mark(service.WithCaller(ctx, service.Open(t)))
			did, err := r.c.Service.Work(within, owner, r.c.Lease, r.c.Seen)
			some = some || did
			errs = append(errs, err)
			if ctx.Err() != nil {
				return some, ctx.Err()
			}
		}
		if len(list) < tenantsAtOnce {
			return some, errors.Join(errs...)
		}
	}
}
