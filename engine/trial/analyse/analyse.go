package analyse

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Report is the answer of a trial.
type Report struct {
	Flow     []Flow      // by arm
	Answers  []Answer    // of arm 1, 2 ... against arm 0
	Overall  *stat.FTest // that all arms are alike; nil with two arms or refused
	Adjusted []float64   // P of the answers by Holm, where there are several
	Refused  []Refusal   // parts without an answer, and why
	Notes    []string    // what a reader has to know of how this came about
}

// Flow is how many units an arm had and kept.
type Flow struct {
	Arm                        string
	Assigned, Measured, Absent int // Absent: without an outcome
	NoBaseline, Kept           int
	Mean, SD                   float64 // of the outcomes measured
	Baseline, BaselineSD       float64
}

// Refusal is a part that can't be computed.
type Refusal struct{ Part, Reason, Says string }

// Answer compares one arm with arm 0. Parts that were refused are nil.
type Answer struct {
	Arm           string
	Primary       *stat.Estimate      // intention to treat, baseline and design held equal
	Robust        *stat.Estimate      // the same without equal variances
	Slope         *stat.Estimate      // of the baseline
	Simple        *stat.Estimate      // paired t for pairs, else Welch, of the outcome alone
	Randomisation *stat.Randomisation // no distribution assumed
	Standardised  *stat.Effect        // unadjusted, in SDs
	Equivalence   *stat.Equivalence   // against the smallest effect of interest
	Belief        *stat.Belief        // from the stated prior
	Kept          *stat.Estimate      // those who kept to the protocol: a supplement, open to bias
	Singles       *stat.Intercepts    // pairs with members missing: everyone, by a random level
	Worst         *stat.Worst         // bounds over all values the missing could have had
	Spread        *stat.ResponseSpread
	Reading       Reading
}

// Reading is what the interval says against the smallest effect of interest.
type Reading uint8

// Readings; more of the outcome is up.
const (
	NoReading   Reading = iota
	Undecided           // the interval holds no effect and a worthwhile one alike
	Alike               // no worthwhile effect either way
	Higher              // above 0; whether worthwhile is open
	HigherWorth         // at least the smallest effect of interest
	Lower
	LowerWorth
)

// Read places an interval against the smallest effect of interest.
func Read(low, high, smallest float64) Reading {
	switch {
	case low >= smallest:
		return HigherWorth
	case high <= -smallest:
		return LowerWorth
	case low > -smallest && high < smallest:
		return Alike
	case low > 0:
		return Higher
	case high < 0:
		return Lower
	}
	return Undecided
}

// String gives a plain sentence.
func (r Reading) String() string {
	return [...]string{
		"No answer.",
		"Undecided: a worthwhile difference is possible, and so is none.",
		"Alike: a difference that would matter is unlikely in either direction.",
		"Higher, but whether by enough to matter is open.",
		"Higher by at least the smallest difference that matters.",
		"Lower, but whether by enough to matter is open.",
		"Lower by at least the smallest difference that matters.",
	}[r]
}

type analysis struct {
	data  *Data
	rules Rules
	out   *Report
}

// Analyse makes the report. Data or rules that can't be are Invalid faults; everything
// else is in the report.
func Analyse(d *Data, r Rules) (*Report, error) {
	if err := r.Check(); err != nil {
		return nil, fault.Within("rules", err)
	}
	if err := d.check(); err != nil {
		return nil, err
	}
	a := &analysis{d, r, &Report{}}
	a.flow()
	all := d.frame(func(int) bool { return true })
	kept := d.frame(func(i int) bool { return len(d.Kept) == 0 || d.Kept[i] })
	a.notes(all)
	if len(d.Design.Arms) > 2 {
		if f, err := stat.Ancova(all.in, r.Level); a.ok("overall", err) {
			a.out.Overall = &f.Overall
		}
	}
	for arm := 1; arm < len(d.Design.Arms); arm++ {
		a.out.Answers = append(a.out.Answers, a.answer(arm, all.twoArms(arm), kept.twoArms(arm)))
	}
	a.adjust()
	return a.out, nil
}

// ok notes a refusal; false when the part has no answer.
func (a *analysis) ok(part string, err error) bool {
	if err == nil {
		return true
	}
	r := Refusal{Part: part, Says: err.Error()}
	if f, is := fault.As(err); is && len(f.Violations) > 0 {
		v := f.Violations[0]
		r.Reason, r.Says = v.Reason, v.Field+" "+v.Says
	}
	a.out.Refused = append(a.out.Refused, r)
	return false
}

