package conduct

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/report"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Look makes the next look at the first outcome, to be appended as it is before anyone
// sees what it shows. last uses up the error that is left.
func (t *Trial) Look(on plan.Date, last bool) (Looked, *analyse.Look, error) {
	if t.frozen == nil {
		return Looked{}, nil, locked()
	}
	p := t.Protocol()
	if p.Analysis.PlannedSE == 0 {
		return Looked{}, nil, early("trial", "has no looks before its end: the protocol plans none (it has no planned standard error)")
	}
	d, err := t.data(0)
	if err != nil {
		return Looked{}, nil, err
	}
	rules := analyse.Looks{Spending: p.Analysis.Spending, PlannedSE: thousandths(p.Analysis.PlannedSE)}
	for _, l := range t.looks {
		rules.Before = append(rules.Before, float64(l.Share)/whole)
	}
	l, err := analyse.Interim(d, p.Rules(0), rules, last)
	if err != nil {
		return Looked{}, nil, err
	}
	return Looked{On: on, Share: int64(math.Round(l.Share * whole)), Last: last}, l, nil
}

func locked() error {
	return fault.New(fault.Infeasible, ReasonLocked, "trial", "shows no results before its end, but at planned looks")
}

// Answer analyses an outcome (an index into the protocol's) after the end.
func (t *Trial) Answer(outcome int) (*analyse.Report, error) {
	if t.ended == nil {
		return nil, locked()
	}
	if outcome < 0 || outcome >= len(t.Protocol().Outcomes) {
		return nil, invalid("outcome", "is %d; the protocol has %d", outcome, len(t.Protocol().Outcomes))
	}
	d, err := t.data(outcome)
	if err != nil {
		return nil, err
	}
	return analyse.Analyse(d, t.Protocol().Rules(outcome))
}

// given are the units with an arm, in order of enrolment, and their arms.
func (t *Trial) given() (units []assign.Unit, arms []assign.Assignment) {
	for _, u := range t.units {
		if a, is := t.assigned[u.ID]; is {
			units, arms = append(units, u), append(arms, a)
		}
	}
	return units, arms
}

// data is an outcome of all units with an arm.
func (t *Trial) data(outcome int) (*analyse.Data, error) {
	p := t.Protocol()
	units, arms := t.given()
	out := &analyse.Data{Design: p.Design(), Units: units, Assigned: arms}
	var members []analyse.Member
	kept, known := map[string]bool{}, false
	for _, x := range t.people {
		if _, is := t.assigned[x.Unit]; !is {
			continue
		}
		id := p.Outcomes[outcome].ID
		members = append(members, analyse.Member{Unit: x.Unit, Baseline: x.value(id, Baseline), Outcome: x.value(id, End)})
		if x.adherence != nil {
			known = true
			kept[x.Unit] = x.adherence.Kept
		}
	}
	var err error
	if out.Baseline, out.Outcome, _, err = analyse.Average(units, members); err != nil {
		return nil, err
	}
	if known && p.UnitOf == "athlete" {
		for _, u := range units {
			out.Kept = append(out.Kept, kept[u.ID])
		}
	}
	return out, nil
}

// values are the repeats of a measurement that are not erased.
func (p *person) values(outcome string, when When) []float64 {
	var out []float64
	for _, m := range p.measures {
		if m.Outcome == outcome && m.When == when && m.value != nil {
			out = append(out, thousandths(*m.value))
		}
	}
	return out
}

// value is the mean of repeats.
func (p *person) value(outcome string, when When) plan.Opt[float64] {
	xs := p.values(outcome, when)
	if len(xs) == 0 {
		return plan.Opt[float64]{}
	}
	sum := 0.0
	for _, x := range xs {
		sum += x
	}
	return plan.Some(sum / float64(len(xs)))
}

// Reliability is what repeats at baseline tell of an outcome: of those measured at least
// twice, the first two. Too few are an Infeasible fault.
func (t *Trial) Reliability(outcome int) (*stat.Reliability, error) {
	p := t.Protocol()
	if p == nil || outcome < 0 || outcome >= len(p.Outcomes) {
		return nil, invalid("outcome", "is %d; the protocol has no such", outcome)
	}
	var rows [][]float64
	for _, x := range t.people {
		if v := x.values(p.Outcomes[outcome].ID, Baseline); len(v) >= 2 {
			rows = append(rows, v[:2])
		}
	}
	return stat.Repeats(rows, p.Rules(outcome).Level)
}

// Report is all that is known of a trial that has ended, to be told.
func (t *Trial) Report() (*report.Input, error) {
	if t.ended == nil {
		return nil, locked()
	}
	p := t.Protocol()
	warnings, err := p.Warnings()
	if err != nil {
		return nil, err
	}
	units, arms := t.given()
	warnings = append(warnings, t.offDays()...)
	out := &report.Input{
		Title: p.Title, Question: p.Question, UnitOf: p.UnitOf, Design: p.Design(), Units: t.units, Assigned: arms,
		Assessed: len(t.people) + len(t.excluded), Commitment: t.frozen.Commitment, Warnings: warnings, Ended: t.ended.Reason,
	}
	if t.revealed {
		err := assign.Replay(out.Design, t.key, t.units, t.closed, t.order)
		if err != nil {
			return nil, err
		}
		out.Verified = true
	}
	for _, a := range p.Arms {
		out.Arms = append(out.Arms, report.Arm{Name: a.Name, Says: a.Says, HeavyLow: a.HeavyLow})
	}
	if err := t.outcomes(out); err != nil {
		return nil, err
	}
	for _, v := range t.versions {
		out.Versions = append(out.Versions, report.Version{Number: len(out.Versions) + 1, On: day(v.at), Hash: v.hash, Reason: v.reason, OutcomesSeen: v.seen})
	}
	t.tell(out)
	if len(units) == 0 {
		return nil, early("trial", "ended before anyone had an arm: there is nothing to report")
	}
	if err := t.pastLooks(out); err != nil {
		return nil, err
	}
	return out, t.lastLook(out)
}

