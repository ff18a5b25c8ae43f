package engine

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Bounds of a request.
const (
	maxWeeks        = 52
	maxDays         = 7
	minMinutes      = 15
	maxMinutes      = 240
	defaultWeeks    = 8
	maxPlaces       = 20
	maxPerformances = 500
)

// Brief is a request with nothing left open, and what was assumed to get there.
type Brief struct {
	Request     plan.Request // settled
	Assumptions []plan.Assumption
	Catalogue   *exercise.Catalogue
	Current     [plan.MuscleCount]plan.HalfSets
	Weeks       int32
	AgeYears    int32 // 0 where only a band is known

	external []plan.External // what strategies of other processes answered
}

type settler struct {
	b   *Brief
	bad *fault.Collector
	cat *exercise.Catalogue

	spoiled []plan.OwnExercise // own exercises with faults, which are in no catalogue

	base plan.Opt[plan.Date] // the day from which ages and evidence count
	last plan.Opt[plan.Date] // of what may have been shown by now: base, or later in a program that is made again
}

// Settle fills in defaults, noting each, and refuses what is wrong: all violations
// in one fault.Invalid, paths in the schema's spelling. It does not judge safety.
func Settle(r plan.Request, cat *exercise.Catalogue) (*Brief, error) {
	return settleBy(r, cat, plan.Opt[plan.Date]{})
}

// settleBy settles a request that is made again from a day on, up to which the athlete may
// have shown something.
func settleBy(r plan.Request, cat *exercise.Catalogue, last plan.Opt[plan.Date]) (*Brief, error) {
	s := &settler{b: &Brief{Request: clone(r), Catalogue: cat}, bad: fault.NewCollector(fault.Invalid), cat: cat, last: last}
	if err := s.own(r.Own); err != nil {
		return nil, err
	}
	s.units()
	s.places()
	s.days()
	s.dates()
	s.athlete()
	s.performances()
	s.restrictions()
	s.goals()
	s.wishes()
	s.plan()
	if err := s.bad.Err(); err != nil {
		return nil, err
	}
	return s.b, nil
}

// own adds the exercises that a request brings along. Where they are wrong, what names
// them is not called unknown as well. The error is none about the request.
func (s *settler) own(list []plan.OwnExercise) error {
	with, err := s.cat.WithOwn(list)
	if err == nil {
		s.cat, s.b.Catalogue = with, with
		return nil
	}
	if !gather(s.bad, err) {
		return err
	}
	s.spoiled = list
	return nil
}

// clone copies the slices that settling writes to.
func clone(r plan.Request) plan.Request {
	r.Goals = append([]plan.Goal(nil), r.Goals...)
	r.Constraints.Days = append([]plan.Day(nil), r.Constraints.Days...)
	r.Constraints.Places = append([]plan.Place(nil), r.Constraints.Places...)
	r.Constraints.Pinned = append([]plan.Pin(nil), r.Constraints.Pinned...)
	r.Athlete.Restrictions = append([]plan.Restriction(nil), r.Athlete.Restrictions...)
	r.Plan.Tracks = append([]plan.Track(nil), r.Plan.Tracks...)
	for i := range r.Plan.Tracks {
		r.Plan.Tracks[i].Segments = append([]plan.Segment(nil), r.Plan.Tracks[i].Segments...)
	}
	t := &r.Plan.Retest.Value
	t.AfterWeeks = append([]int32(nil), t.AfterWeeks...)
	t.ExerciseIDs = append([]string(nil), t.ExerciseIDs...)
	return r
}

func (s *settler) assume(field, says string) {
	s.b.Assumptions = append(s.b.Assumptions, plan.Assumption{Field: field, Says: says})
}

func (s *settler) units() {
	c := &s.b.Request.Constraints
	switch c.Unit {
	case plan.Kilogram, plan.Pound:
	case plan.UnitUnspecified:
		c.Unit = plan.Kilogram
		for _, p := range s.b.Request.Athlete.Performances {
			if p.Load.Set && p.Load.Value.Unit == plan.Pound {
				c.Unit = plan.Pound
				break
			}
		}
		if s.b.Request.Athlete.BodyMass.Value.Unit == plan.Pound {
			c.Unit = plan.Pound
		}
		s.assume("constraints.mass_unit", "Loads are in "+c.Unit.String()+".")
	default:
		s.bad.Add("UNKNOWN_UNIT", "constraints.mass_unit", "is not a known unit; use kilograms or pounds")
	}
}

