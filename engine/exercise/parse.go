package exercise

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

const (
	none    = "none" // equipment of an exercise that needs the floor only
	maxRows = 5000
)

var columns = [...]string{"id", "name", "pattern", "role", "prime", "secondary", "equipment", "loading", "bar",
	"added_needs", "unilateral", "body_mass_permille", "setup_s", "rep_s", "set_setup_s", "skill", "joints",
	"step_kg", "step_lb", "curve", "region", "flags", "min_reps", "group", "related", "related_permille",
	"max_plausible_kg", "standing", "source"}

// Parse reads exercises from comma-separated values with a header row that has
// every column once, in any order (a byte order mark is allowed). All mistakes
// come back in one fault (Invalid): the field is "row 12 (back-squat).prime",
// counting the header as row 1, and the text says which values are allowed.
// Each exercise is valid for itself; With checks them against each other.
func Parse(r io.Reader) ([]Exercise, error) {
	buf := bufio.NewReader(r)
	if mark, err := buf.Peek(3); err == nil && string(mark) == "\ufeff" {
		_, _ = buf.Discard(3)
	}
	in := csv.NewReader(buf)
	header, err := in.Read()
	if err != nil {
		return nil, fileFault(1, err)
	}
	at, err := headerIndex(header)
	if err != nil {
		return nil, err
	}
	in.FieldsPerRecord = len(columns)
	in.ReuseRecord = true
	problems := fault.NewCollector(fault.Invalid)
	var out []Exercise
	for row := 2; ; row++ {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fileFault(row, err)
		}
		if row > maxRows+1 {
			return nil, fault.New(fault.Invalid, ReasonFile, fmt.Sprintf("row %d", row),
				fmt.Sprintf("a catalogue must have at most %d exercises", maxRows))
		}
		p := rowParser{record: record, at: at}
		p.bad = func(column, says string) {
			problems.Add(ReasonInvalid, fmt.Sprintf("row %d (%s).%s", row, clip(p.get("id")), column), says)
		}
		e := p.exercise()
		if !p.failed {
			check(&e, p.bad)
		}
		out = append(out, e)
	}
	if err := problems.Err(); err != nil {
		return nil, err
	}
	return out, nil
}

func fileFault(row int, err error) error {
	says := err.Error()
	switch {
	case errors.Is(err, io.EOF):
		says = "the file is empty; it must begin with the header row " + strings.Join(columns[:], ",")
	case errors.Is(err, csv.ErrFieldCount):
		says = fmt.Sprintf("must have %d cells like the header (put text with commas in quotes)", len(columns))
	}
	return fault.New(fault.Invalid, ReasonFile, fmt.Sprintf("row %d", row), says)
}

func headerIndex(header []string) (map[string]int, error) {
	at := make(map[string]int, len(columns))
	c := fault.NewCollector(fault.Invalid)
	for i, h := range header {
		switch _, twice := at[h]; {
		case twice:
			c.Add(ReasonFile, "row 1", fmt.Sprintf("column %q stands twice", clip(h)))
		case !slices.Contains(columns[:], h):
			c.Add(ReasonFile, "row 1", fmt.Sprintf("unknown column %q; the columns are %s", clip(h), strings.Join(columns[:], ",")))
		default:
			at[h] = i
		}
	}
	for _, want := range columns {
		if _, ok := at[want]; !ok {
			c.Add(ReasonFile, "row 1", "column "+want+" is missing")
		}
	}
	return at, c.Err()
}

type rowParser struct {
	record []string
	at     map[string]int
	bad    func(column, says string)
	failed bool
}

func (p *rowParser) get(column string) string { return p.record[p.at[column]] }

func (p *rowParser) fail(column, says string) {
	p.failed = true
	p.bad(column, says)
}

func (p *rowParser) exercise() Exercise {
	e := Exercise{
		ID: p.get("id"), Name: p.get("name"), Group: p.get("group"), Source: p.get("source"),
		Pattern:       choose(p, "pattern", plan.PatternCount),
		Role:          choose(p, "role", plan.RoleCount),
		Loading:       choose(p, "loading", plan.LoadingCount),
		Skill:         choose(p, "skill", skillCount),
		Region:        choose(p, "region", RegionCount),
		Standing:      choose(p, "standing", StandingCount),
		Curve:         Curve(p.get("curve")),
		Equipment:     p.alternatives("equipment"),
		AddedNeeds:    p.alternatives("added_needs"),
		Unilateral:    p.yes("unilateral"),
		BodyMassShare: plan.Permille(p.number("body_mass_permille")),
		Setup:         plan.Seconds(p.number("setup_s")),
		Rep:           plan.Seconds(p.number("rep_s")),
		SetSetup:      plan.Seconds(p.number("set_setup_s")),
		StepMilliKg:   p.milli("step_kg"),
		StepMilliLb:   p.milli("step_lb"),
		MinReps:       p.number("min_reps"),
		RelatedTo:     p.get("related"), RelatedRatio: plan.Permille(p.number("related_permille")),
		MaxPlausibleKg: p.number("max_plausible_kg"),
	}
	if p.get("bar") != "" {
		e.Bar = choose(p, "bar", plan.EquipmentCount)
	}
	p.muscles(&e, "prime", Prime)
	p.muscles(&e, "secondary", Secondary)
	p.joints(&e)
	p.flags(&e)
	return e
}

