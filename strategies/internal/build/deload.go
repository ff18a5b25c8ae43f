package build

import "github.com/phasewright/phasewright/engine/plan"

// Deload weeks keep half the sets: 40-60 % less volume is what coaches do (Bell 2023
// for the levers; the share is common practice, no source).
const (
	deloadDose   = 500
	deloadEasier = 2
	deloadRIR    = 4 // a set further from failure stops counting for size
)

// DeloadEvery is how often a deload comes when nobody says so: recreational lifters
// take one every 5.6 weeks (Rogerson 2024); by status it is common practice.
func DeloadEvery(s plan.Status, weeks int32) int32 {
	switch {
	case s == plan.Advanced:
		return 5
	case s == plan.Intermediate:
		return 6
	case weeks > 8:
		return 8
	}
	return 0
}

// DeloadWeeks marks the weeks (from 0) that become deloads when every so many weeks
// one is due and the phases have the given lengths. A phase never opens with one: it
// then closes the phase before, unless that has only one week.
func DeloadWeeks(every int32, phases ...int32) []bool {
	total := int32(0)
	for _, n := range phases {
		total += n
	}
	out := make([]bool, total)
	if every <= 0 {
		return out
	}
	start := int32(0)
	for _, n := range phases {
		for w := start; w < start+n; w++ {
			if (w+1)%every == 0 && w > start {
				out[w] = true
			}
		}
		// Due in the first week of the phase that follows.
		if end := start + n; (end+1)%every == 0 && end < total && n > 1 {
			out[end-1] = true
		}
		start += n
	}
	return out
}

// What open-ended sets become where no other set is left, and by how much a load that
// is a given share gets lighter (common practice, no source).
const (
	deloadReps  = 5
	deloadShare = 900
	leastShare  = 200 // an outline's lowest
)

// Lighten turns a training week into a deload: half the sets, fixed ones included, two
// repetitions more in reserve, given shares a tenth lighter and no set of as many
// repetitions as possible. Repetitions, rest and order stay.
func Lighten(w *plan.OutlineWeek) {
	w.Kind, w.Dose = plan.WeekDeload, deloadDose
	for i := range w.Sessions {
		for j := range w.Sessions[i].Targets {
			t := &w.Sessions[i].Targets[j]
			halve(t)
			for k := range t.Schemes {
				s := &t.Schemes[k]
				if in := s.Effort.Intensity; in.Set {
					s.Effort.Intensity = plan.Some(max(in.Value*deloadShare/1000, leastShare))
				}
				wanted := s.Effort.Wanted()
				if !wanted.Set {
					continue
				}
				e := Effort{RIR: wanted.Value, Failure: s.Effort.ToFailure}.Easier(deloadEasier, deloadRIR)
				s.Effort.RIR, s.Effort.ToFailure = plan.Some(e.RIR), e.Failure
			}
		}
	}
}

// closed leaves sets of as many as possible out, or makes a few easy repetitions of
// them where there are no others.
func closed(schemes []plan.Scheme) []plan.Scheme {
	var out []plan.Scheme
	for _, s := range schemes {
		if !s.OpenEnded {
			out = append(out, s)
		}
	}
	if len(out) > 0 {
		return out
	}
	s := schemes[0]
	s.OpenEnded, s.Adjust, s.Progress = false, nil, plan.Progression{}
	s.Reps = plan.Range{Min: deloadReps, Max: deloadReps}
	s.Effort = plan.Effort{RIR: plan.Some(int32(deloadRIR))}
	return []plan.Scheme{s}
}

// halve keeps half the sets, open ones first to go; where items of a list are too few to be halved, its last
// ones go, which are the heaviest or the back-off sets.
func halve(t *plan.Target) {
	total, left := int32(0), int32(0)
	for k := range t.Schemes {
		total += t.Schemes[k].Sets.Max
	}
	t.Schemes = closed(t.Schemes)
	for k := range t.Schemes {
		s := &t.Schemes[k]
		s.Sets.Min, s.Sets.Max = (s.Sets.Min+1)/2, (s.Sets.Max+1)/2
		left += s.Sets.Max
	}
	for n := len(t.Schemes); n > 1 && left > (total+1)/2; n = len(t.Schemes) {
		left -= t.Schemes[n-1].Sets.Max
		t.Schemes = t.Schemes[:n-1]
	}
}
