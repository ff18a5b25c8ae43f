package app

import (
	"context"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

// overloadTime is how long the server is asked for too much: PHASEWRIGHT_OVERLOAD, or
// short.
func overloadTime(t *testing.T) time.Duration {
	text := os.Getenv("PHASEWRIGHT_OVERLOAD")
	if text == "" {
		return 2 * time.Second
	}
	d, err := time.ParseDuration(text)
	require.NoError(t, err)
	return d
}

// loaded is what became of calls.
type loaded struct {
	mu      sync.Mutex
	ok      int
	shed    int
	bad     []error // refusals that are none
	slowest time.Duration
}

func (l *loaded) call(c pb.ProgramServiceClient, r *pb.GenerateProgramRequest) {
	began := time.Now()
	_, err := c.GenerateProgram(context.Background(), r)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.slowest = max(l.slowest, time.Since(began))
	if err == nil {
		l.ok++
		return
	}
	l.shed++
	st, retry := status.Convert(err), false
	for _, d := range st.Details() {
		i, ok := d.(*errdetails.RetryInfo)
		retry = retry || ok && i.GetRetryDelay().AsDuration() > 0
	}
	if st.Code() != codes.Unavailable || !retry {
		l.bad = append(l.bad, err)
	}
}

// Asked for three times what it can do, by callers who don't wait for each other, a
// server does as much as before, says to the others when to come back, and is itself
// again as soon as that ends.
func TestOverload(t *testing.T) {
	during := overloadTime(t)
	r := start(t, nil)
	client := pb.NewProgramServiceClient(r.conn)
	request := &pb.GenerateProgramRequest{}
	require.NoError(t, protojson.Unmarshal([]byte(smallest), request))

	// At its peak: as many callers as slots, each with the next call after the last.
	var peak loaded
	var wg sync.WaitGroup
	end := time.Now().Add(during)
	for range 2 {
		wg.Go(func() {
			for time.Now().Before(end) {
				peak.call(client, request)
			}
		})
	}
	wg.Wait()
	require.Empty(t, peak.bad)
	perSecond := float64(peak.ok) / during.Seconds()

	var over loaded
	every := time.Duration(float64(time.Second) / (3 * perSecond))
	began := time.Now()
	for at := began; at.Sub(began) < during; at = at.Add(every) {
		time.Sleep(time.Until(at))
		wg.Go(func() { over.call(client, request) })
	}
	wg.Wait()
	goodput := float64(over.ok) / time.Since(began).Seconds()
	t.Logf("peak %.1f a second, at three times that %.1f (%.0f %%), %d refused, slowest answer %s",
		perSecond, goodput, 100*goodput/perSecond, over.shed, over.slowest.Round(time.Millisecond))
	require.Empty(t, over.bad)
	require.Positive(t, over.shed)
	least := 0.5 // in a short time among other tests a few programs more or less decide
	if os.Getenv("PHASEWRIGHT_OVERLOAD") != "" {
		least = 0.9
	}
	require.GreaterOrEqual(t, goodput, least*perSecond)

	ended := time.Now()
	var after loaded
	for range 4 {
		after.call(client, request)
	}
	require.Equal(t, 4, after.ok, "recovered")
	if os.Getenv("PHASEWRIGHT_OVERLOAD") != "" {
		require.Less(t, time.Since(ended), 10*time.Second)
	}
}
