package conduct

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// mostLine bounds an event in a file, in bytes.
const mostLine = 1 << 20

// Write writes events as lines of JSON, so that who doubts a trial can take it away and
// verify it alone. The error is that of w.
func Write(w io.Writer, events []Event) error {
	for i := range events {
		line, err := plan.Canonical(&events[i])
		if err != nil {
			return fault.Wrap(fault.Internal, ReasonEvent, err)
		}
		if _, err := w.Write(append(line, '\n')); err != nil {
			return err
		}
	}
	return nil
}

// Read reads what Write wrote. A line that is no event, or has a field that events don't
// have, is an Invalid fault that names it; the chain is not looked at.
func Read(r io.Reader) ([]Event, error) {
	var out []Event
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, mostLine)
	for n := 1; lines.Scan(); n++ {
		if len(bytes.TrimSpace(lines.Bytes())) == 0 {
			continue
		}
		d := json.NewDecoder(bytes.NewReader(lines.Bytes()))
		d.DisallowUnknownFields()
		var e Event
		if err := d.Decode(&e); err != nil {
			return nil, fault.New(fault.Invalid, ReasonEvent, fmt.Sprintf("line %d", n), "is no event of a trial: "+err.Error())
		}
		if d.More() {
			return nil, fault.New(fault.Invalid, ReasonEvent, fmt.Sprintf("line %d", n), "has more than one event")
		}
		out = append(out, e)
	}
	if err := lines.Err(); err != nil {
		return nil, fault.New(fault.Invalid, ReasonEvent, "events", fmt.Sprintf("can't be read: %v", err))
	}
	return out, nil
}
