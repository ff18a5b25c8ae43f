package wire

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"github.com/phasewright/phasewright/engine/fault"
)

// checker holds a document against a message's descriptor and writes it as JSON
// that protojson takes. It names every fault, with the line it stands in, where
// protojson stops at the first and names none.
type checker struct {
	bad   *fault.Collector
	lines map[string]int // of each path; nil where nobody asks
	out   []byte

	camel   bool              // names are suggested as JSON has them
	written map[string]string // spellings other than that, by path; nil where nobody asks
	here    string            // path as written, where somebody asks
	most    int               // faults to list, 0 is all
	more    int               // faults beyond

	masks map[string]*fieldmaskpb.FieldMask // by path
}

func (c *checker) add(reason, path string, line int, says string) {
	if c.full() {
		c.more++
		return
	}
	c.bad.Add(reason, path, atLine(says, line))
}

// addUnknown looks for what was meant only while faults are listed: it takes time.
func (c *checker) addUnknown(reason, path string, line int, name string, known func() []string) {
	if c.full() {
		c.more++
		return
	}
	says := unknown(name, known())
	if reason == ReasonUnknownValue { // the path does not show it
		says = fmt.Sprintf("is %q, which %s", short(name), says)
	}
	c.add(reason, path, line, says)
}

func (c *checker) full() bool { return c.most > 0 && c.bad.Len() >= c.most }

func (c *checker) at(path string, line int) {
	if c.lines != nil {
		c.lines[path] = line
	}
}

// enter moves to a field as it was written, and notes that where JSON has it otherwise.
func (c *checker) enter(f protoreflect.FieldDescriptor, path, above, as string) {
	if c.written == nil {
		return
	}
	if c.here = join(above, as); as != f.JSONName() {
		c.written[path] = c.here
	}
}

// names lists the fields of a message or a oneof as the writer would write them.
func (c *checker) names(list interface {
	Len() int
	Get(int) protoreflect.FieldDescriptor
}) []string {
	out := make([]string, list.Len())
	for i := range out {
		if out[i] = string(list.Get(i).Name()); c.camel {
			out[i] = list.Get(i).JSONName()
		}
	}
	return out
}

