package schedule

const (
	pressPart   = 2      // one in so many of what is left goes to a program
	pressChunks = 4      // in so many steps
	turnWork    = 50_000 // of a walk, or of fixed parts
	longLap     = 50_000
)

// press goes on with the programs of the first level without proof, as long as they close
// the gap fast enough to end in their share. It reports whether the level is proven.
func (s *solver) press() bool {
	level := s.open
	for i := len(s.kept) - 1; i >= 0; i-- {
		b := s.kept[i]
		if b == nil {
			continue
		}
		share := (s.end - s.mt.used) / pressPart
		first := s.gap(level)
		for n := int64(1); n <= pressChunks && !s.mt.canceled; n++ {
			s.stage(share / pressChunks)
			bound, _ := b.search()
			s.bound[level] = max(s.bound[level], bound)
			if s.gap(level) == 0 {
				return !s.mt.canceled
			}
			if pressChunks*(first-s.gap(level)) < n*first {
				break
			}
		}
	}
	return false
}

// again improves the first level without proof with all that is left, and where it comes
// to its bound, those behind it.
func (s *solver) again() {
	for level := s.open; level <= LevelPreference; level++ {
		if level == LevelStability && s.pb.prior == nil || s.met(level) || len(s.pb.pairs) == 0 {
			continue
		}
		s.turns(level)
	}
}

// turns improves a level by walks and fixed parts.
func (s *solver) turns(level int) {
	size := max(6, s.pb.C/4)
	for turn := 0; s.mt.used < s.end && !s.mt.canceled && !s.met(level); turn++ {
		was := s.mt.used
		work := min(turnWork*s.longer(), s.end-s.mt.used)
		if turn%2 == 1 {
			size = s.groups(level, size, work)
		} else {
			s.stage(work)
			s.ls.anneal(level, s.gap(level), longLap*s.longer(), work)
			s.stage(s.part / 32)
			s.ls.climb(level == LevelPreference)
			s.ls.keep()
		}
		if s.mt.used == was {
			return
		}
	}
}

// groups frees exercises at random, some in use and as many others, on all days; their
// number goes up where such parts are solved to the end and down where they are not.
func (s *solver) groups(level, size int, work int64) int {
	h := hood{s: s, level: level, end: s.mt.used + work}
	pb := s.pb
	order := make([]int, pb.C)
	free := make([]bool, pb.C)
	for s.mt.used < h.end && !s.mt.canceled && !s.met(level) {
		for c := range order {
			j := s.ls.next(c + 1)
			order[c], order[j] = order[j], c
		}
		clear(free)
		var n [2]int // in use, not
		for _, c := range order {
			side := 1
			for _, v := range s.ls.best[c*pb.D : (c+1)*pb.D] {
				if v > 0 {
					side = 0
				}
			}
			if n[side] <= size/2 {
				n[side]++
				free[c] = true
			}
		}
		if _, whole := h.near(s.part/32, func(it *item) bool { return free[it.c] }); whole {
			size = min(size+1+size/8, pb.C)
		} else {
			size = max(size-1-size/8, 4)
		}
	}
	return size
}
