package app

import (
	"context"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

// tool finds a program that a test needs. Without it the test says so and ends, but where
// PHASEWRIGHT_STORE_TOOLS is set it fails.
func tool(t *testing.T, name string) (string, bool) {
	path, err := exec.LookPath(name)
	if err != nil {
		require.False(t, tools(), "%s is missing", name)
		t.Logf("not run: %s is missing", name)
		return "", false
	}
	return path, true
}

// reasonOf gives the reason of a failed call.
func reasonOf(t *testing.T, err error) string {
	t.Helper()
	for _, d := range status.Convert(err).Details() {
		if i, ok := d.(*errdetails.ErrorInfo); ok {
			return i.GetReason()
		}
	}
	require.Fail(t, "no reason", "%v", err)
	return ""
}

// A disk that is full: what is written is refused with a clear reason and is not there,
// reading goes on, and so does writing when there is room, without a restart. It needs the
// right to mount.
func TestFullDiskOnServer(t *testing.T) {
	mount, ok := tool(t, "mount")
	if !ok {
		return
	}
	dir := t.TempDir()
	if out, err := exec.Command(mount, "-t", "tmpfs", "-o", "size=4m,mode=0700", "tmpfs", dir).CombinedOutput(); err != nil {
		require.False(t, tools(), "mount: %s", out)
		t.Logf("not run: no right to mount: %s", out)
		return
	}
	t.Cleanup(func() { require.NoError(t, exec.Command("umount", dir).Run()) })
	ballast := filepath.Join(dir, "ballast")
	require.NoError(t, os.WriteFile(ballast, make([]byte, 1<<20), 0o600))
	r, admin := locked(t, func(c *Config) { c.Data.Dir = dir })
	t.Cleanup(func() { require.NoError(t, r.stop()) }) // before the disk goes
	athletes, measurements := pb.NewAthleteServiceClient(r.conn), pb.NewMeasurementServiceClient(r.conn)
	a, err := athletes.CreateAthlete(as(admin), &pb.CreateAthleteRequest{Athlete: adult()})
	require.NoError(t, err)
	note := strings.Repeat("x", 900)
	request := func() *pb.CreateMeasurementRequest {
		return &pb.CreateMeasurementRequest{RequestId: uuid4(t), Parent: a.GetAthlete().GetName(), Measurement: &pb.Measurement{Quantity: "x", Date: "2026-01-05", Note: note}}
	}
	var refused *pb.CreateMeasurementRequest
	var names []string
	for err == nil {
		refused = request()
		var made *pb.CreateMeasurementResponse
		if made, err = measurements.CreateMeasurement(as(admin), refused); err == nil {
			names = append(names, made.GetMeasurement().GetName())
		}
	}
	require.Greater(t, len(names), 20)
	require.Equal(t, codes.ResourceExhausted, status.Code(err))
	require.Equal(t, "STORAGE_FULL", reasonOf(t, err))
	require.Contains(t, status.Convert(err).Message(), "full")

	stored := len(names)
	for code := 200; code == 200; { // without a request id less is written: a few may fit
		q, err := http.NewRequest("POST", r.url("/v1/"+a.GetAthlete().GetName()+"/measurements"), strings.NewReader(`{"measurement": {"quantity": "x", "date": "2026-01-05", "note": "`+note+`"}}`))
		require.NoError(t, err)
		q.Header.Set("Authorization", "Bearer "+admin)
		q.Header.Set("Content-Type", "application/json")
		rest, err := http.DefaultClient.Do(q)
		require.NoError(t, err)
		require.NoError(t, rest.Body.Close())
		if code = rest.StatusCode; code == 200 {
			stored++
		} else {
			require.Equal(t, http.StatusInsufficientStorage, code)
		}
	}

	list := &pb.ListMeasurementsRequest{Parent: a.GetAthlete().GetName(), PageSize: 1000}
	page, err := measurements.ListMeasurements(as(admin), list)
	require.NoError(t, err, "reading goes on")
	require.Len(t, page.GetMeasurements(), stored)
	code, _ := get(t, r.url("/readyz"))
	require.Equal(t, 200, code)
	require.NoError(t, os.Remove(ballast))
	_, err = measurements.CreateMeasurement(as(admin), refused)
	require.NoError(t, err, "with room again it goes on, the same request too")
	page, err = measurements.ListMeasurements(as(admin), list)
	require.NoError(t, err)
	require.Len(t, page.GetMeasurements(), stored+1)
	require.NotContains(t, r.log.String(), `"level":"ERROR","msg":"panic"`)
}

// A disk that fails to sync or write: nothing is acknowledged from then on, the server
// says that it is not ready, reading goes on, and after a restart all that was
// acknowledged is there.
func TestFailedSyncOnServer(t *testing.T) {
	strace, ok := tool(t, "strace")
	if !ok {
		return
	}
	for _, inject := range []string{"fsync,fdatasync:error=EIO:when=40+", "pwrite64:error=EIO:when=400+"} {
		d := Data{Dir: filepath.Join(t.TempDir(), "data")}
		admin := found(t, d)
		p := spawn(t, d, strace, "-f", "-o", "/dev/null", "-e", "trace=fsync,fdatasync,pwrite64", "-e", "inject="+inject)
		plans := pb.NewPlanServiceClient(p.conn)
		create := func(id string) (*pb.CreatePlanResponse, error) {
			return plans.CreatePlan(as(admin), &pb.CreatePlanRequest{RequestId: id, Plan: &pb.PlanRecord{DisplayName: id, Plan: &pb.Plan{Tracks: []*pb.Track{{Segments: []*pb.Segment{{Strategy: "linear"}}}}}}})
		}
		var names []string
		var err error
		unsure := ""
		for err == nil {
			unsure = uuid4(t)
			var made *pb.CreatePlanResponse
			if made, err = create(unsure); err == nil {
				names = append(names, made.GetPlan().GetName())
			}
			require.Less(t, len(names), 2000, inject)
		}
		require.Equal(t, codes.Unavailable, status.Code(err), "%v", err)
		require.Equal(t, "STORAGE_FAULT", reasonOf(t, err))
		_, err = create(uuid4(t))
		require.Equal(t, codes.Unavailable, status.Code(err), "nothing more is acknowledged")
		for _, name := range names {
			_, err := plans.GetPlan(as(admin), &pb.GetPlanRequest{Name: name})
			require.NoError(t, err, "reading goes on")
		}
		require.Eventually(t, func() bool {
			h, err := grpc_health_v1.NewHealthClient(p.conn).Check(context.Background(), &grpc_health_v1.HealthCheckRequest{})
			return err == nil && h.GetStatus() == grpc_health_v1.HealthCheckResponse_NOT_SERVING
		}, 10*time.Second, 20*time.Millisecond)
		p.killTree(t)

		p = spawn(t, d)
		plans = pb.NewPlanServiceClient(p.conn)
		_, err = create(unsure)
		require.NoError(t, err)
		have := map[string]int{}
		list := &pb.ListPlansRequest{PageSize: 1000}
		for more := true; more; more = list.PageToken != "" {
			page, err := plans.ListPlans(as(admin), list)
			require.NoError(t, err)
			for _, one := range page.GetPlans() {
				have[one.GetName()]++
			}
			list.PageToken = page.GetNextPageToken()
		}
		for _, name := range names {
			require.Equal(t, 1, have[name])
		}
		require.Len(t, have, len(names)+1, "what was asked again is there once")
		p.kill(t)
		t.Logf("%s: %d acknowledged before", inject, len(names))
	}
}
