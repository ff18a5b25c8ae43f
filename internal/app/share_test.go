package app

import (
	"context"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// shareTime is how long each part of these tests measures: PHASEWRIGHT_SHARE, or short. With
// it set they hold the server to figures.
func shareTime(t *testing.T) (d time.Duration, long bool) {
	text := os.Getenv("PHASEWRIGHT_SHARE")
	if text == "" {
		return time.Second, false
	}
	d, err := time.ParseDuration(text)
	require.NoError(t, err)
	return d, true
}

// asked makes programs one after the other for a time and gives how long each took.
func asked(t *testing.T, c pb.ProgramServiceClient, d time.Duration) (took []time.Duration) {
	for end := time.Now().Add(d); time.Now().Before(end); {
		began := time.Now()
		_, err := c.GenerateProgram(context.Background(), &pb.GenerateProgramRequest{Request: &pb.ProgramRequest{Athlete: adult().GetProfile(), Constraints: twoDays()}})
		require.NoError(t, err)
		took = append(took, time.Since(began))
	}
	slices.Sort(took)
	return took
}

func p99(took []time.Duration) time.Duration { return took[len(took)*99/100] }

// Whoever waits for a program hardly notices that a bulk job runs.
func TestBulkGivesWay(t *testing.T) {
	d, long := shareTime(t)
	r := start(t, nil)
	c, client := bulkOf(t, r.conn, ""), pb.NewProgramServiceClient(r.conn)
	alone := asked(t, client, d)
	name := c.begin(&pb.GenerateProgramsRequest{})
	some := make([]*pb.ProgramOrder, 500)
	for i := range some {
		some[i] = bulkOrder(twoDays())
	}
	for i := range 20 {
		_, err := c.work.AddProgramRequests(c.ctx, &pb.AddProgramRequestsRequest{Name: name, FirstIndex: int32(i * len(some)), Orders: some})
		require.NoError(t, err)
	}
	beside := asked(t, client, d)
	_, m := c.look(name)
	_, err := c.ops.CancelOperation(c.ctx, &pb.CancelOperationRequest{Name: name})
	require.NoError(t, err)
	t.Logf("p50 and p99 alone %s, %s (%d calls); beside a bulk job that made %d programs %s, %s (%d calls): p99 times %.2f",
		alone[len(alone)/2].Round(100*time.Microsecond), p99(alone).Round(100*time.Microsecond), len(alone), m.GetMade(),
		beside[len(beside)/2].Round(100*time.Microsecond), p99(beside).Round(100*time.Microsecond), len(beside), float64(p99(beside))/float64(p99(alone)))
	require.Positive(t, m.GetMade(), "the job goes on beside")
	if long {
		require.LessOrEqual(t, float64(p99(beside)), 2*float64(p99(alone)))
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
