package app

import (
	"bufio"
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
)

// envServe makes the test's own program a server: its Data as JSON.
const envServe = "PHASEWRIGHT_TEST_SERVE"

// TestMain runs the tests, or a server for them to kill.
func TestMain(m *testing.M) {
	if text := os.Getenv(envServe); text != "" {
		c := DefaultConfig()
		c.GRPCAddr, c.HTTPAddr, c.Rate = "127.0.0.1:0", "127.0.0.1:0", 0
		c.Log = slog.New(slog.NewJSONHandler(os.Stdout, nil))
		err := json.Unmarshal([]byte(text), &c.Data)
		var a *App
		if err == nil {
			a, err = New(c)
		}
		if err == nil {
			err = a.Run(context.Background())
		}
		fmt.Println(err)
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// process is a server in a process of its own.
type process struct {
	cmd  *exec.Cmd
	conn *grpc.ClientConn
	took time.Duration // from its start to its first line "serving"
}

func spawn(t *testing.T, d Data) *process {
	t.Helper()
	text, err := json.Marshal(d)
	require.NoError(t, err)
	p := &process{cmd: exec.Command(os.Args[0])}
	p.cmd.Env = append(os.Environ(), envServe+"="+string(text))
	out, err := p.cmd.StdoutPipe()
	require.NoError(t, err)
	began := time.Now()
	require.NoError(t, p.cmd.Start())
	lines := bufio.NewScanner(out)
	var all []string
	for lines.Scan() {
		all = append(all, lines.Text())
		var line struct{ Msg, GRPC string }
		if json.Unmarshal(lines.Bytes(), &line) == nil && line.Msg == "serving" {
			p.took = time.Since(began)
			go func() { // so that it is never held up by its log
				for lines.Scan() {
					continue
				}
			}()
			p.conn, err = grpc.NewClient(line.GRPC, grpc.WithTransportCredentials(insecure.NewCredentials()))
			require.NoError(t, err)
			return p
		}
	}
	require.Fail(t, "the server did not start", strings.Join(all, "\n"))
	return nil
}

func (p *process) kill(t *testing.T) {
	t.Helper()
	require.NoError(t, p.cmd.Process.Kill())
	_ = p.cmd.Wait() // it was killed
	require.NoError(t, p.conn.Close())
}

func uuid4(t testing.TB) string {
	var b service.ID
	_, err := rand.Read(b[:])
	require.NoError(t, err)
	b[6], b[8] = b[6]&0x0f|0x40, b[8]&0x3f|0x80
	return b.String()
}

// found makes the first key of data.
func found(t *testing.T, d Data) string {
	t.Helper()
	s, pepper, err := d.Open(context.Background())
	require.NoError(t, err)
	made, err := service.NewAccess(s, pepper, time.Now).Found(context.Background(), service.MainTenant, order())
	require.NoError(t, err)
	require.NoError(t, s.Close())
	return made.Secret
}

// keyNames counts keys by what they are called.
func keyNames(t *testing.T, conn *grpc.ClientConn, admin string) map[string]int {
	t.Helper()
	out := map[string]int{}
	r := &pb.ListApiKeysRequest{PageSize: 100}
	for {
		page, err := pb.NewAccessServiceClient(conn).ListApiKeys(as(admin), r)
		require.NoError(t, err)
		for _, k := range page.GetApiKeys() {
			out[k.GetDisplayName()]++
		}
		if r.PageToken = page.GetNextPageToken(); r.PageToken == "" {
			return out
		}
	}
}

// campaign kills a server while it writes, again and again. What it acknowledged is
// there, what is asked again has one effect and one answer, and the next one is ready
// within two seconds.
func campaign(t *testing.T, d Data) {
	admin := found(t, d)
	cycles := 5
	if n, err := strconv.Atoi(os.Getenv("PHASEWRIGHT_STORE_KILLS")); err == nil {
		cycles = n
	}
	type answer struct{ name, id, secret string }
	acknowledged := map[string]answer{}
	var unsure []string // asked, and no answer came
	var slowest time.Duration
	ask := func(conn *grpc.ClientConn, id string) (answer, error) {
		ctx, cancel := context.WithTimeout(as(admin), 10*time.Second)
		defer cancel()
		a, err := pb.NewAccessServiceClient(conn).CreateApiKey(ctx, &pb.CreateApiKeyRequest{
			RequestId: id, ApiKey: &pb.ApiKey{DisplayName: id, Scopes: []pb.Scope{pb.Scope_SCOPE_READ}},
		})
		return answer{id, a.GetApiKey().GetName(), a.GetSecret()}, err
	}
	for cycle := range cycles {
		p := spawn(t, d)
		slowest = max(slowest, p.took)
		var mu sync.Mutex
		var all sync.WaitGroup
		for range 4 {
			all.Go(func() {
				for {
					id := uuid4(t)
					a, err := ask(p.conn, id)
					mu.Lock()
					if err != nil {
						unsure = append(unsure, id)
						mu.Unlock()
						return
					}
					acknowledged[id] = a
					mu.Unlock()
				}
			})
		}
		time.Sleep(time.Duration(60+37*cycle%200) * time.Millisecond)
		p.kill(t)
		all.Wait()
	}
	p := spawn(t, d)
	defer p.kill(t)
	slowest = max(slowest, p.took)
	for _, id := range unsure {
		a, err := ask(p.conn, id)
		require.NoError(t, err)
		acknowledged[id] = a
	}
	n := 0
	for id, want := range acknowledged {
		if n++; n > 200 {
			break
		}
		got, err := ask(p.conn, id)
		require.NoError(t, err)
		require.Equal(t, want, got, "the answer of then")
	}
	have := keyNames(t, p.conn, admin)
	require.Len(t, have, len(acknowledged)+1)
	for id := range acknowledged {
		require.Equal(t, 1, have[id])
	}
	require.Greater(t, len(acknowledged), cycles)
	require.Less(t, slowest, 2*time.Second)
	t.Logf("%d cycles, %d acknowledged, %d asked again, slowest start %s", cycles, len(acknowledged), len(unsure), slowest)
}

func TestKilledServerSQLite(t *testing.T) {
	campaign(t, Data{Dir: filepath.Join(t.TempDir(), "data")})
}

func TestKilledServerPostgreSQL(t *testing.T) {
	if d, ok := postgresData(t); ok {
		campaign(t, d)
	}
}

// Two servers on one database: what one has acknowledged the other has at once, a
// repeated request has one effect wherever it goes, and a revoked key is good on neither
// for longer than five seconds.
func TestTwoReplicas(t *testing.T) {
	d, ok := postgresData(t)
	if !ok {
		return
	}
	admin := found(t, d)
	a, b := spawn(t, d), spawn(t, d)
	defer a.kill(t)
	defer b.kill(t)
	for i := range 100 {
		one, other := a, b
		if i%2 == 1 {
			one, other = b, a
		}
		r := &pb.CreateApiKeyRequest{RequestId: uuid4(t), ApiKey: &pb.ApiKey{DisplayName: fmt.Sprint(i), Scopes: []pb.Scope{pb.Scope_SCOPE_READ}}}
		made, err := pb.NewAccessServiceClient(one.conn).CreateApiKey(as(admin), r)
		require.NoError(t, err)
		got, err := pb.NewAccessServiceClient(other.conn).GetApiKey(as(admin), &pb.GetApiKeyRequest{Name: made.GetApiKey().GetName()})
		require.NoError(t, err)
		require.Equal(t, fmt.Sprint(i), got.GetApiKey().GetDisplayName())
		again, err := pb.NewAccessServiceClient(other.conn).CreateApiKey(as(admin), r)
		require.NoError(t, err)
		require.Equal(t, made.GetSecret(), again.GetSecret())
		if i > 0 {
			continue
		}
		read := func(p *process) error {
			_, err := pb.NewCatalogueServiceClient(p.conn).ListMuscles(as(made.GetSecret()), &pb.ListMusclesRequest{})
			return err
		}
		require.NoError(t, read(a))
		require.NoError(t, read(b))
		_, err = pb.NewAccessServiceClient(a.conn).RevokeApiKey(as(admin), &pb.RevokeApiKeyRequest{Name: made.GetApiKey().GetName()})
		require.NoError(t, err)
		require.Error(t, read(a))
		require.Eventually(t, func() bool { return read(b) != nil }, 5*time.Second, 20*time.Millisecond)
	}
	// The same request to both at once.
	for range 20 {
		r := &pb.CreateApiKeyRequest{RequestId: uuid4(t), ApiKey: &pb.ApiKey{DisplayName: "twin", Scopes: []pb.Scope{pb.Scope_SCOPE_READ}}}
		var all sync.WaitGroup
		secrets := make([]string, 4)
		for i, p := range []*process{a, b, a, b} {
			all.Go(func() {
				got, err := pb.NewAccessServiceClient(p.conn).CreateApiKey(as(admin), r)
				if err == nil {
					secrets[i] = got.GetSecret()
				}
			})
		}
		all.Wait()
		for _, s := range secrets {
			require.Equal(t, secrets[0], s)
		}
		require.NotEmpty(t, secrets[0])
	}
	require.Equal(t, 20, keyNames(t, a.conn, admin)["twin"])
}

// pepperOf writes a pepper for servers that share a database.
func pepperOf(t *testing.T) string {
	t.Helper()
	var p service.Pepper
	_, err := rand.Read(p[:])
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "pepper")
	require.NoError(t, os.WriteFile(path, []byte(hex.EncodeToString(p[:])), 0o600))
	return path
}
