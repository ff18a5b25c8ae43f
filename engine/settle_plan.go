package engine

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// The strategy where the plan names none.
const defaultStrategy = "constant"

func (s *settler) plan() {
	p := &s.b.Request.Plan
	if len(p.Tracks) == 0 {
		p.Tracks = []plan.Track{{Segments: []plan.Segment{{Strategy: defaultStrategy}}}}
		s.assume("plan", "The strategy is "+defaultStrategy+": the same ranges of repetitions throughout. Evidence for any order of ranges is thin.")
	}
	s.leadIn(p)
	s.tracks(p)
	for i := range p.Tracks {
		s.segments(p, i)
	}
	s.wrappers(p)
	s.between(p)
}

// tracks settles what each track holds for. One without exercises and muscles holds for
// everything else; it is added where there is none.
func (s *settler) tracks(p *plan.Plan) {
	general := -1
	names, exercises, muscles := map[string]int{}, map[string]int{}, map[plan.Muscle]int{}
	for i := range p.Tracks {
		tr := &p.Tracks[i]
		path := fmt.Sprintf("plan.tracks[%d]", i)
		if len(tr.ExerciseIDs)+len(tr.Muscles) == 0 {
			if general >= 0 {
				s.bad.Add("CONTRADICTION", path, fmt.Sprintf("names neither exercises nor muscles, as tracks[%d] doesn't; one track holds for everything else", general))
			}
			general, tr.Name = i, ""
			continue
		}
		for k, id := range tr.ExerciseIDs {
			at := fmt.Sprintf("%s.exercise_ids[%d]", path, k)
			if other, taken := exercises[id]; taken {
				s.bad.Add("DUPLICATE", at, fmt.Sprintf("%s is named by tracks[%d] already", id, other))
			}
			exercises[id] = i
			s.exercise(at, id)
		}
		for k, m := range tr.Muscles {
			if other, taken := muscles[m]; taken {
				s.bad.Add("DUPLICATE", fmt.Sprintf("%s.muscles[%d]", path, k), fmt.Sprintf("%s is named by tracks[%d] already", m, other))
			}
			muscles[m] = i
		}
		if tr.Name == "" {
			tr.Name = trackName(tr)
		}
		if other, taken := names[tr.Name]; taken {
			s.bad.Add("DUPLICATE", path+".name", fmt.Sprintf("%q is the name of tracks[%d] already", tr.Name, other))
		}
		names[tr.Name] = i
	}
	if general < 0 {
		p.Tracks = append(p.Tracks, plan.Track{Segments: []plan.Segment{{Strategy: defaultStrategy}}})
		s.assume("plan.tracks", "What no track names follows "+defaultStrategy+".")
	}
}

func trackName(tr *plan.Track) string {
	if len(tr.ExerciseIDs) > 0 {
		return tr.ExerciseIDs[0]
	}
	var names []string
	for _, m := range tr.Muscles {
		names = append(names, m.String())
	}
	return clipped(strings.Join(names, ", "), outlineMaxName)
}

