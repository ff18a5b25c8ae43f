package app

import (
	"context"
	"fmt"
	"math"
	"os"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// shareTime is how long each part of these tests measures that goes by time:
// PHASEWRIGHT_SHARE, or short. With it set they hold the server to figures.
func shareTime(t *testing.T) (d time.Duration, long bool) {
	text := os.Getenv("PHASEWRIGHT_SHARE")
	if text == "" {
		return time.Second, false
	}
	d, err := time.ParseDuration(text)
	require.NoError(t, err)
	return d, true
}

// metered counts the programs that an engine begins and those that it works on.
type metered struct {
	service.Engine
	begun, now atomic.Int64
}

func (e *metered) Generate(ctx context.Context, r plan.Request) (plan.Program, error) {
	e.now.Add(1)
	e.begun.Add(1)
	defer e.now.Add(-1)
	return e.Engine.Generate(ctx, r)
}

// rest waits until nobody has asked for a program for a second.
func (e *metered) rest(t *testing.T) {
	require.Eventually(t, func() bool {
		n := e.begun.Load()
		time.Sleep(time.Second)
		return e.begun.Load() == n && e.now.Load() == 0
	}, time.Minute, time.Millisecond)
}

// took is how long calls took; what asks for ranks wants it sorted.
type took []time.Duration

func (d took) sorted() took { return slices.Sorted(slices.Values(d)) }

// at gives the value of a rank, from 1.
func (d took) at(rank int) time.Duration { return d[rank-1].Round(100 * time.Microsecond) }

// quantile is the smallest value that such a share, in percent, is not above.
func (d took) quantile(percent int) time.Duration { return d.at((len(d)*percent + 99) / 100) }

// String gives p50 and p99, and where the p99 of all such calls lies: between two values
// whose ranks hold it in 95 of 100 samples, whatever the distribution.
func (d took) String() string {
	within := "too few for an interval"
	if low, high := ranks(len(d), 0.99); low > 0 && high <= len(d) {
		within = fmt.Sprintf("95 %%: %s to %s", d.at(low), d.at(high))
	}
	return fmt.Sprintf("p50 %s, p99 %s (%s), %d calls", d.quantile(50), d.quantile(99), within, len(d))
}

// ranks gives two ranks between which, in a sorted sample of n, the quantile q of the
// population lies with at most 2.5 % on either side: how many are below it is binomial.
// A rank of 0 or n+1 is open.
func ranks(n int, q float64) (low, high int) {
	at := func(k int) float64 { // of k below it
		a, _ := math.Lgamma(float64(n + 1))
		b, _ := math.Lgamma(float64(k + 1))
		c, _ := math.Lgamma(float64(n - k + 1))
		return math.Exp(a - b - c + float64(k)*math.Log(q) + float64(n-k)*math.Log1p(-q))
	}
	sum := 0.0
	for sum += at(low); sum <= 0.025; sum += at(low) {
		low++
	}
	sum = 0
	for high = n + 1; sum+at(high-1) <= 0.025; high-- {
		sum += at(high - 1)
	}
	return low, high
}

// From tables of the sign test (from memory): the interval of a median of 10 has ranks 2
// and 9, of one of 20 ranks 6 and 15. Five values can't hold one.
func TestRanks(t *testing.T) {
	for n, want := range map[int][2]int{5: {0, 6}, 10: {2, 9}, 20: {6, 15}} {
		low, high := ranks(n, 0.5)
		require.Equal(t, want, [2]int{low, high}, n)
	}
	low, high := ranks(1000, 0.99)
	require.True(t, 980 < low && low < 987 && 993 < high && high < 1000, "%d and %d are about 6 about 990", low, high)
	d := make(took, 1000)
	for i := range d {
		d[i] = time.Duration(i+1) * time.Second
	}
	require.Equal(t, []time.Duration{500 * time.Second, 990 * time.Second}, []time.Duration{d.quantile(50), d.quantile(99)})
}

// Whoever waits for a program hardly notices that a bulk job runs. Blocks of calls alone
// and beside a job take turns, so that a machine that grows slower is slower for both.
func TestBulkGivesWay(t *testing.T) {
	blocks, calls, orders := 2, 3, 500
	_, long := shareTime(t)
	if long {
		blocks, calls, orders = 10, 100, 2500
	}
	engine, err := NewEngine()
	require.NoError(t, err)
	e := &metered{Engine: engine}
	r := start(t, e)
	c, client := bulkOf(t, r.conn, ""), pb.NewProgramServiceClient(r.conn)
	ask := func() time.Duration {
		began := time.Now()
		_, err := client.GenerateProgram(context.Background(), &pb.GenerateProgramRequest{Request: &pb.ProgramRequest{Athlete: adult().GetProfile(), Constraints: twoDays()}})
		require.NoError(t, err)
		return time.Since(began)
	}
	some := make([]*pb.ProgramOrder, 500)
	for i := range some {
		some[i] = bulkOrder(twoDays())
	}
	var alone, beside took
	made := int64(0)
	for block := range blocks {
		for side := range 2 {
			if block%2 == side { // alone, beside, beside, alone
				before := e.begun.Load()
				for range calls {
					alone = append(alone, ask())
				}
				require.EqualValues(t, calls, e.begun.Load()-before, "alone is alone")
				t.Logf("block %d alone: %s", block, alone[len(alone)-calls:].sorted())
				continue
			}
			idle := e.begun.Load()
			name := c.begin(&pb.GenerateProgramsRequest{})
			for i := 0; i < orders; i += len(some) {
				_, err := c.work.AddProgramRequests(c.ctx, &pb.AddProgramRequestsRequest{Name: name, FirstIndex: int32(i), Orders: some})
				require.NoError(t, err)
			}
			require.Eventually(t, func() bool { return e.begun.Load() > idle }, time.Minute, time.Millisecond, "the job begins")
			before := e.begun.Load()
			for range calls {
				beside = append(beside, ask())
			}
			done := e.begun.Load() - before - int64(calls)
			require.Positive(t, done, "the job goes on beside")
			made += done
			t.Logf("block %d beside %d programs: %s", block, done, beside[len(beside)-calls:].sorted())
			o, _ := c.look(name)
			require.False(t, o.GetDone(), "the job lasts as long as the calls")
			_, err = c.ops.CancelOperation(c.ctx, &pb.CancelOperationRequest{Name: name})
			require.NoError(t, err)
			e.rest(t)
		}
	}
	alone, beside = alone.sorted(), beside.sorted()
	times := float64(beside.quantile(99)) / float64(alone.quantile(99))
	t.Logf("alone: %s", alone)
	t.Logf("beside a bulk job that made %d programs meanwhile: %s: p99 times %.2f", made, beside, times)
	if long {
		require.GreaterOrEqual(t, min(len(alone), len(beside)), 1000, "a p99 of fewer says little")
		require.LessOrEqual(t, times, 2.0)
	}
}

// One tenant that asks for fifty times its share is refused; the others are served.
func TestOneTenantAsksForFiftyTimesItsShare(t *testing.T) {
	const tenants = 5
	d, long := shareTime(t)
	r, _ := lockedWith(t, quick(t))
	client := pb.NewProgramServiceClient(r.conn)
	request := &pb.GenerateProgramRequest{Request: &pb.ProgramRequest{Athlete: adult().GetProfile(), Constraints: twoDays()}}
	keys := make([]string, tenants)
	for i := range keys {
		keys[i] = r.tenant(t, string(rune('a'+i)))
	}
	var wg sync.WaitGroup
	var mu sync.Mutex
	ok, all, refused := make([]int, tenants), make([]int, tenants), map[string]int{}
	call := func(i int) {
		_, err := client.GenerateProgram(as(keys[i]), request)
		mu.Lock()
		defer mu.Unlock()
		all[i]++
		if err == nil {
			ok[i]++
		} else if i > 0 {
			refused[reasonOf(t, err)]++
		}
	}
	// What it can do, with as many callers as slots.
	for range 2 {
		wg.Go(func() {
			for end := time.Now().Add(d); time.Now().Before(end); {
				call(0)
			}
		})
	}
	wg.Wait()
	share := float64(ok[0]) / d.Seconds() / tenants
	clear(ok)
	clear(all)
	// The first asks for fifty times its share, the others for half of theirs, and none
	// waits for answers.
	for i := range tenants {
		rate := share / 2
		if i == 0 {
			rate = 50 * share
		}
		every := time.Duration(float64(time.Second) / rate)
		wg.Go(func() {
			for at, end := time.Now(), time.Now().Add(d); at.Before(end); at = at.Add(every) {
				time.Sleep(time.Until(at))
				wg.Go(func() { call(i) })
			}
		})
	}
	wg.Wait()
	served, asked := 0, 0
	for i := 1; i < tenants; i++ {
		served, asked = served+ok[i], asked+all[i]
	}
	t.Logf("a share is %.1f a second; the one asked %d times and was served %d times; the others %d of %d (%.2f %%), refused for %v",
		share, all[0], ok[0], served, asked, 100*float64(served)/float64(asked), refused)
	require.Less(t, ok[0], all[0], "it was too much")
	least := 0.9
	if long {
		least = 0.999
	}
	require.GreaterOrEqual(t, float64(served), least*float64(asked))
}

// How many programs a second a server makes in bulk with one and with two workers: to be
// read, not held to.
func TestBulkPerSecond(t *testing.T) {
	n := 50
	if _, long := shareTime(t); long {
		n = 1000
	}
	for _, workers := range []int{1, 2} {
		i := newInside(t, quick(t), newSQLite(t))
		i.fill(t, "t", n)
		ctx, cancel := context.WithCancel(service.WithCaller(context.Background(), service.Open("t")))
		template := plan.Request{Constraints: plan.Constraints{
			Weeks: plan.Some(int32(4)), Days: []plan.Day{{Minutes: 45}, {Minutes: 45}}, Places: []plan.Place{{Preset: plan.PresetFullGym}},
		}}
		j, err := i.BeginJob(ctx, service.Write{Method: "test"}, service.NewJob{All: true, Request: template})
		require.NoError(t, err)
		ended := make(chan struct{})
		began := time.Now()
		go func() { i.run(ctx, workers, func(error) {}); close(ended) }()
		var now service.JobState
		require.Eventually(t, func() bool {
			now, err = i.Job(ctx, j.ID)
			return err == nil && now.Ended != 0
		}, 10*time.Minute, 5*time.Millisecond)
		took := time.Since(began)
		cancel()
		<-ended
		require.EqualValues(t, n, now.Tally.Made)
		t.Logf("%d workers: %d programs of 4 weeks in %s, %.1f a second", workers, n, took.Round(time.Millisecond), float64(n)/took.Seconds())
	}
}
