package remote

import (
	"fmt"

	"google.golang.org/grpc/encoding"
	_ "google.golang.org/grpc/encoding/proto" // which the codec below is one of
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// An answer of a megabyte may hold half a million empty messages, each of which takes a
// hundred times its bytes. So they are counted first.
const (
	maxBytes = 1 << 20
	maxParts = 100_000
)

// codec is protobuf that refuses an answer of too many parts before it makes any.
type codec struct{ encoding.CodecV2 }

func newCodec() codec { return codec{encoding.GetCodecV2("proto")} }

func (codec) Unmarshal(data mem.BufferSlice, v any) error {
	m, ok := v.(proto.Message)
	if !ok {
		return fmt.Errorf("%T is no message", v)
	}
	buffer := data.MaterializeToBuffer(mem.DefaultBufferPool())
	defer buffer.Free()
	return unmarshal(buffer.ReadOnlyData(), m)
}

func unmarshal(b []byte, m proto.Message) error {
	left := maxParts
	count(b, m.ProtoReflect().Descriptor(), &left)
	if left < 0 {
		return fmt.Errorf("the answer has more than %d parts", maxParts)
	}
	return proto.UnmarshalOptions{DiscardUnknown: true}.Unmarshal(b, m)
}

// count takes the messages within an encoded one from what is left. What is malformed is
// left to the decoder.
func count(b []byte, d protoreflect.MessageDescriptor, left *int) {
	for len(b) > 0 && *left >= 0 {
		number, kind, n := protowire.ConsumeTag(b)
		if n < 0 {
			return
		}
		b = b[n:]
		n = protowire.ConsumeFieldValue(number, kind, b)
		if n < 0 {
			return
		}
		if f := d.Fields().ByNumber(number); f != nil && kind == protowire.BytesType {
			*left--
			if f.Message() != nil {
				inner, _ := protowire.ConsumeBytes(b)
				count(inner, f.Message(), left)
			}
		}
		b = b[n:]
	}
}
