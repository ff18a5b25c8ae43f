package schedule

// hood solves a level's program again with all but a part of it as it is in the best
// assignment.
type hood struct {
	s     *solver
	level int
	end   int64 // of its work
}

// near leaves only the items that free allows open. whole: that part is solved.
func (h *hood) near(work int64, free func(it *item) bool) (gain, whole bool) {
	s := h.s
	was := s.ls.bestV
	k := s.pb.collapse(h.level, &s.ls.bestV, false)
	for j := range k.items {
		if it := &k.items[j]; !free(it) {
			k.hold(it, s.ls.best)
		}
	}
	s.mt.limit = min(h.end, s.mt.used+work)
	_, whole = newBranch(k, s.ls).search()
	s.mt.spend(1 + int64(len(k.l.cost))/16) // making the program
	return s.ls.bestV != was, whole
}

// hold keeps an item as it is in an assignment.
func (k *collapsed) hold(it *item, sets []int32) {
	for v := it.lo; v <= it.hi; v++ {
		n := int64(0)
		for _, d := range k.days[it.class] {
			if sets[int(it.c)*k.pb.D+int(d)] == v {
				n++
			}
		}
		at := it.first + v - it.lo
		k.l.lo[at], k.l.up[at] = n, n
	}
}

// days frees each class of days alone, then each two together, from the start after every
// gain.
func (s *solver) days(level int, work int64) {
	h := hood{s: s, level: level, end: s.mt.used + work}
	k := &collapsed{pb: s.pb, level: level}
	k.classes()
	var free [][2]int32
	for g := range int32(len(k.days)) {
		free = append(free, [2]int32{g, g})
	}
	for g := range int32(len(k.days)) {
		for f := range g {
			free = append(free, [2]int32{f, g})
		}
	}
	for i := 0; i < len(free) && s.mt.used < h.end && !s.mt.canceled; i++ {
		a, b := free[i][0], free[i][1]
		share := s.part / 64
		if a != b {
			share *= 2
		}
		if gain, _ := h.near(share, func(it *item) bool { return it.class == a || it.class == b }); gain {
			i = -1
		}
	}
}
