package engine

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/plan"
)

// occurrence is one session that will take place.
type occurrence struct {
	week    int // 0-based
	slot    Slot
	outline *plan.OutlineSession
	column  int // of its window
}

// column is a kind of session of a window: a weekday, or a rotation group whatever
// day it falls on. It has one list of exercises.
type column struct {
	key    string
	group  string
	day    int32
	places []int32 // all places it may fall on; an exercise has to be possible at each
	limit  plan.Seconds
	times  int32 // in full weeks
	first  *Slot
}

// window is the longest run of weeks of one phase with the same places on the same
// days: one allocation holds for all of it.
type window struct {
	phase    int
	from, to int // weeks, to is exclusive
	columns  []column
	sessions []occurrence
	weeks    int32 // full ones, which times is counted over
	fewest   int32 // sessions of a full week
}

// windows maps the outline's sessions onto the calendar's slots and cuts the plan
// into windows.
func windows(o *plan.Outline, slots [][]Slot) []window {
	var out []window
	w := 0
	for ph := range o.Phases {
		for i := range o.Phases[ph].Weeks {
			week := &o.Phases[ph].Weeks[i]
			if len(out) == 0 || i == 0 || !samePlaces(slots[out[len(out)-1].from:w], slots[w]) {
				out = append(out, window{phase: ph, from: w})
			}
			win := &out[len(out)-1]
			win.to = w + 1
			at := spread(len(slots[w]), len(week.Sessions))
			for s := range week.Sessions {
				win.sessions = append(win.sessions, occurrence{week: w, slot: slots[w][at[s]], outline: &week.Sessions[s]})
			}
			w++
		}
	}
	for i := range out {
		out[i].fold()
	}
	return out
}

// samePlaces reports whether a week trains every weekday where earlier weeks did.
func samePlaces(earlier [][]Slot, week []Slot) bool {
	for _, e := range earlier {
		for _, a := range e {
			for _, b := range week {
				if a.Day == b.Day && a.Place != b.Place {
					return false
				}
			}
		}
	}
	return true
}

// fold finds the columns and how often they come up in the full weeks.
func (w *window) fold() {
	perWeek := make([]int32, w.to-w.from)
	for i := range w.sessions {
		perWeek[w.sessions[i].week-w.from]++
	}
	most := int32(0)
	for _, n := range perWeek {
		most = max(most, n)
	}
	for i := range w.sessions {
		s := &w.sessions[i]
		key := "day " + fmt.Sprint(s.slot.Day)
		if g := s.outline.Group; g != "" {
			key = "group " + g
		}
		c := -1
		for j := range w.columns {
			if w.columns[j].key == key {
				c = j
			}
		}
		if c < 0 {
			c = len(w.columns)
			w.columns = append(w.columns, column{key: key, group: s.outline.Group, day: s.slot.Day, limit: s.slot.Limit, first: &s.slot})
		}
		s.column = c
		col := &w.columns[c]
		col.limit = min(col.limit, s.slot.Limit)
		col.places = withPlace(col.places, s.slot.Place)
		if perWeek[s.week-w.from] == most {
			col.times++
		}
	}
	for _, n := range perWeek {
		if n == most {
			w.weeks++
		}
	}
	w.fewest = most
	for i := range w.columns {
		if w.columns[i].times > 0 {
			continue
		}
		// A column that no full week has: count over all weeks instead.
		w.weeks = int32(w.to - w.from)
		for j := range w.columns {
			w.columns[j].times = 0
		}
		for j := range w.sessions {
			w.columns[w.sessions[j].column].times++
		}
		break
	}
}

func withPlace(places []int32, p int32) []int32 {
	for _, have := range places {
		if have == p {
			return places
		}
	}
	return append(places, p)
}
