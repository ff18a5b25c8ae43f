package audit

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// Growth of 1RM that a plan may assume, in basis points a week.
func growthCap(s plan.Status) int64 {
	switch s {
	case plan.Intermediate:
		return 75
	case plan.Advanced:
		return 25
	}
	return 200
}

// regainCap is what a plan may give back a week, in basis points of the 1RM, of what a
// layoff of more than two weeks took; beyond what was shown the cap by status holds.
const regainCap = 100

// backFrom reports a layoff that loads were taken down for.
func (a *auditor) backFrom() bool { return a.r.Athlete.LayoffWeeks.Or(0) > 2 }

// A RIR of five or more is not told from six (effort scale: ratings under 7 don't
// convert), so only closer sets are held to the exact repetitions.
const exactRIR = 4

func (a *auditor) loads() {
	a.growth()
	a.jumps()
	a.steps()
	a.repsFirst()
	a.returns()
	a.eachLift(func(w *week, s *session, l *lift) {
		if l.x == nil {
			return
		}
		if !a.told[toldKey{l.e.ExerciseID, w.n}] {
			if !a.effort(l) {
				a.statedIntensity(l)
			}
		}
		a.effortMissing(l)
		a.deferredLoad(w, s, l)
	})
	a.invented()
	a.afterLayoff()
}

// returns: what was not done for two weeks or more goes on no heavier than it was.
func (a *auditor) returns() {
	type mark struct {
		load plan.Load
		rir  int32
	}
	for _, id := range a.trained() {
		last := map[plan.Range]mark{}
		week := int32(0)
		for i := range a.weeks {
			w := &a.weeks[i]
			now := map[plan.Range]mark{}
			var order []plan.Range
			for j := range w.sessions {
				for k := range w.sessions[j].lifts {
					l := &w.sessions[j].lifts[k]
					s := l.usable()
					if l.e.ExerciseID != id || s == nil || !s.s.Load.Set || a.outdated(l) {
						continue
					}
					have, ok := now[s.s.Reps]
					if !ok {
						order = append(order, s.s.Reps)
					}
					if m := (mark{s.s.Load.Value, s.rir.Value}); !ok || a.heavier(id, m.load, have.load) {
						now[s.s.Reps] = m
					}
				}
			}
			if len(order) == 0 {
				continue
			}
			for _, reps := range order {
				if m, before := now[reps], last[reps]; week > 0 && w.n-week > 2 && !before.load.IsZero() && a.heavier(id, m.load, before.load) && m.rir >= before.rir {
					f := w.about(ruleReturnLoad)
					f.ExerciseID = id
					a.finding(f, "After %d weeks without it the load is %s, %s before.", w.n-week-1, m.load, before.load)
				}
				last[reps] = now[reps]
			}
			week = w.n
		}
	}
}

// afterLayoff: soreness sets the pace of the first two weeks back.
func (a *auditor) afterLayoff() {
	told := false
	a.eachLift(func(w *week, s *session, l *lift) {
		if told || !a.backFrom() || w.n > 2 {
			return
		}
		for i := range l.work {
			if r := l.work[i].rir; l.work[i].s.ToFailure || r.Set && r.Value < 3 {
				told = true
				a.finding(l.about(ruleAfterLayoff), "%s goes nearer to failure than three repetitions, %d weeks after the last training.", l.name(), a.r.Athlete.LayoffWeeks.Value)
				return
			}
		}
	})
}

// growth checks the planned 1RM itself. From the week of a finding on, the loads that
// follow it are not reported again.
func (a *auditor) growth() {
	for i := range a.p.Strengths {
		st := &a.p.Strengths[i]
		before, since := st.OneRMGrams, int64(1)
		former := st.OneRMGrams * 1000 / load.AfterLayoff(1000, a.r.Athlete.LayoffWeeks.Or(0))
		for w, now := range st.Planned {
			most := growthCap(a.r.Athlete.Status)
			if a.backFrom() && now <= former {
				most = max(most, regainCap*former/max(1, before)+1)
			}
			if w >= len(a.weeks) {
				break
			}
			if now <= 0 || now > 2_000_000 {
				since++
				continue
			}
			// The first week may state the starting value; a gram or two is rounding.
			if before > 0 && before <= 2_000_000 && now > before+before*most*since/10_000+2 {
				f := plan.Finding{Rule: ruleGrowth, Week: int32(w + 1), ExerciseID: st.ExerciseID}
				a.finding(f, "The planned 1RM of %s rises from %s to %s in %d week(s); %s a week is the most a plan may assume for status %s.",
					st.ExerciseID, kg(before), kg(now), since, basisPoints(most), a.r.Athlete.Status)
				for n := w; n < len(a.weeks); n++ {
					a.told[toldKey{st.ExerciseID, int32(n + 1)}] = true
				}
				break
			}
			before, since = now, 1
		}
	}
}

