package load

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/plan"
)

func stock(unit plan.MassUnit, count int32, millis ...int64) []plan.PlateStock {
	var out []plan.PlateStock
	for _, m := range millis {
		out = append(out, plan.PlateStock{Mass: plan.Load{Milli: m, Unit: unit}, Count: count})
	}
	return out
}

func kgGym() Menu {
	return BarMenu([]plan.Bar{{Kind: plan.Barbell, Mass: plan.Kg(20_000)}},
		stock(plan.Kilogram, 8, 25_000, 20_000, 15_000, 10_000, 5_000, 2_500, 1_250))
}

func lbGym() Menu {
	return BarMenu([]plan.Bar{{Kind: plan.Barbell, Mass: plan.Lb(45_000)}},
		stock(plan.Pound, 8, 45_000, 35_000, 25_000, 10_000, 5_000, 2_500))
}

func kilos(millis ...int64) []plan.Load {
	var out []plan.Load
	for _, m := range millis {
		out = append(out, plan.Kg(m))
	}
	return out
}

func TestPublishedPlateExamples(t *testing.T) {
	kg, lb := kgGym(), lbGym()
	o, ok := kg.Nearest(plan.Kg(97_500), false)
	require.True(t, ok)
	require.Equal(t, Option{Load: plan.Kg(97_500), Bar: plan.Kg(20_000), PerSide: kilos(25_000, 10_000, 2_500, 1_250)}, o)
	o, ok = lb.Nearest(plan.Lb(225_000), false)
	require.True(t, ok)
	require.Equal(t, Option{Load: plan.Lb(225_000), Bar: plan.Lb(45_000), PerSide: []plan.Load{plan.Lb(45_000), plan.Lb(45_000)}}, o)
	o, _ = kg.Nearest(plan.Kg(102_400), false)
	require.Equal(t, plan.Kg(102_500), o.Load)
	o, _ = kg.Nearest(plan.Kg(83_100), false)
	require.Equal(t, plan.Kg(82_500), o.Load)
	o, _ = kg.Nearest(plan.Kg(102_400), true)
	require.Equal(t, plan.Kg(100_000), o.Load)
	o, _ = kg.Nearest(plan.Kg(101_250), false)
	require.Equal(t, plan.Kg(100_000), o.Load, "ties go down")
	// Across units: 100 kg is 220.46 lb, between 220 and 225 lb.
	o, _ = lb.Nearest(plan.Kg(100_000), false)
	require.Equal(t, plan.Lb(220_000), o.Load)
	o, _ = kg.Nearest(plan.Lb(225_000), false) // 102.06 kg
	require.Equal(t, plan.Kg(102_500), o.Load)
}

func TestMenuEndsAndNeighbours(t *testing.T) {
	m := kgGym()
	_, ok := m.Nearest(plan.Kg(19_000), true)
	require.False(t, ok, "nothing is as light")
	o, ok := m.Nearest(plan.Kg(5_000), false)
	require.True(t, ok)
	require.Equal(t, plan.Kg(20_000), o.Load)
	require.Empty(t, o.PerSide)
	o, ok = m.Nearest(plan.Kg(900_000), true)
	require.True(t, ok)
	require.Equal(t, m.At(m.Len()-1), o)
	o, ok = m.Below(plan.Kg(60_000))
	require.True(t, ok)
	require.Equal(t, plan.Kg(57_500), o.Load)
	o, ok = m.Above(plan.Kg(60_000))
	require.True(t, ok)
	require.Equal(t, plan.Kg(62_500), o.Load)
	o, ok = m.Above(plan.Kg(60_100))
	require.True(t, ok)
	require.Equal(t, plan.Kg(62_500), o.Load)
	_, ok = m.Below(plan.Kg(20_000))
	require.False(t, ok)
	_, ok = m.Above(o.Load)
	require.True(t, ok)
	_, ok = m.Above(m.At(m.Len() - 1).Load)
	require.False(t, ok)
	var none Menu
	for _, down := range []bool{false, true} {
		_, ok = none.Nearest(plan.Kg(60_000), down)
		require.False(t, ok)
	}
	_, ok = none.Above(plan.Kg(0))
	require.False(t, ok)
}

