package engine

import "github.com/phasewright/phasewright/engine/plan"

// Slot is a session that the calendar offers.
type Slot struct {
	Day     int32 // index into the request's days
	Weekday plan.Weekday
	Date    plan.Opt[plan.Date]
	Place   int32 // index into the request's places
	Limit   plan.Seconds
}

// Calendar gives the slots of each week, in order of date.
func Calendar(r *plan.Request) [][]Slot {
	c := &r.Constraints
	weeks := make([][]Slot, c.Weeks.Value)
	for w := range weeks {
		first := plan.WeekdayUnspecified
		start := plan.Date(0)
		if c.Start.Set {
			start = c.Start.Value.AddDays(7 * w)
			first = start.Weekday()
		}
		for offset := range 7 {
			weekday := plan.Weekday(offset + 1)
			if first != plan.WeekdayUnspecified {
				weekday = plan.Weekday((int(first)-1+offset)%7 + 1)
			}
			for d := range c.Days {
				if c.Days[d].Weekday != weekday {
					continue
				}
				s := Slot{Day: int32(d), Weekday: weekday, Limit: plan.Seconds(c.Days[d].Minutes) * 60}
				if c.Start.Set {
					s.Date = plan.Some(start.AddDays(offset))
				}
				if s.Date.Set && (off(c, s.Date.Value) || rested(r.Goals, s.Date.Value) || c.Target.Set && s.Date.Value > c.Target.Value) {
					continue
				}
				s.Place = placeAt(c, d, int32(w+1), s.Date)
				weeks[w] = append(weeks[w], s)
			}
		}
	}
	return weeks
}

// rested reports the day of a peak and the day before it, on which nothing is trained.
func rested(goals []plan.Goal, d plan.Date) bool {
	for _, g := range goals {
		if g.Kind == plan.GoalPeak && g.Date.Set && (d == g.Date.Value || d == g.Date.Value-1) {
			return true
		}
	}
	return false
}

func off(c *plan.Constraints, d plan.Date) bool {
	for _, n := range c.NoTraining {
		if d >= n.From && d <= n.To {
			return true
		}
	}
	return false
}

// placeAt: the last period that covers the session decides, else the day's own place.
func placeAt(c *plan.Constraints, day int, week int32, date plan.Opt[plan.Date]) int32 {
	id := c.Days[day].PlaceID
	for _, p := range c.Periods {
		if p.FromWeek.Set && week >= p.FromWeek.Value && week <= p.ToWeek.Value ||
			p.FromDate.Set && date.Set && date.Value >= p.FromDate.Value && date.Value <= p.ToDate.Value {
			id = p.PlaceID
		}
	}
	for i := range c.Places {
		if c.Places[i].ID == id {
			return int32(i)
		}
	}
	return 0
}

// spread picks k of n slots as far apart as their order allows: first and last first.
func spread(n, k int) []int {
	out := make([]int, k)
	for i := range out {
		switch {
		case k == 1:
			out[i] = 0
		default:
			out[i] = i * (n - 1) / (k - 1)
		}
	}
	return out
}

// offsetIn gives a slot's day of the week of the program, from 0.
func offsetIn(c *plan.Constraints, s Slot) int32 {
	first := int32(plan.Monday)
	if c.Start.Set {
		first = int32(c.Start.Value.Weekday())
	}
	return (int32(s.Weekday) - first + 7) % 7
}