func kg(grams int64) plan.Load { return plan.Kg((grams + 50) / 100 * 100) }

func basisPoints(bp int64) string { return fmt.Sprintf("%d.%02d %%", bp/100, bp%100) }

// implied gives the 1RM that a set stands for with some repetitions more or fewer.
func (l *lift) implied(s *set, reps, more int32) int64 {
	at := min(max((reps+s.rir.Value)*10+more, 10), l.curve.MaxTenths())
	bp := int64(l.curve.IntensityBP(at))
	if bp <= 0 {
		return 0
	}
	return s.moved * 10_000 / bp
}

// usable are first working sets near enough to failure to say something of strength.
func (l *lift) usable() *set {
	if l.curve == nil || len(l.work) == 0 {
		return nil
	}
	s := &l.work[0]
	if s.s.Kind != plan.SetWorking || s.moved == 0 || s.lo == 0 || !s.rir.Set || s.rir.Value > exactRIR || s.s.OpenEnded {
		return nil
	}
	if s.hi+s.rir.Value > 20 { // beyond it a set says little about one repetition
		return nil
	}
	return s
}

// jumps looks at the sets alone: the 1RM that load, repetitions and RIR imply may not
// rise faster than the status allows, beyond one step of the equipment and one
// repetition of rounding on each side.
func (a *auditor) jumps() {
	type mark struct{ low, high, gap int64 }
	most := growthCap(a.r.Athlete.Status)
	if a.backFrom() {
		most = max(most, regainCap*5/4) // of the lower 1RM, which is at least 80 % of what was shown
	}
	for _, id := range a.trained() {
		peak, at := int64(0), int32(0)
		for i := range a.weeks {
			w := &a.weeks[i]
			best := mark{}
			for j := range w.sessions {
				for k := range w.sessions[j].lifts {
					l := &w.sessions[j].lifts[k]
					if l.e.ExerciseID != id || a.outdated(l) || l.x != nil && !l.x.Loading.Loadable() {
						continue // body mass alone: what is possible was shown, nothing is put on
					}
					s := l.usable()
					if s == nil {
						continue
					}
					m := mark{low: l.implied(s, s.lo, -10), high: l.implied(s, s.hi, 10)}
					if l.menu != nil && s.s.Load.Set {
						m.gap = l.menu.gap(s.s.Load.Value)
					}
					best.high = max(best.high, m.high)
					if m.low > best.low {
						best.low, best.gap = m.low, m.gap
					}
				}
			}
			if best.high == 0 {
				continue
			}
			allowed := peak + peak*most*int64(w.n-at)/10_000
			key := toldKey{id, w.n}
			if peak > 0 && best.low > allowed+best.gap && !a.told[key] {
				f := w.about(ruleJump)
				f.ExerciseID = id
				a.finding(f, "Load, repetitions and RIR imply a 1RM of at least %s; after week %d it was at most %s.", kg(best.low), at, kg(allowed))
				a.told[key] = true
			}
			if best.high >= allowed {
				peak, at = best.high, w.n
			}
		}
	}
}

// trained lists the exercises of the program, each once, in order of appearance.
func (a *auditor) trained() []string {
	var out []string
	seen := map[string]bool{}
	a.eachLift(func(w *week, s *session, l *lift) {
		if !seen[l.e.ExerciseID] {
			seen[l.e.ExerciseID] = true
			out = append(out, l.e.ExerciseID)
		}
	})
	return out
}

