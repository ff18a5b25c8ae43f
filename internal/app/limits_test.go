package app

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/http2"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/gateway"
	"github.com/phasewright/phasewright/internal/service"
)

func TestHeadersAreBounded(t *testing.T) {
	r := start(t, nil)
	ctx := metadata.AppendToOutgoingContext(context.Background(), "x-large", strings.Repeat("x", 20<<10))
	_, err := pb.NewCatalogueServiceClient(r.conn).ListMuscles(ctx, nil)
	require.Error(t, err)
	require.NotContains(t, r.log.String(), "ListMuscles")
	_, err = pb.NewCatalogueServiceClient(r.conn).ListMuscles(context.Background(), nil)
	require.NoError(t, err, "the connection is still good")

	request, err := http.NewRequest(http.MethodGet, r.url("/v1/muscles"), nil)
	require.NoError(t, err)
	request.Header.Set("X-Large", strings.Repeat("x", 20<<10))
	answer, err := http.DefaultClient.Do(request)
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	require.Equal(t, http.StatusRequestHeaderFieldsTooLarge, answer.StatusCode)
}

// counted is an engine that counts the calls which work at once.
type counted struct {
	service.Engine
	all, now, most atomic.Int64
	letGo          chan struct{}
}

func (c *counted) Generate(ctx context.Context, _ plan.Request) (plan.Program, error) {
	c.all.Add(1)
	n := c.now.Add(1)
	defer c.now.Add(-1)
	for m := c.most.Load(); n > m && !c.most.CompareAndSwap(m, n); m = c.most.Load() {
	}
	select {
	case <-c.letGo:
		return plan.Program{}, nil
	case <-ctx.Done():
		return plan.Program{}, ctx.Err()
	}
}

// One connection has at most 128 calls at work; the rest waits and is served too.
func TestStreamsAreBounded(t *testing.T) {
	e := &counted{letGo: make(chan struct{})}
	const calls = 200
	r := start(t, e, func(c *Config) { c.Slots = calls })
	var done sync.WaitGroup
	failures := make(chan error, calls)
	for range calls {
		done.Go(func() {
			_, err := pb.NewProgramServiceClient(r.conn).GenerateProgram(context.Background(), smallestMessage())
			failures <- err
		})
	}
	require.Eventually(t, func() bool { return e.now.Load() == 128 }, 10*time.Second, time.Millisecond)
	close(e.letGo)
	done.Wait()
	close(failures)
	for err := range failures {
		require.NoError(t, err)
	}
	require.EqualValues(t, 128, e.most.Load())
}

// An address has at most 200 connections on a port: the next is closed, whoever comes from
// elsewhere is served, and so is the first once one of its own is gone.
func TestConnectionsAreBounded(t *testing.T) {
	r := start(t, nil)
	for at, hello := range map[string]string{r.HTTPAddr(): "GET /livez HTTP/1.1\r\nHost: x\r\n\r\n", r.GRPCAddr(): http2.ClientPreface} {
		from := func(host byte) (net.Conn, error) {
			c, err := (&net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 2, host)}}).Dial("tcp", at)
			require.NoError(t, err)
			t.Cleanup(func() { c.Close() })
			if _, err = io.WriteString(c, hello); err == nil {
				require.NoError(t, c.SetReadDeadline(time.Now().Add(time.Minute)))
				_, err = c.Read(make([]byte, 1))
			}
			return c, err
		}
		var last net.Conn
		for i := range 200 {
			c, err := from(1)
			require.NoError(t, err, i)
			last = c
		}
		_, err := from(1)
		require.Error(t, err, "the 201st")
		_, err = from(2)
		require.NoError(t, err)
		require.NoError(t, last.Close())
		require.Eventually(t, func() bool {
			_, err := from(1)
			return err == nil
		}, time.Minute, 10*time.Millisecond)
	}
	require.Equal(t, 10_000, gateway.MaxConns, "more than a test may open everywhere; see TestConnectionsOverall")
}

// Opening and cancelling streams as fast as possible never has more handlers at work
// than streams are allowed, and leaves none behind.
func TestRapidResets(t *testing.T) {
	e := &counted{letGo: make(chan struct{})}
	const connections, resets = 4, 2000
	r := start(t, e, func(c *Config) { c.Slots = 1024 })
	var done sync.WaitGroup
	for range connections {
		conn := r.dial(t)
		done.Go(func() {
			c := pb.NewProgramServiceClient(conn)
			for range resets {
				ctx, cancel := context.WithCancel(context.Background())
				go cancel()
				_, _ = c.GenerateProgram(ctx, smallestMessage())
			}
		})
	}
	done.Wait()
	require.LessOrEqual(t, e.most.Load(), int64(connections*128))
	require.Eventually(t, func() bool { return e.now.Load() == 0 }, 10*time.Second, time.Millisecond)
	_, err := pb.NewCatalogueServiceClient(r.conn).ListMuscles(context.Background(), nil)
	require.NoError(t, err)
}

func TestBodiesAndMessagesAreBounded(t *testing.T) {
	r := start(t, nil)
	body := `{"request":{"athlete":{"callerId":"` + strings.Repeat("x", 9<<20) + `"}}}`
	answer, err := http.Post(r.url("/v1/programs:generate"), "application/json", strings.NewReader(body))
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	require.Equal(t, http.StatusRequestEntityTooLarge, answer.StatusCode)
	m := smallestMessage()
	m.Request.Athlete.CallerId = strings.Repeat("x", 5<<20)
	_, err = pb.NewProgramServiceClient(r.conn).GenerateProgram(context.Background(), m)
	require.Equal(t, codes.ResourceExhausted, status.Code(err))
}

// Who sends nothing more is cut off, and holds nobody else up.
func TestSilentClients(t *testing.T) {
	r := start(t, nil)
	var silent []net.Conn
	for range 50 {
		c, err := net.Dial("tcp", r.HTTPAddr())
		require.NoError(t, err)
		defer c.Close()
		_, err = fmt.Fprint(c, "GET /v1/muscles HTTP/1.1\r\nHost: x\r\nX-A: ")
		require.NoError(t, err)
		silent = append(silent, c)
	}
	code, _ := get(t, r.url("/v1/muscles"))
	require.Equal(t, http.StatusOK, code)
	for _, c := range silent {
		require.NoError(t, c.SetReadDeadline(time.Now().Add(time.Minute)))
		_, err := bufio.NewReader(c).ReadString(0)
		require.ErrorContains(t, err, "EOF")
	}
}
