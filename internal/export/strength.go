package export

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// tableColumns is how many repetitions stand beside each other.
const tableColumns = 12

// Strength writes estimates of strength for people. The performances are those of the
// query, to which the report refers. The error is that of w.
func Strength(w io.Writer, performances []plan.Performance, r *plan.StrengthReport) error {
	s := &strength{r: r, shown: performances}
	head := "Strength"
	if r.Date.Set {
		head += " on " + longDate(r.Date.Value)
	}
	s.line(head + " · loads in " + r.Unit.String())
	for i := range r.Lifts {
		s.lift(&r.Lifts[i])
	}
	s.blank()
	for _, a := range r.Assumptions {
		s.item("Assumed: " + a.Says)
	}
	for _, c := range r.Cautions {
		s.item(c.Says)
	}
	_, err := io.WriteString(w, s.String())
	return err
}

// strength is a report on its way to the page.
type strength struct {
	page
	r     *plan.StrengthReport
	shown []plan.Performance
	whole bool // the loads of the lift are printed without decimals
}

func (s *strength) lift(l *plan.Lift) {
	s.heading(l.Name)
	if !l.Max.Set {
		s.wrap("", "", l.Missing)
		s.aside(l)
		return
	}
	m := &l.Max.Value
	s.whole = m.Middle.Milli >= 100_000
	says := fmt.Sprintf("1RM about %s, nine times in ten between %s and %s.", s.load(l, m.Middle), s.plainly(m.Low), s.amount(m.High))
	says += fmt.Sprintf(" A program starts from %s, on the safe side.", s.amount(m.Start))
	s.wrap("", "", says)
	if m.Borrowed != "" {
		s.wrap("", "", "Nothing usable was shown in it: borrowed from "+m.Borrowed+", with the error that this has.")
	}
	if len(l.Used) > 0 {
		var used []string
		for _, at := range l.Used {
			used = append(used, s.performance(at))
		}
		s.wrap("Rests on: ", "  ", strings.Join(used, "; ")+".")
	}
	s.aside(l)
	s.wrap("", "", slope(m))
	s.table(l)
	s.equations(l)
}

func (s *strength) aside(l *plan.Lift) {
	for _, a := range l.Aside {
		s.wrap("Not used: ", "  ", s.performance(a.Performance)+": "+a.Says+".")
	}
}

func slope(m *plan.OneRM) string {
	by := (int32(m.Slope) - 1000) / 10
	out := "Repetitions at one share of the 1RM: "
	switch {
	case by == 0:
		out += "as many as most people"
	case by > 0:
		out += fmt.Sprintf("about %d %% more than most people", by)
	default:
		out += fmt.Sprintf("about %d %% fewer than most people", -by)
	}
	return out + fmt.Sprintf(" (± %d %%).", (m.SlopeSD+5)/10)
}

// table prints what can be lifted so many times.
func (s *strength) table(l *plan.Lift) {
	if len(l.Loads) == 0 {
		return
	}
	s.blank()
	unit := s.r.Unit.String()
	switch {
	case !l.Carried.IsZero():
		unit += " beside " + l.Carried.Whole() + " of body mass (below zero: help)"
	case l.PerHand:
		unit += " a hand"
	}
	s.line("Fresh and to failure, in " + unit + ":")
	for from := 0; from < len(l.Loads); from += tableColumns {
		rows := [...]string{"  repetitions", "  load       ", "  90 % from  ", "         to  "}
		for _, c := range l.Loads[from:min(from+tableColumns, len(l.Loads))] {
			for i, cell := range [...]string{number(c.Reps), s.plainly(c.Load), s.plainly(c.Low), s.plainly(c.High)} {
				rows[i] += strings.Repeat(" ", max(1, 7-columns(cell))) + cell
			}
		}
		if from > 0 {
			s.blank()
		}
		for _, row := range rows {
			s.line(row)
		}
	}
}

// equations prints the published ones, and those that do not hold here.
func (s *strength) equations(l *plan.Lift) {
	if !l.Best.Set {
		return
	}
	b := &l.Best.Value
	var have, outside, other []string
	for _, e := range l.Equations {
		switch {
		case e.Max.Set:
			have = append(have, e.Name+" "+s.plainly(e.Max.Value))
		case e.Reason == plan.ReasonOtherLift:
			other = append(other, e.Name)
		default:
			outside = append(outside, fmt.Sprintf("%s (%s)", e.Name, span(plan.Range{Min: e.MinReps, Max: e.MaxReps})))
		}
	}
	s.blank()
	on := s.performance(b.Performance)
	if at := int(b.Performance); at < len(s.shown) && s.shown[at].Reps != b.Reps {
		on += fmt.Sprintf(", counted as %d to failure", b.Reps)
	}
	s.wrap("", "  ", "For comparison, published equations on "+on+":")
	if len(have) > 0 {
		s.wrap("  ", "  ", strings.Join(have, " · "))
	} else {
		s.line("  none is valid")
	}
	if len(outside) > 0 {
		s.wrap("  ", "  ", "Made for other numbers of repetitions: "+strings.Join(outside, ", "))
	}
	if len(other) > 0 {
		s.wrap("  ", "  ", "Made on another lift: "+strings.Join(other, ", "))
	}
}

// performance prints one as a coach writes it: "110 kg × 3, 1 in reserve (20 Nov 2026)".
func (s *strength) performance(at int32) string {
	if at < 0 || int(at) >= len(s.shown) {
		return "performance " + number(at)
	}
	p := &s.shown[at]
	out := "body mass"
	if p.Load.Value.Milli != 0 {
		out = p.Load.Value.String()
	}
	out += " × " + number(p.Reps)
	switch {
	case p.RIR.Or(0) > 0:
		out += ", " + number(p.RIR.Value) + " in reserve"
	case p.Reps > 1:
		out += " to failure"
	default:
		out += ", the most possible"
	}
	if p.Date.Set {
		out += " (" + calendar(p.Date.Value).Format("2 Jan 2006") + ")"
	}
	return out
}

// load prints an outer load in words.
func (s *strength) load(l *plan.Lift, v plan.Load) string {
	switch {
	case !l.Carried.IsZero() && v.Milli < 0:
		return "body mass less " + s.amount(plan.Load{Milli: -v.Milli, Unit: v.Unit})
	case !l.Carried.IsZero():
		return "body mass + " + s.amount(v)
	case l.PerHand:
		return s.amount(v) + " a hand"
	}
	return s.amount(v)
}

func (s *strength) amount(v plan.Load) string { return s.plainly(v) + " " + v.Unit.String() }

// plainly prints a load to three digits or so: an estimate is no surer.
func (s *strength) plainly(l plan.Load) string {
	m, sign := l.Milli, ""
	if m < 0 {
		m, sign = -m, "−"
	}
	if s.whole {
		return sign + strconv.FormatInt((m+500)/1000, 10)
	}
	m = (m + 50) / 100
	return fmt.Sprintf("%s%d.%d", sign, m/10, m%10)
}
