package engine

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func (e *Engine) segment(ctx context.Context, b *Brief, seg *plan.Segment, path string, sessions []int32) (plan.Outline, error) {
	s, err := e.lookup(seg.Strategy)
	if err != nil {
		return plan.Outline{}, unknownStrategy(err, path)
	}
	d := s.Describe()
	seg.Strategy = d.ID() // the version that ran stands in the settled request
	params := seg.Params
	if b.Request.Plan.Deload.Set {
		params = withoutOwnDeload(&d, params)
	}
	inst, err := s.Parse(params)
	if err != nil {
		return plan.Outline{}, within(err, path)
	}
	req := plan.OutlineRequest{Weeks: int32(len(sessions)), Sessions: sessions, Status: b.Request.Athlete.Status, Seed: b.Request.Seed}
	for _, g := range b.Request.Goals {
		req.Strength = req.Strength || g.Kind == plan.GoalRaise1RM || g.Kind == plan.GoalPeak || g.Kind == plan.GoalGeneral
		req.Size = req.Size || g.Kind == plan.GoalGrow || g.Kind == plan.GoalGeneral
	}
	out, err := inst.Outline(ctx, req)
	if err != nil {
		return plan.Outline{}, within(err, path)
	}
	if err := CheckOutline(&out, req); err != nil {
		return plan.Outline{}, within(err, path)
	}
	if d.External {
		b.record(d, params, req, &out)
	}
	return out, nil
}

// settle fills in defaults and refuses what is wrong, strategies and their parameters
// included, all in one answer. last is as in settleBy.
func (e *Engine) settle(r plan.Request, last plan.Opt[plan.Date]) (*Brief, error) {
	b, err := settleBy(r, e.catalogue, last)
	bad := fault.NewCollector(fault.Invalid)
	if !gather(bad, err) {
		return nil, err
	}
	for t := range r.Plan.Tracks {
		for i := range r.Plan.Tracks[t].Segments {
			seg := &r.Plan.Tracks[t].Segments[i]
			if seg.Strategy == "" {
				continue // said
			}
			path := fmt.Sprintf("plan.tracks[%d].segments[%d]", t, i)
			s, err := e.lookup(seg.Strategy)
			if err != nil {
				err = unknownStrategy(err, path)
			} else if _, err = s.Parse(seg.Params); err != nil {
				err = within(err, path)
			}
			if !gather(bad, err) {
				return nil, err
			}
		}
	}
	if err := bad.Err(); err != nil {
		return nil, err
	}
	return b, nil
}

// gather adds the violations of an invalid request; false for any other error.
func gather(c *fault.Collector, err error) bool {
	if err == nil {
		return true
	}
	f, ok := fault.As(err)
	if !ok || f.Kind != fault.Invalid {
		return false
	}
	for _, v := range f.Violations {
		c.Add(v.Reason, v.Field, v.Says)
	}
	return true
}

// unknownStrategy: a request that names what isn't there is wrong in itself, unless that
// may come back.
func unknownStrategy(err error, path string) error {
	f, ok := fault.As(err)
	if !ok || f.Kind == fault.Unavailable {
		return within(err, path)
	}
	return within(&fault.Error{Kind: fault.Invalid, Violations: f.Violations}, path)
}

// within puts the paths of a strategy's faults under the segment's.
func within(err error, path string) error { return fault.Within(path, err) }

// withoutOwnDeload switches a strategy's own deload weeks off where the plan has some.
func withoutOwnDeload(d *plan.Descriptor, params []plan.Param) []plan.Param {
	const name = "deload_every"
	for _, p := range params {
		if p.Name == name {
			return params
		}
	}
	for _, s := range d.Params {
		if s.Name == name {
			out := append([]plan.Param(nil), params...)
			return append(out, plan.Param{Name: name, Value: plan.Value{Kind: plan.ValueNumber}})
		}
	}
	return params
}

func weeksOf(o *plan.Outline) []*plan.OutlineWeek {
	var out []*plan.OutlineWeek
	for i := range o.Phases {
		for j := range o.Phases[i].Weeks {
			out = append(out, &o.Phases[i].Weeks[j])
		}
	}
	return out
}

func groupsOf(o *plan.Outline) []string {
	var out []string
	for _, w := range weeksOf(o) {
	sessions:
		for i := range w.Sessions {
			g := w.Sessions[i].Group
			if g == "" {
				continue
			}
			for _, have := range out {
				if have == g {
					continue sessions
				}
			}
			out = append(out, g)
		}
	}
	return out
}

// Effort in deload weeks: two repetitions more in reserve, nothing to failure.
const deloadRIR = 2

func deload(weeks []*plan.OutlineWeek, d plan.Deload) {
	for i, w := range weeks {
		if (i+1)%int(d.EveryWeeks) != 0 || w.Kind != plan.WeekTraining || i == len(weeks)-1 {
			continue
		}
		lighten(w, plan.WeekDeload, d.Keep, deloadRIR)
	}
}

// taper cuts the dose of the weeks with half or more of their sessions in the days before
// the date: rather a few days longer than a heavy session in its last week. A week
// that the strategy has cut already, as one to realize strength, is not cut twice.
func taper(weeks []*plan.OutlineWeek, slots [][]Slot, target plan.Date, t plan.Taper) {
	for i, w := range weeks {
		in, all := 0, 0
		for _, s := range slots[i] {
			if !s.Date.Set {
				continue
			}
			all++
			if int32(target-s.Date.Value) <= t.Days {
				in++
			}
		}
		if in > 0 && 2*in >= all || all == 0 && i == len(weeks)-1 {
			general := true
			cut := func(track string, kind *plan.WeekKind, dose *plan.Permille) {
				share := min(1000, t.Keep*1000/max(1, *dose))
				*kind, *dose = plan.WeekTaper, min(*dose, t.Keep)
				ease(w, track, share, 0)
			}
			for k := range w.Tracks {
				own := &w.Tracks[k]
				cut(own.Track, &own.Kind, &own.Dose)
				general = general && own.Track != ""
			}
			if general {
				cut("", &w.Kind, &w.Dose)
			}
			w.Kind, w.Dose = plan.WeekTaper, min(w.Dose, t.Keep)
		}
	}
}

