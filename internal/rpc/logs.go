package rpc

import (
	"context"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

type sessionLogs struct {
	pb.UnimplementedSessionLogServiceServer
	service *service.Service
}

func (s *sessionLogs) kind() kind[service.SessionLog, *service.SessionLog, *pb.SessionLog] {
	return kind[service.SessionLog, *service.SessionLog, *pb.SessionLog]{s.service.SessionLogs(), wire.SessionLogPattern, "session_log", wire.SessionLogFromProto, wire.SessionLogToProto}
}

func (s *sessionLogs) CreateSessionLog(ctx context.Context, r *pb.CreateSessionLogRequest) (*pb.CreateSessionLogResponse, error) {
	p, err := s.kind().create(ctx, r, r.GetParent(), r.GetSessionLog(), func(v *service.SessionLog, athlete service.ID) { v.Athlete = athlete })
	return &pb.CreateSessionLogResponse{SessionLog: p}, err
}

func (s *sessionLogs) GetSessionLog(ctx context.Context, r *pb.GetSessionLogRequest) (*pb.GetSessionLogResponse, error) {
	p, err := s.kind().get(ctx, r.GetName())
	return &pb.GetSessionLogResponse{SessionLog: p}, err
}

func (s *sessionLogs) ListSessionLogs(ctx context.Context, r *pb.ListSessionLogsRequest) (*pb.ListSessionLogsResponse, error) {
	q, err := days(r)
	if err != nil {
		return nil, err
	}
	if r.GetProgram() != "" {
		n, err := wire.ParseName(wire.ProgramPattern, "program", r.GetProgram())
		if err != nil {
			return nil, err
		}
		if q.Program = n.ID; n.Owner != q.Athlete { // somebody else's is like one that there isn't
			q.Program = n.Owner
		}
	}
	list, next, err := s.kind().list(ctx, q, r)
	return &pb.ListSessionLogsResponse{SessionLogs: list, NextPageToken: next}, err
}

func (s *sessionLogs) UpdateSessionLog(ctx context.Context, r *pb.UpdateSessionLogRequest) (*pb.UpdateSessionLogResponse, error) {
	p, err := s.kind().update(ctx, r, r.GetSessionLog())
	return &pb.UpdateSessionLogResponse{SessionLog: p}, err
}

func (s *sessionLogs) DeleteSessionLog(ctx context.Context, r *pb.DeleteSessionLogRequest) (*pb.DeleteSessionLogResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Delete)
	return &pb.DeleteSessionLogResponse{SessionLog: p}, err
}

func (s *sessionLogs) UndeleteSessionLog(ctx context.Context, r *pb.UndeleteSessionLogRequest) (*pb.UndeleteSessionLogResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Undelete)
	return &pb.UndeleteSessionLogResponse{SessionLog: p}, err
}

type measurements struct {
	pb.UnimplementedMeasurementServiceServer
	service *service.Service
}

func (s *measurements) kind() kind[service.Measurement, *service.Measurement, *pb.Measurement] {
	return kind[service.Measurement, *service.Measurement, *pb.Measurement]{s.service.Measurements(), wire.MeasurementPattern, "measurement", wire.MeasurementFromProto, wire.MeasurementToProto}
}

func (s *measurements) CreateMeasurement(ctx context.Context, r *pb.CreateMeasurementRequest) (*pb.CreateMeasurementResponse, error) {
	p, err := s.kind().create(ctx, r, r.GetParent(), r.GetMeasurement(), func(v *service.Measurement, athlete service.ID) { v.Athlete = athlete })
	return &pb.CreateMeasurementResponse{Measurement: p}, err
}

func (s *measurements) GetMeasurement(ctx context.Context, r *pb.GetMeasurementRequest) (*pb.GetMeasurementResponse, error) {
	p, err := s.kind().get(ctx, r.GetName())
	return &pb.GetMeasurementResponse{Measurement: p}, err
}

func (s *measurements) ListMeasurements(ctx context.Context, r *pb.ListMeasurementsRequest) (*pb.ListMeasurementsResponse, error) {
	q, err := days(r)
	if err != nil {
		return nil, err
	}
	q.Label = r.GetQuantity()
	list, next, err := s.kind().list(ctx, q, r)
	return &pb.ListMeasurementsResponse{Measurements: list, NextPageToken: next}, err
}

func (s *measurements) UpdateMeasurement(ctx context.Context, r *pb.UpdateMeasurementRequest) (*pb.UpdateMeasurementResponse, error) {
	p, err := s.kind().update(ctx, r, r.GetMeasurement())
	return &pb.UpdateMeasurementResponse{Measurement: p}, err
}

func (s *measurements) DeleteMeasurement(ctx context.Context, r *pb.DeleteMeasurementRequest) (*pb.DeleteMeasurementResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Delete)
	return &pb.DeleteMeasurementResponse{Measurement: p}, err
}

func (s *measurements) UndeleteMeasurement(ctx context.Context, r *pb.UndeleteMeasurementRequest) (*pb.UndeleteMeasurementResponse, error) {
	p, err := s.kind().change(ctx, r, s.kind().things.Undelete)
	return &pb.UndeleteMeasurementResponse{Measurement: p}, err
}
