package exercise

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// MaxOwn is the most exercises that one request may bring along.
const MaxOwn = 1000

// Own gives an exercise as a request carries it; FromOwn gives it back.
func Own(e *Exercise) plan.OwnExercise {
	c := e.clone()
	o := plan.OwnExercise{
		ID: c.ID, Name: c.Name, CallerID: c.CallerID, Pattern: c.Pattern, Role: c.Role,
		Equipment: c.Equipment, Loading: c.Loading, Bar: c.Bar, AddedNeeds: c.AddedNeeds,
		Unilateral: c.Unilateral, BodyMassShare: c.BodyMassShare, Setup: c.Setup, Rep: c.Rep, SetSetup: c.SetSetup,
		Skill: c.Skill, StepMilliKg: c.StepMilliKg, StepMilliLb: c.StepMilliLb, Curve: string(c.Curve),
		Region: uint8(c.Region), Standing: uint8(c.Standing), Flags: uint16(c.Flags), MinReps: c.MinReps, Group: c.Group,
		RelatedTo: c.RelatedTo, RelatedRatio: c.RelatedRatio, MaxPlausibleKg: c.MaxPlausibleKg, Source: c.Source,
	}
	for m, share := range c.Involvement {
		switch share {
		case Prime:
			o.Prime = append(o.Prime, plan.Muscle(m))
		case Secondary:
			o.Secondary = append(o.Secondary, plan.Muscle(m))
		}
	}
	for j, level := range c.Stress {
		if level > 0 {
			o.Joints = append(o.Joints, plan.JointStress{Joint: plan.Joint(j), Level: level})
		}
	}
	return o
}

// FromOwn gives the exercise that a request carries. Muscles and joints that don't exist
// are left out here and refused by WithOwn.
func FromOwn(o *plan.OwnExercise) Exercise {
	e := Exercise{
		ID: o.ID, Name: o.Name, CallerID: o.CallerID, Pattern: o.Pattern, Role: o.Role,
		Equipment: o.Equipment, Loading: o.Loading, Bar: o.Bar, AddedNeeds: o.AddedNeeds,
		Unilateral: o.Unilateral, BodyMassShare: o.BodyMassShare, Setup: o.Setup, Rep: o.Rep, SetSetup: o.SetSetup,
		Skill: o.Skill, StepMilliKg: o.StepMilliKg, StepMilliLb: o.StepMilliLb, Curve: Curve(o.Curve),
		Region: Region(o.Region), Standing: Standing(o.Standing), Flags: Flag(o.Flags), MinReps: o.MinReps, Group: o.Group,
		RelatedTo: o.RelatedTo, RelatedRatio: o.RelatedRatio, MaxPlausibleKg: o.MaxPlausibleKg, Source: o.Source,
	}
	for _, m := range o.Secondary {
		if m < plan.MuscleCount {
			e.Involvement[m] = Secondary
		}
	}
	for _, m := range o.Prime {
		if m < plan.MuscleCount {
			e.Involvement[m] = Prime
		}
	}
	for _, j := range o.Joints {
		if j.Joint < plan.JointCount {
			e.Stress[j.Joint] = j.Level
		}
	}
	return *e.clone()
}

// WithOwn gives a catalogue that has a request's own exercises too; the catalogue itself
// where there are none. The fault is Invalid as With's, with the paths of the schema:
// own_exercises[1].prime_muscles.
func (c *Catalogue) WithOwn(own []plan.OwnExercise) (*Catalogue, error) {
	if len(own) == 0 {
		return c, nil
	}
	bad := fault.NewCollector(fault.Invalid)
	if len(own) > MaxOwn {
		bad.Add("TOO_MANY", "own_exercises", fmt.Sprintf("has %d exercises; at most %d", len(own), MaxOwn))
		return nil, bad.Err()
	}
	list := make([]Exercise, len(own))
	for i := range own {
		list[i] = FromOwn(&own[i])
		listed(&own[i], func(field, says string) {
			bad.Add(ReasonInvalid, fmt.Sprintf("own_exercises[%d].%s", i, field), says)
		})
	}
	out, err := c.With(list)
	if f, ok := fault.As(err); ok && f.Kind == fault.Invalid {
		for _, v := range f.Violations {
			bad.Add(v.Reason, "own_"+v.Field, v.Says)
		}
	} else if err != nil {
		return nil, err
	}
	if err := bad.Err(); err != nil {
		return nil, err
	}
	return out, nil
}

// listed refuses what lists can say wrongly and an Exercise can't.
func listed(o *plan.OwnExercise, bad func(field, says string)) {
	var seen [plan.MuscleCount]bool
	for _, list := range [...]struct {
		field   string
		muscles []plan.Muscle
	}{{"prime_muscles", o.Prime}, {"secondary_muscles", o.Secondary}} {
		for _, m := range list.muscles {
			switch {
			case m == plan.MuscleUnspecified || m >= plan.MuscleCount:
				bad(list.field, "must be of "+strings.Join(tokens(plan.MuscleCount), ", "))
			case seen[m]:
				bad(list.field, m.String()+" stands twice; a muscle is either prime or secondary, once")
			default:
				seen[m] = true
			}
		}
	}
	var joints []plan.Joint
	for _, j := range o.Joints {
		switch {
		case j.Joint == plan.JointUnspecified || j.Joint >= plan.JointCount || j.Level == 0 || j.Level > StressMarked:
			bad("joints", "each must name a joint, and the stress on it: mild or marked")
		case slices.Contains(joints, j.Joint):
			bad("joints", "the "+j.Joint.String()+" stands twice")
		}
		joints = append(joints, j.Joint)
	}
}

// schemaFields gives the schema's spelling of columns that the data file spells otherwise.
var schemaFields = map[string]string{
	"name": "display_name", "prime": "prime_muscles", "secondary": "secondary_muscles", "added_needs": "added_load_equipment",
	"body_mass_permille": "body_mass_share_percent", "setup_s": "setup_seconds", "rep_s": "rep_seconds", "set_setup_s": "set_setup_seconds",
	"step_kg": "step_kilograms", "step_lb": "step_pounds", "flags": "traits", "related": "related_to", "related_permille": "related_percent",
	"max_plausible_kg": "max_plausible_kilograms",
}

func schemaField(column string) string {
	if f, ok := schemaFields[column]; ok {
		return f
	}
	return column
}
