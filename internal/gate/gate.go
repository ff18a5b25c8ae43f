// Package gate decides who may compute now, who waits and who is better told to come
// back: what making programs costs is processor time, and more of them at once than
// there are processors only makes all of them late.
//
// So many run at once as there are slots. Who finds none waits in the queue of its
// tenant; free slots go to the tenants in turn, so one that asks fifty times as much as
// another waits in its own queue. Who would wait longer than is worth it, by the mean
// time of what ran before, is refused at once: under overload the answers that are given
// stay quick, and as many as without it. Bulk work gets a slot only where nobody else
// waits, and never the last one.
package gate

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/phasewright/phasewright/engine/fault"
)

// ReasonOverloaded is the reason of refusals.
const ReasonOverloaded = "OVERLOADED"

// Config of a gate.
type Config struct {
	Slots   int           // that run at once; at least 1
	MaxWait time.Duration // longer than that nobody is let wait
	Now     func() time.Time
}

// Gate is safe for concurrent use.
type Gate struct {
	c  Config
	mu sync.Mutex

	busy, bulk int           // slots taken, and those of them by bulk work
	mean       time.Duration // of a run, weighted towards the last ones; 0: nothing ran yet
	line       map[string][]*waiter
	turn       []string // tenants with somebody waiting, in the order of their turns
	bulkLine   []*waiter
}

type waiter struct {
	let  chan struct{}
	bulk bool
}

// New makes a gate.
func New(c Config) *Gate {
	c.Slots = max(1, c.Slots)
	if c.Now == nil {
		c.Now = time.Now
	}
	return &Gate{c: c, line: map[string][]*waiter{}}
}

// meanWeight is how much of the mean a run makes: about the last ten decide.
const meanWeight = 10

// bulkSlots is how many slots bulk work may have.
func (g *Gate) bulkSlots() int { return max(1, g.c.Slots-1) }

// Enter takes a slot for a tenant, after a wait where none is free. leave gives it back.
// The fault is Unavailable OVERLOADED, an Overload among its causes, or Canceled with ctx.
func (g *Gate) Enter(ctx context.Context, tenant string) (leave func(), err error) {
	g.mu.Lock()
	if g.busy < g.c.Slots && len(g.turn) == 0 {
		g.busy++
		g.mu.Unlock()
		return g.leaver(false), nil
	}
	wait := g.wait(tenant)
	most := g.c.MaxWait
	if d, ok := ctx.Deadline(); ok {
		most = min(most, d.Sub(g.c.Now()))
	}
	if wait > most {
		g.mu.Unlock()
		return nil, overloaded(wait)
	}
	w := &waiter{let: make(chan struct{})}
	if len(g.line[tenant]) == 0 {
		g.turn = append(g.turn, tenant)
	}
	g.line[tenant] = append(g.line[tenant], w)
	g.mu.Unlock()
	return g.await(ctx, w, func() { g.leaveLine(tenant, w) })
}

// EnterBulk takes a slot for bulk work, however long that takes.
func (g *Gate) EnterBulk(ctx context.Context) (leave func(), err error) {
	g.mu.Lock()
	if g.busy < g.c.Slots && g.bulk < g.bulkSlots() && len(g.turn) == 0 && len(g.bulkLine) == 0 {
		g.busy++
		g.bulk++
		g.mu.Unlock()
		return g.leaver(true), nil
	}
	w := &waiter{make(chan struct{}), true}
	g.bulkLine = append(g.bulkLine, w)
	g.mu.Unlock()
	return g.await(ctx, w, func() { g.bulkLine = without(g.bulkLine, w) })
}

func (g *Gate) await(ctx context.Context, w *waiter, forget func()) (func(), error) {
	select {
	case <-w.let:
		return g.leaver(w.bulk), nil
	case <-ctx.Done():
	}
	g.mu.Lock()
	select {
	case <-w.let: // at the same moment: the slot goes on to the next
		g.release(w.bulk)
	default:
		forget()
	}
	g.mu.Unlock()
	return nil, fault.Wrap(fault.Canceled, "CANCELED", ctx.Err())
}

// wait estimates how long a tenant's next call would wait: until its turn has come as
// often as it has calls in line, among all tenants that wait.
func (g *Gate) wait(tenant string) time.Duration {
	tenants := len(g.turn)
	if len(g.line[tenant]) == 0 {
		tenants++
	}
	before := len(g.line[tenant])*tenants + tenants
	return g.mean * time.Duration(before) / time.Duration(g.c.Slots)
}

func (g *Gate) leaveLine(tenant string, w *waiter) {
	rest := without(g.line[tenant], w)
	if len(rest) > 0 {
		g.line[tenant] = rest
		return
	}
	delete(g.line, tenant)
	g.turn = without(g.turn, tenant)
}

// leaver gives what ends a run: good once.
func (g *Gate) leaver(bulk bool) func() {
	began := g.c.Now()
	var once sync.Once
	return func() {
		once.Do(func() {
			g.mu.Lock()
			defer g.mu.Unlock()
			took := g.c.Now().Sub(began)
			if g.mean == 0 {
				g.mean = took
			}
			g.mean += (took - g.mean) / meanWeight
			g.release(bulk)
		})
	}
}

// release passes a slot on: to the tenant whose turn it is, else to bulk work.
func (g *Gate) release(bulk bool) {
	g.busy--
	if bulk {
		g.bulk--
	}
	for g.busy < g.c.Slots && len(g.turn) > 0 {
		tenant := g.turn[0]
		w := g.line[tenant][0]
		g.turn = g.turn[1:]
		if rest := g.line[tenant][1:]; len(rest) > 0 {
			g.line[tenant] = rest
			g.turn = append(g.turn, tenant)
		} else {
			delete(g.line, tenant)
		}
		g.busy++
		close(w.let)
	}
	for g.busy < g.c.Slots && g.bulk < g.bulkSlots() && len(g.bulkLine) > 0 {
		w := g.bulkLine[0]
		g.bulkLine = g.bulkLine[1:]
		g.busy++
		g.bulk++
		close(w.let)
	}
}

func without[T comparable](all []T, one T) []T {
	for i := range all {
		if all[i] == one {
			return append(all[:i:i], all[i+1:]...)
		}
	}
	return all
}

// Overload is the cause of a refusal.
type Overload struct{ wait time.Duration }

func (o Overload) Error() string {
	return fmt.Sprintf("too many programs are being made: yours would wait %s; try again after that", o.wait.Round(time.Millisecond))
}

// RetryAfter is when a slot is likely to be free.
func (o Overload) RetryAfter() time.Duration { return o.wait }

func overloaded(wait time.Duration) error {
	return fault.Wrap(fault.Unavailable, ReasonOverloaded, Overload{max(wait, minRetry)})
}

// minRetry keeps those who were refused from coming back at once.
const minRetry = 100 * time.Millisecond
