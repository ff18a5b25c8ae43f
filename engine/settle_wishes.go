package engine

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// Most goals and pins that one program can serve.
const (
	maxGoals = 20
	maxPins  = 30
)

func (s *settler) goals() {
	r := &s.b.Request
	if len(r.Goals) == 0 {
		r.Goals = []plan.Goal{{Kind: plan.GoalGeneral, Priority: 2}}
		s.assume("goals", "General strength and size, as no goal is named.")
	}
	if len(r.Goals) > maxGoals {
		s.bad.Add("TOO_MANY", "goals", fmt.Sprintf("has %d goals; at most %d", len(r.Goals), maxGoals))
		return
	}
	type key struct {
		id string
		m  plan.Muscle
	}
	seen := make(map[key]int, len(r.Goals))
	for i := range r.Goals {
		g := &r.Goals[i]
		path := fmt.Sprintf("goals[%d]", i)
		switch {
		case g.Priority == 0:
			g.Priority = 2
			if g.Kind != plan.GoalGeneral {
				s.assume(path+".priority", "Second of three priorities.")
			}
		case g.Priority < 1 || g.Priority > 3:
			s.bad.Add("OUT_OF_RANGE", path+".priority", "is 1 (first), 2 or 3")
			g.Priority = 2
		}
		switch {
		case g.Lift():
			if g.ExerciseID == "" {
				s.bad.Add("REQUIRED", path+".exercise_id", "is needed: the id of the lift")
			} else if s.exercise(path+".exercise_id", g.ExerciseID) {
				s.goalLift(path, g)
			}
		case g.Kind == plan.GoalGrow || g.Kind == plan.GoalMaintainMuscle:
			if g.Muscle == plan.MuscleUnspecified || g.Muscle >= plan.MuscleCount {
				s.bad.Add("REQUIRED", path+".muscle", "is needed: the muscle that is meant")
			}
		case g.Kind == plan.GoalGeneral:
		default:
			s.bad.Add("REQUIRED", path+".kind", "is not a known kind of goal")
		}
		k := key{g.ExerciseID, g.Muscle}
		if first, dup := seen[k]; dup {
			s.bad.Add("DUPLICATE", path, fmt.Sprintf("is about the same as goals[%d]; one goal for each lift and muscle", first))
		}
		seen[k] = i
	}
}

func (s *settler) goalLift(path string, g *plan.Goal) {
	e, _ := s.cat.ByID(g.ExerciseID)
	if g.Kind == plan.GoalMaintainLift {
		return
	}
	if !e.Loading.Loadable() || e.Is(exercise.Timed) {
		s.bad.Add("NOT_A_LIFT", path+".exercise_id", e.Name+" has no 1RM; a goal for it can be to maintain it, or to grow a muscle")
	}
	if e.Pattern.Explosive() {
		s.bad.Add("UNSUPPORTED", path+".exercise_id", e.Name+" is trained for speed; pin it instead, and it is kept explosive")
	}
}

