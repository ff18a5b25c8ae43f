package wire

import (
	"errors"
	"fmt"
	"strings"
	"sync"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	"github.com/phasewright/phasewright/engine/fault"
)

// validator is made once: compiling the rules takes longer than using them.
var validator = sync.OnceValues(func() (protovalidate.Validator, error) { return protovalidate.New() })

// Validate holds a message against the rules of the schema. All violations come in
// one fault.Invalid; the reason is REQUIRED, OUT_OF_RANGE and the like, and for rules
// of our own the rule's id in upper case (ATHLETE_AGE).
func Validate(m proto.Message) error { return validate(m, nil) }

func validate(m proto.Message, lines map[string]int) error {
	v, err := validator()
	if err != nil {
		return fault.Wrap(fault.Internal, "RULES_BROKEN", err)
	}
	err = v.Validate(m)
	if err == nil {
		return nil
	}
	var bad *protovalidate.ValidationError
	if !errors.As(err, &bad) {
		return fault.Wrap(fault.Internal, "RULES_BROKEN", err)
	}
	c := fault.NewCollector(fault.Invalid)
	for _, b := range bad.Violations {
		path := protovalidate.FieldPathString(b.Proto.GetField())
		reason, says := explain(b)
		c.Add(reason, path, atLine(says, lineOf(lines, path)))
	}
	return c.Err()
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

func explain(b *protovalidate.Violation) (reason, says string) {
	id := b.Proto.GetRuleId()
	says = strings.TrimPrefix(b.Proto.GetMessage(), "value ")
	switch kind := id[strings.LastIndexByte(id, '.')+1:]; {
	case id == "required":
		return ReasonRequired, "is needed"
	case id == "enum.not_in":
		return ReasonRequired, "is needed, one of " + strings.Join(valueNames(b.FieldDescriptor.Enum()), ", ")
	case id == "enum.defined_only":
		return ReasonUnknownValue, fmt.Sprintf("%v is no value of %s", b.FieldValue.Enum(), b.FieldDescriptor.Enum().Name())
	case id == "string.pattern":
		if strings.HasPrefix(b.RuleValue.String(), "^[0-9]{4}-") {
			return ReasonDate, fmt.Sprintf("%q is not a calendar date written YYYY-MM-DD", b.FieldValue.String())
		}
		return "FORMAT", says
	case id == "string.min_len":
		return ReasonRequired, "is needed"
	case id == "string.max_len":
		return ReasonTooLong, says
	case id == "repeated.max_items":
		return ReasonTooMany, says
	case id == "repeated.min_items":
		return ReasonTooFew, says
	case isOrdered(kind) && b.FieldValue.IsValid():
		return ReasonOutOfRange, fmt.Sprintf("is %v; %s", b.FieldValue.Interface(), says)
	}
	return strings.ToUpper(strings.NewReplacer(".", "_", "-", "_").Replace(id)), says
}

func isOrdered(kind string) bool {
	for _, k := range [...]string{"gt", "gte", "lt", "lte"} {
		if strings.HasPrefix(kind, k) {
			return true
		}
	}
	return false
}
