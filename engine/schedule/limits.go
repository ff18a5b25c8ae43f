package schedule

import "slices"

// limits makes the rows of the days and of what is mandatory.
func (k *collapsed) limits() {
	pb := k.pb
	for g, days := range k.days {
		var capacity, places, most int64
		for _, d := range days {
			day := &pb.m.Days[d]
			capacity, places, most = capacity+int64(day.Capacity), places+int64(day.MaxExercises), most+int64(day.MaxSets)
		}
		var ticks, count, sets []entry
		k.each(func(it *item) bool { return int(it.class) == g }, func(j int32, s int64, it *item) {
			if k.l.up[j] == 0 {
				return
			}
			if k.ticks[j] > 0 {
				ticks = append(ticks, entry{j, k.ticks[j]})
			}
			count = append(count, entry{j, 1})
			sets = append(sets, entry{j, s})
		})
		k.l.addRow(ticks, -endless, capacity)
		k.l.addRow(count, -endless, places)
		k.bond(sets, -endless, most)
	}
	for c := range pb.m.Candidates {
		k.pins(c)
	}
	for i := range pb.m.Lifts {
		var row []entry
		k.each(func(it *item) bool { return int(pb.m.Candidates[it.c].Lift) == i }, func(j int32, _ int64, it *item) {
			row = append(row, entry{j, k.times(it)})
		})
		if need := pb.weeks * int64(pb.m.Lifts[i].MinDays); need > 0 {
			k.l.addRow(row, need, endless)
		}
	}
}

// pins makes the rows of a candidate's own minima and maxima.
func (k *collapsed) pins(c int) {
	pb := k.pb
	x := &pb.m.Candidates[c]
	var days, sets []entry
	allowed := int64(0)
	k.each(func(it *item) bool { return int(it.c) == c }, func(j int32, s int64, it *item) {
		days = append(days, entry{j, 1})
		sets = append(sets, entry{j, s * k.times(it)})
		if s == int64(it.lo) {
			allowed += k.on(it)
		}
	})
	if len(days) == 0 {
		return
	}
	if x.MinDays > 0 {
		k.l.addRow(days, int64(x.MinDays), int64(x.MaxDays))
		if x.MinSets > 0 {
			k.l.addRow(sets, pb.weeks*int64(x.MinSets), endless)
		}
	} else if int64(x.MaxDays) < allowed {
		k.bond(days, -endless, int64(x.MaxDays))
	}
	if x.MaxSets > 0 {
		k.bond(sets, -endless, pb.weeks*int64(x.MaxSets))
	}
}

// bonds makes the rows that are seldom broken and the sums to branch on.
func (k *collapsed) bonds() {
	pb := k.pb
	for i := range k.items {
		it := &k.items[i]
		var count, sets []entry
		for s := it.lo; s <= it.hi; s++ {
			count = append(count, entry{it.first + s - it.lo, 1})
			sets = append(sets, entry{it.first + s - it.lo, int64(s)})
		}
		n := k.on(it)
		it.count = k.bond(count, 0, n)
		it.sets = k.bond(sets, 0, n*int64(it.hi))
	}
	for g, days := range k.days {
		n := int64(len(days))
		for v := range int32(pb.nvar) {
			var row []entry
			k.each(func(it *item) bool { return int(it.class) == g && pb.variant[it.c] == v },
				func(j int32, _ int64, _ *item) { row = append(row, entry{j, 1}) })
			if len(row) > 1 {
				k.bond(row, -endless, n)
			}
		}
		for i := range pb.muscles {
			if pb.muscles[i].max < 0 {
				continue
			}
			var row []entry
			k.each(func(it *item) bool { return int(it.class) == g && slices.Contains(pb.tracked[it.c], int32(i)) },
				func(j int32, s int64, _ *item) { row = append(row, entry{j, 2 * s}) })
			if len(row) > 0 {
				k.bond(row, -endless, n*int64(pb.muscles[i].max))
			}
		}
	}
	k.likes()
}

// likes makes the ties: days and sets of candidates that count for the same, over all
// days and over those of a class, then those of single items.
func (k *collapsed) likes() {
	pb := k.pb
	kind := make([]int32, pb.C)
	var kinds int32
	for c := range kind {
		kind[c] = kinds
		for b := range c {
			if slices.Equal(pb.terms[b], pb.terms[c]) && slices.Equal(pb.sides[b], pb.sides[c]) {
				kind[c] = kind[b]
				break
			}
		}
		if kind[c] == kinds {
			kinds++
		}
	}
	add := func(tier int32, pass func(it *item) bool) {
		var count, sets []entry
		n := 0
		k.each(pass, func(j int32, s int64, it *item) {
			count = append(count, entry{j, 1})
			sets = append(sets, entry{j, s})
			if s == int64(it.lo) {
				n++
			}
		})
		if n < 2 {
			return
		}
		k.ties = append(k.ties, tie{k.bond(count, -endless, endless), tier}, tie{k.bond(sets, -endless, endless), tier})
	}
	for v := range kinds {
		add(0, func(it *item) bool { return kind[it.c] == v })
		for g := range k.days {
			if len(k.days) > 1 {
				add(1, func(it *item) bool { return kind[it.c] == v && int(it.class) == g })
			}
		}
	}
	for i := range k.items {
		k.ties = append(k.ties, tie{k.items[i].count, 2})
		if k.items[i].lo < k.items[i].hi {
			k.ties = append(k.ties, tie{k.items[i].sets, 2})
		}
	}
}

// balances makes a column for the cost of each balance.
func (k *collapsed) balances(before [][]entry) {
	pb := k.pb
	unit := int64(0)
	for _, t := range pb.times {
		unit = gcd(unit, t)
	}
	for b := range pb.m.Balances {
		var over, under []entry
		most := int64(0)
		k.each(func(it *item) bool { return len(pb.sides[it.c]) > 0 }, func(j int32, sets int64, it *item) {
			var r, l int64
			for _, s := range pb.sides[it.c] {
				if int(s.balance) != b {
					continue
				}
				if s.right {
					r += sets * k.times(it) / unit
				} else {
					l += sets * k.times(it) / unit
				}
			}
			if r == 0 && l == 0 {
				return
			}
			over = append(over, entry{j, 10*l - 7*r})
			under = append(under, entry{j, 14*r - 10*l})
			most += 14 * (r + l) * k.l.up[j]
		})
		if len(over) == 0 {
			continue
		}
		own := k.own(LevelRest, balanceCost*unit)
		j := k.l.addColumn(own, 0, most)
		k.bond(append(over, entry{j, 1}), 0, endless)
		k.bond(append(under, entry{j, 1}), 0, endless)
		if k.level > LevelRest {
			before[LevelRest] = append(before[LevelRest], entry{j, balanceCost * unit})
		}
	}
}
