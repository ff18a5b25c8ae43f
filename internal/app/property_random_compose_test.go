package app_test

import (
	"slices"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// compose makes about a third of the plans composed ones: several tracks, recovery
// weeks, tests, attempts, fewer sessions than days, too many weeks. It draws last, so
// that the other two thirds are what they are without it.
func (d *drawer) compose(known []engine.Strategy) {
	if !d.chance(33, "composed") {
		return
	}
	p, c := &d.r.Plan, &d.r.Constraints
	d.lists = true
	p.Shorten = d.chance(20, "shorten")
	p.NoAttempts = d.chance(20, "no attempts")
	if d.chance(30, "sessions per week") {
		p.SessionsPerWeek = plan.Some(d.n(1, int32(len(c.Days)), "sessions"))
	}
	if d.chance(35, "recovery weeks") {
		p.Recovery = plan.Some(plan.RecoveryWeeks{EveryWeeks: d.n(2, 8, "recover every"), Sessions: d.n(0, 3, "recovery sessions")})
		if d.chance(50, "recovery share") {
			p.Recovery.Value.Keep = plan.Permille(d.n(300, 900, "recovery keep"))
		}
	}
	if c.Start.Set && d.chance(30, "peak") {
		d.peak()
	}
	if d.chance(50, "retest") {
		d.retest()
	}
	left := d.weeks - p.LeadIn.Value.Weeks
	p.Tracks = nil
	if d.chance(70, "general track") {
		p.Tracks = append(p.Tracks, plan.Track{Segments: d.segments(known, left)})
	}
	ids, muscles := []string{}, []plan.Muscle{}
	for range d.n(1, 3, "tracks") {
		t := plan.Track{}
		if d.chance(30, "track named") {
			t.Name = [...]string{"one", "two", "three"}[len(p.Tracks)%3]
		}
		if d.chance(60, "by exercise") {
			for range d.n(1, 3, "exercises of the track") {
				id := d.doable("track exercise")
				if len(d.taken) > 0 && d.chance(60, "of the wishes") {
					id = d.taken[d.n(0, int32(len(d.taken))-1, "wish")]
				}
				if !slices.Contains(ids, id) {
					ids, t.ExerciseIDs = append(ids, id), append(t.ExerciseIDs, id)
				}
			}
		}
		if len(t.ExerciseIDs) == 0 || d.chance(30, "by muscle too") {
			for range d.n(1, 3, "muscles of the track") {
				if m := d.muscle("track muscle"); !slices.Contains(muscles, m) {
					muscles, t.Muscles = append(muscles, m), append(t.Muscles, m)
				}
			}
		}
		if len(t.ExerciseIDs)+len(t.Muscles) == 0 {
			continue
		}
		t.Segments = d.segments(known, left)
		at := int(d.n(0, int32(len(p.Tracks)), "track order"))
		p.Tracks = slices.Insert(p.Tracks, at, t)
	}
}

// segments sum to so many weeks, or to more where the plan is to be shortened.
func (d *drawer) segments(known []engine.Strategy, weeks int32) []plan.Segment {
	var out []plan.Segment
	long := d.r.Plan.Shorten && d.chance(70, "too long")
	least, at := int32(0), int32(0)
	for range d.n(1, 3, "segments") {
		left := weeks - at
		if left < 1 {
			break
		}
		n := d.n(1, left, "segment weeks")
		seg, need, ok := d.fitting(known, n, long)
		if !ok {
			continue
		}
		seg.Weeks = plan.Some(n)
		out, at, least = append(out, seg), at+n, least+need
	}
	if at < weeks {
		seg, need, ok := d.fitting(known, weeks-at, long)
		if !ok {
			seg, need = plan.Segment{Strategy: "constant"}, 1
		}
		if !d.chance(50, "weeks left open") {
			seg.Weeks = plan.Some(weeks - at)
		}
		out, least = append(out, seg), least+need
	}
	if long && least <= weeks {
		for i := range out {
			if out[i].Weeks.Set {
				out[i].Weeks.Value = min(out[i].Weeks.Value+d.n(0, 5, "more weeks"), 20)
			}
		}
	}
	return out
}

// fitting draws a segment that may have so many weeks, and gives its fewest. One that
// will be cut has no parameters, as not all of them stand beside each other in any
// number of weeks.
func (d *drawer) fitting(known []engine.Strategy, weeks int32, cut bool) (plan.Segment, int32, bool) {
	seg, ok := d.segment(known, weeks)
	if !ok {
		return seg, 0, false
	}
	if cut {
		seg.Params = nil
	}
	return seg, max(1, strategyOf(known, seg.Strategy).Describe().MinWeeks), true
}

// strategyOf finds a strategy by its name or its id; nil where there is none.
func strategyOf(known []engine.Strategy, name string) engine.Strategy {
	for _, s := range known {
		if d := s.Describe(); d.Name == name || d.ID() == name {
			return s
		}
	}
	return nil
}

// tested draws a lift whose 1RM is tested, most often one that can be done.
func (d *drawer) tested(label string) *exercise.Exercise {
	var can, all []string
	for _, x := range d.cat.All() {
		if x.Is(exercise.MaxTest) {
			all = append(all, x.ID)
			if slices.Contains(d.possible, x.ID) {
				can = append(can, x.ID)
			}
		}
	}
	if len(can) == 0 || d.chance(15, label+" anywhere") {
		can = all
	}
	x, _ := d.cat.ByID(can[d.n(0, int32(len(can))-1, label)])
	return x
}

// shows adds what somebody strong enough for singles has done.
func (d *drawer) shows(x *exercise.Exercise) {
	if x.BodyMassShare > 0 && !d.r.Athlete.BodyMass.Set {
		return
	}
	d.r.Athlete.Performances = append(d.r.Athlete.Performances, plan.Performance{ExerciseID: x.ID, Reps: d.n(1, 6, "shown reps"), RIR: plan.Some(d.n(0, 3, "shown rir")),
		Load: plan.Some(d.mass(int64(x.MaxPlausibleKg)*10*int64(d.n(15, 50, "shown load")), 500, 1000))})
}

// peak adds a lift to be attempted on the target date.
func (d *drawer) peak() {
	c := &d.r.Constraints
	x := d.tested("peaking lift")
	if slices.Contains(d.taken, x.ID) || slices.Contains(c.Excluded, x.ID) || !slices.Contains(d.possible, x.ID) || x.Pattern.Explosive() {
		return
	}
	if !c.Target.Set {
		c.Target = plan.Some(c.Start.Value.AddDays(int(7*(d.weeks-1) + d.n(0, 6, "day of the peak"))))
	}
	d.taken = append(d.taken, x.ID)
	d.r.Goals = append(d.r.Goals, plan.Goal{Kind: plan.GoalPeak, ExerciseID: x.ID, Date: c.Target, Priority: d.n(0, 3, "peak priority")})
	if d.chance(85, "peak shown") {
		d.shows(x)
	}
}

func (d *drawer) retest() {
	r := plan.Retest{PhaseEnds: d.chance(40, "phase ends")}
	for range d.n(0, 3, "tests") {
		r.AfterWeeks = append(r.AfterWeeks, d.n(1, d.weeks, "after week"))
	}
	if !r.PhaseEnds && len(r.AfterWeeks) == 0 {
		r.AfterWeeks = []int32{d.weeks}
	}
	goals := slices.ContainsFunc(d.r.Goals, func(g plan.Goal) bool {
		x, ok := d.cat.ByID(g.ExerciseID)
		return ok && (g.Kind == plan.GoalRaise1RM || g.Kind == plan.GoalPeak) && x.Is(exercise.MaxTest)
	})
	if !goals || d.chance(60, "tested lifts given") {
		for range d.n(1, 3, "tested lifts") {
			x := d.tested("tested lift")
			if slices.Contains(r.ExerciseIDs, x.ID) {
				continue
			}
			r.ExerciseIDs = append(r.ExerciseIDs, x.ID)
			if d.chance(50, "tested lift shown") {
				d.shows(x)
			}
			if !slices.Contains(d.taken, x.ID) && !slices.Contains(d.r.Constraints.Excluded, x.ID) && slices.Contains(d.possible, x.ID) && !x.Pattern.Explosive() && d.chance(50, "tested lift pinned") {
				d.r.Constraints.Pinned = append(d.r.Constraints.Pinned, plan.Pin{ExerciseID: x.ID})
				d.taken = append(d.taken, x.ID)
			}
		}
	}
	d.r.Plan.Retest = plan.Some(r)
}

// Texts of sets that every strategy with lists reads; those of single-joint exercises
// have four repetitions or more.
var (
	setLists    = [...]string{"3x8", "3x3, 1x10", "10@70%, 8@75%, 6@80%", "3x8@RIR2", "5x5@80%/2min", "4x6-8", "3x10@RM", "2x8, 1x8+@70%"}
	singleLists = [...]string{"3x8", "2x12@RIR2", "3x10-15/60s"}
)

func (d *drawer) setList(name string) plan.Value {
	v := plan.Value{Kind: plan.ValueText}
	if name == "single_list" {
		v.Text = singleLists[d.n(0, int32(len(singleLists))-1, name)]
	} else {
		v.Text = setLists[d.n(0, int32(len(setLists))-1, name)]
	}
	return v
}
