// Package conform holds the laws of engine.Strategy and finds out who breaks them. The
// command conform asks them of any address; package strategytest makes tests of them.
package conform

import (
	"context"
	"fmt"

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

// Finding is one thing a check found wrong.
type Finding struct {
	Check string
	Says  string
}

// Check is one law.
type Check struct {
	Name string
	Says string // what has to hold
	run  func(*probe)
}

var checks = [...]Check{
	{Descriptor, "describes itself in full and the same way each time, and a registry takes it", checkDescriptor},
	{Defaults, "its defaults can be given, and mean what leaving them out means", checkDefaults},
	{Bounds, "takes each parameter at its bounds and every choice, and refuses what lies beyond", checkBounds},
	{Unknown, "refuses unknown and repeated parameters by name, all in one answer", checkUnknown},
	{Weeks, "plans every length within its bounds and refuses 0 to 53 weeks beyond them", checkWeeks},
	{Sessions, "plans 1 to 7 sessions a week, fewer in some weeks and none in others", checkSessions},
	{BadRequests, "refuses requests that are wrong in themselves", checkBadRequests},
	{Same, "plans equal requests in equal ways", checkSame},
	{Ownership, "shares nothing with its caller", checkOwnership},
	{Concurrent, "plans the same while others ask", checkConcurrent},
	{Rotation, "goes on with its rotation over the weeks of a phase", checkRotation},
	{Explosive, "takes no explosive work to failure", checkExplosive},
	{Canceled, "ends with its caller's context", checkCanceled},
}

// Checks gives the laws in the order in which they are asked.
func Checks() []Check { return append([]Check(nil), checks[:]...) }

// Findings runs every check.
func Findings(ctx context.Context, fresh func() engine.Strategy) []Finding {
	var out []Finding
	for _, c := range checks {
		out = append(out, c.Run(ctx, fresh)...)
	}
	return out
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

// Run asks the law of a strategy made afresh for it; no finding is what it should be.
func (c Check) Run(ctx context.Context, fresh func() engine.Strategy) (out []Finding) {
	p := &probe{ctx: ctx, check: c.Name}
	// A strategy that panics is found out like any other.
	defer func() {
		if r := recover(); r != nil {
			p.found = append(p.found, Finding{c.Name, fmt.Sprintf("panics: %v", r)})
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
