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
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
)

// envServe makes the test's own program a server: its Data as JSON.
const envServe = "PHASEWRIGHT_TEST_SERVE"

// Of such a server: how many workers and slots it has, where not the usual ones.
const (
	envWorkers = "PHASEWRIGHT_TEST_WORKERS"
	envSlots   = "PHASEWRIGHT_TEST_SLOTS"
)

// TestMain runs the tests, or a server for them to kill.
func TestMain(m *testing.M) {
	if text := os.Getenv(envServe); text != "" {
		c := DefaultConfig()
		c.GRPCAddr, c.HTTPAddr, c.Rate = "127.0.0.1:0", "127.0.0.1:0", 0
		c.lease = 2 * time.Second
		c.BulkWorkers, _ = strconv.Atoi(os.Getenv(envWorkers))
		c.Slots, _ = strconv.Atoi(os.Getenv(envSlots))
		c.Log = slog.New(slog.NewJSONHandler(os.Stdout, nil))
		err := json.Unmarshal([]byte(text), &c.Data)
		var a *App
		if err == nil {
			a, err = quickly(c)
		}
		if err == nil {
			err = a.Run(context.Background())
		}
		fmt.Println(err)
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// quickly makes a server that spends little on a program.
func quickly(c Config) (*App, error) {
	e, err := NewEngine()
	if err != nil {
		return nil, err
	}
	return with(c, e.WithBudget(fuzzBudget))
}

// process is a server in a process of its own.
type process struct {
	cmd  *exec.Cmd
	conn *grpc.ClientConn
	took time.Duration // from its start to its first line "serving"
}

// spawn starts one, perhaps under another program.
func spawn(t *testing.T, d Data, under ...string) *process {
	t.Helper()
	text, err := json.Marshal(d)
	require.NoError(t, err)
	argv := append(under, os.Args[0])
	p := &process{cmd: exec.Command(argv[0], argv[1:]...)}
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

// kills is how many times servers are killed: few, unless the environment says how many.
func kills() int {
	if n, err := strconv.Atoi(os.Getenv("PHASEWRIGHT_STORE_KILLS")); err == nil {
		return n
	}
	return 5
}

// scaled gives an amount of work that goes with the number of kills.
func scaled(few, some, all int) int {
	switch n := kills(); {
	case n >= 1000:
		return all
	case n >= 50:
		return some
	}
	return few
}

// written is a request with an id, and what it was answered.
type written struct {
	method          string // package.Service/Method
	request, answer proto.Message
}

func (w *written) send(conn *grpc.ClientConn, key string) (proto.Message, error) {
	ctx, cancel := context.WithTimeout(as(key), 10*time.Second)
	defer cancel()
	out := w.answer.ProtoReflect().New().Interface()
	return out, conn.Invoke(ctx, "/phasewright.v1."+w.method, w.request, out, grpc.MaxCallRecvMsgSize(64<<20))
}

// again asks once more and wants the answer of then, if there was one.
func (w *written) again(t *testing.T, conn *grpc.ClientConn, key string, had bool) {
	t.Helper()
	got, err := w.send(conn, key)
	require.NoError(t, err, w.method)
	if had {
		require.True(t, proto.Equal(w.answer, got), "%s: the answer of then\n%s\n%s", w.method, w.answer, got)
	}
	w.answer = got
}

// campaign kills a server while keys, measurements and revisions of programs are written,
// again and again. What it acknowledged is there, what is asked again has one effect and
// one answer, no revision is there in halves, and the next one is ready within two seconds.
type campaign struct {
	t       *testing.T
	data    Data
	admin   string
	athlete string

	mu           sync.Mutex
	acknowledged []*written
	unsure       []*written // asked, and no answer came
	slowest      time.Duration
	slow         int // starts of two seconds and more
	resent       int
}

// writers make requests, each of something new, and go on until one is not answered.
func (c *campaign) writers() []func() *written {
	measurement := func() *written {
		return &written{"MeasurementService/CreateMeasurement", &pb.CreateMeasurementRequest{
			RequestId: uuid4(c.t), Parent: c.athlete, Measurement: &pb.Measurement{Quantity: uuid4(c.t), Date: "2026-01-05", Value: 1},
		}, &pb.CreateMeasurementResponse{}}
	}
	key := func() *written {
		return &written{"AccessService/CreateApiKey", &pb.CreateApiKeyRequest{
			RequestId: uuid4(c.t), ApiKey: &pb.ApiKey{DisplayName: uuid4(c.t), Scopes: []pb.Scope{pb.Scope_SCOPE_READ}},
		}, &pb.CreateApiKeyResponse{}}
	}
	program := ""
	revision := func() *written {
		c.mu.Lock()
		defer c.mu.Unlock()
		if n := len(c.acknowledged); program == "" {
			for i := n - 1; i >= 0 && program == ""; i-- {
				if a, ok := c.acknowledged[i].answer.(*pb.CreateProgramResponse); ok {
					program = a.GetProgram().GetName()
				}
			}
		}
		if program == "" {
			return &written{"ProgramRecordService/CreateProgram", &pb.CreateProgramRequest{
				RequestId: uuid4(c.t), Parent: c.athlete, Constraints: twoDays(),
			}, &pb.CreateProgramResponse{}}
		}
		return &written{"ProgramRecordService/ReviseProgram", &pb.ReviseProgramRequest{
			RequestId: uuid4(c.t), Name: program, Rework: &pb.Rework{From: &pb.Rework_FromWeek{FromWeek: 3}}, Reason: uuid4(c.t),
		}, &pb.ReviseProgramResponse{}}
	}
	return []func() *written{measurement, measurement, key, revision}
}

func (c *campaign) cycle(wait time.Duration) {
	p := spawn(c.t, c.data)
	c.started(p)
	for _, w := range c.unsure { // of the one before
		w.again(c.t, p.conn, c.admin, false)
		c.acknowledged = append(c.acknowledged, w)
		c.resent++
	}
	c.unsure = nil
	var all sync.WaitGroup
	for _, next := range c.writers() {
		all.Go(func() {
			for {
				w := next()
				a, err := w.send(p.conn, c.admin)
				c.mu.Lock()
				if err != nil {
					c.unsure = append(c.unsure, w)
					c.mu.Unlock()
					return
				}
				w.answer = a
				c.acknowledged = append(c.acknowledged, w)
				c.mu.Unlock()
			}
		})
	}
	time.Sleep(wait)
	p.kill(c.t)
	all.Wait()
}

func (c *campaign) started(p *process) {
	c.slowest = max(c.slowest, p.took)
	if p.took >= 2*time.Second {
		c.slow++
	}
}

func (c *campaign) run() {
	c.admin = found(c.t, c.data)
	first := spawn(c.t, c.data)
	a, err := pb.NewAthleteServiceClient(first.conn).CreateAthlete(as(c.admin), &pb.CreateAthleteRequest{Athlete: adult()})
	require.NoError(c.t, err)
	c.athlete = a.GetAthlete().GetName()
	first.kill(c.t)
	for i := range kills() {
		c.cycle(time.Duration(60+37*i%200) * time.Millisecond)
	}
	p := spawn(c.t, c.data)
	defer p.kill(c.t)
	c.started(p)
	for _, w := range c.unsure {
		w.again(c.t, p.conn, c.admin, false)
		c.acknowledged = append(c.acknowledged, w)
	}
	step := max(1, len(c.acknowledged)/300)
	for i := 0; i < len(c.acknowledged); i += step {
		c.acknowledged[i].again(c.t, p.conn, c.admin, true)
		c.resent++
	}
	c.hold(p.conn)
	require.Greater(c.t, len(c.acknowledged), kills())
	// One start in fifty may have met a machine that was busy with something else.
	require.LessOrEqual(c.t, c.slow, max(1, kills()/50), "ready again within 2 s")
	c.t.Logf("%d kills, %d acknowledged, %d asked again, slowest start %s, %d of 2 s and more", kills(), len(c.acknowledged), c.resent, c.slowest, c.slow)
}

// hold wants each thing that was acknowledged once, nothing else, and revisions whole.
func (c *campaign) hold(conn *grpc.ClientConn) {
	keys, quantities, reasons := keyNames(c.t, conn, c.admin), map[string]int{}, map[string]int{}
	list := &pb.ListMeasurementsRequest{Parent: c.athlete, PageSize: 1000}
	for more := true; more; more = list.PageToken != "" {
		page, err := pb.NewMeasurementServiceClient(conn).ListMeasurements(as(c.admin), list)
		require.NoError(c.t, err)
		for _, m := range page.GetMeasurements() {
			quantities[m.GetQuantity()]++
		}
		list.PageToken = page.GetNextPageToken()
	}
	records := pb.NewProgramRecordServiceClient(conn)
	programs, err := records.ListPrograms(as(c.admin), &pb.ListProgramsRequest{Parent: c.athlete})
	require.NoError(c.t, err)
	for _, p := range programs.GetPrograms() {
		all := &pb.ListProgramRevisionsRequest{Parent: p.GetName(), PageSize: 1000}
		n := 0
		for more := true; more; more = all.PageToken != "" {
			page, err := records.ListProgramRevisions(as(c.admin), all)
			require.NoError(c.t, err)
			for _, r := range page.GetRevisions() {
				n++
				require.Equal(c.t, fmt.Sprintf("%s/revisions/%d", p.GetName(), n), r.GetName())
				reasons[r.GetReason()]++
				if n > 200 && n%20 != 0 {
					continue
				}
				whole, err := records.GetProgramRevision(as(c.admin), &pb.GetProgramRevisionRequest{Name: r.GetName()}, grpc.MaxCallRecvMsgSize(64<<20))
				require.NoError(c.t, err)
				require.Equal(c.t, r.GetDigest(), whole.GetRevision().GetProgram().GetDigest())
			}
			all.PageToken = page.GetNextPageToken()
		}
		require.Equal(c.t, fmt.Sprintf("%s/revisions/%d", p.GetName(), n), p.GetLatestRevision())
	}
	count := map[string]int{}
	for _, w := range c.acknowledged {
		count[w.method]++
		switch r := w.request.(type) {
		case *pb.CreateApiKeyRequest:
			require.Equal(c.t, 1, keys[r.GetApiKey().GetDisplayName()])
		case *pb.CreateMeasurementRequest:
			require.Equal(c.t, 1, quantities[r.GetMeasurement().GetQuantity()])
		case *pb.ReviseProgramRequest:
			require.Equal(c.t, 1, reasons[r.GetReason()])
		}
	}
	require.Len(c.t, keys, count["AccessService/CreateApiKey"]+1)
	require.Len(c.t, quantities, count["MeasurementService/CreateMeasurement"])
	require.Len(c.t, programs.GetPrograms(), count["ProgramRecordService/CreateProgram"])
	require.Equal(c.t, count["ProgramRecordService/CreateProgram"], reasons[""], "first revisions have no reason")
	require.Len(c.t, reasons, count["ProgramRecordService/ReviseProgram"]+1)
	c.t.Logf("%v", count)
}

func TestKilledServerSQLite(t *testing.T) {
	(&campaign{t: t, data: Data{Dir: filepath.Join(t.TempDir(), "data")}}).run()
}

func TestKilledServerPostgreSQL(t *testing.T) {
	if d, ok := postgresData(t); ok {
		(&campaign{t: t, data: d}).run()
	}
}

// Each of many athletes is created by five callers at once, with one request id, while the
// server is killed again and again: each caller asks until it is answered. There are as
// many athletes as ids, and the five have one answer.
func TestDuplicatesWhileKilledSQLite(t *testing.T) {
	duplicates(t, Data{Dir: filepath.Join(t.TempDir(), "data")})
}

func TestDuplicatesWhileKilledPostgreSQL(t *testing.T) {
	if d, ok := postgresData(t); ok {
		duplicates(t, d)
	}
}

func duplicates(t *testing.T, d Data) {
	admin := found(t, d)
	creates := scaled(40, 200, 1000)
	var mu sync.RWMutex
	p := spawn(t, d)
	now := func() *grpc.ClientConn {
		mu.RLock()
		defer mu.RUnlock()
		return p.conn
	}
	create := func(id string) (*pb.CreateAthleteResponse, error) {
		w := &written{"AthleteService/CreateAthlete", &pb.CreateAthleteRequest{RequestId: id, Athlete: adult()}, &pb.CreateAthleteResponse{}}
		for {
			a, err := w.send(now(), admin)
			switch status.Code(err) {
			case codes.OK:
				return a.(*pb.CreateAthleteResponse), nil
			case codes.Unavailable, codes.Canceled, codes.DeadlineExceeded: // dead, dying, or too many at once
				time.Sleep(10 * time.Millisecond)
			default:
				return nil, err
			}
		}
	}
	ids := make(chan string)
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			for id := range ids {
				var five sync.WaitGroup
				var answers [5]*pb.CreateAthleteResponse
				for i := range answers {
					five.Go(func() {
						a, err := create(id)
						if err != nil {
							t.Error(err)
						}
						answers[i] = a
					})
				}
				five.Wait()
				for _, a := range answers {
					if !proto.Equal(a, answers[0]) {
						t.Errorf("%s and %s", a, answers[0])
					}
				}
			}
		})
	}
	finished := make(chan struct{})
	go func() {
		for range creates {
			ids <- uuid4(t)
		}
		close(ids)
		all.Wait()
		close(finished)
	}()
	killed := 0
	for done := false; !done; {
		select {
		case <-finished:
			done = true
		case <-time.After(time.Duration(80+53*killed%240) * time.Millisecond):
			mu.Lock()
			p.kill(t)
			p = spawn(t, d)
			mu.Unlock()
			killed++
		}
	}
	rows := map[string]bool{}
	list := &pb.ListAthletesRequest{PageSize: 1000}
	for more := true; more; more = list.PageToken != "" {
		page, err := pb.NewAthleteServiceClient(p.conn).ListAthletes(as(admin), list)
		require.NoError(t, err)
		for _, a := range page.GetAthletes() {
			rows[a.GetName()] = true
		}
		list.PageToken = page.GetNextPageToken()
	}
	p.kill(t)
	require.Len(t, rows, creates)
	require.Positive(t, killed)
	t.Logf("%d creates, five times each, %d kills: %d rows", creates, killed, len(rows))
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
	fresh(t, [2]*grpc.ClientConn{a.conn, b.conn}, admin, scaled(200, 2000, 10_000))
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

// fresh creates on one server and reads on the other, many at once.
func fresh(t *testing.T, conns [2]*grpc.ClientConn, admin string, pairs int) {
	var stale, done atomic.Int64
	var all sync.WaitGroup
	for w := range 8 {
		all.Go(func() {
			for i := w; i < pairs; i += 8 {
				one, other := pb.NewAthleteServiceClient(conns[i/8%2]), pb.NewAthleteServiceClient(conns[1-i/8%2])
				made, err := one.CreateAthlete(as(admin), &pb.CreateAthleteRequest{Athlete: adult(), RequestId: uuid4(t)})
				if err != nil {
					t.Error(err)
					return
				}
				got, err := other.GetAthlete(as(admin), &pb.GetAthleteRequest{Name: made.GetAthlete().GetName()})
				if err != nil || !proto.Equal(made.GetAthlete(), got.GetAthlete()) {
					stale.Add(1)
				}
				done.Add(1)
			}
		})
	}
	all.Wait()
	require.EqualValues(t, pairs, done.Load())
	require.Zero(t, stale.Load())
	t.Logf("%d pairs of create and get on two servers, none stale", pairs)
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

// killTree ends what runs under another program: that one's end alone would let it go on.
func (p *process) killTree(t *testing.T) {
	t.Helper()
	list, err := exec.Command("ps", "-o", "pid=", "--ppid", strconv.Itoa(p.cmd.Process.Pid)).Output()
	require.NoError(t, err)
	for _, field := range strings.Fields(string(list)) {
		pid, err := strconv.Atoi(field)
		require.NoError(t, err)
		require.NoError(t, syscall.Kill(pid, syscall.SIGKILL))
	}
	p.kill(t)
}
