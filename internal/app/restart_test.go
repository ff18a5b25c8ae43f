package app

import (
	"context"
	"os"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/resolver"
	"google.golang.org/grpc/resolver/manual"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/rpc"
)

// restarts is how often the replicas are restarted: PHASEWRIGHT_RESTARTS, or few.
func restarts(t *testing.T) int {
	text := os.Getenv("PHASEWRIGHT_RESTARTS")
	if text == "" {
		return 5
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err)
	return n
}

// replica is one of several servers of a store, at an address that stays.
type replica struct {
	t      *testing.T
	config Config
	stop   func()
}

func (r *replica) start() {
	a, err := quickly(r.config)
	require.NoError(r.t, err)
	r.config.GRPCAddr, r.config.HTTPAddr = a.GRPCAddr(), a.HTTPAddr()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- a.Run(ctx) }()
	r.stop = func() {
		cancel()
		require.NoError(r.t, <-ended)
	}
	require.Eventually(r.t, a.ready.Load, 10*time.Second, time.Millisecond)
}

// Two replicas, one restarted after the other, while clients go on asking and writing: with
// the configuration that our client ships, no request fails, and what was written is there
// once.
func TestRollingRestart(t *testing.T) {
	d, ok := postgresData(t)
	if !ok {
		return
	}
	names := manual.NewBuilderWithScheme("replicas")
	var state resolver.State
	var replicas [2]*replica
	for i := range replicas {
		c := DefaultConfig()
		c.GRPCAddr, c.HTTPAddr, c.DrainDelay = "127.0.0.1:0", "127.0.0.1:0", 300*time.Millisecond
		c.Dev, c.Rate, c.Data, c.MaxWait = true, 0, d, 20*time.Second
		replicas[i] = &replica{t: t, config: c}
		replicas[i].start()
		state.Addresses = append(state.Addresses, resolver.Address{Addr: replicas[i].config.GRPCAddr})
	}
	names.InitialState(state)
	client, err := rpc.NewClient("replicas:///both", grpc.WithResolvers(names))
	require.NoError(t, err)
	defer func() { require.NoError(t, client.Close()) }()
	ctx := context.Background()
	athlete := newAthletes(t, ctx, client.Conn(), 1)[0]

	var asked, written atomic.Int64
	var mu sync.Mutex
	var failed []error
	over := make(chan struct{})
	var load sync.WaitGroup
	call := func(count *atomic.Int64, f func() error) {
		load.Go(func() {
			for {
				select {
				case <-over:
					return
				default:
				}
				if err := f(); err != nil {
					mu.Lock()
					failed = append(failed, err)
					mu.Unlock()
				}
				count.Add(1)
			}
		})
	}
	programs, logs := pb.NewProgramServiceClient(client.Conn()), pb.NewMeasurementServiceClient(client.Conn())
	for range 3 {
		call(&asked, func() error {
			_, err := programs.GenerateProgram(ctx, &pb.GenerateProgramRequest{Request: bulkOrder(oneWeek()).GetRequest()})
			return err
		})
		call(&written, func() error {
			_, err := logs.CreateMeasurement(ctx, &pb.CreateMeasurementRequest{
				Parent: athlete, RequestId: uuid4(t), Measurement: &pb.Measurement{Quantity: "jump", Date: "2026-01-05", Value: 1},
			})
			return err
		})
	}
	for i := range restarts(t) {
		r := replicas[i%2]
		r.stop()
		r.start()
		time.Sleep(200 * time.Millisecond) // a deployment waits until it is ready, and so do clients
	}
	close(over)
	load.Wait()
	for _, r := range replicas {
		defer r.stop()
	}
	require.Empty(t, failed)
	there := int64(0)
	for token := ""; ; {
		page, err := logs.ListMeasurements(ctx, &pb.ListMeasurementsRequest{Parent: athlete, PageSize: 1000, PageToken: token})
		require.NoError(t, err)
		there += int64(len(page.GetMeasurements()))
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	require.Equal(t, written.Load(), there)
	require.Positive(t, asked.Load())
	t.Logf("%d restarts: %d programs and %d writes, none failed", restarts(t), asked.Load(), written.Load())
}
