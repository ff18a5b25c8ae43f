package app

import (
	"context"
	"crypto/rand"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/job"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/sqlite"
)

// bulkSize is how many programs a bulk job of a test has: PHASEWRIGHT_BULK, or few.
func bulkSize(t *testing.T, few int) int {
	text := os.Getenv("PHASEWRIGHT_BULK")
	if text == "" {
		return few
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err)
	return n
}

// oneWeek is about the cheapest program there is.
func oneWeek() *pb.Constraints {
	return &pb.Constraints{
		Days: []*pb.Day{{Minutes: 20}}, Places: []*pb.Place{{Preset: pb.EquipmentPreset_EQUIPMENT_PRESET_DUMBBELLS}}, Weeks: new(int32(1)),
	}
}

// bulkOrder is a request of its own, for somebody invented.
func bulkOrder(c *pb.Constraints) *pb.ProgramOrder {
	return &pb.ProgramOrder{Order: &pb.ProgramOrder_Request{Request: &pb.ProgramRequest{Athlete: adult().GetProfile(), Constraints: c}}}
}

// bulkClient is a caller with bulk work.
type bulkClient struct {
	t    testing.TB
	ctx  context.Context
	work pb.BulkServiceClient
	ops  pb.OperationServiceClient
}

func bulkOf(t testing.TB, conn grpc.ClientConnInterface, key string) *bulkClient {
	return &bulkClient{t, as(key), pb.NewBulkServiceClient(conn), pb.NewOperationServiceClient(conn)}
}

func (c *bulkClient) begin(r *pb.GenerateProgramsRequest) string {
	c.t.Helper()
	o, err := c.work.GeneratePrograms(c.ctx, r)
	require.NoError(c.t, err)
	require.False(c.t, o.GetDone())
	return o.GetName()
}

// look gives an operation with how far it is.
func (c *bulkClient) look(name string) (*longrunningpb.Operation, *pb.GenerateProgramsMetadata) {
	c.t.Helper()
	o, err := c.ops.GetOperation(c.ctx, &pb.GetOperationRequest{Name: name})
	require.NoError(c.t, err)
	var m pb.GenerateProgramsMetadata
	require.NoError(c.t, o.GetMetadata().UnmarshalTo(&m))
	return o, &m
}

// await waits until a state is reached.
func (c *bulkClient) await(name string, enough func(*longrunningpb.Operation, *pb.GenerateProgramsMetadata) bool) {
	c.t.Helper()
	require.Eventually(c.t, func() bool { return enough(c.look(name)) }, 30*time.Minute, 20*time.Millisecond)
}

func (c *bulkClient) awaitDone(name string) *pb.GenerateProgramsResponse {
	c.t.Helper()
	c.await(name, func(o *longrunningpb.Operation, _ *pb.GenerateProgramsMetadata) bool { return o.GetDone() })
	o, _ := c.look(name)
	var r pb.GenerateProgramsResponse
	require.NoError(c.t, o.GetResponse().UnmarshalTo(&r))
	return &r
}

// results gives all of them, in pages of a size.
func (c *bulkClient) results(name string, size int32) (out []*pb.ProgramResult) {
	c.t.Helper()
	for token := ""; ; {
		a, err := c.work.ExportProgramResults(c.ctx, &pb.ExportProgramResultsRequest{Name: name, PageSize: size, PageToken: token})
		require.NoError(c.t, err)
		out = append(out, a.GetResults()...)
		if token = a.GetNextPageToken(); token == "" {
			return out
		}
	}
}

func newAthletes(t testing.TB, ctx context.Context, conn grpc.ClientConnInterface, n int) []string {
	t.Helper()
	out, errs := make([]string, n), make([]error, 8)
	var all sync.WaitGroup
	for w := range 8 {
		all.Go(func() {
			for i := w; i < n && errs[w] == nil; i += 8 {
				var a *pb.CreateAthleteResponse
				a, errs[w] = pb.NewAthleteServiceClient(conn).CreateAthlete(ctx, &pb.CreateAthleteRequest{Athlete: adult()})
				out[i] = a.GetAthlete().GetName()
			}
		})
	}
	all.Wait()
	for _, err := range errs {
		require.NoError(t, err)
	}
	return out
}

