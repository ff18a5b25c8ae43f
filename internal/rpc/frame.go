package rpc

import (
	"fmt"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/wire"
)

// frame is a message before it is read. gRPC answers a message that it can't read
// itself, as an internal error and without details; so it is read here.
type frame []byte

// codec is gRPC's own, but for frames.
type codec struct{ encoding.CodecV2 }

func (c codec) Unmarshal(data mem.BufferSlice, into any) error {
	if f, ok := into.(*frame); ok {
		*f = data.Materialize()
		return nil
	}
	return c.CodecV2.Unmarshal(data, into)
}

// receive reads the one message of a unary call.
func receive(s grpc.ServerStream, into any, most int) error {
	var f frame
	if err := s.RecvMsg(&f); err != nil {
		return err
	}
	if len(f) > most {
		return with(codes.ResourceExhausted, fmt.Sprintf("the message has %d bytes; %d are possible", len(f), most), tooLarge()).Err()
	}
	m, ok := into.(proto.Message)
	if !ok {
		return status.Errorf(codes.Internal, "%T is no message", into)
	}
	if err := proto.Unmarshal(f, m); err != nil {
		return fault.New(fault.Invalid, ReasonMalformed, "", "the bytes are no "+string(m.ProtoReflect().Descriptor().FullName()))
	}
	return nil
}

func tooLarge() *errdetails.ErrorInfo { return info(fault.Invalid, wire.ReasonTooLarge, "") }
