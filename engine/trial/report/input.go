package report

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// ReasonInput is the reason of faults of Make, CSV and Codebook.
const ReasonInput = "REPORT_INPUT"

// Input is all that is known of a trial. Names and reasons are text of people; the
// report escapes them.
type Input struct {
	Title, Question string
	// UnitOf is what was randomised: "athlete", "coach" or "gym".
	UnitOf string
	Design assign.Design
	// Units are those enrolled, in order, and Assigned their arms; a unit that left before
	// its arm was drawn has none.
	Units    []assign.Unit
	Assigned []assign.Assignment
	Arms     []Arm     // as in Design.Arms, in its order
	Outcomes []Outcome // the first is what the trial was set up to decide
	People   []Participant
	// Assessed is how many were looked at for the trial, Excluded why some were not
	// enrolled.
	Assessed int
	Excluded []Count
	Events   []Event
	Looks    []Look
	Versions []Version // of the protocol, oldest first
	// Commitment is the published hash of the key that drew the arms; Verified tells
	// whether the key was revealed and every arm drawn again from it.
	Commitment string
	Verified   bool
	Warnings   []string // of the protocol, as it was frozen
	Ended      string   // why the trial ended, in the words of who ended it; may be empty
}

// Arm is one of those compared.
type Arm struct {
	Name string
	Says string // what was trained, with the versions of the strategies
	// HeavyLow tells that the arm has sets of one to three repetitions, which practise the
	// 1RM test.
	HeavyLow bool
}

// Outcome is something that was measured.
type Outcome struct {
	ID     string // letters, digits and -: names columns
	Name   string // "muscle thickness, front of the thigh"
	Unit   string // "mm"
	Method string
	OneRM  bool // a tested 1RM
	Rules  analyse.Rules
	// Analysis is what analyse made of the outcome's baseline and end.
	Analysis *analyse.Report
	// TypicalError is of one measurement, from repeats or as published; Reliability is what
	// repeats told, nil without them.
	TypicalError plan.Opt[float64]
	Reliability  *stat.Reliability
	// Blind, Open: measurements at the end by an assessor who did not, or did, know arms.
	Blind, Open int
}

// Participant is one athlete. Values are in the order of Input.Outcomes.
type Participant struct {
	ID        string // a pseudonym
	Unit      string // in Input.Units; the ID itself where athletes are randomised
	Values    []Values
	Withdrawn string          // the reason; empty: stayed
	Kept      plan.Opt[bool]  // to the protocol, by its own definition
	Adherence plan.Opt[int32] // of the sets planned, in thousandths
}

// Values of one outcome of one athlete.
type Values struct{ Baseline, Mid, End plan.Opt[float64] }

// Count is how often something was given as a reason.
type Count struct {
	Reason string `json:"reason"`
	N      int    `json:"n"`
}

// EventKind is a kind of thing that happened.
type EventKind uint8

// Kinds of events.
const (
	Adverse        EventKind = iota // something unwanted, whether caused by training or not
	CoIntervention                  // something else that may change the outcome
	Deviation                       // from the protocol
)

var eventKinds = [...]string{"adverse event", "co-intervention", "deviation"}

// String gives a plain name.
func (k EventKind) String() string {
	if int(k) < len(eventKinds) {
		return eventKinds[k]
	}
	return fmt.Sprintf("event %d", k)
}

// Event is something that happened to one participant.
type Event struct {
	Kind        EventKind
	Participant string
	What        string // a few words: equal ones are counted together
	Serious     bool   // of an adverse event: needed hospital, or threatened or changed a life
}

// Look is an analysis before the end, or the last of a plan with several.
type Look struct {
	On plan.Date
	analyse.Look
}

// Version of the protocol.
type Version struct {
	Number       int
	On           plan.Date
	Hash         string
	Reason       string // of the change; empty for the first
	OutcomesSeen bool   // whether results were visible to who changed it
}

// check says what of an input can't be, all at once, as an Invalid fault.
func (in *Input) check() error {
	c := fault.NewCollector(fault.Invalid)
	add := func(field, format string, args ...any) { c.Add(ReasonInput, field, fmt.Sprintf(format, args...)) }
	if in.UnitOf != "athlete" && in.UnitOf != "coach" && in.UnitOf != "gym" {
		add("unit_of", "is %q; want athlete, coach or gym", in.UnitOf)
	}
	if err := in.Design.Check(); err != nil {
		return fault.Within("design", err)
	}
	if len(in.Arms) != len(in.Design.Arms) {
		add("arms", "are %d; want %d as in the design", len(in.Arms), len(in.Design.Arms))
	}
	if least := len(in.People) + total(in.Excluded); in.Assessed < least {
		add("assessed", "are %d; want at least the %d enrolled or excluded", in.Assessed, least)
	}
	in.checkUnits(add)
	in.checkOutcomes(add)
	if c.Len() == 0 {
		in.checkPeople(add)
	}
	return c.Err()
}