func TestBulk(t *testing.T) {
	stored(t, func(t *testing.T, r *running, admin string) {
		c := bulkOf(t, r.conn, admin)

		t.Run("all athletes", func(t *testing.T) {
			names := newAthletes(t, c.ctx, r.conn, 30)
			_, err := pb.NewAthleteServiceClient(r.conn).DeleteAthlete(c.ctx, &pb.DeleteAthleteRequest{Name: names[3]})
			require.NoError(t, err)
			again := &pb.GenerateProgramsRequest{AllAthletes: true, DisplayName: "Sunday", Constraints: oneWeek(), RequestId: uuid4(t)}
			name := c.begin(again)
			require.Equal(t, name, c.begin0(again), "the same request is the same operation")
			done := c.awaitDone(name)
			require.EqualValues(t, 29, done.GetMade())
			require.Zero(t, done.GetFailed())
			all := c.results(name, 7)
			require.Len(t, all, 29)
			for i, one := range all {
				require.EqualValues(t, i, one.GetIndex())
				require.NotEqual(t, names[3], one.GetAthlete())
				rev, err := pb.NewProgramRecordServiceClient(r.conn).GetProgramRevision(c.ctx, &pb.GetProgramRevisionRequest{Name: one.GetRevision()})
				require.NoError(t, err)
				require.Len(t, rev.GetRevision().GetProgram().GetPhases()[0].GetWeeks(), 1)
			}
			made := programsOf(t, c.ctx, r.conn, names[0])
			require.Len(t, made, 1)
			require.Equal(t, "Sunday", made[0].GetDisplayName())

			// Whoever is erased is not in the results either.
			_, err = pb.NewAthleteServiceClient(r.conn).EraseAthlete(c.ctx, &pb.EraseAthleteRequest{Name: names[0], Reason: "asked for"})
			require.NoError(t, err)
			require.Len(t, c.results(name, 0), 28)
		})

		t.Run("requests", func(t *testing.T) {
			name := c.begin(&pb.GenerateProgramsRequest{Constraints: oneWeek()})
			who := newAthletes(t, c.ctx, r.conn, 1)[0]
			bad := bulkOrder(oneWeek())
			bad.GetRequest().Athlete.Screening = &pb.Screening{Symptoms: new(true)} // for a clinician first
			list := []*pb.ProgramOrder{bulkOrder(oneWeek()), bad, {Order: &pb.ProgramOrder_Athlete{Athlete: who}}, {Order: &pb.ProgramOrder_Athlete{Athlete: "athletes/" + nobody + "00"}}}
			add := func(first int32, list []*pb.ProgramOrder, last bool) (int32, error) {
				a, err := c.work.AddProgramRequests(c.ctx, &pb.AddProgramRequestsRequest{Name: name, FirstIndex: first, Orders: list, Last: last})
				return a.GetRequests(), err
			}
			_, err := add(1, list, false)
			requireReason(t, err, codes.InvalidArgument, service.ReasonJobOrder)
			n, err := add(0, list[:3], false)
			require.NoError(t, err)
			require.EqualValues(t, 3, n)
			n, err = add(0, list, true) // sent again, and one more
			require.NoError(t, err)
			require.EqualValues(t, 4, n)
			n, err = add(0, list, true)
			require.NoError(t, err)
			require.EqualValues(t, 4, n)
			_, err = add(4, list, true)
			requireReason(t, err, codes.FailedPrecondition, service.ReasonJobEnded)

			done := c.awaitDone(name)
			require.EqualValues(t, 2, done.GetMade())
			require.EqualValues(t, 2, done.GetFailed())
			all := c.results(name, 1)
			require.Len(t, all, 4)
			alone, err := pb.NewProgramServiceClient(r.conn).GenerateProgram(c.ctx, &pb.GenerateProgramRequest{Request: list[0].GetRequest()})
			require.NoError(t, err)
			require.Equal(t, alone.GetProgram().GetDigest(), all[0].GetProgram().GetDigest(), "the program that GenerateProgram makes")
			_, err = pb.NewProgramServiceClient(r.conn).GenerateProgram(c.ctx, &pb.GenerateProgramRequest{Request: bad.GetRequest()})
			require.EqualValues(t, status.Code(err), all[1].GetError().GetCode())
			require.NotEmpty(t, all[2].GetRevision())
			require.EqualValues(t, codes.NotFound, all[3].GetError().GetCode())
		})

		t.Run("cancel and delete", func(t *testing.T) {
			name := c.begin(&pb.GenerateProgramsRequest{})
			_, err := c.work.AddProgramRequests(c.ctx, &pb.AddProgramRequestsRequest{Name: name, Orders: []*pb.ProgramOrder{bulkOrder(oneWeek())}})
			require.NoError(t, err)
			c.await(name, func(_ *longrunningpb.Operation, m *pb.GenerateProgramsMetadata) bool { return m.GetMade() == 1 })
			o, m := c.look(name)
			require.False(t, o.GetDone(), "more may come")
			require.False(t, m.GetComplete())
			for range 2 {
				a, err := c.ops.CancelOperation(c.ctx, &pb.CancelOperationRequest{Name: name})
				require.NoError(t, err)
				require.True(t, a.GetOperation().GetDone())
				require.EqualValues(t, codes.Canceled, a.GetOperation().GetError().GetCode())
			}
			_, err = c.work.AddProgramRequests(c.ctx, &pb.AddProgramRequestsRequest{Name: name, FirstIndex: 1, Orders: []*pb.ProgramOrder{bulkOrder(oneWeek())}})
			requireReason(t, err, codes.FailedPrecondition, service.ReasonJobEnded)
			require.Len(t, c.results(name, 0), 1, "what was made stays")
			_, err = c.ops.DeleteOperation(c.ctx, &pb.DeleteOperationRequest{Name: name})
			require.NoError(t, err)
			_, err = c.ops.GetOperation(c.ctx, &pb.GetOperationRequest{Name: name})
			requireReason(t, err, codes.NotFound, service.ReasonUnknown)
			list, err := c.ops.ListOperations(c.ctx, &pb.ListOperationsRequest{})
			require.NoError(t, err)
			for _, o := range list.GetOperations() {
				require.NotEqual(t, name, o.GetName())
			}
			require.Len(t, list.GetOperations(), 2)
		})
	})
}

