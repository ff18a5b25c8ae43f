package audit

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

func exerciseByID(t testing.TB, id string) *exercise.Exercise {
	x, ok := catalogue(t).ByID(id)
	require.True(t, ok, id)
	return x
}

// The menu against the one that programs are made from, which is other code.
func TestMenuAgreesWithTheLoadPackage(t *testing.T) {
	ids := []string{"back-squat", "ez-bar-curl", "leg-press", "lat-pulldown", "cable-curl", "dumbbell-curl", "goblet-squat", "kettlebell-swing", "pull-up"}
	stack := map[string]plan.Equipment{"lat-pulldown": plan.LatPulldownStation, "cable-curl": plan.CableStation}
	for _, unit := range []plan.MassUnit{plan.Kilogram, plan.Pound} {
		gym := exercise.ExpandPreset(plan.Place{ID: "gym", Preset: plan.PresetFullGym}, unit)
		for _, id := range ids {
			x := exerciseByID(t, id)
			kind := x.Bar
			if k, ok := stack[id]; ok {
				kind = k
			}
			theirs := load.MenuFor(x.Loading, kind, &gym)
			ours := makeMenu(x, &gym)
			require.NotZero(t, theirs.Len(), id)
			for _, l := range theirs.Loads() {
				require.True(t, ours.has(l), "%s: %s", id, l)
				between := l
				between.Milli += 100
				_, isLoad := theirs.Nearest(between, true)
				exact, _ := theirs.Nearest(between, false)
				require.Equal(t, isLoad && exact.Load == between, ours.has(between), "%s: %s", id, between)
			}
		}
	}
}

// Small stocks against every subset of single plates.
func TestMenuAgainstBruteForce(t *testing.T) {
	x := exerciseByID(t, "back-squat")
	rapid.Check(t, func(t *rapid.T) {
		p := plan.Place{ID: "gym", Items: []plan.Equipment{plan.Barbell, plan.Rack}, Bars: []plan.Bar{{Kind: plan.Barbell, Mass: plan.Kg(20_000)}}}
		var sides []int64
		for range rapid.IntRange(0, 4).Draw(t, "kinds") {
			s := plan.PlateStock{Mass: plan.Kg(rapid.SampledFrom([]int64{500, 1250, 2500, 5000, 10_000}).Draw(t, "mass")), Count: rapid.Int32Range(0, 5).Draw(t, "count")}
			p.Plates = append(p.Plates, s)
			for range s.Count / 2 {
				sides = append(sides, s.Mass.Milli)
			}
		}
		can := map[int64]bool{}
		for bits := range 1 << len(sides) {
			total := int64(20_000)
			for i, m := range sides {
				if bits>>i&1 == 1 {
					total += 2 * m
				}
			}
			can[total] = true
		}
		m := makeMenu(x, &p)
		for milli := int64(19_500); milli <= 20_000+2*25_000*2; milli += 250 {
			require.Equal(t, can[milli], m.has(plan.Kg(milli)), "%d", milli)
		}
	})
}

func TestPoundsAndKilogramsMixExactly(t *testing.T) {
	x := exerciseByID(t, "back-squat")
	p := plan.Place{ID: "gym", Bars: []plan.Bar{{Kind: plan.Barbell, Mass: plan.Kg(20_000)}}, Plates: []plan.PlateStock{{Mass: plan.Lb(45_000), Count: 2}}}
	m := makeMenu(x, &p)
	require.True(t, m.has(plan.Kg(60_823))) // 20 kg and two plates of 45 lb: 60.8233133 kg
	require.False(t, m.has(plan.Kg(60_822)))
	require.Equal(t, []plan.MassUnit{plan.Kilogram}, m.units)
	require.EqualValues(t, 40_823, m.gap(plan.Kg(20_000)))
}

// A stock that no gym has is not summed up to the end, and nothing is claimed of it.
func TestHugeStockIsLeftOpen(t *testing.T) {
	p := plan.Place{ID: "gym", Bars: []plan.Bar{{Kind: plan.Barbell, Mass: plan.Kg(20_000)}}}
	for i := range int64(30) {
		p.Plates = append(p.Plates, plan.PlateStock{Mass: plan.Lb(1 + 7*i), Count: 1_000_000})
	}
	m := makeMenu(exerciseByID(t, "back-squat"), &p)
	require.True(t, m.open)
	require.True(t, m.has(plan.Kg(81_300)))
	require.False(t, m.has(plan.Kg(-1)))
}

// The same for what is set and put together: collars, handles, dials, uneven stacks with
// weights on top.
func TestMenuAgreesOnAdjustableEquipment(t *testing.T) {
	small := []plan.PlateStock{{Mass: plan.Kg(2500), Count: 6}, {Mass: plan.Lb(2500), Count: 4}}
	p := plan.Place{ID: "gym", Bars: []plan.Bar{{Kind: plan.Barbell, Mass: plan.Kg(20_000), Collars: plan.Some(plan.Kg(5000))}}, Plates: small,
		Adjustables: []plan.Adjustable{{Count: 2, Handle: plan.Some(plan.Kg(2000)), Plates: small}, {Count: 1, Settings: []plan.Load{plan.Lb(5000), plan.Lb(12_500)}}},
		Stacks:      []plan.Stack{{Kind: plan.CableStation, Settings: []plan.Load{plan.Kg(5000), plan.Kg(12_000)}, AddOns: small}}}
	for _, id := range []string{"back-squat", "dumbbell-curl", "goblet-squat", "cable-curl"} {
		x := exerciseByID(t, id)
		kind := x.Bar
		if id == "cable-curl" {
			kind = plan.CableStation
		}
		for _, unit := range []plan.MassUnit{plan.Kilogram, plan.Pound} {
			theirs := load.MenuFor(x.Loading, kind, &p).In(unit)
			ours := makeMenu(x, &p)
			require.Greater(t, theirs.Len(), 1, id)
			for i := range theirs.Len() {
				o := theirs.At(i)
				require.True(t, ours.has(o.Load), "%s: %s", id, o.Load)
				l := &lift{x: x, in: &session{s: &plan.Session{PlaceID: "gym"}, place: &p}}
				if len(o.PerSide) > 0 {
					require.Empty(t, platesWrong(l, &plan.Set{Load: plan.Some(o.Load), Plates: o.PerSide}), "%s: %v", id, o)
				}
			}
		}
	}
	curl := &lift{x: exerciseByID(t, "dumbbell-curl"), in: &session{s: &plan.Session{PlaceID: "gym"}, place: &p}}
	require.Contains(t, platesWrong(curl, &plan.Set{Load: plan.Some(plan.Kg(12_000)), Plates: []plan.Load{plan.Kg(2500), plan.Kg(2500)}}), "8 plates of 2.5 kg are needed and 6 are there")
	squat := &lift{x: exerciseByID(t, "back-squat"), in: &session{s: &plan.Session{PlaceID: "gym"}, place: &p}}
	require.NotEmpty(t, platesWrong(squat, &plan.Set{Load: plan.Some(plan.Kg(25_000)), Plates: []plan.Load{plan.Kg(2500)}}), "without its collars")
}
