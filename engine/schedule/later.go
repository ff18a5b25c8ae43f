package schedule

import "slices"

// later adds what the levels after rest cost: a program of level 4 or 5 knows the days
// apart. Costs that are rounded up as a whole are not rounded here, which only makes them
// less.
func (k *collapsed) later(before [][]entry, bases []int64) {
	pb := k.pb
	if pb.prior != nil {
		bases[LevelStability] = pb.undone()
	}
	k.each(func(*item) bool { return true }, func(j int32, s int64, it *item) {
		p := int(it.c)*pb.D + int(k.days[it.class][0])
		for level := LevelStability; level < k.level; level++ {
			if c := k.pairCost(level, p, int32(s)); c != 0 {
				before[level] = append(before[level], entry{j, c})
			}
		}
	})
	k.distinct(before, bases)
	k.crowded(before)
	k.full(before)
	k.beyond(before)
}

// extra makes a column of a cost of level 4.
func (k *collapsed) extra(cost, most int64, part bool, before [][]entry) int32 {
	j := k.l.addColumn(k.own(LevelPreference, cost), 0, most)
	if part {
		k.part = append(k.part, j)
		if k.level == LevelPreference {
			k.grid = 1
		}
	}
	if k.level > LevelPreference {
		before[LevelPreference] = append(before[LevelPreference], entry{j, cost})
	}
	return j
}

// marks tells by column whether it need not be whole; nil: all must be.
func (k *collapsed) marks() []bool {
	if len(k.part) == 0 {
		return nil
	}
	marks := make([]bool, len(k.l.cost))
	for _, j := range k.part {
		marks[j] = true
	}
	return marks
}

// distinct makes a column for each exercise, whether it is used.
func (k *collapsed) distinct(before [][]entry, bases []int64) {
	pb := k.pb
	for c := range pb.C {
		var items []*item
		for g := range k.days {
			if i := k.of[c*len(k.days)+g]; i >= 0 {
				items = append(items, &k.items[i])
			}
		}
		if len(items) == 0 {
			continue
		}
		lo := int64(min(1, pb.m.Candidates[c].MinDays))
		j := k.l.addColumn(k.own(LevelPreference, distinctCost)+k.own(LevelSimplicity, distinctCount), lo, 1)
		if k.level > LevelPreference {
			before[LevelPreference] = append(before[LevelPreference], entry{j, distinctCost})
		}
		for _, it := range items {
			row := []entry{{j, -1}}
			for s := it.lo; s <= it.hi; s++ {
				row = append(row, entry{it.first + s - it.lo, 1})
			}
			k.bond(row, -endless, 0)
		}
	}
}

// crowded makes the costs of like exercises and of much for a muscle on one day.
func (k *collapsed) crowded(before [][]entry) {
	pb := k.pb
	for g := range k.days {
		for kind := range int32(pb.ndup) {
			var row []entry
			n := int64(0)
			k.each(func(it *item) bool { return int(it.class) == g && pb.dup[it.c] == kind }, func(j int32, s int64, it *item) {
				row = append(row, entry{j, 1})
				if s == int64(it.lo) {
					n++
				}
			})
			n = min(n, int64(pb.m.Days[k.days[g][0]].MaxExercises))
			for i := int64(1); i < n; i++ {
				row = append(row, entry{k.extra(duplicateCost*i, 1, false, before), -1})
			}
			if n > 1 {
				k.bond(row, -endless, 1)
			}
		}
		for i := range pb.muscles {
			aim := int64(pb.muscles[i].aim)
			if aim < 0 {
				continue
			}
			var row []entry
			most := int64(0)
			k.each(func(it *item) bool { return int(it.class) == g && slices.Contains(pb.tracked[it.c], int32(i)) }, func(j int32, s int64, it *item) {
				row = append(row, entry{j, 2 * s})
				if s == int64(it.hi) {
					most += 2 * s
				}
			})
			if most > aim {
				row = append(row, entry{k.extra(denseCost, most-aim, false, before), -1})
				k.bond(row, -endless, aim)
			}
		}
	}
}

// full makes the costs of days with few exercises and of days with little time left.
func (k *collapsed) full(before [][]entry) {
	for g, days := range k.days {
		day := &k.pb.m.Days[days[0]]
		var count, ticks []entry
		k.each(func(it *item) bool { return int(it.class) == g }, func(j int32, _ int64, _ *item) {
			count = append(count, entry{j, 1})
			if k.ticks[j] > 0 {
				ticks = append(ticks, entry{j, 5 * k.ticks[j]})
			}
		})
		if day.MinExercises > 0 {
			j := k.extra(emptyCost, int64(day.MinExercises), false, before)
			k.bond(append(count, entry{j, 1}), int64(day.MinExercises), endless)
		}
		for part := int64(3); part < 5; part++ {
			most := (5-part)*int64(day.Capacity)/fullTenths + 1
			j := k.extra(1, most, true, before)
			k.bond(append(slices.Clone(ticks), entry{j, -fullTenths}), -endless, part*int64(day.Capacity))
		}
	}
}

// beyond makes the costs of supply above what is wanted.
func (k *collapsed) beyond(before [][]entry) {
	pb := k.pb
	for r := range pb.rows {
		t := &pb.rows[r]
		if t.aim == 0 {
			continue
		}
		var row []entry
		k.each(func(*item) bool { return true }, func(j int32, s int64, it *item) {
			for _, x := range pb.terms[it.c] {
				if int(x.row) == r {
					row = append(row, entry{j, int64(x.coef) * k.times(it) * s})
				}
			}
		})
		for _, step := range [...][2]int64{{t.aim, overCost}, {t.aim + (t.aim+1)/2, farOverCost}} {
			over := pb.most - pb.weeks*step[0]
			if over <= 0 {
				continue
			}
			g := gcd(pb.weeks, step[1])
			cost, weeks := step[1]/g, pb.weeks/g
			j := k.extra(1, cost*over/weeks+1, true, before)
			long := make([]entry, 0, len(row)+1)
			for _, e := range row {
				long = append(long, entry{e.at, cost * e.by})
			}
			k.bond(append(long, entry{j, -weeks}), -endless, cost*pb.weeks*step[0])
		}
	}
}
