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
	p := &pb.Exercise{
		Name:                  ExerciseName(e.ID),
		Id:                    e.ID,
		DisplayName:           e.Name,
		CallerId:              e.CallerID,
		Pattern:               pb.MovementPattern(e.Pattern),
		Role:                  pb.ExerciseRole(e.Role),
		Equipment:             alternatives(e.Equipment),
		Loading:               pb.Loading(e.Loading),
		Bar:                   pb.Equipment(e.Bar),
		AddedLoadEquipment:    alternatives(e.AddedNeeds),
		Unilateral:            e.Unilateral,
		BodyMassSharePercent:  percentTo(e.BodyMassShare),
		SetupSeconds:          int32(e.Setup),
		RepSeconds:            int32(e.Rep),
		SetSetupSeconds:       int32(e.SetSetup),
		Skill:                 pb.SkillLevel(e.Skill),
		StepKilograms:         unscale(e.StepMilliKg),
		StepPounds:            unscale(e.StepMilliLb),
		Curve:                 string(e.Curve),
		Region:                pb.BodyRegion(e.Region),
		MinReps:               e.MinReps,
		Group:                 e.Group,
		RelatedTo:             e.RelatedTo,
		RelatedPercent:        percentTo(e.RelatedRatio),
		MaxPlausibleKilograms: e.MaxPlausibleKg,
		Source:                e.Source,
		Standing:              pb.ExerciseStanding(e.Standing),
	}
	for m, h := range e.Involvement {
		switch h {
		case exercise.Prime:
			p.PrimeMuscles = append(p.PrimeMuscles, pb.Muscle(m))
		case exercise.Secondary:
			p.SecondaryMuscles = append(p.SecondaryMuscles, pb.Muscle(m))
		}
	}
	for j, s := range e.Stress {
		if s != 0 {
			p.Joints = append(p.Joints, &pb.StressedJoint{Joint: pb.Joint(j), Stress: pb.JointStress(s)})
		}
	}
	for f := e.Flags; f != 0; f &= f - 1 {
		p.Traits = append(p.Traits, trait(f))
	}
	return p
}

// trait gives the number of the lowest flag, counted from 1.
func trait(f exercise.Flag) pb.ExerciseTrait {
	return pb.ExerciseTrait(bits.TrailingZeros16(uint16(f)) + 1)
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
