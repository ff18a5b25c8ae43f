package gate

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
)

const took = 100 * time.Millisecond

// asked is what became of calls.
type asked struct {
	mu       sync.Mutex
	ok, shed int
	waits    []time.Duration // of those that ran
	answers  []time.Duration // of refusals
}

// ask runs one call of a tenant that takes its time, and notes what became of it.
func (a *asked) ask(g *Gate, tenant string) {
	began := time.Now()
	leave, err := g.Enter(context.Background(), tenant)
	waited := time.Since(began)
	if err == nil {
		time.Sleep(took)
		leave()
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if err != nil {
		a.shed++
		a.answers = append(a.answers, waited)
		return
	}
	a.ok++
	a.waits = append(a.waits, waited)
}

// open asks at a steady rate, whatever becomes of it: as people do.
func (a *asked) open(g *Gate, tenant string, every, during time.Duration) {
	var wg sync.WaitGroup
	for t := time.Duration(0); t < during; t += every {
		wg.Go(func() { a.ask(g, tenant) })
		time.Sleep(every)
	}
	wg.Wait()
}

func TestOverloadKeepsGoodput(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := New(Config{Slots: 2, MaxWait: time.Second}) // 20 a second
		var a asked
		began := time.Now()
		a.open(g, "one", time.Second/60, 30*time.Second)
		peak := int(time.Since(began) / took * 2)
		require.GreaterOrEqual(t, a.ok*100, peak*95, "of %d that were possible", peak)
		require.LessOrEqual(t, slices.Max(a.waits), time.Second+took)
		require.Zero(t, slices.Max(a.answers), "refusals come at once")

		var after asked
		after.open(g, "one", time.Second/10, 5*time.Second)
		require.Zero(t, after.shed, "once the load is gone, nobody is refused")
	})
}

func TestATenantWaitsInItsOwnLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := New(Config{Slots: 2, MaxWait: time.Second})
		var wg sync.WaitGroup
		var greedy asked
		wg.Go(func() { greedy.open(g, "greedy", time.Second/250, 60*time.Second) }) // 50 times a share of 5
		others := make([]asked, 3)
		for i := range others {
			wg.Go(func() { others[i].open(g, fmt.Sprint(i), time.Second/4, 60*time.Second) })
		}
		wg.Wait()
		for i := range others {
			require.Zero(t, others[i].shed, "tenant %d asks less than its share", i)
			require.LessOrEqual(t, slices.Max(others[i].waits), 4*took)
		}
		require.Greater(t, greedy.ok, 400, "what the others leave is used")
	})
}

func TestBulkComesLast(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := New(Config{Slots: 2, MaxWait: time.Second})
		var bulk, most atomic.Int32
		done := make(chan struct{})
		for range 5 {
			go func() {
				for {
					leave, err := g.EnterBulk(t.Context())
					if err != nil {
						return
					}
					most.Store(max(most.Load(), bulk.Add(1)))
					time.Sleep(took)
					bulk.Add(-1)
					leave()
					select {
					case <-done:
						return
					default:
					}
				}
			}()
		}
		var a asked
		a.open(g, "one", time.Second/9, 10*time.Second) // nearly all of what one slot can
		close(done)
		require.EqualValues(t, 1, most.Load(), "the last slot is not for bulk work")
		require.Zero(t, slices.Max(a.waits), "with the other slot free nobody waits")
		require.Zero(t, a.shed)
		time.Sleep(time.Second)
	})
}

func TestRefusalSaysWhen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := New(Config{Slots: 1, MaxWait: 150 * time.Millisecond})
		leave, err := g.Enter(t.Context(), "one")
		require.NoError(t, err)
		time.Sleep(took)
		leave()
		var a asked
		go a.ask(g, "one")
		go a.ask(g, "one")
		synctest.Wait()
		_, err = g.Enter(t.Context(), "one")
		f, ok := fault.As(err)
		require.True(t, ok)
		require.Equal(t, fault.Unavailable, f.Kind)
		require.Equal(t, ReasonOverloaded, f.Violations[0].Reason)
		var o Overload
		require.True(t, errors.As(err, &o))
		require.Equal(t, 2*took, o.RetryAfter())

		soon, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
		defer cancel()
		_, err = g.Enter(soon, "two")
		require.ErrorAs(t, err, &o, "who would be too late waits for nothing")
		time.Sleep(time.Second)
	})
}

// Whoever comes, goes and gives up in whatever order: never more than the slots run, and
// in the end all slots are free.
func TestSlotsAreNeitherLostNorDoubled(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		slots := rapid.IntRange(1, 4).Draw(r, "slots")
		calls := rapid.SliceOfN(rapid.Custom(func(r *rapid.T) [4]int {
			return [4]int{rapid.IntRange(0, 50).Draw(r, "comes"), rapid.IntRange(0, 30).Draw(r, "takes"), rapid.IntRange(0, 40).Draw(r, "gives up"), rapid.IntRange(0, 3).Draw(r, "who")}
		}), 1, 40).Draw(r, "calls")
		synctest.Test(t, func(t *testing.T) {
			g := New(Config{Slots: slots, MaxWait: 20 * time.Millisecond})
			var running atomic.Int32
			var wg sync.WaitGroup
			for _, c := range calls {
				wg.Go(func() {
					time.Sleep(time.Duration(c[0]) * time.Millisecond)
					ctx, cancel := context.WithTimeout(t.Context(), time.Duration(c[2])*time.Millisecond)
					defer cancel()
					enter := func() (func(), error) { return g.Enter(ctx, fmt.Sprint(c[3])) }
					if c[3] == 0 {
						enter = func() (func(), error) { return g.EnterBulk(ctx) }
					}
					leave, err := enter()
					if err != nil {
						return
					}
					if n := running.Add(1); int(n) > slots {
						t.Errorf("%d run in %d slots", n, slots)
					}
					time.Sleep(time.Duration(c[1]) * time.Millisecond)
					running.Add(-1)
					leave()
					leave()
				})
			}
			wg.Wait()
			if g.busy != 0 || g.bulk != 0 || len(g.line) != 0 || len(g.turn) != 0 || len(g.bulkLine) != 0 {
				t.Errorf("something is left: %+v", g)
			}
		})
	})
}
