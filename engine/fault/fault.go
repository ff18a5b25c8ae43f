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
	Exhausted       // a rate, or the room to store, is used up: later it may be fine
	Broken          // another process answered what can't be: its maker's bug, to be told
)

var kindNames = [...]string{"internal", "invalid", "infeasible", "refused", "not found", "exists", "stale", "canceled", "unavailable", "unauthenticated", "denied", "exhausted", "broken"}

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
	Ways       []Way // out of it, the cheapest first; each was tried
	cause      error
}

// Way is a change of the request that makes possible what was not.
type Way struct {
	Changes []Change
	Says    string // a sentence
	Price   int32  // what giving this up is taken to cost; only its order means something
}

// Change is one field of a request with another value, as texts: "45" and "55" for
// minutes, an id for what is named by one. Without From there was nothing, without To
// nothing is left.
type Change struct{ Field, From, To string }

// Within puts the fields of a fault below a path; other errors stay as they are.
func Within(path string, err error) error {
	f, ok := As(err)
	if !ok {
		return err
	}
	return f.Moved(func(field string) string {
		switch {
		case field == "":
			return path
		case field[0] == '[':
			return path + field
		}
		return path + "." + field
	})
}

// Moved gives the fault with other fields, those of its ways too.
func (e *Error) Moved(to func(field string) string) *Error {
	out := *e
	out.Violations = slices.Clone(e.Violations)
	for i := range out.Violations {
		out.Violations[i].Field = to(out.Violations[i].Field)
	}
	out.Ways = slices.Clone(e.Ways)
	for i := range out.Ways {
		out.Ways[i].Changes = slices.Clone(out.Ways[i].Changes)
		for j := range out.Ways[i].Changes {
			c := &out.Ways[i].Changes[j]
			c.Field = to(c.Field)
		}
	}
	return &out
}

// New makes an error about one field.
func New(k Kind, reason, field, says string) *Error {
	return &Error{Kind: k, Violations: []Violation{{Field: field, Reason: reason, Says: says}}}
}

// Wrap makes an error around a cause, whose text it takes: Internal or Canceled, or
// Unavailable where the cause knows more, such as when to come back.
func Wrap(k Kind, reason string, cause error) *Error {
	return &Error{Kind: k, Violations: []Violation{{Reason: reason, Says: cause.Error()}}, cause: cause}
}

// Because gives the fault with what lies behind it, which is for logs.
func (e *Error) Because(cause error) *Error {
	e.cause = cause
	return e
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
