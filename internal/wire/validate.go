package wire

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	validatepb "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/phasewright/phasewright/engine/fault"
)

// validator is made once: compiling the rules takes longer than using them.
var validator = sync.OnceValues(func() (protovalidate.Validator, error) { return protovalidate.New() })

// Validate holds a message against the rules of the schema. All violations, but no more
// than maxFaults, come in one fault.Invalid; the reason is REQUIRED, OUT_OF_RANGE and the like, and for rules
// of our own the rule's id in upper case (ATHLETE_AGE).
func Validate(m proto.Message) error { return validate(m, nil) }

func validate(m proto.Message, lines map[string]int) error {
	v, err := validator()
	if err != nil {
		return fault.Wrap(fault.Internal, "RULES_BROKEN", err)
	}
	first := v.Validate(m, protovalidate.WithFailFast())
	if first == nil {
		return nil
	}
	// A message of a few megabytes may break millions of rules.
	left := maxVisits
	err = v.Validate(m, protovalidate.WithFilter(protovalidate.FilterFunc(func(protoreflect.Message, protoreflect.Descriptor) bool {
		left--
		return left >= 0
	})))
	if err == nil {
		err = first // it lies beyond
	}
	var bad *protovalidate.ValidationError
	if !errors.As(err, &bad) {
		return fault.Wrap(fault.Internal, "RULES_BROKEN", err)
	}
	return listed(m.ProtoReflect().Descriptor(), bad.Violations, lines)
}

// maxVisits is how many fields of a message that breaks a rule are looked at for more.
const maxVisits = 100_000

// listed makes the fault of some violations: at most maxFaults, and none of the elements
// of a list that is too long.
func listed(d protoreflect.MessageDescriptor, all []*protovalidate.Violation, lines map[string]int) error {
	tooMany := map[string]bool{}
	for _, b := range all {
		if b.Proto.GetRuleId() == "repeated.max_items" {
			tooMany[protovalidate.FieldPathString(b.Proto.GetField())] = true
		}
	}
	c := fault.NewCollector(fault.Invalid)
	more := 0
	for _, b := range all {
		v := explain(b, d)
		if len(tooMany) > 0 && isElement(v.Field, tooMany) {
			continue
		}
		if c.Len() == maxFaults {
			more++
			continue
		}
		c.Add(v.Reason, v.Field, atLine(v.Says, lineOf(lines, v.Field)))
	}
	err := c.Err()
	if f, ok := fault.As(err); ok && more > 0 {
		f.Violations = append(f.Violations, fault.Violation{Reason: ReasonTooMany, Says: fmt.Sprintf("there are %d more faults", more)})
	}
	return err
}

func isElement(path string, lists map[string]bool) bool {
	for i, c := range path {
		if c == '[' && lists[path[:i]] {
			return true
		}
	}
	return false
}

// lineOf finds the line of a path, or of the nearest thing around it.
func lineOf(lines map[string]int, path string) int {
	for path != "" {
		if l, ok := lines[path]; ok {
			return l
		}
		path = path[:max(strings.LastIndexAny(path, ".["), 0)]
	}
	return 0
}

func explain(b *protovalidate.Violation, root protoreflect.MessageDescriptor) fault.Violation {
	path := protovalidate.FieldPathString(b.Proto.GetField())
	f, oneof := described(root, b.Proto.GetField().GetElements())
	if oneof != nil { // which is no field: the message around it lacks one
		var names []string
		for i := range oneof.Fields().Len() {
			names = append(names, string(oneof.Fields().Get(i).Name()))
		}
		return fault.Violation{
			Field: strings.TrimSuffix(strings.TrimSuffix(path, string(oneof.Name())), "."), Reason: ReasonRequired,
			Says: "needs one of " + strings.Join(names, ", "),
		}
	}
	reason, says := reasonOf(b, f)
	return fault.Violation{Field: path, Reason: reason, Says: says}
}