func (s *settler) places() {
	c := &s.b.Request.Constraints
	if len(c.Places) == 0 {
		s.bad.Add("REQUIRED", "constraints.places", "needs at least one place with its equipment (a preset will do)")
		return
	}
	if len(c.Places) > maxPlaces {
		s.bad.Add("TOO_MANY", "constraints.places", fmt.Sprintf("has %d places; at most %d", len(c.Places), maxPlaces))
		return
	}
	seen := make(map[string]bool, len(c.Places))
	for i := range c.Places {
		p := &c.Places[i]
		path := fmt.Sprintf("constraints.places[%d]", i)
		if p.ID == "" {
			p.ID = fmt.Sprintf("place-%d", i+1)
			if len(c.Places) == 1 {
				p.ID = "gym"
			}
		}
		if seen[p.ID] {
			s.bad.Add("DUPLICATE", path+".id", fmt.Sprintf("%q is the id of an earlier place; ids must differ", p.ID))
		}
		seen[p.ID] = true
		if p.Preset == plan.PresetUnspecified && len(p.Items) == 0 && len(p.Dumbbells) == 0 && len(p.Adjustables) == 0 && len(p.Kettlebells) == 0 && len(p.Bars) == 0 {
			s.bad.Add("REQUIRED", path+".preset", "needs a preset or a list of equipment; for the bare floor use the bodyweight preset")
		}
		s.stocks(path, p)
		*p = exercise.ExpandPreset(*p, c.Unit)
		for _, u := range exercise.Unstocked(p) {
			s.bad.Add("REQUIRED", path, fmt.Sprintf("has a %s but no loads for it; list its bars and plates, pieces or stack, or take it out", u))
		}
		if !p.Safeties.Set {
			p.Safeties = plan.Some(false)
			if p.Has(plan.Rack) {
				s.assume(path+".safeties", "No safety bars are assumed at "+placeName(p)+", so nothing is taken close to failure under a bar there.")
			}
		}
	}
}

func placeName(p *plan.Place) string {
	if p.Name != "" {
		return p.Name
	}
	return p.ID
}

// defaultWeekdays spreads sessions over a week as evenly as whole days allow.
var defaultWeekdays = [maxDays + 1][]plan.Weekday{
	1: {plan.Monday},
	2: {plan.Monday, plan.Thursday},
	3: {plan.Monday, plan.Wednesday, plan.Friday},
	4: {plan.Monday, plan.Tuesday, plan.Thursday, plan.Friday},
	5: {plan.Monday, plan.Tuesday, plan.Wednesday, plan.Friday, plan.Saturday},
	6: {plan.Monday, plan.Tuesday, plan.Wednesday, plan.Thursday, plan.Friday, plan.Saturday},
	7: {plan.Monday, plan.Tuesday, plan.Wednesday, plan.Thursday, plan.Friday, plan.Saturday, plan.Sunday},
}

func (s *settler) days() {
	c := &s.b.Request.Constraints
	n := len(c.Days)
	if n == 0 || n > maxDays {
		s.bad.Add("OUT_OF_RANGE", "constraints.days", fmt.Sprintf("has %d days; give the 1 to 7 days of a week that can be trained on, each with its minutes", n))
		return
	}
	ids := make(map[string]bool, len(c.Places))
	for _, p := range c.Places {
		ids[p.ID] = true
	}
	none := !slices.ContainsFunc(c.Days, func(d plan.Day) bool { return d.PlaceID != "" })
	if none && len(c.Places) > 1 {
		s.assume("constraints.days", "All days are at "+placeName(&c.Places[0])+", the first place listed.")
	}
	unset, seen := 0, [8]bool{}
	for i := range c.Days {
		d := &c.Days[i]
		path := fmt.Sprintf("constraints.days[%d]", i)
		if d.Minutes < minMinutes || d.Minutes > maxMinutes {
			s.bad.Add("OUT_OF_RANGE", path+".minutes", fmt.Sprintf("is %d; a session has %d to %d minutes", d.Minutes, minMinutes, maxMinutes))
		}
		switch {
		case d.Weekday == plan.WeekdayUnspecified:
			unset++
		case d.Weekday > plan.Sunday:
			s.bad.Add("UNKNOWN_WEEKDAY", path+".weekday", "is not a day of the week")
		case seen[d.Weekday]:
			s.bad.Add("DUPLICATE", path+".weekday", d.Weekday.String()+" is listed twice; one session a day")
		default:
			seen[d.Weekday] = true
		}
		if d.PlaceID == "" && len(c.Places) > 0 {
			d.PlaceID = c.Places[0].ID
			if len(c.Places) > 1 && !none {
				s.assume(path+".place_id", "Trains at "+placeName(&c.Places[0])+", the first place listed.")
			}
		} else if !ids[d.PlaceID] {
			s.bad.Add("UNKNOWN_PLACE", path+".place_id", fmt.Sprintf("%q is not one of constraints.places", d.PlaceID))
		}
	}
	switch {
	case unset == n:
		for i := range c.Days {
			c.Days[i].Weekday = defaultWeekdays[n][i]
		}
		s.assume("constraints.days", fmt.Sprintf("The days are spread over the week as %s.", joinDays(c.Days)))
	case unset > 0:
		s.bad.Add("MIXED", "constraints.days", "gives a weekday for some days and not for others; give all or none")
	}
	for i, p := range c.Periods {
		path := fmt.Sprintf("constraints.place_periods[%d]", i)
		if !ids[p.PlaceID] {
			s.bad.Add("UNKNOWN_PLACE", path+".place_id", fmt.Sprintf("%q is not one of constraints.places", p.PlaceID))
		}
		dates, weeks := p.FromDate.Set && p.ToDate.Set, p.FromWeek.Set && p.ToWeek.Set
		switch {
		case dates == weeks:
			s.bad.Add("REQUIRED", path, "needs either both dates or both weeks")
		case dates && p.ToDate.Value < p.FromDate.Value, weeks && (p.FromWeek.Value < 1 || p.ToWeek.Value < p.FromWeek.Value):
			s.bad.Add("OUT_OF_RANGE", path, "ends before it begins")
		}
	}
}