func (a *analysis) flow() {
	for k, arm := range a.data.Design.Arms {
		f := Flow{Arm: arm.ID}
		var y, x []float64
		for i, s := range a.data.Assigned {
			if s.Arm != k {
				continue
			}
			f.Assigned++
			if o := a.data.Outcome[i]; o.Set {
				f.Measured++
				y = append(y, o.Value)
			}
			if b := a.data.Baseline[i]; b.Set {
				x = append(x, b.Value)
			} else {
				f.NoBaseline++
			}
			if len(a.data.Kept) > 0 && a.data.Kept[i] {
				f.Kept++
			}
		}
		f.Absent = f.Assigned - f.Measured
		if s, err := stat.Summarise(y); err == nil {
			f.Mean, f.SD = s.Mean, s.SD
		}
		if s, err := stat.Summarise(x); err == nil {
			f.Baseline, f.BaselineSD = s.Mean, s.SD
		}
		a.out.Flow = append(a.out.Flow, f)
	}
}

func (a *analysis) notes(f *frame) {
	note := func(format string, args ...any) { a.out.Notes = append(a.out.Notes, fmt.Sprintf(format, args...)) }
	absent := 0
	for _, x := range a.out.Flow {
		absent += x.Absent
	}
	if absent > 0 {
		note("No outcome of %d of %d. The answer is of those measured; it holds for all only if the missing are like them.", absent, len(a.data.Units))
	}
	if f.filled > 0 {
		note("Baselines missing, and set to the mean of all: %d.", f.filled)
	}
	if f.noBase {
		note("No baseline was recorded: nothing is held equal by it, and the answer is less sure for that.")
	}
	if f.paired {
		if x, _ := f.pairs(); 2*len(x) < len(f.rows) {
			note("Measured without a measured partner: %d. The comparison within pairs leaves them out; the model with a random level for each pair keeps them.", len(f.rows)-2*len(x))
		}
	}
	if n := len(f.rows); n > 0 && n < 100 {
		note("Only %d were measured: an effect found is likely to look larger than it is, and one not found may still be there.", n)
	}
}

func (a *analysis) answer(arm int, f, kept *frame) Answer {
	level, id := a.rules.Level, a.data.Design.Arms[arm].ID
	out := Answer{Arm: id}
	part := func(s string) string { return id + ": " + s }
	if v, err := stat.Ancova(f.in, level); a.ok(part("primary"), err) {
		out.Primary, out.Robust = &v.Effects[0], &v.Robust[0]
		if !f.noBase && len(v.Slopes) > 0 && (len(v.Dropped) == 0 || v.Dropped[0] != 0) {
			out.Slope = &v.Slopes[0]
		}
		out.Reading = Read(v.Effects[0].Low, v.Effects[0].High, a.rules.Smallest)
		a.judge(&out, part)
	}
	a.simple(&out, f, part)
	a.randomise(&out, arm, f, part)
	if len(a.data.Kept) > 0 {
		if v, err := stat.Ancova(kept.in, level); a.ok(part("kept to protocol"), err) {
			out.Kept = &v.Effects[0]
		}
	}
	a.singles(&out, f, part)
	a.worst(&out, arm, f, part)
	return out
}

// judge sets the primary answer against the smallest effect of interest.
func (a *analysis) judge(out *Answer, part func(string) string) {
	e := out.Primary
	if v, err := stat.TOST(*e, -a.rules.Smallest, a.rules.Smallest, 1-a.rules.Level); a.ok(part("equivalence"), err) {
		out.Equivalence = &v
	}
	if len(a.rules.Prior) == 0 {
		return
	}
	if post, err := a.rules.Prior.Posterior(e.Value, e.SE); a.ok(part("belief"), err) {
		b := post.Believe(a.rules.Smallest, a.rules.Level)
		out.Belief = &b
	}
}

