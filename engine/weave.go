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
	y := loom{days: make([][]Slot, len(slots)), sessions: make([]int32, len(slots))}
	spare := make([][]Slot, len(slots))
	for w := range slots {
		n := len(slots[w])
		if p.SessionsPerWeek.Set {
			n = min(n, int(p.SessionsPerWeek.Value))
		}
		slots[w], spare[w] = slots[w][:n:n], slots[w][n:]
		y.days[w], y.sessions[w] = slots[w], int32(n)
	}
	y.recover(p)
	out, err := e.woven(ctx, b, &y)
	if err != nil {
		return plan.Outline{}, nil, err
	}
	weeks := weeksOf(&out)
	tests := retests(b, &out, slots, spare)
	taken := false
	for i := range tests {
		w := tests[i].week
		slots[w], _ = apart(slots[w], len(weeks[w].Sessions)) // where they are, they stay
		if n := len(slots[w]); tests[i].replaces {
			slots[w], taken = slots[w][:n-1], true
		}
		y.sessions[w] = int32(len(slots[w]))
	}
	if taken { // the strategies plan again, with a session fewer in those weeks
		if out, err = e.woven(ctx, b, &y); err != nil {
			return plan.Outline{}, nil, err
		}
		weeks = weeksOf(&out)
		for i := range tests {
			if tests[i].replaces {
				withoutASession(weeks[tests[i].week], len(slots[tests[i].week]))
			}
		}
	}
	return out, append(tests, attempts(b)...), nil
}

// withoutASession asks that much less of a week of n sessions whose test takes the place
// of one.
func withoutASession(w *plan.OutlineWeek, n int) {
	less := func(d plan.Permille) plan.Permille { return d * plan.Permille(n) / plan.Permille(n+1) }
	w.Dose = less(w.Dose)
	for i := range w.Tracks {
		w.Tracks[i].Dose = less(w.Tracks[i].Dose)
	}
}

// loom is what the calendar leaves for training.
type loom struct {
	days     [][]Slot // of each week
	sessions []int32  // of each week, as the strategies are told
	lead     int32
	rests    []bool // recovery weeks, after the lead-in
}

// recover takes the sessions that recovery weeks give up, which the strategies have to
// know: what rotates goes on after them where it stood.
func (y *loom) recover(p *plan.Plan) {
	if p.LeadIn.Set {
		y.lead = p.LeadIn.Value.Weeks
	}
	y.rests = recoveryWeeks(p, y.sessions, y.lead)
	for i := range y.rests {
		w := int(y.lead) + i
		if !y.rests[i] {
			continue
		}
		n := p.Recovery.Value.Sessions
		if n == 0 {
			n = y.sessions[w] - 1
		}
		y.sessions[w] = min(y.sessions[w], max(1, n))
	}
}

// woven gives the outline of all weeks, tests left out.
func (e *Engine) woven(ctx context.Context, b *Brief, y *loom) (plan.Outline, error) {
	p := &b.Request.Plan
	lanes := make([]lane, 0, len(p.Tracks))
	for i := range p.Tracks {
		l, err := e.lane(ctx, b, i, y.sessions[y.lead:])
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
		taper(weeks, y.days[y.lead:], b.Request.Constraints.Target.Value, p.Taper.Value)
	}
	for i, w := range weeks {
		if y.rests[i] && w.Kind == plan.WeekTraining {
			lighten(w, plan.WeekRecovery, p.Recovery.Value.Keep, recoveryRIR)
		}
	}
	if p.Deload.Set {
		deload(weeks, p.Deload.Value)
	}
	if p.LeadIn.Set {
		out.Phases = append([]plan.OutlinePhase{leadIn(p.LeadIn.Value, y.sessions[:y.lead], groupsOf(&out))}, out.Phases...)
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

// lighten makes a week of another kind with a share of its dose, for every track that
// trains in it; one that has a lighter week of its own keeps that.
func lighten(w *plan.OutlineWeek, kind plan.WeekKind, keep plan.Permille, reserve int32) {
	general, _ := w.Of("")
	for i := range w.Tracks {
		if t := &w.Tracks[i]; t.Kind == plan.WeekTraining {
			t.Kind, t.Dose = kind, t.Dose*keep/1000
			ease(w, t.Track, keep, reserve)
		}
	}
	if general == plan.WeekTraining {
		w.Dose = w.Dose * keep / 1000
		ease(w, "", keep, reserve)
	}
	w.Kind = kind
}