func joinDays(days []plan.Day) string {
	out := ""
	for i, d := range days {
		if i > 0 {
			out += ", "
		}
		out += d.Weekday.String()
	}
	return out
}

func (s *settler) dates() {
	c := &s.b.Request.Constraints
	s.base = c.PreparedOn
	if !s.base.Set {
		s.base = c.Start
	}
	if !s.last.Set || s.last.Value < s.base.Value {
		s.last = s.base
	}
	if c.PreparedOn.Set && c.Start.Set && c.Start.Value < c.PreparedOn.Value {
		s.bad.Add("OUT_OF_RANGE", "constraints.start_date", "is before constraints.prepared_on; a program starts on or after the day it is made")
	}
	for i, n := range c.NoTraining {
		if n.To < n.From {
			s.bad.Add("OUT_OF_RANGE", fmt.Sprintf("constraints.no_training[%d]", i), "ends before it begins")
		}
		if !c.Start.Set {
			s.bad.Add("REQUIRED", "constraints.start_date", "is needed where dates without training are given")
		}
	}
	for i, p := range c.Periods {
		if p.FromDate.Set && !c.Start.Set {
			s.bad.Add("REQUIRED", "constraints.start_date", fmt.Sprintf("is needed where place_periods[%d] is given by dates", i))
		}
	}
	target := c.Target
	for i, g := range s.b.Request.Goals {
		if g.Kind != plan.GoalPeak {
			continue
		}
		if !g.Date.Set {
			s.bad.Add("REQUIRED", fmt.Sprintf("goals[%d].date", i), "is needed to peak a lift; for strength without a date use GOAL_KIND_RAISE_ONE_RM")
		} else if !target.Set || g.Date.Value > target.Value {
			target = g.Date
		}
	}
	if target.Set && !c.Start.Set {
		s.bad.Add("REQUIRED", "constraints.start_date", "is needed where a target date is given")
		return
	}
	weeks := c.Weeks
	switch {
	case target.Set:
		n := (int32(target.Value)-int32(c.Start.Value))/7 + 1
		if target.Value < c.Start.Value || n > maxWeeks {
			s.bad.Add("OUT_OF_RANGE", "constraints.target_date", fmt.Sprintf("must be within %d weeks after constraints.start_date", maxWeeks))
			return
		}
		if weeks.Set && weeks.Value != n {
			s.bad.Add("CONTRADICTION", "constraints.weeks", fmt.Sprintf("is %d, but the target date %s lies in week %d; give one of the two", weeks.Value, target.Value, n))
		}
		weeks = plan.Some(n)
		c.Target = target
	case !weeks.Set:
		weeks = plan.Some(int32(defaultWeeks))
		if n := planWeeks(s.b.Request.Plan); n > 0 {
			weeks = plan.Some(n)
		} else {
			s.assume("constraints.weeks", fmt.Sprintf("The program lasts %d weeks.", defaultWeeks))
		}
	}
	if weeks.Value < 1 || weeks.Value > maxWeeks {
		s.bad.Add("OUT_OF_RANGE", "constraints.weeks", fmt.Sprintf("is %d; a program has 1 to %d weeks", weeks.Value, maxWeeks))
	}
	c.Weeks = weeks
	s.b.Weeks = weeks.Value
	if !c.Start.Set {
		s.assume("constraints.start_date", "The program is undated; week 1 starts whenever the athlete does.")
	}
}

// planWeeks sums the weeks of the first track where every segment states them.
func planWeeks(p plan.Plan) int32 {
	if len(p.Tracks) == 0 {
		return 0
	}
	n := int32(0)
	for _, seg := range p.Tracks[0].Segments {
		if !seg.Weeks.Set {
			return 0
		}
		n += seg.Weeks.Value
	}
	if p.LeadIn.Set {
		n += p.LeadIn.Value.Weeks
	}
	return n
}
