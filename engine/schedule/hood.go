package schedule

// hood solves a level's program again with all but some days as they are in the best
// assignment: each day alone, then each two together, from the start after every gain.
func (s *solver) hood(level int, work int64) {
	end := s.mt.used + work
	pb := s.pb
	var free [][2]int
	for d := range pb.D {
		free = append(free, [2]int{d, d})
	}
	for d := range pb.D {
		for e := range d {
			free = append(free, [2]int{e, d})
		}
	}
	for i := 0; i < len(free) && s.mt.used < end && !s.mt.canceled; i++ {
		was := s.ls.bestV
		k := pb.collapse(level, &s.ls.bestV, false)
		for j := range k.items {
			it := &k.items[j]
			d := int(k.days[it.class][0])
			if d == free[i][0] || d == free[i][1] {
				continue
			}
			v := s.ls.best[int(it.c)*pb.D+d]
			for x := it.lo; x <= it.hi; x++ {
				at := it.first + x - it.lo
				k.l.lo[at], k.l.up[at] = 0, 0
				if x == v {
					k.l.lo[at], k.l.up[at] = 1, 1
				}
			}
		}
		share := s.budget / 64
		if free[i][0] != free[i][1] {
			share *= 2
		}
		s.mt.limit = min(end, s.mt.used+share)
		newBranch(k, s.ls).search()
		if s.ls.bestV != was {
			i = -1
		}
	}
}
