package app

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
)

// A server removes answers that nobody is promised any more, and what was deleted long ago where
// it is told to, by itself.
func TestDeletedKeep(t *testing.T) {
	onEachStore(t, deletedGo)
}

func deletedGo(t *testing.T, data Data) {
	var clock ahead
	r, admin := lockedWith(t, quick(t), func(c *Config) {
		c.Data, c.DeletedKeep, c.sweep = Data{}, service.LeastDeletedKeep, 5*time.Millisecond
		c.open = func(ctx context.Context) (service.Store, service.Pepper, error) { return data.open(ctx, clock.now) }
	})
	ctx := as(admin)
	athletes, measurements := pb.NewAthleteServiceClient(r.conn), pb.NewMeasurementServiceClient(r.conn)
	names := newAthletes(t, ctx, r.conn, 2)
	asked := &pb.CreateMeasurementRequest{Parent: names[0], RequestId: uuid4(t), Measurement: &pb.Measurement{Quantity: "x", Date: "2026-01-05"}}
	create := func() string {
		t.Helper()
		m, err := measurements.CreateMeasurement(ctx, asked)
		require.NoError(t, err)
		return m.GetMeasurement().GetName()
	}
	deleted := create()
	_, err := measurements.DeleteMeasurement(ctx, &pb.DeleteMeasurementRequest{Name: deleted})
	require.NoError(t, err)
	_, err = athletes.DeleteAthlete(ctx, &pb.DeleteAthleteRequest{Name: names[1]})
	require.NoError(t, err)
	kept := func() (ok bool) {
		require.NoError(t, r.store.View(context.Background(), service.MainTenant, func(tx service.Tx) (err error) {
			_, ok, err = tx.Recall(asked.GetRequestId())
			return err
		}))
		return ok
	}
	get := func() error {
		_, err := measurements.GetMeasurement(ctx, &pb.GetMeasurementRequest{Name: deleted})
		return err
	}
	clock.move(72 * time.Hour)
	require.Equal(t, deleted, create(), "a retry")
	clock.move(90 * time.Minute)
	require.Eventually(t, func() bool { return !kept() }, time.Minute, 5*time.Millisecond)
	require.NoError(t, get(), "it can be brought back still")
	again := create()
	require.NotEqual(t, deleted, again)

	clock.move(service.LeastDeletedKeep)
	require.Eventually(t, func() bool { return get() != nil }, time.Minute, 5*time.Millisecond)
	requireReason(t, get(), codes.NotFound, service.ReasonUnknown)
	_, err = measurements.UndeleteMeasurement(ctx, &pb.UndeleteMeasurementRequest{Name: deleted})
	requireReason(t, err, codes.NotFound, service.ReasonUnknown)
	require.Eventually(t, func() bool {
		_, err := athletes.GetAthlete(ctx, &pb.GetAthleteRequest{Name: names[1]})
		return err != nil
	}, time.Minute, 5*time.Millisecond)
	_, err = measurements.GetMeasurement(ctx, &pb.GetMeasurementRequest{Name: again})
	require.NoError(t, err)
	_, err = athletes.GetAthlete(ctx, &pb.GetAthleteRequest{Name: names[0]})
	require.NoError(t, err)

	var purged []string
	events, err := pb.NewAccessServiceClient(r.conn).ListAuditEvents(ctx, &pb.ListAuditEventsRequest{PageSize: 1000})
	require.NoError(t, err)
	require.Empty(t, events.GetNextPageToken())
	for _, e := range events.GetAuditEvents() {
		if e.GetMethod() == service.MethodPurge {
			purged = append(purged, e.GetResource())
			require.Empty(t, e.GetApiKey(), "nobody called")
		}
	}
	require.ElementsMatch(t, []string{deleted, names[1]}, purged, "by the names that callers know")
}
