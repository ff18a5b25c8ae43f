package rpc

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

// exportBytes is after how many bytes a page of an export ends.
const exportBytes = 1 << 20

func (s *athletes) ExportAthlete(ctx context.Context, r *pb.ExportAthleteRequest) (*pb.ExportAthleteResponse, error) {
	n, err := wire.ParseName(wire.AthletePattern, "name", r.GetName())
	if err != nil {
		return nil, err
	}
	out := &pb.ExportAthleteResponse{}
	next, err := s.service.Export(ctx, n.ID, r.GetPageToken(), func() func(any) bool {
		out.Records = nil
		held := 0
		return func(record any) bool {
			p := exported(record)
			out.Records = append(out.Records, p)
			held += proto.Size(p)
			return held < exportBytes && len(out.Records) < size(r)
		}
	})
	if err != nil {
		return nil, missing("phasewright/Athlete", r.GetName(), err)
	}
	out.NextPageToken = next
	return out, nil
}

// exported gives the message of a record. Kinds that it doesn't know don't come: the
// service has no place for them (service.Export).
func exported(record any) *pb.ExportedRecord {
	switch r := record.(type) {
	case service.Athlete:
		return &pb.ExportedRecord{Record: &pb.ExportedRecord_Athlete{Athlete: wire.AthleteToRecord(&r)}}
	case service.Performance:
		return &pb.ExportedRecord{Record: &pb.ExportedRecord_Performance{Performance: wire.PerformanceToRecord(&r)}}
	case service.SessionLog:
		return &pb.ExportedRecord{Record: &pb.ExportedRecord_SessionLog{SessionLog: wire.SessionLogToProto(&r)}}
	case service.Measurement:
		return &pb.ExportedRecord{Record: &pb.ExportedRecord_Measurement{Measurement: wire.MeasurementToProto(&r)}}
	case service.Program:
		return &pb.ExportedRecord{Record: &pb.ExportedRecord_Program{Program: wire.ProgramToRecord(&r)}}
	case service.Revision:
		return &pb.ExportedRecord{Record: &pb.ExportedRecord_Revision{Revision: wire.RevisionToProto(&r)}}
	case service.Event:
		return &pb.ExportedRecord{Record: &pb.ExportedRecord_AuditEvent{AuditEvent: eventToProto(&r)}}
	case service.Answer:
		return &pb.ExportedRecord{Record: &pb.ExportedRecord_KeptAnswer{KeptAnswer: &pb.KeptAnswer{
			RequestId: r.RequestID, Method: r.Method, Body: r.Body,
			CreateTime: timestamppb.New(r.Created.Time()), ExpireTime: timestamppb.New(r.Expires.Time()),
		}}}
	case service.Item:
		if one, err := service.ResultOf(r); err == nil {
			return &pb.ExportedRecord{Record: &pb.ExportedRecord_ProgramResult{ProgramResult: result(&one)}}
		}
	case service.TrialEvent:
		return &pb.ExportedRecord{Record: &pb.ExportedRecord_TrialStatement{TrialStatement: &pb.TrialStatement{TrialId: r.Trial.String(), Event: encoded(&r.Event)}}}
	case service.Participant:
		return &pb.ExportedRecord{Record: &pb.ExportedRecord_TrialMembership{TrialMembership: &pb.TrialMembership{
			TrialId: r.Trial.String(), ParticipantId: r.ID.String(), Request: encoded(&r.Request),
		}}}
	}
	panic(fmt.Sprintf("a record of kind %T has no message", record))
}

// encoded is a thing as the store keeps it. It came from there, so it has an encoding.
func encoded(v any) []byte {
	b, _ := plan.Canonical(v)
	return b
}

func (s *athletes) EraseAthlete(ctx context.Context, r *pb.EraseAthleteRequest) (*pb.EraseAthleteResponse, error) {
	n, err := wire.ParseName(wire.AthletePattern, "name", r.GetName())
	if err != nil {
		return nil, err
	}
	e, err := s.service.Erase(ctx, writeOf(r), n.ID, r.GetReason())
	if err != nil {
		return nil, missing("phasewright/Athlete", r.GetName(), err)
	}
	return &pb.EraseAthleteResponse{
		EraseTime: timestamppb.New(e.At.Time()), Performances: e.Performances, SessionLogs: e.SessionLogs, Measurements: e.Measurements,
		Programs: e.Programs, Revisions: e.Revisions, AuditEvents: e.Events, KeptAnswers: e.Answers, ProgramResults: e.Items,
		TrialStatements: e.TrialEvents, TrialMemberships: e.Participants,
	}, nil
}
