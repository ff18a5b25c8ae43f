package rpc

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/wire"
)

// Faults of a program made again stand where the call has what they are about.
func TestRegenerateProgramSpeaksTheCall(t *testing.T) {
	conn, _, _ := started(t, failing(&fault.Error{Kind: fault.Infeasible, Violations: []fault.Violation{
		{Field: "constraints.days[1]", Reason: "A", Says: "a"}, {Field: "rework.locks[0]", Reason: "B", Says: "b"}, {Field: "program", Reason: "C", Says: "c"}, {Reason: "D", Says: "d"},
	}}), Options{})
	client := pb.NewProgramServiceClient(conn)
	ours := request().GetRequest()
	base := &pb.Program{
		Versions: &pb.Versions{Document: "1", Engine: "1", Rules: "1", Catalogue: "1", Curves: "1", Strategy: "a"}, Request: ours,
		Phases: []*pb.Phase{{Name: "a", Weeks: []*pb.Week{{Number: 1, Kind: pb.WeekKind_WEEK_KIND_TRAINING}}}},
	}
	for at, own := range map[string]*pb.ProgramRequest{"request": ours, "program.request": nil} {
		_, err := client.RegenerateProgram(context.Background(), &pb.RegenerateProgramRequest{Program: base, Request: own})
		f, ok := fault.As(Fault(err, ""))
		require.True(t, ok, "%v", err)
		var fields []string
		for _, v := range f.Violations {
			fields = append(fields, v.Field)
		}
		require.Equal(t, []string{at + ".constraints.days[1]", "rework.locks[0]", "program", at}, fields, "%v", err)
	}
	_, err := client.RegenerateProgram(context.Background(), &pb.RegenerateProgramRequest{
		Program: base, Rework: &pb.Rework{From: &pb.Rework_FromDate{FromDate: "2027-02-30"}},
	})
	f, ok := fault.As(Fault(err, ""))
	require.True(t, ok, "%v", err)
	require.Equal(t, "rework.from_date", f.Violations[0].Field)
}

func TestClientRegenerates(t *testing.T) {
	week := func(kind plan.WeekKind) []plan.Phase {
		return []plan.Phase{{Name: "a", Weeks: []plan.Week{{Number: 1, Kind: kind}}}}
	}
	conn, _, _ := started(t, canned{func(_ context.Context, r plan.Request) (plan.Program, error) {
		return plan.Program{Request: r, Phases: week(plan.WeekDeload)}, nil
	}}, Options{})
	c := &Client{conn: conn, programs: pb.NewProgramServiceClient(conn)}
	asked, err := wire.RequestFromProto(request().GetRequest())
	require.NoError(t, err)
	base := &plan.Program{
		Versions: plan.Versions{Document: "1", Engine: "1", Rules: "1", Catalogue: "1", Curves: "1", Strategy: "a"}, Request: asked, Phases: week(plan.WeekTraining),
	}
	how := plan.Rework{FromWeek: 1, Locks: []plan.Lock{{Weekday: plan.Monday}}, Swaps: []plan.Swap{{ExerciseID: "a", With: "b", Group: "A"}}}
	got, err := c.Regenerate(context.Background(), base, asked, how)
	require.NoError(t, err)
	require.Equal(t, how, got.Program.Reworked.Value.Asked)
	require.Equal(t, []plan.Change{{Kind: plan.ChangeWeek, Weeks: []plan.ChangedWeek{{Week: 1, KindWas: plan.WeekTraining, KindIs: plan.WeekDeload}}}}, got.Changes)
}