func atLine(says string, line int) string {
	if line == 0 {
		return says
	}
	return fmt.Sprintf("%s (line %d)", says, line)
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

func (c *checker) message(n *node, d protoreflect.MessageDescriptor, path string) {
	c.at(path, n.line)
	switch d.FullName() {
	case "google.protobuf.Struct":
		if n.kind == isObject {
			c.free(n, path)
			return
		}
		c.out = append(c.out, "{}"...)
		c.add(ReasonType, path, n.line, "is "+kindNames[n.kind]+"; names with values are needed, such as {weeks: 3}")
		return
	case "google.protobuf.Value":
		c.free(n, path)
		return
	case "google.protobuf.Timestamp":
		c.time(n, path)
		return
	case "google.protobuf.FieldMask":
		c.mask(n, path)
		return
	}
	if n.kind != isObject {
		c.out = append(c.out, "{}"...)
		what := d.Name()
		c.add(ReasonType, path, n.line, fmt.Sprintf("is %s; %s has fields: %s", kindNames[n.kind], what, strings.Join(c.names(d.Fields()), ", ")))
		return
	}
	c.out = append(c.out, '{')
	seen := make(map[protoreflect.Name]bool, len(n.keys))
	first := true
	above := c.here
	defer func() { c.here = above }()
	for i, k := range n.keys {
		f := d.Fields().ByName(protoreflect.Name(k.name))
		if f == nil {
			f = d.Fields().ByJSONName(k.name)
		}
		if f == nil {
			c.addUnknown(ReasonUnknownField, join(path, short(k.name)), k.line, k.name, func() []string { return c.names(d.Fields()) })
			continue
		}
		p := join(path, string(f.Name()))
		c.enter(f, p, above, k.name)
		if seen[f.Name()] {
			c.add(ReasonTwice, p, k.line, "is given twice; once is right")
			continue
		}
		seen[f.Name()] = true
		if n.vals[i].kind == isNull {
			continue // as if it were left out
		}
		if o := f.ContainingOneof(); o != nil && !o.IsSynthetic() {
			if seen[o.Name()] {
				c.add(ReasonTwice, p, k.line, "is one too many: give only one of "+strings.Join(c.names(o.Fields()), ", "))
				continue
			}
			seen[o.Name()] = true
		}
		if !first {
			c.out = append(c.out, ',')
		}
		first = false
		c.out = strconv.AppendQuote(c.out, string(f.Name()))
		c.out = append(c.out, ':')
		c.at(p, k.line)
		if f.IsList() {
			c.list(n.vals[i], f, p)
		} else {
			c.value(n.vals[i], f, p)
		}
	}
	c.out = append(c.out, '}')
}

func (c *checker) list(n *node, f protoreflect.FieldDescriptor, path string) {
	if n.kind != isList {
		c.out = append(c.out, "[]"...)
		c.add(ReasonType, path, n.line, "is "+kindNames[n.kind]+"; a list is needed, such as [a, b]")
		return
	}
	c.out = append(c.out, '[')
	above := c.here
	defer func() { c.here = above }()
	for i, e := range n.vals {
		if i > 0 {
			c.out = append(c.out, ',')
		}
		index := "[" + strconv.Itoa(i) + "]"
		if c.written != nil {
			c.here = above + index
		}
		p := path + index
		c.at(p, e.line)
		c.value(e, f, p)
	}
	c.out = append(c.out, ']')
}

// value writes one value. What is wrong is written as null: the fault is noted and
// the message not used.
func (c *checker) value(n *node, f protoreflect.FieldDescriptor, path string) {
	wrong := func(want string) {
		got := kindNames[n.kind]
		switch n.kind {
		case isBool, isNumber:
			got = short(n.text)
		case isText:
			got = strconv.Quote(short(n.text))
		}
		c.add(ReasonType, path, n.line, "is "+got+"; "+want)
		c.out = append(c.out, "null"...)
	}
	switch f.Kind() {
	case protoreflect.MessageKind:
		c.message(n, f.Message(), path)
	case protoreflect.EnumKind:
		if n.kind != isText {
			wrong("one of these is needed: " + strings.Join(valueNames(f.Enum()), ", "))
		} else if f.Enum().Values().ByName(protoreflect.Name(n.text)) == nil {
			c.addUnknown(ReasonUnknownValue, path, n.line, n.text, func() []string { return valueNames(f.Enum()) })
			c.out = append(c.out, "null"...)
		} else {
			c.out = strconv.AppendQuote(c.out, n.text)
		}
	case protoreflect.BoolKind:
		if n.kind != isBool {
			wrong("true or false is needed")
		} else {
			c.out = strconv.AppendBool(c.out, strings.EqualFold(n.text, "true"))
		}
	case protoreflect.StringKind:
		// A number or date without quotes is taken as it is written: ids are often digits.
		if n.kind == isList || n.kind == isObject || n.kind == isNull {
			wrong("text is needed")
		} else {
			c.out = appendText(c.out, n.text)
		}
	case protoreflect.DoubleKind:
		v, err := strconv.ParseFloat(n.text, 64)
		if n.kind != isNumber || err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
			wrong(bounded("a number is needed", n.kind == isNumber && errors.Is(err, strconv.ErrRange), "between -1.7e308 and 1.7e308"))
		} else {
			c.out = appendNumber(c.out, v)
		}
	default:
		c.whole(n, f, wrong)
	}
}

func (c *checker) whole(n *node, f protoreflect.FieldDescriptor, wrong func(string)) {
	bits, unsigned := 64, false
	switch f.Kind() {
	case protoreflect.Int32Kind:
		bits = 32
	case protoreflect.Uint32Kind:
		bits, unsigned = 32, true
	}
	// Canonical JSON writes 64-bit numbers as text.
	ok := n.kind == isNumber || (bits == 64 && n.kind == isText)
	text := n.text
	if f, err := strconv.ParseFloat(text, 64); err == nil && f == math.Trunc(f) && math.Abs(f) < 1<<53 && !isWhole(text) {
		text = strconv.FormatInt(int64(f), 10) // 45.0 and 1e3 are whole
	}
	if unsigned {
		v, err := strconv.ParseUint(text, 10, bits)
		if !ok || err != nil {
			wrong(bounded("a whole number from 0 is needed", ok && errors.Is(err, strconv.ErrRange), fmt.Sprintf("up to %d", uint64(math.MaxUint64)>>(64-bits))))
			return
		}
		c.out = strconv.AppendUint(c.out, v, 10)
		return
	}
	v, err := strconv.ParseInt(text, 10, bits)
	if !ok || err != nil {
		most := int64(math.MaxInt64) >> (64 - bits)
		wrong(bounded("a whole number is needed", ok && errors.Is(err, strconv.ErrRange), fmt.Sprintf("from %d to %d", -most-1, most)))
		return
	}
	c.out = strconv.AppendInt(c.out, v, 10)
}

