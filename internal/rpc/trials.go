package rpc

import (
	"context"
	"strings"

	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/engine/trial/power"
	"github.com/phasewright/phasewright/engine/trial/report"
	"github.com/phasewright/phasewright/internal/chart"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

const (
	trialResource       = "phasewright/Trial"
	participantResource = "phasewright/Participant"
)

type trials struct {
	pb.UnimplementedTrialServiceServer
	service *service.Service
}

// protocolWords are what the domain calls parts of a protocol, and the schema's names.
var protocolWords = map[string]string{
	"title": "display_name", "name": "display_name", "says": "description", "unit_of": "unit", "rule": "equating", "eligible": "eligibility", "ratio_permille": "lift_ratio",
	"tests": "test_days", "familiarisation": "familiarisation_sessions", "blocks": "block_sizes", "caliper_milli": "caliper",
	"minimise": "minimisation", "best_permille": "best_percent", "most_micro": "max_imbalance", "smallest": "smallest_effect",
	"level_permille": "confidence_level", "planned_se": "planned_standard_error",
}

// protocolPath gives a path of the domain's protocol the names of the schema.
func protocolPath(path string) string {
	steps := strings.Split(path, ".")
	for i, s := range steps {
		name, index, _ := strings.Cut(s, "[")
		if to, ok := protocolWords[name]; ok {
			name = to
		}
		if i == 0 && name == "scheme" {
			name = "allocation"
		}
		steps[i] = name
		if index != "" {
			steps[i] += "[" + index
		}
	}
	switch {
	case len(steps) > 1 && steps[0] == "allocation" && strings.HasPrefix(steps[1], "arms"):
		steps = steps[1:]
	case len(steps) > 1 && steps[1] == "rerandomise":
		steps = append(steps[:1], steps[2:]...)
	}
	return strings.Join(steps, ".")
}

// trialWords are what the chain calls parts of an event, and the fields of requests.
var trialWords = map[string]string{
	"": "name", "body": "name", "trial": "name", "looks": "name", "share": "name", "participant": "name", "when": "time", "text": "description",
	"unit.id": "unit", "unit.levels": "levels", "unit.covariates": "covariates", "permille": "percent",
}

// inTrial gives a fault the paths of the request, and says what was not found. at is where
// the request has its protocol.
func inTrial(err error, resource, name, at string) error {
	f, ok := fault.As(err)
	if !ok {
		return err
	}
	if f.Kind == fault.NotFound && len(f.Violations) > 0 && f.Violations[0].Field != "athlete" {
		return missing(resource, name, err)
	}
	return f.Moved(func(path string) string {
		if rest, is := strings.CutPrefix(path, "protocol."); is && at != "" {
			return at + "." + protocolPath(rest)
		}
		if to, is := trialWords[path]; is {
			return to
		}
		if rest, is := strings.CutPrefix(path, "unit."); is { // unit.levels[0]
			return rest
		}
		return path
	})
}

// ofData tells of a fault about what a trial holds (an arm without outcomes, say) what it is
// about: requests that only name the trial have no field of that.
func ofData(err error) error {
	f, ok := fault.As(err)
	if !ok || f.Kind == fault.NotFound {
		return err
	}
	out := f.Moved(func(path string) string {
		if _, known := trialWords[path]; known {
			return path
		}
		return "name"
	})
	for i := range out.Violations {
		if was := f.Violations[i].Field; out.Violations[i].Field != was {
			out.Violations[i].Says = "its " + was + " " + f.Violations[i].Says
		}
	}
	return out
}

type named interface{ GetName() string }

type namedMessage interface {
	proto.Message
	named
}

func trialID(r named) (service.ID, error) {
	n, err := wire.ParseName(wire.TrialPattern, "name", r.GetName())
	return n.ID, err
}

// participantID gives the trial and the participant.
func participantID(r named) (trial, id service.ID, err error) {
	n, err := wire.ParseName(wire.ParticipantPattern, "name", r.GetName())
	return n.Owner, n.ID, err
}

func (s *trials) CreateTrial(ctx context.Context, r *pb.CreateTrialRequest) (*pb.CreateTrialResponse, error) {
	p, err := wire.ProtocolFromProto(r.GetTrial().GetProtocol())
	if err != nil {
		return nil, fault.Within("trial.protocol", err)
	}
	v, err := s.service.CreateTrial(ctx, writeOf(r), p)
	if err != nil {
		return nil, inTrial(err, trialResource, "", "trial.protocol")
	}
	return &pb.CreateTrialResponse{Trial: wire.TrialToProto(&v)}, nil
}

func (s *trials) GetTrial(ctx context.Context, r *pb.GetTrialRequest) (*pb.GetTrialResponse, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	v, err := s.service.Trial(ctx, id)
	if err != nil {
		return nil, missing(trialResource, r.GetName(), err)
	}
	return &pb.GetTrialResponse{Trial: wire.TrialToProto(&v)}, nil
}

func (s *trials) ListTrials(ctx context.Context, r *pb.ListTrialsRequest) (*pb.ListTrialsResponse, error) {
	list, next, err := s.service.Trials(ctx, size(r), r.GetPageToken(), r.GetShowDeleted())
	if err != nil {
		return nil, err
	}
	out := &pb.ListTrialsResponse{NextPageToken: next}
	for i := range list {
		out.Trials = append(out.Trials, wire.TrialToProto(&list[i]))
	}
	return out, nil
}

func (s *trials) AmendTrial(ctx context.Context, r *pb.AmendTrialRequest) (*pb.AmendTrialResponse, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	p, err := wire.ProtocolFromProto(r.GetProtocol())
	if err != nil {
		return nil, fault.Within("protocol", err)
	}
	w := writeOf(r)
	w.Etag = r.GetEtag()
	v, err := s.service.AmendTrial(ctx, w, id, conduct.Amended{Protocol: p, Reason: r.GetReason(), OutcomesSeen: r.GetOutcomesSeen()})
	if err != nil {
		return nil, inTrial(err, trialResource, r.GetName(), "protocol")
	}
	return &pb.AmendTrialResponse{Trial: wire.TrialToProto(&v)}, nil
}

func (s *trials) DeleteTrial(ctx context.Context, r *pb.DeleteTrialRequest) (*pb.DeleteTrialResponse, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	w := writeOf(r)
	w.Etag = r.GetEtag()
	v, err := s.service.DeleteTrial(ctx, w, id)
	if err != nil {
		return nil, missing(trialResource, r.GetName(), err)
	}
	return &pb.DeleteTrialResponse{Trial: wire.TrialToProto(&v)}, nil
}

func (s *trials) FreezeTrial(ctx context.Context, r *pb.FreezeTrialRequest) (*pb.FreezeTrialResponse, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	w := writeOf(r)
	w.Etag = r.GetEtag()
	v, err := s.service.FreezeTrial(ctx, w, id)
	if err != nil {
		return nil, inTrial(err, trialResource, r.GetName(), "")
	}
	return &pb.FreezeTrialResponse{Trial: wire.TrialToProto(&v)}, nil
}

// predicted are the paths of power.Trial, and the fields of the request.
var predicted = strings.NewReplacer(
	"world.spread", "spread", "world.typical_error", "typical_error", "world.gain", "gains", "world.response", "responses", "world.dropout", "dropouts",
	"world.covariate_r", "covariate_correlations", "world.cluster_size", "group_size", "world.cluster_icc", "group_correlation",
)

const usualRuns = 2000

func (s *trials) PredictTrial(ctx context.Context, r *pb.PredictTrialRequest) (*pb.PredictTrialResponse, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	t := power.Trial{
		Units: int(r.GetUnits()), Runs: int(r.GetRuns()), Seed: uint64(r.GetSeed()),
		World: power.World{
			Spread: r.GetSpread(), TypicalError: -1, Gain: r.GetGains(), Response: r.GetResponses(), CovariateR: r.GetCovariateCorrelations(),
			ClusterSize: int(r.GetGroupSize()), ClusterICC: r.GetGroupCorrelation(),
		},
	}
	if t.Runs == 0 {
		t.Runs = usualRuns
	}
	if r.TypicalError != nil {
		t.World.TypicalError = r.GetTypicalError()
	}
	for _, d := range r.GetDropouts() {
		t.World.Dropout = append(t.World.Dropout, d/100)
	}
	o, err := s.service.PredictTrial(ctx, id, t)
	if f, ok := fault.As(err); ok && f.Kind == fault.Invalid {
		return nil, f.Moved(predicted.Replace)
	}
	if err != nil {
		return nil, missing(trialResource, r.GetName(), err)
	}
	return &pb.PredictTrialResponse{Prediction: wire.PredictionToProto(o)}, nil
}

func (s *trials) JoinTrial(ctx context.Context, r *pb.JoinTrialRequest) (*pb.JoinTrialResponse, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	j, err := wire.JoiningFromProto(r)
	if err != nil {
		return nil, err
	}
	j.Trial = id
	joined, err := s.service.JoinTrial(ctx, writeOf(r), j)
	if f, ok := fault.As(err); ok && f.Kind == fault.NotFound && len(f.Violations) > 0 && f.Violations[0].Field == "athlete" {
		return nil, missingAt("phasewright/Athlete", r.GetAthlete(), "athlete", err)
	}
	if err != nil {
		return nil, inTrial(err, trialResource, r.GetName(), "")
	}
	return wire.JoinedToProto(&j, &joined), nil
}

func (s *trials) GetParticipant(ctx context.Context, r *pb.GetParticipantRequest) (*pb.GetParticipantResponse, error) {
	trial, id, err := participantID(r)
	if err != nil {
		return nil, err
	}
	p, err := s.service.Participant(ctx, trial, id)
	if err != nil {
		return nil, missing(participantResource, r.GetName(), err)
	}
	return &pb.GetParticipantResponse{Participant: wire.ParticipantToProto(&p)}, nil
}

func (s *trials) ListParticipants(ctx context.Context, r *pb.ListParticipantsRequest) (*pb.ListParticipantsResponse, error) {
	n, err := wire.ParseName(wire.TrialPattern, "parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	list, next, err := s.service.Participants(ctx, n.ID, size(r), r.GetPageToken())
	if err != nil {
		return nil, missingAt(trialResource, r.GetParent(), "parent", err)
	}
	out := &pb.ListParticipantsResponse{NextPageToken: next}
	for i := range list {
		out.Participants = append(out.Participants, wire.ParticipantToProto(&list[i]))
	}
	return out, nil
}

func (s *trials) MakeLeadInProgram(ctx context.Context, r *pb.MakeLeadInProgramRequest) (*pb.MakeLeadInProgramResponse, error) {
	trial, id, err := participantID(r)
	if err != nil {
		return nil, err
	}
	p, revision, err := s.service.LeadInParticipant(ctx, writeOf(r), trial, id)
	if err != nil {
		return nil, inTrial(err, participantResource, r.GetName(), "")
	}
	return &pb.MakeLeadInProgramResponse{Program: wire.ProgramToRecord(&p), Revision: wire.RevisionToProto(&revision)}, nil
}

func (s *trials) CheckParticipant(ctx context.Context, r *pb.CheckParticipantRequest) (*pb.CheckParticipantResponse, error) {
	trial, id, err := participantID(r)
	if err != nil {
		return nil, err
	}
	without, err := s.service.CheckParticipant(ctx, writeOf(r), trial, id)
	if err != nil {
		return nil, inTrial(err, participantResource, r.GetName(), "")
	}
	return &pb.CheckParticipantResponse{WithoutProgram: without}, nil
}

func (s *trials) EnrolUnit(ctx context.Context, r *pb.EnrolUnitRequest) (*pb.EnrolUnitResponse, error) {
	b := conduct.Body{Enrolled: &conduct.Enrolled{Unit: r.GetUnit(), Levels: r.GetLevels(), Covariates: r.GetCovariates()}}
	t, err := s.record(ctx, r, b)
	return &pb.EnrolUnitResponse{Trial: t}, err
}

func (s *trials) CloseEnrolment(ctx context.Context, r *pb.CloseEnrolmentRequest) (*pb.CloseEnrolmentResponse, error) {
	t, err := s.record(ctx, r, conduct.Body{Closed: &conduct.Closed{}})
	return &pb.CloseEnrolmentResponse{Trial: t}, err
}

func (s *trials) EndTrial(ctx context.Context, r *pb.EndTrialRequest) (*pb.EndTrialResponse, error) {
	t, err := s.record(ctx, r, conduct.Body{Ended: &conduct.Ended{Reason: r.GetReason()}})
	return &pb.EndTrialResponse{Trial: t}, err
}

// record adds what happened to a trial as a whole.
func (s *trials) record(ctx context.Context, r namedMessage, b conduct.Body) (*pb.Trial, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	v, err := s.service.RecordTrial(ctx, writeOf(r), id, b, nil)
	if err != nil {
		return nil, inTrial(err, trialResource, r.GetName(), "")
	}
	return wire.TrialToProto(&v), nil
}

func (s *trials) AssignArms(ctx context.Context, r *pb.AssignArmsRequest) (*pb.AssignArmsResponse, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	list, err := s.service.AssignTrial(ctx, writeOf(r), id)
	if err != nil {
		return nil, inTrial(err, trialResource, r.GetName(), "")
	}
	v, err := s.service.Trial(ctx, id) // whose arms stay once someone has joined
	if err != nil {
		return nil, missing(trialResource, r.GetName(), err)
	}
	return &pb.AssignArmsResponse{Assignments: wire.AssignmentsToProto(&v.Protocol, list)}, nil
}

func (s *trials) MakeArmProgram(ctx context.Context, r *pb.MakeArmProgramRequest) (*pb.MakeArmProgramResponse, error) {
	trial, id, err := participantID(r)
	if err != nil {
		return nil, err
	}
	p, revision, err := s.service.ProgramParticipant(ctx, writeOf(r), trial, id)
	if err != nil {
		return nil, inTrial(err, participantResource, r.GetName(), "")
	}
	return &pb.MakeArmProgramResponse{Program: wire.ProgramToRecord(&p), Revision: wire.RevisionToProto(&revision)}, nil
}

// RecordTrialMeasurement answers nothing: who measures is not to see arms or results.
func (s *trials) RecordTrialMeasurement(ctx context.Context, r *pb.RecordTrialMeasurementRequest) (*pb.RecordTrialMeasurementResponse, error) {
	value, err := wire.ThousandthsOf("value", r.GetValue())
	if err != nil {
		return nil, err
	}
	b := conduct.Body{Measured: &conduct.Measured{Outcome: r.GetOutcome(), When: conduct.When(r.GetTime()), Blind: r.GetBlind()}}
	if r.GetDate() != "" {
		if b.Measured.On, err = plan.ParseDate(r.GetDate()); err != nil {
			return nil, fault.New(fault.Invalid, wire.ReasonDate, "date", err.Error())
		}
	}
	return &pb.RecordTrialMeasurementResponse{}, s.of(ctx, r, b, &conduct.Private{By: r.GetAssessor(), Value: &value})
}

func (s *trials) RecordIncident(ctx context.Context, r *pb.RecordIncidentRequest) (*pb.RecordIncidentResponse, error) {
	b := conduct.Body{Happened: &conduct.Happened{Kind: report.EventKind(r.GetKind() - 1), Serious: r.GetSerious()}}
	return &pb.RecordIncidentResponse{}, s.of(ctx, r, b, &conduct.Private{Text: r.GetDescription()})
}

func (s *trials) WithdrawParticipant(ctx context.Context, r *pb.WithdrawParticipantRequest) (*pb.WithdrawParticipantResponse, error) {
	var p *conduct.Private
	if r.GetReason() != "" {
		p = &conduct.Private{Text: r.GetReason()}
	}
	return &pb.WithdrawParticipantResponse{}, s.of(ctx, r, conduct.Body{Withdrawn: &conduct.Withdrawn{}}, p)
}

// of records what happened to a participant.
func (s *trials) of(ctx context.Context, r namedMessage, b conduct.Body, p *conduct.Private) error {
	trial, id, err := participantID(r)
	if err != nil {
		return err
	}
	switch {
	case b.Measured != nil:
		b.Measured.Participant = id.String()
	case b.Happened != nil:
		b.Happened.Participant = id.String()
	case b.Withdrawn != nil:
		b.Withdrawn.Participant = id.String()
	}
	if _, err = s.service.RecordTrial(ctx, writeOf(r), trial, b, p); err != nil {
		return inTrial(err, participantResource, r.GetName(), "")
	}
	return nil
}

func (s *trials) RecordAdherence(ctx context.Context, r *pb.RecordAdherenceRequest) (*pb.RecordAdherenceResponse, error) {
	trial, id, err := participantID(r)
	if err != nil {
		return nil, err
	}
	var share plan.Opt[int32]
	if r.Percent != nil {
		v, err := wire.PermilleOf("percent", r.GetPercent())
		if err != nil {
			return nil, err
		}
		share = plan.Some(v)
	}
	done, err := s.service.RecordAdherence(ctx, writeOf(r), trial, id, share, r.GetKept())
	if err != nil {
		return nil, inTrial(err, participantResource, r.GetName(), "")
	}
	return &pb.RecordAdherenceResponse{Percent: wire.PercentOf(done)}, nil
}

func (s *trials) ReadInterim(ctx context.Context, r *pb.ReadInterimRequest) (*pb.ReadInterimResponse, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	l, err := s.service.LookAtTrial(ctx, writeOf(r), id, r.GetLast())
	if err != nil {
		return nil, inTrial(ofData(err), trialResource, r.GetName(), "")
	}
	return &pb.ReadInterimResponse{Look: wire.LookToProto(&l.Shows)}, nil
}

func (s *trials) CompareHarm(ctx context.Context, r *pb.CompareHarmRequest) (*pb.CompareHarmResponse, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	arms, err := s.service.HarmInTrial(ctx, id, max(1, int(r.GetPlannedLooks())))
	if err != nil {
		return nil, inTrial(ofData(err), trialResource, r.GetName(), "")
	}
	return &pb.CompareHarmResponse{Arms: wire.HarmToProto(arms)}, nil
}

func (s *trials) RevealTrialKey(ctx context.Context, r *pb.RevealTrialKeyRequest) (*pb.RevealTrialKeyResponse, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	v, err := s.service.RevealTrial(ctx, writeOf(r), id)
	if err != nil {
		return nil, inTrial(err, trialResource, r.GetName(), "")
	}
	return &pb.RevealTrialKeyResponse{Trial: wire.TrialToProto(&v)}, nil
}

func (s *trials) reported(ctx context.Context, r named) (*report.Input, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	in, err := s.service.ReportTrial(ctx, id)
	if err != nil {
		return nil, inTrial(ofData(err), trialResource, r.GetName(), "")
	}
	return in, nil
}

func (s *trials) AnalyseTrial(ctx context.Context, r *pb.AnalyseTrialRequest) (*pb.AnalyseTrialResponse, error) {
	in, err := s.reported(ctx, r)
	if err != nil {
		return nil, err
	}
	made, err := report.Make(in)
	if err != nil {
		return nil, inTrial(ofData(err), trialResource, r.GetName(), "")
	}
	return &pb.AnalyseTrialResponse{Analyses: wire.AnalysesToProto(made)}, nil
}

func (s *trials) ExportTrialReport(ctx context.Context, r *pb.ExportTrialReportRequest) (*pb.ExportTrialReportResponse, error) {
	in, err := s.reported(ctx, r)
	if err != nil {
		return nil, err
	}
	files, err := chart.Files(in)
	if err != nil {
		return nil, inTrial(ofData(err), trialResource, r.GetName(), "")
	}
	out := &pb.ExportTrialReportResponse{}
	for _, f := range files {
		out.Files = append(out.Files, &pb.ReportFile{FileName: f.Name, MediaType: f.Type, Content: f.Content})
	}
	return out, nil
}

func (s *trials) ListTrialEvents(ctx context.Context, r *pb.ListTrialEventsRequest) (*pb.ListTrialEventsResponse, error) {
	n, err := wire.ParseName(wire.TrialPattern, "parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	list, next, err := s.service.TrialEventsPage(ctx, n.ID, size(r), r.GetPageToken())
	if err != nil {
		return nil, missingAt(trialResource, r.GetParent(), "parent", err)
	}
	out := &pb.ListTrialEventsResponse{NextPageToken: next}
	for i := range list {
		e, err := wire.TrialEventToProto(&list[i])
		if err != nil {
			return nil, err
		}
		out.Events = append(out.Events, e)
	}
	return out, nil
}

func (s *trials) VerifyTrial(ctx context.Context, r *pb.VerifyTrialRequest) (*pb.VerifyTrialResponse, error) {
	id, err := trialID(r)
	if err != nil {
		return nil, err
	}
	v, err := s.service.VerifyTrial(ctx, id)
	if err != nil {
		return nil, inTrial(err, trialResource, r.GetName(), "")
	}
	return wire.VerifiedToProto(&v), nil
}
