// Package reporttest invents trials to report on, for tests of whatever shows a report.
// Athletes, gyms and results are made up.
package reporttest

import (
	"fmt"
	"math"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/report"
	"github.com/phasewright/phasewright/engine/trial/sequential"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// Case is an invented trial.
type Case struct {
	Name  string
	Input *report.Input
}

// Cases are a true effect, none, a small trial that can't decide, one in which all of an
// arm left, and three arms dealt to whole groups of a coach.
func Cases() ([]Case, error) {
	var out []Case
	for _, c := range [...]struct {
		name string
		made func() (*report.Input, error)
	}{
		{"effect", func() (*report.Input, error) { return pairs(1.5, 7, true) }},
		{"none", func() (*report.Input, error) { return pairs(0, 11, false) }},
		{"small", small}, {"left", left}, {"coaches", coaches},
	} {
		in, err := c.made()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", c.name, err)
		}
		out = append(out, Case{c.name, in})
	}
	return out, nil
}

var key = draw.Key(strings.Repeat("invented", draw.KeyBytes/8))

// world makes athletes: values on a grid of tenths, so that machines can't differ.
type world struct {
	z  draw.Normal
	in *report.Input
}

func tenth(x float64) float64 { return math.Round(10*x) / 10 }

// people enrols n athletes with their baselines, then deals arms.
func (w *world) people(n int, unit func(i int) assign.Unit) error {
	m, err := assign.New(w.in.Design, assign.Keyed(key))
	if err != nil {
		return err
	}
	seen := map[string]bool{}
	for i := range n {
		u := unit(i)
		if !seen[u.ID] {
			seen[u.ID] = true
			if err := m.Enrol(u); err != nil {
				return err
			}
		}
		p := report.Participant{ID: fmt.Sprintf("p%02d", i+1), Unit: u.ID}
		for range w.in.Outcomes {
			p.Values = append(p.Values, report.Values{})
		}
		w.in.People = append(w.in.People, p)
	}
	if err := m.Close(); err != nil {
		return err
	}
	w.in.Units, w.in.Assigned = m.Units(), m.Assigned()
	w.in.Assessed = n + total(w.in.Excluded)
	w.in.Commitment, w.in.Verified = key.Commitment(), true
	return nil
}

func total(list []report.Count) int {
	n := 0
	for _, c := range list {
		n += c.N
	}
	return n
}

// measure gives everyone a baseline, a middle and an end of an outcome.
func (w *world) measure(outcome int, mean, sd, gain, noise float64, effect []float64) {
	arms := map[string]int{}
	for _, a := range w.in.Assigned {
		arms[a.Unit] = a.Arm
	}
	for i := range w.in.People {
		p := &w.in.People[i]
		level := mean + float64(sd*w.z.Next())
		grown := gain + effect[arms[p.Unit]] + float64(noise*w.z.Next())
		p.Values[outcome] = report.Values{
			Baseline: plan.Some(tenth(level + float64(noise*w.z.Next()))),
			Mid:      plan.Some(tenth(level + float64(grown/2) + float64(noise*w.z.Next()))),
			End:      plan.Some(tenth(level + grown + float64(noise*w.z.Next()))),
		}
	}
}

// leave takes an athlete out, before the end is measured.
func (w *world) leave(i int, reason string) {
	p := &w.in.People[i]
	p.Withdrawn = reason
	for k := range p.Values {
		p.Values[k].Mid, p.Values[k].End = plan.Opt[float64]{}, plan.Opt[float64]{}
	}
	p.Kept, p.Adherence = plan.Some(false), plan.Some(int32(310))
}

// stay says how those who stayed kept to it.
func (w *world) stay() {
	for i := range w.in.People {
		if p := &w.in.People[i]; p.Withdrawn == "" {
			done := int32(1000 - 35*(i*7%9))
			p.Adherence, p.Kept = plan.Some(done), plan.Some(done >= 800)
		}
	}
}

// Data is what analyse asks for of an outcome.
func Data(in *report.Input, outcome int) (*analyse.Data, error) {
	out := &analyse.Data{Design: in.Design, Units: in.Units, Assigned: in.Assigned}
	var members []analyse.Member
	kept := map[string]bool{}
	for _, p := range in.People {
		v := p.Values[outcome]
		members = append(members, analyse.Member{Unit: p.Unit, Baseline: v.Baseline, Outcome: v.End})
		kept[p.Unit] = p.Kept.Value
	}
	var err error
	out.Baseline, out.Outcome, _, err = analyse.Average(in.Units, members)
	if in.UnitOf == "athlete" {
		for _, u := range in.Units {
			out.Kept = append(out.Kept, kept[u.ID])
		}
	}
	return out, err
}

