package schedule

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drawLinear draws a program of at most 5 whole columns and 4 rows.
func drawLinear(t *rapid.T) *linear {
	i64 := func(lo, hi int64, label string) int64 { return rapid.Int64Range(lo, hi).Draw(t, label) }
	l := &linear{}
	n := int(i64(1, 5, "columns"))
	for range n {
		lo := i64(-2, 2, "lo")
		l.addColumn(i64(-20, 20, "cost"), lo, lo+i64(0, 4, "width"))
	}
	for range int(i64(1, 4, "rows")) {
		var row []entry
		for j := range n {
			if by := i64(-6, 6, "by"); by != 0 {
				row = append(row, entry{int32(j), by})
			}
		}
		lo, up := i64(-20, 10, "row lo"), int64(endless)
		switch i64(0, 2, "kind") {
		case 0:
			up = lo + i64(0, 30, "row width")
		case 1:
			lo, up = -endless, lo+20
		}
		l.addRow(row, lo, up)
	}
	return l
}

// points calls f with every whole point of a program.
func (l *linear) points(f func(x []int64, cost int64)) {
	x := make([]int64, len(l.cost))
	var next func(j int)
	next = func(j int) {
		if j < len(x) {
			for x[j] = l.lo[j]; x[j] <= l.up[j]; x[j]++ {
				next(j + 1)
			}
			return
		}
		for i, row := range l.rows {
			if a := activity(row, x); l.rlo[i] != -endless && a < l.rlo[i] || l.rup[i] != endless && a > l.rup[i] {
				return
			}
		}
		cost := int64(0)
		for j, c := range l.cost {
			cost += c * x[j]
		}
		f(x, cost)
	}
	next(0)
}

func activity(row []entry, x []int64) int64 {
	a := int64(0)
	for _, e := range row {
		a += e.by * x[e.at]
	}
	return a
}

// TestFloor: whatever the prices are, no whole point costs less than the floor.
func TestFloor(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLinear(t)
		price := make([]int64, len(l.rows))
		for i := range price {
			price[i] = rapid.Int64Range(-8<<priceBits, 8<<priceBits).Draw(t, "price")
		}
		sum, ok := l.floor(price, nil)
		require.True(t, ok)
		l.points(func(x []int64, cost int64) {
			require.LessOrEqual(t, whole(sum, 1), cost, "%v", x)
		})
	})
}

// TestFloorTooLarge: numbers that could leave 64 bits claim nothing.
func TestFloorTooLarge(t *testing.T) {
	l := &linear{}
	l.addColumn(1, 0, 1<<40)
	l.addRow([]entry{{0, 1 << 30}}, 1, endless)
	_, ok := l.floor([]int64{1 << 40}, nil)
	require.False(t, ok)
}

// doubled is a program in units of a half, in which a column that need not be whole may
// have any value and the others are even.
func (l *linear) doubled() *linear {
	d := &linear{}
	for j, c := range l.cost {
		d.addColumn(c, 2*l.lo[j], 2*l.up[j])
	}
	twice := func(v int64) int64 {
		if v == endless || v == -endless {
			return v
		}
		return 2 * v
	}
	for i, row := range l.rows {
		d.addRow(row, twice(l.rlo[i]), twice(l.rup[i]))
	}
	return d
}

// TestCuts: no cut of a solved program takes a whole point away, nor one that is whole
// but for the columns that need not be, and each takes the broken one.
func TestCuts(t *testing.T) {
	cuts, rounded := 0, 0
	check := func(t *rapid.T) {
		l := drawLinear(t)
		s := newSimplex(l, len(l.rows)+4, 1)
		if rapid.Bool().Draw(t, "mixed") {
			s.part = rapid.SliceOfN(rapid.Bool(), s.n, s.n).Draw(t, "part")
		}
		mt := &meter{ctx: context.Background(), limit: 1 << 40}
		if s.run(1<<30, 200, mt) != solved {
			return
		}
		holds := func(row []entry, least int64) {
			require.Less(t, s.activity(row), float64(least))
			l.doubled().points(func(x []int64, _ int64) {
				for j, v := range x {
					if v%2 != 0 && (s.part == nil || !s.part[j]) {
						return
					}
				}
				require.GreaterOrEqual(t, activity(row, x), 2*least, "%v", x)
			})
		}
		for _, k := range s.fractional() {
			if row, least, ok := s.cut(k); ok {
				cuts++
				holds(row, least)
			}
		}
		for _, c := range s.roundings(mt) {
			rounded++
			holds(c.row, c.least)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		for range 20 {
			check(t)
		}
	})
	if !testing.Short() { // which draws a fifth of them
		require.Greater(t, cuts, 100)
		require.Greater(t, rounded, 100)
	}
}

// TestSimplex: a solved program's prices prove its own cost, as far as the little that is
// on top of the costs lets them; one that can't be met is told so, and only such a one.
func TestSimplex(t *testing.T) {
	met, unmet := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		l := drawLinear(t)
		s := newSimplex(l, len(l.rows)+2, 1)
		mt := &meter{ctx: context.Background(), limit: 1 << 40}
		best, any := int64(0), false
		l.points(func(_ []int64, cost int64) {
			if !any || cost < best {
				best, any = cost, true
			}
		})
		switch s.run(1<<20, 200, mt) {
		case solved:
			met++
			sum, ok := s.prices(nil)
			require.True(t, ok)
			value := 0.0
			for j, c := range l.cost {
				value += float64(c) * s.at(int32(j))
			}
			require.InDelta(t, value, float64(sum)/(1<<priceBits), 0.02)
			if any {
				require.LessOrEqual(t, whole(sum, 1), best)
			}
		case exceeded:
			unmet++
			require.False(t, any)
		}
	})
	if !testing.Short() { // which draws a fifth of them
		require.Greater(t, met, 20)
		require.Greater(t, unmet, 2)
	}
}

// TestDrop: rows that join and go leave the program as if they had never been.
func TestDrop(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLinear(t)
		mt := &meter{ctx: context.Background(), limit: 1 << 40}
		s := newSimplex(l, len(l.rows)+3, 1)
		before := s.run(1<<20, 200, mt)
		if before != solved {
			return
		}
		sum, _ := s.prices(nil)
		var row []entry
		for j := range l.cost {
			row = append(row, entry{int32(j), rapid.Int64Range(-4, 4).Draw(t, "by")})
		}
		l.addRow(row, -1000, 1000)
		s.grow()
		require.Equal(t, solved, s.run(1<<20, 200, mt))
		at := int32(len(l.rows) - 1)
		require.GreaterOrEqual(t, s.where[at], int32(0), "a row that can't bind is in the basis")
		s.drop(at)
		require.Equal(t, solved, s.run(1<<20, 200, mt))
		again, _ := s.prices(nil)
		require.InDelta(t, float64(sum), float64(again), 1<<priceBits/50)
	})
}