// offDays says how many ends were not measured when the protocol asks for it, as far as
// logs tell the day of the last session.
func (t *Trial) offDays() []string {
	tests := t.Protocol().Tests
	least, most := tests.FromHours/24, (tests.ToHours+23)/24
	known, off := 0, 0
	for _, p := range t.people {
		for _, m := range p.measures {
			if m.When != End || m.Since == nil {
				continue
			}
			known++
			if *m.Since < least || *m.Since > most {
				off++
			}
		}
	}
	if off == 0 {
		return nil
	}
	return []string{fmt.Sprintf("%d of %d measurements at the end whose last session is logged were not taken %d to %d days after it, as the protocol asks.", off, known, least, most)}
}

// outcomes analyses all of them.
func (t *Trial) outcomes(out *report.Input) error {
	for i, o := range t.Protocol().Outcomes {
		a, err := t.Answer(i)
		if err != nil {
			return err
		}
		x := report.Outcome{ID: o.ID, Name: o.Name, Unit: o.Unit, Method: o.Method, OneRM: o.OneRM, Rules: t.Protocol().Rules(i), Analysis: a}
		if r, err := t.Reliability(i); err == nil && r.TypicalError.Value > 0 {
			x.TypicalError, x.Reliability = plan.Some(r.TypicalError.Value), r
		} else if o.TypicalError > 0 {
			x.TypicalError = plan.Some(thousandths(o.TypicalError))
		}
		for _, p := range t.people {
			for _, m := range p.measures {
				switch {
				case m.Outcome != o.ID || m.When != End:
				case m.Blind:
					x.Blind++
				default:
					x.Open++
				}
			}
		}
		out.Outcomes = append(out.Outcomes, x)
	}
	return nil
}

// tell brings in people and what happened to them. Those of units that were never
// enrolled were considered, and not enrolled.
func (t *Trial) tell(out *report.Input) {
	for _, e := range t.excluded {
		out.Excluded = counted(out.Excluded, text(e.Text))
	}
	for _, p := range t.people {
		if !t.enrolled[p.Unit] {
			why := "not assigned"
			switch {
			case p.withdrawn:
				why = "withdrew: " + text(p.why)
			case p.feasible != nil && len(p.feasible.Without) > 0:
				why = "no program under every arm"
			}
			out.Excluded = counted(out.Excluded, why)
			continue
		}
		x := report.Participant{ID: p.Participant, Unit: p.Unit}
		for _, o := range t.Protocol().Outcomes {
			x.Values = append(x.Values, report.Values{Baseline: p.value(o.ID, Baseline), Mid: p.value(o.ID, Mid), End: p.value(o.ID, End)})
		}
		if p.withdrawn {
			x.Withdrawn = text(p.why)
		}
		if p.adherence != nil {
			x.Adherence, x.Kept = plan.Some(p.adherence.Permille), plan.Some(p.adherence.Kept)
		}
		out.People = append(out.People, x)
		for _, h := range p.happened {
			out.Events = append(out.Events, report.Event{Kind: h.Kind, Participant: p.Participant, What: text(h.what), Serious: h.Serious})
		}
	}
}

// text is what someone wrote, or that it is gone.
func text(s string) string {
	if s == "" {
		return "no reason given, or erased"
	}
	return s
}

func counted(list []report.Count, reason string) []report.Count {
	for i := range list {
		if list[i].Reason == reason {
			list[i].N++
			return list
		}
	}
	return append(list, report.Count{Reason: reason, N: 1})
}

// pastLooks computes again what each look showed, from what was known then. Where values
// were erased since, a look may have no answer any more; the warnings say so.
func (t *Trial) pastLooks(out *report.Input) error {
	past := fresh()
	for i := range t.events {
		e := t.events[i]
		if l := e.Body.Looked; l != nil {
			_, shown, err := past.Look(l.On, l.Last)
			switch {
			case err != nil && erased(t.events) > 0:
				out.Warnings = append(out.Warnings, fmt.Sprintf("What the look of %s showed can't be shown again, as values were erased since.", l.On))
			case err != nil:
				return fault.Within(fmt.Sprintf("events[%d]", i), err)
			default:
				out.Looks = append(out.Looks, report.Look{On: l.On, Look: *shown})
			}
		}
		if err := past.apply(&e); err != nil {
			return err
		}
	}
	return nil
}

// lastLook is the one at the end, with all the error that earlier looks left, where none
// was taken as such.
func (t *Trial) lastLook(out *report.Input) error {
	if n := len(t.looks); n == 0 || t.looks[n-1].Last || t.looks[n-1].Share == whole {
		return nil
	}
	on := day(t.last().At)
	_, shown, err := t.Look(on, true)
	if f, is := fault.As(err); is && f.Kind != fault.Internal {
		out.Warnings = append(out.Warnings, "Results were looked at before the end, but the last look has no answer: "+f.Error())
		return nil
	}
	if err != nil {
		return err
	}
	out.Looks = append(out.Looks, report.Look{On: on, Look: *shown})
	return nil
}

func day(at int64) plan.Date {
	const long = 86_400_000
	d := at / long
	if at%long < 0 {
		d--
	}
	return plan.Date(d)
}
