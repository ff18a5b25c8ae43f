// Package fault holds the kinds of error that the domain knows. An error names
// the field it is about and says what would be right; which transport code it
// becomes is decided by the transport.
package fault

import (
	"cmp"
	"errors"
	"slices"
	"strings"
)

// Kind is the class of a fault.
type Kind uint8

// Kinds.
const (
	Internal   Kind = iota // a bug: details are for the log
	Invalid                // the request is wrong in itself
	Infeasible             // valid wishes that can't all be met
	Refused                // safety: says what would be needed
	NotFound
	Exists
	Stale
	Canceled
	Unavailable     // another process does not answer, or not in time: trying again may help
	Unauthenticated // nobody knows who calls
	Denied          // who calls may not do this
	Exhausted       // too much was asked for lately: later it is fine
)

var kindNames = [...]string{"internal", "invalid", "infeasible", "refused", "not found", "exists", "stale", "canceled", "unavailable", "unauthenticated", "denied", "exhausted"}

// String gives a plain name.
func (k Kind) String() string { return kindNames[k] }

// Violation is one thing wrong with one field.
type Violation struct {
	Field  string // path in the request's own spelling: constraints.days[1].minutes
	Reason string // stable, UPPER_SNAKE_CASE
	Says   string // a sentence: what is wrong and what would be right
}

// Error is a fault with one or more violations.
type Error struct {
	Kind       Kind
	Violations []Violation
	cause      error
}

// Within puts the fields of a fault below a path; other errors stay as they are.
func Within(path string, err error) error {
	f, ok := As(err)
	if !ok {
		return err
	}
	out := &Error{Kind: f.Kind, Violations: append([]Violation(nil), f.Violations...), cause: f.cause}
	for i := range out.Violations {
		switch v := &out.Violations[i]; {
		case v.Field == "":
			v.Field = path
		case v.Field[0] == '[':
			v.Field = path + v.Field
		default:
			v.Field = path + "." + v.Field
		}
	}
	return out
}

// New makes an error about one field.
func New(k Kind, reason, field, says string) *Error {
	return &Error{Kind: k, Violations: []Violation{{Field: field, Reason: reason, Says: says}}}
}

// Wrap makes an Internal or Canceled error around a cause.
func Wrap(k Kind, reason string, cause error) *Error {
	return &Error{Kind: k, Violations: []Violation{{Reason: reason, Says: cause.Error()}}, cause: cause}
}

// Error lists the violations, one a line.
func (e *Error) Error() string {
	var b strings.Builder
	for i, v := range e.Violations {
		if i > 0 {
			b.WriteByte('\n')
		}
		if v.Field != "" {
			b.WriteString(v.Field + ": ")
		}
		b.WriteString(v.Says)
		if v.Reason != "" {
			b.WriteString(" [" + v.Reason + "]")
		}
	}
	return b.String()
}

// Unwrap gives the cause, if any.
func (e *Error) Unwrap() error { return e.cause }

// As finds the fault in an error chain.
func As(err error) (*Error, bool) {
	var f *Error
	ok := errors.As(err, &f)
	return f, ok
}

// Collector gathers violations so that one answer carries them all.
type Collector struct {
	kind Kind
	list []Violation
}

// NewCollector collects violations of one kind.
func NewCollector(k Kind) *Collector { return &Collector{kind: k} }

// Add notes a violation.
func (c *Collector) Add(reason, field, says string) {
	c.list = append(c.list, Violation{Field: field, Reason: reason, Says: says})
}

// Len counts violations.
func (c *Collector) Len() int { return len(c.list) }

// compareFields orders paths as people count: days[2] before days[10].
func compareFields(a, b string) int {
	for a != "" && b != "" {
		x, y := digits(a), digits(b)
		if x == 0 || y == 0 {
			if a[0] != b[0] {
				return int(a[0]) - int(b[0])
			}
			a, b = a[1:], b[1:]
			continue
		}
		if c := cmp.Or(cmp.Compare(x, y), strings.Compare(a[:x], b[:y])); c != 0 {
			return c
		}
		a, b = a[x:], b[y:]
	}
	return len(a) - len(b)
}

// digits counts those at the front of a text.
func digits(s string) int {
	n := 0
	for n < len(s) && '0' <= s[n] && s[n] <= '9' {
		n++
	}
	return n
}

// Err returns nil, or an Error with the violations in order of field.
func (c *Collector) Err() error {
	if len(c.list) == 0 {
		return nil
	}
	out := append([]Violation(nil), c.list...)
	slices.SortStableFunc(out, func(a, b Violation) int { return compareFields(a.Field, b.Field) })
	return &Error{Kind: c.kind, Violations: out}
}
