package app

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/plan"
)

// Properties of loads.

// loadChange compares the heaviest working set of an exercise in two weeks.
type loadChange struct {
	Exercise string `json:"exercise"`
	FromWeek int32  `json:"from_week"`
	ToWeek   int32  `json:"to_week"`
	Percent  *span  `json:"percent"`
	Share    *span  `json:"share"`
}

func (m *loadChange) broken(v *view) []string {
	bad := v.exercises([]string{m.Exercise})
	if m.Percent == nil && m.Share == nil {
		return append(bad, "asks nothing")
	}
	top := func(week int32) plan.Load {
		var t plan.Load
		bad = append(bad, v.lifts(&weekList{}, func(l *lift) {
			if l.week.Number != week || l.ExerciseID != m.Exercise {
				return
			}
			for _, s := range work(l.ProgramExercise) {
				if s.Load.Set && (t.IsZero() || s.Load.Value.Cmp(t) > 0) {
					t = s.Load.Value
				}
			}
		})...)
		return t
	}
	from, to := top(m.FromWeek), top(m.ToWeek)
	if from.IsZero() || to.IsZero() || from.Unit != to.Unit {
		return append(bad, fmt.Sprintf("%s has loads of %s in week %d and %s in week %d; both are needed", m.Exercise, from.Number(), m.FromWeek, to.Number(), m.ToWeek))
	}
	if share := to.Milli * 100_000 / from.Milli; m.Share != nil && !m.Share.has(share) {
		bad = append(bad, fmt.Sprintf("%s goes from %s in week %d to %s in week %d, %s %% of it, wanted %s %%", m.Exercise, from, m.FromWeek, to, m.ToWeek, number(share), m.Share))
	}
	if change := (to.Milli - from.Milli) * 100_000 / from.Milli; m.Percent != nil && !m.Percent.has(change) {
		bad = append(bad, fmt.Sprintf("%s goes from %s in week %d to %s in week %d, %s %%, wanted %s %%", m.Exercise, from, m.FromWeek, to, m.ToWeek, number(change), m.Percent))
	}
	return bad
}

// loadSteps holds every load of a way of loading, warm-up included, to a grid.
type loadSteps struct {
	Loading string `json:"loading"`
	From    *span  `json:"from"`
	Step    *span  `json:"step"`
}

func (m *loadSteps) broken(v *view) []string {
	way, ok := called(m.Loading, plan.LoadingBar, plan.LoadingCount-1)
	if !ok {
		return []string{fmt.Sprintf("there is no way of loading %q", m.Loading)}
	}
	if m.From == nil || m.Step == nil || m.Step.lo <= 0 {
		return []string{"from and step are needed"}
	}
	seen := 0
	var wrong []string
	bad := v.lifts(&weekList{}, func(l *lift) {
		if l.x.Loading != way {
			return
		}
		for i := range l.Sets {
			x := l.Sets[i].Load
			if !x.Set {
				continue
			}
			seen++
			if x.Value.Milli < m.From.lo || (x.Value.Milli-m.From.lo)%m.Step.lo != 0 {
				wrong = append(wrong, fmt.Sprintf("%s: %s is not %s and steps of %s", l.at(), x.Value, m.From, m.Step))
			}
		}
	})
	if seen == 0 {
		bad = append(bad, "no load by "+m.Loading)
	}
	return append(bad, wrong...)
}

// unitIs wants the request settled in a unit and no load in another.
type unitIs string

func (m unitIs) broken(v *view) []string {
	var bad []string
	if u := v.program.Request.Constraints.Unit; u.String() != string(m) {
		bad = append(bad, fmt.Sprintf("the program is in %s, wanted %s", u, m))
	}
	wrong := v.lifts(&weekList{}, func(l *lift) {
		var loads []plan.Load
		for i := range l.Sets {
			s := &l.Sets[i]
			if s.Load.Set {
				loads = append(loads, s.Load.Value)
			}
			loads = append(loads, s.Plates...)
			for _, a := range s.Adjust {
				loads = append(loads, plan.Load{Milli: a.To, Unit: a.Unit})
			}
		}
		for i := range l.Contingencies {
			if c := l.Contingencies[i].Change; c.Set {
				loads = append(loads, c.Value)
			}
		}
		for _, x := range loads {
			if x.Unit.String() != string(m) {
				bad = append(bad, fmt.Sprintf("%s: %s, wanted %s", l.at(), x, m))
			}
		}
	})
	return append(wrong, bad...)
}

// findsLoads: exercises whose strength is not known start with a set that finds the
// load, and no number is given before or without it.
type findsLoads struct{ yes }

func (m *findsLoads) broken(v *view) []string {
	held := []plan.Loading{
		plan.LoadingBar, plan.LoadingPlateMachine, plan.LoadingStack, plan.LoadingDumbbellPair,
		plan.LoadingDumbbell, plan.LoadingKettlebell, plan.LoadingKettlebellPair,
	}
	found := map[string]bool{}
	var wrong []string
	bad := v.lifts(&weekList{}, func(l *lift) {
		for i := range v.program.Request.Athlete.Performances {
			if v.program.Request.Athlete.Performances[i].ExerciseID == l.ExerciseID {
				return
			}
		}
		if !slices.Contains(held, l.x.Loading) {
			return
		}
		for i := range l.Sets {
			s := &l.Sets[i]
			if s.Load.Set {
				wrong = append(wrong, fmt.Sprintf("%s: %s is an invented number", l.at(), s.Load.Value))
			}
			if s.Kind == plan.SetCalibration {
				found[l.ExerciseID] = true
			}
		}
		if !found[l.ExerciseID] {
			wrong = append(wrong, l.at()+": no set finds the load")
			found[l.ExerciseID] = true
		}
	})
	if len(found) == 0 {
		bad = append(bad, "no exercise of unknown strength")
	}
	return append(bad, wrong...)
}
