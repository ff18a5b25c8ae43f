package gateway

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/phasewright/phasewright/engine/fault"
)

// query holds the query against the request's fields, names everything wrong in one
// fault with the keys as they came, and tells how the fields were spelled.
func (r *route) query(raw string) (written map[string]string, err error) {
	if raw == "" {
		return nil, nil
	}
	bad := fault.NewCollector(fault.Invalid)
	values, err := url.ParseQuery(raw)
	if err != nil {
		bad.Add(ReasonQuery, "", "the query can't be read: "+valid(err.Error()))
	}
	known := r.queryFields()
	keys := make([]string, 0, len(values))
	for k := range values {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	written = map[string]string{}
	for _, k := range keys {
		f := r.queryField(k, known)
		if f == nil {
			bad.Add(reasonUnknownField, shown(k), r.unknownKey(k, known))
			continue
		}
		first, twice := written[string(f.Name())]
		switch {
		case twice:
			bad.Add(reasonTwice, k, "is "+first+" once more; once is right")
			continue
		case len(values[k]) > 1 && !f.IsList():
			bad.Add(reasonTwice, k, "is given twice; once is right")
		}
		written[string(f.Name())] = k
		for _, v := range values[k] {
			if reason, says := wrongValue(f, v); says != "" {
				bad.Add(reason, k, says)
			}
		}
	}
	return written, bad.Err()
}

// queryFields are those that a query may set: plain ones that are not in the path, and
// none where the body is the request.
func (r *route) queryFields() []protoreflect.FieldDescriptor {
	var out []protoreflect.FieldDescriptor
	for i := range r.input.Fields().Len() {
		f := r.input.Fields().Get(i)
		if !r.body && f.Message() == nil && !slices.Contains(r.inPath, string(f.Name())) {
			out = append(out, f)
		}
	}
	return out
}

func (r *route) queryField(key string, known []protoreflect.FieldDescriptor) protoreflect.FieldDescriptor {
	for _, f := range known {
		if key == string(f.Name()) || key == f.JSONName() {
			return f
		}
	}
	return nil
}

func (r *route) unknownKey(key string, known []protoreflect.FieldDescriptor) string {
	switch {
	case r.body:
		return "is not known: " + r.method + " takes no query, everything goes into the body"
	case len(known) == 0:
		return "is not known: no query is taken here"
	}
	var names []string
	best, least := "", len(key)/2+1
	for _, f := range known {
		names = append(names, f.JSONName())
		if d := distance(fold(key), fold(f.JSONName())); d < least {
			best, least = f.JSONName(), d
		}
	}
	if best != "" {
		return "is not known; did you mean " + best + "?"
	}
	return "is not known; possible: " + strings.Join(names, ", ")
}

// wrongValue says what is wrong with a value for a field, or nothing. The generated
// handler would say it without the key.
func wrongValue(f protoreflect.FieldDescriptor, v string) (reason, says string) {
	var want string
	var err error
	switch f.Kind() {
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		_, err = strconv.ParseInt(v, 10, 32)
		want = "a whole number is needed"
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind:
		_, err = strconv.ParseInt(v, 10, 64)
		want = "a whole number is needed"
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		_, err = strconv.ParseUint(v, 10, 32)
		want = "a whole number from 0 is needed"
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		_, err = strconv.ParseUint(v, 10, 64)
		want = "a whole number from 0 is needed"
	case protoreflect.BoolKind:
		if v != "true" && v != "false" {
			return reasonType, fmt.Sprintf("is %q; true or false is needed", shown(v))
		}
	case protoreflect.EnumKind:
		if f.Enum().Values().ByName(protoreflect.Name(v)) == nil {
			var names []string
			for i := 1; i < f.Enum().Values().Len(); i++ {
				names = append(names, string(f.Enum().Values().Get(i).Name()))
			}
			return reasonUnknownValue, fmt.Sprintf("is %q; one of these is needed: %s", shown(v), strings.Join(names, ", "))
		}
	case protoreflect.StringKind:
		if !utf8.ValidString(v) {
			return reasonType, "is not UTF-8 text"
		}
	}
	if err != nil {
		return reasonType, fmt.Sprintf("is %q; %s", shown(v), want)
	}
	return "", ""
}

// shown is what is repeated of what a caller wrote.
func shown(s string) string {
	s = valid(s)
	if len(s) <= 80 {
		return s
	}
	cut := 80
	for !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "…"
}

func valid(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

func fold(s string) string { return strings.ToLower(strings.ReplaceAll(s, "_", "")) }

// distance is Levenshtein's, over bytes; far for long words.
func distance(a, b string) int {
	if len(a) > 100 {
		return len(a)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal, row[j+1] = row[j+1], min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
