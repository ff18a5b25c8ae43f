package schedule

// priceScale is the grid of prices.
const priceScale = 256

// bounder gives the Lagrangian lower bound of a cost that is a sum of row tables:
// mix[0]*level 1 + mix[1]*level 2. Prices per half set of a row, per exercise and per
// set of a day; see doc.go.
type bounder struct {
	pb    *problem
	meter *meter
	mix   [2]int64

	price []int64 // by row
	perEx []int64 // by day
	perSt []int64
	gain  []int64 // by pair: worth of a set at the prices
	order [][]int32
	after [][]int32   // by day and position: first position after the variant
	best  [][][]int64 // by day, position and ticks left: most worth
	store [][]int64
	cap   []int32
	base  int64 // rows and limits at the prices
	total int64 // scaled bound

	want   []int64 // supply that the rows chose
	have   []int64 // supply that the days chose
	usedEx []int64
	usedSt []int64
	keepP  [3][]int64 // best prices so far
	low    []int64    // least supply that a row may have, and the most
	top    []int64
}

const maxCells = 3 << 20 // above it no knapsack tables are kept

// column lists the pairs of a day, candidates of a variant side by side, and for each
// the first position behind its variant.
func (pb *problem) column(d int) (order, after []int32) {
	for v := -1; v < pb.nvar; v++ {
		from := len(order)
		for c := range pb.C {
			if p := c*pb.D + d; pb.allowed[p] && int(pb.variant[c]) == v {
				order = append(order, int32(p))
			}
		}
		for i := from; i < len(order); i++ {
			if v < 0 {
				after = append(after, int32(i)+1)
			} else {
				after = append(after, int32(len(order)))
			}
		}
	}
	return order, after
}

// newBounder returns nil where the tables would be too large.
func newBounder(pb *problem, mt *meter) *bounder {
	b := &bounder{
		pb: pb, meter: mt, price: make([]int64, len(pb.rows)), perEx: make([]int64, pb.D), perSt: make([]int64, pb.D),
		gain: make([]int64, pb.C*pb.D), order: make([][]int32, pb.D), after: make([][]int32, pb.D),
		best: make([][][]int64, pb.D), store: make([][]int64, pb.D), cap: make([]int32, pb.D),
		want: make([]int64, len(pb.rows)), have: make([]int64, len(pb.rows)),
		usedEx: make([]int64, pb.D), usedSt: make([]int64, pb.D), top: make([]int64, len(pb.rows)),
		low: make([]int64, len(pb.rows)),
	}
	b.keepP = [3][]int64{make([]int64, len(pb.rows)), make([]int64, pb.D), make([]int64, pb.D)}
	cells := int64(0)
	for d := range pb.D {
		b.order[d], b.after[d] = pb.column(d)
		var full int64
		for _, q := range b.order[d] {
			full += int64(max(0, pb.fixed[q]+pb.per[q]*pb.hi[q]))
		}
		b.cap[d] = int32(min(int64(pb.m.Days[d].Capacity), full))
		cells += int64(len(b.order[d])+1) * int64(b.cap[d]+1)
	}
	if cells > maxCells {
		return nil
	}
	for d := range pb.D {
		w := int(b.cap[d]) + 1
		b.store[d] = make([]int64, (len(b.order[d])+1)*w)
		b.best[d] = make([][]int64, len(b.order[d])+1)
	}
	for r := range pb.rows {
		b.top[r] = pb.most
		if pb.rows[r].max >= 0 {
			b.top[r] = min(b.top[r], pb.rows[r].max)
		}
	}
	return b
}

func (b *bounder) cost(r int, s int64) int64 {
	t := &b.pb.rows[r]
	return b.mix[0]*t.at(0, s) + b.mix[1]*t.at(1, s)
}

// start prices every row by the slope of its cost where an assignment stands. goals is
// what level 1 may cost in all: a row that would cost more alone needs more supply.
func (b *bounder) start(mix [2]int64, supply []int64, goals int64) {
	b.mix = mix
	for r := range b.price {
		b.low[r] = 0
		for b.low[r] < b.top[r] && b.pb.rows[r].at(0, b.low[r]) > goals {
			b.low[r]++
		}
		s := max(min(supply[r], b.top[r]), b.low[r])
		lo, hi := max(b.low[r], s-b.pb.weeks), min(b.top[r], s+b.pb.weeks)
		b.price[r] = 0
		if hi > lo {
			b.price[r] = (b.cost(r, lo) - b.cost(r, hi)) * priceScale / (hi - lo)
		}
	}
	for d := range b.pb.D {
		b.perEx[d], b.perSt[d] = 0, 0
	}
}

// evaluate computes the bound at the prices, and what rows and days chose.
func (b *bounder) evaluate() int64 {
	pb := b.pb
	b.base = 0
	for r := range pb.rows {
		at := b.low[r]
		least := b.cost(r, at)*priceScale + b.price[r]*at
		for s := at + 1; s <= b.top[r]; s++ { // convex: stop at the first rise
			v := b.cost(r, s)*priceScale + b.price[r]*s
			if v > least {
				break
			}
			at, least = s, v
		}
		b.want[r], b.have[r] = at, 0
		b.base += least
		b.meter.spend((at-b.low[r])/16 + 1)
	}
	b.total = b.base
	for d := range pb.D {
		day := &pb.m.Days[d]
		limit := b.perEx[d]*int64(day.MaxExercises) + b.perSt[d]*int64(day.MaxSets)
		b.base -= limit
		b.total -= limit + b.knapsack(d)
		b.pick(d)
	}
	return b.total
}