type adder func(field, format string, args ...any)

func (in *Input) checkUnits(add adder) {
	known := map[string]bool{}
	for i, u := range in.Units {
		if known[u.ID] {
			add(fmt.Sprintf("units[%d].id", i), "%q is there twice", u.ID)
		}
		known[u.ID] = true
		if len(u.Levels) != len(in.Design.Factors) || len(u.Covariates) != len(in.Design.Covariates) {
			add(fmt.Sprintf("units[%d]", i), "has %d levels and %d covariates; want %d and %d", len(u.Levels), len(u.Covariates), len(in.Design.Factors), len(in.Design.Covariates))
		}
	}
	for i, a := range in.Assigned {
		if !known[a.Unit] || a.Arm < 0 || a.Arm >= len(in.Design.Arms) {
			add(fmt.Sprintf("assigned[%d]", i), "is of %q to arm %d; want an enrolled unit and a known arm", a.Unit, a.Arm)
		}
	}
}

func (in *Input) checkOutcomes(add adder) {
	if len(in.Outcomes) == 0 {
		add("outcomes", "are none; want the one that the trial was set up to decide, then any others")
	}
	seen := map[string]bool{}
	for i, o := range in.Outcomes {
		at := fmt.Sprintf("outcomes[%d]", i)
		if !slug(o.ID) || seen[o.ID] {
			add(at+".id", "is %q; want letters, digits and -, once", o.ID)
		}
		seen[o.ID] = true
		if err := o.Rules.Check(); err != nil {
			add(at+".rules", "%v", err)
		}
		switch {
		case o.Analysis == nil:
			add(at+".analysis", "is missing; want what analyse.Analyse made of the outcome")
		case len(o.Analysis.Flow) != len(in.Design.Arms) || len(o.Analysis.Answers) != len(in.Design.Arms)-1:
			add(at+".analysis", "is of %d arms; want %d", len(o.Analysis.Flow), len(in.Design.Arms))
		}
		if o.TypicalError.Set && !(o.TypicalError.Value > 0 && o.TypicalError.Value < 1e9) {
			add(at+".typical_error", "is %v; want more than 0, in %s", o.TypicalError.Value, o.Unit)
		}
	}
}

func (in *Input) checkPeople(add adder) {
	units, arms := map[string]bool{}, in.arms()
	for _, u := range in.Units {
		units[u.ID] = true
	}
	ids := map[string]bool{}
	assigned := make([]int, len(in.Arms))
	for i, p := range in.People {
		at := fmt.Sprintf("people[%d]", i)
		if ids[p.ID] || p.ID == "" {
			add(at+".id", "is %q; want one of its own", p.ID)
		}
		ids[p.ID] = true
		if !units[p.Unit] {
			add(at+".unit", "is %q; want an enrolled %s", p.Unit, in.UnitOf)
		}
		if len(p.Values) != len(in.Outcomes) {
			add(at+".values", "are %d; want one for each of %d outcomes", len(p.Values), len(in.Outcomes))
		}
		for k, v := range p.Values {
			for _, x := range [...]plan.Opt[float64]{v.Baseline, v.Mid, v.End} {
				if x.Set && (math.IsNaN(x.Value) || math.Abs(x.Value) > 1e9) {
					add(fmt.Sprintf("%s.values[%d]", at, k), "has %v; want numbers of at most 1e9", x.Value)
				}
			}
		}
		if arm, is := arms[p.Unit]; is {
			assigned[arm]++
		}
	}
	for i, e := range in.Events {
		if !ids[e.Participant] {
			add(fmt.Sprintf("events[%d].participant", i), "is %q; want a participant", e.Participant)
		}
	}
	if in.UnitOf != "athlete" {
		return
	}
	for i, o := range in.Outcomes {
		for k, f := range o.Analysis.Flow {
			if f.Assigned != assigned[k] {
				add(fmt.Sprintf("outcomes[%d].analysis", i), "is of %d in arm %q; want the %d who were assigned to it", f.Assigned, f.Arm, assigned[k])
			}
		}
	}
}

// arms gives the arm of each assigned unit.
func (in *Input) arms() map[string]int {
	out := map[string]int{}
	for _, a := range in.Assigned {
		out[a.Unit] = a.Arm
	}
	return out
}

func slug(s string) bool {
	for _, r := range s {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_') {
			return false
		}
	}
	return s != ""
}
