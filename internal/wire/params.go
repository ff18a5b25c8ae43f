package wire

import (
	"fmt"
	"math"
	"regexp"
	"sort"
	"strconv"

	"google.golang.org/protobuf/types/known/structpb"

	"github.com/phasewright/phasewright/engine/plan"
)

// Parameters are numbers, booleans, text, lists of whole numbers, and ranges
// written as text. Which of these a strategy wants is its own business.

// What bounds them, as the schema can't: faults repeat names and texts.
const (
	maxParams     = 100
	maxParamName  = 64
	maxParamText  = 200
	maxParamItems = 1000
)

var paramName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,63}$`)

var rangeText = regexp.MustCompile(`^\s*(-?[0-9]{1,9})\s*[-–]\s*(-?[0-9]{1,9})\s*$`)

func paramsFrom(r *reader, name string, s *structpb.Struct) []plan.Param {
	if len(s.GetFields()) == 0 {
		return nil
	}
	names := make([]string, 0, len(s.GetFields()))
	for n := range s.GetFields() {
		names = append(names, n)
	}
	sort.Strings(names)
	at := r.in(name)
	defer r.back(at)
	if len(names) > maxParams {
		r.add(ReasonTooMany, "", fmt.Sprintf("are %d; at most %d are possible", len(names), maxParams))
		return nil
	}
	out := make([]plan.Param, len(names))
	for i, n := range names {
		if !paramName.MatchString(n) {
			r.add(ReasonFormat, "", fmt.Sprintf("%q is no name of a parameter: up to %d lower-case letters, digits and _ are right", short(n), maxParamName))
			continue
		}
		out[i] = plan.Param{Name: n, Value: valueFrom(r, n, s.GetFields()[n])}
	}
	return out
}

func valueFrom(r *reader, name string, v *structpb.Value) plan.Value {
	switch k := v.GetKind().(type) {
	case *structpb.Value_NumberValue:
		return plan.Value{Kind: plan.ValueNumber, Milli: r.scaled(name, k.NumberValue, perUnit)}
	case *structpb.Value_BoolValue:
		return plan.Value{Kind: plan.ValueBool, Bool: k.BoolValue}
	case *structpb.Value_StringValue:
		if len(k.StringValue) > maxParamText {
			r.add(ReasonTooLong, name, fmt.Sprintf("has %d bytes of text; at most %d are possible", len(k.StringValue), maxParamText))
			return plan.Value{}
		}
		if lo, hi, ok := parseRange(k.StringValue); ok {
			return plan.Value{Kind: plan.ValueRange, Lo: lo, Hi: hi}
		}
		return plan.Value{Kind: plan.ValueText, Text: k.StringValue}
	case *structpb.Value_ListValue:
		return plan.Value{Kind: plan.ValueList, List: wholes(r, name, k.ListValue)}
	}
	r.add(ReasonType, name, `has to be a number, true or false, text, a list of whole numbers, or a range written "8-12"`)
	return plan.Value{}
}

func wholes(r *reader, name string, l *structpb.ListValue) []int32 {
	if n := len(l.GetValues()); n > maxParamItems {
		r.add(ReasonTooMany, name, fmt.Sprintf("has %d values; at most %d are possible", n, maxParamItems))
		return nil
	}
	var out []int32
	for i, v := range l.GetValues() {
		k, ok := v.GetKind().(*structpb.Value_NumberValue)
		if !ok || k.NumberValue != math.Trunc(k.NumberValue) || math.Abs(k.NumberValue) > math.MaxInt32 {
			at := r.item(name, i)
			r.add(ReasonType, "", "has to be a whole number")
			r.back(at)
			continue
		}
		out = append(out, int32(k.NumberValue))
	}
	return out
}

func parseRange(s string) (lo, hi int32, ok bool) {
	m := rangeText.FindStringSubmatch(s)
	if m == nil {
		return 0, 0, false
	}
	a, _ := strconv.Atoi(m[1]) // nine digits always fit
	b, _ := strconv.Atoi(m[2])
	return int32(a), int32(b), true
}

func paramsTo(list []plan.Param) *structpb.Struct {
	if len(list) == 0 {
		return nil
	}
	f := make(map[string]*structpb.Value, len(list))
	for i := range list {
		f[list[i].Name] = valueTo(list[i].Value)
	}
	return &structpb.Struct{Fields: f}
}

func valueTo(v plan.Value) *structpb.Value {
	switch v.Kind {
	case plan.ValueNumber:
		return structpb.NewNumberValue(unscale(v.Milli))
	case plan.ValueRange:
		return structpb.NewStringValue(fmt.Sprintf("%d-%d", v.Lo, v.Hi))
	case plan.ValueText:
		return structpb.NewStringValue(v.Text)
	case plan.ValueBool:
		return structpb.NewBoolValue(v.Bool)
	case plan.ValueList:
		l := &structpb.ListValue{Values: make([]*structpb.Value, len(v.List))}
		for i, n := range v.List {
			l.Values[i] = structpb.NewNumberValue(float64(n))
		}
		return structpb.NewListValue(l)
	}
	return structpb.NewNullValue()
}
