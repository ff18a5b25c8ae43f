package wire

import (
	"encoding/json"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/engine/trial/match"
	"github.com/phasewright/phasewright/engine/trial/sequential"
	"github.com/phasewright/phasewright/engine/trial/stat"
	"github.com/phasewright/phasewright/internal/service"
)

// Patterns of the names of trials and of who is in them.
const (
	TrialPattern       = "trials/{trial}"
	ParticipantPattern = "trials/{trial}/participants/{participant}"
)

// units of randomisation, by number.
var units = [...]string{"", "athlete", "coach", "gym"}

// usual analysis, where a protocol leaves it open.
const (
	usualLevel = 950
	perMicro   = 1_000_000
)

// ProtocolFromProto reads a protocol, but for its id. Paths begin with the protocol's own
// fields; what the domain finds wrong with it is under other names (see
// internal/rpc/trials.go).
func ProtocolFromProto(p *pb.TrialProtocol) (conduct.Protocol, error) {
	return reading(func(r *reader) conduct.Protocol {
		return conduct.Protocol{
			Title: p.GetDisplayName(), Question: p.GetQuestion(), UnitOf: unitFrom(r, p.GetUnit()),
			Arms:     each(r, "arms", p.GetArms(), trialArmFrom),
			Rule:     usual(enum(r, "equating", p.GetEquating(), plan.EquatingCount), plan.EquateHardSets),
			LeadIn:   p.GetLeadInWeeks(),
			Before:   ptr(one(r, "lead_in", p.GetLeadIn(), planFrom)),
			Weeks:    p.GetWeeks(),
			Eligible: one(r, "eligibility", p.GetEligibility(), eligibleFrom).Value,
			Outcomes: each(r, "outcomes", p.GetOutcomes(), outcomeFrom),
			Tests: conduct.Tests{
				FromHours: p.GetTestDays().GetMinHours(), ToHours: p.GetTestDays().GetMaxHours(), Familiarisation: p.GetTestDays().GetFamiliarisationSessions(),
			},
			Scheme:   one(r, "allocation", p.GetAllocation(), trialSchemeFrom).Value,
			Analysis: analysisPlanFrom(r, p.GetAnalysis()),
		}
	})
}

// ReadProtocol reads a protocol as ReadRequest reads a request.
func ReadProtocol(data []byte) (*pb.TrialProtocol, error) {
	p := &pb.TrialProtocol{}
	return p, read(data, p)
}

// usual gives v, or what is usual where v is zero.
func usual[T comparable](v, otherwise T) T {
	var zero T
	if v == zero {
		return otherwise
	}
	return v
}

func unitFrom(r *reader, u pb.RandomisationUnit) string {
	if u < 0 || int(u) >= len(units) {
		r.add(ReasonUnknownValue, "unit", "is no unit of randomisation")
		return ""
	}
	return units[u]
}

func unitTo(name string) pb.RandomisationUnit {
	for i, n := range units {
		if n == name {
			return pb.RandomisationUnit(i)
		}
	}
	return pb.RandomisationUnit_RANDOMISATION_UNIT_UNSPECIFIED
}

func trialArmFrom(r *reader, p *pb.TrialArm) conduct.Arm {
	return conduct.Arm{
		ID: p.GetId(), Name: p.GetDisplayName(), Says: p.GetDescription(), Ratio: int(usual(p.GetRatio(), 1)),
		Plan: one(r, "plan", p.GetPlan(), planFrom).Value, HeavyLow: p.GetSetsOfOneToThree(),
	}
}

func eligibleFrom(r *reader, p *pb.TrialEligibility) conduct.Eligible {
	return conduct.Eligible{Lift: p.GetLift(), RatioPermille: r.scaled32("lift_ratio", p.GetLiftRatio(), perUnit), Months: p.GetTrainingMonths(), Also: p.GetAlso()}
}

