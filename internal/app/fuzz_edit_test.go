package app

import (
	"math"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"
)

// editor changes a message as a fuzzer's bytes say: each edit walks down from the root,
// one byte a step, and does something at its end. All bytes mean something, so that
// nothing is lost where the fuzzer changes some.
type editor struct{ left []byte }

func edit(m proto.Message, program []byte) {
	e := editor{program}
	for range 40 {
		if len(e.left) == 0 {
			return
		}
		e.message(m.ProtoReflect(), 0)
	}
}

func (e *editor) next() int {
	if len(e.left) == 0 {
		return 0
	}
	b := e.left[0]
	e.left = e.left[1:]
	return int(b)
}

func (e *editor) message(m protoreflect.Message, depth int) {
	if m.Descriptor().ParentFile().Package() == "google.protobuf" {
		if s, ok := m.Interface().(*structpb.Struct); ok {
			e.parameters(s)
		}
		return
	}
	fields := m.Descriptor().Fields()
	if fields.Len() == 0 || depth > 12 {
		return
	}
	f := fields.Get(e.next() % fields.Len())
	switch {
	case f.IsList():
		e.list(m.Mutable(f).List(), f, depth)
	case f.Message() != nil:
		if !m.Has(f) || e.next()%8 != 0 {
			e.message(m.Mutable(f).Message(), depth+1)
		} else {
			m.Clear(f)
		}
	default:
		m.Set(f, e.scalar(f))
	}
}

func (e *editor) list(l protoreflect.List, f protoreflect.FieldDescriptor, depth int) {
	what, n := e.next()%8, l.Len()
	switch {
	case what == 0 && n > 0: // out with one
		at := e.next() % n
		for i := at; i+1 < n; i++ {
			l.Set(i, l.Get(i+1))
		}
		l.Truncate(n - 1)
	case what == 1 && n > 0: // one once more
		l.Append(copied(l.Get(e.next()%n), f))
	case what == 2 && n > 1: // two change places
		i, j := e.next()%n, e.next()%n
		a, b := copied(l.Get(i), f), copied(l.Get(j), f)
		l.Set(i, b)
		l.Set(j, a)
	case what == 3 && n > 0: // none
		l.Truncate(0)
	case what == 4 || n == 0:
		l.Append(l.NewElement())
		n++
		fallthrough
	default:
		at := e.next() % n
		if f.Message() != nil {
			e.message(l.Get(at).Message(), depth+1)
		} else {
			l.Set(at, e.scalar(f))
		}
	}
}

func copied(v protoreflect.Value, f protoreflect.FieldDescriptor) protoreflect.Value {
	if f.Message() == nil {
		return v
	}
	return protoreflect.ValueOfMessage(proto.Clone(v.Message().Interface()).ProtoReflect())
}

var (
	editInts = [...]int32{0, 1, -1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 13, 15, 16, 20, 30, 45, 52, 53, 60, 75, 90, 100, 120, 200, 240, 241,
		1000, 1990, 2010, 2022, 10_000, math.MaxInt32, math.MinInt32}
	editDoubles = [...]float64{0, 0.5, 1, 1.25, 2, 2.5, 5, 10, 12.5, 20, 33.3, 50, 60, 75, 80, 100, 120, 180, 220, 350, 600, 2000, 4400, -1, -0.5,
		0.001, 0.0001, 1e-300, 1e300, math.MaxFloat64, math.Inf(1), math.Inf(-1), math.NaN(), math.Copysign(0, -1)}
	editTexts = [...]string{"", "back-squat", "bench-press", "deadlift", "overhead-press", "pull-up", "push-up", "bent-over-row", "goblet-squat",
		"hip-thrust", "power-clean", "band-curl", "back-sqat", "gym", "home", "hotel", "x", "A", "B", "2026-12-28", "2027-01-04", "2027-01-17",
		"2027-02-01", "2027-02-28", "2027-02-29", "2028-06-30", "9999-12-31", "0001-01-01", "linear", "reverse-linear", "undulating", "block",
		"constant", "strength-then-size", "linear@1", "linear@2", "@", "é\x00\u202e", "%s", "constraints.days[0]"}
	editNames = [...]string{"deload_every", "ease", "effort", "first_reps", "last_reps", "goal_sets", "other_reps", "workouts", "turn", "reps", "x"}
)

func (e *editor) scalar(f protoreflect.FieldDescriptor) protoreflect.Value {
	b := e.next()
	switch f.Kind() {
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(b%2 == 0)
	case protoreflect.EnumKind:
		if b == 255 {
			return protoreflect.ValueOfEnum(1 << 30)
		}
		return protoreflect.ValueOfEnum(protoreflect.EnumNumber(b % (f.Enum().Values().Len() + 1)))
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(editInts[b%len(editInts)])
	case protoreflect.Int64Kind:
		return protoreflect.ValueOfInt64(int64(editInts[b%len(editInts)]) << (b % 33))
	case protoreflect.Uint32Kind:
		return protoreflect.ValueOfUint32(uint32(editInts[b%len(editInts)]))
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(editDoubles[b%len(editDoubles)])
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(editTexts[b%len(editTexts)])
	}
	panic("no values for " + f.Kind().String())
}

func (e *editor) parameters(s *structpb.Struct) {
	if s.Fields == nil {
		s.Fields = map[string]*structpb.Value{}
	}
	name := editNames[e.next()%len(editNames)]
	switch b := e.next(); b % 7 {
	case 0:
		delete(s.Fields, name)
	case 1:
		s.Fields[name] = structpb.NewBoolValue(b%2 == 0)
	case 2:
		s.Fields[name] = structpb.NewStringValue([...]string{"failure", "0", "5", "session", "workout", "", "3-3"}[e.next()%7])
	case 3:
		l := &structpb.ListValue{}
		for range e.next() % 5 {
			l.Values = append(l.Values, structpb.NewNumberValue(float64(editInts[e.next()%len(editInts)])))
		}
		s.Fields[name] = structpb.NewListValue(l)
	case 4:
		s.Fields[name] = structpb.NewStringValue([...]string{"1-3", "4-6", "8-12", "10-15", "12-8", "1-30", "30-30"}[e.next()%7])
	default:
		s.Fields[name] = structpb.NewNumberValue(float64(editInts[e.next()%len(editInts)]))
	}
}
