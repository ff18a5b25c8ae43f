package app

import (
	"context"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

const (
	begun   = "2026-01-05"
	halfway = "2026-01-19"
)

// newProgram keeps one for an athlete, from a day on; "" is without dates.
func newProgram(t *testing.T, ctx context.Context, conn grpc.ClientConnInterface, athlete, start string) *pb.CreateProgramResponse {
	t.Helper()
	c := twoDays()
	for i, d := range []pb.Weekday{pb.Weekday_WEEKDAY_MONDAY, pb.Weekday_WEEKDAY_THURSDAY} {
		c.Days[i].Weekday = d
	}
	c.StartDate = start
	a, err := pb.NewProgramRecordServiceClient(conn).CreateProgram(ctx, &pb.CreateProgramRequest{Parent: athlete, Constraints: c})
	require.NoError(t, err)
	return a
}

// squatted logs a set of squats that says more of the athlete than was known.
func squatted(t *testing.T, ctx context.Context, conn grpc.ClientConnInterface, athlete string) {
	t.Helper()
	_, err := pb.NewPerformanceServiceClient(conn).CreatePerformance(ctx, &pb.CreatePerformanceRequest{Parent: athlete, Performance: &pb.PerformanceRecord{
		Performance: &pb.Performance{ExerciseId: "back-squat", Load: &pb.Mass{Unit: &pb.Mass_Kilograms{Kilograms: 100}}, Reps: 5, Rir: new(int32(1)), Date: "2026-01-06"},
	}})
	require.NoError(t, err)
}

// A bulk job makes the newest programs again as ReviseProgram does, one by one; who has none
// that could be, gets a reason.
func TestBulkMakesAgain(t *testing.T) {
	stored(t, func(t *testing.T, r *running, admin string) {
		c := bulkOf(t, r.conn, admin)
		programs := pb.NewProgramRecordServiceClient(r.conn)
		who := newAthletes(t, c.ctx, r.conn, 6)
		one, alike, none, undated, over, gone := who[0], who[1], who[2], who[3], who[4], who[5]

		newProgram(t, c.ctx, r.conn, one, "2025-09-01") // an older one stays as it is
		old := newProgram(t, c.ctx, r.conn, one, begun)
		same := newProgram(t, c.ctx, r.conn, alike, begun)
		newProgram(t, c.ctx, r.conn, undated, "")
		newProgram(t, c.ctx, r.conn, over, "2025-09-01")
		newProgram(t, c.ctx, r.conn, gone, begun)
		squatted(t, c.ctx, r.conn, one)
		squatted(t, c.ctx, r.conn, alike)

		list := []string{one, none, undated, over, gone}
		name := c.begin(&pb.GenerateProgramsRequest{Athletes: list, Revise: &pb.ProgramsRevision{FromDate: halfway, Reason: "two weeks of logs"}})
		done := c.awaitDone(name)
		require.EqualValues(t, []int32{2, 3}, []int32{done.GetMade(), done.GetFailed()})
		all := c.results(name, 2)
		require.Len(t, all, len(list))
		require.Equal(t, old.GetProgram().GetName()+"/revisions/2", all[0].GetRevision())
		for i, reason := range map[int]string{1: service.ReasonNoProgram, 2: "", 3: ""} {
			require.Equal(t, list[i], all[i].GetAthlete())
			require.NotNil(t, all[i].GetError(), list[i])
			if reason != "" {
				require.EqualValues(t, codes.NotFound, all[i].GetError().GetCode())
				require.Contains(t, all[i].GetError().GetMessage(), "make a new one first")
				continue
			}
			require.EqualValues(t, codes.InvalidArgument, all[i].GetError().GetCode(), "%v", all[i].GetError())
			require.Contains(t, all[i].GetError().String(), "rework.from_date")
		}

		got, err := programs.GetProgramRevision(c.ctx, &pb.GetProgramRevisionRequest{Name: all[0].GetRevision()})
		require.NoError(t, err)
		require.Equal(t, "two weeks of logs", got.GetRevision().GetReason())
		want, err := programs.ReviseProgram(c.ctx, &pb.ReviseProgramRequest{
			Name: same.GetProgram().GetName(), Rework: &pb.Rework{From: &pb.Rework_FromDate{FromDate: halfway}}, Reason: "two weeks of logs",
		})
		require.NoError(t, err)
		require.Equal(t, want.GetRevision().GetProgram().GetDigest(), got.GetRevision().GetProgram().GetDigest())
		require.NotEqual(t, old.GetRevision().GetProgram().GetDigest(), got.GetRevision().GetProgram().GetDigest(), "what was shown counts")
		require.Len(t, programsOf(t, c.ctx, r.conn, one), 2, "no new program")

		t.Run("what it was asked for stays", func(t *testing.T) {
			_, err := c.work.GeneratePrograms(c.ctx, &pb.GenerateProgramsRequest{AllAthletes: true, Constraints: oneWeek(), Seed: 3, Revise: &pb.ProgramsRevision{FromDate: halfway}})
			requireReason(t, err, codes.InvalidArgument, "FIELD_TWICE")
			require.ErrorContains(t, err, "constraints")
			_, err = c.work.GeneratePrograms(c.ctx, &pb.GenerateProgramsRequest{AllAthletes: true, Revise: &pb.ProgramsRevision{}})
			require.ErrorContains(t, err, "revise.from_date")
			_, err = c.work.GeneratePrograms(c.ctx, &pb.GenerateProgramsRequest{AllAthletes: true, Revise: &pb.ProgramsRevision{FromDate: "2026-02-30"}})
			require.ErrorContains(t, err, "revise.from_date")
		})
	})
}

// between is an engine at which something happens while it makes a program again.
type between struct {
	*engine.Engine
	ran  atomic.Bool
	then func()
}

func (b *between) Rework(ctx context.Context, base *plan.Program, asked plan.Request, r plan.Rework) (plan.Program, error) {
	p, err := b.Engine.Rework(ctx, base, asked, r)
	if b.ran.CompareAndSwap(false, true) { // then makes it again too
		b.then()
	}
	return p, err
}

// What a coach does to a program while the job makes it again is not undone.
func TestBulkMakesAgainWhatNobodyElseDoes(t *testing.T) {
	e := &between{Engine: quick(t)}
	r, admin := lockedWith(t, e)
	c := bulkOf(t, r.conn, admin)
	programs := pb.NewProgramRecordServiceClient(r.conn)
	who := newAthletes(t, c.ctx, r.conn, 1)[0]
	p := newProgram(t, c.ctx, r.conn, who, begun).GetProgram().GetName()
	var coach error
	e.then = func() {
		_, coach = programs.ReviseProgram(c.ctx, &pb.ReviseProgramRequest{Name: p, Rework: &pb.Rework{From: &pb.Rework_FromDate{FromDate: halfway}}, Reason: "the coach's"})
	}
	name := c.begin(&pb.GenerateProgramsRequest{AllAthletes: true, Revise: &pb.ProgramsRevision{FromDate: halfway}})
	done := c.awaitDone(name)
	require.NoError(t, coach)
	require.EqualValues(t, []int32{0, 1}, []int32{done.GetMade(), done.GetFailed()})
	require.EqualValues(t, codes.Aborted, c.results(name, 0)[0].GetError().GetCode())
	last, err := programs.GetProgramRevision(c.ctx, &pb.GetProgramRevisionRequest{Name: p + "/revisions/2"})
	require.NoError(t, err)
	require.Equal(t, "the coach's", last.GetRevision().GetReason())
	_, err = programs.GetProgramRevision(c.ctx, &pb.GetProgramRevisionRequest{Name: p + "/revisions/3"})
	require.Error(t, err)
}
