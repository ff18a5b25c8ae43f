package engine

import (
	"fmt"
	"maps"
	"slices"
	"sort"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

type menuKey struct {
	place   int32
	loading plan.Loading
	kind    plan.Equipment
	moved   int64 // of body mass, for a counterweight
}

// calibration is what an exercise of unknown strength found, and when.
type calibration struct {
	tenths int32 // repetitions to failure that the found load stands for
	week   int
	guided bool // a related lift said where to look, and says what later loads will be about
}

// foundKey says where a found load holds: kilograms of a bar or a dumbbell anywhere, the
// pin of a stack or the plates of a machine only at the place of that machine.
type foundKey struct {
	id    string
	place int32
}

func (g *generation) foundKey(ex *exercise.Exercise, place int32) foundKey {
	switch ex.Loading {
	case plan.LoadingStack, plan.LoadingPlateMachine, plan.LoadingAssisted:
	default:
		place = 0
	}
	return foundKey{ex.ID, place}
}

// mostStretch is how far repetitions may go where no load is heavy enough. Size is
// similar over a wide range of loads when sets end near failure (Lopez et al. 2021).
const mostStretch = 25

// fewLoads is how many loads have to be there before repetitions need not stretch.
const fewLoads = 4

// menu gives the loads that can be set for an exercise at a place; nil where it takes none.
// A counterweight has some where it has a stack, and where the body mass is known.
func (g *generation) menu(ex *exercise.Exercise, place int32) *load.Menu {
	p := &g.brief.Request.Constraints.Places[place]
	key := menuKey{place: place, loading: ex.Loading, kind: ex.Bar}
	switch ex.Loading {
	case plan.LoadingAdded:
		if !ex.Addable(p) {
			return nil
		}
	case plan.LoadingStack:
		key.kind = stackOf(ex, p)
	case plan.LoadingAssisted:
		key.kind, key.moved = stackOf(ex, p), g.strengths.carried(ex)
	default:
		if !ex.Loading.Loadable() {
			return nil
		}
	}
	m, ok := g.menus[key]
	if !ok {
		made := load.MenuFor(key.loading, key.kind, p).In(g.brief.Request.Constraints.Unit)
		if ex.Loading == plan.LoadingAssisted {
			made = made.Help(key.moved)
		}
		m = &made
		g.menus[key] = m
	}
	if ex.Loading == plan.LoadingAssisted && m.Len() == 0 {
		return nil
	}
	return m
}

// stackOf finds which machine's stack the exercise uses here.
func stackOf(ex *exercise.Exercise, p *plan.Place) plan.Equipment {
	for _, alt := range ex.Equipment {
		for _, item := range alt {
			for _, s := range p.Stacks {
				if s.Kind == item {
					return item
				}
			}
		}
	}
	return plan.EquipmentUnspecified
}

// prescribe turns a window's allocation into the sessions of one of its weeks.
func (g *generation) prescribe(w *window, a *allocated, week int) error {
	phase := g.phase(w.phase)
	out := g.newWeek(week)
	sets := g.weekSets(w, a, week)
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
	phase := g.phase(w.phase)
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
		if !g.giveUp(here, count) {
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

// giveUp takes a set from the last exercise that can spare one, where the session finds
// loads and so takes longer than it will; an exercise of one set goes only when no other
// set is left to give. False: nothing here is due to that.
func (g *generation) giveUp(here []pick, count map[string]int32) bool {
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
			if n := count[p.ex.ID]; n > least && (least > 0 || left > 1 && p.pin < 0 && p.goal < 0) {
				count[p.ex.ID]--
				return true
			}
		}
	}
	return false
}

func (g *generation) exercise(o *occurrence, p *pick, n int32, firstOfPattern bool) (plan.ProgramExercise, error) {
	ex := p.ex
	out := plan.ProgramExercise{ExerciseID: ex.ID, Name: ex.Name, Role: p.role, Track: p.track}
	for _, own := range g.brief.Request.Exercises {
		if own.ExerciseID == ex.ID {
			out.CallerID = own.CallerID
			if own.Name != "" {
				out.Name = own.Name
			}
		}
	}
	st, err := g.strengths.of(ex)
	if err != nil {
		return out, err
	}
	schemes, bent := g.schemes(o, p, st)
	if len(schemes) == 0 {
		return out, nil
	}
	in := g.input(o, p, st, prescribe.Split(schemes, n))
	in.Warmup = firstOfPattern || heavy(schemes)
	in.Before = g.comesFrom(o, p, in.Schemes)
	if in.Calibrate {
		if reps, rir, ok := prescribe.Calibration(in); ok {
			g.finding[ex.ID] = calibration{tenths: 10 * (reps + rir), week: o.week, guided: in.Related != ""}
		}
	}
	got, err := prescribe.Exercise(in)
	if err != nil {
		return out, err
	}
	g.comesTo(o, p, in.Schemes, got.Loads)
	if only, ok := g.onlyLoad(ex, o.slot.Place, st); ok {
		for i := range got.Sets {
			if got.Sets[i].Kind != plan.SetWarmup {
				got.Sets[i].Load = plan.Some(only)
			}
		}
		got.Note = "This is the load there is: take as many repetitions of the range as leave the stated number in reserve."
		if ex.Unilateral {
			got.Note += " Both sides make one set."
		}
	}
	out.Sets, out.Seconds, out.Note = got.Sets, got.Seconds, got.Note
	out.Basis = append(g.basis(o, p, st, n), got.Basis...)
	out.Contingencies = prescribe.Contingencies(in, got)
	out.Progress = schemes[0].Progress
	if bent && !g.resting(o, ex) {
		g.softened(p, g.asked(o, p), schemes)
	}
	if got.Off != "" {
		g.find(plan.Finding{Level: plan.LevelNote, Rule: RuleOff, Week: int32(o.week + 1), ExerciseID: ex.ID, Says: got.Off})
	}
	return out, nil
}

// onlyLoad gives the load of an exercise of unknown strength where there is just one.
func (g *generation) onlyLoad(ex *exercise.Exercise, place int32, st *state) (plan.Load, bool) {
	m := g.menu(ex, place)
	if st.known || st.free > 0 || m == nil || m.Len() != 1 {
		return plan.Load{}, false
	}
	return m.At(0).Load, true
}

// most is a number of repetitions, or the safety limits' own where that is less.
func (g *generation) most(reps int32) int32 {
	if m := g.safety.MaxReps; m > 0 {
		return min(m, reps)
	}
	return reps
}

// mostFeel is the largest reserve that somebody is asked to choose a load by.
const mostFeel = 6

// byFeel states a share of a 1RM that nobody knows and nothing will find as the reserve
// that it leaves.
func byFeel(schemes []plan.Scheme, c *load.Curve) []plan.Scheme {
	out := slices.Clone(schemes)
	for i := range out {
		e := &out[i].Effort
		if !e.Intensity.Set || e.Reference.Kind == plan.RefRM || e.Reference.Kind == plan.RefSetBefore || e.Reference.Kind == plan.RefEstimate {
			continue
		}
		if !e.ToFailure && !e.RIR.Set {
			e.RIR = plan.Some(min(max(c.RepsTenths(int32(e.Intensity.Value)*10)/10-out[i].Reps.Max, 1), mostFeel))
		}
		e.Intensity, e.Reference = plan.Opt[plan.Permille]{}, plan.Reference{}
	}
	return out
}

// widened lets repetitions reach what a load that happens to be light needs.
func widened(schemes []plan.Scheme, most int32) []plan.Scheme {
	out := append([]plan.Scheme(nil), schemes...)
	for i := range out {
		if !out[i].Reps.IsZero() {
			out[i].Reps.Max = max(out[i].Reps.Max, most)
		}
	}
	return out
}

// heavy reports schemes that need warm-up sets of their own, whatever came before.
func heavy(schemes []plan.Scheme) bool {
	for i := range schemes {
		if r := schemes[i].Reps; r.Min > 0 && r.Min <= 5 {
			return true
		}
	}
	return false
}

// input is all that prescribing one exercise in one session depends on. An exercise of
// unknown strength finds its load in its first session; later ones refer to that.
func (g *generation) input(o *occurrence, p *pick, st *state, schemes []plan.Scheme) prescribe.Input {
	in := prescribe.Input{
		Exercise: p.ex, Role: p.role, Schemes: schemes, Menu: g.menu(p.ex, o.slot.Place),
		Athlete: prescribe.Athlete{Curve: st.curve, BodyGrams: g.bodyGrams(), Share: p.ex.BodyMassShare, FreeRepsTenths: st.free},
		Limits:  g.limits(o, p),
	}
	in.Limits.Most = g.most(mostStretch)
	if (st.known || st.free > 0) && (in.Menu == nil || in.Menu.Len() < fewLoads) {
		in.Limits.Stretch = g.most(mostStretch)
	}
	if st.known {
		in.Athlete.OneRMGrams = st.planned[o.week]
		if in.Menu == nil && p.ex.Loading == plan.LoadingAssisted {
			in.Schemes = byFeel(in.Schemes, st.curve) // nobody can set a share of the 1RM there
		}
		return in
	}
	if g.noRamp && st.free == 0 {
		in.Menu = nil
	}
	// What is hung on body mass has no calibration set either.
	if in.Menu == nil || p.ex.Loading == plan.LoadingAdded && (st.free == 0 || in.Athlete.BodyGrams == 0) {
		in.Schemes = byFeel(in.Schemes, st.curve)
	}
	if in.Menu == nil || st.free > 0 {
		return in
	}
	if in.Menu.Len() == 1 {
		// The only load that is there: nothing to look for, repetitions do the rest.
		in.Menu = nil
		in.Schemes = byFeel(widened(schemes, g.most(mostReps)), st.curve)
		return in
	}
	guide := func() {
		big, _ := g.brief.Catalogue.ByID(st.borrowed)
		in.Related, in.Athlete.OneRMGrams = big.Name, st.planned[o.week]
	}
	if found, ok := g.found[g.foundKey(p.ex, o.slot.Place)]; ok {
		in.CalibratedTenths = found.tenths
		in.GrowthPermille = g.strengths.growthBetween(p.ex, found.week, o.week)
		if found.guided {
			guide()
			in.GrowthPermille = int32(st.planned[o.week] * 1000 / st.planned[found.week])
		}
		return in
	}
	in.Calibrate = true
	if st.borrowed != "" && in.Menu.Len() >= fewLoads {
		if guide(); !prescribe.Guided(in) {
			in.Related, in.Athlete.OneRMGrams = "", 0
		}
	}
	if !findable(in) {
		in.Calibrate, in.Schemes = false, byFeel(in.Schemes, st.curve)
		in.Related, in.Athlete.OneRMGrams = "", 0
	}
	return in
}

// findable reports sets of which the first can show the load of the others.
func findable(in prescribe.Input) bool {
	_, _, ok := prescribe.Calibration(in)
	return ok
}

func (g *generation) bodyGrams() int64 {
	if m := g.brief.Request.Athlete.BodyMass; m.Set {
		return m.Value.Grams()
	}
	return 0
}

// swaps names the two best others that train the same thing here and keep the session
// valid: none of them is in it already.
func (g *generation) swaps(e *plan.ProgramExercise, p *pick, o *occurrence, here []pick) {
	var ids []string
	for _, id := range g.substitutes(p, o.slot.Place) {
		if len(ids) < 2 && !slices.ContainsFunc(here, func(h pick) bool { return h.ex.ID == id }) {
			ids = append(ids, id)
		}
	}
	for i := range e.Contingencies {
		if k := e.Contingencies[i].Case; k == plan.CaseEquipmentTaken || k == plan.CasePain {
			e.Contingencies[i].Swap = ids
		}
	}
}

type swapKey struct {
	id    string
	place int32
	role  plan.Role
}

// substitutes ranks what can stand in for an exercise at a place: same pattern first,
// other equipment preferred.
func (g *generation) substitutes(p *pick, at int32) []string {
	key := swapKey{p.ex.ID, at, p.role}
	if ids, ok := g.swapped[key]; ok {
		return ids
	}
	type option struct {
		id   string
		rank int32
	}
	var options []option
	place := &g.brief.Request.Constraints.Places[at]
	for _, ex := range g.brief.Catalogue.All() {
		if ex.ID == p.ex.ID || primesShared(ex, p.ex) == 0 || ex.Role != p.ex.Role && ex.Pattern != p.ex.Pattern || !ex.Available(place) || !g.allowed(ex) || ex.Pattern.Explosive() != p.ex.Pattern.Explosive() {
			continue
		}
		rank := g.preference(ex, ex.Role) + 40*primesShared(ex, p.ex)
		if ex.Pattern == p.ex.Pattern {
			rank += 100
		}
		if ex.Loading != p.ex.Loading {
			rank += 30
		}
		if ex.RoleAt(place) == plan.Unloadable && p.role != plan.Unloadable {
			rank -= 90 // a load that is known to fit beats none
		}
		if g.bender.exposed(ex, place) && !g.bender.exposed(p.ex, place) {
			rank -= 60
		}
		if ex.Standing == exercise.Niche {
			rank -= 90 // only where nothing else does it
		}
		options = append(options, option{ex.ID, rank})
	}
	sort.SliceStable(options, func(i, j int) bool { return options[i].rank > options[j].rank })
	ids := make([]string, len(options))
	for i := range options {
		ids[i] = options[i].id
	}
	g.swapped[key] = ids
	return ids
}

// totals counts a week's sets from its sessions.
func (g *generation) totals(w *plan.Week, week int) {
	d := &g.doses[week]
	var all, direct [plan.MuscleCount]plan.HalfSets
	for s := range w.Sessions {
		for i := range w.Sessions[s].Exercises {
			e := &w.Sessions[s].Exercises[i]
			ex, _ := g.brief.Catalogue.ByID(e.ExerciseID)
			for m := range all {
				v := ex.SetCountsFor(plan.Muscle(m))
				all[m] += v * plan.HalfSets(e.Working())
				if v == exercise.Prime {
					direct[m] += v * plan.HalfSets(e.Working())
				}
			}
		}
	}
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if all[m] > 0 || d.Muscles[m].Wanted > 0 {
			w.Muscles = append(w.Muscles, plan.MuscleTotal{Muscle: m, Wanted: d.Muscles[m].Wanted, Sets: all[m], Direct: direct[m]})
		}
	}
	for _, l := range d.Lifts {
		w.Lifts = append(w.Lifts, g.liftTotal(w, l.ExerciseID, l.Sets))
	}
}

func (g *generation) liftTotal(w *plan.Week, id string, wanted int32) plan.LiftTotal {
	t := plan.LiftTotal{ExerciseID: id, Wanted: wanted}
	unit := g.brief.Request.Constraints.Unit
	ex, _ := g.brief.Catalogue.ByID(id)
	volume, known := int64(0), false
	for s := range w.Sessions {
		for i := range w.Sessions[s].Exercises {
			e := &w.Sessions[s].Exercises[i]
			if e.ExerciseID != id {
				continue
			}
			for k := range e.Sets {
				set := &e.Sets[k]
				if !set.Kind.Counts() {
					continue
				}
				t.Sets++
				reps := set.Expected
				if reps == 0 {
					reps = set.Reps.Max // nothing better is known
				}
				t.Reps += reps
				if set.Load.Set && ex.Loading != plan.LoadingAssisted { // help is not lifted
					known = true
					volume += int64(reps) * set.Load.Value.In(unit).Milli
				}
				if set.Intensity.Set && set.Intensity.Value > t.Top.Value {
					t.Top = set.Intensity
				}
			}
		}
	}
	if known {
		t.VolumeLoad = plan.Some(plan.Load{Milli: volume, Unit: unit})
	}
	return t
}
