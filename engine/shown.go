package engine

import (
	"maps"
	"slices"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// moment is when strength in a lift was last shown, and so from when it is planned: the day
// the request is made for, or a later one inside a program that is made again.
type moment struct {
	day    plan.Opt[plan.Date]
	week   int   // 0-based
	back   int32 // days in the program by then
	layoff int32 // weeks without training before the program
}

// rested is the moment with another layoff before the program.
func (m moment) rested(weeks int32) moment {
	m.layoff = weeks
	return m
}

// latest gives that moment: of the exercise's own performances, where it has none of those
// of the lifts that lend to it.
func (s *strengths) latest(e *exercise.Exercise) moment {
	m := moment{day: s.base, layoff: s.b.Request.Athlete.LayoffWeeks.Or(0)}
	start := s.b.Request.Constraints.Start
	if !s.base.Set || !start.Set {
		return m
	}
	last := s.lastShown(e.ID)
	if big := s.bigOf(e); last == 0 && big != nil {
		for _, id := range s.performed {
			if x, ok := s.b.Catalogue.ByID(id); ok && (x == big || x.RelatedTo == big.ID) {
				last = max(last, s.lastShown(id))
			}
		}
	}
	if last > max(s.base.Value, start.Value) {
		m.day, m.back = plan.Some(last), int32(last-start.Value)
		m.week = min(int(m.back)/7, len(s.weeks)-1)
	}
	return m
}

// lastShown gives the last day with a performance, 0 without one.
func (s *strengths) lastShown(id string) plan.Date {
	last := plan.Date(0)
	for _, i := range s.perform[id] {
		last = max(last, s.b.Request.Athlete.Performances[i].Date.Value)
	}
	return last
}

// asStrongAs reports a lift that is planned as another generation plans it.
func (g *generation) asStrongAs(b *generation, ex *exercise.Exercise) bool {
	if b == nil {
		return false
	}
	is, err := g.strengths.of(ex)
	if err != nil {
		return false
	}
	was, err := b.strengths.of(ex)
	return err == nil && is.known == was.known && is.borrowed == was.borrowed && is.mean == was.mean && is.sd == was.sd &&
		is.used == was.used && is.slope == was.slope && is.free == was.free && slices.Equal(is.planned, was.planned)
}

// forget has the loads of lifts not go on from those before.
func (g *generation) forget(lift func(*exercise.Exercise) bool) {
	maps.DeleteFunc(g.before, func(k beforeKey, _ before) bool {
		ex, ok := g.brief.Catalogue.ByID(k.id)
		return !ok || lift(ex)
	})
}

// earlier reports a day before the first one that was made again.
func earlier(week int, offset int32, r *plan.Reworked) bool {
	return week < int(r.Week)-1 || week == int(r.Week)-1 && offset < r.Day
}
