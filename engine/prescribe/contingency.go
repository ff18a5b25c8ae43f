package prescribe

import (
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// coarseStep is the step above which repetitions are raised before the load, in
// permille of the load. ACSM 2009 raises loads by 2 to 10 % a step.
const coarseStep = 100

// Contingencies says what to do when the exercise goes differently. Swap is left to
// the caller, who knows the substitutes. Going up follows the two-for-two rule (NSCA
// Essentials, from memory) by one step that can be set; going down takes one step.
func Contingencies(in Input, out Output) []plan.Contingency {
	c := []plan.Contingency{missed(&in, out.Sets), above(&in, out.Sets)}
	for _, x := range []struct {
		k  plan.Case
		id string
	}{{plan.CasePain, TextPain}, {plan.CaseEquipmentTaken, TextTaken}, {plan.CaseDayMissed, TextDayMissed}} {
		c = append(c, plan.Contingency{Case: x.k, TextID: x.id, Says: Text(x.id)})
	}
	return c
}

// leading is the set that speaks for the exercise: the heaviest working set, the first of
// several; a set that only finds the load where there is no other.
func leading(in *Input, sets []plan.Set) *plan.Set {
	var best *plan.Set
	for i := range sets {
		s := &sets[i]
		if s.Kind == plan.SetWarmup {
			continue
		}
		if best == nil || best.Kind == plan.SetCalibration || s.Load.Set && (!best.Load.Set || moved(in, s.Load.Value) > moved(in, best.Load.Value)) {
			best = s
		}
	}
	return best
}

func missed(in *Input, sets []plan.Set) plan.Contingency {
	c := plan.Contingency{Case: plan.CaseRepsMissed, TextID: TextMissedReps}
	s := leading(in, sets)
	low := "Fewer repetitions than planned"
	if s != nil && s.Reps.Min > 1 {
		low = "Fewer than " + itoa(s.Reps.Min) + " repetitions"
	}
	switch {
	case s == nil:
	case !s.Hold.IsZero():
		c.TextID, low = TextMissedHold, "Less than "+itoa(s.Hold.Min)+" s"
	case len(s.Adjust) > 0:
		c.TextID = TextMissedTable
	case in.Exercise.Loading == plan.LoadingBand:
		c.TextID = TextMissedBand
	case in.Exercise.Loading == plan.LoadingAssisted && !s.Load.Set:
		c.TextID = TextMissedAssist
	case !s.Load.Set && in.Exercise.Loading.Loadable() && in.Exercise.Loading != plan.LoadingAdded:
		c.TextID = TextMissedLoad
	case s.Load.Set && in.Menu != nil:
		c.TextID = TextMissedLightest
		if o, ok := stepFrom(in, s.Load.Value, -1); ok {
			c.TextID = TextMissedStep
			step := stepBetween(s.Load.Value, o.Load)
			c.Change = plan.Some(step)
			words := loadWords(in, o.Load)
			if in.Exercise.Loading == plan.LoadingAssisted {
				c.TextID, words = TextMissedHelp, o.Load.String()
			}
			c.Says = fill(c.TextID, "missed", low, "load", words, "step", size(step).String())
			return c
		}
	}
	c.Says = fill(c.TextID, "missed", low)
	return c
}

func above(in *Input, sets []plan.Set) plan.Contingency {
	c := plan.Contingency{Case: plan.CaseAboveRange, TextID: TextAboveReps}
	s := leading(in, sets)
	switch {
	case s == nil:
		c.Says = fill(c.TextID, "high", "the stated")
		return c
	case !s.Hold.IsZero():
		c.TextID = TextAboveHold
		c.Says = fill(c.TextID, "high", itoa(s.Hold.Max))
		return c
	case len(s.Adjust) > 0:
		c.TextID = TextMissedTable
	case in.Exercise.Loading == plan.LoadingBand:
		c.TextID = TextAboveBand
	case in.Exercise.Loading == plan.LoadingAssisted && !s.Load.Set:
		c.TextID = TextAboveAssist
	case len(in.Schemes) == 1 && s.Reps.Max < in.Schemes[0].Reps.Min:
		c.TextID = TextAboveFewer
		c.Says = fill(c.TextID, "high", itoa(s.Reps.Max), "most", itoa(in.Schemes[0].Reps.Min))
		return c
	case !s.Load.Set && in.Exercise.Loading.Loadable() && in.Exercise.Loading != plan.LoadingAdded:
		c.TextID = TextAboveLoad
	case s.Load.Set && in.Menu != nil:
		o, ok := stepFrom(in, s.Load.Value, 1)
		if !ok {
			if in.Exercise.Loading == plan.LoadingAssisted {
				c.TextID = TextAboveLastHelp
			}
			break
		}
		if limit := in.Limits.MaxIntensity; limit > 0 && moved(in, o.Load)*1000 > int64(limit)*in.Athlete.OneRMGrams {
			c.TextID = TextAboveCapped
			c.Says = fill(c.TextID, "high", itoa(s.Reps.Max))
			return c
		}
		step := stepBetween(s.Load.Value, o.Load)
		c.Change = plan.Some(step)
		c.TextID = TextAboveStep
		words := loadWords(in, o.Load)
		if s.Reps.Min == s.Reps.Max {
			c.TextID = TextAboveFixed
		}
		if in.Exercise.Loading == plan.LoadingAssisted {
			c.TextID, words = TextAboveHelp, o.Load.String()
		}
		if size(step).Grams()*1000 > moved(in, s.Load.Value)*coarseStep {
			c.TextID, words = TextAboveCoarse, loadWords(in, o.Load)
		}
		c.Says = fill(c.TextID, "high", itoa(s.Reps.Max), "step", size(step).String(), "load", words, "most", itoa(s.Reps.Max+3))
		return c
	}
	c.Says = fill(c.TextID, "high", itoa(s.Reps.Max))
	return c
}

// stepFrom gives the load that is a sensible step away: the exercise's own step where
// it can be set, never less than one step of the equipment.
func stepFrom(in *Input, from plan.Load, sign int64) (load.Option, bool) {
	o, ok := in.next(from, sign > 0)
	step := in.Exercise.Step(from.Unit)
	if step.IsZero() {
		return o, ok // a counterweight has no step but its own
	}
	wide := plan.Load{Milli: from.Milli + sign*step.Milli, Unit: from.Unit}
	if n, found := in.Menu.Nearest(wide, false); ok && found && int64(n.Load.Cmp(o.Load)) == sign {
		return n, true
	}
	return o, ok
}

// loadWords is a load as it is said: nothing added is body mass alone.
func loadWords(in *Input, l plan.Load) string {
	if in.Exercise.Loading == plan.LoadingAdded && l.IsZero() {
		return "body mass alone"
	}
	if in.Exercise.Loading == plan.LoadingAssisted {
		return "help of " + l.String()
	}
	return l.String()
}

func stepBetween(from, to plan.Load) plan.Load {
	return plan.Load{Milli: to.Milli - from.In(to.Unit).Milli, Unit: to.Unit}
}

// size is a step without its direction.
func size(l plan.Load) plan.Load { return plan.Load{Milli: max(l.Milli, -l.Milli), Unit: l.Unit} }