// steps: from one week to the next at the same repetitions, at most a tenth more, or
// the next load that can be set.
func (a *auditor) steps() {
	last, now := map[plan.Range]plan.Load{}, map[plan.Range]plan.Load{}
	var order []plan.Range
	for _, id := range a.trained() {
		clear(last)
		for i := range a.weeks {
			w := &a.weeks[i]
			clear(now)
			order = order[:0]
			var m *menu
			var on *lift
			for j := range w.sessions {
				for k := range w.sessions[j].lifts {
					l := &w.sessions[j].lifts[k]
					if l.e.ExerciseID != id || l.menu == nil || a.outdated(l) {
						continue
					}
					m, on = l.menu, l
					for n := range l.work {
						s := l.work[n].s
						if s.Kind != plan.SetWorking || !s.Load.Set || s.Load.Value.Milli <= 0 || s.Load.Value.Milli > maxMilli {
							continue
						}
						have, ok := now[s.Reps]
						if !ok {
							order = append(order, s.Reps)
						}
						if !ok || a.heavier(id, s.Load.Value, have) {
							now[s.Reps] = s.Load.Value
						}
					}
				}
			}
			for _, reps := range order {
				before, ok := last[reps]
				load := now[reps]
				was, is, next := before.Grams(), load.Grams(), m.above(before)
				if on.x != nil && on.x.Loading == plan.LoadingAssisted {
					body := a.body * int64(on.share) / 1000
					was, is, next = body-was, body-is, body-m.below(before)
				}
				if ok && is*10 > was*11 && is > next+1 && !a.told[toldKey{id, w.n}] {
					f := w.about(ruleStep)
					f.ExerciseID = id
					a.finding(f, "From %s to %s at the same repetitions is a step of more than 10 %%.", before, load)
				}
				if !ok || a.heavier(id, load, before) {
					last[reps] = load
				}
			}
		}
	}
}

// effort holds every set against the athlete's fresh curve. No set may ask for more
// than the fresh capacity; the first one, where nothing tires it yet, may not leave
// more than it says either. Half a repetition or half an equipment step is rounding
// of the load, one repetition is rounding of repetitions and RIR.
func (a *auditor) effort(l *lift) bool {
	if l.curve == nil || l.planned == 0 {
		return false
	}
	for i := range l.work {
		s := &l.work[i]
		if !s.rir.Set || s.moved == 0 || s.lo == 0 || s.s.OpenEnded {
			continue
		}
		can := l.capacity(s.moved)
		slack, under := a.slack(l, s, can)
		if ask := (s.lo + s.rir.Value) * 10; ask > can+slack {
			a.finding(l.about(ruleEffort), "Set %d asks for %d repetitions with %d in reserve at a load that allows %s when fresh.", i+1, s.lo, s.rir.Value, tenths(can))
			return true
		}
		ask := (s.hi + s.rir.Value) * 10
		// Of a strength that is only judged the repetitions on the day are told by the reserve.
		if i == 0 && !l.lent && s.rir.Value <= exactRIR && ask < can-under && can < l.curve.MaxTenths() {
			a.finding(l.about(ruleEffort), "Set 1 has %d repetitions and %d in reserve, yet its load allows %s when fresh: reserve and load don't agree.", s.hi, s.rir.Value, tenths(can))
			return true
		}
	}
	return false
}

// slack gives how many tenths of a repetition a set may ask too much, and too little:
// loads are rounded to the nearest, but down where repetitions or reserve are few, so
// that there a whole step may be missing.
func (a *auditor) slack(l *lift, s *set, can int32) (over, under int32) {
	over, under = 5, 5
	if s.s.Load.Set && l.menu != nil {
		if gap := l.menu.gap(s.s.Load.Value); gap > 0 && s.moved > gap {
			over = max(over, min(l.capacity(s.moved-gap/2)-can, 30))
			up := gap / 2
			if s.hi <= 3 || s.rir.Value <= 1 {
				up = gap
			}
			under = max(under, min(can-l.capacity(s.moved+up), 30))
		}
	}
	return over + 10, under + 10
}

// capacity is the repetitions to failure in tenths for a moved mass.
func (l *lift) capacity(moved int64) int32 {
	return l.curve.RepsTenths(int32(min(moved*10_000/l.planned, 20_000)))
}

func tenths(n int32) string { return fmt.Sprintf("%d.%d", n/10, n%10) }

// statedIntensity: the percentage printed is that of the load printed, give or take an
// equipment step (the percentage may be the one wanted before rounding).
func (a *auditor) statedIntensity(l *lift) {
	if l.planned == 0 {
		return
	}
	for i := range l.work {
		s := &l.work[i]
		if !s.intensity.Set || !s.s.Load.Set || s.moved == 0 || s.s.Deferred.Set {
			continue
		}
		real := s.moved * 1000 / l.planned
		slack := int64(10)
		if l.menu != nil {
			slack += l.menu.gap(s.s.Load.Value) * 1000 / l.planned
		}
		if d := real - int64(s.intensity.Value); d > slack || d < -slack {
			a.finding(l.about(ruleIntensity), "Set %d is called %s of 1RM; its load is %s.", i+1, s.intensity.Value, plan.Permille(real))
			return
		}
	}
}

