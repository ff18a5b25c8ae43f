package engine

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// performances refuses what can't have been. What can, but stands far from the others,
// is for the estimate to set aside.
func (s *settler) performances() {
	a := &s.b.Request.Athlete
	if len(a.Performances) > maxPerformances {
		s.bad.Add("TOO_MANY", "athlete.performances", fmt.Sprintf("has %d entries; at most %d", len(a.Performances), maxPerformances))
		return
	}
	for i := range a.Performances {
		p := &a.Performances[i]
		path := fmt.Sprintf("athlete.performances[%d]", i)
		if !s.exercise(path+".exercise_id", p.ExerciseID) {
			continue
		}
		e, _ := s.cat.ByID(p.ExerciseID)
		before := s.bad.Len()
		if p.Reps < 1 || p.Reps > 200 {
			s.bad.Add("OUT_OF_RANGE", path+".reps", "must be between 1 and 200")
		}
		if p.RIR.Set && (p.RIR.Value < 0 || p.RIR.Value > 10) {
			s.bad.Add("OUT_OF_RANGE", path+".rir", "must be between 0 and 10 repetitions in reserve")
		}
		if p.RIR.Or(0) > 0 && p.ToFailure {
			s.bad.Add("CONTRADICTION", path+".to_failure", "contradicts repetitions in reserve above 0")
		}
		if !p.RIR.Set && !p.ToFailure {
			s.bad.Add("REQUIRED", path+".rir", "is needed: repetitions in reserve, or to_failure")
		}
		switch {
		case p.Load.Set && p.Load.Value.Milli < 0:
			s.bad.Add("OUT_OF_RANGE", path+".load", "can't be below zero")
		case e.Loading == plan.LoadingBodyweight && p.Load.Value.Milli > 0:
			s.bad.Add("OUT_OF_RANGE", path+".load", e.Name+" is done with body mass alone; leave the load out, or name the exercise that was loaded")
		case e.Loading.Loadable() && e.Loading != plan.LoadingAdded && (!p.Load.Set || p.Load.Value.Milli == 0):
			s.bad.Add("REQUIRED", path+".load", e.Name+" needs the load that was used")
		case e.BodyMassShare > 0 && (e.Loading.Loadable() || helpGiven(p, e)) && !a.BodyMass.Set:
			s.bad.Add("REQUIRED", "athlete.body_mass", "is needed to read a performance in "+e.Name+", which moves the body too")
		case helpGiven(p, e) && e.BodyMassShare > 0 && p.Load.Value.Grams()*1000 > s.carried(e)*mostHelp:
			s.bad.Add("OUT_OF_RANGE", path+".load", fmt.Sprintf("is the help of the counterweight, and %s leaves less than a tenth of the body mass to lift; check the number and its unit", p.Load.Value))
		case p.Load.Set && e.MaxPlausibleKg > 0 && p.Load.Value.Grams() > int64(e.MaxPlausibleKg)*1000:
			s.bad.Add("IMPLAUSIBLE", path+".load", fmt.Sprintf("%s in %s is beyond what anyone lifts (about %d kg); check the number and its unit", p.Load.Value, e.Name, e.MaxPlausibleKg))
		}
		if p.Date.Set && s.last.Set && p.Date.Value > s.last.Value {
			s.bad.Add("OUT_OF_RANGE", path+".date", fmt.Sprintf("%s lies after %s, the day the request is made for", p.Date.Value, s.last.Value))
		}
		if s.bad.Len() == before && (e.Loading.Loadable() || helpGiven(p, e)) {
			s.implausible(path, p, e)
			s.untested(i, e)
		}
	}
}

// mostHelp is the largest share of the moved body mass, in permille, that a performance
// can have been helped by; more says nothing of strength (judgement).
const mostHelp = 900

// helpGiven reports a performance on a counterweight with the help it gave.
func helpGiven(p *plan.Performance, e *exercise.Exercise) bool {
	return e.Loading == plan.LoadingAssisted && p.Load.Set && p.Load.Value.Milli > 0
}

