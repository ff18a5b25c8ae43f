package schedule

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Bounds of a model that keep every level an int64 and the tables small.
const (
	maxWeeks      = 104
	maxColumns    = 64
	maxCandidates = 512
	maxTicks      = 24 * 60 * 4 // a day
	maxHi         = 64
	maxAim        = 1000 // weekly half sets
)

// Check reports a malformed model as an Internal fault that names every flaw.
func (m *Model) Check() error {
	c := fault.NewCollector(fault.Internal)
	bad := func(ok bool, field, says string, args ...any) {
		if !ok {
			c.Add("MALFORMED_MODEL", field, fmt.Sprintf(says, args...))
		}
	}
	bad(m.Weeks >= 1 && m.Weeks <= maxWeeks, "weeks", "%d weeks: 1 to %d", m.Weeks, maxWeeks)
	bad(len(m.Days) >= 1 && len(m.Days) <= maxColumns, "days", "%d days: 1 to %d", len(m.Days), maxColumns)
	bad(len(m.Candidates) <= maxCandidates, "candidates", "%d candidates: at most %d", len(m.Candidates), maxCandidates)
	for i, d := range m.Days {
		f := fmt.Sprintf("days[%d]", i)
		bad(d.Times >= 1 && d.Times <= 7*maxWeeks, f, "%d times: at least 1", d.Times)
		bad(d.Capacity >= 0 && d.Capacity <= maxTicks, f, "capacity %d: 0 to %d ticks", d.Capacity, maxTicks)
		bad(d.MaxExercises >= 0 && d.MaxSets >= 0 && d.MinExercises >= 0, f, "limits must not be negative")
	}
	for i := range m.Candidates {
		m.checkCandidate(i, bad)
	}
	var seen [plan.MuscleCount]bool
	for i, r := range m.Muscles {
		f := fmt.Sprintf("muscles[%d]", i)
		if r.Muscle == 0 || r.Muscle >= plan.MuscleCount {
			bad(false, f, "muscle %d is unknown", r.Muscle)
			continue
		}
		bad(!seen[r.Muscle], f, "%s has a row already", r.Muscle)
		seen[r.Muscle] = true
		for _, v := range [...]plan.HalfSets{r.Wanted, r.Floor, r.DirectWanted, r.MaxWeek, r.MaxSession} {
			bad(v >= 0 && v <= maxAim, f, "%d half sets: 0 to %d", v, maxAim)
		}
		bad(r.Wanted == 0 && r.DirectWanted == 0 || r.Weight >= 1 && r.Weight <= 9, f, "weight %d: 1 to 9", r.Weight)
	}
	for i, w := range m.Patterns {
		bad(w.Wanted >= 0 && w.Wanted <= 100 && w.Weight >= 1 && w.Weight <= 9, fmt.Sprintf("patterns[%d]", i), "%s: wanted %d, weight %d are out of range", w.Name, w.Wanted, w.Weight)
	}
	for i, l := range m.Lifts {
		f := fmt.Sprintf("lifts[%d]", i)
		bad(l.Wanted >= 0 && l.Wanted <= maxAim && l.MinDays >= 0, f, "aims must not be negative or above %d", maxAim)
		bad(l.Wanted == 0 || l.Weight >= 1 && l.Weight <= 9, f, "weight %d: 1 to 9", l.Weight)
	}
	for i, k := range m.Clashes {
		f := fmt.Sprintf("clashes[%d]", i)
		n := int32(len(m.Days))
		bad(k.Muscle < plan.MuscleCount, f, "muscle %d is unknown", k.Muscle)
		bad(k.A >= 0 && k.A < n && k.B >= 0 && k.B < n && k.A != k.B, f, "days %d and %d: two of %d days", k.A, k.B, n)
		bad(k.Cap >= 0, f, "cap %d must not be negative", k.Cap)
	}
	for i, b := range m.Balances {
		for _, p := range append(append([]plan.Pattern(nil), b.Left...), b.Right...) {
			bad(p < plan.PatternCount, fmt.Sprintf("balances[%d]", i), "pattern %d is unknown", p)
		}
	}
	return c.Err()
}

func (m *Model) checkCandidate(i int, bad func(ok bool, field, says string, args ...any)) {
	f := fmt.Sprintf("candidates[%d]", i)
	c := &m.Candidates[i]
	bad(c.MinDays >= 0 && c.MaxDays >= 1 && c.MaxDays >= c.MinDays, f,
		"%s on %d to %d days: at least one, in order", c.ID, c.MinDays, c.MaxDays)
	bad(c.MinSets >= 0 && c.MaxSets >= 0 && (c.MaxSets == 0 || c.MaxSets >= c.MinSets), f,
		"%s with %d to %d sets a week", c.ID, c.MinSets, c.MaxSets)
	bad(c.Lift >= -1 && int(c.Lift) < len(m.Lifts), f, "%s: lift %d is unknown", c.ID, c.Lift)
	bad(c.Preference >= 0 && c.Preference <= 100, f, "%s: preference %d: 0 to 100", c.ID, c.Preference)
	bad(c.Pattern < plan.PatternCount, f, "%s: pattern %d is unknown", c.ID, c.Pattern)
	for _, v := range c.Involve {
		if v >= 0 && v <= 2 {
			continue
		}
		bad(false, f, "%s: involvement %d: 0, 1 or 2", c.ID, v)
	}
	if len(c.Options) != len(m.Days) {
		bad(false, f, "%s has %d options for %d days", c.ID, len(c.Options), len(m.Days))
		return
	}
	for d, o := range c.Options {
		if !o.Allowed || o.sound() {
			continue
		}
		bad(o.Lo >= 1 && o.Hi >= o.Lo && o.Hi <= maxHi, f, "%s, day %d: %d to %d sets: 1 to %d, in order", c.ID, d, o.Lo, o.Hi, maxHi)
		bad(o.PerSet >= 0 && o.PerSet <= maxTicks, f, "%s, day %d: %d ticks a set", c.ID, d, o.PerSet)
		bad(o.Fixed >= -maxTicks && o.Fixed <= maxTicks && o.Fixed+o.PerSet*o.Lo >= 0, f,
			"%s, day %d: fixed %d ticks leave less than no time", c.ID, d, o.Fixed)
	}
}

// sound spares the common case the making of sentences.
func (o *Option) sound() bool {
	return o.Lo >= 1 && o.Hi >= o.Lo && o.Hi <= maxHi && o.PerSet >= 0 && o.PerSet <= maxTicks &&
		o.Fixed >= -maxTicks && o.Fixed <= maxTicks && o.Fixed+o.PerSet*o.Lo >= 0
}

// checkPrior wants the prior in the shape of the model.
func (m *Model) checkPrior(prior *Assignment) error {
	if prior == nil {
		return nil
	}
	ok := len(prior.Sets) == len(m.Candidates)
	for _, r := range prior.Sets {
		ok = ok && len(r) == len(m.Days)
	}
	if ok {
		return nil
	}
	return fault.New(fault.Internal, "MALFORMED_PRIOR", "prior",
		fmt.Sprintf("the prior must have %d candidates by %d days", len(m.Candidates), len(m.Days)))
}
