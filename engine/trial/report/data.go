package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/assign"
)

// column of the data, with its line of the codebook.
type column struct {
	name, means, unit, values string
	of                        func(p *Participant) string
}

// CSV is a row for each participant, in full precision; the first row names columns.
// Nothing known is an empty cell.
func CSV(in *Input) ([]byte, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	columns := in.columns()
	rows := [][]string{nil}
	for _, c := range columns {
		rows[0] = append(rows[0], c.name)
	}
	for i := range in.People {
		var row []string
		for _, c := range columns {
			row = append(row, c.of(&in.People[i]))
		}
		rows = append(rows, row)
	}
	return written(rows)
}

// Codebook says what each column of CSV means, as CSV.
func Codebook(in *Input) ([]byte, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	rows := [][]string{{"column", "meaning", "unit", "values"}}
	for _, c := range in.columns() {
		rows = append(rows, []string{c.name, safe(c.means), safe(c.unit), safe(c.values)})
	}
	return written(rows)
}

func written(rows [][]string) ([]byte, error) {
	var b bytes.Buffer
	if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
		return nil, fault.Wrap(fault.Internal, ReasonInput, err)
	}
	return b.Bytes(), nil
}

// safe keeps a spreadsheet from reading a text as a formula.
func safe(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

func (in *Input) columns() []column {
	units, given := map[string]int{}, map[string]assign.Assignment{}
	for i, u := range in.Units {
		units[u.ID] = i
	}
	for _, a := range in.Assigned {
		given[a.Unit] = a
	}
	var ids []string
	for i, a := range in.Design.Arms {
		ids = append(ids, a.ID+" = "+in.Arms[i].Name)
	}
	assigned := func(of func(assign.Assignment) string) func(*Participant) string {
		return func(p *Participant) string {
			a, is := given[p.Unit]
			if !is {
				return ""
			}
			return of(a)
		}
	}
	out := []column{
		{"participant", "pseudonym of the athlete", "", "", func(p *Participant) string { return safe(p.ID) }},
		{"unit", "the " + in.UnitOf + " that was randomised", "", "", func(p *Participant) string { return safe(p.Unit) }},
		{"enrolled", "order in which units were enrolled", "", "from 1", func(p *Participant) string { return strconv.Itoa(units[p.Unit] + 1) }},
		{"arm", "arm that was drawn, whatever was trained", "", strings.Join(ids, "; ") + "; differences are against " + in.Design.Arms[0].ID,
			assigned(func(a assign.Assignment) string { return safe(in.Design.Arms[a.Arm].ID) })},
		{"pair", "pair within which arms were drawn", "", "from 1; empty without a partner", assigned(func(a assign.Assignment) string { return positive(a.Pair) })},
		{"stratum", "stratum within which arms were drawn", "", "levels joined by /", assigned(func(a assign.Assignment) string { return safe(a.Stratum) })},
	}
	for k, name := range in.Design.Factors {
		out = append(out, column{fmt.Sprintf("factor_%d", k+1), name + ", of the " + in.UnitOf + ", before assignment", "", "", func(p *Participant) string { return safe(in.Units[units[p.Unit]].Levels[k]) }})
	}
	for k, name := range in.Design.Covariates {
		out = append(out, column{fmt.Sprintf("covariate_%d", k+1), name + ", of the " + in.UnitOf + ", before assignment", "", "whole numbers, as used by the assignment", func(p *Participant) string {
			return strconv.FormatInt(in.Units[units[p.Unit]].Covariates[k], 10)
		}})
	}
	for k := range in.Outcomes {
		out = append(out, in.measured(k)...)
	}
	return append(out, in.conduct()...)
}

func (in *Input) measured(k int) []column {
	o := in.Outcomes[k]
	role := "beside the question"
	if k == 0 {
		role = "what the trial was set up to decide"
	}
	var out []column
	for _, x := range [...]struct {
		at string
		of func(Values) plan.Opt[float64]
	}{
		{"baseline", func(v Values) plan.Opt[float64] { return v.Baseline }},
		{"mid", func(v Values) plan.Opt[float64] { return v.Mid }},
		{"end", func(v Values) plan.Opt[float64] { return v.End }},
	} {
		out = append(out, column{o.ID + "_" + x.at, o.Name + ", " + x.at + "; " + role, o.Unit, "by " + o.Method + "; empty: not measured", func(p *Participant) string {
			v := x.of(p.Values[k])
			if !v.Set {
				return ""
			}
			return strconv.FormatFloat(v.Value, 'g', -1, 64)
		}})
	}
	return out
}

func (in *Input) conduct() []column {
	adverse, serious := map[string]int{}, map[string]int{}
	for _, e := range in.Events {
		if e.Kind != Adverse {
			continue
		}
		adverse[e.Participant]++
		if e.Serious {
			serious[e.Participant]++
		}
	}
	return []column{
		{"withdrawn", "why the athlete left", "", "empty: stayed", func(p *Participant) string { return safe(p.Withdrawn) }},
		{"kept", "kept to the protocol, by its definition", "", "1 yes, 0 no, empty: not judged", func(p *Participant) string {
			switch {
			case !p.Kept.Set:
				return ""
			case p.Kept.Value:
				return "1"
			}
			return "0"
		}},
		{"adherence", "sets done of those planned", "per mille", "empty: not recorded", func(p *Participant) string {
			if !p.Adherence.Set {
				return ""
			}
			return strconv.Itoa(int(p.Adherence.Value))
		}},
		{"adverse_events", "adverse events, whatever their cause", "", "number", func(p *Participant) string { return strconv.Itoa(adverse[p.ID]) }},
		{"serious_adverse_events", "of these serious", "", "number", func(p *Participant) string { return strconv.Itoa(serious[p.ID]) }},
	}
}

func positive(n int) string {
	if n <= 0 {
		return ""
	}
	return strconv.Itoa(n)
}
