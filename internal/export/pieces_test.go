package export

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

func TestPiecesPrintAsTheyAreMarked(t *testing.T) {
	kg := func(milli int64) plan.Opt[plan.Load] { return plan.Some(plan.Kg(milli)) }
	x := &text{o: Options{Catalogue: exercise.Builtin()}, p: &plan.Program{}}
	for want, c := range map[string]struct {
		id   string
		sets []plan.Set
	}{
		"a side: 20 + 5; 20 + 10":                {"back-squat", []plan.Set{{Load: kg(70_000), Plates: []plan.Load{plan.Kg(20_000), plan.Kg(5000)}}, {Load: kg(80_000), Plates: []plan.Load{plan.Kg(20_000), plan.Kg(10_000)}}}},
		"a side: 45 lb + 5 kg, collars 5 kg":     {"back-squat", []plan.Set{{Load: kg(75_823), Collars: kg(5000), Plates: []plan.Load{plan.Lb(45_000), plan.Kg(5000)}}}},
		"a side: 45 lb, bar 20 kg":               {"back-squat", []plan.Set{{Load: kg(60_823), Base: kg(20_000), Plates: []plan.Load{plan.Lb(45_000)}}}},
		"a side: 10 (bar 15 kg); 10 (bar 20 kg)": {"back-squat", []plan.Set{{Load: kg(35_000), Base: kg(15_000), Plates: []plan.Load{plan.Kg(10_000)}}, {Load: kg(40_000), Base: kg(20_000), Plates: []plan.Load{plan.Kg(10_000)}}}},
		"a side: nothing, bar 15 kg":             {"back-squat", []plan.Set{{Load: kg(15_000), Base: kg(15_000)}}},
		"each end: 2.5 + 1.25":                   {"dumbbell-curl", []plan.Set{{Load: kg(9500), Plates: []plan.Load{plan.Kg(2500), plan.Kg(1250)}}}},
		"on the stack: 44 + 2.5":                 {"lat-pulldown", []plan.Set{{Load: kg(46_500), Base: kg(44_000), AddOns: []plan.Load{plan.Kg(2500)}}}},
		"hang: 10 kg":                            {"pull-up", []plan.Set{{Load: plan.Some(plan.Lb(22_046)), Plates: []plan.Load{plan.Kg(10_000)}}}},
		"":                                       {"lat-pulldown", []plan.Set{{Load: kg(44_000)}}},
	} {
		require.Equal(t, want, x.pieces(&plan.ProgramExercise{ExerciseID: c.id, Sets: c.sets}))
	}
}
