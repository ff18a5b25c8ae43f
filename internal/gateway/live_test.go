package gateway

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func newRecorder() *httptest.ResponseRecorder { return httptest.NewRecorder() }

// live serves a handler on a real port, within all limits.
func live(t *testing.T, h http.Handler) (addr string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s := Server(h, 10*time.Second, nil)
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Serve(Limit(l, 10, 5)) }()
	t.Cleanup(func() { _ = s.Close(); <-done })
	return l.Addr().String()
}

func TestCallerWhoGoesAwayCancelsTheCall(t *testing.T) {
	began, ended := make(chan struct{}), make(chan error, 1)
	f := &fake{answer: func(ctx context.Context) error {
		close(began)
		<-ctx.Done()
		ended <- ctx.Err()
		return ctx.Err()
	}}
	addr := live(t, serve(t, f))
	ctx, leave := context.WithCancel(context.Background())
	defer leave()
	r, err := http.NewRequestWithContext(ctx, "POST", "http://"+addr+generate, strings.NewReader(minimal(t)))
	require.NoError(t, err)
	r.Header.Set("Content-Type", "application/json")
	failed := make(chan error, 1)
	go func() {
		res, err := http.DefaultClient.Do(r)
		if err == nil {
			_ = res.Body.Close()
		}
		failed <- err
	}()
	<-began
	leave()
	require.ErrorIs(t, <-ended, context.Canceled)
	require.ErrorIs(t, <-failed, context.Canceled)
}

func TestCallersDeadline(t *testing.T) {
	f := &fake{answer: func(ctx context.Context) error {
		_, ok := ctx.Deadline()
		if !ok {
			return nil
		}
		<-ctx.Done()
		return ctx.Err()
	}}
	w := ask(serve(t, f), "GET", "/v1/muscles", "", "Grpc-Timeout: 20m")
	require.Equal(t, 504, w.Code)
	require.Equal(t, "DEADLINE", failed(t, w).reason())
}

func TestRealAnswers(t *testing.T) {
	addr := live(t, serve(t, &fake{}))
	get := func(method, target string) *http.Response {
		r, err := http.NewRequest(method, "http://"+addr+target, nil)
		require.NoError(t, err)
		res, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		return res
	}
	res := get("HEAD", "/v1/exercises")
	require.Equal(t, 200, res.StatusCode)
	require.Equal(t, int64(len(`{"exercises":[],"nextPageToken":""}`)+1), res.ContentLength)
	data, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.Empty(t, data)
	require.NoError(t, res.Body.Close())

	big := strings.NewReader(strings.Repeat(" ", 2<<20))
	post, err := http.Post("http://"+addr+generate, "application/json", big)
	require.NoError(t, err)
	require.Equal(t, 413, post.StatusCode)
	require.NoError(t, post.Body.Close())

	// What net/http can't parse is refused by itself.
	c, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	defer func() { _ = c.Close() }()
	_, err = fmt.Fprint(c, "GET /v1/exercises/%zz HTTP/1.1\r\nHost: x\r\n\r\n")
	require.NoError(t, err)
	line, err := bufio.NewReader(c).ReadString('\n')
	require.NoError(t, err)
	require.Contains(t, line, "400")
}

func TestHeadersAreBounded(t *testing.T) {
	addr := live(t, serve(t, &fake{}))
	for size, code := range map[int]int{12 << 10: 200, 20 << 10: 431} {
		r, err := http.NewRequest("GET", "http://"+addr+"/livez", nil)
		require.NoError(t, err)
		r.Header.Set("X-Long", strings.Repeat("a", size))
		res, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		require.Equal(t, code, res.StatusCode, size)
		require.NoError(t, res.Body.Close())
	}
}

func TestServerHasEveryLimit(t *testing.T) {
	s := Server(http.NotFoundHandler(), 40*time.Second, nil)
	require.Equal(t, 5*time.Second, s.ReadHeaderTimeout)
	require.Equal(t, 12<<10, s.MaxHeaderBytes)
	require.Greater(t, s.WriteTimeout, s.ReadTimeout+40*time.Second)
	require.Positive(t, s.ReadTimeout)
	require.Positive(t, s.IdleTimeout)
}