// ease cuts a track's fixed sets to a share (scaled ones follow the dose) and adds
// reserve. Without more reserve, in a taper, the light sets go first, as the load is to stay.
func ease(w *plan.OutlineWeek, track string, keep plan.Permille, reserve int32) {
	for i := range w.Sessions {
		targets := append([]plan.Target(nil), w.Sessions[i].Targets...)
		for j := range targets {
			if targets[j].Track != track {
				continue
			}
			schemes := fewerSets(targets[j].Schemes, keep, reserve == 0)
			for k := range schemes {
				s := &schemes[k]
				if s.Kind != plan.SetWorking || reserve == 0 {
					continue
				}
				if rir := s.Effort.Wanted(); rir.Set {
					s.Effort.ToFailure = false
					s.Effort.RIR = plan.Some(min(rir.Value+reserve, 6))
				}
				if in := s.Effort.Intensity; in.Set {
					s.Effort.Intensity = plan.Some(in.Value * 9 / 10)
				}
			}
			targets[j].Schemes = schemes
		}
		w.Sessions[i].Targets = targets
	}
}

// fewerSets cuts fixed working sets to a share of all of them, at least one: each scheme
// its share, and the sets left over by that to the schemes with the largest remainder, of
// equal ones to the heavier (or lighter) and then the earlier. A set whose load depends on
// the one before it is the first to go, and never stays without that one.
func fewerSets(all []plan.Scheme, keep plan.Permille, heavier bool) []plan.Scheme {
	var at []int
	total, left := int32(0), int32(0)
	for i := range all {
		if s := &all[i]; s.Kind == plan.SetWorking && s.Sets.Fixed {
			at = append(at, i)
			total += s.Sets.Min
		}
	}
	if total == 0 {
		return append([]plan.Scheme(nil), all...)
	}
	left = max(1, (total*int32(keep)+500)/1000)
	sets := make([]int32, len(all))
	for _, i := range at {
		sets[i] = all[i].Sets.Min * int32(keep) / 1000
		left -= sets[i]
	}
	follows := func(i int) int { // 1 or 0
		if all[i].Effort.Reference.Kind == plan.RefSetBefore {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(at, func(i, j int) int {
		a, b := &all[i], &all[j]
		byLoad := cmp.Compare(b.Effort.Intensity.Value, a.Effort.Intensity.Value)
		if !heavier {
			byLoad = -byLoad
		}
		return cmp.Or(follows(i)-follows(j), cmp.Compare(b.Sets.Min*int32(keep)%1000, a.Sets.Min*int32(keep)%1000), byLoad)
	})
	for k := 0; left > 0; k++ {
		if i := at[k%len(at)]; sets[i] < all[i].Sets.Min {
			sets[i]++
			left--
		}
	}
	var out []plan.Scheme
	for i := range all {
		s := all[i]
		if s.Kind == plan.SetWorking && s.Sets.Fixed {
			if sets[i] == 0 || follows(i) == 1 && i > 0 && sets[i-1] == 0 {
				continue
			}
			s.Sets = plan.FixedSets(sets[i])
		}
		out = append(out, s)
	}
	return out
}

// leadIn is the same for every plan: light sets, far from failure, to get used to the
// lifts before anything is compared or hard.
func leadIn(l plan.LeadIn, sessions []int32, groups []string) plan.OutlinePhase {
	ph := plan.OutlinePhase{Name: "lead-in", Aim: "Get used to the lifts and find the loads; the same whatever follows."}
	scheme := func(lo, hi, rir int32, rest plan.Seconds) []plan.Scheme {
		return []plan.Scheme{{Kind: plan.SetWorking, Sets: plan.FixedSets(l.Sets), Reps: plan.Range{Min: lo, Max: hi},
			Effort: plan.Effort{RIR: plan.Some(rir)}, Rest: rest}}
	}
	lo := l.Reps * 2 / 3
	targets := []plan.Target{
		{Role: plan.GoalLift, Schemes: scheme(lo, l.Reps, 3, 120)},
		{Role: plan.MultiJoint, Schemes: scheme(lo, l.Reps, 3, 120)},
		{Role: plan.SingleJoint, Schemes: scheme(max(lo, 10), max(l.Reps, 12), 3, 90)},
		{Role: plan.Trunk, Schemes: []plan.Scheme{{Kind: plan.SetWorking, Sets: plan.FixedSets(l.Sets),
			Reps: plan.Range{Min: 8, Max: 12}, Hold: plan.Range{Min: 20, Max: 30}, Effort: plan.Effort{RIR: plan.Some(int32(3))}, Rest: 60}}},
		{Role: plan.Explosive, Schemes: scheme(3, 5, 5, 120)},
		{Role: plan.Unloadable, Schemes: scheme(8, 15, 3, 90)},
	}
	n := 0
	for w := range sessions {
		week := plan.OutlineWeek{Kind: plan.WeekLeadIn, Dose: 600}
		for range sessions[w] {
			s := plan.OutlineSession{Kind: plan.SessionTraining, Label: "lead-in", Targets: targets}
			if len(groups) > 0 {
				s.Group = groups[n%len(groups)]
			}
			n++
			week.Sessions = append(week.Sessions, s)
		}
		ph.Weeks = append(ph.Weeks, week)
	}
	return ph
}
