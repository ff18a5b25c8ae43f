package load

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/plan"
)

// The heaviest loads that menus go to.
var bar600, hand150 = exact(plan.Kg(600_000)), exact(plan.Kg(150_000))

// way is one way to make a total, found by trying all of them.
type way struct {
	total  int64
	pieces int
	base   plan.Load
}

// enumerate tries every number of every kind of plate, group at a time: two for a bar or
// one dumbbell, four for two dumbbells, one on a stack. It knows nothing of sums.
func enumerate(base plan.Load, collars int64, plates []plan.PlateStock, group int32, times, most int64) []way {
	counts := map[plan.Load]int32{}
	var kinds []plan.Load
	for _, p := range plates {
		if _, ok := counts[p.Mass]; !ok {
			kinds = append(kinds, p.Mass)
		}
		counts[p.Mass] += p.Count
	}
	var out []way
	var walk func(i int, total int64, n int)
	walk = func(i int, total int64, n int) {
		if i == len(kinds) {
			if n > 0 {
				total += collars
			}
			if total <= most {
				out = append(out, way{total, n, base})
			}
			return
		}
		for k := range counts[kinds[i]]/group + 1 {
			walk(i+1, total+times*int64(k)*exact(kinds[i]), n+int(k))
		}
	}
	walk(0, exact(base), 0)
	return out
}

// wished leaves out ways with plates of another unit where one without them is as near as
// 1.25 kg or 2.5 lb: the rule of BarMenu, written again.
func wished(base plan.Load, collars int64, plates []plan.PlateStock, group int32, times, most int64) []way {
	var same []plan.PlateStock
	for _, p := range plates {
		if p.Mass.Unit == base.Unit {
			same = append(same, p)
		}
	}
	near := exact(plan.Kg(1250))
	if base.Unit == plan.Pound {
		near = exact(plan.Lb(2500))
	}
	plain := enumerate(base, collars, same, group, times, most)
	out := slices.Clone(plain)
	for _, w := range enumerate(base, collars, plates, group, times, most) {
		if !slices.ContainsFunc(plain, func(p way) bool { return abs64(p.total-w.total) <= near }) {
			out = append(out, w)
		}
	}
	return out
}

// fewest keeps the first way with the fewest pieces for each total, rising.
func fewest(ways []way) []way {
	slices.SortStableFunc(ways, func(a, b way) int {
		switch {
		case a.total != b.total:
			return int((a.total - b.total) / max(abs64(a.total-b.total), 1))
		default:
			return a.pieces - b.pieces
		}
	})
	return slices.CompactFunc(ways, func(a, b way) bool { return a.total == b.total })
}

// madeOf holds each option to what it says it is made of, and the menu to all ways.
func madeOf(t require.TestingT, m *Menu, ways []way, times int64) {
	ways = fewest(ways)
	require.Len(t, ways, m.Len())
	for i, w := range ways {
		o := m.At(i)
		total, pieces := exact(o.Bar)+exact(o.Collars), slices.Concat(o.PerSide, o.AddOns)
		if o.Bar.Milli == 0 {
			total = exact(o.Load) // a fixed piece or a setting
		}
		for k, p := range pieces {
			total += times * exact(p)
			require.True(t, k == 0 || p.Cmp(pieces[k-1]) <= 0, "heaviest first")
		}
		require.Equal(t, w.total, total)
		require.Len(t, pieces, w.pieces)
		require.Equal(t, w.base, o.Bar)
		require.Equal(t, inUnit(w.total, o.Load.Unit), o.Load)
		require.True(t, i == 0 || o.Load.Cmp(m.At(i-1).Load) > 0)
	}
}

