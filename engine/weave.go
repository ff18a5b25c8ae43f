package engine

import (
	"context"
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/plan"
)

// compose asks the plan's strategies for their outlines, puts them one after the other
// and side by side, and wraps them: taper innermost, then recovery and deload weeks, the
// lead-in outermost. Tests and attempts stand between what the strategies planned.
//
// slots are what the calendar offers; what no training session may use (days beyond the
// plan's sessions a week, the days of tests) is taken out of them, so that the sessions
// of the outline lie on what is left.
func (e *Engine) compose(ctx context.Context, b *Brief, slots [][]Slot) (plan.Outline, []test, error) {
	if err := e.shorten(b); err != nil {
		return plan.Outline{}, nil, err
	}
	p := &b.Request.Plan
	spare := make([][]Slot, len(slots))
	for w := range slots {
		n := len(slots[w])
		if p.SessionsPerWeek.Set {
			n = min(n, int(p.SessionsPerWeek.Value))
		}
		slots[w], spare[w] = slots[w][:n:n], slots[w][n:]
	}
	out, err := e.woven(ctx, b, slots)
	if err != nil {
		return plan.Outline{}, nil, err
	}
	tests := retests(b, &out, slots, spare)
	taken := false
	for i := range tests {
		w := tests[i].week
		if n := len(slots[w]); n > 0 && tests[i].slot == slots[w][n-1] {
			slots[w], taken = slots[w][:n-1], true
		}
	}
	if taken { // the strategies plan again, with a session fewer in those weeks
		if out, err = e.woven(ctx, b, slots); err != nil {
			return plan.Outline{}, nil, err
		}
	}
	return out, append(tests, attempts(b)...), nil
}

// woven gives the outline of all weeks, tests left out.
func (e *Engine) woven(ctx context.Context, b *Brief, slots [][]Slot) (plan.Outline, error) {
	p := &b.Request.Plan
	sessions := make([]int32, len(slots))
	for w := range slots {
		sessions[w] = int32(len(slots[w]))
	}
	lead := int32(0)
	if p.LeadIn.Set {
		lead = p.LeadIn.Value.Weeks
	}
	// A recovery week has fewer sessions, which the strategies have to know: what rotates
	// goes on after it where it stood.
	rests := recoveryWeeks(p, sessions, lead)
	for i := range rests {
		w := int(lead) + i
		if !rests[i] {
			continue
		}
		n := p.Recovery.Value.Sessions
		if n == 0 {
			n = sessions[w] - 1
		}
		sessions[w] = min(sessions[w], max(1, n))
	}
	lanes := make([]lane, 0, len(p.Tracks))
	for i := range p.Tracks {
		l, err := e.lane(ctx, b, i, sessions[lead:])
		if err != nil {
			return plan.Outline{}, err
		}
		if l.name == "" {
			lanes = slices.Insert(lanes, 0, l)
		} else {
			lanes = append(lanes, l)
		}
	}
	out, err := merge(lanes)
	if err != nil {
		return plan.Outline{}, err
	}
	weeks := weeksOf(&out)
	if p.Taper.Set {
		taper(weeks, slots[lead:], b.Request.Constraints.Target.Value, p.Taper.Value)
	}
	for i, w := range weeks {
		if rests[i] && w.Kind == plan.WeekTraining {
			lighten(w, plan.WeekRecovery, p.Recovery.Value.Keep, recoveryRIR)
		}
	}
	if p.Deload.Set {
		deload(weeks, p.Deload.Value)
	}
	if p.LeadIn.Set {
		out.Phases = append([]plan.OutlinePhase{leadIn(p.LeadIn.Value, sessions[:lead], groupsOf(&out))}, out.Phases...)
	}
	return out, nil
}

// lane asks for one track's segments, one after the other.
func (e *Engine) lane(ctx context.Context, b *Brief, track int, sessions []int32) (lane, error) {
	tr := &b.Request.Plan.Tracks[track]
	out := lane{name: tr.Name, path: fmt.Sprintf("plan.tracks[%d]", track)}
	at := int32(0)
	for i := range tr.Segments {
		seg := &tr.Segments[i]
		part, err := e.segment(ctx, b, seg, fmt.Sprintf("%s.segments[%d]", out.path, i), sessions[at:at+seg.Weeks.Value])
		if err != nil {
			return lane{}, err
		}
		at += seg.Weeks.Value
		out.outline.Phases = append(out.outline.Phases, part.Phases...)
		if i > 0 {
			out.outline.Strategy += "+"
		}
		out.outline.Strategy += part.Strategy
	}
	return out, nil
}

// recoveryWeeks marks the weeks after the lead-in that are recovery weeks; never the
// last, and none without a session to give up.
func recoveryWeeks(p *plan.Plan, sessions []int32, lead int32) []bool {
	out := make([]bool, len(sessions)-int(lead))
	for i := range out {
		out[i] = p.Recovery.Set && (i+1)%int(p.Recovery.Value.EveryWeeks) == 0 && i != len(out)-1 && sessions[int(lead)+i] > 0
	}
	return out
}

// recoveryRIR is how much more stays in reserve in a recovery week (common practice, no
// source).
const recoveryRIR = 1

// lighten makes a week of another kind with a share of its dose, for every track.
func lighten(w *plan.OutlineWeek, kind plan.WeekKind, keep plan.Permille, reserve int32) {
	w.Kind, w.Dose = kind, w.Dose*keep/1000
	for i := range w.Tracks {
		t := &w.Tracks[i]
		t.Kind, t.Dose = kind, t.Dose*keep/1000
	}
	ease(w, keep, reserve)
}