func (w *world) analyse() (*report.Input, error) {
	for k := range w.in.Outcomes {
		d, err := Data(w.in, k)
		if err != nil {
			return nil, err
		}
		if w.in.Outcomes[k].Analysis, err = analyse.Analyse(d, w.in.Outcomes[k].Rules); err != nil {
			return nil, err
		}
	}
	return w.in, nil
}

func thickness() report.Outcome {
	return report.Outcome{
		ID: "thickness", Name: "muscle thickness at the front of the thigh", Unit: "mm", Method: "ultrasound at half the thigh's length, mean of two pictures",
		Rules: analyse.Rules{
			Level: 0.95, Smallest: 0.5, Range: plan.Some([2]float64{10, 45}),
			Prior: stat.Plain(stat.Normal{SD: 1}), Draws: 1999, Seed: 1,
		},
		TypicalError: plan.Some(0.4),
	}
}

func squat() report.Outcome {
	return report.Outcome{
		ID: "squat", Name: "back squat 1RM", Unit: "kg", Method: "a test 48 to 96 hours after the last session", OneRM: true,
		Rules:        analyse.Rules{Level: 0.95, Smallest: 2.5, Draws: 999, Seed: 2},
		TypicalError: plan.Some(3.1),
	}
}

var twoArms = []report.Arm{
	{Name: "size throughout", Says: "constant (version 1): 8 weeks of 8 to 12 repetitions"},
	{Name: "strength first", Says: "strength then size (version 1): 4 weeks of 3 to 5 repetitions, then 4 of 8 to 12", HeavyLow: true},
}

func design(scheme assign.Scheme, arms ...string) assign.Design {
	d := assign.Design{Trial: "invented", Scheme: scheme}
	for _, a := range arms {
		d.Arms = append(d.Arms, assign.Arm{ID: a, Ratio: 1})
	}
	return d
}

func day(s string) plan.Date {
	d, err := plan.ParseDate(s)
	if err != nil {
		panic(err) // a date of this file
	}
	return d
}

// pairs is a trial of sixty in matched pairs.
func pairs(effect float64, seed uint64, early bool) (*report.Input, error) {
	d := design(assign.MatchedPairs, "size", "strength-first")
	d.Covariates = []string{"squat 1RM, kg", "months of training"}
	w := world{z: draw.Normal{Source: draw.Fast(seed, 1)}, in: &report.Input{
		Title:    "Strength first, or size throughout?",
		Question: "Does a strength phase of four weeks first build more muscle over eight weeks than size work throughout?",
		UnitOf:   "athlete", Design: d, Arms: twoArms, Outcomes: []report.Outcome{thickness(), squat()},
		Excluded: []report.Count{{Reason: "squat below 1.5 times body mass", N: 9}, {Reason: "no clearance by a clinician", N: 2}, {Reason: "did not want to", N: 4}},
		Versions: []report.Version{{Number: 1, On: day("2026-01-05"), Hash: strings.Repeat("5e1f", 16)}},
		Warnings: []string{"An arm with sets of one to three repetitions practises the 1RM test.", "Sixty athletes find a difference of 0.5 mm in about two of three such trials."},
	}}
	if err := w.people(60, func(i int) assign.Unit {
		return assign.Unit{ID: fmt.Sprintf("p%02d", i+1), Covariates: []int64{int64(110 + i*37%60), int64(12 + i*23%70)}}
	}); err != nil {
		return nil, err
	}
	w.measure(0, 25, 3, 1.1, 0.4, []float64{0, effect})
	w.measure(1, 135, 22, 7, 3, []float64{0, 3})
	for i, reason := range map[int]string{4: "moved away", 17: "moved away", 22: "knee pain", 41: "no time", 52: "no reason given"} {
		w.leave(i, reason)
	}
	w.stay()
	w.in.Outcomes[0].Blind, w.in.Outcomes[1].Open = 55, 55
	w.in.Events = []report.Event{
		{Kind: report.Adverse, Participant: "p23", What: "knee pain"}, {Kind: report.Adverse, Participant: "p09", What: "back strain"},
		{Kind: report.Adverse, Participant: "p31", What: "knee pain"}, {Kind: report.CoIntervention, Participant: "p12", What: "began to run three times a week"},
		{Kind: report.Deviation, Participant: "p40", What: "trained as the other arm for a week"},
	}
	if early {
		w.in.Versions = append(w.in.Versions, report.Version{Number: 2, On: day("2026-02-20"), Hash: strings.Repeat("a07c", 16), Reason: "a second day for the ultrasound"})
		return w.looks()
	}
	return w.analyse()
}

