package rpc

import (
	"context"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/wire"
)

// Fault reads a status back into the fault it was made from, with the paths of the
// request that travelled as field prefix ("request", "program"). A status of another
// server becomes Internal with its text.
func Fault(err error, prefix string) error {
	s := status.Convert(err)
	if s.Code() == codes.OK {
		return nil
	}
	f := &fault.Error{Kind: fault.Internal}
	var info *errdetails.ErrorInfo
	for _, d := range s.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			if d.GetDomain() == Domain {
				info = d
			}
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				f.Violations = append(f.Violations, fault.Violation{Field: under(prefix, v.GetField()), Reason: v.GetReason(), Says: v.GetDescription()})
			}
		case *pb.Relaxations:
			f.Ways = wire.WaysFromProto(d, func(field string) string { return under(prefix, field) })
		case *errdetails.PreconditionFailure:
			for _, v := range d.GetViolations() {
				f.Violations = append(f.Violations, fault.Violation{Field: under(prefix, v.GetSubject()), Reason: v.GetType(), Says: v.GetDescription()})
			}
		}
	}
	switch s.Code() {
	case codes.Canceled:
		return fault.Wrap(fault.Canceled, ReasonCanceled, context.Canceled)
	case codes.DeadlineExceeded:
		return fault.New(fault.Unavailable, ReasonDeadline, "", s.Message())
	case codes.Unavailable:
		return fault.New(fault.Unavailable, ReasonUnavailable, "", "no answer from the server: "+s.Message())
	}
	if info == nil {
		return fault.New(fault.Internal, "UNEXPECTED_STATUS", "", s.Code().String()+": "+s.Message())
	}
	f.Kind = kindOf(info.GetMetadata()[metaKind])
	if len(f.Violations) == 0 {
		f.Violations = []fault.Violation{{Field: under(prefix, info.GetMetadata()[metaField]), Reason: info.GetReason(), Says: strings.TrimPrefix(s.Message(), info.GetMetadata()[metaField]+": ")}}
	}
	return f
}

func under(prefix, field string) string {
	if prefix == "" {
		return field
	}
	if field == prefix {
		return ""
	}
	return strings.TrimPrefix(field, prefix+".")
}

func kindOf(name string) fault.Kind {
	for k := range table {
		if kindName(fault.Kind(k)) == name {
			return fault.Kind(k)
		}
	}
	return fault.Internal
}
