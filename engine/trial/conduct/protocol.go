package conduct

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/match"
	"github.com/phasewright/phasewright/engine/trial/sequential"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Protocol is what is fixed before the first arm is drawn. Quantities of an outcome are
// whole thousandths of its unit, so that the hash is the same on every machine.
type Protocol struct {
	ID       string        `json:"id"`
	Title    string        `json:"title"`
	Question string        `json:"question"`
	UnitOf   string        `json:"unit_of"` // "athlete", "coach" or "gym"
	Arms     []Arm         `json:"arms"`    // the first is what the others are compared with
	Rule     plan.Equating `json:"rule"`
	LeadIn   int32         `json:"lead_in_weeks"`     // alike in all arms, before the assignment
	Before   *plan.Plan    `json:"lead_in,omitempty"` // what is trained in them; nil: the engine chooses
	Weeks    int32         `json:"weeks"`             // after it
	Eligible Eligible      `json:"eligible"`
	Outcomes []Outcome     `json:"outcomes"` // the first is what the trial decides
	Tests    Tests         `json:"tests"`
	Scheme   Scheme        `json:"scheme"`
	Analysis Analysis      `json:"analysis"`
}

// Arm is one of those compared.
type Arm struct {
	ID    string    `json:"id"`
	Name  string    `json:"name"`
	Says  string    `json:"says,omitempty"` // with the versions of strategies
	Ratio int       `json:"ratio"`
	Plan  plan.Plan `json:"plan"`
	// HeavyLow tells that the arm has sets of one to three repetitions.
	HeavyLow bool `json:"sets_of_one_to_three,omitempty"`
}

// Eligible is who may join. What is zero is not asked.
type Eligible struct {
	// Lift has to be at least RatioPermille of body mass: "back-squat", 1500.
	Lift          string   `json:"lift,omitempty"`
	RatioPermille int32    `json:"ratio_permille,omitempty"`
	Months        int32    `json:"training_months,omitempty"`
	Also          []string `json:"also,omitempty"` // in words, judged by people
}

// Facts are what eligibility is judged by; unset is not known.
type Facts struct {
	Lift, BodyMass plan.Opt[plan.Load]
	Months         plan.Opt[int32]
}

// Outcome is something that is measured before the assignment and at the end.
type Outcome struct {
	ID       string `json:"id"`
	Name     string `json:"name"`
	Unit     string `json:"unit"`
	Method   string `json:"method"`
	OneRM    bool   `json:"one_rm,omitempty"`
	Mid      bool   `json:"mid,omitempty"` // measured in the middle too
	Smallest int64  `json:"smallest"`      // effect of interest
	// Possible are the least and the most that can be, for what is missing.
	Possible     *[2]int64 `json:"possible,omitempty"`
	TypicalError int64     `json:"typical_error,omitempty"` // as published; repeats go before it
	Prior        *Prior    `json:"prior,omitempty"`
}

// Prior is what is thought of the effect beforehand: normal.
type Prior struct {
	Mean int64 `json:"mean"`
	SD   int64 `json:"sd"`
}

// Tests are how measurements are made.
type Tests struct {
	FromHours       int32 `json:"from_hours"` // after the last session
	ToHours         int32 `json:"to_hours"`
	Familiarisation int32 `json:"familiarisation"` // sessions in which the test is learnt
}

// Scheme is how arms are drawn: assign.Design without trial and arms.
type Scheme struct {
	Kind        assign.Scheme      `json:"kind"`
	Factors     []string           `json:"factors,omitempty"`
	Covariates  []string           `json:"covariates,omitempty"`
	Blocks      []int              `json:"blocks,omitempty"`
	Criterion   match.Criterion    `json:"criterion,omitempty"`
	Sequential  assign.Sequential  `json:"sequential,omitzero"`
	Minimise    assign.Minimise    `json:"minimise,omitzero"`
	Rerandomise assign.Rerandomise `json:"rerandomise,omitzero"`
}

// Analysis is how the answer is found.
type Analysis struct {
	LevelPermille int32  `json:"level_permille"` // of intervals: 950
	Draws         int    `json:"draws"`          // of the randomisation test
	Seed          uint64 `json:"seed"`
	// Looks before the end: how error is spent, and the standard error that the trial is
	// planned to end with, in thousandths of the first outcome's unit. 0: no looks.
	Spending  sequential.Spending `json:"spending,omitempty"`
	PlannedSE int64               `json:"planned_se,omitempty"`
}

