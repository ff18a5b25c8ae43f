package engine

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// shorten cuts what a plan has too much of for its weeks, in each track: a week at a
// time off the longest segment, the earliest of equals first, none below what its
// strategy needs and the last one last, as it is nearest to what the plan is for; then
// the lead-in, down to one week. The settled request shows what is left, an assumption
// what was cut.
func (e *Engine) shorten(b *Brief) error {
	p := &b.Request.Plan
	if !p.Shorten {
		return nil
	}
	before := make([][]int32, len(p.Tracks))
	lead := int32(0)
	if p.LeadIn.Set {
		lead = p.LeadIn.Value.Weeks
	}
	led := lead
	for t := range p.Tracks {
		least, err := e.leastWeeks(p.Tracks[t].Segments, t)
		if err != nil {
			return err
		}
		for i := range p.Tracks[t].Segments {
			w := &p.Tracks[t].Segments[i].Weeks.Value
			before[t] = append(before[t], *w)
			*w = max(*w, least[i])
		}
		for over := total(p.Tracks[t].Segments) + lead - b.Weeks; over > 0; over-- {
			switch i := longest(p.Tracks[t].Segments, least); {
			case i >= 0:
				p.Tracks[t].Segments[i].Weeks.Value--
			case lead > 1:
				lead--
			default:
				return fault.New(fault.Infeasible, "TOO_SHORT", fmt.Sprintf("plan.tracks[%d].segments", t),
					fmt.Sprintf("need %d weeks even when cut as far as their strategies allow; the program has %d", total(p.Tracks[t].Segments)+lead, b.Weeks))
			}
		}
	}
	if lead < led {
		p.LeadIn.Value.Weeks = lead
		b.Assumptions = append(b.Assumptions, plan.Assumption{Field: "plan.lead_in.weeks",
			Says: fmt.Sprintf("Cut to %s, to fit the %d weeks there are.", counted(int(lead), "week"), b.Weeks)})
	}
	for t := range p.Tracks {
		seg := p.Tracks[t].Segments
		seg[len(seg)-1].Weeks.Value += b.Weeks - lead - total(seg) // what another track's lead-in freed
		for i := range seg {
			if was, is := before[t][i], seg[i].Weeks.Value; is != was {
				b.Assumptions = append(b.Assumptions, plan.Assumption{Field: fmt.Sprintf("plan.tracks[%d].segments[%d].weeks", t, i),
					Says: fmt.Sprintf("Made %s of %d, to fit the %d weeks there are.", counted(int(is), "week"), was, b.Weeks)})
			}
		}
	}
	return nil
}

func (e *Engine) leastWeeks(segments []plan.Segment, track int) ([]int32, error) {
	out := make([]int32, len(segments))
	for i := range segments {
		s, err := e.lookup(segments[i].Strategy)
		if err != nil {
			return nil, unknownStrategy(err, fmt.Sprintf("plan.tracks[%d].segments[%d]", track, i))
		}
		d := s.Describe()
		out[i] = max(1, d.MinWeeks)
	}
	return out, nil
}

func total(segments []plan.Segment) int32 {
	n := int32(0)
	for i := range segments {
		n += segments[i].Weeks.Value
	}
	return n
}

// longest finds the segment that can lose a week, -1 where none can.
func longest(segments []plan.Segment, least []int32) int {
	best, last := -1, len(segments)-1
	for i := range segments[:last] {
		if w := segments[i].Weeks.Value; w > least[i] && (best < 0 || w > segments[best].Weeks.Value) {
			best = i
		}
	}
	if best < 0 && segments[last].Weeks.Value > least[last] {
		return last
	}
	return best
}
