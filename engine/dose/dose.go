// Package dose says how many weekly sets are wanted, per muscle and per goal lift,
// week by week, before anyone has looked at days or equipment.
//
// Sets are counted fractionally: a direct set is 1, an indirect one 0.5 (Pelland et
// al. 2024, the rule that fitted best). The amounts by status and priority are
// judgement inside the published anchors (smallest detectable about 4 sets for size
// and 1 for strength, Pelland 2024; about 10 a week, ACSM 2026; 12 to 20 for trained
// young men, Baz-Valle 2022) and marked "common practice, no source".
//
// A week's wish is the full dose, times what the outline's week scales it by, and in
// the first weeks no more than a climb from what the athlete does now allows.
package dose

import "github.com/phasewright/phasewright/engine/plan"

// Input is all that the dose depends on.
type Input struct {
	Status plan.Status
	Goals  []plan.Goal // settled: never empty
	// Current is what the athlete does now, per muscle.
	Current [plan.MuscleCount]plan.HalfSets
	Weeks   []Week
	// Tracks are the weeks of each track of the plan that has its own. MuscleTrack gives
	// 1 + the track of a muscle, LiftTrack that of a lift; 0: Weeks holds. Nil: none has.
	Tracks      [][]Week
	MuscleTrack [plan.MuscleCount]int
	LiftTrack   func(exerciseID string) int
	Caps        [plan.MuscleCount]plan.HalfSets // hard weekly limits from the request; 0: none
	// Costly reports lifts that are hard on the lower back: they get two thirds of the
	// sets. Nil: none is.
	Costly func(exerciseID string) bool
}

// Week is what the outline says of a week.
type Week struct {
	Kind plan.WeekKind
	Dose plan.Permille
}

// Muscle is the wish for one muscle in one week.
type Muscle struct {
	Wanted   plan.HalfSets
	Floor    plan.HalfSets // below it a miss costs more than any priority gains
	Direct   plan.HalfSets // of Wanted, by direct sets
	Weight   int32         // of a miss, 1 to 9
	Priority bool          // a goal wants it
	Rule     plan.RuleID
}

// Lift is the wish for one goal lift in one week.
type Lift struct {
	ExerciseID string
	Sets       int32
	Weight     int32
	MinDays    int32
	Rule       plan.RuleID
}

// WeekDose is the wish for one week. Lifts are in the order of the goals.
type WeekDose struct {
	Muscles [plan.MuscleCount]Muscle
	Lifts   []Lift
}

// table is the weekly sets by status: priority from-to, other, maintained, goal lift
// from-to. Common practice, no source.
var table = [...]struct{ priorityLo, priorityHi, other, maintained, liftLo, liftHi int32 }{
	plan.Novice:       {8, 10, 6, 3, 4, 6},
	plan.Intermediate: {12, 16, 8, 4, 6, 10},
	plan.Advanced:     {14, 20, 10, 5, 8, 12},
}

// FloorSets is the least for each large muscle before a priority is filled further:
// about the smallest dose with a detectable effect on size (Pelland 2024).
const FloorSets = 4

// small muscles get the maintained amount unless a goal names them: compound work
// brings them there.
var small = [...]plan.Muscle{plan.SideDelt, plan.RearDelt, plan.FrontDelt, plan.Biceps, plan.Triceps, plan.Abs,
	plan.Calves, plan.Erectors}

// Plan gives the wishes for every week.
func Plan(in Input) []WeekDose {
	full, lifts := fullDose(in)
	out := make([]WeekDose, len(in.Weeks))
	trained := int32(0) // weeks of climbing so far
	for w, week := range in.Weeks {
		d := &out[w]
		d.Lifts = append([]Lift(nil), lifts...)
		for i := range d.Lifts {
			own := week
			if in.LiftTrack != nil {
				own = in.week(w, in.LiftTrack(d.Lifts[i].ExerciseID))
			}
			d.Lifts[i].Sets = max(1, scale(d.Lifts[i].Sets, own.Dose))
			if own.Kind != plan.WeekTraining {
				d.Lifts[i].MinDays = min(1, d.Lifts[i].MinDays)
			}
		}
		for m := range full {
			d.Muscles[m] = climb(full[m], in.Current[m], trained, in.week(w, in.MuscleTrack[m]))
		}
		if week.Kind == plan.WeekTraining || week.Kind == plan.WeekLeadIn {
			trained++
		}
	}
	return out
}