func TestMixedUnitsStayExact(t *testing.T) {
	m := BarMenu([]plan.Bar{{Mass: plan.Kg(20_000)}}, stock(plan.Pound, 2, 45_000))
	require.Equal(t, kilos(20_000, 60_823), m.Loads()) // 20 + 2 x 20.41165665
	for _, down := range []bool{false, true} {
		o, ok := m.Nearest(plan.Kg(60_823), down)
		require.True(t, ok)
		require.Equal(t, plan.Kg(60_823), o.Load, "a load of the menu is found again")
		require.Equal(t, []plan.Load{plan.Lb(45_000)}, o.PerSide)
	}
	o, ok := m.Below(plan.Kg(60_823))
	require.True(t, ok)
	require.Equal(t, plan.Kg(20_000), o.Load)
	_, ok = m.Above(plan.Kg(60_823))
	require.False(t, ok)
}

func TestOwnUnitIsPreferred(t *testing.T) {
	both := append(stock(plan.Kilogram, 8, 25_000, 20_000, 15_000, 10_000, 5_000, 2_500, 1_250), stock(plan.Pound, 8, 45_000, 25_000, 10_000, 5_000)...)
	m := BarMenu([]plan.Bar{{Mass: plan.Kg(20_000)}}, both)
	o, ok := m.Nearest(plan.Kg(83_100), false)
	require.True(t, ok)
	require.Equal(t, plan.Kg(82_500), o.Load)
	for _, p := range o.PerSide {
		require.Equal(t, plan.Kilogram, p.Unit)
	}
	// Two plates of 20 kg alone leave a gap that pounds fill.
	m = BarMenu([]plan.Bar{{Mass: plan.Kg(20_000)}}, append(stock(plan.Kilogram, 2, 20_000), stock(plan.Pound, 2, 25_000)...))
	require.Equal(t, kilos(20_000, 42_680, 60_000, 82_680), m.Loads())
}

func TestSeveralBars(t *testing.T) {
	m := BarMenu([]plan.Bar{{Mass: plan.Kg(20_000)}, {Mass: plan.Kg(15_000)}}, stock(plan.Kilogram, 2, 5_000, 2_500))
	require.Equal(t, kilos(15_000, 20_000, 25_000, 30_000, 35_000), m.Loads())
	require.Equal(t, plan.Kg(15_000), m.At(0).Bar)
	require.Equal(t, plan.Kg(20_000), m.At(1).Bar)
	require.Equal(t, Option{Load: plan.Kg(35_000), Bar: plan.Kg(20_000), PerSide: kilos(5_000, 2_500)}, m.At(4))
	heavier := BarMenu([]plan.Bar{{Mass: plan.Kg(15_000)}, {Mass: plan.Kg(25_000)}}, stock(plan.Kilogram, 2, 5_000))
	require.Equal(t, kilos(15_000, 25_000, 35_000), heavier.Loads())
	require.Equal(t, plan.Kg(15_000), heavier.At(1).Bar)
	require.Equal(t, Option{Load: plan.Kg(35_000), Bar: plan.Kg(25_000), PerSide: kilos(5_000)}, heavier.At(2))
}