// looks adds one look half way and one at the end.
func (w *world) looks() (*report.Input, error) {
	all, err := Data(w.in, 0)
	if err != nil {
		return nil, err
	}
	half := *all
	half.Outcome = append([]plan.Opt[float64](nil), all.Outcome...)
	for i := 32; i < len(half.Outcome); i++ {
		half.Outcome[i] = plan.Opt[float64]{}
	}
	rules := analyse.Looks{Spending: sequential.OBrienFleming, PlannedSE: 0.15}
	for i, d := range [...]*analyse.Data{&half, all} {
		l, err := analyse.Interim(d, w.in.Outcomes[0].Rules, rules, i == 1)
		if err != nil {
			return nil, err
		}
		rules.Before = append(rules.Before, l.Share)
		w.in.Looks = append(w.in.Looks, report.Look{On: day([]string{"2026-04-13", "2026-05-18"}[i]), Look: *l})
	}
	return w.analyse()
}

// small is a trial of fourteen in blocks.
func small() (*report.Input, error) {
	d := design(assign.PermutedBlocks, "A", "B")
	d.Blocks, d.Factors = []int{2, 4}, []string{"sex"}
	o := squat()
	o.Rules.Prior = stat.Plain(stat.Normal{SD: 5})
	w := world{z: draw.Normal{Source: draw.Fast(3, 1)}, in: &report.Input{
		Title: "Two or three days a week?", Question: "Does a third day lift the squat more, the weekly sets being equal?",
		UnitOf: "athlete", Design: d, Arms: []report.Arm{{Name: "two days"}, {Name: "three days"}}, Outcomes: []report.Outcome{o},
		Versions: []report.Version{{Number: 1, On: day("2026-01-05"), Hash: strings.Repeat("19ab", 16)}, {Number: 2, On: day("2026-03-02"), Hash: strings.Repeat("77e0", 16), Reason: "two weeks longer", OutcomesSeen: true}},
	}}
	if err := w.people(14, func(i int) assign.Unit {
		return assign.Unit{ID: fmt.Sprintf("p%02d", i+1), Levels: []string{[]string{"f", "m"}[i*5%3%2]}}
	}); err != nil {
		return nil, err
	}
	w.measure(0, 100, 20, 6, 3, []float64{0, 2})
	w.leave(5, "ill")
	w.stay()
	w.in.Verified = false
	return w.analyse()
}

// left is a trial in which everyone of an arm went away.
func left() (*report.Input, error) {
	w := world{z: draw.Normal{Source: draw.Fast(4, 1)}, in: &report.Input{
		Title: "Five days or three?", Question: "Do five short days build more muscle than three long ones?",
		UnitOf: "athlete", Design: design(assign.FixedTotals, "three", "five"), Arms: []report.Arm{{Name: "three days"}, {Name: "five days"}},
		Outcomes: []report.Outcome{thickness()}, Versions: []report.Version{{Number: 1, On: day("2026-01-05"), Hash: strings.Repeat("c3d4", 16)}},
		Ended: "nobody kept up five days",
	}}
	if err := w.people(20, func(i int) assign.Unit { return assign.Unit{ID: fmt.Sprintf("p%02d", i+1)} }); err != nil {
		return nil, err
	}
	w.measure(0, 25, 3, 1, 0.4, []float64{0, 0})
	for i, a := range w.in.Assigned {
		if a.Arm == 1 {
			w.leave(i, []string{"no time", "pain", "no time"}[i%3])
		}
	}
	w.stay()
	w.in.Events = []report.Event{{Kind: report.Adverse, Participant: w.in.Assigned[0].Unit, What: "shoulder pain", Serious: true}}
	return w.analyse()
}

// coaches is a trial of three arms over twelve coaches.
func coaches() (*report.Input, error) {
	w := world{z: draw.Normal{Source: draw.Fast(5, 1)}, in: &report.Input{
		Title: "How far from failure?", Question: "Do sets that end 1, 2 or 4 repetitions before failure differ for size?",
		UnitOf: "coach", Design: design(assign.FixedTotals, "rir1", "rir2", "rir4"), Arms: []report.Arm{{Name: "1 in reserve"}, {Name: "2 in reserve"}, {Name: "4 in reserve"}},
		Outcomes: []report.Outcome{thickness()}, Versions: []report.Version{{Number: 1, On: day("2026-01-05"), Hash: strings.Repeat("e00d", 16)}},
	}}
	if err := w.people(60, func(i int) assign.Unit { return assign.Unit{ID: fmt.Sprintf("coach-%d", i%12+1)} }); err != nil {
		return nil, err
	}
	w.measure(0, 25, 3, 1, 0.4, []float64{0, 0.1, -0.9})
	w.stay()
	return w.analyse()
}