// Design is what assign works by.
func (p *Protocol) Design() assign.Design {
	s := &p.Scheme
	d := assign.Design{
		Trial: p.ID, Scheme: s.Kind, Factors: s.Factors, Covariates: s.Covariates, Blocks: s.Blocks,
		Criterion: s.Criterion, Sequential: s.Sequential, Minimise: s.Minimise, Rerandomise: s.Rerandomise,
	}
	for _, a := range p.Arms {
		d.Arms = append(d.Arms, assign.Arm{ID: a.ID, Ratio: a.Ratio})
	}
	return d
}

func thousandths(x int64) float64 { return float64(x) / 1000 }

// Rules is how analyse looks at an outcome.
func (p *Protocol) Rules(outcome int) analyse.Rules {
	o := &p.Outcomes[outcome]
	r := analyse.Rules{
		Level: float64(p.Analysis.LevelPermille) / 1000, Smallest: thousandths(o.Smallest),
		Draws: p.Analysis.Draws, Seed: p.Analysis.Seed + uint64(outcome),
	}
	if v := o.Possible; v != nil {
		r.Range = plan.Some([2]float64{thousandths(v[0]), thousandths(v[1])})
	}
	if v := o.Prior; v != nil {
		r.Prior = stat.Plain(stat.Normal{Mean: thousandths(v.Mean), SD: thousandths(v.SD)})
	}
	return r
}

// Hash is the digest of the canonical encoding.
func (p *Protocol) Hash() (string, error) {
	d, err := plan.DigestOf(p)
	if err != nil {
		return "", fault.Wrap(fault.Internal, ReasonProtocol, err)
	}
	return d, nil
}

// Check says what is wrong with a protocol, all at once, as an Invalid fault.
func (p *Protocol) Check() error {
	c := fault.NewCollector(fault.Invalid)
	add := func(field, format string, args ...any) {
		c.Add(ReasonProtocol, field, fmt.Sprintf(format, args...))
	}
	for _, x := range [...]struct{ field, text string }{{"title", p.Title}, {"question", p.Question}} {
		if x.text == "" {
			add(x.field, "is empty; want a sentence")
		}
	}
	if !slices.Contains([]string{"athlete", "coach", "gym"}, p.UnitOf) {
		add("unit_of", "is %q; want athlete, coach or gym", p.UnitOf)
	}
	if p.Rule <= plan.EquateUnspecified || p.Rule >= plan.EquatingCount {
		add("rule", "is not said; want what is equal between arms, such as hard sets, or that nothing is")
	}
	if p.LeadIn < 0 || p.LeadIn > 12 {
		add("lead_in_weeks", "are %d; want 0 to 12", p.LeadIn)
	}
	if p.Before != nil && p.LeadIn == 0 {
		add("lead_in", "is a plan for no weeks; want lead_in_weeks of 1 to 12, or no plan")
	}
	if p.Weeks < 2 || p.Weeks > 52 {
		add("weeks", "are %d; want 2 to 52", p.Weeks)
	}
	p.checkArms(add)
	p.checkOutcomes(add)
	p.checkRest(add)
	if err := c.Err(); err != nil {
		return err
	}
	d := p.Design()
	return fault.Within("scheme", d.Check())
}

type adder func(field, format string, args ...any)

func (p *Protocol) checkArms(add adder) {
	if n := len(p.Arms); n < 2 || n > assign.MostArms {
		add("arms", "are %d; want 2 to %d", n, assign.MostArms)
	}
	for i, a := range p.Arms {
		at := fmt.Sprintf("arms[%d]", i)
		if a.ID == "" || slices.IndexFunc(p.Arms, func(b Arm) bool { return b.ID == a.ID }) < i {
			add(at+".id", "is %q; want one of its own", a.ID)
		}
		if a.Name == "" {
			add(at+".name", "is empty; want what people call the arm")
		}
		if a.Ratio < 1 || a.Ratio > 9 {
			add(at+".ratio", "is %d; want 1 to 9", a.Ratio)
		}
	}
}

// most is the largest quantity, in thousandths.
const most = 1_000_000_000

func (p *Protocol) checkOutcomes(add adder) {
	if len(p.Outcomes) == 0 || len(p.Outcomes) > 20 {
		add("outcomes", "are %d; want the one that decides, and at most 20", len(p.Outcomes))
	}
	for i, o := range p.Outcomes {
		at := fmt.Sprintf("outcomes[%d]", i)
		if !slug(o.ID) || slices.IndexFunc(p.Outcomes, func(b Outcome) bool { return b.ID == o.ID }) < i {
			add(at+".id", "is %q; want letters, digits, - and _, once", o.ID)
		}
		for _, x := range [...]struct{ field, text string }{{".name", o.Name}, {".unit", o.Unit}, {".method", o.Method}} {
			if x.text == "" {
				add(at+x.field, "is empty")
			}
		}
		if o.Smallest <= 0 || o.Smallest > most {
			add(at+".smallest", "is %d; want thousandths of %s, above 0: the smallest effect that would matter", o.Smallest, o.Unit)
		}
		if v := o.Possible; v != nil && !(v[0] < v[1] && v[0] >= -most && v[1] <= most) {
			add(at+".possible", "is %v; want the least first", *v)
		}
		if o.TypicalError < 0 || o.TypicalError > most {
			add(at+".typical_error", "is %d; want 0 (not known) or more", o.TypicalError)
		}
		if v := o.Prior; v != nil && (v.SD <= 0 || v.SD > most || v.Mean < -most || v.Mean > most) {
			add(at+".prior", "is %+v; want an SD above 0, in thousandths of %s", *v, o.Unit)
		}
	}
}