func outcomeFrom(r *reader, p *pb.TrialOutcome) conduct.Outcome {
	out := conduct.Outcome{
		ID: p.GetId(), Name: p.GetDisplayName(), Unit: p.GetUnit(), Method: p.GetMethod(), OneRM: p.GetOneRm(), Mid: p.GetMeasuredMidway(),
		Smallest: r.scaled("smallest_effect", p.GetSmallestEffect(), perUnit), TypicalError: r.scaled("typical_error", p.GetTypicalError(), perUnit),
	}
	if v := one(r, "possible", p.GetPossible(), func(r *reader, p *pb.OutcomeRange) [2]int64 {
		return [2]int64{r.scaled("min", p.GetMin(), perUnit), r.scaled("max", p.GetMax(), perUnit)}
	}); v.Set {
		out.Possible = &v.Value
	}
	if v := one(r, "prior", p.GetPrior(), func(r *reader, p *pb.TrialPrior) conduct.Prior {
		return conduct.Prior{Mean: r.scaled("mean", p.GetMean(), perUnit), SD: r.scaled("standard_deviation", p.GetStandardDeviation(), perUnit)}
	}); v.Set {
		out.Prior = &v.Value
	}
	return out
}

func trialSchemeFrom(r *reader, p *pb.AllocationRule) conduct.Scheme {
	out := conduct.Scheme{
		Kind: enum(r, "scheme", p.GetScheme(), assign.Rerandomisation+1), Factors: p.GetFactors(), Covariates: p.GetCovariates(),
		Criterion:   fromOne(enum(r, "criterion", p.GetCriterion(), match.SumOfSquares+2)),
		Rerandomise: assign.Rerandomise{MostMicro: r.micro("max_imbalance", p.GetMaxImbalance())},
	}
	for _, b := range p.GetBlockSizes() {
		out.Blocks = append(out.Blocks, int(b))
	}
	out.Sequential = one(r, "sequential", p.GetSequential(), func(r *reader, p *pb.SequentialPairing) assign.Sequential {
		return assign.Sequential{Spread: p.GetSpread(), CaliperMilli: r.scaled("caliper", p.GetCaliper(), perUnit), Together: p.GetTogether()}
	}).Value
	out.Minimise = one(r, "minimisation", p.GetMinimisation(), func(r *reader, p *pb.MinimisationRule) assign.Minimise {
		return assign.Minimise{
			Measure:      fromOne(enum(r, "measure", p.GetMeasure(), assign.SD+2)),
			BestPermille: int(r.scaled("best_percent", p.GetBestPercent(), perPercent)), Weights: p.GetWeights(),
		}
	}).Value
	return out
}

// fromOne and toOne go between numbers of the domain from 0, where 0 is the usual, and
// those of the schema from 1, where 0 is not given.
func fromOne[D ~uint8](d D) D {
	if d == 0 {
		return 0
	}
	return d - 1
}

func toOne[D ~uint8, P ~int32](d D) P { return P(d) + 1 }

// micro reads a number of at most six decimals.
func (r *reader) micro(name string, v float64) int64 {
	n, ok := steps(v, perMicro)
	if !ok {
		r.add(ReasonNotExact, name, "can't be kept exactly; at most six decimals are possible")
	}
	return n
}

func analysisPlanFrom(r *reader, p *pb.TrialAnalysisPlan) conduct.Analysis {
	at := r.in("analysis")
	defer r.back(at)
	return conduct.Analysis{
		LevelPermille: usual(r.scaled32("confidence_level", p.GetConfidenceLevel(), perPercent), usualLevel),
		Draws:         int(usual(p.GetDraws(), stat.DefaultDraws)), Seed: uint64(p.GetSeed()),
		Spending:  fromOne(enum(r, "spending", p.GetSpending(), sequential.WholeOBrienFleming+2)),
		PlannedSE: r.scaled("planned_standard_error", p.GetPlannedStandardError(), perUnit),
	}
}