func TestOtherMenus(t *testing.T) {
	held := []plan.HeldStock{{Mass: plan.Kg(12_000), Count: 2}, {Mass: plan.Kg(10_000), Count: 1}, {Mass: plan.Kg(16_000), Count: 1}, {Mass: plan.Kg(16_000), Count: 1}, {Mass: plan.Kg(0), Count: 2}, {Mass: plan.Kg(8_000)}}
	one, two := HeldMenu(held, 1), HeldMenu(held, 2)
	require.Equal(t, kilos(10_000, 12_000, 16_000), one.Loads())
	require.Equal(t, kilos(12_000, 16_000), two.Loads())

	stack := StackMenu(plan.Stack{First: plan.Lb(10_000), Step: plan.Lb(15_000), Last: plan.Lb(60_000)})
	require.Equal(t, []plan.Load{plan.Lb(10_000), plan.Lb(25_000), plan.Lb(40_000), plan.Lb(55_000)}, stack.Loads())
	single := StackMenu(plan.Stack{First: plan.Kg(5_000)})
	require.Equal(t, kilos(5_000), single.Loads())
	endless := StackMenu(plan.Stack{First: plan.Kg(1), Step: plan.Kg(1), Last: plan.Kg(1 << 40)})
	require.LessOrEqual(t, endless.Len(), maxSteps)

	sled := PlateMachineMenu(stock(plan.Kilogram, 3, 20_000, 10_000))
	require.Equal(t, kilos(0, 20_000, 40_000, 60_000), sled.Loads(), "the third plate has no partner")
	none := StackMenu(plan.Stack{Step: plan.Kg(5_000), Last: plan.Kg(50_000)})
	require.Zero(t, none.Len(), "a stack without a first plate gives nothing")
	none = BarMenu([]plan.Bar{{}, {Mass: plan.Kg(700_000)}}, stock(plan.Kilogram, 2, 20_000))
	require.Zero(t, none.Len())
	empty := PlateMachineMenu(nil)
	require.Zero(t, empty.Len())

	added := AddedMenu(stock(plan.Kilogram, 1, 5_000, 10_000), []plan.HeldStock{{Mass: plan.Kg(12_000), Count: 1}, {Mass: plan.Kg(15_000), Count: 2}, {Mass: plan.Kg(7_500), Count: 0}})
	require.Equal(t, kilos(0, 5_000, 10_000, 12_000, 15_000), added.Loads())
	require.Equal(t, Option{Load: plan.Kg(12_000), Hung: kilos(12_000)}, added.At(3))
	require.Equal(t, Option{Load: plan.Kg(15_000), Hung: kilos(10_000, 5_000)}, added.At(4))
	bare := AddedMenu(nil, nil)
	require.Equal(t, kilos(0), bare.Loads())
	bells := AddedMenu(nil, []plan.HeldStock{{Mass: plan.Lb(20_000), Count: 1}})
	require.Equal(t, []plan.Load{plan.Lb(0), plan.Lb(20_000)}, bells.Loads())
}

func TestMenuForPlace(t *testing.T) {
	place := &plan.Place{
		Bars:        []plan.Bar{{Kind: plan.EZBar, Mass: plan.Kg(10_000)}, {Kind: plan.Barbell, Mass: plan.Kg(20_000)}},
		Plates:      stock(plan.Kilogram, 2, 5_000),
		Dumbbells:   []plan.HeldStock{{Mass: plan.Kg(10_000), Count: 2}, {Mass: plan.Kg(30_000), Count: 1}},
		Kettlebells: []plan.HeldStock{{Mass: plan.Kg(16_000), Count: 1}},
		Stacks: []plan.Stack{{First: plan.Kg(5_000), Step: plan.Kg(5_000), Last: plan.Kg(10_000)},
			{Kind: plan.CableStation, First: plan.Kg(2_500), Step: plan.Kg(2_500), Last: plan.Kg(5_000)}},
	}
	for _, c := range []struct {
		loading plan.Loading
		kind    plan.Equipment
		want    []plan.Load
	}{
		{plan.LoadingBar, plan.Barbell, kilos(20_000, 30_000)},
		{plan.LoadingBar, plan.EZBar, kilos(10_000, 20_000)},
		{plan.LoadingBar, plan.TrapBar, kilos()},
		{plan.LoadingPlateMachine, plan.LegPressMachine, kilos(0, 10_000)},
		{plan.LoadingStack, plan.CableStation, kilos(2_500, 5_000)},
		{plan.LoadingStack, plan.LegExtensionMachine, kilos(5_000, 10_000)},
		{plan.LoadingDumbbellPair, plan.Dumbbells, kilos(10_000)},
		{plan.LoadingDumbbell, plan.Dumbbells, kilos(10_000, 30_000)},
		{plan.LoadingKettlebell, plan.Kettlebells, kilos(16_000)},
		{plan.LoadingKettlebellPair, plan.Kettlebells, kilos()},
		{plan.LoadingAdded, plan.DipBelt, kilos(0, 5_000, 10_000, 30_000)},
		{plan.LoadingBodyweight, plan.PullUpBar, kilos()},
		{plan.LoadingBand, plan.Bands, kilos()},
	} {
		m := MenuFor(c.loading, c.kind, place)
		require.Equal(t, len(c.want), m.Len(), c.loading)
		for i, w := range c.want {
			require.Equal(t, w, m.At(i).Load, c.loading)
		}
	}
}

