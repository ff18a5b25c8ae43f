package engine

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// lookup finds a strategy: a registered one, or an external one whose answers the program
// that is made again brings along. What such a one planned then is taken from there, so
// that equal requests give equal programs whether its process is there or not.
func (e *Engine) lookup(id string) (Strategy, error) {
	s, err := e.registry.Lookup(id)
	if err == nil {
		if d := s.Describe(); !d.External {
			return s, nil
		} else if id != d.ID() {
			return s, nil // its newest version is asked for, whatever was
		}
	}
	for i := range e.brought {
		if x := &e.brought[i]; x.Descriptor.ID() == id {
			return recorded{of: x, live: s, absent: err}, nil
		}
	}
	return s, err
}

// bring gives an engine that knows what external strategies answered for a program. The
// fault is Invalid with paths of that program.
func (e *Engine) bring(list []plan.External) (*Engine, error) {
	if len(list) == 0 {
		return e, nil
	}
	bad := fault.NewCollector(fault.Invalid)
	for i := range list {
		path := fmt.Sprintf("program.external_strategies[%d]", i)
		note := func(err error) {
			if f, ok := fault.As(fault.Within(path, err)); ok {
				for _, v := range f.Violations {
					bad.Add(v.Reason, v.Field, v.Says)
				}
			}
		}
		note(CheckDescriptor(&list[i].Descriptor))
		for j := range list[i].Outlines {
			o := &list[i].Outlines[j]
			note(fault.Within(fmt.Sprintf("outlines[%d]", j), CheckOutline(&o.Outline, o.Asked)))
		}
		if bad.Len() >= outlineMaxFaults {
			break
		}
	}
	if err := bad.Err(); err != nil {
		return nil, err
	}
	c := *e
	c.brought = list
	return &c, nil
}

// recorded is an external strategy with what it answered before.
type recorded struct {
	of     *plan.External
	live   Strategy // nil: it is not there
	absent error    // why
}

func (r recorded) Describe() plan.Descriptor {
	d := cloneDescriptor(r.of.Descriptor)
	d.External = true
	return d
}

func (r recorded) Parse(params []plan.Param) (Instance, error) {
	if _, err := ParseParams(r.of.Descriptor.Params, params); err != nil {
		return nil, err
	}
	return recordedInstance{r, byName(params)}, nil
}

type recordedInstance struct {
	recorded
	params []plan.Param
}

func (r recordedInstance) Outline(ctx context.Context, q plan.OutlineRequest) (plan.Outline, error) {
	for i := range r.of.Outlines {
		o := &r.of.Outlines[i]
		if sameParams(o.Params, r.params) && sameRequest(&o.Asked, &q) {
			return cloneOutline(&o.Outline), nil
		}
	}
	if r.live == nil {
		says := "is asked for weeks that it has not planned for this program"
		if f, ok := fault.As(r.absent); ok && len(f.Violations) > 0 {
			says += ", and " + f.Violations[0].Says
		}
		return plan.Outline{}, fault.New(fault.Unavailable, ReasonStrategyAbsent, "strategy", r.of.Descriptor.ID()+" "+says)
	}
	in, err := r.live.Parse(r.params)
	if err != nil {
		return plan.Outline{}, err
	}
	return in.Outline(ctx, q)
}

// record keeps what an external strategy answered, for the program. The outline is
// changed by what comes after it, so a copy is kept.
func (b *Brief) record(d plan.Descriptor, params []plan.Param, q plan.OutlineRequest, o *plan.Outline) {
	id := d.ID()
	at, have := slices.BinarySearchFunc(b.external, id, func(x plan.External, id string) int { return cmp.Compare(x.Descriptor.ID(), id) })
	if !have {
		b.external = slices.Insert(b.external, at, plan.External{Descriptor: cloneDescriptor(d)})
	}
	x := &b.external[at]
	params = byName(params)
	for i := range x.Outlines {
		if sameParams(x.Outlines[i].Params, params) && sameRequest(&x.Outlines[i].Asked, &q) {
			return
		}
	}
	q.Sessions = slices.Clone(q.Sessions)
	x.Outlines = append(x.Outlines, plan.ExternalOutline{Params: params, Asked: q, Outline: cloneOutline(o)})
}

func byName(params []plan.Param) []plan.Param {
	out := slices.Clone(params)
	slices.SortFunc(out, func(a, b plan.Param) int { return cmp.Compare(a.Name, b.Name) })
	return out
}

func sameParams(a, b []plan.Param) bool {
	return slices.EqualFunc(a, b, func(a, b plan.Param) bool {
		v, w := a.Value, b.Value
		return a.Name == b.Name && v.Kind == w.Kind && v.Milli == w.Milli && v.Lo == w.Lo && v.Hi == w.Hi &&
			v.Text == w.Text && v.Bool == w.Bool && slices.Equal(v.List, w.List)
	})
}

func sameRequest(a, b *plan.OutlineRequest) bool {
	return a.Weeks == b.Weeks && slices.Equal(a.Sessions, b.Sessions) && a.Status == b.Status &&
		a.Strength == b.Strength && a.Size == b.Size && a.Seed == b.Seed
}

func cloneOutline(o *plan.Outline) plan.Outline {
	c := plan.Outline{Strategy: o.Strategy, Phases: slices.Clone(o.Phases)}
	for i := range c.Phases {
		weeks := slices.Clone(c.Phases[i].Weeks)
		c.Phases[i].Weeks = weeks
		for j := range weeks {
			sessions := slices.Clone(weeks[j].Sessions)
			weeks[j].Sessions, weeks[j].Tracks = sessions, slices.Clone(weeks[j].Tracks)
			for k := range sessions {
				targets := slices.Clone(sessions[k].Targets)
				sessions[k].Targets = targets
				for l := range targets {
					targets[l].Schemes = slices.Clone(targets[l].Schemes)
					for m := range targets[l].Schemes {
						targets[l].Schemes[m].Adjust = slices.Clone(targets[l].Schemes[m].Adjust)
					}
				}
			}
		}
	}
	return c
}
