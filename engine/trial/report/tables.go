package report

import (
	"fmt"
	"strconv"

	"github.com/phasewright/phasewright/engine/plan"
)

// document is the page, then the tables that it rests on.
func (r *Report) document(plots []plan.Plot) []block {
	out := append(r.page(plots), rule{}, heading{2, "Who took part"})
	out = append(out, drawn(plots, PlotFlow)...)
	out = append(out, r.flowTable(), heading{2, "At the start"}, r.startTable())
	for k := range r.Outcomes {
		out = append(out, r.outcome(&r.Outcomes[k], plots)...)
	}
	if len(r.Looks) > 0 {
		out = append(out, heading{2, "Looks"}, r.looksTable())
	}
	out = append(out, heading{2, "How it was carried out"}, r.conductTable())
	if len(r.Events) > 0 {
		out = append(out, heading{3, "What happened"}, r.eventsTable())
	}
	out = append(out, heading{2, "Protocol"}, r.protocolTable())
	if r.Commitment != "" {
		out = append(out, para("Commitment to the key that arms were drawn from: "+r.Commitment))
	}
	if len(r.Warnings) > 0 {
		out = append(out, heading{3, "What the protocol warned of"}, list(r.Warnings))
	}
	var arms list
	for _, a := range r.Arms {
		if a.Says != "" {
			arms = append(arms, a.Name+": "+a.Says)
		}
	}
	if len(arms) > 0 {
		out = append(out, heading{3, "Arms"}, arms)
	}
	return out
}

// byArm is the head of a table with a column for each arm.
func (r *Report) byArm(first ...string) []string {
	for _, a := range r.Arms {
		first = append(first, a.Name)
	}
	return first
}

func (r *Report) flowTable() table {
	t := table{head: r.byArm("athletes", "all")}
	row := func(name string, all int, of func(ArmFlow) int) {
		cells := []string{name, ""}
		if all >= 0 {
			cells[1] = strconv.Itoa(all)
		}
		for _, f := range r.Flow.Arms {
			if of == nil {
				cells = append(cells, "")
				continue
			}
			cells = append(cells, strconv.Itoa(of(f)))
		}
		t.rows = append(t.rows, cells)
	}
	const none = -1
	row("considered", r.Flow.Assessed, nil)
	for _, c := range r.Flow.Excluded {
		row("not enrolled: "+c.Reason, c.N, nil)
	}
	row("enrolled", r.Flow.Enrolled, nil)
	for _, c := range r.Flow.Before {
		row("left before an arm was drawn: "+c.Reason, c.N, nil)
	}
	if r.UnitOf != "athlete" {
		row(plural(r.UnitOf), none, func(f ArmFlow) int { return f.Units })
	}
	row("assigned", none, func(f ArmFlow) int { return f.Assigned })
	for _, reason := range r.reasons() {
		row("withdrawn: "+reason, none, func(f ArmFlow) int {
			for _, c := range f.Withdrawn {
				if c.Reason == reason {
					return c.N
				}
			}
			return 0
		})
	}
	row("withdrawn, but measured", none, func(f ArmFlow) int { return f.MeasuredAnyway })
	row("stayed, not measured at the end", none, func(f ArmFlow) int { return f.Unmeasured })
	row("measured at the end and analysed", none, func(f ArmFlow) int { return f.Analysed })
	return t
}

// reasons lists why athletes withdrew, over all arms.
func (r *Report) reasons() []string {
	var all []Count
	for _, f := range r.Flow.Arms {
		for _, c := range f.Withdrawn {
			all = tally(all, c.Reason)
		}
	}
	out := make([]string, len(all))
	for i, c := range all {
		out[i] = c.Reason
	}
	return out
}

func (r *Report) startTable() table {
	t := table{head: r.byArm("mean (SD), or number")}
	for i, s := range r.Start {
		name, decimals := s.Name, 1
		if i < len(r.Outcomes) {
			decimals = r.Outcomes[i].decimals()
		}
		if s.Unit != "" {
			name += ", " + s.Unit
		}
		cells := []string{name}
		for _, v := range s.Values {
			cells = append(cells, v.text(decimals))
		}
		for _, n := range s.Counts {
			cells = append(cells, strconv.Itoa(n))
		}
		t.rows = append(t.rows, cells)
	}
	return t
}