func (p *Protocol) checkRest(add adder) {
	if e := p.Eligible; (e.Lift == "") != (e.RatioPermille == 0) || e.RatioPermille < 0 || e.RatioPermille > 10_000 {
		add("eligible.ratio_permille", "is %g for lift %q; want both or none, such as 1.5 for back-squat", float64(e.RatioPermille)/1000, e.Lift)
	}
	if m := p.Eligible.Months; m < 0 || m > 600 {
		add("eligible.training_months", "are %d; want 0 (not asked) to 600", m)
	}
	if t := p.Tests; t.FromHours < 24 || t.ToHours < t.FromHours || t.ToHours > 336 {
		add("tests", "are %d to %d hours after the last session; want at least 24, such as 48 to 96", t.FromHours, t.ToHours)
	}
	if f := p.Tests.Familiarisation; f < 0 || f > 20 {
		add("tests.familiarisation", "is %d sessions; want 0 to 20", f)
	}
	a := p.Analysis
	if a.LevelPermille <= 500 || a.LevelPermille >= 1000 {
		add("analysis.level_permille", "is %d; want 501 to 999, such as 950", a.LevelPermille)
	}
	if a.Draws < 99 || a.Draws > 1_000_000 {
		add("analysis.draws", "are %d; want 99 to 1000000, such as %d", a.Draws, stat.DefaultDraws)
	}
	if a.PlannedSE < 0 || a.PlannedSE > most {
		add("analysis.planned_se", "is %d; want 0 (no looks) or more", a.PlannedSE)
	}
	if a.PlannedSE > 0 && len(p.Arms) != 2 {
		add("analysis.planned_se", "asks for looks, which are for two arms")
	}
}

func slug(s string) bool {
	for _, r := range s {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_') {
			return false
		}
	}
	return s != ""
}

// Excludes says why someone may not join, one sentence a reason. What is asked and not
// known excludes. What is asked in words only is left to people.
func (e Eligible) Excludes(f Facts) []string {
	var out []string
	if e.RatioPermille > 0 {
		switch {
		case !f.Lift.Set || !f.BodyMass.Set:
			out = append(out, fmt.Sprintf("%s or body mass is not known", e.Lift))
		case f.Lift.Value.Unit != f.BodyMass.Value.Unit:
			out = append(out, fmt.Sprintf("%s and body mass are in different units", e.Lift))
		case f.Lift.Value.Milli*1000 < f.BodyMass.Value.Milli*int64(e.RatioPermille):
			out = append(out, fmt.Sprintf("%s below %g times body mass", e.Lift, float64(e.RatioPermille)/1000))
		}
	}
	if e.Months > 0 {
		switch {
		case !f.Months.Set:
			out = append(out, "training age is not known")
		case f.Months.Value < e.Months:
			out = append(out, fmt.Sprintf("trained for less than %d months", e.Months))
		}
	}
	return out
}

// Warnings are what a reader of the protocol should know beforehand.
func (p *Protocol) Warnings() ([]string, error) {
	d := p.Design()
	guess, err := d.Predict()
	if err != nil {
		return nil, err
	}
	out := []string{guess.Says}
	for _, a := range p.Arms {
		for _, o := range p.Outcomes {
			if a.HeavyLow && o.OneRM {
				out = append(out, fmt.Sprintf("%s has sets of one to three repetitions and so practises the test of %s.", a.Name, o.Name))
			}
		}
	}
	if p.Tests.Familiarisation == 0 {
		out = append(out, "The test is not learnt beforehand: part of every change will be learning it.")
	}
	for _, o := range p.Outcomes {
		if o.TypicalError == 0 {
			out = append(out, fmt.Sprintf("The typical error of %s is not stated: measure some twice.", o.Name))
		}
	}
	if p.UnitOf != "athlete" {
		out = append(out, fmt.Sprintf("Whole groups of a %s are dealt: the trial is as large as these, not as its athletes.", p.UnitOf))
	}
	return append(out, "Research with people may need ethics review and consent under the law of the place."), nil
}
