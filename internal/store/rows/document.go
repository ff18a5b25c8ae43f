package rows

import (
	"encoding/json"
	"fmt"
	"sync"

	"github.com/klauspost/compress/zstd"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// Formats of documents. A change of what a document says is a new one, and the old
// ones stay readable.
const (
	formatJSON   int64 = 1 // plan.Canonical
	formatPacked int64 = 2 // the same, zstd
)

// maxDocument bounds what a packed document may unfold to.
const maxDocument = 64 << 20

// packing makes the coder and the decoder once; both are safe for concurrent use.
var packing = sync.OnceValues(func() (*zstd.Encoder, *zstd.Decoder) {
	// The options are constants, with which neither constructor fails.
	e, _ := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1))
	d, _ := zstd.NewReader(nil, zstd.WithDecoderMaxMemory(maxDocument), zstd.WithDecoderConcurrency(0))
	return e, d
})

func encode(v any, format int64) ([]byte, error) {
	b, err := plan.Canonical(v)
	if err != nil {
		return nil, broken(err)
	}
	if format == formatPacked {
		e, _ := packing()
		b = e.EncodeAll(b, make([]byte, 0, len(b)/8))
	}
	return b, nil
}

func decode(format int64, b []byte, v any) error {
	switch format {
	case formatJSON:
	case formatPacked:
		var err error
		_, d := packing()
		if b, err = d.DecodeAll(b, nil); err != nil {
			return broken(err)
		}
	default:
		return broken(fmt.Errorf("a document of format %d: it was written by a newer version", format))
	}
	if err := json.Unmarshal(b, v); err != nil {
		return broken(err)
	}
	return nil
}

func broken(err error) error { return fault.Wrap(fault.Internal, service.ReasonStorage, err) }