// text is "25.13 (2.93), n 27".
func (s *Summary) text(decimals int) string {
	if s == nil {
		return "nobody"
	}
	if s.SD == nil {
		return fmt.Sprintf("%.*f, n %d", decimals, s.Mean, s.N)
	}
	return fmt.Sprintf("%.*f (%.*f), n %d", decimals, s.Mean, decimals, *s.SD, s.N)
}

func (r *Report) outcome(o *Result, plots []plan.Plot) []block {
	title := "Outcome: " + o.Name
	if !o.Main {
		title = "Beside the question: " + o.Name
	}
	out := []block{heading{2, title}, para(fmt.Sprintf("In %s, by %s. Smallest effect of interest: %s.", o.Unit, o.Method, o.amount(o.Smallest)))}
	t := table{head: r.byArm("mean (SD)")}
	for _, p := range [...]struct {
		name string
		of   func(Course) *Summary
	}{
		{"baseline", func(c Course) *Summary { return c.Baseline }}, {"mid", func(c Course) *Summary { return c.Mid }},
		{"end", func(c Course) *Summary { return c.End }}, {"change, of those with both", func(c Course) *Summary { return c.Change }},
	} {
		cells, known := []string{p.name}, false
		for _, c := range o.Arms {
			s := p.of(c)
			known = known || s != nil
			cells = append(cells, s.text(o.decimals()))
		}
		if known {
			t.rows = append(t.rows, cells)
		}
	}
	out = append(out, t)
	if !o.Main {
		out = append(out, drawn(plots, PlotEffect+o.ID)...)
	}
	out = append(out, drawn(plots, PlotChanges+o.ID)...)
	for i := range o.Answers {
		out = append(out, r.answerTable(o, &o.Answers[i])...)
	}
	if o.Overall != nil {
		out = append(out, para(fmt.Sprintf("All arms alike: F %.2f on %.4g and %.4g degrees of freedom, p %s.", o.Overall.F, o.Overall.DF1, o.Overall.DF2, probability(o.Overall.P))))
	}
	if o.TypicalError != nil {
		out = append(out, para(fmt.Sprintf("Typical error of one measurement %s; smallest change of one athlete that noise alone rarely makes %s.", o.amount(*o.TypicalError), o.amount(*o.Detectable))))
	}
	if v := o.Reliability; v != nil {
		out = append(out, para(fmt.Sprintf("%d were measured %s at the start: typical error %s (%s to %s), ICC(2,1) %.3f (%.3f to %.3f), ICC(3,1) %.3f (%.3f to %.3f); the last time less the first %s.",
			v.Athletes, times(v.Times), o.amount(v.TypicalError.Value), o.number(v.TypicalError.Low), o.number(v.TypicalError.High),
			v.ICC21.Value, v.ICC21.Low, v.ICC21.High, v.ICC31.Value, v.ICC31.Low, v.ICC31.High, o.signed(v.Shift))))
	}
	if o.Blind+o.Open > 0 {
		out = append(out, para(fmt.Sprintf("Measured at the end by someone who did not know the arm: %d; who did: %d.", o.Blind, o.Open)))
	}
	if len(o.Notes) > 0 {
		out = append(out, list(o.Notes))
	}
	if len(o.Refused) > 0 {
		var l list
		for _, x := range o.Refused {
			l = append(l, fmt.Sprintf("%s: %s (%s)", x.Part, x.Says, x.Reason))
		}
		out = append(out, heading{3, "Without an answer"}, l)
	}
	return out
}

func (r *Report) answerTable(o *Result, a *Answer) []block {
	t := table{head: []string{"way of counting", "difference, " + o.Unit, "interval", "p"}}
	add := func(name string, e *Estimate) {
		if e != nil {
			t.rows = append(t.rows, []string{name, o.number(e.Value), o.number(e.Low) + " to " + o.number(e.High) + " (" + percent(e.Level) + ")", probability(e.P)})
		}
	}
	add("all as dealt, baseline and design held equal", a.Primary)
	add("the same, spreads not taken as equal", a.Robust)
	add("ends alone, within pairs or between arms", a.Simple)
	add("with those whose partner is missing", a.Singles)
	add("those who kept to the protocol (open to bias)", a.Kept)
	if v := a.Randomisation; v != nil {
		how := fmt.Sprintf("%.0f deals drawn", v.Looked)
		if v.Exact {
			how = fmt.Sprintf("all %.0f deals", v.Looked)
		}
		interval := ""
		if v.Low != nil {
			interval = o.number(*v.Low) + " to " + o.number(*v.High) + " (" + percent(v.Level) + ")"
		}
		t.rows = append(t.rows, []string{"dealing again by the scheme: " + how, "", interval, probability(v.P)})
	}
	if len(t.rows) == 0 {
		return []block{para(r.verdict(o, a))}
	}
	return []block{heading{3, r.Arms[a.Arm].Name + " less " + r.Arms[a.Against].Name}, t, r.further(o, a)}
}