// requireReason wants a failure with a code and a reason.
func requireReason(t *testing.T, err error, code codes.Code, reason string) {
	t.Helper()
	require.Equal(t, code, status.Code(err), "%v", err)
	require.Equal(t, reason, reasonOf(t, err))
}

// begin0 begins what may have been begun before.
func (c *bulkClient) begin0(r *pb.GenerateProgramsRequest) string {
	o, err := c.work.GeneratePrograms(c.ctx, r)
	require.NoError(c.t, err)
	return o.GetName()
}

func programsOf(t testing.TB, ctx context.Context, conn grpc.ClientConnInterface, athlete string) []*pb.ProgramRecord {
	t.Helper()
	a, err := pb.NewProgramRecordServiceClient(conn).ListPrograms(ctx, &pb.ListProgramsRequest{Parent: athlete, ShowDeleted: true})
	require.NoError(t, err)
	return a.GetPrograms()
}

// once wants one result for each athlete, and one program.
func (c *bulkClient) once(conn grpc.ClientConnInterface, name string, athletes []string) {
	c.t.Helper()
	by := map[string]string{}
	for i, r := range c.results(name, 1000) {
		require.EqualValues(c.t, i, r.GetIndex())
		require.Empty(c.t, by[r.GetAthlete()])
		require.NotEmpty(c.t, r.GetRevision(), "%v", r)
		by[r.GetAthlete()] = r.GetRevision()
	}
	require.Len(c.t, by, len(athletes))
	for _, a := range athletes {
		all := programsOf(c.t, c.ctx, conn, a)
		require.Len(c.t, all, 1)
		require.Equal(c.t, all[0].GetName()+"/revisions/1", by[a])
	}
}

