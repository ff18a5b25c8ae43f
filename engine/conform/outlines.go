package conform

import (
	"context"
	"errors"
	"reflect"
	"slices"
	"sync"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// unusual gives sessions a week as life has them.
func unusual(n int32) [][]int32 {
	patterns := [][]int32{{0}, {1, 0}, {3, 3, 2, 0, 3, 1}, {0, 4}, {7, 1, 0, 0, 2}, {4, 4, 4, 2}}
	out := make([][]int32, len(patterns))
	for i, pattern := range patterns {
		out[i] = make([]int32, n)
		for w := range out[i] {
			out[i][w] = pattern[w%len(pattern)]
		}
	}
	return out
}

func checkWeeks(p *probe) {
	in := p.parse()
	if in == nil {
		return
	}
	for n := int32(0); n <= 53 && !p.full(); n++ {
		for s := plan.Novice; s <= plan.Advanced; s++ {
			r := request(n, 3, s, true, true)
			if n >= p.d.MinWeeks && n <= p.d.MaxWeeks {
				p.outline(in, r)
			} else {
				p.refusedRequest(in, r, "weeks")
			}
		}
	}
}

func (p *probe) refusedRequest(in engine.Instance, r plan.OutlineRequest, field string) {
	_, err := in.Outline(p.ctx, r)
	if err == nil {
		p.errorf("%s: planned; a fault with the field %q is right", requestText(r), field)
		return
	}
	f, ok := fault.As(err)
	if !ok || f.Kind != fault.Invalid || !slices.ContainsFunc(f.Violations, func(v fault.Violation) bool { return v.Field == field }) {
		p.errorf("%s: refused, but not as invalid with the field %q: %v", requestText(r), field, err)
	}
}

func checkSessions(p *probe) {
	in := p.parse()
	if in == nil {
		return
	}
	for _, n := range [...]int32{1, 8, 13} {
		for sessions := int32(1); sessions <= 7; sessions++ {
			for _, r := range athletes(p.weeks(n), sessions) {
				p.outline(in, r)
			}
		}
		for _, list := range unusual(p.weeks(n)) {
			for _, r := range athletes(p.weeks(n), 0) {
				r.Sessions = list
				p.outline(in, r)
			}
		}
		if p.full() {
			return
		}
	}
}

func checkBadRequests(p *probe) {
	in := p.parse()
	if in == nil {
		return
	}
	n := p.weeks(8)
	r := request(n, 3, plan.Intermediate, true, false)
	r.Sessions = r.Sessions[:n-1]
	p.refusedRequest(in, r, "sessions")
	r = request(n, 3, plan.Intermediate, true, false)
	r.Sessions[0] = 8
	p.refusedRequest(in, r, "sessions[0]")
	r.Sessions[0] = -1
	p.refusedRequest(in, r, "sessions[0]")
	p.refusedRequest(in, request(n, 3, plan.StatusUnspecified, true, false), "status")
}

func checkSame(p *probe) {
	in, other := p.parse(), p.parse()
	if in == nil || other == nil {
		return
	}
	for _, r := range athletes(p.weeks(12), 3) {
		a, okA := p.outline(in, r)
		b, okB := p.outline(in, r)
		c, okC := p.outline(other, r)
		if okA && okB && okC && !(reflect.DeepEqual(a, b) && reflect.DeepEqual(a, c)) {
			p.errorf("%s: planned in two ways", requestText(r))
		}
	}
}

func checkOwnership(p *probe) {
	for _, s := range p.d.Params {
		d := p.s.Describe()
		for i := range d.Params {
			for j := range d.Params[i].Choices {
				d.Params[i].Choices[j] = "spoiled"
			}
			d.Params[i] = plan.ParamSpec{}
		}
		if again := p.s.Describe(); !slices.ContainsFunc(again.Params, func(t plan.ParamSpec) bool {
			return t.Name == s.Name && slices.Equal(t.Choices, s.Choices)
		}) {
			p.errorf("what Describe gave out is its own: parameter %s can be spoiled from outside", s.Name)
		}
	}
	in := p.parse()
	if in == nil {
		return
	}
	r := request(p.weeks(8), 3, plan.Intermediate, true, true)
	kept := slices.Clone(r.Sessions)
	o, ok := p.outline(in, r)
	if !ok {
		return
	}
	if !slices.Equal(kept, r.Sessions) {
		p.errorf("changes the request")
	}
	want := canon(o)
	spoil(&o)
	if again, err := in.Outline(p.ctx, r); err == nil && canon(again) != want {
		p.errorf("gives out the same memory twice: spoiling one outline changes the next")
		return
	}
	o, ok = p.outline(in, r)
	if !ok {
		return
	}
	want = canon(o)
	for i := range r.Sessions {
		r.Sessions[i] = 1
	}
	if canon(o) != want {
		p.errorf("keeps hold of the request")
	}
	sets := map[*plan.Scheme]bool{}
	eachScheme(&o, func(_ plan.Role, s *plan.Scheme) {
		if sets[s] {
			p.errorf("uses the same memory for two schemes of an outline")
		}
		sets[s] = true
	})
}

func spoil(o *plan.Outline) {
	eachScheme(o, func(_ plan.Role, s *plan.Scheme) { *s = plan.Scheme{} })
	for i := range o.Phases {
		for j := range o.Phases[i].Weeks {
			w := &o.Phases[i].Weeks[j]
			for k := range w.Sessions {
				w.Sessions[k] = plan.OutlineSession{}
			}
			*w = plan.OutlineWeek{}
		}
		o.Phases[i] = plan.OutlinePhase{}
	}
}

func eachScheme(o *plan.Outline, f func(plan.Role, *plan.Scheme)) {
	for i := range o.Phases {
		for j := range o.Phases[i].Weeks {
			for k := range o.Phases[i].Weeks[j].Sessions {
				s := &o.Phases[i].Weeks[j].Sessions[k]
				for l := range s.Targets {
					for m := range s.Targets[l].Schemes {
						f(s.Targets[l].Role, &s.Targets[l].Schemes[m])
					}
				}
			}
		}
	}
}

func checkConcurrent(p *probe) {
	in := p.parse()
	if in == nil {
		return
	}
	var requests []plan.OutlineRequest
	for _, n := range [...]int32{5, 9} {
		requests = append(requests, athletes(p.weeks(n), 3)...)
	}
	want := make([]plan.Outline, len(requests))
	for i, r := range requests {
		o, err := in.Outline(p.ctx, r)
		if err != nil {
			p.errorf("%s: refused: %v", requestText(r), err)
			return
		}
		want[i] = o
	}
	const workers = 8
	got := make([]plan.Outline, workers*len(requests))
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for i := range requests {
				// Workers start at different requests, so that these meet.
				j := (i + w*len(requests)/workers) % len(requests)
				o, err := in.Outline(p.ctx, requests[j])
				if err == nil {
					got[w*len(requests)+j] = o
				}
				p.s.Describe()
			}
		})
	}
	wg.Wait()
	for i := range got {
		if !reflect.DeepEqual(got[i], want[i%len(requests)]) {
			p.errorf("%s: planned in another way while others asked", requestText(requests[i%len(requests)]))
		}
	}
}

