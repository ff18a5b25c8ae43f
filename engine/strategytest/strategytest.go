// Package strategytest proves that a strategy keeps the contract of engine.Strategy.
// Call Run from a test of the implementation, under the race detector:
//
//	func TestConformance(t *testing.T) {
//		strategytest.Run(t, func() engine.Strategy { return mine.New() })
//	}
package strategytest

import (
	"context"
	"fmt"
	"testing"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/plan"
)

// Names of the checks, in the order in which they run.
const (
	Descriptor  = "descriptor"   // complete and stable
	Defaults    = "defaults"     // parse, and mean what leaving them out means
	Bounds      = "bounds"       // each parameter at its ends, beyond them, of another kind
	Unknown     = "unknown"      // unknown and repeated names, several faults at once
	Weeks       = "weeks"        // 1 to 53 weeks: planned, or refused outside the bounds
	Sessions    = "sessions"     // 1 to 7 a week, fewer in some weeks, none in others
	BadRequests = "bad requests" // refused, not planned
	Same        = "same"         // equal requests, equal outlines
	Ownership   = "ownership"    // nothing is shared with the caller
	Concurrent  = "concurrent"   // one instance, many goroutines
	Rotation    = "rotation"     // goes on over weeks
	Explosive   = "explosive"    // never to failure
	Canceled    = "canceled"     // a context that ended
)

// Except names a check that a strategy doesn't pass by design, and why.
type Except struct {
	Check string
	Why   string
}

// Finding is one thing a check found wrong.
type Finding struct {
	Check string
	Says  string
}

type check struct {
	name string
	run  func(*probe)
}

var checks = [...]check{
	{Descriptor, checkDescriptor},
	{Defaults, checkDefaults},
	{Bounds, checkBounds},
	{Unknown, checkUnknown},
	{Weeks, checkWeeks},
	{Sessions, checkSessions},
	{BadRequests, checkBadRequests},
	{Same, checkSame},
	{Ownership, checkOwnership},
	{Concurrent, checkConcurrent},
	{Rotation, checkRotation},
	{Explosive, checkExplosive},
	{Canceled, checkCanceled},
}

// Run runs every check as a subtest on a strategy made afresh for it.
func Run(t *testing.T, fresh func() engine.Strategy, excepts ...Except) {
	t.Helper()
	for _, e := range excepts {
		if e.Why == "" || !isCheck(e.Check) {
			t.Fatalf("exception %+v: a check of this package and a reason are needed", e)
		}
	}
	for _, c := range checks {
		t.Run(c.name, func(t *testing.T) {
			for _, e := range excepts {
				if e.Check == c.name {
					t.Logf("excepted: %s", e.Why)
					return
				}
			}
			for _, f := range runCheck(t.Context(), c, fresh) {
				t.Error(f.Says)
			}
		})
	}
}

// Findings runs every check outside a test.
func Findings(ctx context.Context, fresh func() engine.Strategy) []Finding {
	var out []Finding
	for _, c := range checks {
		out = append(out, runCheck(ctx, c, fresh)...)
	}
	return out
}

func isCheck(name string) bool {
	for _, c := range checks {
		if c.name == name {
			return true
		}
	}
	return false
}

// maxFindings of one check are enough to see what is wrong.
const maxFindings = 10

// probe is a strategy under one check.
type probe struct {
	ctx   context.Context
	check string
	s     engine.Strategy
	d     plan.Descriptor
	found []Finding
}

func runCheck(ctx context.Context, c check, fresh func() engine.Strategy) (out []Finding) {
	p := &probe{ctx: ctx, check: c.name}
	// A strategy that panics is found out like any other.
	defer func() {
		if r := recover(); r != nil {
			p.found = append(p.found, Finding{c.name, fmt.Sprintf("panics: %v", r)})
		}
		out = p.found
	}()
	p.s = fresh()
	p.d = p.s.Describe()
	c.run(p)
	return p.found
}

func (p *probe) errorf(format string, args ...any) {
	if len(p.found) < maxFindings {
		p.found = append(p.found, Finding{p.check, fmt.Sprintf(format, args...)})
	}
}

func (p *probe) full() bool { return len(p.found) >= maxFindings }

// parse gives an instance, or reports why there is none.
func (p *probe) parse(params ...plan.Param) engine.Instance {
	in, err := p.s.Parse(params)
	if err != nil {
		p.errorf("refuses %s: %v", paramsText(params), err)
		return nil
	}
	if in == nil {
		p.errorf("parses %s to nil without an error", paramsText(params))
		return nil
	}
	return in
}

// outline gives a checked outline, or reports what is wrong with it.
func (p *probe) outline(in engine.Instance, r plan.OutlineRequest) (plan.Outline, bool) {
	o, err := in.Outline(p.ctx, r)
	if err != nil {
		p.errorf("%s: refused: %v", requestText(r), err)
		return plan.Outline{}, false
	}
	if err := engine.CheckOutline(&o, r); err != nil {
		p.errorf("%s: %v", requestText(r), err)
		return o, false
	}
	if o.Strategy != p.d.ID() {
		p.errorf("%s: calls itself %q; its descriptor says %s", requestText(r), o.Strategy, p.d.ID())
		return o, false
	}
	return o, true
}

// weeks brings a wish into the strategy's bounds.
func (p *probe) weeks(n int32) int32 { return min(max(n, p.d.MinWeeks, 1), p.d.MaxWeeks) }

// request asks for n weeks with the same number of sessions.
func request(n, sessions int32, s plan.Status, strength, size bool) plan.OutlineRequest {
	r := plan.OutlineRequest{Weeks: n, Sessions: make([]int32, n), Status: s, Strength: strength, Size: size, Seed: 7}
	for i := range r.Sessions {
		r.Sessions[i] = sessions
	}
	return r
}

// athletes gives a request for every status and every pair of goals.
func athletes(n, sessions int32) []plan.OutlineRequest {
	var out []plan.OutlineRequest
	for s := plan.Novice; s <= plan.Advanced; s++ {
		for goals := range 4 {
			out = append(out, request(n, sessions, s, goals&1 != 0, goals&2 != 0))
		}
	}
	return out
}

func requestText(r plan.OutlineRequest) string {
	return fmt.Sprintf("%d weeks, sessions %v, %s, strength %t, size %t", r.Weeks, r.Sessions, r.Status, r.Strength, r.Size)
}

func paramsText(params []plan.Param) string {
	if len(params) == 0 {
		return "no parameters"
	}
	out := ""
	for i, q := range params {
		if i > 0 {
			out += ", "
		}
		out += q.Name + " "
		switch q.Value.Kind {
		case plan.ValueNumber:
			out += plan.Load{Milli: q.Value.Milli}.Number()
		case plan.ValueRange:
			out += fmt.Sprintf("%d to %d", q.Value.Lo, q.Value.Hi)
		case plan.ValueText:
			out += fmt.Sprintf("%q", q.Value.Text)
		case plan.ValueBool:
			out += fmt.Sprint(q.Value.Bool)
		case plan.ValueList:
			out += fmt.Sprint(q.Value.List)
		default:
			out += "without a value"
		}
	}
	return out
}

// canon is what outlines are compared by.
func canon(o plan.Outline) string {
	b, err := plan.Canonical(o)
	if err != nil {
		return "not encodable: " + err.Error()
	}
	return string(b)
}
