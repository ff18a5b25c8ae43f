package app

import (
	"context"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/trial/conduct"
)

// A server is killed at any moment of enrolment and assignment; whoever runs the trial asks
// again with the same request ids. Nobody is assigned twice or without an event, nothing
// that was acknowledged is lost, and in the end every arm can be drawn again.
func TestKilledServerInTrialSQLite(t *testing.T) {
	trialUnderFire(t, Data{Dir: filepath.Join(t.TempDir(), "data")})
}

func TestKilledServerInTrialPostgreSQL(t *testing.T) {
	if d, ok := postgresData(t); ok {
		trialUnderFire(t, d)
	}
}

// fire is a server that is killed and started again while somebody calls it.
type fire struct {
	t     *testing.T
	key   string
	data  Data
	mu    sync.RWMutex
	p     *process
	again int // calls that were asked again
}

func (f *fire) conn() *grpc.ClientConn {
	f.mu.RLock()
	defer f.mu.RUnlock()
	return f.p.conn
}

// call asks until it is answered.
func (f *fire) call(in, out proto.Message) {
	f.t.Helper()
	for tries := 0; ; tries++ {
		ctx, cancel := context.WithTimeout(as(f.key), 30*time.Second)
		err := f.conn().Invoke(ctx, pathOf(methodOf(f.t, in)), in, out)
		cancel()
		switch code := status.Code(err); {
		case err == nil:
			return
		case (code == codes.Unavailable || code == codes.Canceled || code == codes.DeadlineExceeded) && tries < 200:
			f.again++
			time.Sleep(20 * time.Millisecond)
		default:
			require.NoError(f.t, err, "%T", in)
		}
	}
}

// kill ends the server n times, at moments drawn anew, and starts it again.
func (f *fire) kill(n int) {
	for range n {
		time.Sleep(time.Duration(rand.IntN(250)) * time.Millisecond)
		f.mu.Lock()
		f.p.kill(f.t)
		f.p = spawn(f.t, f.data)
		f.mu.Unlock()
	}
}

func trialUnderFire(t *testing.T, d Data) {
	f := &fire{t: t, key: found(t, d), data: d}
	f.p = spawn(t, d)
	protocol := strengthFirst()
	protocol.Eligibility = nil
	protocol.Allocation = &pb.AllocationRule{Scheme: pb.AllocationScheme_ALLOCATION_SCHEME_PERMUTED_BLOCKS, BlockSizes: []int32{2, 4}}
	made := &pb.CreateTrialResponse{}
	f.call(&pb.CreateTrialRequest{RequestId: uuid4(t), Trial: &pb.Trial{Protocol: protocol}}, made)
	trial := made.GetTrial().GetName()
	f.call(&pb.FreezeTrialRequest{Name: trial, RequestId: uuid4(t)}, &pb.FreezeTrialResponse{})

	done := make(chan struct{})
	go func() { f.kill(kills()); close(done) }()
	told := map[string]string{}
	for under := true; under || len(told) < 5; {
		select {
		case <-done:
			under = false
		default:
		}
		a := &pb.CreateAthleteResponse{}
		f.call(&pb.CreateAthleteRequest{RequestId: uuid4(t), Athlete: adult()}, a)
		j := &pb.JoinTrialResponse{}
		f.call(&pb.JoinTrialRequest{RequestId: uuid4(t), Name: trial, Athlete: a.GetAthlete().GetName(), Consent: true, Constraints: oneWeek()}, j)
		who := j.GetParticipant().GetName()
		id := who[strings.LastIndex(who, "/")+1:]
		f.call(&pb.RecordTrialMeasurementRequest{
			RequestId: uuid4(t), Name: who, Outcome: "thickness", Time: pb.MeasurementTime_MEASUREMENT_TIME_BASELINE, Value: new(25.0),
		}, &pb.RecordTrialMeasurementResponse{})
		f.call(&pb.CheckParticipantRequest{RequestId: uuid4(t), Name: who}, &pb.CheckParticipantResponse{})
		f.call(&pb.EnrolUnitRequest{RequestId: uuid4(t), Name: trial, Unit: id}, &pb.EnrolUnitResponse{})
		dealt := &pb.AssignArmsResponse{}
		f.call(&pb.AssignArmsRequest{RequestId: uuid4(t), Name: trial}, dealt)
		require.Len(t, dealt.GetAssignments(), 1)
		told[id] = dealt.GetAssignments()[0].GetArm()
	}
	f.call(&pb.EndTrialRequest{RequestId: uuid4(t), Name: trial}, &pb.EndTrialResponse{})
	f.call(&pb.RevealTrialKeyRequest{RequestId: uuid4(t), Name: trial}, &pb.RevealTrialKeyResponse{})
	seen := map[string]string{}
	for token := ""; ; {
		page := &pb.ListTrialEventsResponse{}
		f.call(&pb.ListTrialEventsRequest{Parent: trial, PageToken: token}, page)
		for _, line := range page.GetEvents() {
			events, err := conduct.Read(strings.NewReader(line.GetJson()))
			require.NoError(t, err)
			if a := events[0].Body.Assigned; a != nil {
				require.NotContains(t, seen, a.Assignment.Unit, "assigned twice")
				seen[a.Assignment.Unit] = protocol.GetArms()[a.Assignment.Arm].GetId()
			}
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	require.Equal(t, told, seen)
	v := &pb.VerifyTrialResponse{}
	f.call(&pb.VerifyTrialRequest{Name: trial}, v)
	require.True(t, v.GetReplayed())
	require.EqualValues(t, len(told), v.GetArms())
	f.p.kill(t)
	t.Logf("%d kills, %d athletes, %d calls asked again", kills(), len(told), f.again)
}