func choose[T enum](p *rowParser, column string, count T) T {
	v, ok := find(count, p.get(column))
	if !ok {
		p.fail(column, fmt.Sprintf("%q must be one of %s", clip(p.get(column)), strings.Join(tokens(count), ", ")))
	}
	return v
}

func split(s, sep string) []string {
	if s == "" {
		return nil
	}
	return strings.Split(s, sep)
}

func (p *rowParser) muscles(e *Exercise, column string, share plan.HalfSets) {
	for _, s := range split(p.get(column), ";") {
		m, ok := find(plan.MuscleCount, s)
		switch {
		case !ok:
			p.fail(column, fmt.Sprintf("%q must be one of %s (several with ; between)", clip(s), strings.Join(tokens(plan.MuscleCount), ", ")))
		case e.Involvement[m] != 0:
			p.fail(column, s+" is named twice")
		default:
			e.Involvement[m] = share
		}
	}
}

func (p *rowParser) joints(e *Exercise) {
	for _, s := range split(p.get("joints"), ";") {
		name, level, _ := strings.Cut(s, ":")
		j, ok := find(plan.JointCount, name)
		switch {
		case !ok:
			p.fail("joints", fmt.Sprintf("%q must be one of %s, each with :1 (mild) or :2 (marked)", clip(name), strings.Join(tokens(plan.JointCount), ", ")))
		case level != "1" && level != "2":
			p.fail("joints", fmt.Sprintf("%q must end in :1 (mild) or :2 (marked)", clip(s)))
		case e.Stress[j] != 0:
			p.fail("joints", name+" is named twice")
		default:
			e.Stress[j] = level[0] - '0'
		}
	}
}

func (p *rowParser) flags(e *Exercise) {
	for _, s := range split(p.get("flags"), ";") {
		i := slices.Index(flagNames[:], s)
		switch {
		case i < 0:
			p.fail("flags", fmt.Sprintf("%q must be one of %s (several with ; between)", clip(s), strings.Join(flagNames[:], ", ")))
		case e.Is(1 << i):
			p.fail("flags", s+" is named twice")
		default:
			e.Flags |= 1 << i
		}
	}
}

func (p *rowParser) alternatives(column string) [][]plan.Equipment {
	s := p.get(column)
	if s == none && column == "equipment" {
		return nil
	}
	if s == "" {
		if column == "equipment" {
			p.fail(column, "must say what is needed, or none for the floor alone")
		}
		return nil
	}
	var out [][]plan.Equipment
	for _, alt := range strings.Split(s, "|") {
		var items []plan.Equipment
		for _, name := range strings.Split(alt, "+") {
			item, ok := find(plan.EquipmentCount, name)
			if !ok {
				p.fail(column, fmt.Sprintf("%q must be one of %s (+ between things needed together, | between alternatives)",
					clip(name), strings.Join(tokens(plan.EquipmentCount), ", ")))
			}
			items = append(items, item)
		}
		out = append(out, items)
	}
	return out
}

func (p *rowParser) yes(column string) bool {
	s := p.get(column)
	if s != "yes" && s != "no" {
		p.fail(column, fmt.Sprintf("%q must be yes or no", clip(s)))
	}
	return s == "yes"
}

func (p *rowParser) number(column string) int32 {
	v, err := strconv.ParseInt(p.get(column), 10, 32)
	if err != nil {
		p.fail(column, fmt.Sprintf("%q must be a whole number", clip(p.get(column))))
	}
	return int32(v)
}

// milli reads a decimal with up to three places exactly.
func (p *rowParser) milli(column string) int64 {
	s := p.get(column)
	whole, frac, dotted := strings.Cut(s, ".")
	ok := whole != "" && len(whole) <= 6 && len(frac) <= 3 && (!dotted || frac != "")
	for _, c := range []byte(whole + frac) {
		ok = ok && c >= '0' && c <= '9'
	}
	if !ok {
		p.fail(column, fmt.Sprintf("%q must be a number with at most three places after a point, like 2.5", clip(s)))
		return 0
	}
	v, err := strconv.ParseInt(whole+(frac + "000")[:3], 10, 64)
	if err != nil {
		p.fail(column, err.Error())
	}
	return v
}
