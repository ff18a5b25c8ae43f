package schedule

import (
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// move is an exercise of the hand-made gym: times in ticks of 15 s.
type move struct {
	id, variant    string
	pattern        plan.Pattern
	prime, second  []plan.Muscle
	fixed, per     int32
	preference, hi int32
}

func ms(m ...plan.Muscle) []plan.Muscle { return m }

// gym is 40 exercises of an ordinary gym with plausible times: heavy ones with
// warm-up sets and 3 min of rest, light ones with 2.
var gym = []move{
	{"back-squat", "barbell-squat", plan.Squat, ms(plan.Quads, plan.Glutes), ms(plan.Adductors, plan.Erectors), 14, 15, 85, 6},
	{"front-squat", "barbell-squat", plan.Squat, ms(plan.Quads), ms(plan.Glutes, plan.Adductors, plan.Erectors), 14, 15, 65, 5},
	{"leg-press", "", plan.Squat, ms(plan.Quads, plan.Glutes), ms(plan.Adductors), 4, 13, 75, 5},
	{"goblet-squat", "", plan.Squat, ms(plan.Quads, plan.Glutes), ms(plan.Adductors), 0, 11, 60, 5},
	{"split-squat", "", plan.Lunge, ms(plan.Quads, plan.Glutes), ms(plan.Adductors), 0, 14, 60, 4},
	{"walking-lunge", "", plan.Lunge, ms(plan.Quads, plan.Glutes), ms(plan.Hamstrings, plan.Adductors), 0, 14, 50, 4},
	{"deadlift", "", plan.Hinge, ms(plan.Glutes, plan.Hamstrings, plan.Erectors), ms(plan.Quads, plan.UpperTraps, plan.Forearms), 14, 16, 70, 5},
	{"romanian-deadlift", "", plan.Hinge, ms(plan.Hamstrings, plan.Glutes), ms(plan.Erectors, plan.Forearms), 6, 13, 80, 5},
	{"hip-thrust", "", plan.HipExtension, ms(plan.Glutes), ms(plan.Hamstrings), 6, 12, 65, 5},
	{"back-extension", "", plan.HipExtension, ms(plan.Erectors, plan.Glutes), ms(plan.Hamstrings), -4, 10, 60, 4},
	{"leg-extension", "", plan.KneeExtension, ms(plan.Quads), nil, -5, 10, 60, 4},
	{"lying-leg-curl", "leg-curl", plan.KneeFlexion, ms(plan.Hamstrings), ms(plan.Calves), -5, 10, 65, 4},
	{"seated-leg-curl", "leg-curl", plan.KneeFlexion, ms(plan.Hamstrings), nil, -5, 10, 70, 4},
	{"bench-press", "barbell-bench", plan.HorizontalPush, ms(plan.Chest), ms(plan.FrontDelt, plan.Triceps), 10, 15, 85, 6},
	{"dumbbell-press", "", plan.HorizontalPush, ms(plan.Chest), ms(plan.FrontDelt, plan.Triceps), 2, 13, 75, 5},
	{"incline-press", "", plan.HorizontalPush, ms(plan.Chest, plan.FrontDelt), ms(plan.Triceps), 4, 13, 70, 5},
	{"chest-press-machine", "", plan.HorizontalPush, ms(plan.Chest), ms(plan.FrontDelt, plan.Triceps), -2, 12, 65, 5},
	{"push-up", "", plan.HorizontalPush, ms(plan.Chest), ms(plan.FrontDelt, plan.Triceps), -6, 10, 50, 4},
	{"overhead-press", "", plan.VerticalPush, ms(plan.FrontDelt), ms(plan.SideDelt, plan.Triceps, plan.UpperTraps), 8, 13, 75, 5},
	{"dumbbell-shoulder-press", "", plan.VerticalPush, ms(plan.FrontDelt), ms(plan.SideDelt, plan.Triceps), 2, 12, 70, 5},
	{"dip", "", plan.VerticalPush, ms(plan.Chest, plan.Triceps), ms(plan.FrontDelt), 0, 12, 55, 4},
	{"barbell-row", "", plan.HorizontalPull, ms(plan.MidBack, plan.Lats), ms(plan.RearDelt, plan.Biceps, plan.Erectors), 6, 13, 70, 5},
	{"seated-row", "", plan.HorizontalPull, ms(plan.MidBack, plan.Lats), ms(plan.RearDelt, plan.Biceps), -2, 12, 75, 5},
	{"dumbbell-row", "", plan.HorizontalPull, ms(plan.MidBack, plan.Lats), ms(plan.RearDelt, plan.Biceps), 0, 13, 65, 5},
	{"pull-up", "vertical", plan.VerticalPull, ms(plan.Lats), ms(plan.Biceps, plan.MidBack, plan.RearDelt), 0, 13, 75, 5},
	{"lat-pulldown", "vertical", plan.VerticalPull, ms(plan.Lats), ms(plan.Biceps, plan.MidBack, plan.RearDelt), -2, 12, 75, 5},
	{"straight-arm-pulldown", "", plan.ShoulderExtension, ms(plan.Lats), ms(plan.Triceps), -5, 10, 45, 4},
	{"face-pull", "", plan.HorizontalAbduction, ms(plan.RearDelt, plan.MidBack), ms(plan.SideDelt), -5, 10, 65, 4},
	{"reverse-fly", "", plan.HorizontalAbduction, ms(plan.RearDelt), ms(plan.MidBack), -5, 10, 60, 4},
	{"cable-fly", "", plan.HorizontalAdduction, ms(plan.Chest), ms(plan.FrontDelt), -5, 10, 55, 4},
	{"lateral-raise", "", plan.ShoulderAbduction, ms(plan.SideDelt), ms(plan.UpperTraps), -6, 10, 65, 4},
	{"barbell-curl", "", plan.ElbowFlexion, ms(plan.Biceps), ms(plan.Forearms), -5, 10, 60, 4},
	{"dumbbell-curl", "", plan.ElbowFlexion, ms(plan.Biceps), ms(plan.Forearms), -6, 10, 65, 4},
	{"push-down", "", plan.ElbowExtension, ms(plan.Triceps), nil, -6, 10, 65, 4},
	{"skull-crusher", "", plan.ElbowExtension, ms(plan.Triceps), nil, -4, 10, 55, 4},
	{"shrug", "", plan.ScapularElevation, ms(plan.UpperTraps), ms(plan.Forearms), -4, 10, 50, 4},
	{"standing-calf-raise", "", plan.PlantarFlexion, ms(plan.Calves), nil, -5, 9, 65, 4},
	{"plank", "", plan.TrunkStability, ms(plan.Abs), ms(plan.Obliques), -4, 7, 60, 4},
	{"cable-crunch", "", plan.TrunkFlexion, ms(plan.Abs), nil, -5, 9, 60, 4},
	{"cable-chop", "", plan.TrunkRotation, ms(plan.Obliques), ms(plan.Abs), -4, 10, 55, 4},
}

var gymBalances = []Balance{
	{Name: "push and pull", Left: []plan.Pattern{plan.HorizontalPush, plan.VerticalPush}, Right: []plan.Pattern{plan.HorizontalPull, plan.VerticalPull}},
	{Name: "knee and hip", Left: []plan.Pattern{plan.Squat, plan.Lunge, plan.KneeExtension}, Right: []plan.Pattern{plan.Hinge, plan.HipExtension, plan.KneeFlexion}},
}

// week is a model of the gym: minutes a day for exercises, all muscles wanted at some
// weekly sets, large ones with a floor of four.
func week(sets int32, minutes ...int32) *Model {
	m := &Model{Weeks: 1, Balances: gymBalances}
	for i, n := range minutes {
		m.Days = append(m.Days, Day{
			Path: fmt.Sprintf("constraints.days[%d]", i), Name: fmt.Sprintf("day %d", i+1), Times: 1,
			Capacity: 4 * n, MaxExercises: 7, MinExercises: 3, MaxSets: 25,
		})
	}
	for _, x := range gym {
		c := Candidate{ID: x.id, Variant: x.variant, Pattern: x.pattern, MaxDays: int32(len(minutes)), Lift: -1, Preference: x.preference}
		for _, k := range x.prime {
			c.Involve[k] = 2
		}
		for _, k := range x.second {
			c.Involve[k] = 1
		}
		for range minutes {
			c.Options = append(c.Options, Option{Allowed: true, Lo: 2, Hi: x.hi, Fixed: x.fixed, PerSet: x.per})
		}
		m.Candidates = append(m.Candidates, c)
	}
	for k := plan.Chest; k < plan.MuscleCount; k++ {
		r := Muscle{Muscle: k, Wanted: plan.HalfSets(2 * sets), Weight: 3, MaxSession: 16}
		switch k {
		case plan.Forearms, plan.Adductors, plan.UpperTraps, plan.Obliques:
			r.Wanted, r.Weight = plan.HalfSets(sets/2), 1
		case plan.FrontDelt, plan.Calves, plan.Erectors, plan.Abs:
			r.Weight = 2
		}
		for _, l := range plan.LargeMuscles {
			if l == k {
				r.Floor = 8
			}
		}
		m.Muscles = append(m.Muscles, r)
	}
	for d := 1; d < len(minutes); d++ {
		for _, k := range []plan.Muscle{plan.Chest, plan.Quads, plan.Hamstrings, plan.Erectors} {
			m.Clashes = append(m.Clashes, Clash{Muscle: k, A: int32(d - 1), B: int32(d), Cap: 6})
		}
	}
	return m
}

// strength makes squat and bench goal lifts with sets and sessions a week, and their
// muscles priorities.
func strength(m *Model, sets, days int32) *Model {
	for i, id := range []string{"back-squat", "bench-press"} {
		m.Lifts = append(m.Lifts, Lift{ID: id, Path: fmt.Sprintf("goals[%d]", i), Wanted: sets, Weight: 6, MinDays: days})
		for c := range m.Candidates {
			if m.Candidates[c].ID == id {
				m.Candidates[c].Lift, m.Candidates[c].Preference = int32(i), 100
				m.Candidates[c].MinDays, m.Candidates[c].Path = 1, m.Lifts[i].Path
			}
		}
	}
	for i := range m.Muscles {
		if k := m.Muscles[i].Muscle; k == plan.Quads || k == plan.Chest {
			m.Muscles[i].PrioritySoft, m.Muscles[i].Wanted, m.Muscles[i].DirectWanted = true, 24, 12
		}
	}
	return m
}

// show prints an assignment as a coach would read it.
func show(m *Model, a Assignment) string {
	var b strings.Builder
	fmt.Fprintf(&b, "value %v bound %v proven %v work %d\n", a.Value, a.Bound, a.Proven, a.Work)
	for d, day := range m.Days {
		var t int32
		var line []string
		for c, x := range m.Candidates {
			if v := a.Sets[c][d]; v > 0 {
				o := x.Options[d]
				t += o.Fixed + v*o.PerSet
				line = append(line, fmt.Sprintf("%s %d", x.ID, v))
			}
		}
		fmt.Fprintf(&b, "%s (%d of %d min): %s\n", m.dayName(d), t/4, day.Capacity/4, strings.Join(line, ", "))
	}
	for _, r := range m.Muscles {
		var n plan.HalfSets
		for c, x := range m.Candidates {
			for d := range m.Days {
				n += plan.HalfSets(a.Sets[c][d]*m.Days[d].Times) * x.Involve[r.Muscle]
			}
		}
		fmt.Fprintf(&b, "%s %s/%s  ", r.Muscle, n, r.Wanted*plan.HalfSets(m.Weeks))
	}
	return b.String() + "\n"
}
