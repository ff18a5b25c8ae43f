package plan

// Tick is the grid on which session time is planned.
const Tick Seconds = 15

// Ticks rounds a duration up to the grid.
func (s Seconds) Ticks() int32 {
	if s < 0 {
		return -int32(-s / Tick)
	}
	return int32((s + Tick - 1) / Tick)
}

// GeneralWarmup is the easy whole-body warm-up before the first lift: 5 minutes, the
// lower end of the textbook's 5 to 10 (from memory); 3 in sessions of half an hour or
// less, where the specific warm-up sets do more (Iversen 2021, from memory).
func GeneralWarmup(limit Seconds) Seconds {
	if limit <= 30*60 {
		return 180
	}
	return 300
}

// SessionEnd is the time to put things away after the last set. Common practice, no source.
const SessionEnd Seconds = 60
