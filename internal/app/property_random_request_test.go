package app_test

import (
	"fmt"
	"math/bits"
	"slices"

	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// requests draws valid requests: nothing in them is wrong in itself, though safety may
// refuse them or their wishes may clash. Shrinking leads to the plain adult.
func requests(cat *exercise.Catalogue, known []engine.Strategy) *rapid.Generator[plan.Request] {
	return rapid.Custom(func(t *rapid.T) plan.Request {
		d := &drawer{T: t, cat: cat}
		d.own()
		d.dates()
		d.places()
		d.days()
		d.athlete()
		d.performances()
		d.restrictions()
		d.goals()
		d.wishes()
		d.plan(known)
		d.compose(known)
		return d.r
	})
}

type drawer struct {
	*rapid.T
	cat      *exercise.Catalogue
	r        plan.Request
	unit     plan.MassUnit
	base     plan.Opt[plan.Date]
	weeks    int32
	possible []string // ids that can be done at the first place and are not restricted
	taken    []string // ids of goals and pins
	lists    bool     // parameters that are lists of sets are drawn too
}

// n is even over its range, unlike rapid's own ranges, which lean to their ends; it
// shrinks to lo.
func (d *drawer) n(lo, hi int32, label string) int32 {
	span, v := uint32(hi-lo)+1, uint32(0)
	for range bits.Len32(span-1) + 3 {
		v <<= 1
		if coin.Draw(d.T, label) {
			v |= 1
		}
	}
	return lo + int32(v%span)
}

var coin = rapid.Bool()

// chance is true in so many percent of cases; it shrinks to false.
func (d *drawer) chance(percent int32, label string) bool { return d.n(1, 100, label) > 100-percent }

func (d *drawer) maybe(percent int32, label string) plan.Opt[bool] {
	if !d.chance(percent, label+" answered") {
		return plan.Opt[bool]{}
	}
	return plan.Some(d.chance(50, label))
}

func (d *drawer) id(label string) string {
	return d.cat.All()[d.n(0, int32(d.cat.Len())-1, label)].ID
}

// mass is in the request's unit: kg rounded to a step of thousandths, or about as many
// pounds on a step of their own.
func (d *drawer) mass(kg int64, stepKg, stepLb int64) plan.Load {
	if d.unit == plan.Pound {
		return plan.Lb(max(kg*22/10/stepLb*stepLb, stepLb))
	}
	return plan.Kg(max(kg/stepKg*stepKg, stepKg))
}

// own brings along a few exercises like those of the catalogue, which all that follows may
// name too.
func (d *drawer) own() {
	if !d.chance(12, "own exercises") {
		return
	}
	for range d.n(1, 3, "own") {
		like, _ := d.cat.ByID(d.id("own like"))
		x := exercise.Own(like)
		x.ID, x.Name, x.CallerID = fmt.Sprintf("own-%d", len(d.r.Own)+1), fmt.Sprintf("Own exercise %d", len(d.r.Own)+1), "club"
		x.Setup, x.Standing = plan.Seconds(d.n(0, 180, "own setting up")), uint8(d.n(1, 3, "own standing"))
		if d.chance(30, "own group") {
			x.Group = x.ID
		}
		d.r.Own = append(d.r.Own, x)
	}
	with, err := d.cat.WithOwn(d.r.Own)
	if err != nil {
		d.Fatalf("own exercises: %v", err)
	}
	d.cat = with
}

func (d *drawer) dates() {
	c := &d.r.Constraints
	d.weeks = d.n(1, 20, "weeks")
	c.Weeks = plan.Some(d.weeks)
	d.unit = plan.Kilogram
	if d.chance(40, "pounds") {
		d.unit = plan.Pound
	}
	c.Unit = d.unit
	first, _ := plan.ParseDate("2027-01-04")
	if d.chance(55, "dated") {
		c.Start = plan.Some(first.AddDays(int(d.n(0, 400, "start"))))
		d.base = c.Start
		if d.chance(30, "prepared earlier") {
			c.PreparedOn = plan.Some(c.Start.Value.AddDays(-int(d.n(0, 30, "days earlier"))))
			d.base = c.PreparedOn
		}
	} else if d.chance(40, "prepared") {
		c.PreparedOn = plan.Some(first)
		d.base = c.PreparedOn
	}
	if c.Start.Set && d.chance(25, "no training") {
		for range d.n(1, 2, "ranges") {
			from := c.Start.Value.AddDays(int(d.n(0, 7*d.weeks-1, "off from")))
			c.NoTraining = append(c.NoTraining, plan.DateRange{From: from, To: from.AddDays(int(d.n(0, 9, "off days")))})
		}
	}
	d.r.Seed = uint32(d.n(0, 3, "seed"))
}

func (d *drawer) places() {
	c := &d.r.Constraints
	for range 1 + max(0, d.n(-4, 2, "more places")) {
		c.Places = append(c.Places, d.place())
	}
	for i := range c.Places {
		c.Places[i].ID = [...]string{"gym", "home", "hotel"}[i]
	}
	if len(c.Places) > 1 && d.chance(60, "place periods") {
		p := plan.PlacePeriod{PlaceID: c.Places[d.n(1, int32(len(c.Places))-1, "period place")].ID}
		if c.Start.Set && d.chance(50, "by date") {
			from := c.Start.Value.AddDays(int(d.n(0, 7*d.weeks-1, "period from")))
			p.FromDate, p.ToDate = plan.Some(from), plan.Some(from.AddDays(int(d.n(0, 20, "period days"))))
		} else {
			from := d.n(1, d.weeks, "period from week")
			p.FromWeek, p.ToWeek = plan.Some(from), plan.Some(from+d.n(0, 3, "period weeks"))
		}
		c.Periods = append(c.Periods, p)
	}
}

func (d *drawer) place() plan.Place {
	var p plan.Place
	if d.chance(50, "safeties said") {
		p.Safeties = plan.Some(d.chance(50, "safeties"))
	}
	if !d.chance(35, "hand-made") {
		p.Preset = plan.Preset(d.n(int32(plan.PresetFullGym), int32(plan.PresetMachines), "preset"))
		if d.chance(15, "something absent") {
			p.Absent = []plan.Equipment{plan.Equipment(d.n(1, int32(plan.EquipmentCount)-1, "absent"))}
		}
		return p
	}
	for e := plan.Equipment(1); e < plan.EquipmentCount; e++ {
		if d.chance(30, "item") {
			p.Items = append(p.Items, e)
		}
	}
	if len(p.Items) == 0 {
		p.Items = []plan.Equipment{plan.Bands}
	}
	d.stock(&p)
	return p
}

// stock gives every item that needs them loads; plates may be of both units.
func (d *drawer) stock(p *plan.Place) {
	for _, kg := range [...]int64{25, 20, 15, 10, 5, 2, 1} {
		if d.chance(60, "plate") {
			m := d.mass(kg*1000, 250, 500)
			if d.chance(8, "foreign plate") {
				m = plan.Lb(kg * 2000)
			}
			p.Plates = append(p.Plates, plan.PlateStock{Mass: m, Count: d.n(1, 6, "plates")})
		}
	}
	pair := d.mass(10_000, 250, 500)
	if i := slices.IndexFunc(p.Plates, func(s plan.PlateStock) bool { return s.Mass == pair }); i >= 0 {
		p.Plates[i].Count = max(p.Plates[i].Count, 2)
	} else {
		p.Plates = append(p.Plates, plan.PlateStock{Mass: pair, Count: 2})
	}
	p.Stacks = []plan.Stack{{First: d.mass(5000, 500, 1000), Step: d.mass(1000*int64(d.n(2, 10, "stack step")), 500, 1000), Last: d.mass(100_000, 500, 1000)}}
	for _, item := range p.Items {
		switch item {
		case plan.AssistedPullUpMachine:
			if d.chance(60, "counterweight") {
				p.Stacks = append(p.Stacks, plan.Stack{Kind: item, First: d.mass(1000*int64(d.n(2, 10, "first help")), 500, 1000),
					Step: d.mass(1000*int64(d.n(2, 10, "step of help")), 500, 1000), Last: d.mass(1000*int64(d.n(30, 120, "most help")), 500, 1000)})
			}
		case plan.Barbell, plan.EZBar, plan.TrapBar:
			p.Bars = append(p.Bars, plan.Bar{Kind: item, Mass: d.mass(1000*int64(d.n(7, 25, "bar")), 500, 1000)})
		case plan.Dumbbells:
			p.Dumbbells = d.held(2, 40, "dumbbell")
		case plan.Kettlebells:
			p.Kettlebells = d.held(8, 32, "kettlebell")
		}
	}
}

func (d *drawer) held(lo, hi int32, label string) []plan.HeldStock {
	var out []plan.HeldStock
	for range d.n(1, 8, label+"s") {
		out = append(out, plan.HeldStock{Mass: d.mass(1000*int64(d.n(lo, hi, label)), 500, 500), Count: d.n(1, 2, label+" count")})
	}
	return out
}

func (d *drawer) days() {
	c := &d.r.Constraints
	n := d.n(1, 6, "days")
	week := []plan.Weekday{1, 2, 3, 4, 5, 6, 7}
	named := d.chance(60, "weekdays")
	for range n {
		day := plan.Day{Minutes: d.n(20, 120, "minutes")}
		if d.chance(50, "round minutes") {
			day.Minutes = day.Minutes / 15 * 15
			day.Minutes = max(day.Minutes, 20)
		}
		if named {
			i := d.n(0, int32(len(week))-1, "weekday")
			day.Weekday = week[i]
			week = slices.Delete(week, int(i), int(i)+1)
		}
		if len(c.Places) > 1 && d.chance(50, "own place") {
			day.PlaceID = c.Places[d.n(0, int32(len(c.Places))-1, "day place")].ID
		}
		c.Days = append(c.Days, day)
	}
	for _, o := range []string{"sport", "match"} {
		if d.chance(12, o) {
			d.r.Athlete.Other = append(d.r.Athlete.Other, plan.OtherTraining{Weekday: plan.Weekday(d.n(1, 7, o+" day")), Name: o,
				Hard: d.chance(50, "hard"), Lower: d.chance(60, "lower"), Upper: d.chance(30, "upper"), Match: o == "match"})
		}
	}
}

func (d *drawer) athlete() {
	a := &d.r.Athlete
	a.Age = plan.AgeAdult
	switch k := d.n(1, 100, "age"); {
	case k > 93:
		d.minor(a)
	case k > 80:
		a.Age = plan.AgeOlder
	case k > 70 && d.base.Set:
		a.Age, a.BirthYear = plan.AgeUnspecified, plan.Some(int32(d.base.Value.Year())-d.n(19, 85, "years"))
	}
	if d.chance(85, "status said") {
		a.Status = plan.Status(d.n(1, 3, "status"))
	} else if d.chance(50, "training age") {
		a.TrainingAgeMonths = plan.Some(d.n(0, 120, "months"))
	}
	if d.chance(75, "body mass") {
		a.BodyMass = plan.Some(d.mass(1000*int64(d.n(40, 130, "body")), 100, 100))
	}
	a.Sex = plan.Sex(d.n(0, 2, "sex"))
	if a.Supervision == plan.SupervisionUnspecified {
		a.Supervision = plan.Supervision(d.n(0, 3, "supervision"))
	}
	a.Spotter = d.maybe(60, "spotter")
	d.screening(a)
	if a.Sex == plan.Female && a.Age == plan.AgeAdult && d.chance(15, "pregnancy") {
		a.Pregnancy = plan.Pregnancy(d.n(1, 4, "stage"))
		a.Uncomplicated = plan.Some(!d.chance(10, "complicated"))
	}
	if d.chance(25, "layoff") {
		a.LayoffWeeks = plan.Some(d.n(0, 30, "layoff weeks"))
	}
	if d.chance(30, "current each") {
		a.CurrentSetsEach = plan.Some(plan.HalfSets(d.n(0, 40, "each")))
	}
	for range max(0, d.n(-5, 3, "current sets")) {
		m := d.muscle("current muscle")
		if !slices.ContainsFunc(a.CurrentSets, func(x plan.MuscleSets) bool { return x.Muscle == m }) {
			a.CurrentSets = append(a.CurrentSets, plan.MuscleSets{Muscle: m, Sets: plan.HalfSets(d.n(0, 50, "now"))})
		}
	}
	for range max(0, d.n(-4, 2, "skills")) {
		s := plan.MovementSkill{Skill: plan.Skill(d.n(1, 3, "skill"))}
		if d.chance(50, "skill of a pattern") {
			s.Pattern = plan.Pattern(d.n(1, int32(plan.PatternCount)-1, "skill pattern"))
		} else {
			s.ExerciseID = d.id("skill exercise")
		}
		a.Skills = append(a.Skills, s)
	}
}

// minor makes most of the requests for the young ones that can be met.
func (d *drawer) minor(a *plan.Athlete) {
	a.Age = plan.AgeAdolescent
	if d.chance(30, "child") {
		a.Age = plan.AgeChild
	}
	if !d.chance(15, "alone") {
		a.Supervision = plan.Qualified
	}
	c := &d.r.Constraints
	if len(c.Days) > 3 && !d.chance(10, "many days") {
		c.Days = c.Days[:2]
	}
	for i := range c.Days {
		if c.Days[0].Weekday != plan.WeekdayUnspecified {
			c.Days[i].Weekday = plan.Weekday(1 + 2*i%7)
		}
	}
}

func (d *drawer) screening(a *plan.Athlete) {
	var s plan.Screening
	switch k := d.n(1, 100, "screening"); {
	case k <= 55: // the plain case
		s = plan.Screening{RegularExercise: plan.Some(true), KnownDisease: plan.Some(false), Symptoms: plan.Some(false)}
	case k <= 70:
		return
	case k <= 85:
		s = plan.Screening{RegularExercise: d.maybe(80, "regular"), KnownDisease: plan.Some(false), Symptoms: plan.Some(false)}
	default:
		s = plan.Screening{RegularExercise: d.maybe(90, "regular"), KnownDisease: d.maybe(90, "disease"), Symptoms: plan.Some(d.chance(20, "symptoms"))}
		if d.chance(40, "condition") {
			s.Conditions = []plan.Condition{plan.Condition(d.n(int32(plan.MajorCoronaryRisk), int32(plan.RapidWeightLoss), "condition"))}
			if d.chance(10, "contraindication") {
				s.Conditions[0] = plan.Condition(d.n(1, int32(plan.ConditionCount)-1, "any condition"))
			}
		}
		if d.chance(85, "clearance") {
			v := plan.Clearance{Scope: plan.Scope(d.n(1, 2, "scope"))}
			if d.base.Set {
				v.Date = plan.Some(d.base.Value.AddDays(-int(d.n(0, 400, "clearance age"))))
			}
			a.Clearance = plan.Some(v)
		}
	}
	a.Screening = plan.Some(s)
}

func (d *drawer) muscle(label string) plan.Muscle {
	return plan.Muscle(d.n(1, int32(plan.MuscleCount)-1, label))
}

func (d *drawer) performances() {
	a := &d.r.Athlete
	big := []string{"back-squat", "bench-press", "deadlift", "overhead-press", "leg-press", "lat-pulldown", "dumbbell-bench-press", "goblet-squat", "push-up", "pull-up", "dip", "barbell-curl", "leg-extension", "assisted-pull-up", "assisted-dip"}
	for range max(0, d.n(-2, 8, "performances")) {
		id := big[d.n(0, int32(len(big))-1, "big")]
		if d.chance(40, "any exercise") {
			id = d.id("performed")
		}
		x, ok := d.cat.ByID(id)
		if !ok || x.Is(exercise.Timed) || x.BodyMassShare > 0 && x.Loading.Loadable() && !a.BodyMass.Set {
			continue
		}
		p := plan.Performance{ExerciseID: id, Reps: d.n(1, 15, "reps")}
		switch {
		case x.Loading.Loadable() && x.Loading != plan.LoadingAdded:
			p.Load = plan.Some(d.mass(min(int64(x.MaxPlausibleKg), load.MaxPlausible(string(x.Curve))/1000)*10*int64(d.n(15, 55, "of the most")), 500, 1000))
		case x.Loading == plan.LoadingAssisted && a.BodyMass.Set && d.chance(80, "help said"):
			body := a.BodyMass.Value.Grams()
			p.Load = plan.Some(d.mass(body*int64(d.n(5, 80, "help"))/100, 500, 1000))
		case x.Loading == plan.LoadingAdded && d.chance(50, "added"):
			p.Load = plan.Some(d.mass(1000*int64(d.n(1, 20, "added load")), 500, 1000))
		}
		if d.chance(40, "failure") {
			p.ToFailure = true
		} else {
			p.RIR = plan.Some(d.n(0, 5, "rir"))
		}
		if d.base.Set && d.chance(60, "performed on") {
			p.Date = plan.Some(d.base.Value.AddDays(-int(d.n(0, 300, "days ago"))))
		}
		if slices.ContainsFunc(a.Performances, func(o plan.Performance) bool { return o.ExerciseID == id && (tests(&o) || tests(&p)) }) {
			continue // it could contradict the other
		}
		a.Performances = append(a.Performances, p)
	}
}

// tests reports a tested 1RM.
func tests(p *plan.Performance) bool { return p.Reps == 1 && p.RIR.Or(0) == 0 }

func (d *drawer) restrictions() {
	for range max(0, d.n(-5, 2, "restrictions")) {
		r := plan.Restriction{Severity: plan.Severity(d.n(0, 2, "severity"))}
		switch d.n(0, 2, "restricted") {
		case 0:
			r.Joint = plan.Joint(d.n(1, int32(plan.JointCount)-1, "joint"))
		case 1:
			r.Pattern = plan.Pattern(d.n(1, int32(plan.PatternCount)-1, "pattern"))
		default:
			r.ExerciseID = d.id("restricted exercise")
		}
		d.r.Athlete.Restrictions = append(d.r.Athlete.Restrictions, r)
	}
	at := d.r.Constraints.Places[0]
	if id := d.r.Constraints.Days[0].PlaceID; id != "" {
		at = *placeOf(&d.r, id)
	}
	at = exercise.ExpandPreset(at, d.unit)
	for _, x := range d.cat.All() {
		if x.Available(&at) && !restricted(&d.r, x) {
			d.possible = append(d.possible, x.ID)
		}
	}
}

// doable draws an exercise that can most often be done.
func (d *drawer) doable(label string) string {
	if len(d.possible) == 0 || d.chance(4, label+" anywhere") {
		return d.id(label)
	}
	return d.possible[d.n(0, int32(len(d.possible))-1, label)]
}
