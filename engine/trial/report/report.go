package report

import (
	"encoding/json"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Report is every number of a trial, rounded to six significant digits. Lists by arm are
// in the order of Arms. What does not exist is left out.
type Report struct {
	Title      string      `json:"title"`
	Question   string      `json:"question"`
	UnitOf     string      `json:"unit_of"`
	Scheme     string      `json:"scheme"`
	Arms       []ArmNamed  `json:"arms"`
	Flow       Flow        `json:"flow"`
	Start      []Start     `json:"start"`
	Outcomes   []Result    `json:"outcomes"`
	Adherence  []Adherence `json:"adherence"`
	Harm       []Harm      `json:"harm"`
	Events     []Happened  `json:"events,omitempty"`
	Looks      []Looked    `json:"looks,omitempty"`
	Versions   []Protocol  `json:"protocol"`
	Commitment string      `json:"commitment,omitempty"`
	Verified   bool        `json:"verified"`
	Warnings   []string    `json:"warnings,omitempty"`
	Ended      string      `json:"ended,omitempty"`
	Cautions   []string    `json:"cautions"`
}

// ArmNamed is an arm.
type ArmNamed struct {
	ID       string `json:"id"`
	Name     string `json:"name"`
	Says     string `json:"says"`
	HeavyLow bool   `json:"sets_of_one_to_three"`
}

// Result is what one outcome shows.
type Result struct {
	ID           string       `json:"id"`
	Name         string       `json:"name"`
	Unit         string       `json:"unit"`
	Method       string       `json:"method"`
	OneRM        bool         `json:"one_rm,omitempty"`
	Main         bool         `json:"main"`
	Level        float64      `json:"level"`
	Smallest     float64      `json:"smallest_of_interest"`
	TypicalError *float64     `json:"typical_error,omitempty"`
	Reliability  *Reliability `json:"reliability,omitempty"`
	Detectable   *float64     `json:"minimal_detectable_change,omitempty"`
	Blind        int          `json:"assessed_blind"`
	Open         int          `json:"assessed_open"`
	Arms         []Course     `json:"arms"`
	Changes      []Change     `json:"changes"`
	Answers      []Answer     `json:"answers"`
	Overall      *FTest       `json:"all_arms_alike,omitempty"`
	Notes        []string     `json:"notes,omitempty"`
	Refused      []Refusal    `json:"refused,omitempty"`
}

// Course is how an outcome went in an arm, over the athletes measured.
type Course struct {
	Arm      string   `json:"arm"`
	Baseline *Summary `json:"baseline,omitempty"`
	Mid      *Summary `json:"mid,omitempty"`
	End      *Summary `json:"end,omitempty"`
	Change   *Summary `json:"change,omitempty"` // of those with both
}

// Summary is of a sample; with one value there is no SD.
type Summary struct {
	N    int      `json:"n"`
	Mean float64  `json:"mean"`
	SD   *float64 `json:"sd,omitempty"`
}

// Change is one athlete's way from baseline to end. It says nothing of whether the arm
// suits the athlete.
type Change struct {
	Participant string  `json:"participant"`
	Arm         int     `json:"arm"`
	Baseline    float64 `json:"baseline"`
	End         float64 `json:"end"`
}

// Refusal is a part that has no answer.
type Refusal struct {
	Part   string `json:"part"`
	Reason string `json:"reason"`
	Says   string `json:"says"`
}

// Looked is one analysis of several.
type Looked struct {
	On       string   `json:"on"`
	Share    float64  `json:"information"`
	Estimate Estimate `json:"estimate"`
	Low      float64  `json:"low"` // of an interval that holds at all looks together
	High     float64  `json:"high"`
	Z        float64  `json:"z"`
	Bound    float64  `json:"bound"`
	Crossed  bool     `json:"crossed"`
	Spent    float64  `json:"alpha_spent"`
	Says     string   `json:"says"`
}

// Protocol is one version of it.
type Protocol struct {
	Number       int    `json:"number"`
	On           string `json:"on"`
	Hash         string `json:"hash"`
	Reason       string `json:"reason,omitempty"`
	OutcomesSeen bool   `json:"outcomes_seen"`
}

// Make brings a trial's numbers together. An input that contradicts itself is an Invalid
// fault that names the field.
func Make(in *Input) (*Report, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	r := &Report{
		Title: in.Title, Question: in.Question, UnitOf: in.UnitOf, Scheme: in.Design.Scheme.String(),
		Flow: in.flow(), Start: in.start(), Adherence: in.adherence(), Harm: in.harm(), Events: in.happened(),
		Commitment: in.Commitment, Verified: in.Verified, Warnings: in.Warnings, Ended: in.Ended, Cautions: cautions(in),
	}
	for i, a := range in.Arms {
		r.Arms = append(r.Arms, ArmNamed{in.Design.Arms[i].ID, a.Name, a.Says, a.HeavyLow})
	}
	for k := range in.Outcomes {
		r.Outcomes = append(r.Outcomes, in.result(k))
	}
	if err := r.adjust(); err != nil {
		return nil, err
	}
	for _, l := range in.Looks {
		r.Looks = append(r.Looks, Looked{
			On: l.On.String(), Share: round(l.Share), Estimate: *Rounded(&l.Estimate), Low: round(l.Low), High: round(l.High),
			Z: round(l.Z), Bound: round(l.Bound), Crossed: l.Crossed, Spent: round(l.Spent), Says: l.Says,
		})
	}
	for _, v := range in.Versions {
		r.Versions = append(r.Versions, Protocol{v.Number, v.On.String(), v.Hash, v.Reason, v.OutcomesSeen})
	}
	return r, nil
}

// JSON is every number, indented.
func (r *Report) JSON() ([]byte, error) {
	out, err := json.MarshalIndent(r, "", "  ")
	if err != nil {
		return nil, fault.Wrap(fault.Internal, ReasonInput, err)
	}
	return append(out, '\n'), nil
}

func (in *Input) result(k int) Result {
	o := &in.Outcomes[k]
	out := Result{
		ID: o.ID, Name: o.Name, Unit: o.Unit, Method: o.Method, OneRM: o.OneRM, Main: k == 0,
		Level: o.Rules.Level, Smallest: o.Rules.Smallest, Blind: o.Blind, Open: o.Open, Notes: o.Analysis.Notes,
	}
	if o.TypicalError.Set {
		out.TypicalError = rounded(o.TypicalError.Value)
		out.Detectable = rounded(stat.MinimalDetectableChange(o.TypicalError.Value, o.Rules.Level))
	}
	out.Reliability = reliability(o.Reliability)
	out.Arms, out.Changes = in.courses(k)
	for i := range o.Analysis.Answers {
		a := answer(&o.Analysis.Answers[i])
		a.Arm, a.Against = i+1, 0
		if len(o.Analysis.Adjusted) > 0 {
			a.AcrossArms = rounded(o.Analysis.Adjusted[i])
		}
		out.Answers = append(out.Answers, a)
	}
	if f := o.Analysis.Overall; f != nil {
		out.Overall = &FTest{round(f.F), f.DF1, f.DF2, round(f.P)}
	}
	for _, x := range o.Analysis.Refused {
		out.Refused = append(out.Refused, Refusal{x.Part, x.Reason, x.Says})
	}
	return out
}

// adjust makes the p-values of what was not the question answer for all of it, by Holm.
func (r *Report) adjust() error {
	var ps []float64
	var of []*Answer
	for k := 1; k < len(r.Outcomes); k++ {
		for i := range r.Outcomes[k].Answers {
			if a := &r.Outcomes[k].Answers[i]; a.Primary != nil {
				ps, of = append(ps, a.Primary.P), append(of, a)
			}
		}
	}
	if len(ps) == 0 {
		return nil
	}
	adjusted, err := stat.Adjust(stat.Holm, ps)
	if err != nil {
		return err
	}
	for i, p := range adjusted {
		of[i].AcrossOutcomes = rounded(p)
	}
	return nil
}

// main is the answer to the question in one sentence each.
func (r *Report) main() *Result { return &r.Outcomes[0] }

var readingNames = map[analyse.Reading]string{
	analyse.NoReading: "no_answer", analyse.Undecided: "undecided", analyse.Alike: "alike", analyse.Higher: "higher",
	analyse.HigherWorth: "higher_worth", analyse.Lower: "lower", analyse.LowerWorth: "lower_worth",
}
