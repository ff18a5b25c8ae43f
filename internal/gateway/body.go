package gateway

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"github.com/phasewright/phasewright/engine/fault"
)

// body is a request's body that carries its call to where it is decoded. The generated
// handlers flatten a decoding error to one line; the whole one stays in the call.
type body struct {
	io.ReadCloser
	g    *gateway
	call *call
}

var errBody = errors.New("the body was not taken")

// decode reads a body to its end, which also lets net/http notice from then on that
// the caller goes away.
func (b *body) decode(into proto.Message) error {
	data, err := io.ReadAll(b)
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		b.call.err = b.g.tooLarge().Err()
	case err != nil:
		b.call.err = fault.New(fault.Invalid, ReasonBodyIncomplete, "", "the body did not arrive whole")
	default:
		b.call.written, b.call.err = b.g.o.Read(data, into)
	}
	if b.call.err != nil {
		return errBody // not what was read: io.EOF in it would pass for an empty request
	}
	return nil
}

// jsonMarshaler reads bodies through Options.Read and writes the same bytes for the
// same message.
type jsonMarshaler struct{}

var _ runtime.Marshaler = jsonMarshaler{}

// written: zeros and empty lists are there, what is unset is not.
var encoding = protojson.MarshalOptions{EmitDefaultValues: true}

func (jsonMarshaler) ContentType(any) string { return mimeJSON }

func (jsonMarshaler) Marshal(v any) ([]byte, error) {
	m, ok := v.(proto.Message)
	if !ok {
		return nil, fmt.Errorf("%T is no message", v)
	}
	out, err := encoding.Marshal(m)
	if err != nil {
		return nil, err
	}
	return append(squeeze(out), '\n'), nil
}

func (jsonMarshaler) NewDecoder(r io.Reader) runtime.Decoder {
	return runtime.DecoderFunc(func(v any) error {
		b, ok := r.(*body)
		m, isMessage := v.(proto.Message)
		if !ok || !isMessage {
			return errBody
		}
		return b.decode(m)
	})
}

// Unmarshal is not used by the generated handlers.
func (jsonMarshaler) Unmarshal([]byte, any) error { return errBody }

// NewEncoder is not used by unary handlers.
func (j jsonMarshaler) NewEncoder(w io.Writer) runtime.Encoder {
	return runtime.EncoderFunc(func(v any) error {
		b, err := j.Marshal(v)
		if err == nil {
			_, err = w.Write(b)
		}
		return err
	})
}

// squeeze takes out, in place, the spaces that protojson puts behind commas and colons
// in some builds and not in others. The input is its output, thus right.
func squeeze(b []byte) []byte {
	out := b[:0]
	for len(b) > 0 {
		q := bytes.IndexByte(b, '"')
		if q < 0 {
			q = len(b)
		}
		for _, c := range b[:q] {
			if c != ' ' {
				out = append(out, c)
			}
		}
		b = b[q:]
		if n := textEnd(b); n > 0 {
			out = append(out, b[:n]...)
			b = b[n:]
		}
	}
	return out
}

// textEnd gives the length of the quoted text at the start of b, 0 without one.
func textEnd(b []byte) int {
	if len(b) == 0 {
		return 0
	}
	for i := 1; i < len(b); i++ {
		switch b[i] {
		case '\\':
			i++
		case '"':
			return i + 1
		}
	}
	return len(b)
}