// segments settles the weeks of a track; all tracks have as many.
func (s *settler) segments(p *plan.Plan, track int) {
	tr := &p.Tracks[track]
	at := fmt.Sprintf("plan.tracks[%d].segments", track)
	if s.b.Weeks == 0 {
		return // what is wrong with the dates has been said
	}
	if len(tr.Segments) == 0 {
		s.bad.Add("REQUIRED", at, "needs at least one segment")
		return
	}
	left := s.b.Weeks
	if p.LeadIn.Set {
		left -= p.LeadIn.Value.Weeks
	}
	open, before := -1, s.bad.Len()
	for i := range tr.Segments {
		seg := &tr.Segments[i]
		path := fmt.Sprintf("%s[%d]", at, i)
		switch {
		case seg.Strategy == "":
			s.bad.Add("REQUIRED", path+".strategy", "is needed: the id of a strategy")
		case !seg.Weeks.Set && open >= 0:
			s.bad.Add("REQUIRED", path+".weeks", fmt.Sprintf("is needed; only one segment may leave its weeks open, and segments[%d] does", open))
		case !seg.Weeks.Set:
			open = i
		case seg.Weeks.Value < 1 || seg.Weeks.Value > maxWeeks:
			s.bad.Add("OUT_OF_RANGE", path+".weeks", fmt.Sprintf("must be between 1 and %d", maxWeeks))
		default:
			left -= seg.Weeks.Value
		}
	}
	switch {
	case s.bad.Len() > before:
	case open >= 0 && left < 1 && p.Shorten:
		tr.Segments[open].Weeks = plan.Some(int32(1)) // what its strategy needs is seen to when weeks are cut
	case open >= 0 && left < 1:
		s.bad.Add("CONTRADICTION", fmt.Sprintf("%s[%d]", at, open), fmt.Sprintf("has no week left of the %d; plan.shorten cuts the others", s.b.Weeks))
	case open >= 0:
		tr.Segments[open].Weeks = plan.Some(left)
	case left > 0 || left < 0 && !p.Shorten:
		more := ""
		if left < 0 {
			more = "; plan.shorten cuts them"
		}
		s.bad.Add("CONTRADICTION", at, fmt.Sprintf("and lead-in sum to %d weeks, but the program has %d%s", s.b.Weeks-left, s.b.Weeks, more))
	}
}

func (s *settler) leadIn(p *plan.Plan) {
	if !p.LeadIn.Set {
		return
	}
	l := &p.LeadIn.Value
	if l.Weeks < 1 || l.Weeks > 12 {
		s.bad.Add("OUT_OF_RANGE", "plan.lead_in.weeks", "must be between 1 and 12")
	}
	if l.Sets < 0 || l.Sets > 5 {
		s.bad.Add("OUT_OF_RANGE", "plan.lead_in.sets", "must be between 1 and 5, or left out for 2")
	}
	if l.Reps != 0 && (l.Reps < 8 || l.Reps > 20) {
		s.bad.Add("OUT_OF_RANGE", "plan.lead_in.reps", "must be between 8 and 20, or left out for 12")
	}
	if l.Sets == 0 {
		l.Sets = 2
	}
	if l.Reps == 0 {
		l.Reps = 12
	}
}

func (s *settler) wrappers(p *plan.Plan) {
	if d := p.Deload.Value; p.Deload.Set && (d.EveryWeeks < 2 || d.EveryWeeks > 16) {
		s.bad.Add("OUT_OF_RANGE", "plan.deload.every_weeks", "must be between 2 and 16")
	} else if p.Deload.Set && d.Keep == 0 {
		p.Deload.Value.Keep = 500
	} else if p.Deload.Set && (d.Keep < 300 || d.Keep > 800) {
		s.bad.Add("OUT_OF_RANGE", "plan.deload.keep_percent", "must be between 30 and 80 % of the dose")
	}
	if t := p.Taper.Value; p.Taper.Set && (t.Days < 3 || t.Days > 21) {
		s.bad.Add("OUT_OF_RANGE", "plan.taper.days", "must be between 3 and 21")
	} else if p.Taper.Set && t.Keep == 0 {
		p.Taper.Value.Keep = 500
	} else if p.Taper.Set && (t.Keep < 300 || t.Keep > 700) {
		s.bad.Add("OUT_OF_RANGE", "plan.taper.keep_percent", "must be between 30 and 70 % of the dose")
	}
	if p.Taper.Set && !s.b.Request.Constraints.Target.Set {
		s.bad.Add("REQUIRED", "constraints.target_date", "is needed to taper to")
	}
	for i := range s.b.Request.Goals {
		if s.b.Request.Goals[i].Kind == plan.GoalPeak && !p.Taper.Set && s.b.Weeks >= 4 {
			p.Taper = plan.Some(plan.Taper{Days: 10, Keep: 500})
			s.assume("plan.taper", "A taper over the last 10 days before the date: half the sets, the loads kept.")
		}
	}
	for i, e := range p.Entry {
		path := fmt.Sprintf("plan.entry_conditions[%d]", i)
		if s.exercise(path+".exercise_id", e.ExerciseID) && !s.b.Request.Athlete.BodyMass.Set {
			s.bad.Add("REQUIRED", "athlete.body_mass", "is needed to check "+path)
		}
		if e.Times < 100 || e.Times > 4000 {
			s.bad.Add("OUT_OF_RANGE", path+".times_body_mass", "must be between 0.1 and 4 times body mass")
		}
	}
}