func (a *analysis) simple(out *Answer, f *frame, part func(string) string) {
	level := a.rules.Level
	if f.paired {
		x, y := f.pairs()
		if v, err := stat.Paired(y, x, level); a.ok(part("simple"), err) {
			out.Simple = &v
		}
	}
	zero, err0 := stat.Summarise(f.arm(0))
	one, err1 := stat.Summarise(f.arm(1))
	if !a.ok(part("standardised"), err0) || !a.ok(part("standardised"), err1) {
		return
	}
	if v, err := stat.StandardisedDifference(one, zero, level); a.ok(part("standardised"), err) {
		out.Standardised = &v
	}
	if !f.paired {
		if v, err := stat.Welch(one, zero, level); a.ok(part("simple"), err) {
			out.Simple = &v
		}
	}
	var change [2][]float64
	for _, i := range f.rows {
		if b := a.data.Baseline[i]; b.Set {
			k := min(1, a.data.Assigned[i].Arm)
			change[k] = append(change[k], a.data.Outcome[i].Value-b.Value)
		}
	}
	c0, err0 := stat.Summarise(change[0])
	c1, err1 := stat.Summarise(change[1])
	if err0 != nil || err1 != nil {
		return // no baseline: noted
	}
	if v, err := stat.CompareSpread(c1.SD, c1.N, c0.SD, c0.N, level); a.ok(part("spread of changes"), err) {
		out.Spread = &v
	}
}

func (a *analysis) randomise(out *Answer, arm int, f *frame, part func(string) string) {
	d := a.data
	if len(d.Design.Arms) > 2 {
		a.ok(part("randomisation"), fault.New(fault.Infeasible, ReasonRules, "arms", "are more than two: the test of the drawing compares two"))
		return
	}
	ref, err := assign.NewReference(d.Design, d.Units, d.Assigned)
	if !a.ok(part("randomisation"), err) {
		return
	}
	// What is held equal must not depend on the arms drawn; pairs, strata, levels and
	// baselines don't.
	c, err := stat.NewContrast(f.rows, f.in.Y, f.in.Covariates, f.in.Group, a.rules.Student)
	if !a.ok(part("randomisation"), err) {
		return
	}
	observed := make([]int, len(d.Assigned))
	for i, s := range d.Assigned {
		observed[i] = s.Arm
	}
	v, err := stat.TestAssignment(ref, observed, c, a.rules.Draws, draw.Fast(a.rules.Seed, uint64(arm)), a.rules.Level)
	if a.ok(part("randomisation"), err) {
		out.Randomisation = v
	}
}

func (a *analysis) singles(out *Answer, f *frame, part func(string) string) {
	if !f.paired {
		return
	}
	if x, _ := f.pairs(); 2*len(x) == len(f.rows) {
		return
	}
	w := make([]float64, len(f.rows))
	for i, x := range f.in.Arm {
		w[i] = float64(x)
	}
	m := stat.Model{Y: f.in.Y, Columns: append([][]float64{w}, f.in.Covariates...), Group: f.in.Group}
	if v, err := stat.RandomIntercepts(m); a.ok(part("singles of pairs"), err) {
		out.Singles = v
	}
}

func (a *analysis) worst(out *Answer, arm int, f *frame, part func(string) string) {
	if !a.rules.Range.Set {
		return
	}
	missing := [2]int{a.out.Flow[0].Absent, a.out.Flow[arm].Absent}
	if missing[0]+missing[1] == 0 {
		return
	}
	r := a.rules.Range.Value
	v, err := stat.WorstCase([2][]float64{f.arm(0), f.arm(1)}, missing, r[0], r[1])
	if a.ok(part("worst case"), err) {
		out.Worst = &v
	}
}

// adjust makes the p-values of several answers answer for all.
func (a *analysis) adjust() {
	if len(a.out.Answers) < 2 {
		return
	}
	var ps []float64
	for _, x := range a.out.Answers {
		p := 1.0 // a refused answer rejects nothing
		if x.Primary != nil && !math.IsNaN(x.Primary.P) {
			p = x.Primary.P
		}
		ps = append(ps, p)
	}
	if v, err := stat.Adjust(stat.Holm, ps); a.ok("adjusted p-values", err) {
		a.out.Adjusted = v
	}
}

// Primary is the first answer alone, of an arm against arm 0, for simulation.
func Primary(d *Data, arm int, level float64) (stat.Estimate, error) {
	v, err := stat.Ancova(d.frame(func(int) bool { return true }).twoArms(arm).in, level)
	if err != nil {
		return stat.Estimate{}, err
	}
	return v.Effects[0], nil
}
