package app

import (
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"

	"github.com/phasewright/phasewright/strategies/linear"
	"github.com/phasewright/phasewright/strategies/remote/remotetest"
)

func awayPlugin() *remotetest.Plugin {
	return &remotetest.Plugin{Strategy: linear.New(), Name: "away"}
}

func withStrategies(list ...string) func(*Config) {
	return func(c *Config) { c.Strategies = list }
}

// asking is the smallest request with a strategy.
func asking(strategy string) string {
	return strings.Replace(smallest, `{"athlete"`, `{"plan": {"tracks": [{"segments": [{"strategy": "`+strategy+`"}]}]}, "athlete"`, 1)
}

// A plug-in's strategy is listed as one, makes a program over REST, and the program can be
// made again and audited without it.
func TestPluginOverREST(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	end := awayPlugin().On(l)
	defer end()
	r := start(t, nil, withStrategies("away="+l.Addr().String()))
	code, body := get(t, r.url("/v1/strategies/away"))
	require.Equal(t, http.StatusOK, code, body)
	require.Contains(t, body, `"external":true`)
	_, body = get(t, r.url("/v1/strategies/linear"))
	require.Contains(t, body, `"external":false`)

	code, body = post(t, r.url("/v1/programs:generate"), asking("away"))
	require.Equal(t, http.StatusOK, code, body)
	var made struct{ Program json.RawMessage }
	require.NoError(t, json.Unmarshal([]byte(body), &made))
	require.Contains(t, string(made.Program), `"externalStrategies":[{"description":{"name":"away"`)

	end()
	code, body = post(t, r.url("/v1/programs:regenerate"), `{"program": `+string(made.Program)+`, "rework": {"fromWeek": 3}}`)
	require.Equal(t, http.StatusOK, code, body[:min(len(body), 500)])
	code, body = post(t, r.url("/v1/programs:audit"), `{"program": `+string(made.Program)+`}`)
	require.Equal(t, http.StatusOK, code, body[:min(len(body), 500)])
	require.NotContains(t, body, "FINDING_LEVEL_VIOLATION")
	code, body = post(t, r.url("/v1/programs:generate"), asking("away"))
	require.Equal(t, http.StatusServiceUnavailable, code)
	require.Contains(t, body, "the plug-in away does not answer")
	require.Contains(t, body, "PLUGIN_UNAVAILABLE")
}

// A plug-in that ends in the middle of a call is Unavailable at once; others are as ever.
func TestPluginKilledInTheMiddle(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	begun := make(chan struct{}, 1)
	p := awayPlugin()
	p.OnOutline = func(ctx context.Context, _ *sp.OutlineRequest, _ *sp.OutlineResponse) error {
		begun <- struct{}{}
		<-ctx.Done()
		return ctx.Err()
	}
	end := p.On(l)
	defer end()
	r := start(t, nil, withStrategies("away="+l.Addr().String()))
	type answer struct {
		code int
		body string
		took time.Duration
	}
	answers := make(chan answer, 1)
	go func() {
		at := time.Now()
		code, body := post(t, r.url("/v1/programs:generate"), asking("away"))
		answers <- answer{code, body, time.Since(at)}
	}()
	<-begun
	code, body := post(t, r.url("/v1/programs:generate"), asking("linear"))
	require.Equal(t, http.StatusOK, code, body)
	end()
	a := <-answers
	t.Logf("answered after %s", a.took)
	require.Equal(t, http.StatusServiceUnavailable, a.code, a.body)
	require.Contains(t, a.body, "the plug-in away does not answer")
	code, body = post(t, r.url("/v1/programs:generate"), asking("linear"))
	require.Equal(t, http.StatusOK, code, body)
}

// A server starts without a plug-in, says so, and has it once it runs.
func TestPluginThatComesLater(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := l.Addr().String()
	require.NoError(t, l.Close())
	r := start(t, nil, withStrategies("away="+address))
	require.Contains(t, r.log.String(), `"msg":"strategy not usable","strategy":"away"`)
	code, body := post(t, r.url("/v1/programs:generate"), asking("away"))
	require.Equal(t, http.StatusServiceUnavailable, code, body)
	require.Contains(t, body, "has not answered yet")
	_, body = get(t, r.url("/v1/strategies"))
	require.NotContains(t, body, `"away"`)

	l, err = net.Listen("tcp", address)
	require.NoError(t, err)
	defer awayPlugin().On(l)()
	require.Eventually(t, func() bool {
		code, _ := get(t, r.url("/v1/strategies/away"))
		return code == http.StatusOK
	}, 4*pluginEvery, 100*time.Millisecond)
	code, body = post(t, r.url("/v1/programs:generate"), asking("away"))
	require.Equal(t, http.StatusOK, code, body)
}

