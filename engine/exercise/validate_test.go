package exercise

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func TestValidateNamesTheColumn(t *testing.T) {
	for _, row := range []struct {
		column string
		from   string
		change func(*Exercise)
	}{
		{"id", "deadlift", func(e *Exercise) { e.ID = "Deadlift" }},
		{"id", "deadlift", func(e *Exercise) { e.ID = "dead--lift" }},
		{"id", "deadlift", func(e *Exercise) { e.ID = strings.Repeat("a", maxID+1) }},
		{"name", "deadlift", func(e *Exercise) { e.Name = "" }},
		{"name", "deadlift", func(e *Exercise) { e.Name = " Deadlift" }},
		{"name", "deadlift", func(e *Exercise) { e.Name = "Dead\nlift" }},
		{"source", "deadlift", func(e *Exercise) { e.Source = "" }},
		{"group", "deadlift", func(e *Exercise) { e.Group = "" }},
		{"pattern", "deadlift", func(e *Exercise) { e.Pattern = 0 }},
		{"pattern", "deadlift", func(e *Exercise) { e.Pattern = plan.PatternCount }},
		{"role", "deadlift", func(e *Exercise) { e.Role = plan.GoalLift }},
		{"role", "deadlift", func(e *Exercise) { e.Role = plan.Explosive }},
		{"role", "deadlift", func(e *Exercise) { e.Role = plan.Unloadable }},
		{"role", "power-clean", func(e *Exercise) { e.Role = plan.MultiJoint }},
		{"role", "push-up", func(e *Exercise) { e.Role = plan.MultiJoint }},
		{"skill", "deadlift", func(e *Exercise) { e.Skill = skillCount }},
		{"region", "deadlift", func(e *Exercise) { e.Region = RegionUnspecified }},
		{"standing", "deadlift", func(e *Exercise) { e.Standing = StandingUnspecified }},
		{"standing", "deadlift", func(e *Exercise) { e.Standing = StandingCount }},
		{"prime", "leg-extension", func(e *Exercise) { e.Involvement[plan.Quads] = Secondary }},
		{"prime", "deadlift", func(e *Exercise) { e.Involvement[plan.Chest] = 3 }},
		{"prime", "deadlift", func(e *Exercise) { e.Involvement[0] = Prime }},
		{"joints", "deadlift", func(e *Exercise) { e.Stress[plan.Hip] = 3 }},
		{"joints", "deadlift", func(e *Exercise) { e.Stress[0] = 1 }},
		{"equipment", "deadlift", func(e *Exercise) { e.Equipment = nil }},
		{"equipment", "deadlift", func(e *Exercise) { e.Equipment = [][]plan.Equipment{{plan.Rack}} }},
		{"equipment", "deadlift", func(e *Exercise) { e.Equipment[0] = []plan.Equipment{plan.Barbell, plan.Barbell} }},
		{"equipment", "deadlift", func(e *Exercise) { e.Equipment = append(e.Equipment, e.Equipment[0]) }},
		{"equipment", "push-up", func(e *Exercise) { e.Equipment = [][]plan.Equipment{{}} }},
		{"equipment", "push-up", func(e *Exercise) { e.Equipment = [][]plan.Equipment{{plan.EquipmentCount}} }},
		{"equipment", "push-up", func(e *Exercise) { e.Equipment = make([][]plan.Equipment, maxAlternatives+1) }},
		{"equipment", "goblet-squat", func(e *Exercise) { e.Equipment = [][]plan.Equipment{{plan.Kettlebells}} }},
		{"equipment", "kettlebell-swing", func(e *Exercise) { e.Equipment = [][]plan.Equipment{{plan.Dumbbells}} }},
		{"equipment", "band-row", func(e *Exercise) { e.Equipment = nil }},
		{"equipment", "assisted-pull-up", func(e *Exercise) { e.Equipment = [][]plan.Equipment{{plan.PullUpBar}} }},
		{"equipment", "leg-press", func(e *Exercise) { e.Equipment = nil }},
		{"added_needs", "pull-up", func(e *Exercise) { e.AddedNeeds = nil }},
		{"added_needs", "deadlift", func(e *Exercise) { e.AddedNeeds = [][]plan.Equipment{{plan.DipBelt}} }},
		{"loading", "deadlift", func(e *Exercise) { e.Loading = plan.LoadingCount }},
		{"bar", "deadlift", func(e *Exercise) { e.Bar = plan.Rack }},
		{"bar", "leg-press", func(e *Exercise) { e.Bar = plan.Barbell }},
		{"body_mass_permille", "push-up", func(e *Exercise) { e.BodyMassShare = 1001 }},
		{"body_mass_permille", "push-up", func(e *Exercise) { e.BodyMassShare = -1 }},
		{"body_mass_permille", "pull-up", func(e *Exercise) { e.BodyMassShare = 0 }},
		{"step_kg", "deadlift", func(e *Exercise) { e.StepMilliKg = 0 }},
		{"step_kg", "deadlift", func(e *Exercise) { e.StepMilliKg = maxStepMilli + 1 }},
		{"step_lb", "push-up", func(e *Exercise) { e.StepMilliLb = 5000 }},
		{"max_plausible_kg", "deadlift", func(e *Exercise) { e.MaxPlausibleKg = 0 }},
		{"max_plausible_kg", "push-up", func(e *Exercise) { e.MaxPlausibleKg = 10 }},
		{"curve", "deadlift", func(e *Exercise) { e.Curve = "arms" }},
		{"curve", "deadlift", func(e *Exercise) { e.Curve = CurveBodyweight }},
		{"curve", "push-up", func(e *Exercise) { e.Curve = CurveBench }},
		{"setup_s", "deadlift", func(e *Exercise) { e.Setup = maxSetup + 1 }},
		{"rep_s", "deadlift", func(e *Exercise) { e.Rep = 0 }},
		{"set_setup_s", "deadlift", func(e *Exercise) { e.SetSetup = -1 }},
		{"min_reps", "deadlift", func(e *Exercise) { e.MinReps = 0 }},
		{"min_reps", "front-plank", func(e *Exercise) { e.MinReps = 8 }},
		{"flags", "deadlift", func(e *Exercise) { e.Flags |= 1 << 15 }},
		{"flags", "back-squat", func(e *Exercise) { e.Flags |= FailureOK }},
		{"flags", "power-clean", func(e *Exercise) { e.Flags |= FailureOK }},
		{"flags", "push-up", func(e *Exercise) { e.Flags |= Supine }},
		{"flags", "push-up", func(e *Exercise) { e.Flags |= MaxTest }},
		{"related_permille", "deadlift", func(e *Exercise) { e.RelatedRatio = 500 }},
		{"related_permille", "front-squat", func(e *Exercise) { e.RelatedRatio = maxRatio + 1 }},
		{"related", "front-squat", func(e *Exercise) { e.RelatedTo = e.ID }},
		{"related", "push-up", func(e *Exercise) { e.RelatedTo, e.RelatedRatio = "bench-press", 500 }},
	} {
		e := byID(t, row.from).clone()
		row.change(e)
		err := Validate(*e)
		f, ok := fault.As(err)
		require.True(t, ok, "%s of %s passed", row.column, row.from)
		require.Equal(t, fault.Invalid, f.Kind)
		fields := make([]string, 0, len(f.Violations))
		for _, v := range f.Violations {
			require.Equal(t, ReasonInvalid, v.Reason)
			require.NotEmpty(t, v.Says)
			fields = append(fields, v.Field)
		}
		require.Contains(t, fields, row.column, "%s of %s", row.column, row.from)
	}
}
