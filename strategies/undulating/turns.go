package undulating

import (
	"slices"

	"github.com/phasewright/phasewright/strategies/internal/build"
)

// turns tells which zone a session has.
type turns struct {
	by              string
	zones, workouts int32

	weeks, sessions int32   // so far; weeks are training weeks
	recurred        []int32 // how often each workout took place
}

func newTurns(by string, zones, workouts int32) turns {
	return turns{by: by, zones: zones, workouts: workouts, recurred: make([]int32, max(workouts, 1))}
}

// week begins a training week.
func (t *turns) week() { t.weeks++ }

// session gives the zone of the next session, which is of a workout (from 0).
func (t *turns) session(workout int32) int32 {
	at := t.sessions
	t.sessions++
	switch t.by {
	case byWeek:
		return max(t.weeks-1, 0) % t.zones
	case byWorkout:
		at = t.recurred[workout]
		t.recurred[workout]++
		return at % t.zones
	}
	return build.Turn(at, t.zones, t.workouts)
}

// label names zones by how heavy they are among the others.
func label(list []zone) {
	weight := func(z *zone) int32 {
		if len(z.list) > 0 {
			return z.list[0].Reps.Min + z.list[0].Reps.Max
		}
		return z.reps.Min + z.reps.Max
	}
	var kinds []int32
	for i := range list {
		if w := weight(&list[i]); !slices.Contains(kinds, w) {
			kinds = append(kinds, w)
		}
	}
	slices.Sort(kinds)
	names := [...][]string{
		1: {""},
		2: {"heavy", "light"},
		3: {"heavy", "moderate", "light"},
		4: {"heavy", "mid-heavy", "mid-light", "light"},
	}[len(kinds)]
	for i := range list {
		list[i].label = names[slices.Index(kinds, weight(&list[i]))]
	}
}
