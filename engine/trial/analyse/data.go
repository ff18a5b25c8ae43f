package analyse

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Reasons of faults.
const (
	ReasonData  = "ANALYSE_DATA"
	ReasonRules = "ANALYSE_RULES"
)

// Data is what was randomised and measured. The lists have one entry for each unit, in
// order of enrolment.
type Data struct {
	Design   assign.Design
	Units    []assign.Unit
	Assigned []assign.Assignment
	Baseline []plan.Opt[float64] // of the outcome, before assignment
	Outcome  []plan.Opt[float64] // unset: missing
	// Kept tells who kept to the protocol, by its own definition; empty: not recorded.
	Kept []bool
}

// Rules are the analysis plan, frozen with the protocol.
type Rules struct {
	Level    float64 // of intervals: 0.95
	Smallest float64 // smallest effect of interest in the outcome's unit, above 0
	// Range is what values the outcome can have at all, for the worst case of missing
	// ones; unset: no worst case.
	Range   plan.Opt[[2]float64]
	Prior   stat.Mixture // of the effect in the outcome's unit; empty: no posterior
	Draws   int          // of the randomisation test where it can't list: 9999
	Seed    uint64       // of these
	Student bool         // the test's statistic over its standard error
}

// Check says what is wrong with an analysis plan.
func (r Rules) Check() error {
	c := fault.NewCollector(fault.Invalid)
	if !(r.Level > 0.5 && r.Level < 1) {
		c.Add(ReasonRules, "level", fmt.Sprintf("is %v; want more than 0.5 and less than 1, such as 0.95", r.Level))
	}
	if !(r.Smallest > 0) || math.IsInf(r.Smallest, 0) {
		c.Add(ReasonRules, "smallest", fmt.Sprintf("is %v; want the smallest effect that would matter, above 0", r.Smallest))
	}
	if r.Draws < 99 || r.Draws > 1_000_000 {
		c.Add(ReasonRules, "draws", fmt.Sprintf("are %d; want 99 to 1000000, such as %d", r.Draws, stat.DefaultDraws))
	}
	if v := r.Range; v.Set && !(v.Value[0] < v.Value[1]) {
		c.Add(ReasonRules, "range", fmt.Sprintf("is %v; want the lower end first", v.Value))
	}
	for i, p := range r.Prior {
		if !(p.SD > 0) || !(p.Weight >= 0) || math.IsNaN(p.Mean) {
			c.Add(ReasonRules, fmt.Sprintf("prior[%d]", i), "wants a mean, an SD above 0 and no negative weight")
		}
	}
	return c.Err()
}

func (d *Data) check() error {
	if err := d.Design.Check(); err != nil {
		return fault.Within("design", err)
	}
	c := fault.NewCollector(fault.Invalid)
	n := len(d.Units)
	for field, got := range map[string]int{"assigned": len(d.Assigned), "baseline": len(d.Baseline), "outcome": len(d.Outcome)} {
		if got != n {
			c.Add(ReasonData, field, fmt.Sprintf("has %d entries; want %d, one for each unit", got, n))
		}
	}
	if len(d.Kept) != 0 && len(d.Kept) != n {
		c.Add(ReasonData, "kept", fmt.Sprintf("has %d entries; want none or %d", len(d.Kept), n))
	}
	if err := c.Err(); err != nil {
		return err
	}
	for i, a := range d.Assigned {
		if a.Unit != d.Units[i].ID || a.Arm < 0 || a.Arm >= len(d.Design.Arms) {
			c.Add(ReasonData, fmt.Sprintf("assigned[%d]", i), fmt.Sprintf("is of %q to arm %d; want unit %q and a known arm", a.Unit, a.Arm, d.Units[i].ID))
		}
	}
	for field, list := range map[string][]plan.Opt[float64]{"baseline": d.Baseline, "outcome": d.Outcome} {
		for i, v := range list {
			if v.Set && (math.IsNaN(v.Value) || math.Abs(v.Value) > 1e9) {
				c.Add(ReasonData, fmt.Sprintf("%s[%d]", field, i), fmt.Sprintf("is %v; want a number of at most 1e9", v.Value))
			}
		}
	}
	return c.Err()
}

// Member is an athlete of a cluster.
type Member struct {
	Unit              string // the cluster
	Baseline, Outcome plan.Opt[float64]
}

// Average gives the units' means over their members who were measured, in the order of
// units, and how many outcomes each mean has. A member of no unit is an Invalid fault.
func Average(units []assign.Unit, members []Member) (baseline, outcome []plan.Opt[float64], n []int, err error) {
	at := map[string]int{}
	for i, u := range units {
		at[u.ID] = i
	}
	sums := make([][2]float64, len(units))
	counts := make([][2]int, len(units))
	for i, m := range members {
		k, in := at[m.Unit]
		if !in {
			return nil, nil, nil, fault.New(fault.Invalid, ReasonData, fmt.Sprintf("members[%d].unit", i), fmt.Sprintf("is %q; want an enrolled unit", m.Unit))
		}
		for j, v := range [2]plan.Opt[float64]{m.Baseline, m.Outcome} {
			if v.Set {
				sums[k][j] += v.Value
				counts[k][j]++
			}
		}
	}
	mean := func(k, j int) plan.Opt[float64] {
		if counts[k][j] == 0 {
			return plan.Opt[float64]{}
		}
		return plan.Some(sums[k][j] / float64(counts[k][j]))
	}
	for k := range units {
		baseline, outcome = append(baseline, mean(k, 0)), append(outcome, mean(k, 1))
		n = append(n, counts[k][1])
	}
	return baseline, outcome, n, nil
}