// bounded adds the bounds to what is wanted where they are what is broken.
func bounded(want string, broken bool, bounds string) string {
	if !broken {
		return want
	}
	return want + ", " + bounds
}

// deeper goes on with a path below free values, whose depth and names are anybody's,
// as long as somebody may want to read it.
func deeper(path, step string) string {
	if len(path) > 500 {
		return path
	}
	return path + step
}

// short is as much of what was written as a sentence repeats.
func short(text string) string {
	const most = 100
	if len(text) <= most {
		return text
	}
	cut := most
	for cut > 0 && !utf8.RuneStart(text[cut]) {
		cut--
	}
	return text[:cut] + "…"
}

func isWhole(text string) bool { return strings.Trim(text, "-0123456789") == "" }

// free writes what a strategy's parameters may be: anything.
func (c *checker) free(n *node, path string) {
	switch n.kind {
	case isNull:
		c.out = append(c.out, "null"...)
	case isBool:
		c.out = strconv.AppendBool(c.out, strings.EqualFold(n.text, "true"))
	case isNumber:
		v, err := strconv.ParseFloat(n.text, 64)
		if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
			c.add(ReasonType, path, n.line, "is "+short(n.text)+"; a plain number is needed")
			v = 0
		}
		c.out = appendNumber(c.out, v)
	case isText:
		c.out = appendText(c.out, n.text)
	case isList:
		c.out = append(c.out, '[')
		for i, e := range n.vals {
			if i > 0 {
				c.out = append(c.out, ',')
			}
			c.free(e, deeper(path, "["+strconv.Itoa(i)+"]"))
		}
		c.out = append(c.out, ']')
	case isObject:
		c.out = append(c.out, '{')
		seen := make(map[string]bool, len(n.keys))
		for i, k := range n.keys {
			if i > 0 {
				c.out = append(c.out, ',')
			}
			p := deeper(path, "."+short(k.name))
			if seen[k.name] {
				c.add(ReasonTwice, p, k.line, "is given twice; once is right")
			}
			seen[k.name] = true
			c.at(p, k.line)
			c.out = appendText(c.out, k.name)
			c.out = append(c.out, ':')
			c.free(n.vals[i], p)
		}
		c.out = append(c.out, '}')
	}
}

func appendText(out []byte, s string) []byte {
	b, _ := json.Marshal(strings.ToValidUTF8(s, "\uFFFD")) // a valid string always has an encoding
	return append(out, b...)
}

func appendNumber(out []byte, v float64) []byte { return strconv.AppendFloat(out, v, 'g', -1, 64) }

// valueNames leaves out the zero, which says nothing.
func valueNames(d protoreflect.EnumDescriptor) []string {
	var out []string
	for i := 1; i < d.Values().Len(); i++ {
		out = append(out, string(d.Values().Get(i).Name()))
	}
	return out
}

// unknown says that a name is not known and what may have been meant: the nearest
// one, or all of them where none is near.
func unknown(name string, known []string) string {
	best, least := "", len(name)/2+1
	for _, k := range known {
		d := distance(strings.ToLower(name), strings.ToLower(k))
		// ADULT for AGE_BAND_ADULT: the end of the name alone.
		if len(name) >= 3 && strings.HasSuffix(strings.ToLower(k), "_"+strings.ToLower(name)) {
			d = 0
		}
		if d < least {
			best, least = k, d
		}
	}
	if best != "" {
		return "is not known; did you mean " + best + "?"
	}
	return "is not known; possible: " + strings.Join(known, ", ")
}

// distance is Levenshtein's, over bytes.
func distance(a, b string) int {
	if len(a) > 100 {
		return len(a)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diag := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			diag, row[j] = row[j], min(row[j]+1, row[j-1]+1, diag+cost)
		}
	}
	return row[len(b)]
}