// ProtocolToProto writes a protocol.
func ProtocolToProto(d *conduct.Protocol) *pb.TrialProtocol {
	out := &pb.TrialProtocol{
		DisplayName: d.Title, Question: d.Question, Unit: unitTo(d.UnitOf), Equating: pb.Equating(d.Rule), LeadInWeeks: d.LeadIn, Weeks: d.Weeks,
		Arms: eachTo(d.Arms, func(a *conduct.Arm) *pb.TrialArm {
			return &pb.TrialArm{Id: a.ID, DisplayName: a.Name, Description: a.Says, Ratio: int32(a.Ratio), Plan: present(planTo(&a.Plan)), SetsOfOneToThree: a.HeavyLow}
		}),
		Outcomes:   eachTo(d.Outcomes, outcomeTo),
		TestDays:   &pb.TrialTestDays{MinHours: d.Tests.FromHours, MaxHours: d.Tests.ToHours, FamiliarisationSessions: d.Tests.Familiarisation},
		Allocation: trialSchemeTo(&d.Scheme),
		Analysis: &pb.TrialAnalysisPlan{
			ConfidenceLevel: percentTo(plan.Permille(d.Analysis.LevelPermille)), Draws: int32(d.Analysis.Draws), Seed: uint32(d.Analysis.Seed),
			Spending: toOne[sequential.Spending, pb.AlphaSpending](d.Analysis.Spending), PlannedStandardError: unscale(d.Analysis.PlannedSE),
		},
	}
	if d.Before != nil {
		out.LeadIn = present(planTo(d.Before))
	}
	if e := &d.Eligible; e.Lift != "" || e.Months != 0 || len(e.Also) > 0 {
		out.Eligibility = &pb.TrialEligibility{Lift: e.Lift, LiftRatio: unscale(int64(e.RatioPermille)), TrainingMonths: e.Months, Also: e.Also}
	}
	return out
}

// present is p, or an empty plan where there is nothing to say.
func present(p *pb.Plan) *pb.Plan {
	if p == nil {
		return &pb.Plan{}
	}
	return p
}

func outcomeTo(o *conduct.Outcome) *pb.TrialOutcome {
	p := &pb.TrialOutcome{
		Id: o.ID, DisplayName: o.Name, Unit: o.Unit, Method: o.Method, OneRm: o.OneRM, MeasuredMidway: o.Mid,
		SmallestEffect: unscale(o.Smallest), TypicalError: unscale(o.TypicalError),
	}
	if v := o.Possible; v != nil {
		p.Possible = &pb.OutcomeRange{Min: unscale(v[0]), Max: unscale(v[1])}
	}
	if v := o.Prior; v != nil {
		p.Prior = &pb.TrialPrior{Mean: unscale(v.Mean), StandardDeviation: unscale(v.SD)}
	}
	return p
}

func trialSchemeTo(s *conduct.Scheme) *pb.AllocationRule {
	p := &pb.AllocationRule{
		Scheme: pb.AllocationScheme(s.Kind), Factors: s.Factors, Covariates: s.Covariates,
		MaxImbalance: float64(s.Rerandomise.MostMicro) / perMicro,
	}
	for _, b := range s.Blocks {
		p.BlockSizes = append(p.BlockSizes, int32(b))
	}
	switch s.Kind {
	case assign.MatchedPairs:
		p.Criterion = toOne[match.Criterion, pb.PairCriterion](s.Criterion)
	case assign.SequentialPairs:
		p.Criterion = toOne[match.Criterion, pb.PairCriterion](s.Criterion)
		p.Sequential = &pb.SequentialPairing{Spread: s.Sequential.Spread, Caliper: unscale(s.Sequential.CaliperMilli), Together: s.Sequential.Together}
	case assign.Minimisation:
		p.Minimisation = &pb.MinimisationRule{
			Measure:     toOne[assign.Measure, pb.ImbalanceMeasure](s.Minimise.Measure),
			BestPercent: percentTo(plan.Permille(s.Minimise.BestPermille)), Weights: s.Minimise.Weights,
		}
	}
	return p
}

// TrialToProto writes a trial.
func TrialToProto(v *service.TrialView) *pb.Trial {
	s := &v.Standing
	return &pb.Trial{
		Name: Name{ID: v.Head.ID}.String(TrialPattern), Protocol: ProtocolToProto(&v.Protocol), State: pb.TrialState(s.State()),
		ProtocolVersion: int32(s.Version), ProtocolHash: s.Hash, FreezeTime: timeTo(v.Frozen), KeyCommitment: v.Commitment, Key: v.Key, Warnings: v.Warnings,
		EventCount: v.Events, JoinedCount: int32(s.Joined), EnrolledCount: int32(s.Enrolled), AssignedCount: int32(len(v.Assigned)),
		CreateTime: timeTo(v.Head.Created), UpdateTime: timeTo(v.Head.Updated), DeleteTime: timeTo(v.Head.Deleted), Etag: v.Etag,
	}
}

