package wire

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"github.com/phasewright/phasewright/engine/fault"
)

const (
	// maxJSONNodes bounds the memory of a body from elsewhere: some 25 MB. A program of
	// a year has about 100,000.
	maxJSONNodes = 250_000
	// maxFaults is how many faults of a body are listed; the rest is counted.
	maxFaults = 100
)

// ReadJSON reads a message from JSON as strictly as ReadRequest, but does not run the
// rules of the schema. Paths in its fault, a fault.Invalid, are those of the schema;
// names that it suggests are in JSON's spelling. written holds the paths that the
// caller spelled in another way than JSON's lowerCamel, whole (request.plan.lead_in ->
// request.plan.lead_in); it is there with a fault too.
func ReadJSON(data []byte, into proto.Message) (written map[string]string, err error) {
	n, err := parseBody(data)
	if errors.Is(err, errTooLarge) {
		return nil, fault.New(fault.Invalid, ReasonTooLarge, "", fmt.Sprintf("the body is too large: at most %d values are read", maxJSONNodes))
	}
	if errors.Is(err, errTooDeep) {
		return nil, fault.New(fault.Invalid, ReasonTooDeep, "", "the body is too deep: "+err.Error())
	}
	if err != nil {
		return nil, fault.New(fault.Invalid, ReasonSyntax, "", "the body is not JSON: "+err.Error())
	}
	written = map[string]string{}
	c := &checker{bad: fault.NewCollector(fault.Invalid), camel: true, written: written, most: maxFaults}
	c.message(n, into.ProtoReflect().Descriptor(), "")
	if err := c.bad.Err(); err != nil {
		if f, ok := fault.As(err); ok && c.more > 0 {
			f.Violations = append(f.Violations, fault.Violation{Reason: ReasonTooMany, Says: fmt.Sprintf("there are %d more faults", c.more)})
		}
		return written, err
	}
	if err := protojson.Unmarshal(c.out, into); err != nil {
		// The checker should have found it; this is the net below.
		return written, fault.New(fault.Invalid, ReasonType, "", err.Error())
	}
	c.setMasks(into)
	return written, nil
}

func parseBody(data []byte) (*node, error) {
	if len(data) > maxBytes {
		return nil, errTooLarge
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, errors.New("it is empty; an object is needed, such as {}")
	}
	if !utf8.Valid(data) {
		return nil, fmt.Errorf("line %d: the bytes are not UTF-8", 1+bytes.Count(data[:invalidAt(data)], []byte{'\n'}))
	}
	n, err := parseJSONUpTo(data, maxJSONNodes)
	var bad *json.SyntaxError
	if errors.As(err, &bad) && (strings.Contains(bad.Error(), "'N'") || strings.Contains(bad.Error(), "'I'")) {
		err = fmt.Errorf("%w (NaN and Infinity are no JSON numbers)", err)
	}
	return n, err
}

func invalidAt(data []byte) int {
	at := 0
	for at < len(data) {
		r, size := utf8.DecodeRune(data[at:])
		if r == utf8.RuneError && size <= 1 {
			break
		}
		at += size
	}
	return at
}