// drawPlates draws a small stock in kilograms, pounds or both.
func drawPlates(t *rapid.T) []plan.PlateStock {
	masses := []plan.Load{plan.Kg(25_000), plan.Kg(20_000), plan.Kg(15_000), plan.Kg(10_000), plan.Kg(5_000), plan.Kg(2_500),
		plan.Kg(1_250), plan.Kg(500), plan.Lb(45_000), plan.Lb(35_000), plan.Lb(25_000), plan.Lb(10_000), plan.Lb(5_000), plan.Lb(2_500)}
	var out []plan.PlateStock
	for range rapid.IntRange(0, 5).Draw(t, "kinds") {
		out = append(out, plan.PlateStock{Mass: rapid.SampledFrom(masses).Draw(t, "mass"), Count: rapid.Int32Range(0, 7).Draw(t, "count")})
	}
	return out
}

// offered takes away the mixed totals that have one in the bar's own unit close by.
func offered(bar plan.Load, plates []plan.PlateStock) map[int64]int {
	all := everyTotal(exact(bar), plates)
	var ownPlates []plan.PlateStock
	for _, p := range plates {
		if p.Mass.Unit == bar.Unit {
			ownPlates = append(ownPlates, p)
		}
	}
	own := everyTotal(exact(bar), ownPlates)
	near := exact(plan.Kg(1250))
	if bar.Unit == plan.Pound {
		near = exact(plan.Lb(2500))
	}
	for v := range all {
		if _, ok := own[v]; ok {
			continue
		}
		for o := range own {
			if abs64(v-o) <= near {
				delete(all, v)
				break
			}
		}
	}
	return all
}

// everyTotal enumerates all ways to load a side, to 600 kg in all, and gives total ->
// fewest plates.
func everyTotal(base int64, plates []plan.PlateStock) map[int64]int {
	merged := map[plan.Load]int32{}
	var order []plan.Load
	for _, p := range plates {
		if _, ok := merged[p.Mass]; !ok {
			order = append(order, p.Mass)
		}
		merged[p.Mass] += p.Count
	}
	out := map[int64]int{}
	var walk func(i int, total int64, used int)
	walk = func(i int, total int64, used int) {
		if i == len(order) {
			if n, ok := out[total]; total <= maxTotal && (!ok || used < n) {
				out[total] = used
			}
			return
		}
		for n := int32(0); n <= merged[order[i]]/2; n++ {
			walk(i+1, total+2*int64(n)*exact(order[i]), used+int(n))
		}
	}
	walk(0, base, 0)
	return out
}

