package wire

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"github.com/phasewright/phasewright/engine/fault"
)

// Merge puts into a stored message what an update sends: the fields of the mask, of
// which those that sent lacks are cleared; without a mask all that it has; for "*" all
// there are. Fields that the server gives stay as they are stored. The fault is Invalid
// with the field update_mask, for paths that the message does not have.
func Merge(stored, sent proto.Message, mask *fieldmaskpb.FieldMask) error {
	into, from := stored.ProtoReflect(), sent.ProtoReflect()
	paths := mask.GetPaths()
	switch {
	case len(paths) == 0:
		populated(into, from)
		return nil
	case slices.Contains(paths, "*"):
		if len(paths) > 1 {
			return fault.New(fault.Invalid, ReasonFormat, "update_mask", `"*" stands alone`)
		}
		for i := range from.Descriptor().Fields().Len() {
			take(into, from, from.Descriptor().Fields().Get(i))
		}
		return nil
	}
	bad := fault.NewCollector(fault.Invalid)
	for _, p := range paths {
		if says := wrongPath(from.Descriptor(), p); says != "" {
			bad.Add(ReasonUnknownField, "update_mask", fmt.Sprintf("%q %s", short(p), says))
		}
	}
	if err := bad.Err(); err != nil {
		return err
	}
	for _, p := range paths {
		put(into, from, strings.Split(p, "."))
	}
	return nil
}

// given reports fields that the server alone sets, and an etag, which only compares.
func given(f protoreflect.FieldDescriptor) bool {
	b, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return slices.Contains(b, annotations.FieldBehavior_OUTPUT_ONLY) || slices.Contains(b, annotations.FieldBehavior_IDENTIFIER) || f.Name() == "etag"
}

// plain reports messages that have fields of the schema's own to step into.
func stepsInto(f protoreflect.FieldDescriptor) bool {
	return f != nil && f.Message() != nil && !f.IsList() && !f.IsMap() && f.Message().ParentFile().Package() == "phasewright.v1"
}

func wrongPath(d protoreflect.MessageDescriptor, path string) string {
	steps := strings.Split(path, ".")
	for i, step := range steps {
		f := d.Fields().ByName(protoreflect.Name(step))
		if f == nil {
			var names []string
			for j := range d.Fields().Len() {
				names = append(names, string(d.Fields().Get(j).Name()))
			}
			return unknown(step, names)
		}
		if i < len(steps)-1 && !stepsInto(f) {
			return step + " is taken as a whole"
		}
		d = f.Message()
	}
	return ""
}

func put(into, from protoreflect.Message, steps []string) {
	f := from.Descriptor().Fields().ByName(protoreflect.Name(steps[0]))
	switch {
	case given(f):
	case len(steps) == 1:
		take(into, from, f)
	case !into.Has(f) && !from.Has(f): // nothing to clear in nothing
	default:
		put(into.Mutable(f).Message(), from.Get(f).Message(), steps[1:])
	}
}

func take(into, from protoreflect.Message, f protoreflect.FieldDescriptor) {
	switch {
	case given(f):
	case from.Has(f):
		into.Set(f, from.Get(f))
	default:
		into.Clear(f)
	}
}

func populated(into, from protoreflect.Message) {
	from.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case given(f):
		case stepsInto(f):
			populated(into.Mutable(f).Message(), v.Message())
		default:
			into.Set(f, v)
		}
		return true
	})
}
