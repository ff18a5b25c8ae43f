package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// CatalogueFromProto makes a catalogue of the exercises that a server listed. The
// error is a fault.Invalid with the paths of the list.
func CatalogueFromProto(list []*pb.Exercise) (*exercise.Catalogue, error) {
	r := newReader()
	all := each(r, "exercises", list, exerciseFrom)
	if err := r.bad.Err(); err != nil {
		return nil, err
	}
	return new(exercise.Catalogue).With(all)
}

// traits ends the numbers of traits; a flag's is its place, counted from 1.
const traits = uint8(pb.ExerciseTrait_EXERCISE_TRAIT_TIMED) + 1

func exerciseFrom(r *reader, p *pb.Exercise) exercise.Exercise {
	o := ownFrom(r, p)
	return exercise.FromOwn(&o)
}

func ownFrom(r *reader, p *pb.Exercise) plan.OwnExercise {
	o := plan.OwnExercise{
		ID:             p.GetId(),
		Name:           p.GetDisplayName(),
		CallerID:       p.GetCallerId(),
		Pattern:        enum(r, "pattern", p.GetPattern(), plan.PatternCount),
		Role:           enum(r, "role", p.GetRole(), plan.RoleCount),
		Prime:          enums(r, "prime_muscles", p.GetPrimeMuscles(), plan.MuscleCount),
		Secondary:      enums(r, "secondary_muscles", p.GetSecondaryMuscles(), plan.MuscleCount),
		Equipment:      alternativesFrom(r, "equipment", p.GetEquipment()),
		Loading:        enum(r, "loading", p.GetLoading(), plan.LoadingCount),
		Bar:            enum(r, "bar", p.GetBar(), plan.EquipmentCount),
		AddedNeeds:     alternativesFrom(r, "added_load_equipment", p.GetAddedLoadEquipment()),
		Unilateral:     p.GetUnilateral(),
		BodyMassShare:  r.permille("body_mass_share_percent", p.GetBodyMassSharePercent()),
		Setup:          plan.Seconds(p.GetSetupSeconds()),
		Rep:            plan.Seconds(p.GetRepSeconds()),
		SetSetup:       plan.Seconds(p.GetSetSetupSeconds()),
		Skill:          enum(r, "skill", p.GetSkill(), plan.SkillHigh+1),
		StepMilliKg:    r.scaled("step_kilograms", p.GetStepKilograms(), perUnit),
		StepMilliLb:    r.scaled("step_pounds", p.GetStepPounds(), perUnit),
		Curve:          p.GetCurve(),
		Region:         enum(r, "region", p.GetRegion(), uint8(exercise.RegionCount)),
		Standing:       enum(r, "standing", p.GetStanding(), uint8(exercise.StandingCount)),
		MinReps:        p.GetMinReps(),
		Group:          p.GetGroup(),
		RelatedTo:      p.GetRelatedTo(),
		RelatedRatio:   r.permille("related_percent", p.GetRelatedPercent()),
		MaxPlausibleKg: p.GetMaxPlausibleKilograms(),
		Source:         p.GetSource(),
		Joints: each(r, "joints", p.GetJoints(), func(r *reader, j *pb.StressedJoint) plan.JointStress {
			return plan.JointStress{Joint: enum(r, "joint", j.GetJoint(), plan.JointCount), Level: enum(r, "stress", j.GetStress(), uint8(exercise.StressMarked+1))}
		}),
	}
	for _, t := range enums(r, "traits", p.GetTraits(), traits) {
		o.Flags |= 1 << (t - 1)
	}
	return o
}

func alternativesFrom(r *reader, name string, list []*pb.EquipmentSet) [][]plan.Equipment {
	return each(r, name, list, func(r *reader, p *pb.EquipmentSet) []plan.Equipment {
		return enums(r, "items", p.GetItems(), plan.EquipmentCount)
	})
}

// StrategyFromProto reads what StrategyToProto writes.
func StrategyFromProto(p *pb.Strategy) (plan.Descriptor, error) {
	r := newReader()
	d := plan.Descriptor{
		Name:     p.GetId(),
		Version:  p.GetVersion(),
		Says:     p.GetDescription(),
		Claims:   p.GetClaims(),
		MinWeeks: p.GetMinWeeks(),
		MaxWeeks: p.GetMaxWeeks(),
		External: p.GetExternal(),
		Params:   each(r, "parameters", p.GetParameters(), specFrom),
	}
	return d, r.bad.Err()
}

func specFrom(r *reader, p *pb.ParameterSpec) plan.ParamSpec {
	s := plan.ParamSpec{
		Name:    p.GetName(),
		Kind:    enum(r, "kind", p.GetKind(), plan.ValueSets+1),
		Default: valueFrom(r, "default", p.GetDefault()),
		Choices: p.GetChoices(),
		Unit:    p.GetUnit(),
		Whole:   p.GetWhole(),
		Varies:  p.GetVaries(),
		Says:    p.GetDescription(),
		Source:  p.GetSource(),
	}
	per := 1.0
	if s.Kind == plan.ValueNumber {
		per = perUnit
	}
	s.Min, s.Max = r.scaled("min", p.GetMin(), per), r.scaled("max", p.GetMax(), per)
	return s
}

// AuditedFromProto reads what AuditedToProto writes.
func AuditedFromProto(p *pb.AuditProgramResponse) (findings []plan.Finding, rules []plan.Rule, intact bool, err error) {
	r := newReader()
	findings = each(r, "findings", p.GetFindings(), findingFrom)
	rules = each(r, "rules", p.GetRules(), ruleFrom)
	return findings, rules, p.GetIntact(), r.bad.Err()
}

func ruleFrom(_ *reader, p *pb.Rule) plan.Rule {
	return plan.Rule{ID: plan.RuleID(p.GetId()), Says: p.GetDescription(), Source: p.GetSource()}
}
