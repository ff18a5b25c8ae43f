package wire

import (
	"fmt"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// OperationPattern is that of the names of operations.
const OperationPattern = "operations/{operation}"

// JobFromProto reads what is to be made for athletes.
func JobFromProto(p *pb.GenerateProgramsRequest) (service.NewJob, error) {
	n := service.NewJob{Name: p.GetDisplayName(), All: p.GetAllAthletes()}
	if n.All && len(p.GetAthletes()) > 0 {
		return n, fault.New(fault.Invalid, ReasonTwice, "all_athletes", "all, or those that are named: give one of athletes and all_athletes")
	}
	var err error
	if n.Athletes, err = athletes("athletes", p.GetAthletes()); err != nil {
		return n, err
	}
	if r := p.GetRevise(); r != nil {
		return again(n, p)
	}
	if name, ok := p.GetStrategies().(*pb.GenerateProgramsRequest_PlanName); ok {
		saved, err := ParseName(PlanPattern, "plan_name", name.PlanName)
		if err != nil {
			return n, err
		}
		n.Plan = saved.ID
	}
	n.Request, err = RequestFromProto(&pb.ProgramRequest{
		Goals: p.GetGoals(), Constraints: p.GetConstraints(), Plan: p.GetPlan(), Exercises: p.GetExercises(), Seed: p.GetSeed(),
		AllocationSearch: p.GetAllocationSearch(),
	})
	return n, err
}

// again reads which programs are to be made again; only whose may be said besides.
func again(n service.NewJob, p *pb.GenerateProgramsRequest) (service.NewJob, error) {
	r := newReader()
	for _, x := range []struct {
		field string
		set   bool
	}{
		{"display_name", p.GetDisplayName() != ""}, {"goals", len(p.GetGoals()) > 0}, {"constraints", p.GetConstraints() != nil}, {"plan", p.GetPlan() != nil},
		{"plan_name", p.GetPlanName() != ""}, {"exercises", len(p.GetExercises()) > 0}, {"seed", p.GetSeed() != 0},
		{"allocation_search", p.GetAllocationSearch() != 0},
	} {
		if x.set {
			r.add(ReasonTwice, x.field, "programs that are made again stay what they were asked for: leave this out, or leave out revise")
		}
	}
	back := r.in("revise")
	from := r.date("from_date", p.GetRevise().GetFromDate())
	n.Again = plan.Some(service.Again{From: from, Reason: p.GetRevise().GetReason()})
	r.back(back)
	return n, r.bad.Err()
}

func athletes(field string, names []string) ([]service.ID, error) {
	bad := fault.NewCollector(fault.Invalid)
	var out []service.ID
	for i, name := range names {
		at := fmt.Sprintf("%s[%d]", field, i)
		n, err := ParseName(AthletePattern, at, name)
		if f, ok := fault.As(err); ok {
			bad.Add(f.Violations[0].Reason, at, f.Violations[0].Says)
		}
		out = append(out, n.ID)
	}
	return out, bad.Err()
}

// OrdersFromProto reads requests of a job. Paths begin with orders.
func OrdersFromProto(list []*pb.ProgramOrder) ([]service.NewItem, error) {
	out := make([]service.NewItem, len(list))
	for i, p := range list {
		at := fmt.Sprintf("orders[%d]", i)
		if name, ok := p.GetOrder().(*pb.ProgramOrder_Athlete); ok {
			n, err := ParseName(AthletePattern, at+".athlete", name.Athlete)
			if err != nil {
				return nil, err
			}
			out[i].Athlete = n.ID
			continue
		}
		var err error
		if out[i].Request, err = RequestFromProto(p.GetRequest()); err != nil {
			return nil, fault.Within(at+".request", err)
		}
	}
	return out, nil
}

// JobToMetadata tells how far a job is.
func JobToMetadata(d *service.JobState) *pb.GenerateProgramsMetadata {
	end := d.Ended
	if d.Canceled != 0 {
		end = d.Canceled
	}
	t := d.Tally
	return &pb.GenerateProgramsMetadata{
		CreateTime: timeTo(d.Created), EndTime: timeTo(end), Requests: int32(d.Items), Complete: d.Sealed,
		Made: int32(t.Made), Failed: int32(t.Failed), Erased: int32(t.Dealt - t.Made - t.Failed),
	}
}

// JobToResponse tells what a job that has ended has done.
func JobToResponse(d *service.JobState) *pb.GenerateProgramsResponse {
	t := d.Tally
	return &pb.GenerateProgramsResponse{Made: int32(t.Made), Failed: int32(t.Failed), Erased: int32(t.Dealt - t.Made - t.Failed)}
}

// ResultToProto writes what became of a request, but for its fault.
func ResultToProto(d *service.Result) *pb.ProgramResult {
	p := &pb.ProgramResult{Index: int32(d.Place)}
	if d.Athlete != (service.ID{}) {
		p.Athlete = Name{ID: d.Athlete}.String(AthletePattern)
	}
	switch {
	case d.Program != service.ID{}:
		p.Outcome = &pb.ProgramResult_Revision{Revision: Name{Owner: d.Athlete, ID: d.Program, Number: d.Number}.String(RevisionPattern)}
	case d.Made.Set:
		p.Outcome = &pb.ProgramResult_Program{Program: ProgramToProto(&d.Made.Value)}
	}
	return p
}
