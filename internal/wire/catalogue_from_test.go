package wire

import (
	"testing"

	"github.com/stretchr/testify/require"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies"
)

// A client that knows a catalogue from its server knows all of it.
func TestCatalogueComesBackWhole(t *testing.T) {
	var list []*pb.Exercise
	for _, e := range exercise.Builtin().All() {
		list = append(list, ExerciseToProto(e))
	}
	back, err := CatalogueFromProto(list)
	require.NoError(t, err)
	require.Equal(t, exercise.Builtin().All(), back.All())
}

func TestStrategiesComeBackWhole(t *testing.T) {
	for _, s := range strategies.Builtin() {
		d := s.Describe()
		back, err := StrategyFromProto(StrategyToProto(&d))
		require.NoError(t, err)
		require.Equal(t, d, back)
	}
}

func TestAuditComesBackWhole(t *testing.T) {
	p := fullProgram(t)
	findings, rules, intact, err := AuditedFromProto(AuditedToProto(p.Findings, p.Rules, true))
	require.NoError(t, err)
	require.True(t, intact)
	require.Equal(t, p.Findings, findings)
	require.Equal(t, p.Rules, rules)
}

func TestUnknownValuesOfACatalogueAreNamed(t *testing.T) {
	bad := ExerciseToProto(exercise.Builtin().All()[0])
	bad.Loading, bad.Traits, bad.PrimeMuscles = 99, []pb.ExerciseTrait{99}, []pb.Muscle{1, 99}
	bad.Joints = []*pb.StressedJoint{{Joint: 99}, {Joint: 1, Stress: 300}}
	_, err := CatalogueFromProto([]*pb.Exercise{bad})
	f, ok := fault.As(err)
	require.True(t, ok)
	var fields []string
	for _, v := range f.Violations {
		fields = append(fields, v.Field)
	}
	require.Equal(t, []string{"exercises[0].joints[0].joint", "exercises[0].joints[1].stress", "exercises[0].loading", "exercises[0].prime_muscles[1]", "exercises[0].traits[0]"}, fields)

	_, err = StrategyFromProto(&pb.Strategy{Parameters: []*pb.ParameterSpec{{Kind: pb.ParameterKind(plan.ValueSets + 1)}}})
	require.ErrorContains(t, err, "parameters[0].kind: ")
}