// What a plug-in answers wrongly ends the start where it can't be spoken to, else the call;
// the text names the plug-in and the field.
func TestPluginThatIsWrong(t *testing.T) {
	p := awayPlugin()
	p.OnHandshake = func(_ context.Context, a *sp.HandshakeResponse) error {
		a.ProtocolVersions = []int32{2, 3}
		return nil
	}
	c := DefaultConfig()
	c.Dev, c.Strategies = true, []string{"away=" + p.Serve(t)}
	_, err := New(c)
	require.ErrorContains(t, err, "away at 127.0.0.1:")
	require.ErrorContains(t, err, "protocol_versions: are 2, 3; this engine speaks 1")

	c.Strategies = []string{"wave=" + awayPlugin().Serve(t)}
	_, err = New(c)
	require.ErrorContains(t, err, `description.name: is "away"; this server was told that it is "wave"`)

	p = awayPlugin()
	p.OnOutline = func(_ context.Context, _ *sp.OutlineRequest, a *sp.OutlineResponse) error {
		a.Outline.Phases[0].Weeks[1].Sessions[0].Targets[2].Schemes[0].Sets.Min = -3
		return nil
	}
	r := start(t, nil, withStrategies("away="+p.Serve(t)))
	code, body := post(t, r.url("/v1/programs:generate"), asking("away"))
	require.Equal(t, http.StatusInternalServerError, code)
	require.Contains(t, body, "plan.tracks[0].segments[0].outline.phases[0].weeks[1].sessions[0].targets[2].schemes[0].sets: is -3 to ")
	require.Contains(t, body, "(as the plug-in away answers)")
	require.Contains(t, body, "OUTLINE_BOUNDS")
}

func TestPluginSettings(t *testing.T) {
	for spec, want := range map[string]string{
		"away":                          "is not NAME=HOST:PORT",
		"=127.0.0.1:1":                  "is not NAME=HOST:PORT",
		"away=127.0.0.1":                `"127.0.0.1" is not HOST:PORT`,
		"away=:7100":                    `":7100" is not HOST:PORT`,
		"away=http://127.0.0.1:1":       "is not HOST:PORT",
		"away=strategies.example:7100":  "write tls://strategies.example:7100, or plain://strategies.example:7100",
		"linear=127.0.0.1:1":            "is the name of a built-in strategy",
		"away=127.0.0.1:1,away=[::1]:1": "is there twice",
	} {
		c := DefaultConfig()
		c.Dev, c.Strategies = true, strings.Split(spec, ",")
		require.ErrorContains(t, c.Check(), want, spec)
	}
	c := DefaultConfig()
	c.Dev, c.Strategies = true, []string{"a=127.0.0.1:1", "b=localhost:2", "c=tls://strategies.example:443", "d=plain://strategies.example:7100"}
	require.NoError(t, c.Check())
	c.StrategyCA = filepath.Join(t.TempDir(), "none.pem")
	require.ErrorContains(t, c.Check(), "strategy-ca")
	require.NoError(t, os.WriteFile(c.StrategyCA, []byte("no certificate"), 0o600))
	require.ErrorContains(t, c.Check(), "holds no certificate")
}

func TestPluginOverTLS(t *testing.T) {
	dir := t.TempDir()
	cert, key := filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	pair(t, cert, key, 1)
	secure, err := credentials.NewServerTLSFromFile(cert, key)
	require.NoError(t, err)
	address := awayPlugin().Serve(t, grpc.Creds(secure))
	r := start(t, nil, withStrategies("away=tls://"+address), func(c *Config) { c.StrategyCA = cert })
	code, body := post(t, r.url("/v1/programs:generate"), asking("away"))
	require.Equal(t, http.StatusOK, code, body)

	stranger := start(t, nil, withStrategies("away=tls://"+address), func(c *Config) { c.StrategyTimeout = time.Second })
	code, body = post(t, stranger.url("/v1/programs:generate"), asking("away"))
	require.Equal(t, http.StatusServiceUnavailable, code, body)
	require.NotContains(t, body, "certificate")
	require.Contains(t, stranger.log.String(), "certificate signed by unknown authority", "the log says why")
}

func post(t *testing.T, url, body string) (int, string) {
	t.Helper()
	r, err := http.Post(url, "application/json", strings.NewReader(body))
	require.NoError(t, err)
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return r.StatusCode, string(text)
}