func (in *Input) week(w, track int) Week {
	if track == 0 {
		return in.Weeks[w]
	}
	return in.Tracks[track-1][w]
}

func fullDose(in Input) ([plan.MuscleCount]Muscle, []Lift) {
	t := table[in.Status]
	var full [plan.MuscleCount]Muscle
	for _, m := range plan.LargeMuscles {
		full[m] = Muscle{Wanted: sets(t.other), Floor: sets(FloorSets), Weight: 3, Rule: RuleOther}
	}
	for _, m := range small {
		if in.Status == plan.Novice && (m == plan.SideDelt || m == plan.RearDelt || m == plan.Calves || m == plan.Erectors) {
			continue // few exercises, learned well, come before small muscles of their own
		}
		full[m] = Muscle{Wanted: sets(t.maintained), Weight: 1, Rule: RuleMaintained}
		if in.Status != plan.Novice && m != plan.FrontDelt && m != plan.Erectors {
			full[m].Direct = full[m].Wanted / 2 // presses and hinges do the rest for those two
		}
	}
	var lifts []Lift
	for _, g := range in.Goals {
		weight := [...]int32{9, 9, 6, 4}[g.Priority]
		switch g.Kind {
		case plan.GoalGrow:
			n := t.priorityLo
			if g.Priority == 1 {
				n = t.priorityHi
			}
			row := &full[g.Muscle]
			row.Wanted = max(row.Wanted, sets(n))
			row.Direct = row.Wanted / 2
			row.Weight = max(row.Weight, weight)
			row.Priority = true
			row.Rule = RulePriority
		case plan.GoalMaintainMuscle:
			row := &full[g.Muscle]
			if !row.Priority {
				row.Wanted = sets(t.maintained)
				row.Floor = min(row.Floor, row.Wanted)
				row.Rule = RuleMaintained
			}
		case plan.GoalRaise1RM, plan.GoalPeak:
			n := [...]int32{t.liftHi, t.liftHi, (t.liftLo + t.liftHi) / 2, t.liftLo}[g.Priority]
			rule := RuleLift
			if in.Costly != nil && in.Costly(g.ExerciseID) {
				n, rule = (2*n+2)/3, RuleLiftCostly
			}
			lifts = append(lifts, Lift{ExerciseID: g.ExerciseID, Sets: n, Weight: weight, MinDays: 1, Rule: rule})
		case plan.GoalMaintainLift:
			// One set a week is detectable for strength (Pelland 2024); two or three keep practice.
			lifts = append(lifts, Lift{ExerciseID: g.ExerciseID, Sets: t.maintained, Weight: weight, MinDays: 1, Rule: RuleLiftMaintained})
		}
	}
	for m := range full {
		if c := in.Caps[m]; c > 0 && full[m].Wanted > c {
			full[m].Wanted = c
			full[m].Direct = min(full[m].Direct, c)
			full[m].Floor = min(full[m].Floor, c)
			full[m].Rule = RuleCapped
		}
	}
	return full, lifts
}

// climb gives a week's wish: the outline's share of the full dose, but no more than the
// climb from what is done now allows (Ceiling).
func climb(m Muscle, now plan.HalfSets, trained int32, week Week) Muscle {
	if m.Wanted == 0 {
		return m
	}
	ceiling := Ceiling(now, trained)
	share := plan.HalfSets(scale(int32(m.Wanted), week.Dose))
	if week.Kind != plan.WeekTraining {
		// A cut week is cut from where the climb has come to.
		share = plan.HalfSets(scale(int32(min(m.Wanted, ceiling)), week.Dose))
	}
	if m.Wanted = share; ceiling < share {
		m.Wanted, m.Rule = ceiling, RuleClimb
	}
	m.Floor = min(m.Floor, m.Wanted)
	m.Direct = min(m.Direct, (m.Wanted+1)/2)
	return m
}

// Ceiling is the most that a week may hold after so many weeks of training: a quarter
// above the present amount (or StartSets), and a set more each week.
func Ceiling(now plan.HalfSets, trained int32) plan.HalfSets {
	return max(now+now/4, StartSets) + plan.HalfSets(2*trained)
}

// StartSets is where even an untrained person may start: the floor of a large muscle.
const StartSets plan.HalfSets = 2 * FloorSets

func sets(n int32) plan.HalfSets { return plan.HalfSets(2 * n) }

// scale rounds up, so that a share of a small dose does not vanish.
func scale(n int32, share plan.Permille) int32 { return (n*int32(share) + 999) / 1000 }