// Two replicas share the work on one database, and one is killed in the middle. Each
// athlete has one program, and one result.
func TestBulkOutlivesAReplica(t *testing.T) {
	d, ok := postgresData(t)
	if !ok {
		return
	}
	key := found(t, d)
	replicas := []*process{spawn(t, d), spawn(t, d)}
	defer func() { replicas[0].kill(t) }()
	killed(t, key, replicas[0].conn, bulkSize(t, 300), func() { replicas[1].kill(t) }, nil)
}

// On SQLite there is one server: it is killed, and started again.
func TestBulkGoesOnAfterAKill(t *testing.T) {
	d := Data{Dir: filepath.Join(t.TempDir(), "data")}
	key := found(t, d)
	p := spawn(t, d)
	defer func() { p.kill(t) }()
	killed(t, key, p.conn, bulkSize(t, 200), func() { p.kill(t) }, func() *grpc.ClientConn {
		p = spawn(t, d)
		return p.conn
	})
}

func killed(t *testing.T, key string, conn *grpc.ClientConn, n int, kill func(), again func() *grpc.ClientConn) {
	c := bulkOf(t, conn, key)
	athletes := newAthletes(t, c.ctx, conn, n)
	began := time.Now()
	name := c.begin(&pb.GenerateProgramsRequest{AllAthletes: true, Constraints: oneWeek()})
	c.await(name, func(_ *longrunningpb.Operation, m *pb.GenerateProgramsMetadata) bool { return int(m.GetMade()) >= n/3 })
	_, before := c.look(name)
	kill()
	require.Less(t, int(before.GetMade()), n, "it was killed before the end")
	if again != nil {
		conn = again()
		c = bulkOf(t, conn, key)
	}
	done := c.awaitDone(name)
	took := time.Since(began)
	require.EqualValues(t, n, done.GetMade())
	c.once(conn, name, athletes)
	t.Logf("%d programs in %s (%.0f a second), killed after %d", n, took.Round(time.Millisecond), float64(n)/took.Seconds(), before.GetMade())
}

// instant is an engine that answers with one program, again and again.
type instant struct {
	service.Engine
	made plan.Program
}

func (e instant) Generate(context.Context, plan.Request) (plan.Program, error) { return e.made, nil }

// inside is bulk work without a server around it.
type inside struct {
	*service.Service
	store service.Store
	mint  *service.Mint
}

func newInside(t *testing.T, e service.Engine, s service.Store) *inside {
	return &inside{
		service.New(e, service.WithStorage(service.Storage{Store: s, Key: [32]byte{1}})), s,
		service.NewMint(time.Now, rand.Reader),
	}
}

func (i *inside) run(ctx context.Context, workers int, seen func(error)) {
	job.New(job.Config{Service: i.Service, Store: i.store, Mint: i.mint, Workers: workers, Poll: 5 * time.Millisecond, Seen: seen}).Run(ctx)
}

// fill keeps athletes in a tenant.
func (i *inside) fill(t *testing.T, tenant service.Tenant, n int) {
	for n > 0 {
		some := min(n, 500)
		require.NoError(t, i.store.Update(context.Background(), tenant, func(tx service.Tx) error {
			for range some {
				id, err := i.mint.New()
				if err != nil {
					return err
				}
				if _, err := tx.Athletes().Create(service.Athlete{Head: service.Head{ID: id}, Profile: plan.Athlete{Age: plan.AgeAdult}}); err != nil {
					return err
				}
			}
			return nil
		}))
		n -= some
	}
}