// AssignmentsToProto writes arms, by the ids that a protocol gives them.
func AssignmentsToProto(p *conduct.Protocol, list []assign.Assignment) []*pb.ArmAssignment {
	return eachTo(list, func(a *assign.Assignment) *pb.ArmAssignment {
		return &pb.ArmAssignment{
			Unit: a.Unit, Arm: p.Arms[a.Arm].ID, Number: int32(a.Number), Stratum: a.Stratum,
			Block: int32(a.Block), BlockSize: int32(a.Size), BlockPlace: int32(a.Place), Pair: int32(a.Pair),
		}
	})
}

// TrialEventToProto writes an event, with all of it as JSON.
func TrialEventToProto(e *conduct.Event) (*pb.TrialEvent, error) {
	text, err := json.Marshal(e)
	if err != nil {
		return nil, fault.Wrap(fault.Internal, service.ReasonStorage, err)
	}
	return &pb.TrialEvent{
		Number: int32(e.Number), Time: timestamppb.New(time.UnixMilli(e.At)), Kind: e.Body.Kind(), Participant: e.Body.Participant(),
		PreviousHash: e.Prev, Hash: e.Hash, Json: string(text),
	}, nil
}

// JoiningFromProto reads who may join, but for the trial.
func JoiningFromProto(p *pb.JoinTrialRequest) (service.Joining, error) {
	who, err := ParseName(AthletePattern, "athlete", p.GetAthlete())
	if err != nil {
		return service.Joining{}, err
	}
	request, err := RequestFromProto(&pb.ProgramRequest{
		Goals: p.GetGoals(), Constraints: p.GetConstraints(), Exercises: p.GetExercises(), Seed: p.GetSeed(), AllocationSearch: p.GetAllocationSearch(),
	})
	if err != nil {
		return service.Joining{}, err
	}
	return reading(func(r *reader) service.Joining {
		return service.Joining{
			Athlete: who.ID, Unit: p.GetUnit(), Consent: p.GetConsent(), Request: request,
			Facts: conduct.Facts{Lift: load(r, "lift", p.GetLift()), BodyMass: load(r, "body_mass", p.GetBodyMass()), Months: opt(p.TrainingMonths)},
		}
	})
}

// JoinedToProto writes what came of it.
func JoinedToProto(j *service.Joining, d *service.Joined) *pb.JoinTrialResponse {
	out := &pb.JoinTrialResponse{Excluded: d.Excluded, Lift: optMassTo(d.Facts.Lift), BodyMass: optMassTo(d.Facts.BodyMass), TrainingMonths: ptr(d.Facts.Months)}
	if len(d.Excluded) > 0 {
		return out
	}
	p := service.Seen{Participant: service.Participant{Head: service.Head{ID: d.Participant, Created: d.Created}, Athlete: j.Athlete, Trial: j.Trial, Unit: d.Unit}}
	out.Participant = ParticipantToProto(&p)
	return out
}

// ParticipantToProto writes a participant.
func ParticipantToProto(d *service.Seen) *pb.Participant {
	p := &pb.Participant{Name: Name{Owner: d.Trial, ID: d.ID}.String(ParticipantPattern), Unit: d.Unit, Arm: d.Arm, CreateTime: timeTo(d.Created)}
	if d.Athlete == (service.ID{}) {
		return p
	}
	p.Athlete = Name{ID: d.Athlete}.String(AthletePattern)
	if d.LeadIn != (service.ID{}) {
		p.LeadInProgram = Name{Owner: d.Athlete, ID: d.LeadIn}.String(ProgramPattern)
	}
	if d.Program != (service.ID{}) {
		p.Program = Name{Owner: d.Athlete, ID: d.Program}.String(ProgramPattern)
	}
	return p
}

// ThousandthsOf reads a number of at most three decimals; field is where it stands.
func ThousandthsOf(field string, v float64) (int64, error) {
	return reading(func(r *reader) int64 { return r.scaled(field, v, perUnit) })
}

// PermilleOf reads per cent of at most one decimal.
func PermilleOf(field string, percent float64) (int32, error) {
	return reading(func(r *reader) int32 { return int32(r.permille(field, percent)) })
}

// PercentOf writes thousandths as per cent.
func PercentOf(permille int32) float64 { return percentTo(plan.Permille(permille)) }
