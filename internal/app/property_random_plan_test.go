package app_test

import (
	"context"
	"slices"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// What a request wishes: goals, pins, limits, strategies.

func (d *drawer) goals() {
	c := &d.r.Constraints
	muscles := []plan.Muscle{}
	for range max(0, d.n(-1, 4, "goals")) {
		g := plan.Goal{Kind: plan.GoalKind(d.n(1, 6, "goal")), Priority: d.n(0, 3, "priority")}
		switch {
		case g.Kind == plan.GoalPeak && !c.Start.Set:
			continue
		case g.Lift():
			g.ExerciseID = d.doable("goal exercise")
			x, _ := d.cat.ByID(g.ExerciseID)
			if g.Kind != plan.GoalMaintainLift && (!x.Loading.Loadable() || x.Is(exercise.Timed) || x.Pattern.Explosive()) || slices.Contains(d.taken, x.ID) {
				continue
			}
			d.taken = append(d.taken, x.ID)
			if g.Kind == plan.GoalPeak {
				if !c.Target.Set {
					c.Target = plan.Some(c.Start.Value.AddDays(int(7*(d.weeks-1) + d.n(0, 6, "peak day"))))
				}
				g.Date = c.Target
			}
		case g.Kind == plan.GoalGeneral:
			if slices.ContainsFunc(d.r.Goals, func(o plan.Goal) bool { return o.Kind == plan.GoalGeneral }) {
				continue
			}
		default:
			g.Muscle = d.muscle("goal muscle")
			if slices.Contains(muscles, g.Muscle) {
				continue
			}
			muscles = append(muscles, g.Muscle)
		}
		d.r.Goals = append(d.r.Goals, g)
	}
}

func (d *drawer) wishes() {
	c := &d.r.Constraints
	for range max(0, d.n(-5, 3, "pins")) {
		p := plan.Pin{ExerciseID: d.doable("pin")}
		x, _ := d.cat.ByID(p.ExerciseID)
		if slices.ContainsFunc(c.Pinned, func(o plan.Pin) bool { return o.ExerciseID == p.ExerciseID }) || x.Pattern.Explosive() && !d.chance(20, "explosive pin") {
			continue
		}
		if d.chance(25, "pinned days") {
			p.PerWeek = d.n(1, int32(len(c.Days)), "per week")
		} else if d.chance(10, "every session") {
			p.EverySession = true
		}
		c.Pinned = append(c.Pinned, p)
		d.taken = append(d.taken, p.ExerciseID)
	}
	for range max(0, d.n(-4, 6, "exclusions")) {
		if id := d.id("excluded"); !slices.Contains(d.taken, id) && !slices.Contains(c.Excluded, id) {
			c.Excluded = append(c.Excluded, id)
		}
	}
	l := &c.Limits
	for _, f := range []struct {
		to     *plan.Opt[int32]
		lo, hi int32
		name   string
	}{{&l.ExercisesPerSession, 2, 9, "exercises"}, {&l.SetsPerSession, 6, 30, "sets"}, {&l.MuscleSetsPerSession, 3, 10, "muscle sets"}} {
		if d.chance(15, f.name+" limited") {
			*f.to = plan.Some(d.n(f.lo, f.hi, f.name))
		}
	}
	for range max(0, d.n(-6, 2, "weekly limits")) {
		m := d.muscle("limited muscle")
		if !slices.ContainsFunc(l.MuscleSetsPerWeek, func(o plan.MuscleSets) bool { return o.Muscle == m }) {
			l.MuscleSetsPerWeek = append(l.MuscleSetsPerWeek, plan.MuscleSets{Muscle: m, Sets: plan.HalfSets(d.n(4, 40, "weekly limit"))})
		}
	}
	for range max(0, d.n(-6, 2, "recovery")) {
		c.Recovery = append(c.Recovery, plan.Recovery{Muscle: d.muscle("recovering muscle"), Hours: 24 * d.n(1, 4, "recovery days")})
	}
	if d.chance(10, "caller's id") {
		d.r.Exercises = []plan.CallerExercise{{ExerciseID: d.id("caller's exercise"), CallerID: "own-1", Name: "Own name"}}
	}
}

// plan draws one segment or two, with the parameters that their strategies take.
func (d *drawer) plan(known []engine.Strategy) {
	p := &d.r.Plan
	if d.chance(20, "lead-in") && d.weeks >= 4 {
		p.LeadIn = plan.Some(plan.LeadIn{Weeks: d.n(1, 3, "lead-in weeks"), Sets: d.n(0, 4, "lead-in sets")})
		if d.chance(50, "lead-in repetitions") {
			p.LeadIn.Value.Reps = d.n(8, 20, "lead-in reps")
		}
	}
	if d.chance(20, "deload") {
		p.Deload = plan.Some(plan.Deload{EveryWeeks: d.n(2, 8, "deload every")})
		if d.chance(50, "deload share") {
			p.Deload.Value.Keep = plan.Permille(d.n(300, 800, "keep"))
		}
	}
	if !d.chance(80, "plan") {
		return
	}
	left := d.weeks - p.LeadIn.Value.Weeks
	var segments []plan.Segment
	if left >= 8 && d.chance(15, "two segments") {
		first := d.n(3, left-4, "first segment")
		if s, ok := d.segment(known, first); ok {
			s.Weeks = plan.Some(first)
			segments, left = append(segments, s), left-first
		}
	}
	s, ok := d.segment(known, left)
	if !ok {
		return
	}
	if d.chance(40, "weeks stated") {
		s.Weeks = plan.Some(left)
	}
	p.Tracks = []plan.Track{{Segments: append(segments, s)}}
}

func (d *drawer) segment(known []engine.Strategy, weeks int32) (plan.Segment, bool) {
	s := known[d.n(0, int32(len(known))-1, "strategy")]
	desc := s.Describe()
	if weeks < desc.MinWeeks || weeks > desc.MaxWeeks {
		return plan.Segment{}, false
	}
	seg := plan.Segment{Strategy: desc.Name}
	if d.chance(20, "version") {
		seg.Strategy = desc.ID()
	}
	for i := range desc.Params {
		if desc.Params[i].Kind == plan.ValueSets && !d.lists {
			continue
		}
		if d.chance(20, desc.Params[i].Name) {
			seg.Params = append(seg.Params, plan.Param{Name: desc.Params[i].Name, Value: d.value(&desc.Params[i])})
		}
	}
	// Values that can't stand beside each other or in so few weeks are no part of a valid
	// request.
	for len(seg.Params) > 0 {
		if in, err := s.Parse(seg.Params); err == nil {
			r := plan.OutlineRequest{Weeks: weeks, Status: plan.Intermediate, Sessions: make([]int32, weeks)}
			for i := range r.Sessions {
				r.Sessions[i] = int32(len(d.r.Constraints.Days))
			}
			if _, err = in.Outline(context.Background(), r); err == nil {
				break
			}
		}
		seg.Params = seg.Params[1:]
	}
	return seg, true
}

func (d *drawer) value(s *plan.ParamSpec) plan.Value {
	v := plan.Value{Kind: s.Kind}
	lo, hi := int32(s.Min), int32(s.Max)
	switch s.Kind {
	case plan.ValueNumber:
		if s.Whole {
			v.Milli = 1000 * int64(d.n(lo/1000, hi/1000, s.Name))
		} else {
			v.Milli = int64(d.n(lo, hi, s.Name))
		}
	case plan.ValueRange:
		v.Lo = d.n(lo, hi, s.Name+" from")
		v.Hi = d.n(v.Lo, min(hi, v.Lo+8), s.Name+" to")
	case plan.ValueText:
		v.Text = s.Choices[d.n(0, int32(len(s.Choices))-1, s.Name)]
	case plan.ValueSets:
		return d.setList(s.Name)
	case plan.ValueBool:
		v.Bool = d.chance(50, s.Name)
	case plan.ValueList:
		for range d.n(1, 4, s.Name) {
			v.List = append(v.List, d.n(lo, hi, s.Name+" item"))
		}
	}
	return v
}
