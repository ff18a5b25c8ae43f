package remote

import (
	"context"
	"fmt"
	"regexp"
	"slices"

	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/wire"
)

// Strategy is a plug-in's strategy in the version that it was when connected.
type Strategy struct {
	plugin *Plugin
	d      plan.Descriptor
}

var _ engine.Strategy = (*Strategy)(nil)

// Describe gives what the plug-in said when connected.
func (s *Strategy) Describe() plan.Descriptor {
	d := s.d
	d.Params = slices.Clone(d.Params)
	for i := range d.Params {
		d.Params[i].Choices = slices.Clone(d.Params[i].Choices)
		d.Params[i].Default.List = slices.Clone(d.Params[i].Default.List)
	}
	return d
}

// Parse checks parameters against the description; the plug-in is not asked. Those that
// can't stand beside each other it refuses with the outline.
func (s *Strategy) Parse(params []plan.Param) (engine.Instance, error) {
	if _, err := engine.ParseParams(s.d.Params, params); err != nil {
		return nil, err
	}
	own := slices.Clone(params)
	for i := range own {
		own[i].Value.List = slices.Clone(own[i].Value.List)
	}
	return &instance{s, own}, nil
}

type instance struct {
	of     *Strategy
	params []plan.Param
}

// Outline asks the plug-in.
func (in *instance) Outline(ctx context.Context, r plan.OutlineRequest) (plan.Outline, error) {
	s, p := in.of, in.of.plugin
	if err := ctx.Err(); err != nil {
		return plan.Outline{}, fault.Wrap(fault.Canceled, ReasonCanceled, err)
	}
	if err := engine.CheckOutlineRequest(r, s.d.MinWeeks, s.d.MaxWeeks); err != nil {
		return plan.Outline{}, err
	}
	answer, err := call(ctx, p, p.client.Outline, wire.OutlineRequestToProto(s.d.ID(), in.params, &r))
	if err != nil {
		return plan.Outline{}, err
	}
	return s.read(answer, r)
}

// read makes of an answer an outline that can be relied on, or a fault.
func (s *Strategy) read(answer *sp.OutlineResponse, r plan.OutlineRequest) (plan.Outline, error) {
	p := s.plugin
	switch {
	case len(answer.GetRefusals()) > 0 && answer.GetOutline() != nil:
		return plan.Outline{}, p.broken(ReasonRefusal, "refusals", "stand beside an outline; one of the two is right")
	case len(answer.GetRefusals()) > 0:
		return plan.Outline{}, s.refused(answer.GetRefusals())
	case answer.GetOutline() == nil:
		return plan.Outline{}, p.broken(ReasonOutline, "outline", "is missing, and nothing is refused")
	}
	o, err := wire.OutlineFromProto(answer.GetOutline())
	if err != nil {
		return plan.Outline{}, p.brokenBy(fault.Within("outline", err))
	}
	if o.Strategy != s.d.ID() {
		return plan.Outline{}, p.broken(ReasonOutline, "outline.strategy", fmt.Sprintf("is %q; %s was asked", printable(o.Strategy), s.d.ID()))
	}
	if err := engine.CheckOutline(&o, r); err != nil {
		return plan.Outline{}, p.brokenBy(err)
	}
	return o, nil
}

var (
	refusable = regexp.MustCompile(`^(weeks|status|strategy|sessions(\[[0-9]{1,2}\])?|parameters\.[a-z][a-z0-9_]*)$`)
	stable    = regexp.MustCompile(`^[A-Z][A-Z0-9_]{0,63}$`)
)

const maxRefusal = 600

// refused is the plug-in's own fault, if it is one that a strategy may have.
func (s *Strategy) refused(list []*sp.Refusal) error {
	p := s.plugin
	refusals, err := wire.RefusalsFromProto(list)
	if err != nil {
		return p.brokenBy(err)
	}
	out := fault.NewCollector(fault.Invalid)
	for i, v := range refusals {
		at := fmt.Sprintf("refusals[%d]", i)
		declared := slices.ContainsFunc(s.d.Params, func(q plan.ParamSpec) bool { return engine.ParameterField(q.Name) == v.Field })
		switch {
		case v.Field == "strategy":
			return fault.New(fault.Unavailable, ReasonChanged, "strategy", fmt.Sprintf("%s is not %s any more: %s", p.who(), s.d.ID(), printable(v.Says)))
		case !refusable.MatchString(v.Field), v.Field[0] == 'p' && !declared:
			return p.broken(ReasonRefusal, at+".field", fmt.Sprintf("is %q; weeks, sessions, sessions[<index>], status, strategy or parameters.<name> is right", printable(v.Field)))
		case !stable.MatchString(v.Reason):
			return p.broken(ReasonRefusal, at+".reason", fmt.Sprintf("is %q; UPPER_SNAKE_CASE of at most 64 letters is right", printable(v.Reason)))
		case v.Says == "" || len(v.Says) > maxRefusal:
			return p.broken(ReasonRefusal, at+".description", fmt.Sprintf("has %d bytes; 1 to %d are possible", len(v.Says), maxRefusal))
		}
		out.Add(v.Reason, v.Field, printable(v.Says))
	}
	return out.Err()
}