// knapsack fills the tables of a day from the last position back.
func (b *bounder) knapsack(d int) int64 {
	pb := b.pb
	order, best, w := b.order[d], b.best[d], int(b.cap[d])+1
	n := len(order)
	best[n] = b.store[d][n*w : (n+1)*w]
	clear(best[n])
	for j := n - 1; j >= 0; j-- {
		p := int(order[j])
		worth := int64(0)
		for _, t := range pb.terms[p/pb.D] {
			worth += b.price[t.row] * int64(t.coef)
		}
		worth = worth*pb.times[d] - b.perSt[d]
		b.gain[p] = worth
		lo, hi := pb.lo[p], pb.hi[p]
		if max(worth*int64(lo), worth*int64(hi)) <= b.perEx[d] || int(pb.fixed[p]+pb.per[p]*lo) >= w {
			best[j] = best[j+1]
			continue
		}
		row := b.store[d][j*w : (j+1)*w]
		copy(row, best[j+1])
		rest := best[b.after[d][j]]
		for s := lo; s <= hi; s++ {
			ticks := int(pb.fixed[p] + pb.per[p]*s)
			if ticks >= w {
				break
			}
			g := worth*int64(s) - b.perEx[d]
			if g <= 0 {
				continue
			}
			src := rest[:w-ticks]
			dst := row[ticks:]
			dst = dst[:len(src)]
			for t, v := range src {
				if v+g > dst[t] {
					dst[t] = v + g
				}
			}
		}
		b.meter.spend(int64(w)*int64(hi-lo+1)/256 + 1)
		best[j] = row
	}
	return best[0][w-1]
}

// pick reads the day's choice from the tables and books its supply.
func (b *bounder) pick(d int) {
	pb := b.pb
	b.usedEx[d], b.usedSt[d] = 0, 0
	t := int(b.cap[d])
	for j := 0; j < len(b.order[d]); {
		p := int(b.order[d][j])
		here := b.best[d][j][t]
		if here == b.best[d][j+1][t] {
			j++
			continue
		}
		next := int(b.after[d][j])
		for s := pb.hi[p]; s >= pb.lo[p]; s-- {
			ticks := int(pb.fixed[p] + pb.per[p]*s)
			if ticks > t || b.best[d][next][t-ticks]+b.gain[p]*int64(s)-b.perEx[d] != here {
				continue
			}
			for _, m := range pb.terms[p/pb.D] {
				b.have[m.row] += int64(m.coef) * int64(s) * pb.times[d]
			}
			b.usedEx[d]++
			b.usedSt[d] += int64(s)
			t -= ticks
			break
		}
		j = next
	}
}

// raise moves the prices by subgradient steps and ends with the tables at the best
// ones. target is the value of the incumbent; the answer is the scaled bound.
func (b *bounder) raise(target int64, rounds int) int64 {
	pb := b.pb
	best := b.evaluate()
	b.save()
	pace, stale := int64(128), 0
	for range rounds {
		if b.meter.done() || ceilDiv(best, priceScale) >= target {
			break
		}
		var norm int64
		for r := range pb.rows {
			h := b.want[r] - b.have[r]
			norm += h * h
		}
		for d := range pb.D {
			e, s := b.slack(d)
			norm += e*e + s*s
		}
		if norm == 0 {
			break
		}
		gap := max(target*priceScale-b.total, priceScale)
		step := func(h int64) int64 { return divNear(gap/64*pace*h, 2*norm) }
		for r := range pb.rows {
			b.price[r] += step(b.want[r] - b.have[r])
		}
		for d := range pb.D {
			e, s := b.slack(d)
			b.perEx[d] = max(0, b.perEx[d]+step(e))
			b.perSt[d] = max(0, b.perSt[d]+step(s))
		}
		if v := b.evaluate(); v > best {
			best, stale = v, 0
			b.save()
		} else if stale++; stale >= 6 {
			stale, pace = 0, pace*2/3
			b.restore()
			if pace < 2 {
				break
			}
			b.evaluate()
		}
	}
	b.restore()
	return b.evaluate()
}

// slack is by how much a day's choice exceeds its limits of exercises and sets; an
// unpriced limit that holds has none.
func (b *bounder) slack(d int) (exercises, sets int64) {
	day := &b.pb.m.Days[d]
	e, s := b.usedEx[d]-int64(day.MaxExercises), b.usedSt[d]-int64(day.MaxSets)
	if e < 0 && b.perEx[d] == 0 {
		e = 0
	}
	if s < 0 && b.perSt[d] == 0 {
		s = 0
	}
	return e, s
}

func (b *bounder) save() {
	copy(b.keepP[0], b.price)
	copy(b.keepP[1], b.perEx)
	copy(b.keepP[2], b.perSt)
}

func (b *bounder) restore() {
	copy(b.price, b.keepP[0])
	copy(b.perEx, b.keepP[1])
	copy(b.perSt, b.keepP[2])
}

func ceilDiv(a, b int64) int64 {
	q := a / b
	if a%b > 0 {
		q++
	}
	return q
}

func divNear(a, b int64) int64 {
	if a < 0 {
		return -((-a + b/2) / b)
	}
	return (a + b/2) / b
}
