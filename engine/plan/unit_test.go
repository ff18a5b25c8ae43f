package plan

import (
	"math/big"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// exactKg gives a load in kilograms as a fraction: 1 lb is 0.45359237 kg by definition.
func exactKg(l Load) *big.Rat {
	v := big.NewRat(l.Milli, 1000)
	if l.Unit == Pound {
		v.Mul(v, big.NewRat(45_359_237, 100_000_000))
	}
	return v
}

func loads() *rapid.Generator[Load] {
	return rapid.Custom(func(t *rapid.T) Load {
		return Load{Milli: rapid.Int64Range(-2_000_000, 2_000_000).Draw(t, "milli"), Unit: MassUnit(rapid.IntRange(1, 2).Draw(t, "unit"))}
	})
}

func TestLoadsCompareExactly(t *testing.T) {
	require.Zero(t, Lb(225_000).Cmp(Lb(225_000)))
	// 100 lb are 45.359237 kg: between two neighbouring thousandths.
	require.Positive(t, Lb(100_000).Cmp(Kg(45_359)))
	require.Negative(t, Lb(100_000).Cmp(Kg(45_360)))
	// The smallest equal pair: 100,000,000 lb are 45,359,237 kg.
	require.Zero(t, Load{Milli: 100_000_000, Unit: Pound}.Cmp(Load{Milli: 45_359_237, Unit: Kilogram}))
	rapid.Check(t, func(t *rapid.T) {
		a, b := loads().Draw(t, "a"), loads().Draw(t, "b")
		require.Equal(t, exactKg(a).Cmp(exactKg(b)), a.Cmp(b))
		require.Equal(t, -b.Cmp(a), a.Cmp(b))
	})
}

func TestLoadsConvertToTheNearestThousandth(t *testing.T) {
	require.Equal(t, Lb(225_000), Lb(225_000).In(Pound), "its own unit changes nothing")
	require.Equal(t, Kg(102_058), Lb(225_000).In(Kilogram))
	require.Equal(t, Lb(44_092), Kg(20_000).In(Pound))
	require.Equal(t, int64(45_359), Lb(100_000).Grams())
	require.Equal(t, int64(-45_359), Lb(-100_000).Grams())
	rapid.Check(t, func(t *rapid.T) {
		a := loads().Draw(t, "load")
		u := MassUnit(rapid.IntRange(1, 2).Draw(t, "unit"))
		off := new(big.Rat).Sub(exactKg(a.In(u)), exactKg(a))
		// Half a thousandth of the coarser of the two units.
		half := exactKg(Load{Milli: 1, Unit: min(a.Unit, u)})
		half.Mul(half, big.NewRat(1, 2))
		require.LessOrEqual(t, off.Abs(off).Cmp(half), 0, "%s in %s is %s", a, u, a.In(u))
		require.Equal(t, a.In(u), a.In(u).In(u))
		require.Equal(t, a.In(Kilogram).Milli, a.Grams())
		require.Equal(t, a, Load{Milli: a.Milli, Unit: a.Unit}.In(a.Unit))
	})
}

// Every multiple of 0.25 kg and of 0.5 lb that a gym knows comes back unchanged from the
// other unit, and pounds also from whole grams.
func TestGymLoadsConvertBackUnchanged(t *testing.T) {
	for milli := int64(0); milli <= 600_000; milli += 250 {
		require.Equal(t, Kg(milli), Kg(milli).In(Pound).In(Kilogram))
	}
	for milli := int64(0); milli <= 1_300_000; milli += 250 {
		l := Lb(milli)
		require.Equal(t, l, l.In(Kilogram).In(Pound))
		require.Equal(t, l, Kg(l.Grams()).In(Pound))
	}
	require.Equal(t, Lb(315_000), Kg(142_882).In(Pound))
	require.Equal(t, Lb(1000), Kg(454).In(Pound))
	require.Equal(t, Lb(315_003), Kg(142_883).In(Pound), "a gram more is no gym load")
}

func TestUnitsPrintAsACoachWrites(t *testing.T) {
	for want, l := range map[string]Load{
		"102.5 kg": Kg(102_500), "225 lb": Lb(225_000), "0 kg": Kg(0), "1.25 kg": Kg(1250), "0.001 kg": Kg(1),
		"-2.5 kg": Kg(-2500), "-0.5 lb": Lb(-500), "100.01 kg": Kg(100_010), "60.82 kg": Kg(60_823), "0.625 kg": Kg(625), "3.125 lb": Lb(3125), "7 unit?": {Milli: 7000},
	} {
		require.Equal(t, want, l.String())
	}
	require.Equal(t, "103 kg", Kg(102_500).Whole())
	require.Equal(t, "102 kg", Kg(102_499).Whole())
	require.Equal(t, "-103 kg", Kg(-102_500).Whole())
	for want, p := range map[string]Permille{"80 %": 800, "80.5 %": 805, "0 %": 0, "0.1 %": 1, "100 %": 1000} {
		require.Equal(t, want, p.String())
	}
	for want, s := range map[string]Seconds{"45 s": 45, "1:00": 60, "2:30": 150, "0 s": 0, "59 s": 59, "10:05": 605} {
		require.Equal(t, want, s.String())
	}
	for want, h := range map[string]HalfSets{"6.5": 13, "6": 12, "0": 0, "0.5": 1, "-0.5": -1, "-2": -4} {
		require.Equal(t, want, h.String())
	}
}

func TestTimeIsPlannedInTicks(t *testing.T) {
	require.Equal(t, Seconds(15), Tick)
	for s, want := range map[Seconds]int32{0: 0, 1: 1, 15: 1, 16: 2, 30: 2} {
		require.Equal(t, want, s.Ticks())
	}
	require.Equal(t, Seconds(180), GeneralWarmup(1800))
	require.Equal(t, Seconds(300), GeneralWarmup(1801))
}

func TestUnsetAndZeroDiffer(t *testing.T) {
	require.Equal(t, int32(7), Opt[int32]{}.Or(7))
	require.Equal(t, int32(0), Some(int32(0)).Or(7))
	require.NotEqual(t, Opt[int32]{}, Some(int32(0)))
}

func TestEveryNameIsThere(t *testing.T) {
	named := func(s string) { require.NotRegexp(t, `unspecified|\(\d+\)|^$`, s) }
	for m := Muscle(1); m < MuscleCount; m++ {
		named(m.String())
	}
	for p := Pattern(1); p < PatternCount; p++ {
		named(p.String())
	}
	for j := Joint(1); j < JointCount; j++ {
		named(j.String())
	}
	for r := Role(1); r < RoleCount; r++ {
		named(r.String())
	}
	for e := Equipment(1); e < EquipmentCount; e++ {
		named(e.String())
	}
	for l := Loading(1); l < LoadingCount; l++ {
		named(l.String())
	}
	require.Equal(t, "unspecified", Muscle(0).String())
	require.Equal(t, "Muscle(200)", Muscle(200).String())
}
