package rpc

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	rpcstatus "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/durationpb"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

// Domain of every ErrorInfo.
const Domain = "phasewright.v1"

// Reasons of failures that the domain does not know.
const (
	ReasonInternal      = "INTERNAL"
	ReasonCanceled      = "CANCELED"
	ReasonDeadline      = "DEADLINE"
	ReasonMalformed     = "MALFORMED_MESSAGE"
	ReasonUnknownMethod = "UNKNOWN_METHOD"
	ReasonUnavailable   = "UNAVAILABLE"
)

// Keys of ErrorInfo's metadata.
const (
	metaKind       = "kind"       // of the fault: invalid, infeasible, refused, not_found, ...
	metaField      = "field"      // that the first violation is about
	metaViolations = "violations" // how many there are
	metaShown      = "shown"      // how many the details hold, where that is fewer
)

// table says what each kind of fault is on the wire.
var table = [...]codes.Code{
	fault.Internal:   codes.Internal,
	fault.Invalid:    codes.InvalidArgument,
	fault.Infeasible: codes.FailedPrecondition,
	fault.Refused:    codes.FailedPrecondition,
	fault.NotFound:   codes.NotFound,
	fault.Exists:     codes.AlreadyExists,
	fault.Stale:      codes.Aborted,
	fault.Canceled:   codes.Canceled,

	fault.Unavailable:     codes.Unavailable,
	fault.Unauthenticated: codes.Unauthenticated,
	fault.Denied:          codes.PermissionDenied,
	fault.Exhausted:       codes.ResourceExhausted,
	fault.Broken:          codes.Internal,
}

// maxDetails bounds the violations in bytes. Details travel as a header in base64, and
// common clients (C core, Java) refuse more than 8 KiB of those.
const maxDetails = 4 << 10

// maxSaid is how many violations the message repeats for people.
const maxSaid = 3

// Status gives the status of an error: of a fault by the table, of a status (one that
// gRPC itself made) with the ErrorInfo that it lacks, of anything else Internal without
// its text, which may hold what is nobody's business.
func Status(err error) *status.Status {
	if f, ok := fault.As(err); ok {
		return ofFault(f)
	}
	if s, ok := status.FromError(err); ok {
		return ofStatus(s)
	}
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return late()
	case errors.Is(err, context.Canceled):
		return with(codes.Canceled, "the caller went away", info(fault.Canceled, ReasonCanceled, ""))
	}
	return internal()
}

func ofFault(f *fault.Error) *status.Status {
	switch {
	case f.Kind == fault.Internal || len(f.Violations) == 0:
		return internal()
	case f.Kind == fault.Canceled && errors.Is(f, context.DeadlineExceeded):
		return late()
	case f.Kind == fault.Canceled:
		return with(codes.Canceled, "the caller went away", info(f.Kind, ReasonCanceled, ""))
	}
	first := &f.Violations[0]
	i := info(f.Kind, first.Reason, first.Field)
	i.Metadata[metaViolations] = strconv.Itoa(len(f.Violations))
	details := []proto.Message{i}
	shown := len(f.Violations)
	switch f.Kind {
	case fault.Infeasible, fault.Refused:
		p := &errdetails.PreconditionFailure{}
		for k := range f.Violations {
			v := &f.Violations[k]
			p.Violations = append(p.Violations, &errdetails.PreconditionFailure_Violation{Type: v.Reason, Subject: v.Field, Description: v.Says})
		}
		shown = fitting(p.Violations)
		p.Violations, details = p.Violations[:shown], append(details, p)
		if len(f.Ways) > 0 {
			details = append(details, wire.WaysToProto(f.Ways))
		}
	case fault.Unavailable:
		wait := retryDelay
		var knows interface{ RetryAfter() time.Duration }
		if errors.As(f, &knows) {
			wait = knows.RetryAfter()
		}
		details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(wait)})
	case fault.Invalid:
		b := &errdetails.BadRequest{}
		for k := range f.Violations {
			v := &f.Violations[k]
			b.FieldViolations = append(b.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: v.Field, Reason: v.Reason, Description: v.Says})
		}
		shown = fitting(b.FieldViolations)
		b.FieldViolations, details = b.FieldViolations[:shown], append(details, b)
	}
	if shown < len(f.Violations) {
		i.Metadata[metaShown] = strconv.Itoa(shown)
	}
	code := table[f.Kind]
	if f.Kind == fault.Invalid && first.Reason == wire.ReasonTooLarge {
		code = codes.ResourceExhausted
	}
	return with(code, message(f), details...)
}

