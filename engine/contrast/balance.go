package contrast

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// Compare sets reports beside each other: in what they are equal, and the gaps. What the
// rule seeks comes first; of hard sets, muscles and exercises are listed too, and
// exercises only where they are not equal. There is at least one arm, with its program.
func Compare(rule plan.Equating, arms []plan.ArmReport) plan.Comparison {
	c := plan.Comparison{Rule: rule, Unit: arms[0].Program.Request.Constraints.Unit, Arms: arms, EqualWeeks: equalWeeks(arms)}
	total := func(m plan.Measure, of func(*plan.Figures) int64) {
		b := plan.Balance{Measure: m}
		for i := range arms {
			b.Values = append(b.Values, of(&arms[i].Total))
		}
		c.Balances = append(c.Balances, b)
	}
	total(plan.MeasureHardSets, func(f *plan.Figures) int64 { return int64(f.HardSets) })
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		total(plan.MeasureMuscleSets, func(f *plan.Figures) int64 { return int64(setsFor(f, m)) })
		if last := &c.Balances[len(c.Balances)-1]; slices.Max(last.Values) > 0 {
			last.Muscle = m
		} else {
			c.Balances = c.Balances[:len(c.Balances)-1]
		}
	}
	for _, b := range exercises(arms) {
		if slices.Min(b.Values) != slices.Max(b.Values) {
			c.Balances = append(c.Balances, b)
		}
	}
	total(plan.MeasureVolumeLoad, func(f *plan.Figures) int64 { return f.VolumeLoad.Value.Milli })
	total(plan.MeasureDuration, func(f *plan.Figures) int64 { return int64(f.Seconds) })
	for i := range c.Balances {
		b := &c.Balances[i]
		b.Sought = sought(rule, b.Measure)
		settle(b)
		if b.Says = says(b, arms); b.Measure == plan.MeasureVolumeLoad {
			known(b, arms)
		}
	}
	slices.SortStableFunc(c.Balances, func(a, b plan.Balance) int { return cmp.Compare(order(&a), order(&b)) })
	return c
}

func order(b *plan.Balance) int {
	if b.Sought {
		return 0
	}
	return 1
}

func sought(rule plan.Equating, m plan.Measure) bool {
	switch rule {
	case plan.EquateHardSets:
		return m == plan.MeasureHardSets || m == plan.MeasureMuscleSets
	case plan.EquateVolumeLoad:
		return m == plan.MeasureVolumeLoad
	case plan.EquateMinutes:
		return m == plan.MeasureDuration
	}
	return false
}

// settle finds the gap, and whether it counts as equal.
func settle(b *plan.Balance) {
	least, most := slices.Min(b.Values), slices.Max(b.Values)
	b.Gap = most - least
	if least > 0 {
		b.Share = plan.Permille(min((1000*b.Gap+least-1)/least, 1_000_000))
	}
	b.Equal = b.Gap == 0
	if b.Measure == plan.MeasureVolumeLoad || b.Measure == plan.MeasureDuration {
		b.Equal = b.Gap*1000 <= least*int64(plan.Tolerance)
	}
}

// known says how much of a volume load is in numbers; nothing known is not equal.
func known(b *plan.Balance, arms []plan.ArmReport) {
	least, all := arms[0].Total.LoadedSets, arms[0].Total.HardSets
	for i := range arms {
		if f := &arms[i].Total; int64(f.LoadedSets)*int64(all) < int64(least)*int64(f.HardSets) {
			least, all = f.LoadedSets, f.HardSets
		}
	}
	switch {
	case slices.Max(b.Values) == 0:
		b.Equal = false
		b.Says = "volume load is not known: no load is a number before the day"
		if b.Sought {
			b.Says += "; hard sets are equal instead"
		}
	case least < all:
		b.Says += fmt.Sprintf("; over the sets whose load is a number, at least %d of %d", least, all)
	}
}

func setsFor(f *plan.Figures, m plan.Muscle) plan.HalfSets {
	for i := range f.Muscles {
		if f.Muscles[i].Muscle == m {
			return f.Muscles[i].Sets
		}
	}
	return 0
}