// checkRotation wants groups to take turns: within a phase the group of every session
// is the one that stood a whole turn before, week borders or not.
func checkRotation(p *probe) {
	for _, params := range p.rotating() {
		in := p.parse(params...)
		if in == nil {
			continue
		}
		for _, sessions := range append(unusual(p.weeks(12)), request(p.weeks(12), 3, plan.Novice, false, false).Sessions) {
			r := request(p.weeks(12), 0, plan.Intermediate, true, true)
			r.Sessions = sessions
			o, ok := p.outline(in, r)
			if !ok {
				continue
			}
			for i := range o.Phases {
				if at := outOfTurn(&o.Phases[i]); at >= 0 {
					p.errorf("%s with %s: phase %q breaks its rotation at session %d", requestText(r), paramsText(params), o.Phases[i].Name, at+1)
				}
			}
		}
	}
}

// rotating gives the defaults, and every value of parameters that may bring groups in.
func (p *probe) rotating() [][]plan.Param {
	out := [][]plan.Param{nil}
	for _, s := range p.d.Params {
		good, _ := ends(s)
		for _, v := range good {
			params := []plan.Param{{Name: s.Name, Value: v}}
			in, err := p.s.Parse(params)
			if err != nil {
				continue
			}
			o, err := in.Outline(p.ctx, request(p.weeks(8), 3, plan.Intermediate, true, true))
			if err == nil && hasGroups(&o) {
				out = append(out, params)
			}
		}
	}
	return out
}

func hasGroups(o *plan.Outline) bool {
	for i := range o.Phases {
		if len(groups(&o.Phases[i])) > 0 {
			return true
		}
	}
	return false
}

func groups(ph *plan.OutlinePhase) []string {
	var out []string
	for i := range ph.Weeks {
		for j := range ph.Weeks[i].Sessions {
			if s := &ph.Weeks[i].Sessions[j]; s.Kind == plan.SessionTraining && s.Group != "" {
				out = append(out, s.Group)
			}
		}
	}
	return out
}

func outOfTurn(ph *plan.OutlinePhase) int {
	all := groups(ph)
	turn := 0
	for i := 1; i < len(all); i++ {
		if all[i] == all[0] {
			turn = i
			break
		}
	}
	for i := turn; turn > 0 && i < len(all); i++ {
		if all[i] != all[i-turn] {
			return i
		}
	}
	return -1
}

func checkExplosive(p *probe) {
	for _, s := range append(p.d.Params, plan.ParamSpec{}) {
		good, _ := ends(s)
		for _, v := range good {
			in, err := p.s.Parse([]plan.Param{{Name: s.Name, Value: v}})
			if err != nil {
				continue // a clash
			}
			p.explosive(in)
		}
	}
	if in := p.parse(); in != nil {
		p.explosive(in)
	}
}

func (p *probe) explosive(in engine.Instance) {
	for _, r := range athletes(p.weeks(8), 2) {
		o, err := in.Outline(p.ctx, r)
		if err != nil {
			continue // other checks say so
		}
		eachScheme(&o, func(role plan.Role, s *plan.Scheme) {
			if w := s.Effort.Wanted(); role == plan.Explosive && (w.Set && w.Value == 0 || s.OpenEnded) {
				p.errorf("%s: takes explosive work to failure", requestText(r))
			}
		})
	}
}

func checkCanceled(p *probe) {
	in := p.parse()
	if in == nil {
		return
	}
	ctx, cancel := context.WithCancel(p.ctx)
	cancel()
	_, err := in.Outline(ctx, request(p.weeks(8), 3, plan.Intermediate, true, true))
	if err == nil {
		p.errorf("plans although the context has ended")
		return
	}
	f, ok := fault.As(err)
	if !errors.Is(err, context.Canceled) || !ok || f.Kind != fault.Canceled {
		p.errorf("answers an ended context with %v; a fault of kind canceled around the context's error is right", err)
	}
}
