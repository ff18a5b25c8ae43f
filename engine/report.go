package engine

import (
	"fmt"
	"sort"

	"github.com/phasewright/phasewright/engine/audit"
	"github.com/phasewright/phasewright/engine/dose"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

// Rule ids of the assembly.
const (
	RuleOutlier  plan.RuleID = "strength.outlier"
	RuleOff      plan.RuleID = "load.off-target"
	RuleShort    plan.RuleID = "dose.short"
	RuleSoftened plan.RuleID = "safety.softened"
	RuleGap      plan.RuleID = "allocate.gap"
	RuleSets     plan.RuleID = "allocate.sets"
	RuleFixed    plan.RuleID = "outline.sets"
	RuleGoal     plan.RuleID = "choose.goal"
	RulePinned   plan.RuleID = "choose.pinned"
	RuleBest     plan.RuleID = "choose.allocation"
	RuleOrder    plan.RuleID = "order.session"
	RuleTime     plan.RuleID = "time.model"
	RuleEstimate plan.RuleID = "strength.estimate"
	RuleBorrowed plan.RuleID = "strength.borrowed"
	RuleUnknown  plan.RuleID = "strength.unknown"
	RuleRamp     plan.RuleID = "time.finding-loads"
	RuleTest     plan.RuleID = "test.steps"
	RuleArms     plan.RuleID = "compare.arms"
)

func rules() []plan.Rule {
	own := []plan.Rule{
		{ID: RuleOutlier, Says: "A performance more than three standard deviations from the athlete's others is set aside.", Source: "common practice, no source"},
		{ID: RuleOff, Says: "Where no load that can be set gives the wanted repetitions in reserve, the nearest safe one is taken and the difference said.", Source: "common practice, no source"},
		{ID: RuleShort, Says: "A wish that did not fit is listed with numbers and with what stood in the way.", Source: "common practice, no source"},
		{ID: RuleSoftened, Says: "Repetitions are raised and reserve is added until the work is inside what the screening, the training status and the place allow.", Source: "Riebe et al. 2015 (ACSM pre-participation screening); Faigenbaum et al. 2009 (from memory); ACOG 804, 2020; judgement for novices"},
		{ID: RuleGap, Says: "The allocation is the best found within a fixed amount of work; the listed gap is how much better another could be at most.", Source: "the solver's own bound"},
		{ID: RuleSets, Says: "Sets come from the allocation: the weekly wishes put onto the days within their minutes, scaled to the week.", Source: "the allocation's objective; weekly wishes by the dose rules"},
		{ID: RuleFixed, Says: "The strategy fixes the number of sets.", Source: "the strategy"},
		{ID: RuleGoal, Says: "The exercise is there because a goal names it.", Source: "the request"},
		{ID: RulePinned, Says: "The exercise is there because the request pins it.", Source: "the request"},
		{ID: RuleBest, Says: "The exercise is one of the set that fills the weekly wishes best within minutes, equipment and restrictions.", Source: "the allocation's objective"},
		{ID: RuleOrder, Says: "Explosive before goal lifts, then other multi-joint work, small muscles, trunk; what a goal wants first within each.", Source: "ACSM 2009 (large before small, multi- before single-joint); common practice"},
		{ID: RuleTime, Says: "Minutes count setting up, warm-up sets, repetitions at a controlled speed, rest, and both sides of one-sided work.", Source: "tempo: ACSM 2009; the pieces: judgement"},
		{ID: RuleEstimate, Says: "The 1RM and the athlete's own curve follow from all performances, each weighed by its precision and age, and from how people differ; the loads take half an SD less. Planned growth stays under the cap for the status.", Source: "curve and spread between people: Nuzzo et al. 2024; reported reserve: Halperin et al. 2022; caps: common practice, no source"},
		{ID: RuleBorrowed, Says: "Nothing was shown in this exercise. A related lift says where the first session begins to look for the load, an eighth to a sixth below what the usual ratio would give; what that session finds decides.", Source: "judgement, for the ratios and how people differ from them"},
		{ID: RuleUnknown, Says: "No performance is known, so the first session finds the load; nothing is invented.", Source: "common practice, no source"},
		{ID: RuleTest, Says: "A test goes from warm-up sets to singles near the 1RM in steps, with 3 to 5 minutes between, and ends within five; where that is not safe or the strength is not known, one set with repetitions in reserve shows the strength.", Source: "NSCA test protocol (from memory); the shares are common practice, no source"},
		{ID: RuleArms, Says: "Programs that are compared have the same exercises on the same days, chosen so that every arm can do them; the arm with the fewest sets sets their number.", Source: "the request; volume equated as in the reviews that compare strategies (Moesgaard et al. 2022)"},
		{ID: RuleRamp, Says: "A session that finds loads takes longer; sets give way to it, the last exercises first.", Source: "common practice, no source"},
	}
	own = append(own, dose.Rules()...)
	own = append(own, prescribe.Rules()...)
	return append(own, audit.Rules()...)
}

// find notes a finding once.
func (g *generation) find(f plan.Finding) {
	for _, have := range g.findings {
		if have == f || have.Rule == f.Rule && have.ExerciseID == f.ExerciseID && have.Says == f.Says {
			return
		}
	}
	g.findings = append(g.findings, f)
}

func (g *generation) basis(o *occurrence, p *pick, st *state, n int32) []plan.Basis {
	choice, sets := RuleBest, RuleSets
	switch {
	case p.goal >= 0:
		choice = RuleGoal
	case p.pin >= 0:
		choice = RulePinned
	}
	fixed := true
	for _, s := range g.asked(o, p) {
		fixed = fixed && s.Sets.Fixed
	}
	if fixed {
		sets = RuleFixed
	}
	out := []plan.Basis{
		{Number: plan.NumberChoice, Rule: choice},
		{Number: plan.NumberSets, Rule: sets, Input: fmt.Sprintf("%d sets; week at %s of the full dose", n, g.shareFor(o.week, p.track))},
		{Number: plan.NumberOrder, Rule: RuleOrder},
		{Number: plan.NumberDuration, Rule: RuleTime},
	}
	if st.known {
		unit := g.brief.Request.Constraints.Unit
		out = append(out, plan.Basis{Number: plan.NumberLoad, Rule: RuleEstimate, Input: fmt.Sprintf("%s; 1RM %s ± %s, planned with %s this week",
			counted(st.used, "performance"), plan.Kg(st.mean).In(unit).Whole(), plan.Permille(st.sd), plan.Kg(st.planned[o.week]).In(unit).Whole())})
	} else if st.borrowed != "" {
		unit := g.brief.Request.Constraints.Unit
		big, _ := g.brief.Catalogue.ByID(st.borrowed)
		out = append(out, plan.Basis{Number: plan.NumberLoad, Rule: RuleBorrowed, Input: fmt.Sprintf("from %s: 1RM perhaps %s ± %s, taken for %s this week",
			big.Name, plan.Kg(st.mean).In(unit).Whole(), plan.Permille(st.sd), plan.Kg(st.planned[o.week]).In(unit).Whole())})
	} else if p.ex.Loading.Loadable() || g.menu(p.ex, o.slot.Place) != nil {
		out = append(out, plan.Basis{Number: plan.NumberLoad, Rule: RuleUnknown})
	}
	return out
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	if what == "kind of session" {
		return fmt.Sprintf("%d kinds of session", n)
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// softened says once for each goal lift and pinned exercise, and for each that the strategy
// would take to failure, what its limits made of the wish; for the rest the reasons alone
// are listed.
func (g *generation) softened(p *pick, was, is []plan.Scheme) {
	for i := range was {
		if was[i].Reps == is[i].Reps && was[i].Effort == is[i].Effort || p.goal < 0 && p.pin < 0 && !was[i].Effort.ToFailure || g.told[p.ex.ID] {
			continue
		}
		if wr, ir := was[i].Effort.Wanted(), is[i].Effort.Wanted(); was[i].Reps.Min == is[i].Reps.Min && wr == ir {
			continue
		}
		g.told[p.ex.ID] = true
		g.find(plan.Finding{Level: plan.LevelNote, Rule: RuleSoftened, ExerciseID: p.ex.ID,
			Says: fmt.Sprintf("%s: the strategy asks for %s; made %s here, because of the limits for this athlete and place.", p.ex.Name, schemeText(&was[i]), schemeText(&is[i]))})
		return
	}
}

func schemeText(s *plan.Scheme) string {
	out := fmt.Sprintf("%d", s.Reps.Min)
	if s.Reps.Max > s.Reps.Min {
		out += fmt.Sprintf("–%d", s.Reps.Max)
	}
	out += " repetitions"
	switch rir := s.Effort.Wanted(); {
	case s.Effort.ToFailure:
		out += " to failure"
	case rir.Set:
		out += fmt.Sprintf(" with %d in reserve", rir.Value)
	}
	if s.Effort.Intensity.Set {
		out += " at " + s.Effort.Intensity.Value.String()
	}
	return out
}

// finish adds everything that is not a set: versions, strengths, what was assumed,
// what is missing, cautions.
func (g *generation) finish(requested string) {
	b := g.brief
	p := &g.program
	p.Versions = plan.Versions{Document: plan.DocumentVersion, Engine: Version, Rules: RulesVersion,
		Catalogue: b.Catalogue.Version(), Curves: load.CurveVersion, Strategy: g.outline.Strategy}
	p.RequestDigest, p.Seed, p.Request, p.Assumptions = requested, b.Request.Seed, b.Request, b.Assumptions
	p.External = b.external
	g.listStrengths()
	p.Findings = append(p.Findings, g.findings...)
	g.listCautions()
	g.listRules()
}

func (g *generation) listStrengths() {
	used := map[string]bool{}
	for _, ph := range g.program.Phases {
		for _, w := range ph.Weeks {
			for _, s := range w.Sessions {
				for _, e := range s.Exercises {
					used[e.ExerciseID] = true
				}
			}
		}
	}
	list := append([]*state(nil), g.strengths.listed...)
	sort.Slice(list, func(i, j int) bool { return list[i].ex.ID < list[j].ex.ID })
	for _, st := range list {
		for _, f := range st.outliers {
			g.find(f)
		}
		if !st.known && st.borrowed == "" || !used[st.ex.ID] {
			continue
		}
		g.program.Strengths = append(g.program.Strengths, plan.Strength{
			ExerciseID: st.ex.ID, OneRMGrams: st.mean, SD: plan.Permille(st.sd), Known: int32(st.used), Borrowed: st.borrowed,
			Curve: string(st.ex.Curve), Slope: plan.Permille(st.slope), Share: st.ex.BodyMassShare, Planned: st.planned,
		})
	}
}

func (g *generation) listCautions() {
	ids := append([]string(nil), g.safety.Cautions...)
	for i := range g.brief.Request.Constraints.Places {
		p := &g.brief.Request.Constraints.Places[i]
		if p.Has(plan.Barbell) && !p.Safeties.Value && !g.bender.spotted {
			ids = append(ids, "spotter")
			g.safety.Why = append(g.safety.Why, "Nobody spots and nothing catches the bar at "+placeName(p)+": sets under a bar keep two repetitions or more in reserve there.")
			break
		}
	}
	if len(g.brief.Request.Athlete.Restrictions) > 0 {
		ids = append(ids, "pain")
	}
	seen := map[string]bool{}
	for _, id := range ids {
		if !seen[id] {
			seen[id] = true
			g.program.Cautions = append(g.program.Cautions, caution(id))
		}
	}
	for _, why := range g.safety.Why {
		g.program.Findings = append(g.program.Findings, plan.Finding{Level: plan.LevelNote, Rule: RuleSoftened, Says: why})
	}
}

// listRules resolves every rule id that the program refers to, audit's findings aside,
// which are added later and resolve the same way.
func (g *generation) listRules() {
	used := map[plan.RuleID]bool{}
	for _, f := range g.program.Findings {
		used[f.Rule] = true
	}
	for _, ph := range g.program.Phases {
		for _, w := range ph.Weeks {
			for _, s := range w.Sessions {
				for i := range s.Exercises {
					for _, b := range s.Exercises[i].Basis {
						used[b.Rule] = true
					}
				}
			}
		}
	}
	for i := range g.doses {
		for m := range g.doses[i].Muscles {
			if d := &g.doses[i].Muscles[m]; d.Wanted > 0 {
				used[d.Rule] = true
			}
		}
		for _, l := range g.doses[i].Lifts {
			used[l.Rule] = true
		}
	}
	for _, r := range rules() {
		if used[r.ID] {
			g.program.Rules = append(g.program.Rules, r)
			delete(used, r.ID)
		}
	}
	sort.Slice(g.program.Rules, func(i, j int) bool { return g.program.Rules[i].ID < g.program.Rules[j].ID })
}