// exercises counts the hard sets of every exercise, in order of id.
func exercises(arms []plan.ArmReport) []plan.Balance {
	at := map[string]int{}
	var out []plan.Balance
	for i := range arms {
		for _, w := range weeksOf(&arms[i].Program) {
			for j := range w.Sessions {
				for k := range w.Sessions[j].Exercises {
					e := &w.Sessions[j].Exercises[k]
					n, ok := at[e.ExerciseID]
					if !ok {
						n = len(out)
						at[e.ExerciseID] = n
						out = append(out, plan.Balance{Measure: plan.MeasureHardSets, ExerciseID: e.ExerciseID, Values: make([]int64, len(arms))})
					}
					out[n].Values[i] += int64(e.Working())
				}
			}
		}
	}
	slices.SortFunc(out, func(a, b plan.Balance) int { return strings.Compare(a.ExerciseID, b.ExerciseID) })
	return out
}

func weeksOf(p *plan.Program) []*plan.Week {
	var out []*plan.Week
	for i := range p.Phases {
		for j := range p.Phases[i].Weeks {
			out = append(out, &p.Phases[i].Weeks[j])
		}
	}
	return out
}

// equalWeeks lists the weeks with the same sets of the same exercises on the same days.
func equalWeeks(arms []plan.ArmReport) []int32 {
	var out []int32
	for _, w := range weeksOf(&arms[0].Program) {
		same := true
		for i := range arms[1:] {
			other := weeksOf(&arms[1+i].Program)
			same = same && int(w.Number) <= len(other) && slices.Equal(work(w), work(other[w.Number-1]))
		}
		if same {
			out = append(out, w.Number)
		}
	}
	return out
}

// work lists a week's sets: day, exercise, number.
func work(w *plan.Week) []string {
	var out []string
	for i := range w.Sessions {
		s := &w.Sessions[i]
		for j := range s.Exercises {
			if n := s.Exercises[j].Working(); n > 0 {
				out = append(out, fmt.Sprintf("%d %d %s %d", s.Kind, s.Day, s.Exercises[j].ExerciseID, n))
			}
		}
	}
	slices.Sort(out)
	return out
}

// says puts a balance into a sentence.
func says(b *plan.Balance, arms []plan.ArmReport) string {
	what := b.Measure.String()
	switch {
	case b.Muscle != plan.MuscleUnspecified:
		what = "sets for the " + b.Muscle.String()
	case b.ExerciseID != "":
		what = "hard sets of " + b.ExerciseID
	}
	lo, hi := slices.Index(b.Values, slices.Min(b.Values)), slices.Index(b.Values, slices.Max(b.Values))
	unit := arms[lo].Program.Request.Constraints.Unit
	if b.Gap == 0 {
		return fmt.Sprintf("equal %s: %s in every arm", what, amount(b, b.Values[lo], unit))
	}
	spread := fmt.Sprintf("%s (%s) to %s (%s)", amount(b, b.Values[lo], unit), arms[lo].Label, amount(b, b.Values[hi], unit), arms[hi].Label)
	gap := "a gap of " + amount(b, b.Gap, unit)
	if b.Share > 0 {
		gap += fmt.Sprintf(", %s of the smallest", b.Share)
	}
	switch {
	case b.Equal:
		return fmt.Sprintf("equal %s within %s: %s; %s", what, plan.Tolerance, spread, gap)
	case b.Sought:
		return fmt.Sprintf("%s can't be equated: %s; %s", what, spread, gap)
	}
	return fmt.Sprintf("%s not equated: %s; %s", what, spread, gap)
}

func amount(b *plan.Balance, v int64, unit plan.MassUnit) string {
	switch b.Measure {
	case plan.MeasureMuscleSets:
		return plan.HalfSets(v).String()
	case plan.MeasureVolumeLoad:
		return plan.Load{Milli: v, Unit: unit}.Whole()
	case plan.MeasureDuration:
		return fmt.Sprintf("%d min", (v+30)/60)
	}
	return fmt.Sprint(v)
}
