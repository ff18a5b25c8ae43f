package wire

import (
	"bytes"
	"encoding/json"
	"errors"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
)

// ReadRequest reads a request written in YAML or JSON and validates it. The error is
// a fault.Invalid; its sentences end with the line of what they are about.
func ReadRequest(data []byte) (*pb.ProgramRequest, error) {
	p := &pb.ProgramRequest{}
	if err := read(data, p); err != nil {
		return nil, err
	}
	return p, nil
}

// ReadProgram reads a program as ReadRequest reads a request.
func ReadProgram(data []byte) (*pb.Program, error) {
	p := &pb.Program{}
	if err := read(data, p); err != nil {
		return nil, err
	}
	return p, nil
}

// ReadOrder reads a program to be made in bulk as ReadRequest reads a request.
func ReadOrder(data []byte) (*pb.ProgramOrder, error) {
	p := &pb.ProgramOrder{}
	if err := read(data, p); err != nil {
		return nil, err
	}
	return p, nil
}

// ReadAthlete reads what is kept of an athlete as ReadRequest reads a request. The request
// of a program will do too: its athlete, with what they have shown.
func ReadAthlete(data []byte) (*pb.Athlete, error) {
	if n, err := parse(data); err == nil && forProgram(n) {
		r, err := ReadRequest(data)
		return r.GetAthlete(), err
	}
	a := &pb.Athlete{}
	return a, read(data, a)
}

// ReadNewProgram reads what a program of a stored athlete is made from, as ReadRequest reads
// a request. The request of a program will do too; its athlete is left out, and other then
// reports that there was one.
func ReadNewProgram(data []byte, parent string) (p *pb.CreateProgramRequest, other bool, err error) {
	n, err := parse(data)
	if err == nil && has(n, "athlete") {
		r, err := ReadRequest(data)
		if err != nil {
			return nil, false, err
		}
		p = &pb.CreateProgramRequest{
			Parent: parent, Goals: r.GetGoals(), Constraints: r.GetConstraints(), Exercises: r.GetExercises(), Seed: r.GetSeed(), AllocationSearch: r.GetAllocationSearch(),
		}
		if r.GetPlan() != nil {
			p.Strategies = &pb.CreateProgramRequest_Plan{Plan: r.GetPlan()}
		}
		return p, true, nil
	}
	p = &pb.CreateProgramRequest{}
	if err != nil || has(n, "parent") {
		return p, false, read(data, p)
	}
	lines := map[string]int{}
	if err := decode(n, p, lines); err != nil {
		return nil, false, err
	}
	p.Parent = parent
	return p, false, validate(p, lines)
}

func read(data []byte, into proto.Message) error {
	n, err := parse(data)
	if errors.Is(err, errTooLarge) {
		return fault.New(fault.Invalid, ReasonTooLarge, "", err.Error())
	}
	if errors.Is(err, errTooDeep) {
		return fault.New(fault.Invalid, ReasonTooDeep, "", "the document is too deep: "+err.Error())
	}
	if err != nil {
		return fault.New(fault.Invalid, ReasonSyntax, "", "is neither YAML nor JSON: "+err.Error())
	}
	lines := map[string]int{}
	if err := decode(n, into, lines); err != nil {
		return err
	}
	return validate(into, lines)
}

func decode(n *node, into proto.Message, lines map[string]int) error {
	c := &checker{bad: fault.NewCollector(fault.Invalid), lines: lines}
	c.message(n, into.ProtoReflect().Descriptor(), "")
	if err := c.bad.Err(); err != nil {
		return err
	}
	if err := protojson.Unmarshal(c.out, into); err != nil {
		// The checker should have found it; this is the net below.
		return fault.New(fault.Invalid, ReasonType, "", err.Error())
	}
	c.setMasks(into)
	return nil
}

// Marshal writes a message as JSON for people and files: names as in the schema,
// two spaces of indent, the same bytes for the same message.
func Marshal(m proto.Message) ([]byte, error) {
	raw, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		return nil, fault.Wrap(fault.Internal, "ENCODING", err)
	}
	var b bytes.Buffer
	if err := json.Indent(&b, raw, "", "  "); err != nil { // protojson's own spacing varies
		return nil, fault.Wrap(fault.Internal, "ENCODING", err)
	}
	b.WriteByte('\n')
	return b.Bytes(), nil
}

// ReadStrengthQuery reads what is asked of an estimate as ReadRequest reads a request. The
// request of a program will do too: its athlete with the own exercises, its unit, and the day it is made for.
func ReadStrengthQuery(data []byte) (*pb.EstimateStrengthRequest, error) {
	q := &pb.EstimateStrengthRequest{}
	if n, err := parse(data); err != nil || !forProgram(n) {
		if err := read(data, q); err != nil {
			return nil, err
		}
		return q, nil
	}
	r, err := ReadRequest(data)
	if err != nil {
		return nil, err
	}
	c := r.GetConstraints()
	q.Athlete, q.MassUnit, q.OwnExercises = r.GetAthlete(), c.GetMassUnit(), r.GetOwnExercises()
	if q.Date = c.GetPreparedOn(); q.Date == "" {
		q.Date = c.GetStartDate()
	}
	return q, nil
}

// forProgram reports the request of a program by the field that each has to have.
func forProgram(n *node) bool { return has(n, "constraints") }

func has(n *node, field string) bool {
	for _, k := range n.keys {
		if k.name == field {
			return true
		}
	}
	return false
}