// implausible refuses a set that means a 1RM which nobody has, though its load may be lifted.
func (s *settler) implausible(path string, p *plan.Performance, e *exercise.Exercise) {
	c, err := load.CurveFor(string(e.Curve))
	if err != nil {
		return // found when it is used
	}
	a := &s.b.Request.Athlete
	prior := load.Population(string(e.Curve), a.Status, a.Sex, a.Age, 0)
	prior.MaxGrams = mostPlausible(prior.MaxGrams, e, s.carried(e))
	o := load.Observation{Grams: movedWith(e, s.carried(e), p.Load.Value), Reps: p.Reps, RIR: p.RIR, Failure: p.ToFailure}
	f, ok := fault.As(c.Refuse("performance", prior, []load.Observation{o}))
	if !ok || f.Violations[0].Reason != load.AsideTooHeavy.String() {
		return // so many repetitions that they say nothing are set aside
	}
	s.bad.Add(load.AsideTooHeavy.String(), path+".load", fmt.Sprintf("%s for %s means a 1RM beyond anyone's in %s (about %d kg); check load, unit and repetitions",
		shownLoad(p, e), repetitions(p), e.Name, (prior.MaxGrams-s.carried(e))/1000))
}

// mostPlausible is the 1RM, in grams moved, beyond which nothing is believed: the
// exercise's own limit, else that of its family.
func mostPlausible(family int64, e *exercise.Exercise, carried int64) int64 {
	if e.MaxPlausibleKg > 0 {
		return int64(e.MaxPlausibleKg)*1000 + carried
	}
	return family
}

// together is how far apart in days a test and a set may be and still be about the same
// strength, and atOnce from how many repetitions on nobody outgrows a test in that time.
// Fewer are for the estimate to set aside (judgement).
const (
	together = 182
	atOnce   = 20
)

// untested refuses a set of many repetitions with a load that a test of about the same
// time shows to be the most for one.
func (s *settler) untested(at int, e *exercise.Exercise) {
	list := s.b.Request.Athlete.Performances
	p := &list[at]
	if p.Reps+p.RIR.Or(0) <= atOnce {
		return
	}
	moved := movedWith(e, s.carried(e), p.Load.Value)
	for i := range list {
		t := &list[i]
		tested := t.ExerciseID == p.ExerciseID && t.Reps == 1 && (t.ToFailure || t.RIR.Set && t.RIR.Value == 0)
		if !tested || t.Date.Set && p.Date.Set && max(t.Date.Value-p.Date.Value, p.Date.Value-t.Date.Value) > together {
			continue
		}
		most := movedWith(e, s.carried(e), t.Load.Value)
		if moved >= most {
			s.bad.Add("CONTRADICTION", fmt.Sprintf("athlete.performances[%d].reps", at), fmt.Sprintf(
				"%s for %s can't be true beside athlete.performances[%d], a tested 1RM of %s; correct the one that is wrong", shownLoad(p, e), repetitions(p), i, shownLoad(t, e)))
			return
		}
	}
}

// carried is the moved share of body mass in grams; 0 where it is unknown.
func (s *settler) carried(e *exercise.Exercise) int64 {
	return s.b.Request.Athlete.BodyMass.Value.Grams() * int64(e.BodyMassShare) / 1000
}

func shownLoad(p *plan.Performance, e *exercise.Exercise) string {
	if p.Load.Value.Milli == 0 {
		return "body mass"
	}
	if e.Loading == plan.LoadingAssisted {
		return "body mass less " + p.Load.Value.String()
	}
	return p.Load.Value.String()
}

func repetitions(p *plan.Performance) string {
	out := fmt.Sprintf("%d repetitions", p.Reps)
	if p.Reps == 1 {
		out = "one repetition"
	}
	if p.RIR.Or(0) > 0 {
		out += fmt.Sprintf(" with %d in reserve", p.RIR.Value)
	}
	return out
}