// retryDelay is when to come back where nothing says better.
const retryDelay = time.Second

// fitting counts the violations that fit into the details, at least one.
func fitting[V proto.Message](list []V) int {
	size := 0
	for i, v := range list {
		if size += proto.Size(v) + 3; size > maxDetails && i > 0 {
			return i
		}
	}
	return len(list)
}

func message(f *fault.Error) string {
	var b strings.Builder
	for i, v := range f.Violations {
		if i > 0 {
			b.WriteString("; ")
		}
		if i == maxSaid {
			fmt.Fprintf(&b, "and %d more", len(f.Violations)-i)
			break
		}
		if v.Field != "" {
			b.WriteString(v.Field + ": ")
		}
		b.WriteString(v.Says)
	}
	return b.String()
}

func late() *status.Status {
	return with(codes.DeadlineExceeded, "took longer than the deadline; allow more time, or ask for fewer weeks or days at once",
		info(fault.Canceled, ReasonDeadline, ""))
}

func internal() *status.Status {
	return with(codes.Internal, "a fault of the server; it is in its log", info(fault.Internal, ReasonInternal, ""))
}

// ofStatus completes what gRPC itself says, which has no details.
func ofStatus(s *status.Status) *status.Status {
	for _, d := range s.Details() {
		if _, ok := d.(*errdetails.ErrorInfo); ok {
			return s
		}
	}
	switch s.Code() {
	case codes.OK:
		return s
	case codes.Unauthenticated:
		return Status(service.Stranger())
	case codes.ResourceExhausted:
		return with(s.Code(), s.Message(), tooLarge())
	case codes.DeadlineExceeded:
		return late()
	case codes.Canceled:
		return with(s.Code(), s.Message(), info(fault.Canceled, ReasonCanceled, ""))
	case codes.Unimplemented:
		return with(s.Code(), s.Message(), info(fault.NotFound, ReasonUnknownMethod, ""))
	case codes.NotFound: // health, for a service it does not know
		return with(s.Code(), s.Message(), info(fault.NotFound, "UNKNOWN_SERVICE", "service"))
	case codes.InvalidArgument:
		return with(s.Code(), s.Message(), info(fault.Invalid, ReasonMalformed, ""))
	case codes.Unavailable:
		return with(s.Code(), s.Message(), info(fault.Unavailable, ReasonUnavailable, ""))
	}
	return internal()
}

func info(k fault.Kind, reason, field string) *errdetails.ErrorInfo {
	if reason == "" {
		reason = ReasonInternal
	}
	i := &errdetails.ErrorInfo{Domain: Domain, Reason: reason, Metadata: map[string]string{metaKind: kindName(k)}}
	if field != "" {
		i.Metadata[metaField] = field
	}
	return i
}

func kindName(k fault.Kind) string { return strings.ReplaceAll(k.String(), " ", "_") }

// with makes a status with details whose bytes are the same each time: ErrorInfo has a map.
func with(c codes.Code, says string, details ...proto.Message) *status.Status {
	s := &rpcstatus.Status{Code: int32(c), Message: says}
	for _, d := range details {
		a := &anypb.Any{}
		if err := anypb.MarshalFrom(a, d, proto.MarshalOptions{Deterministic: true}); err == nil { // fails for text that is not UTF-8 only
			s.Details = append(s.Details, a)
		}
	}
	return status.FromProto(s)
}
