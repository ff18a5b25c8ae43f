package wire

import (
	"fmt"
	"math"
	"strconv"

	"google.golang.org/protobuf/reflect/protoreflect"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Reasons of the faults that translating finds. Those that the engine uses too
// mean the same there.
const (
	ReasonRequired     = "REQUIRED"
	ReasonUnknownField = "UNKNOWN_FIELD"
	ReasonUnknownValue = "UNKNOWN_VALUE"
	ReasonTwice        = "FIELD_TWICE"
	ReasonType         = "WRONG_TYPE"
	ReasonNotExact     = "NOT_EXACT"
	ReasonDate         = "NOT_A_DATE"
	ReasonOutOfRange   = "OUT_OF_RANGE"
	ReasonTooMany      = "TOO_MANY"
	ReasonTooFew       = "TOO_FEW"
	ReasonTooLong      = "TOO_LONG"
	ReasonTooLarge     = "TOO_LARGE"
	ReasonTooDeep      = "TOO_DEEP"
	ReasonSyntax       = "SYNTAX"
	ReasonFormat       = "FORMAT"
	ReasonUnits        = "UNITS_DIFFER"
)

// Steps of the domain's integers within the schema's numbers.
const (
	perUnit    = 1000 // kg, lb, ratios
	perPercent = 10
	perSet     = 2
)

// most bounds a number so that its steps are exact integers in a double, and
// rounding can't slip by one.
const most = 1e10

// reader turns messages into domain values and gathers what is wrong. It keeps the
// path of where it is.
type reader struct {
	bad  *fault.Collector
	path []byte
}

func newReader() *reader { return &reader{bad: fault.NewCollector(fault.Invalid)} }

// in steps into a field; back with its result steps out again.
func (r *reader) in(name string) int {
	n := len(r.path)
	if n > 0 && name != "" {
		r.path = append(r.path, '.')
	}
	r.path = append(r.path, name...)
	return n
}

// item steps into an element of a list.
func (r *reader) item(name string, i int) int {
	n := r.in(name)
	r.path = append(r.path, '[')
	r.path = strconv.AppendInt(r.path, int64(i), 10)
	r.path = append(r.path, ']')
	return n
}

func (r *reader) back(n int) { r.path = r.path[:n] }

// add notes a fault in a field of the message where the reader is; an empty name
// is the message itself.
func (r *reader) add(reason, name, says string) {
	n := r.in(name)
	r.bad.Add(reason, string(r.path), says)
	r.back(n)
}

// steps gives v in steps of 1/per, if it is a whole number of them.
func steps(v float64, per float64) (int64, bool) {
	if !(math.Abs(v) <= most) { // false for NaN too
		return 0, false
	}
	n := math.Round(v * per)
	return int64(n), n/per == v
}

func (r *reader) scaled(name string, v float64, per float64) int64 {
	n, ok := steps(v, per)
	if !ok {
		may := "at most three decimals"
		switch per {
		case perPercent:
			may = "at most one decimal"
		case perSet:
			may = "whole and half numbers"
		}
		r.add(ReasonNotExact, name, fmt.Sprintf("%v can't be kept exactly; %s are possible", v, may))
		return 0
	}
	return n
}

func (r *reader) scaled32(name string, v float64, per float64) int32 {
	n := r.scaled(name, v, per)
	if n < math.MinInt32 || n > math.MaxInt32 {
		r.add(ReasonOutOfRange, name, fmt.Sprintf("%v is too far from 0", v))
		return 0
	}
	return int32(n)
}

func (r *reader) permille(name string, percent float64) plan.Permille {
	return plan.Permille(r.scaled32(name, percent, perPercent))
}

func (r *reader) optPermille(name string, percent *float64) plan.Opt[plan.Permille] {
	if percent == nil {
		return plan.Opt[plan.Permille]{}
	}
	return plan.Some(r.permille(name, *percent))
}

func (r *reader) halfSets(name string, sets float64) plan.HalfSets {
	return plan.HalfSets(r.scaled32(name, sets, perSet))
}

// massy is what the four messages with a unit have in common.
type massy interface {
	comparable
	GetKilograms() float64
	GetPounds() float64
	ProtoReflect() protoreflect.Message
}

// load reads a mass that may be absent.
func load[M massy](r *reader, name string, m M) plan.Opt[plan.Load] {
	var none M
	if m == none {
		return plan.Opt[plan.Load]{}
	}
	return plan.Some(mass(r, name, m))
}

// mass reads a mass that has to be there.
func mass[M massy](r *reader, name string, m M) plan.Load {
	var none M
	if m == none {
		r.add(ReasonRequired, name, "is needed, as kilograms or as pounds")
		return plan.Load{}
	}
	d := m.ProtoReflect()
	at := r.in(name)
	defer r.back(at)
	switch f := d.WhichOneof(d.Descriptor().Oneofs().Get(0)); {
	case f == nil:
		r.add(ReasonRequired, "", "needs a unit: kilograms or pounds")
	case f.Name() == "kilograms":
		return plan.Kg(r.scaled("kilograms", m.GetKilograms(), perUnit))
	default:
		return plan.Lb(r.scaled("pounds", m.GetPounds(), perUnit))
	}
	return plan.Load{}
}

func (r *reader) date(name, s string) plan.Date {
	d, err := plan.ParseDate(s)
	if err != nil {
		r.add(ReasonDate, name, err.Error())
	}
	return d
}

func (r *reader) optDate(name, s string) plan.Opt[plan.Date] {
	if s == "" {
		return plan.Opt[plan.Date]{}
	}
	return plan.Some(r.date(name, s))
}

// enum reads an enumeration whose domain numbers end before end.
func enum[D ~uint8, P interface {
	~int32
	protoreflect.Enum
}](r *reader, name string, p P, end D) D {
	if p < 0 || p >= P(end) {
		r.add(ReasonUnknownValue, name, fmt.Sprintf("%d is no value of %s", int32(p), p.Descriptor().Name()))
		return 0
	}
	return D(p)
}

func enums[D ~uint8, P interface {
	~int32
	protoreflect.Enum
}](r *reader, name string, list []P, end D) []D {
	if len(list) == 0 {
		return nil
	}
	out := make([]D, len(list))
	for i, p := range list {
		at := r.item(name, i)
		out[i] = enum(r, "", p, end)
		r.back(at)
	}
	return out
}

// each reads a list of messages.
func each[P, D any](r *reader, name string, list []*P, read func(*reader, *P) D) []D {
	if len(list) == 0 {
		return nil
	}
	out := make([]D, len(list))
	for i, p := range list {
		at := r.item(name, i)
		if p == nil { // only a hand-made message has such a hole
			p = new(P)
		}
		out[i] = read(r, p)
		r.back(at)
	}
	return out
}

// one reads a message that may be absent.
func one[P, D any](r *reader, name string, p *P, read func(*reader, *P) D) plan.Opt[D] {
	if p == nil {
		return plan.Opt[D]{}
	}
	at := r.in(name)
	defer r.back(at)
	return plan.Some(read(r, p))
}

func opt[T any](p *T) plan.Opt[T] {
	if p == nil {
		return plan.Opt[T]{}
	}
	return plan.Some(*p)
}

func rangeFrom(p *pb.Range) plan.Range { return plan.Range{Min: p.GetMin(), Max: p.GetMax()} }

func ptr[T any](o plan.Opt[T]) *T {
	if !o.Set {
		return nil
	}
	return &o.Value
}

func massTo(l plan.Load) *pb.Mass {
	switch l.Unit {
	case plan.Kilogram:
		return &pb.Mass{Unit: &pb.Mass_Kilograms{Kilograms: unscale(l.Milli)}}
	case plan.Pound:
		return &pb.Mass{Unit: &pb.Mass_Pounds{Pounds: unscale(l.Milli)}}
	}
	return &pb.Mass{}
}

func optMassTo(l plan.Opt[plan.Load]) *pb.Mass {
	if !l.Set {
		return nil
	}
	return massTo(l.Value)
}

func changeTo(milli int64, u plan.MassUnit) *pb.MassChange {
	switch u {
	case plan.Kilogram:
		return &pb.MassChange{Unit: &pb.MassChange_Kilograms{Kilograms: unscale(milli)}}
	case plan.Pound:
		return &pb.MassChange{Unit: &pb.MassChange_Pounds{Pounds: unscale(milli)}}
	}
	return &pb.MassChange{}
}

func volumeTo(l plan.Opt[plan.Load]) *pb.VolumeLoad {
	switch {
	case !l.Set:
		return nil
	case l.Value.Unit == plan.Kilogram:
		return &pb.VolumeLoad{Unit: &pb.VolumeLoad_Kilograms{Kilograms: unscale(l.Value.Milli)}}
	case l.Value.Unit == plan.Pound:
		return &pb.VolumeLoad{Unit: &pb.VolumeLoad_Pounds{Pounds: unscale(l.Value.Milli)}}
	}
	return &pb.VolumeLoad{}
}

func unscale(milli int64) float64       { return float64(milli) / perUnit }
func percentTo(p plan.Permille) float64 { return float64(p) / perPercent }
func setsTo(h plan.HalfSets) float64    { return float64(h) / perSet }
func dateTo(d plan.Opt[plan.Date]) string {
	if !d.Set {
		return ""
	}
	return d.Value.String()
}

func eachTo[D, P any](list []D, write func(*D) *P) []*P {
	if len(list) == 0 {
		return nil
	}
	out := make([]*P, len(list))
	for i := range list {
		out[i] = write(&list[i])
	}
	return out
}

func enumsTo[D ~uint8, P ~int32](list []D) []P {
	if len(list) == 0 {
		return nil
	}
	out := make([]P, len(list))
	for i, d := range list {
		out[i] = P(d)
	}
	return out
}

func oneTo[D, P any](o plan.Opt[D], write func(*D) *P) *P {
	if !o.Set {
		return nil
	}
	return write(&o.Value)
}
