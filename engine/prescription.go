package engine

import (
	"slices"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

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

// lower lets repetitions begin at what a load that can't be changed allows.
func lower(schemes []plan.Scheme, possible int32) {
	for i := range schemes {
		s := &schemes[i]
		if most := max(1, possible-s.Effort.RIR.Or(0)); !s.Reps.IsZero() {
			s.Reps.Min = min(s.Reps.Min, most)
		}
	}
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
		if st.borrowed != "" {
			only := lightest(p.ex, g.menu(p.ex, o.slot.Place), g.strengths.carried(p.ex))
			lower(in.Schemes, st.curve.RepsTenths(int32(only*10_000/st.planned[o.week]))/10)
		}
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
