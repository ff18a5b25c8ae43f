package schedule

import (
	"math"
	"slices"
)

// endless stands for a row without a limit on one side.
const endless = math.MaxInt64

// priceBits is the grid of prices in the proof of a bound: 2^-20 of a unit of cost.
const priceBits = 20

// linear is a linear program in integers: the least cost of the columns, each within
// its box, with every row's activity within its limits. Some columns must be whole;
// that is branch's affair.
type linear struct {
	cost     []int64
	lo, up   []int64
	cols     [][]entry // by column: its rows
	rows     [][]entry // by row: its columns
	rlo, rup []int64   // -endless and endless where there is no limit
	large    int64     // no coefficient there ever was is larger
}

// entry is a coefficient, seen from a row or from a column.
type entry struct {
	at int32
	by int64
}

func (l *linear) addColumn(cost, lo, up int64) int32 {
	l.cost, l.lo, l.up = append(l.cost, cost), append(l.lo, lo), append(l.up, up)
	l.cols = append(l.cols, nil)
	return int32(len(l.cost) - 1)
}

func (l *linear) addRow(row []entry, lo, up int64) int32 {
	i := int32(len(l.rows))
	l.rows, l.rlo, l.rup = append(l.rows, row), append(l.rlo, lo), append(l.rup, up)
	for _, e := range row {
		l.large = max(l.large, e.by, -e.by)
		l.cols[e.at] = append(l.cols[e.at], entry{i, e.by})
	}
	return i
}

// floor is the bound that prices of the rows prove, whatever they are and wherever
// they come from: with r(j) = cost(j) - sum of price * coefficient,
//
//	cost of x  =  sum of r(j) x(j) + sum of price(i) activity(i)
//
// and each term is least at one end of its box. Prices are in 2^-20; those that would
// lean on a limit that is not there count as 0 (price is changed so). The answer is in
// 2^-20 too. ok is false where a number could leave 64 bits. reduced, where it is not
// nil, takes r.
func (l *linear) floor(price, reduced []int64) (sum int64, ok bool) {
	size, top := 0.0, int64(0)
	for i, y := range price {
		top = max(top, y, -y)
		var end int64
		switch {
		case y > 0:
			end = l.rlo[i]
		case y < 0:
			end = l.rup[i]
		default:
			continue
		}
		if end == endless || end == -endless {
			price[i] = 0
			continue
		}
		size += float64(math.Abs(float64(y)) * math.Abs(float64(end)))
		sum += y * end
	}
	exactly := top == 0 || l.large <= math.MaxInt64/top // no single product leaves them
	for j, c := range l.cost {
		r := c << priceBits
		part := math.Abs(float64(r))
		for _, e := range l.cols[j] {
			if int(e.at) >= len(price) {
				break
			}
			if y := price[e.at]; y != 0 {
				by := y * e.by
				r -= by
				if exactly {
					part += math.Abs(float64(by))
				} else {
					part += float64(math.Abs(float64(y)) * math.Abs(float64(e.by)))
				}
			}
		}
		if reduced != nil {
			reduced[j] = r
		}
		end := l.lo[j]
		if r < 0 {
			end = l.up[j]
		}
		sum += r * end
		size += float64(part * math.Max(1, math.Abs(float64(end))))
	}
	return sum, size < 1<<62
}

// whole rounds a floor in 2^-20 up to the grid of the cost.
func whole(sum, grid int64) int64 {
	return ceilDiv(ceilDiv(sum, 1<<priceBits), grid) * grid
}

// dropRow takes a row out; those behind it move up.
func (l *linear) dropRow(i int32) {
	for _, e := range l.rows[i] {
		col := l.cols[e.at]
		n := 0
		for _, x := range col {
			if x.at != i {
				col[n] = x
				n++
			}
		}
		l.cols[e.at] = col[:n]
	}
	for j, col := range l.cols {
		for n := len(col) - 1; n >= 0 && col[n].at > i; n-- {
			l.cols[j][n].at--
		}
	}
	l.rows = slices.Delete(l.rows, int(i), int(i)+1)
	l.rlo = slices.Delete(l.rlo, int(i), int(i)+1)
	l.rup = slices.Delete(l.rup, int(i), int(i)+1)
}

func ceilDiv(a, b int64) int64 {
	q := a / b
	if a%b > 0 {
		q++
	}
	return q
}