// TestMenuAgainstBruteForce checks 10,000 random stocks and more targets: every total,
// the fewest plates for it, the nearest load and the neighbours.
func TestMenuAgainstBruteForce(t *testing.T) {
	seen := 0
	check := func(t *rapid.T) {
		seen++
		bar := rapid.SampledFrom([]plan.Load{plan.Kg(20_000), plan.Kg(15_000), plan.Lb(45_000)}).Draw(t, "bar")
		plates := drawPlates(t)
		m := BarMenu([]plan.Bar{{Mass: bar}}, plates)
		all := offered(bar, plates)
		// No two totals of these stocks print alike, so all are there.
		require.Len(t, all, m.Len())
		for i := range m.Len() {
			o := m.At(i)
			total := exact(bar)
			for k, p := range o.PerSide {
				total += 2 * exact(p)
				require.True(t, k == 0 || p.Cmp(o.PerSide[k-1]) <= 0, "heaviest first")
			}
			fewest, ok := all[total]
			require.True(t, ok)
			require.Len(t, o.PerSide, fewest)
			require.Equal(t, inUnit(total, bar.Unit), o.Load)
			require.True(t, i == 0 || o.Load.Cmp(m.At(i-1).Load) > 0)
		}
		target := plan.Load{Milli: rapid.Int64Range(0, 400_000).Draw(t, "target"), Unit: rapid.SampledFrom([]plan.MassUnit{plan.Kilogram, plan.Pound}).Draw(t, "unit")}
		want := exact(target)
		best, below, above := int64(-1), int64(-1), int64(-1)
		for v := range all {
			if v <= want && v > below {
				below = v
			}
			if v > want && (above < 0 || v < above) {
				above = v
			}
		}
		best = below
		if below < 0 || above >= 0 && above-want < want-below {
			best = above
		}
		same := func(v int64, o Option, ok bool) {
			require.Equal(t, v >= 0, ok)
			if ok {
				require.Equal(t, inUnit(v, bar.Unit), o.Load)
			}
		}
		if slackless(all, target, bar.Unit) {
			o, ok := m.Nearest(target, false)
			same(best, o, ok)
			o, ok = m.Nearest(target, true)
			same(below, o, ok)
			o, ok = m.Above(target)
			same(above, o, ok)
		}
	}
	for seen < 10_000 {
		rapid.Check(t, check)
	}
}

// slackless is false for a target that prints as a total without being it, which
// counts as that total.
func slackless(all map[int64]int, target plan.Load, unit plan.MassUnit) bool {
	for v := range all {
		if inUnit(v, unit) == target && v != exact(target) {
			return false
		}
	}
	return true
}

func TestHugeStockStaysBounded(t *testing.T) {
	many := append(stock(plan.Kilogram, 1000, 25_000, 20_000, 15_000, 10_000, 5_000, 2_500, 2_000, 1_500, 1_250, 1_000, 500, 250),
		stock(plan.Pound, 1000, 100_000, 45_000, 35_000, 25_000, 10_000, 5_000, 2_500, 1_250)...)
	m := BarMenu([]plan.Bar{{Mass: plan.Kg(20_000)}}, many)
	require.LessOrEqual(t, m.Len(), maxOptions)
	require.Greater(t, m.Len(), 200)
	last := m.At(m.Len() - 1)
	require.LessOrEqual(t, last.Load.Cmp(plan.Kg(600_000)), 0)
	o, ok := m.Nearest(plan.Kg(100_000), false)
	require.True(t, ok)
	require.Equal(t, plan.Kg(100_000), o.Load)
	added := AddedMenu(many, nil)
	require.LessOrEqual(t, added.Len(), maxOptions)
	fine := BarMenu([]plan.Bar{{Mass: plan.Kg(20_000)}}, stock(plan.Kilogram, 1000, 25_000, 20_000, 15_000, 10_000, 5_000, 2_500, 1_250))
	require.Equal(t, 233, fine.Len(), "20 to 600 kg by 2.5")
}

func ExampleMenu_Nearest() {
	m := kgGym()
	o, _ := m.Nearest(plan.Kg(98_400), false)
	fmt.Println(o.Load, "=", o.Bar, "+ 2 x", o.PerSide)
	// Output: 97.5 kg = 20 kg + 2 x [25 kg 10 kg 2.5 kg 1.25 kg]
}

func BenchmarkNearest(b *testing.B) {
	m := kgGym()
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		m.Nearest(plan.Kg(20_000+int64(i%300_000)), i%2 == 0)
	}
}

func BenchmarkBarMenu(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		kgGym()
	}
}

func abs64(v int64) int64 { return max(v, -v) }
