package engine

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

func (s *settler) athlete() {
	a := &s.b.Request.Athlete
	s.age(a)
	if a.BodyMass.Set {
		if g := a.BodyMass.Value.Grams(); g < 20_000 || g > 350_000 {
			s.bad.Add("OUT_OF_RANGE", "athlete.body_mass", fmt.Sprintf("%s is not a body mass between 20 and 350 kg", a.BodyMass.Value))
		}
	}
	switch {
	case a.Status > plan.Advanced:
		s.bad.Add("UNKNOWN_STATUS", "athlete.training_status", "is not a training status")
	case a.Status != plan.StatusUnspecified:
	case a.TrainingAgeMonths.Set:
		m := a.TrainingAgeMonths.Value
		switch {
		case m < 12:
			a.Status = plan.Novice
		case m < 36:
			a.Status = plan.Intermediate
		default:
			// Advanced also means progress only over months, which months of training don't show.
			a.Status = plan.Intermediate
			if m >= 60 {
				a.Status = plan.Advanced
			}
		}
		s.assume("athlete.training_status", fmt.Sprintf("%s, derived from %d months of training.", title(a.Status.String()), m))
	default:
		a.Status = plan.Novice
		s.assume("athlete.training_status", "Novice, as nothing is said of training so far.")
	}
	s.layoff(a)
	s.current(a)
	if a.LayoffWeeks.Set && (a.LayoffWeeks.Value < 0 || a.LayoffWeeks.Value > 520) {
		s.bad.Add("OUT_OF_RANGE", "athlete.layoff_weeks", "must be between 0 and 520")
	}
	if !a.Spotter.Set {
		a.Spotter = plan.Some(false)
		s.assume("athlete.spotter", "Nobody spots.")
	}
	if a.Supervision == plan.SupervisionUnspecified {
		a.Supervision = plan.Alone
		s.assume("athlete.supervision", "Trains alone.")
	}
	if a.Pregnancy > plan.Postpartum {
		s.bad.Add("UNKNOWN_STAGE", "athlete.pregnancy", "is not a known stage")
	}
	if a.Clearance.Set && a.Clearance.Value.Date.Set && s.base.Set && a.Clearance.Value.Date.Value > s.base.Value {
		s.bad.Add("OUT_OF_RANGE", "athlete.clearance.date", "lies in the future")
	}
	if a.Screening.Set {
		for i, c := range a.Screening.Value.Conditions {
			if c == plan.ConditionUnspecified || c >= plan.ConditionCount {
				s.bad.Add("UNKNOWN_CONDITION", fmt.Sprintf("athlete.screening.conditions[%d]", i), "is not a listed condition")
			}
		}
	}
	for i, o := range a.Other {
		if o.Weekday < plan.Monday || o.Weekday > plan.Sunday {
			s.bad.Add("REQUIRED", fmt.Sprintf("athlete.other_training[%d].weekday", i), "needs a day of the week")
		}
	}
	for i, k := range a.Skills {
		path := fmt.Sprintf("athlete.skills[%d]", i)
		if (k.Pattern == plan.PatternUnspecified) == (k.ExerciseID == "") {
			s.bad.Add("REQUIRED", path, "names exactly one of a movement pattern and an exercise")
		}
		if k.ExerciseID != "" {
			s.exercise(path+".exercise_id", k.ExerciseID)
		}
	}
}

func (s *settler) age(a *plan.Athlete) {
	if a.BirthYear.Set {
		y := a.BirthYear.Value
		if !s.base.Set {
			s.bad.Add("REQUIRED", "constraints.start_date", "(or prepared_on) is needed to work out the age from athlete.birth_year; or give athlete.age_band instead")
			return
		}
		// The younger of the two possible ages: cautions for minors err on the safe side.
		years := int32(s.base.Value.Year()) - y - 1
		if years < 5 || years > 105 {
			s.bad.Add("OUT_OF_RANGE", "athlete.birth_year", fmt.Sprintf("%d gives an age of %d at %s", y, years, s.base.Value))
			return
		}
		s.b.AgeYears = years
		band := plan.AgeAdult
		switch {
		case years < 13:
			band = plan.AgeChild
		case years < 18:
			band = plan.AgeAdolescent
		case years+1 >= 60:
			band = plan.AgeOlder
		}
		if a.Age != plan.AgeUnspecified && a.Age != band {
			s.bad.Add("CONTRADICTION", "athlete.age_band", fmt.Sprintf("says %s, but athlete.birth_year says %s; give one of the two", a.Age, band))
		}
		a.Age = band
	}
	if a.Age == plan.AgeUnspecified || a.Age > plan.AgeOlder {
		s.bad.Add("REQUIRED", "athlete.age_band", "is needed (or birth_year): at least whether the athlete is an adult")
	}
}