// effortMissing: a working set has to say how hard it is.
func (a *auditor) effortMissing(l *lift) {
	for i := range l.work {
		s := l.work[i].s
		if s.Hold.Max > 0 && s.Reps.IsZero() {
			continue
		}
		if !s.Load.Set && !s.Deferred.Set && !s.Intensity.Set && !s.RIR.Set && !s.ToFailure && !s.OpenEnded && s.Kind == plan.SetWorking {
			a.finding(l.about(ruleEffortMissing), "Set %d has neither load nor repetitions in reserve: nobody can tell how hard it is.", i+1)
			return
		}
	}
}

// deferredLoad: what a load is a share of has to exist by then.
func (a *auditor) deferredLoad(w *week, s *session, l *lift) {
	for i := range l.e.Sets {
		d := l.e.Sets[i].Deferred
		if !d.Set {
			continue
		}
		ref, says := d.Value.Reference, ""
		switch {
		case d.Value.Share <= 0 || d.Value.Share > 2000:
			says = "a share of " + d.Value.Share.String() + " is no load"
		case ref.Kind == plan.RefCalibration && !a.shown(w, s, l, i, false):
			says = "no calibration set of it comes before"
		case ref.Kind == plan.RefEstimate && !a.shown(w, s, l, i, true):
			says = "no retest or calibration comes before that gives it"
		case ref.Kind == plan.RefLatest && !l.known && !a.shown(w, s, l, i, true) && !a.trainedBefore(w, s, l):
			says = "nothing before it gives an estimate"
		case ref.Kind == plan.RefRM && ref.RM <= 0:
			says = "the number of repetitions maximum is missing"
		case ref.Kind == plan.RefSetBefore && i == 0:
			says = "there is no set before"
		case ref.Kind > plan.RefCalibration:
			says = "the reference is unknown"
		}
		if says != "" {
			a.finding(l.about(ruleDeferred), "Set %d takes its load from something that isn't there: %s.", i+1, says)
			return
		}
	}
}

// shown reports a calibration (or with tests, also a test or retest) of the exercise
// before set i of l. A retest session counts for every exercise in it.
func (a *auditor) shown(w *week, s *session, l *lift, i int, tests bool) bool {
	gives := func(in *session, o *lift, sets []plan.Set) bool {
		for k := range sets {
			kind := sets[k].Kind
			if kind == plan.SetCalibration || tests && kind == plan.SetTest {
				return true
			}
		}
		return tests && len(sets) > 0 && (in.s.Kind == plan.SessionRetest || in.s.Kind == plan.SessionCalibration)
	}
	if gives(s, l, l.e.Sets[:i]) {
		return true
	}
	return a.before(w, s, l, func(in *session, o *lift) bool { return gives(in, o, o.e.Sets) })
}

func (a *auditor) trainedBefore(w *week, s *session, l *lift) bool {
	return a.before(w, s, l, func(*session, *lift) bool { return true })
}

// before asks all earlier occurrences of l's exercise, in program order.
func (a *auditor) before(w *week, s *session, l *lift, is func(*session, *lift) bool) bool {
	for i := range a.weeks[:w.n] {
		o := &a.weeks[i]
		for j := range o.sessions {
			if o.n == w.n && o.sessions[j].n > s.n {
				break
			}
			for k := range o.sessions[j].lifts {
				e := &o.sessions[j].lifts[k]
				if e == l {
					break
				}
				if e.e.ExerciseID == l.e.ExerciseID && is(&o.sessions[j], e) {
					return true
				}
			}
		}
	}
	return false
}

// invented: in the first week of an exercise whose strength nobody has shown, a load
// in numbers is a guess; a calibration set finds it safely.
func (a *auditor) invented() {
	if len(a.p.Strengths) == 0 {
		return // a program by hand keeps its estimates elsewhere
	}
	seen := map[string]bool{}
	a.eachLift(func(w *week, s *session, l *lift) {
		if l.x == nil || seen[l.e.ExerciseID] {
			return
		}
		seen[l.e.ExerciseID] = true
		if l.known && !l.lent || a.performed(l.e.ExerciseID) || l.x.Pattern.Explosive() {
			return
		}
		for i := range l.work {
			st := l.work[i].s
			if st.Kind == plan.SetCalibration {
				return
			}
			if st.Load.Set && st.Load.Value.Milli > 0 && !st.Deferred.Set {
				a.finding(l.about(ruleInvented), "%s of %s stands on no performance, estimate or calibration set.", st.Load.Value, l.x.Name)
				return
			}
		}
	})
}

func (a *auditor) performed(id string) bool {
	for i := range a.r.Athlete.Performances {
		if a.r.Athlete.Performances[i].ExerciseID == id {
			return true
		}
	}
	return false
}