func sampleProgram(t *testing.T) instant {
	e := quick(t)
	r := plan.Request{Athlete: plan.Athlete{Age: plan.AgeAdult}}
	r.Constraints.Weeks = plan.Some(int32(1))
	r.Constraints.Days = []plan.Day{{Minutes: 20}}
	r.Constraints.Places = []plan.Place{{Preset: plan.PresetDumbbells}}
	p, err := e.Generate(context.Background(), r)
	require.NoError(t, err)
	return instant{e, p}
}

// A million of one tenant's do not hold up a hundred of another's.
func TestBulkTakesTurns(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	i := newInside(t, sampleProgram(t), newSQLite(t))
	i.fill(t, "large", 2000)
	i.fill(t, "small", 40)
	begin := func(tenant service.Tenant) (context.Context, service.ID) {
		c := service.WithCaller(ctx, service.Open(tenant))
		j, err := i.BeginJob(c, service.Write{Method: "test"}, service.NewJob{All: true})
		require.NoError(t, err)
		return c, j.ID
	}
	large, first := begin("large")
	small, second := begin("small")
	ended := make(chan struct{})
	go func() { i.run(ctx, 1, func(error) {}); close(ended) }()
	require.Eventually(t, func() bool {
		j, err := i.Job(small, second)
		return err == nil && j.Ended != 0
	}, time.Minute, time.Millisecond)
	j, err := i.Job(large, first)
	require.NoError(t, err)
	require.Less(t, j.Tally.Dealt, int64(1000), "the other waits for its turn, not for the end")
	require.Zero(t, j.Ended)
	cancel()
	<-ended
}

// What a job takes of memory does not grow with it. PHASEWRIGHT_BULK_MEMORY is the larger
// size.
func TestBulkMemoryIsFlat(t *testing.T) {
	sizes := []int{500, 5000}
	if text := os.Getenv("PHASEWRIGHT_BULK_MEMORY"); text != "" {
		n, err := strconv.Atoi(text)
		require.NoError(t, err)
		sizes = []int{1000, n}
	}
	sample := sampleProgram(t)
	document, err := plan.Canonical(&sample.made)
	require.NoError(t, err)
	var peaks []float64
	for _, n := range sizes {
		i := newInside(t, sample, newSQLite(t))
		i.fill(t, "t", n)
		runtime.GC()
		ctx, cancel := context.WithCancel(service.WithCaller(context.Background(), service.Open("t")))
		j, err := i.BeginJob(ctx, service.Write{Method: "test"}, service.NewJob{All: true})
		require.NoError(t, err)
		ended := make(chan struct{})
		began := time.Now()
		go func() { i.run(ctx, 1, func(error) {}); close(ended) }()
		peak, results := uint64(0), 0
		for done := false; !done; {
			time.Sleep(10 * time.Millisecond)
			now, err := i.Job(ctx, j.ID)
			require.NoError(t, err)
			done = now.Ended != 0
			peak = max(peak, liveHeap())
		}
		took := time.Since(began)
		for token := ""; ; {
			token, err = i.Results(ctx, j.ID, token, func(service.Result) bool { results++; return results%1000 != 0 })
			require.NoError(t, err)
			peak = max(peak, liveHeap())
			if token == "" {
				break
			}
		}
		require.Equal(t, n, results)
		cancel()
		<-ended
		peaks = append(peaks, float64(peak)/(1<<20))
		t.Logf("%d programs, %d bytes of JSON each: at most %.1f MiB alive, %.0f a second", n, len(document), peaks[len(peaks)-1], float64(n)/took.Seconds())
	}
	require.Less(t, peaks[1], peaks[0]+16)
}

// liveHeap is what is in use after a collection.
func liveHeap() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

func newSQLite(t *testing.T) service.Store {
	s, err := sqlite.Open(context.Background(), sqlite.Config{Dir: filepath.Join(t.TempDir(), "data"), Now: now})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}
