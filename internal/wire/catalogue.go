package wire

import (
	"math/bits"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// ExerciseName and StrategyName give resource names.
func ExerciseName(id string) string { return "exercises/" + id }

// StrategyName gives the resource name of a strategy.
func StrategyName(id string) string { return "strategies/" + id }

// ExerciseToProto gives the schema's exercise.
func ExerciseToProto(e *exercise.Exercise) *pb.Exercise {
	o := exercise.Own(e)
	return ownTo(&o)
}

func ownTo(o *plan.OwnExercise) *pb.Exercise {
	p := &pb.Exercise{
		Name:                  ExerciseName(o.ID),
		Id:                    o.ID,
		DisplayName:           o.Name,
		CallerId:              o.CallerID,
		Pattern:               pb.MovementPattern(o.Pattern),
		Role:                  pb.ExerciseRole(o.Role),
		PrimeMuscles:          enumsTo[plan.Muscle, pb.Muscle](o.Prime),
		SecondaryMuscles:      enumsTo[plan.Muscle, pb.Muscle](o.Secondary),
		Equipment:             alternatives(o.Equipment),
		Loading:               pb.Loading(o.Loading),
		Bar:                   pb.Equipment(o.Bar),
		AddedLoadEquipment:    alternatives(o.AddedNeeds),
		Unilateral:            o.Unilateral,
		BodyMassSharePercent:  percentTo(o.BodyMassShare),
		SetupSeconds:          int32(o.Setup),
		RepSeconds:            int32(o.Rep),
		SetSetupSeconds:       int32(o.SetSetup),
		Skill:                 pb.SkillLevel(o.Skill),
		StepKilograms:         unscale(o.StepMilliKg),
		StepPounds:            unscale(o.StepMilliLb),
		Curve:                 o.Curve,
		Region:                pb.BodyRegion(o.Region),
		MinReps:               o.MinReps,
		Group:                 o.Group,
		RelatedTo:             o.RelatedTo,
		RelatedPercent:        percentTo(o.RelatedRatio),
		MaxPlausibleKilograms: o.MaxPlausibleKg,
		Source:                o.Source,
		Standing:              pb.ExerciseStanding(o.Standing),
		Joints: eachTo(o.Joints, func(j *plan.JointStress) *pb.StressedJoint {
			return &pb.StressedJoint{Joint: pb.Joint(j.Joint), Stress: pb.JointStress(j.Level)}
		}),
	}
	for f := o.Flags; f != 0; f &= f - 1 {
		p.Traits = append(p.Traits, trait(f))
	}
	return p
}

// trait gives the number of the lowest flag, counted from 1.
func trait(f uint16) pb.ExerciseTrait {
	return pb.ExerciseTrait(bits.TrailingZeros16(f) + 1)
}

func alternatives(list [][]plan.Equipment) []*pb.EquipmentSet {
	return eachTo(list, func(items *[]plan.Equipment) *pb.EquipmentSet {
		return &pb.EquipmentSet{Items: enumsTo[plan.Equipment, pb.Equipment](*items)}
	})
}

// MusclesToProto gives all muscle groups in the order of their numbers.
func MusclesToProto() []*pb.MuscleGroup {
	out := make([]*pb.MuscleGroup, 0, plan.MuscleCount-1)
	for m := plan.MuscleUnspecified + 1; m < plan.MuscleCount; m++ {
		g := &pb.MuscleGroup{Muscle: pb.Muscle(m), DisplayName: m.String()}
		for _, l := range plan.LargeMuscles {
			g.Large = g.Large || l == m
		}
		out = append(out, g)
	}
	return out
}

// StrategyToProto gives the schema's strategy.
func StrategyToProto(d *plan.Descriptor) *pb.Strategy {
	return &pb.Strategy{
		Name:        StrategyName(d.Name),
		Id:          d.Name,
		Version:     d.Version,
		Description: d.Says,
		Claims:      d.Claims,
		MinWeeks:    d.MinWeeks,
		MaxWeeks:    d.MaxWeeks,
		Parameters:  eachTo(d.Params, specTo),
		External:    d.External,
	}
}

func specTo(s *plan.ParamSpec) *pb.ParameterSpec {
	p := &pb.ParameterSpec{
		Name:        s.Name,
		Kind:        pb.ParameterKind(s.Kind),
		Default:     valueTo(s.Default),
		Min:         float64(s.Min),
		Max:         float64(s.Max),
		Choices:     s.Choices,
		Unit:        s.Unit,
		Whole:       s.Whole,
		Varies:      s.Varies,
		Description: s.Says,
		Source:      s.Source,
	}
	if s.Kind == plan.ValueNumber {
		p.Min, p.Max = unscale(s.Min), unscale(s.Max)
	}
	return p
}