// described finds the field, or the oneof, at a path.
func described(d protoreflect.MessageDescriptor, path []*validatepb.FieldPathElement) (f protoreflect.FieldDescriptor, o protoreflect.OneofDescriptor) {
	for _, e := range path {
		if d == nil {
			return nil, nil
		}
		name := protoreflect.Name(e.GetFieldName())
		if f = d.Fields().ByName(name); f == nil {
			return nil, d.Oneofs().ByName(name)
		}
		d = f.Message()
	}
	return f, nil
}

// reasonOf reads the descriptor f of the field rather than that in the violation, which
// elements of a list lack.
func reasonOf(b *protovalidate.Violation, f protoreflect.FieldDescriptor) (reason, says string) {
	id := b.Proto.GetRuleId()
	says = strings.TrimPrefix(b.Proto.GetMessage(), "value ")
	switch kind := id[strings.LastIndexByte(id, '.')+1:]; {
	case id == "required":
		return ReasonRequired, "is needed"
	case f != nil && f.Enum() != nil && id == "enum.not_in":
		return ReasonRequired, "is needed, one of " + strings.Join(valueNames(f.Enum()), ", ")
	case f != nil && f.Enum() != nil && id == "enum.defined_only":
		return ReasonUnknownValue, fmt.Sprintf("%v is no value of %s", b.FieldValue.Enum(), f.Enum().Name())
	case id == "string.uuid":
		return ReasonFormat, fmt.Sprintf("is %q; a UUID is needed, such as 8e03978e-40d5-43e8-bc93-6894a57f9324", short(b.FieldValue.String()))
	case id == "string.pattern":
		text := b.FieldValue.String()
		switch {
		case text == "":
			return ReasonRequired, "is needed"
		case strings.HasPrefix(b.RuleValue.String(), "^[0-9]{4}-"):
			return ReasonDate, fmt.Sprintf("%q is not a calendar date written YYYY-MM-DD", short(text))
		}
		return ReasonFormat, fmt.Sprintf("is %q; it has to match %s", short(text), b.RuleValue.String())
	case id == "string.min_len":
		return ReasonRequired, "is needed"
	case id == "string.max_len":
		return ReasonTooLong, fmt.Sprintf("has %d characters; at most %d are possible", utf8.RuneCountInString(b.FieldValue.String()), b.RuleValue.Uint())
	case id == "string.in":
		return ReasonUnknownValue, fmt.Sprintf("is %q; one of these is needed: %s", short(b.FieldValue.String()), quoted(b.RuleValue.List()))
	case id == "repeated.unique":
		return ReasonTwice, "holds something twice; each once is right"
	case id == "repeated.max_items":
		return ReasonTooMany, fmt.Sprintf("has %d elements; at most %d are possible", b.FieldValue.List().Len(), b.RuleValue.Uint())
	case id == "repeated.min_items":
		return ReasonTooFew, fmt.Sprintf("has %d elements; at least %d is needed", b.FieldValue.List().Len(), b.RuleValue.Uint())
	case isOrdered(kind) && b.FieldValue.IsValid():
		return ReasonOutOfRange, fmt.Sprintf("is %v; %s", b.FieldValue.Interface(), possible(says))
	}
	return strings.ToUpper(strings.NewReplacer(".", "_", "-", "_").Replace(id)), says
}

// quoted lists texts.
func quoted(l protoreflect.List) string {
	var out []string
	for i := range l.Len() {
		out = append(out, strconv.Quote(l.Get(i).String()))
	}
	return strings.Join(out, ", ")
}

var bounds = regexp.MustCompile(`^must be greater than or equal to (\S+)(?: and less than or equal to (\S+))?$`)

// possible says bounds in fewer words.
func possible(says string) string {
	m := bounds.FindStringSubmatch(says)
	switch {
	case m == nil:
		return says
	case m[2] == "":
		return "at least " + m[1] + " is possible"
	}
	return m[1] + " to " + m[2] + " is possible"
}

func isOrdered(kind string) bool {
	for _, k := range [...]string{"gt", "gte", "lt", "lte"} {
		if strings.HasPrefix(kind, k) {
			return true
		}
	}
	return false
}
