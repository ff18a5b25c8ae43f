package app

import (
	"context"
	"fmt"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

// ahead is a store's clock that a test moves.
type ahead struct{ atomic.Int64 }

func (a *ahead) now() service.Instant { return now() + service.Instant(a.Load()) }

func (a *ahead) move(d time.Duration) { a.Add(d.Milliseconds()) }

// jobOf is the job behind an operation.
func jobOf(t *testing.T, operation string) service.ID {
	t.Helper()
	n, err := wire.ParseName(wire.OperationPattern, "name", operation)
	require.NoError(t, err)
	return n.ID
}

// itemsOf counts what a store has of a job.
func itemsOf(t *testing.T, s service.Store, tenant service.Tenant, job service.ID) (n int) {
	t.Helper()
	require.NoError(t, s.View(context.Background(), tenant, func(tx service.Tx) error {
		all, err := tx.Items(job, -1, service.MaxPage, false)
		n = len(all)
		return err
	}))
	return n
}

// A server removes what ended too long ago, by itself; whoever comes for it is told.
func TestBulkKeep(t *testing.T) {
	onEachStore(t, purged)
}

// onEachStore runs a test over every kind of store.
func onEachStore(t *testing.T, test func(*testing.T, Data)) {
	for _, kind := range []string{"memory", "sqlite", "postgres"} {
		t.Run(kind, func(t *testing.T) {
			var data Data
			switch kind {
			case "sqlite":
				data.Dir = filepath.Join(t.TempDir(), "data")
			case "postgres":
				var ok bool
				if data, ok = postgresData(t); !ok {
					return
				}
			}
			test(t, data)
		})
	}
}

func purged(t *testing.T, data Data) {
	var clock ahead
	r, admin := lockedWith(t, quick(t), func(c *Config) {
		c.Data, c.BulkKeep, c.sweep = Data{}, time.Hour, 5*time.Millisecond
		c.open = func(ctx context.Context) (service.Store, service.Pepper, error) { return data.open(ctx, clock.now) }
	})
	c := bulkOf(t, r.conn, admin)
	who := newAthletes(t, c.ctx, r.conn, 1)[0]
	asked := &pb.GenerateProgramsRequest{Constraints: oneWeek(), RequestId: uuid4(t)}
	old, open := c.begin(asked), c.begin(&pb.GenerateProgramsRequest{Constraints: oneWeek()})
	add := func(name string, last bool) {
		_, err := c.work.AddProgramRequests(c.ctx, &pb.AddProgramRequestsRequest{Name: name, Orders: []*pb.ProgramOrder{
			bulkOrder(oneWeek()), {Order: &pb.ProgramOrder_Athlete{Athlete: who}},
		}, Last: last})
		require.NoError(t, err)
	}
	add(old, true)
	add(open, false)
	require.EqualValues(t, 2, c.awaitDone(old).GetMade())
	c.await(open, func(_ *longrunningpb.Operation, m *pb.GenerateProgramsMetadata) bool { return m.GetMade() == 2 })
	require.Len(t, c.results(old, 0), 2)
	clock.move(2 * time.Hour)
	gone := func(err error) bool {
		if err == nil {
			return false
		}
		requireReason(t, err, codes.NotFound, service.ReasonUnknown)
		return true
	}
	get := func(name string) error {
		_, err := c.ops.GetOperation(c.ctx, &pb.GetOperationRequest{Name: name})
		return err
	}
	require.Eventually(t, func() bool { return gone(get(old)) }, time.Minute, 5*time.Millisecond)
	never := "operations/" + nobody + "00"
	require.Equal(t, status.Convert(get(never)).Message(), status.Convert(get(old)).Message(), "as if it had never been")
	_, err := c.work.ExportProgramResults(c.ctx, &pb.ExportProgramResultsRequest{Name: old})
	require.True(t, gone(err))
	_, err = c.work.GeneratePrograms(c.ctx, asked)
	require.True(t, gone(err), "asked for again with the same id")
	list, err := c.ops.ListOperations(c.ctx, &pb.ListOperationsRequest{})
	require.NoError(t, err)
	require.Len(t, list.GetOperations(), 1)
	require.Equal(t, open, list.GetOperations()[0].GetName(), "more may come to it, however old it is")
	require.Eventually(t, func() bool { return itemsOf(t, r.store, service.MainTenant, jobOf(t, old)) == 0 }, time.Minute, 5*time.Millisecond)
	require.Equal(t, 2, itemsOf(t, r.store, service.MainTenant, jobOf(t, open)))
	require.Len(t, programsOf(t, c.ctx, r.conn, who), 2, "programs of athletes stay")

	young := c.begin(&pb.GenerateProgramsRequest{Constraints: oneWeek()})
	add(young, true)
	c.awaitDone(young)
	require.Len(t, c.results(young, 0), 2)
	var purges []*pb.AuditEvent
	events, err := pb.NewAccessServiceClient(r.conn).ListAuditEvents(c.ctx, &pb.ListAuditEventsRequest{})
	require.NoError(t, err)
	require.Empty(t, events.GetNextPageToken())
	for _, e := range events.GetAuditEvents() {
		if e.GetMethod() == service.MethodPurge {
			purges = append(purges, e)
		}
	}
	require.Len(t, purges, 1)
	require.Equal(t, old, purges[0].GetResource())
	require.Equal(t, "OK", purges[0].GetOutcome())
	require.Empty(t, purges[0].GetApiKey(), "nobody called")
}

// Replicas that remove the same jobs of one database at the same time don't fail, and each job
// is on record once.
func TestReplicasPurgeTogether(t *testing.T) {
	d, ok := postgresData(t)
	if !ok {
		return
	}
	const jobs, each, replicas = 12, 120, 3
	ctx := service.WithCaller(context.Background(), service.Open("t"))
	var clock ahead
	var all [replicas]*inside
	for i := range all {
		s, _, err := d.open(context.Background(), clock.now)
		require.NoError(t, err)
		t.Cleanup(func() { require.NoError(t, s.Close()) })
		all[i] = newInside(t, sampleProgram(t), s)
	}
	var ids [jobs]service.ID
	for i := range ids {
		j, err := all[0].BeginJob(ctx, service.Write{Method: "test"}, service.NewJob{})
		require.NoError(t, err)
		_, err = all[0].AddItems(ctx, service.Write{Method: "test"}, j.ID, 0, make([]service.NewItem, each), true)
		require.NoError(t, err)
		_, err = all[0].CancelJob(ctx, service.Write{Method: "test"}, j.ID)
		require.NoError(t, err)
		ids[i] = j.ID
	}
	clock.move(2 * time.Hour)
	var work sync.WaitGroup
	var expired atomic.Int64
	errs := make([]error, replicas)
	for i, r := range all {
		work.Go(func() {
			n, err := r.ExpireJobs(ctx, time.Hour)
			expired.Add(int64(n))
			for more := true; more && err == nil; {
				more, err = r.ClearJobs(ctx)
			}
			errs[i] = err
		})
	}
	work.Wait()
	for _, err := range errs {
		require.NoError(t, err)
	}
	_, err := all[0].ClearJobs(ctx) // what each left to the others
	require.NoError(t, err)
	require.EqualValues(t, jobs, expired.Load())
	named := map[string]int{}
	require.NoError(t, all[0].store.View(ctx, "t", func(tx service.Tx) error {
		clear(named)
		page, err := tx.Events(service.Query{Size: service.MaxPage})
		for _, e := range page.Items {
			named[e.Method+" "+e.Resource]++
		}
		return err
	}))
	require.Len(t, named, jobs)
	for _, id := range ids {
		require.Equal(t, 1, named[fmt.Sprintf("%s operations/%s", service.MethodPurge, id)])
		require.Zero(t, itemsOf(t, all[0].store, "t", id))
	}
}
