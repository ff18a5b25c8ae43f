package dose

import "github.com/phasewright/phasewright/engine/plan"

// Rule ids of this stage.
const (
	RulePriority       plan.RuleID = "dose.priority"
	RuleOther          plan.RuleID = "dose.other"
	RuleMaintained     plan.RuleID = "dose.maintained"
	RuleLift           plan.RuleID = "dose.lift"
	RuleLiftCostly     plan.RuleID = "dose.lift-costly"
	RuleLiftMaintained plan.RuleID = "dose.lift-maintained"
	RuleClimb          plan.RuleID = "dose.climb"
	RuleCapped         plan.RuleID = "dose.capped"
	RuleShare          plan.RuleID = "dose.week-share"
)

const practice = "common practice, no source; inside Pelland et al. 2024 (doi 10.1007/s40279-025-02344-w), ACSM 2026 and Baz-Valle et al. 2022"

// Rules resolves the ids.
func Rules() []plan.Rule {
	return []plan.Rule{
		{ID: RulePriority, Says: "A muscle that a goal wants to grow gets 8–10 weekly sets (novice), 12–16 (intermediate) or 14–20 (advanced), at least half of them direct.", Source: practice},
		{ID: RuleOther, Says: "Every other large muscle gets 6, 8 or 10 weekly sets by status, and never fewer than 4 while a priority is filled further.", Source: practice},
		{ID: RuleMaintained, Says: "Small muscles, and muscles that a goal only maintains, get 3, 4 or 5 weekly sets by status; for a novice the small shoulder muscles, calves and spinal erectors wait until a goal names them.", Source: practice},
		{ID: RuleLift, Says: "A lift whose 1RM is to rise gets 4–6, 6–10 or 8–12 weekly sets by status; more for the first priority.", Source: "common practice, no source; direction: Ralston et al. 2017, Pelland et al. 2024"},
		{ID: RuleLiftCostly, Says: "A lift that is hard on the lower back, like the deadlift, gets two thirds of a lift's weekly sets.", Source: "common practice, no source"},
		{ID: RuleLiftMaintained, Says: "A maintained lift keeps 3 to 5 weekly sets.", Source: "common practice, no source; about one weekly set is detectable for strength (Pelland et al. 2024)"},
		{ID: RuleClimb, Says: "Week 1 is at most a quarter above what the athlete does now (or four sets), then one weekly set more each week until the full dose.", Source: "common practice, no source"},
		{ID: RuleCapped, Says: "The request's own weekly limit for the muscle.", Source: "the request"},
		{ID: RuleShare, Says: "The week's share of the full dose, as the strategy sets it (climbing in a phase, cut in a deload).", Source: "the strategy"},
	}
}