var (
	someStock = func(masses ...plan.Load) *rapid.Generator[[]plan.PlateStock] {
		return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) plan.PlateStock {
			return plan.PlateStock{Mass: rapid.SampledFrom(masses).Draw(t, "mass"), Count: rapid.SampledFrom([]int32{0, 1, 2, 2, 3, 4, 6, 9}).Draw(t, "count")}
		}), 0, 5)
	}
	barPlates = someStock(plan.Kg(25_000), plan.Kg(20_000), plan.Kg(15_000), plan.Kg(10_000), plan.Kg(5000), plan.Kg(2500), plan.Kg(1250),
		plan.Kg(500), plan.Lb(45_000), plan.Lb(35_000), plan.Lb(25_000), plan.Lb(10_000), plan.Lb(5000), plan.Lb(2500))
	handPlates = someStock(plan.Kg(5000), plan.Kg(2500), plan.Kg(1250), plan.Kg(500), plan.Lb(10_000), plan.Lb(5000), plan.Lb(2500))
	smallOnes  = someStock(plan.Kg(2500), plan.Kg(1250), plan.Kg(1000), plan.Lb(5000), plan.Lb(2500))
	someBar    = rapid.SampledFrom([]plan.Load{plan.Kg(20_000), plan.Kg(15_000), plan.Kg(10_000), plan.Lb(45_000), plan.Lb(35_000)})
	someHandle = rapid.SampledFrom([]plan.Load{plan.Kg(2000), plan.Kg(2500), plan.Lb(5000)})
)

// TestMenusAgainstEnumeration makes 10,000 random places: bars with and without collars,
// adjustable dumbbells one and two, uneven stacks with add-ons, plates in both units, few
// or missing. Every load there is and what it is made of agree with trying all ways.
func TestMenusAgainstEnumeration(t *testing.T) {
	seen := 0
	check := func(t *rapid.T) {
		seen++
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0:
			bar, plates := someBar.Draw(t, "bar"), barPlates.Draw(t, "plates")
			collars := rapid.SampledFrom([]plan.Opt[plan.Load]{{}, plan.Some(plan.Kg(5000)), plan.Some(plan.Kg(400)), plan.Some(plan.Lb(1000))}).Draw(t, "collars")
			m := BarMenu([]plan.Bar{{Mass: bar, Collars: collars}}, plates)
			madeOf(t, &m, wished(bar, exact(collars.Value), plates, 2, 2, bar600), 2)
		case 1:
			bars, plates := rapid.SliceOfN(someBar, 2, 3).Draw(t, "bars"), barPlates.Draw(t, "plates")
			var list []plan.Bar
			var ways []way
			for _, b := range bars {
				list = append(list, plan.Bar{Mass: b})
				more := fewest(wished(b, 0, plates, 2, 2, bar600))
				if len(ways) > 0 { // only what those before can't give
					lo, hi := ways[0].total, ways[len(ways)-1].total
					more = slices.DeleteFunc(more, func(w way) bool { return w.total >= lo && w.total <= hi })
				}
				ways = fewest(append(ways, more...))
			}
			m := BarMenu(list, plates)
			madeOf(t, &m, ways, 2)
		case 2:
			handle, plates := someHandle.Draw(t, "handle"), handPlates.Draw(t, "plates")
			need := rapid.Int32Range(1, 2).Draw(t, "need")
			a := plan.Adjustable{Count: rapid.Int32Range(1, 3).Draw(t, "count"), Handle: plan.Some(handle), Plates: plates}
			m := AdjustableMenu(a, need)
			if a.Count < need {
				require.Zero(t, m.Len())
				return
			}
			madeOf(t, &m, wished(handle, 0, plates, 2*need, 2, hand150), 2)
		default:
			pins := rapid.SliceOfNDistinct(rapid.Int64Range(2, 40), 1, 8, rapid.ID).Draw(t, "pins")
			slices.Sort(pins)
			s := plan.Stack{AddOns: smallOnes.Draw(t, "add-ons")}
			var ways []way
			slices.Reverse(pins) // of equal numbers of add-ons the heavier setting comes first
			for _, p := range pins {
				l := plan.Kg(p * 2500)
				s.Settings = append([]plan.Load{l}, s.Settings...)
				ways = append(ways, enumerate(l, 0, s.AddOns, 1, 1, bar600)...)
			}
			m := StackMenu(s)
			if len(s.AddOns) == 0 {
				for i := range ways {
					ways[i].base = plan.Load{}
				}
			}
			madeOf(t, &m, ways, 1)
		}
	}
	for seen < 10_000 {
		rapid.Check(t, check)
	}
}

