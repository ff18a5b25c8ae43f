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

// window is all weeks of one phase with the same places on the same days: one
// allocation holds for them. Two weeks elsewhere don't end it: what was trained before
// a journey is what is trained after it.
type window struct {
	phase    int
	mixed    bool
	list     []int // weeks, rising
	columns  []column
	sessions []occurrence
	weeks    int32 // full ones, which times is counted over
	fewest   int32 // sessions of a full week
}

// windows maps the outline's sessions onto the calendar's slots and puts the weeks
// together into windows, in order of their first week.
func windows(o *plan.Outline, slots [][]Slot) []window {
	var out []window
	w := 0
	for ph := range o.Phases {
		for i := range o.Phases[ph].Weeks {
			week := &o.Phases[ph].Weeks[i]
			win := joined(out, ph, slots, w, mixed(week.Sessions))
			if win == nil {
				out = append(out, window{phase: ph, mixed: mixed(week.Sessions)})
				win = &out[len(out)-1]
			}
			win.list = append(win.list, w)
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

// joined finds the window of the phase that a week belongs to, the latest first.
func joined(out []window, phase int, slots [][]Slot, week int, mixed bool) *window {
	for i := len(out) - 1; i >= 0 && out[i].phase == phase; i-- {
		fits := !mixed && !out[i].mixed
		for _, w := range out[i].list {
			fits = fits && samePlaces(slots[w:w+1], slots[week])
		}
		if fits {
			return &out[i]
		}
	}
	return nil
}

// mixed reports a week of rotating workouts in which some sessions stand for themselves, as
// a track makes them unlike: no other week need have such days, so it stands alone.
func mixed(list []plan.OutlineSession) bool {
	own := 0
	for i := range list {
		if list[i].Group == "" {
			own++
		}
	}
	return own > 0 && own < len(list)
}

func (w *window) from() int { return w.list[0] }

// runs gives the window's runs of consecutive weeks, first and last, counted from 1.
func (w *window) runs() [][2]int32 {
	var out [][2]int32
	for _, k := range w.list {
		n := int32(k + 1)
		if last := len(out) - 1; last >= 0 && out[last][1] == n-1 {
			out[last][1] = n
			continue
		}
		out = append(out, [2]int32{n, n})
	}
	return out
}

// name spells the weeks: "Week 3", "Weeks 1–4 and 7–9".
func (w *window) name() string {
	runs := w.runs()
	if len(w.list) == 1 {
		return fmt.Sprintf("Week %d", runs[0][0])
	}
	out := "Weeks "
	for i, r := range runs {
		switch {
		case i > 0 && i == len(runs)-1:
			out += " and "
		case i > 0:
			out += ", "
		}
		out += fmt.Sprint(r[0])
		if r[1] > r[0] {
			out += fmt.Sprintf("–%d", r[1])
		}
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
	perWeek := make(map[int]int32, len(w.list))
	for i := range w.sessions {
		perWeek[w.sessions[i].week]++
	}
	most := int32(0)
	for _, k := range w.list {
		most = max(most, perWeek[k])
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
		if perWeek[s.week] == most {
			col.times++
		}
	}
	for _, k := range w.list {
		if perWeek[k] == most {
			w.weeks++
		}
	}
	w.fewest = most
	for i := range w.columns {
		if w.columns[i].times > 0 {
			continue
		}
		// A column that no full week has: count over all weeks instead.
		w.weeks = int32(len(w.list))
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