func (s *settler) wishes() {
	c := &s.b.Request.Constraints
	out := make(map[string]int, len(c.Excluded))
	for i, id := range c.Excluded {
		if s.exercise(fmt.Sprintf("constraints.excluded_exercise_ids[%d]", i), id) {
			out[id] = i
		}
	}
	if len(c.Pinned) > maxPins {
		s.bad.Add("TOO_MANY", "constraints.pinned", fmt.Sprintf("has %d pins; at most %d", len(c.Pinned), maxPins))
	}
	seen := make(map[string]bool, len(c.Pinned))
	for i := range c.Pinned {
		p := &c.Pinned[i]
		path := fmt.Sprintf("constraints.pinned[%d]", i)
		s.exercise(path+".exercise_id", p.ExerciseID)
		if at, both := out[p.ExerciseID]; both {
			s.bad.Add("CONTRADICTION", path+".exercise_id", fmt.Sprintf("is also excluded by constraints.excluded_exercise_ids[%d]", at))
		}
		if seen[p.ExerciseID+"\x00"+p.Group] {
			s.bad.Add("DUPLICATE", path, p.ExerciseID+" is pinned twice")
		}
		seen[p.ExerciseID+"\x00"+p.Group] = true
		if p.PerWeek < 0 || p.PerWeek > int32(len(c.Days)) {
			s.bad.Add("OUT_OF_RANGE", path+".sessions_per_week", fmt.Sprintf("must be between 0 and the %d training days", len(c.Days)))
		}
	}
	for i, g := range s.b.Request.Goals {
		if at, both := out[g.ExerciseID]; g.ExerciseID != "" && both {
			s.bad.Add("CONTRADICTION", fmt.Sprintf("goals[%d].exercise_id", i), fmt.Sprintf("is also excluded by constraints.excluded_exercise_ids[%d]", at))
		}
	}
	s.limits(&c.Limits)
	for i, rec := range c.Recovery {
		path := fmt.Sprintf("constraints.recovery[%d]", i)
		if rec.Muscle == plan.MuscleUnspecified || rec.Muscle >= plan.MuscleCount {
			s.bad.Add("UNKNOWN_MUSCLE", path+".muscle", "is not a known muscle")
		}
		if rec.Hours < 12 || rec.Hours > 168 {
			s.bad.Add("OUT_OF_RANGE", path+".hours", "must be between 12 and 168")
		}
	}
	for i, x := range s.b.Request.Exercises {
		path := fmt.Sprintf("exercises[%d]", i)
		s.exercise(path+".exercise_id", x.ExerciseID)
		for _, other := range s.b.Request.Exercises[:i] {
			if other.ExerciseID == x.ExerciseID {
				s.bad.Add("DUPLICATE", path+".exercise_id", x.ExerciseID+" is there already; one entry an exercise")
				break
			}
		}
		if x.CallerID == "" {
			s.bad.Add("REQUIRED", path+".caller_id", "is the id to carry through")
		}
	}
}

// Guideline limits where the request states none. Common practice, no source.
const (
	defaultExercises     = 7
	defaultSessionSets   = 28
	defaultMuscleSession = 8
)

func (s *settler) limits(l *plan.Limits) {
	check := func(v plan.Opt[int32], field string, lo, hi int32) {
		if v.Set && (v.Value < lo || v.Value > hi) {
			s.bad.Add("OUT_OF_RANGE", "constraints.limits."+field, fmt.Sprintf("is %d; must be between %d and %d", v.Value, lo, hi))
		}
	}
	check(l.ExercisesPerSession, "exercises_per_session", 1, 12)
	check(l.SetsPerSession, "sets_per_session", 1, 60)
	check(l.MuscleSetsPerSession, "muscle_sets_per_session", 1, 20)
	if !l.ExercisesPerSession.Set {
		n := int32(defaultExercises)
		if s.b.Request.Athlete.Status == plan.Novice {
			n-- // few exercises, learned well
		}
		l.ExercisesPerSession = plan.Some(n)
	}
	if !l.SetsPerSession.Set {
		l.SetsPerSession = plan.Some(int32(defaultSessionSets))
	}
	if !l.MuscleSetsPerSession.Set {
		l.MuscleSetsPerSession = plan.Some(int32(defaultMuscleSession))
		s.assume("constraints.limits", fmt.Sprintf("At most %d exercises and %d sets a session, and %d direct sets for a muscle in one.",
			l.ExercisesPerSession.Value, l.SetsPerSession.Value, defaultMuscleSession))
	}
	var seen [plan.MuscleCount]bool
	for i, m := range l.MuscleSetsPerWeek {
		path := fmt.Sprintf("constraints.limits.muscle_sets_per_week[%d]", i)
		if m.Muscle < plan.MuscleCount {
			if seen[m.Muscle] {
				s.bad.Add("DUPLICATE", path+".muscle", m.Muscle.String()+" is listed twice")
			}
			seen[m.Muscle] = true
		}
		if m.Muscle == plan.MuscleUnspecified || m.Muscle >= plan.MuscleCount {
			s.bad.Add("UNKNOWN_MUSCLE", path+".muscle", "is not a known muscle")
		}
		if m.Sets < 1 || m.Sets > 100 {
			s.bad.Add("OUT_OF_RANGE", path+".sets", "must be above 0 and at most 50 sets; to leave a muscle out, restrict it")
		}
	}
}
