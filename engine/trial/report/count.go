package report

import (
	"cmp"
	"slices"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Flow is where everyone went, in athletes.
type Flow struct {
	Assessed int       `json:"assessed"`
	Excluded []Count   `json:"excluded,omitempty"`
	Enrolled int       `json:"enrolled"`
	Before   []Count   `json:"left_before_assignment,omitempty"`
	Arms     []ArmFlow `json:"arms"`
}

// ArmFlow is of the athletes of one arm.
type ArmFlow struct {
	Units     int     `json:"units"` // that were randomised
	Assigned  int     `json:"assigned"`
	Withdrawn []Count `json:"withdrawn,omitempty"`
	// Unmeasured are those who stayed but have no value at the end of the first outcome,
	// MeasuredAnyway those who withdrew and have one.
	Unmeasured     int `json:"unmeasured"`
	MeasuredAnyway int `json:"withdrawn_but_measured"`
	Analysed       int `json:"analysed"`
}

// Start is a row of the table of baselines, by arm. There are no p-values in it: arms
// were dealt by chance, so a difference is chance (CONSORT 2010, item 15).
type Start struct {
	Name   string     `json:"name"`
	Unit   string     `json:"unit,omitempty"`
	Values []*Summary `json:"values,omitempty"` // of a number
	Counts []int      `json:"counts,omitempty"` // of a level of a factor
}

// Adherence is of the athletes of an arm for whom it is known, in per cent of the sets
// planned.
type Adherence struct {
	N    int      `json:"n"`
	Mean *float64 `json:"mean_percent,omitempty"`
	Kept int      `json:"kept_to_protocol"`
	Of   int      `json:"of"` // with a judgement
}

// Harm is how many athletes of an arm had an adverse event.
type Harm struct {
	Athletes int `json:"athletes"`
	Any      int `json:"any"`
	Serious  int `json:"serious"`
	Events   int `json:"events"`
}

// Happened counts like events by arm; the last number is of those without an arm.
type Happened struct {
	Kind    string `json:"kind"`
	What    string `json:"what"`
	Serious bool   `json:"serious,omitempty"`
	ByArm   []int  `json:"by_arm"`
	NoArm   int    `json:"without_arm"`
}

func (in *Input) flow() Flow {
	out := Flow{Assessed: in.Assessed, Excluded: in.Excluded, Enrolled: len(in.People), Arms: make([]ArmFlow, len(in.Arms))}
	arms := in.arms()
	for _, a := range in.Assigned {
		out.Arms[a.Arm].Units++
	}
	for _, p := range in.People {
		arm, is := arms[p.Unit]
		if !is {
			out.Before = tally(out.Before, cmp.Or(p.Withdrawn, "not assigned"))
			continue
		}
		f := &out.Arms[arm]
		f.Assigned++
		measured := p.Values[0].End.Set
		switch {
		case p.Withdrawn != "" && measured:
			f.MeasuredAnyway++
			fallthrough
		case p.Withdrawn != "":
			f.Withdrawn = tally(f.Withdrawn, p.Withdrawn)
		case !measured:
			f.Unmeasured++
		}
		if measured {
			f.Analysed++
		}
	}
	return out
}

// tally counts a reason, in the order in which reasons came.
func tally(list []Count, reason string) []Count {
	if i := slices.IndexFunc(list, func(c Count) bool { return c.Reason == reason }); i >= 0 {
		list[i].N++
		return list
	}
	return append(list, Count{reason, 1})
}

// total is how many all reasons have.
func total(list []Count) int {
	n := 0
	for _, c := range list {
		n += c.N
	}
	return n
}

func (in *Input) start() []Start {
	arms := in.arms()
	var out []Start
	for k, o := range in.Outcomes {
		s := Start{Name: o.Name, Unit: o.Unit}
		for arm := range in.Arms {
			s.Values = append(s.Values, summary(in.values(arm, k, func(v Values) (float64, bool) { return v.Baseline.Value, v.Baseline.Set })))
		}
		out = append(out, s)
	}
	for c, name := range in.Design.Covariates {
		values := make([][]float64, len(in.Arms))
		for _, u := range in.Units {
			if arm, is := arms[u.ID]; is {
				values[arm] = append(values[arm], float64(u.Covariates[c]))
			}
		}
		s := Start{Name: name}
		for _, v := range values {
			s.Values = append(s.Values, summary(v))
		}
		out = append(out, s)
	}
	for f, name := range in.Design.Factors {
		out = append(out, in.levels(f, name, arms)...)
	}
	return out
}

func (in *Input) levels(f int, name string, arms map[string]int) []Start {
	counts := map[string][]int{}
	var levels []string
	for _, u := range in.Units {
		l := u.Levels[f]
		if counts[l] == nil {
			counts[l], levels = make([]int, len(in.Arms)), append(levels, l)
		}
		if arm, is := arms[u.ID]; is {
			counts[l][arm]++
		}
	}
	slices.Sort(levels)
	var out []Start
	for _, l := range levels {
		out = append(out, Start{Name: name + ": " + l, Counts: counts[l]})
	}
	return out
}

// values gives what an arm's athletes have of an outcome.
func (in *Input) values(arm, outcome int, of func(Values) (float64, bool)) []float64 {
	arms := in.arms()
	var out []float64
	for _, p := range in.People {
		if a, is := arms[p.Unit]; !is || a != arm {
			continue
		}
		if x, is := of(p.Values[outcome]); is {
			out = append(out, x)
		}
	}
	return out
}

func summary(xs []float64) *Summary {
	s, err := stat.Summarise(xs)
	if err != nil {
		return nil // nobody
	}
	out := &Summary{N: s.N, Mean: round(s.Mean)}
	if s.N > 1 {
		out.SD = rounded(s.SD)
	}
	return out
}

func (in *Input) courses(k int) ([]Course, []Change) {
	opt := func(pick func(Values) plan.Opt[float64]) func(Values) (float64, bool) {
		return func(v Values) (float64, bool) { x := pick(v); return x.Value, x.Set }
	}
	var out []Course
	for arm := range in.Arms {
		out = append(out, Course{
			Arm:      in.Design.Arms[arm].ID,
			Baseline: summary(in.values(arm, k, opt(func(v Values) plan.Opt[float64] { return v.Baseline }))),
			Mid:      summary(in.values(arm, k, opt(func(v Values) plan.Opt[float64] { return v.Mid }))),
			End:      summary(in.values(arm, k, opt(func(v Values) plan.Opt[float64] { return v.End }))),
			Change: summary(in.values(arm, k, func(v Values) (float64, bool) {
				return v.End.Value - v.Baseline.Value, v.End.Set && v.Baseline.Set
			})),
		})
	}
	arms := in.arms()
	var changes []Change
	for _, p := range in.People {
		arm, is := arms[p.Unit]
		if v := p.Values[k]; is && v.Baseline.Set && v.End.Set {
			changes = append(changes, Change{p.ID, arm, round(v.Baseline.Value), round(v.End.Value)})
		}
	}
	return out, changes
}

func (in *Input) adherence() []Adherence {
	out := make([]Adherence, len(in.Arms))
	sums := make([]float64, len(in.Arms))
	arms := in.arms()
	for _, p := range in.People {
		arm, is := arms[p.Unit]
		if !is {
			continue
		}
		if p.Adherence.Set {
			out[arm].N++
			sums[arm] += float64(p.Adherence.Value) / 10
		}
		if p.Kept.Set {
			out[arm].Of++
			if p.Kept.Value {
				out[arm].Kept++
			}
		}
	}
	for i := range out {
		if out[i].N > 0 {
			out[i].Mean = rounded(sums[i] / float64(out[i].N))
		}
	}
	return out
}

func (in *Input) harm() []Harm {
	out := make([]Harm, len(in.Arms))
	arms := in.arms()
	for _, p := range in.People {
		arm, is := arms[p.Unit]
		if !is {
			continue
		}
		out[arm].Athletes++
		n, serious := 0, false
		for _, e := range in.Events {
			if e.Kind == Adverse && e.Participant == p.ID {
				n++
				serious = serious || e.Serious
			}
		}
		out[arm].Events += n
		if n > 0 {
			out[arm].Any++
		}
		if serious {
			out[arm].Serious++
		}
	}
	return out
}

func (in *Input) happened() []Happened {
	unit := map[string]string{}
	for _, p := range in.People {
		unit[p.ID] = p.Unit
	}
	arms := in.arms()
	var out []Happened
	for _, e := range in.Events {
		i := slices.IndexFunc(out, func(h Happened) bool {
			return h.Kind == e.Kind.String() && h.What == e.What && h.Serious == e.Serious
		})
		if i < 0 {
			i = len(out)
			out = append(out, Happened{Kind: e.Kind.String(), What: e.What, Serious: e.Serious, ByArm: make([]int, len(in.Arms))})
		}
		if arm, is := arms[unit[e.Participant]]; is {
			out[i].ByArm[arm]++
		} else {
			out[i].NoArm++
		}
	}
	slices.SortStableFunc(out, func(a, b Happened) int { return cmp.Compare(a.Kind, b.Kind) })
	return out
}