// between settles what interrupts training: recovery weeks and tests.
func (s *settler) between(p *plan.Plan) {
	days := int32(len(s.b.Request.Constraints.Days))
	if n := p.SessionsPerWeek; n.Set && (n.Value < 1 || n.Value > days) {
		s.bad.Add("OUT_OF_RANGE", "plan.sessions_per_week", fmt.Sprintf("must be between 1 and the %d days of constraints.days", days))
	}
	if w := &p.Recovery.Value; p.Recovery.Set {
		if w.EveryWeeks < 2 || w.EveryWeeks > 16 {
			s.bad.Add("OUT_OF_RANGE", "plan.recovery.every_weeks", "must be between 2 and 16")
		}
		if w.Sessions < 0 || w.Sessions > 6 {
			s.bad.Add("OUT_OF_RANGE", "plan.recovery.sessions", "must be between 1 and 6, or left out for one fewer than usual")
		}
		switch {
		case w.Keep == 0:
			w.Keep = 600
		case w.Keep < 300 || w.Keep > 900:
			s.bad.Add("OUT_OF_RANGE", "plan.recovery.keep_percent", "must be between 30 and 90 % of the dose")
		}
	}
	if t := &p.Retest.Value; p.Retest.Set {
		s.retest(t)
	}
}

func (s *settler) retest(t *plan.Retest) {
	slices.Sort(t.AfterWeeks)
	t.AfterWeeks = slices.Compact(t.AfterWeeks)
	for i, w := range t.AfterWeeks {
		if w < 1 || w > s.b.Weeks {
			s.bad.Add("OUT_OF_RANGE", fmt.Sprintf("plan.retest.after_weeks[%d]", i), fmt.Sprintf("is %d; the program has weeks 1 to %d", w, s.b.Weeks))
		}
	}
	if len(t.AfterWeeks) == 0 && !t.PhaseEnds {
		s.bad.Add("REQUIRED", "plan.retest", "needs after_weeks or phase_ends")
	}
	given := len(t.ExerciseIDs) > 0
	if !given {
		for _, g := range s.b.Request.Goals {
			if g.Kind != plan.GoalRaise1RM && g.Kind != plan.GoalPeak {
				continue
			}
			if e, ok := s.cat.ByID(g.ExerciseID); ok && e.Is(exercise.MaxTest) && !slices.Contains(t.ExerciseIDs, g.ExerciseID) {
				t.ExerciseIDs = append(t.ExerciseIDs, g.ExerciseID)
			}
		}
		if len(t.ExerciseIDs) == 0 {
			s.bad.Add("REQUIRED", "plan.retest.exercise_ids", "is needed: no goal names a lift that can be tested")
		}
		return
	}
	for i, id := range t.ExerciseIDs {
		path := fmt.Sprintf("plan.retest.exercise_ids[%d]", i)
		if slices.Index(t.ExerciseIDs, id) < i {
			s.bad.Add("DUPLICATE", path, id+" is named twice")
		}
		if !s.exercise(path, id) {
			continue
		}
		if e, _ := s.cat.ByID(id); !e.Is(exercise.MaxTest) {
			s.bad.Add("NOT_TESTED", path, e.Name+" is not a lift whose 1RM is tested; sets with repetitions in reserve show its strength")
		}
	}
}