// layoff says what a stated layoff does to the loads. One that is not stated is taken
// from the last performance where nothing at all is trained now.
func (s *settler) layoff(a *plan.Athlete) {
	if !a.LayoffWeeks.Set && a.CurrentSetsEach.Set && a.CurrentSetsEach.Value == 0 && len(a.CurrentSets) == 0 && s.base.Set {
		last := plan.Opt[plan.Date]{}
		for _, p := range a.Performances {
			if p.Date.Set && p.Date.Value <= s.base.Value && (!last.Set || p.Date.Value > last.Value) {
				last = p.Date
			}
		}
		if weeks := int32(s.base.Value-last.Value) / 7; last.Set && weeks >= 3 && weeks <= 520 {
			a.LayoffWeeks = plan.Some(weeks)
		}
	}
	weeks := a.LayoffWeeks.Or(0)
	if loss := 1000 - load.AfterLayoff(1000, weeks); loss > 0 {
		says := fmt.Sprintf("%d weeks without training take %d %% off every 1RM; 1 %% a week comes back. The first two weeks keep %d repetitions in reserve", weeks, loss/10, comingBack(a, 0))
		if next := comingBack(a, 2); next > 0 {
			says += fmt.Sprintf(", the next two %d", next)
		}
		s.assume("athlete.layoff_weeks", says+".")
	}
}

// lowCurrent is what someone of whom nothing is said is taken to do now: weekly sets.
var lowCurrent = [...]plan.HalfSets{plan.Novice: 10, plan.Intermediate: 12, plan.Advanced: 16}

func (s *settler) current(a *plan.Athlete) {
	each, known := a.CurrentSetsEach.Or(0), a.CurrentSetsEach.Set
	if each < 0 || each > 100 {
		s.bad.Add("OUT_OF_RANGE", "athlete.current_weekly_sets_each", "must be between 0 and 50 sets")
	}
	listed := [plan.MuscleCount]bool{}
	for i, m := range a.CurrentSets {
		path := fmt.Sprintf("athlete.current_weekly_sets[%d]", i)
		switch {
		case m.Muscle == plan.MuscleUnspecified || m.Muscle >= plan.MuscleCount:
			s.bad.Add("UNKNOWN_MUSCLE", path+".muscle", "is not a known muscle")
			continue
		case listed[m.Muscle]:
			s.bad.Add("DUPLICATE", path+".muscle", m.Muscle.String()+" is listed twice")
		case m.Sets < 0 || m.Sets > 100:
			s.bad.Add("OUT_OF_RANGE", path+".sets", "must be between 0 and 50 sets")
		}
		listed[m.Muscle] = true
		s.b.Current[m.Muscle] = m.Sets
	}
	if !known && a.Status <= plan.Advanced {
		each = lowCurrent[a.Status]
		if a.LayoffWeeks.Or(0) >= 3 {
			each = 0
		}
		if len(a.CurrentSets) == 0 {
			s.assume("athlete.current_weekly_sets", fmt.Sprintf("Low present volume: %s weekly sets a muscle.", each))
		} else {
			s.assume("athlete.current_weekly_sets_each", fmt.Sprintf("%s weekly sets for muscles not listed.", each))
		}
		a.CurrentSetsEach = plan.Some(each)
	}
	for m := range s.b.Current {
		if !listed[m] {
			s.b.Current[m] = each
		}
	}
}

// exercise checks an id and suggests near ones.
func (s *settler) exercise(path, id string) bool {
	if _, ok := s.cat.ByID(id); ok {
		return true
	}
	if slices.ContainsFunc(s.spoiled, func(o plan.OwnExercise) bool { return o.ID == id }) {
		return false // said
	}
	says := fmt.Sprintf("%q is not in the catalogue", id)
	if near := s.cat.Nearest(id, 3); len(near) > 0 {
		says += "; did you mean " + strings.Join(near, ", ") + "?"
	}
	s.bad.Add("UNKNOWN_EXERCISE", path, says)
	return false
}

func (s *settler) restrictions() {
	for i := range s.b.Request.Athlete.Restrictions {
		r := &s.b.Request.Athlete.Restrictions[i]
		path := fmt.Sprintf("athlete.restrictions[%d]", i)
		n := 0
		if r.Joint != plan.JointUnspecified {
			n++
			if r.Joint >= plan.JointCount {
				s.bad.Add("UNKNOWN_JOINT", path+".joint", "is not a known joint")
			}
		}
		if r.Pattern != plan.PatternUnspecified {
			n++
			if r.Pattern >= plan.PatternCount {
				s.bad.Add("UNKNOWN_PATTERN", path+".pattern", "is not a known movement pattern")
			}
		}
		if r.ExerciseID != "" {
			n++
			s.exercise(path+".exercise_id", r.ExerciseID)
		}
		if n != 1 {
			s.bad.Add("REQUIRED", path, "names exactly one of a joint, a movement pattern and an exercise")
		}
		if r.Severity == plan.SeverityUnspecified {
			r.Severity = plan.SeverityAvoid
			s.assume(path+".severity", "Meant strictly: nothing that stresses it.")
		} else if r.Severity > plan.SeverityAvoid {
			s.bad.Add("UNKNOWN_SEVERITY", path+".severity", "is not a known severity")
		}
	}
}

func title(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