func TestDials(t *testing.T) {
	dial := plan.Adjustable{Count: 2, Settings: []plan.Load{plan.Lb(5000), plan.Lb(7500), plan.Lb(7500), plan.Lb(10_000)}}
	m := AdjustableMenu(dial, 2)
	require.Equal(t, []plan.Load{plan.Lb(5000), plan.Lb(7500), plan.Lb(10_000)}, m.Loads())
	require.Equal(t, Option{Load: plan.Lb(7500)}, m.At(1))
	dial.Count = 1
	m = AdjustableMenu(dial, 2)
	require.Zero(t, m.Len(), "one dial makes no pair")
	m = AdjustableMenu(plan.Adjustable{Count: 2}, 1)
	require.Zero(t, m.Len(), "neither dial nor handle")

	place := &plan.Place{
		Dumbbells:   []plan.HeldStock{{Mass: plan.Kg(4500), Count: 2}},
		Adjustables: []plan.Adjustable{{Count: 2, Handle: plan.Some(plan.Kg(2000)), Plates: stock(plan.Kilogram, 4, 1250, 500)}, dial},
	}
	m = MenuFor(plan.LoadingDumbbellPair, plan.Dumbbells, place)
	require.Equal(t, kilos(2000, 3000, 4500, 5500), m.Loads())
	require.Empty(t, m.At(2).PerSide, "fixed ones before those that have to be set")
	require.Equal(t, kilos(1250, 500), m.At(3).PerSide)
	m = MenuFor(plan.LoadingDumbbell, plan.Dumbbells, place)
	require.Equal(t, []plan.Load{plan.Kg(2000), plan.Lb(5000), plan.Kg(3000), plan.Lb(7500), plan.Kg(4000), plan.Kg(4500), plan.Lb(10_000), plan.Kg(5500), plan.Kg(6500), plan.Kg(7500), plan.Kg(8000), plan.Kg(9000)}[:3], m.Loads()[:3])
	m = MenuFor(plan.LoadingAdded, plan.DipBelt, place)
	require.Contains(t, m.Loads(), plan.Lb(7500).In(plan.Kilogram), "a set dumbbell hangs as well as a fixed one")
}

func TestTotalsInTheRequestsUnit(t *testing.T) {
	plates := append(stock(plan.Kilogram, 2, 1250), stock(plan.Pound, 2, 45_000)...)
	m := BarMenu([]plan.Bar{{Mass: plan.Kg(20_000)}}, plates).In(plan.Pound)
	o, ok := m.Nearest(plan.Lb(134_000), false)
	require.True(t, ok)
	require.Equal(t, Option{Load: plan.Lb(134_092), Bar: plan.Kg(20_000), PerSide: []plan.Load{plan.Lb(45_000)}}, o)
	again, ok := m.Nearest(o.Load, true)
	require.True(t, ok)
	require.Equal(t, o, again, "a load as printed is found again")
	require.Equal(t, "134.09 lb", o.Load.String())
	// What is marked on one piece stays as it is marked.
	held := HeldMenu([]plan.HeldStock{{Mass: plan.Kg(12_500), Count: 2}}, 2).In(plan.Pound)
	require.Equal(t, kilos(12_500), held.Loads())
	pins := StackMenu(plan.Stack{First: plan.Kg(5000), Step: plan.Kg(5000), Last: plan.Kg(10_000), AddOns: stock(plan.Pound, 1, 5000)}).In(plan.Pound)
	require.Equal(t, kilos(5000, 7268, 10_000, 12_268), pins.Loads())
}
