package engine

import (
	"fmt"
	"maps"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// prescribe turns a window's allocation into the sessions of one of its weeks.
func (g *generation) prescribe(w *window, a *allocated, week int) error {
	phase := g.phase(g.phaseOf(week))
	out := g.newWeek(week)
	var sets [][]int32
	if g.settledSets != nil {
		sets = g.settledSets[week]
	} else {
		sets = g.weekSets(w, a, week)
	}
	for at := range w.sessions {
		if w.sessions[at].week != week {
			continue
		}
		if err := g.addTests(&out, week, g.offset(w.sessions[at].slot)); err != nil {
			return err
		}
		if s, ok := g.again(a, &w.sessions[at], sets); ok {
			g.made = append(g.made, timed{w, w.sessions[at].column, s.Seconds, setsOf(&s), int32(len(s.Exercises)), g.directOf(&s)})
			out.Sessions = append(out.Sessions, s)
			continue
		}
		s, err := g.session(w, a, &w.sessions[at], sets)
		if err != nil {
			return err
		}
		if len(s.Exercises) == 0 {
			g.find(plan.Finding{Level: plan.LevelShort, Rule: RuleShort, Week: int32(week + 1), Field: fmt.Sprintf("constraints.days[%d]", s.Day),
				Says: fmt.Sprintf("%s is left out: nothing that the session is for fits into its %d minutes with what is there.", s.Weekday, s.Limit/60)})
			continue
		}
		g.made = append(g.made, timed{w, w.sessions[at].column, s.Seconds, setsOf(&s), int32(len(s.Exercises)), g.directOf(&s)})
		out.Sessions = append(out.Sessions, s)
	}
	if err := g.addTests(&out, week, everyDay); err != nil {
		return err
	}
	g.totals(&out, week)
	g.trackRests(&out, week)
	phase.Weeks = append(phase.Weeks, out)
	return nil
}

func setsOf(s *plan.Session) int32 {
	n := int32(0)
	for i := range s.Exercises {
		n += s.Exercises[i].Working()
	}
	return n
}

// directOf counts a session's direct sets for each muscle.
func (g *generation) directOf(s *plan.Session) (out [plan.MuscleCount]plan.HalfSets) {
	for i := range s.Exercises {
		if ex, ok := g.brief.Catalogue.ByID(s.Exercises[i].ExerciseID); ok {
			for m := range out {
				if ex.Direct(plan.Muscle(m)) {
					out[m] += plan.HalfSets(2 * s.Exercises[i].Working())
				}
			}
		}
	}
	return out
}

func (g *generation) phase(i int) *plan.Phase {
	for len(g.program.Phases) <= i {
		o := &g.outline.Phases[len(g.program.Phases)]
		g.program.Phases = append(g.program.Phases, plan.Phase{Name: o.Name, Aim: o.Aim})
	}
	return &g.program.Phases[i]
}

func (g *generation) newWeek(week int) plan.Week {
	w := plan.Week{Number: int32(week + 1), Kind: g.weekKind[week], Dose: g.weekShare[week]}
	if c := g.brief.Request.Constraints; c.Start.Set {
		w.Start = plan.Some(c.Start.Value.AddDays(7 * week))
	}
	w.Sessions = g.keepPast(week)
	return w
}

func (g *generation) emptyWeek(w *window, week int) error {
	out := g.newWeek(week)
	if err := g.addTests(&out, week, everyDay); err != nil {
		return err
	}
	phase := g.phase(g.phaseOf(week))
	phase.Weeks = append(phase.Weeks, out)
	return nil
}

func (g *generation) session(w *window, a *allocated, o *occurrence, sets [][]int32) (plan.Session, error) {
	c := &g.brief.Request.Constraints
	out := plan.Session{Kind: o.outline.Kind, Label: o.outline.Label, Group: o.outline.Group, Day: o.slot.Day, Weekday: o.slot.Weekday,
		Date: o.slot.Date, PlaceID: c.Places[o.slot.Place].ID, Limit: o.slot.Limit, Warmup: plan.GeneralWarmup(o.slot.Limit)}
	var here []pick
	count := map[string]int32{}
	for i := range a.picks {
		if n := sets[i][o.column]; n > 0 {
			here = append(here, a.picks[i])
			count[a.picks[i].ex.ID] = n
		}
	}
	here = g.ordered(g.rested(o, here, count))
	mark := len(g.findings)
	g.noRamp = false
	for given := 0; ; given++ {
		g.findings = g.findings[:mark] // those of an attempt that is not kept
		if err := g.attempt(&out, o, here, count); err != nil {
			return out, err
		}
		if out.Seconds <= out.Limit {
			if given > 0 {
				g.find(plan.Finding{Level: plan.LevelNote, Rule: RuleRamp, Week: int32(o.week + 1),
					Says: fmt.Sprintf("%s gives up %s to make time for finding the loads.", o.slot.Weekday, counted(given, "set"))})
			}
			break
		}
		if !g.giveUp(o, here, count) {
			if len(g.finding) > 0 && !g.noRamp {
				g.noRamp = true // loads by feel then
				continue
			}
			return out, fault.New(fault.Internal, "TIME_BOUND", fmt.Sprintf("week %d, day %d", o.week+1, o.slot.Day+1),
				fmt.Sprintf("takes %s of %s: the allocation's bound on time is wrong", out.Seconds, out.Limit))
		}
	}
	g.trained(o.week, o.slot, &out)
	maps.Copy(g.before, g.being)
	for i := range out.Exercises {
		e := &out.Exercises[i]
		for k := range here {
			if here[k].ex.ID == e.ExerciseID {
				if f, ok := g.finding[e.ExerciseID]; ok {
					g.found[g.foundKey(here[k].ex, o.slot.Place)] = f
				}
				g.swaps(e, &here[k], o, here)
			}
		}
	}
	return out, nil
}

// rested leaves out what the request's recovery hours forbid so soon after the last
// direct work for a muscle. The allocation keeps them between days of a week; weeks
// with sessions missing, and rotations, can bring days closer.
func (g *generation) rested(o *occurrence, here []pick, count map[string]int32) []pick {
	day := int32(o.week)*7 + g.offset(o.slot)
	var out []pick
	for _, p := range here {
		ok := true
		for i, r := range g.brief.Request.Constraints.Recovery {
			if last := g.lastDirect[r.Muscle]; p.ex.Direct(r.Muscle) && last.Set && (day-last.Value)*24 < r.Hours {
				ok = false
				g.find(plan.Finding{Level: plan.LevelShort, Rule: RuleShort, Week: int32(o.week + 1), ExerciseID: p.ex.ID, Field: fmt.Sprintf("constraints.recovery[%d]", i),
					Says: fmt.Sprintf("%s is left out on %s of week %d: %d hours after the last direct sets for %s have not passed.", p.ex.Name, o.slot.Weekday, o.week+1, r.Hours, r.Muscle)})
				break
			}
		}
		if ok {
			out = append(out, p)
		} else {
			delete(count, p.ex.ID)
		}
	}
	return out
}

// trained notes the day for the muscles that the request wants rested.
func (g *generation) trained(week int, slot Slot, s *plan.Session) {
	for _, r := range g.brief.Request.Constraints.Recovery {
		for i := range s.Exercises {
			if ex, ok := g.brief.Catalogue.ByID(s.Exercises[i].ExerciseID); ok && ex.Direct(r.Muscle) {
				g.lastDirect[r.Muscle] = plan.Some(int32(week)*7 + g.offset(slot))
			}
		}
	}
}

// attempt prescribes all exercises of a session with the sets they have.
func (g *generation) attempt(out *plan.Session, o *occurrence, here []pick, count map[string]int32) error {
	out.Seconds, out.Exercises = out.Warmup+plan.SessionEnd, nil
	clear(g.finding)
	clear(g.being)
	warm := [plan.PatternCount]bool{}
	for i := range here {
		p := &here[i]
		e, err := g.exercise(o, p, count[p.ex.ID], !warm[p.ex.Pattern])
		if err != nil {
			return err
		}
		if len(e.Sets) == 0 {
			continue
		}
		warm[p.ex.Pattern] = true
		out.Seconds += e.Seconds
		out.Exercises = append(out.Exercises, e)
	}
	return nil
}

// giveUp takes a set from the last exercise that can spare one and is not locked, where the
// session finds loads and so takes longer than it will; an exercise of one set goes only
// when no other set is left to give. False: nothing here is due to that.
func (g *generation) giveUp(o *occurrence, here []pick, count map[string]int32) bool {
	if len(g.finding) == 0 {
		return false
	}
	left := 0
	for i := range here {
		if count[here[i].ex.ID] > 0 {
			left++
		}
	}
	for _, least := range [...]int32{2, 1, 0} {
		for i := len(here) - 1; i >= 0; i-- {
			p := &here[i]
			if n := count[p.ex.ID]; n > least && !g.rework.lockedAt(o, p.ex.ID) && (least > 0 || left > 1 && p.pin < 0 && p.goal < 0) {
				count[p.ex.ID]--
				return true
			}
		}
	}
	return false
}