func (r *Report) further(o *Result, a *Answer) list {
	out := list{r.verdict(o, a)}
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if v := a.Standardised; v != nil {
		say("Standardised, ends alone: g %.2f (%.2f to %.2f).", v.G, v.GLow, v.GHigh)
	}
	if v := a.Equivalence; v != nil {
		say("Against differences of %s either way: p %s.", o.amount(o.Smallest), probability(v.P))
	}
	if v := a.Belief; v != nil {
		say("From the prior: %s (%s to %s); chance above 0 %s, above the smallest of interest %s, within it %s, as much below %s.", o.signed(v.Mean), o.signed(v.Low), o.signed(v.High), chance(v.More), chance(v.Important), chance(v.Negligible), chance(v.Less))
	}
	if v := a.Worst; v != nil {
		say("Over all values that the missing could have had: %s to %s.", o.signed(v.Least), o.signed(v.Most))
	}
	if v := a.Spread; v != nil {
		say("SD of changes beyond that of the other arm: %s (%s to %s); below 0 means that the other arm's spread more. Only this, not the spread of changes itself, could be different response.", o.signed(v.SD), o.signed(v.Low), o.signed(v.High))
	}
	if a.AcrossArms != nil {
		say("p with all arms compared counted (Holm): %s.", probability(*a.AcrossArms))
	}
	if a.AcrossOutcomes != nil {
		say("p with all outcomes beside the question counted (Holm): %s.", probability(*a.AcrossOutcomes))
	}
	return out
}

func (r *Report) looksTable() table {
	o := r.main()
	t := table{head: []string{"day", "information", "difference", "interval for all looks", "Z", "bound", "alpha spent", ""}}
	for _, l := range r.Looks {
		t.rows = append(t.rows, []string{
			l.On, fmt.Sprintf("%.0f %%", 100*l.Share), o.signed(l.Estimate.Value), o.number(l.Low) + " to " + o.number(l.High),
			fmt.Sprintf("%.2f", l.Z), fmt.Sprintf("%.2f", l.Bound), fmt.Sprintf("%.4f", l.Spent), map[bool]string{true: "crossed", false: "not crossed"}[l.Crossed],
		})
	}
	return t
}

func (r *Report) conductTable() table {
	t := table{head: r.byArm("athletes")}
	done, kept := []string{"sets done of those planned, mean"}, []string{"kept to the protocol"}
	harmed, serious, events := []string{"with an adverse event"}, []string{"with a serious one"}, []string{"adverse events"}
	for i, a := range r.Adherence {
		if a.Mean == nil {
			done = append(done, "not recorded")
		} else {
			done = append(done, fmt.Sprintf("%.0f %%, n %d", *a.Mean, a.N))
		}
		if a.Of == 0 {
			kept = append(kept, "not judged")
		} else {
			kept = append(kept, fmt.Sprintf("%d of %d", a.Kept, a.Of))
		}
		h := r.Harm[i]
		harmed = append(harmed, fmt.Sprintf("%d of %d", h.Any, h.Athletes))
		serious = append(serious, fmt.Sprintf("%d of %d", h.Serious, h.Athletes))
		events = append(events, strconv.Itoa(h.Events))
	}
	t.rows = [][]string{done, kept, harmed, serious, events}
	return t
}

func (r *Report) eventsTable() table {
	t := table{head: append(r.byArm("kind", "what"), "without an arm")}
	for _, e := range r.Events {
		kind := e.Kind
		if e.Serious {
			kind += ", serious"
		}
		cells := []string{kind, e.What}
		for _, n := range append(append([]int(nil), e.ByArm...), e.NoArm) {
			cells = append(cells, strconv.Itoa(n))
		}
		t.rows = append(t.rows, cells)
	}
	return t
}

func (r *Report) protocolTable() table {
	t := table{head: []string{"version", "day", "hash", "why", "results visible"}}
	for _, v := range r.Versions {
		why := v.Reason
		if why == "" {
			why = "first"
		}
		t.rows = append(t.rows, []string{strconv.Itoa(v.Number), v.On, v.Hash, why, map[bool]string{true: "yes", false: "no"}[v.OutcomesSeen]})
	}
	return t
}
