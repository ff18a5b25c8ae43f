package export

import (
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// shortDigest is how many digits of the digest are shown: enough to tell two programs
// apart by eye.
const shortDigest = 12

func (t *text) header() {
	r := &t.p.Request
	who := r.Athlete.Name
	if who == "" {
		who = r.Athlete.CallerID
	}
	if who == "" {
		who = "Athlete"
	}
	if r.Athlete.Status != plan.StatusUnspecified {
		who += " · " + r.Athlete.Status.String()
	}
	t.wrap("", "  ", who+" · "+count(t.p.WeekCount(), "week")+t.dates())
	t.field("Goals", t.goals())
	t.field("Days", t.days())
	t.field("Away", t.away())
	made := []string{"strategy " + t.p.Versions.Strategy, "loads in " + r.Constraints.Unit.String()}
	if t.p.Versions.Strategy == "" {
		made[0] = "written by hand"
	}
	if d := strings.TrimPrefix(t.p.Digest, "sha256:"); d != "" {
		made = append(made, "digest "+d[:min(shortDigest, len(d))])
	}
	t.field("Made by", strings.Join(made, " · "))
	t.field("Open", t.open())
}

// open counts what a coach has to look at before handing the program out.
func (t *text) open() string {
	var out []string
	for _, x := range [...]struct {
		level     plan.FindingLevel
		one, many string
	}{
		{plan.LevelViolation, "1 violation of a hard limit", "%d violations of hard limits"},
		{plan.LevelShort, "1 wish not fully met", "%d wishes not fully met"},
		{plan.LevelDeparture, "1 departure from guidance", "%d departures from guidance"},
	} {
		switch n := len(gather(t.p.Findings, x.level)); n {
		case 0:
		case 1:
			out = append(out, x.one)
		default:
			out = append(out, fmt.Sprintf(x.many, n))
		}
	}
	if len(out) == 0 {
		return ""
	}
	return strings.Join(out, ", ") + ", listed below"
}

func (t *text) field(name, value string) {
	if value != "" {
		t.wrap(pad(name, 10), pad("", 10), value)
	}
}

func (t *text) dates() string {
	c := &t.p.Request.Constraints
	if !c.Start.Set {
		return ""
	}
	out := ", " + longDate(c.Start.Value) + " – " + longDate(c.Start.Value.AddDays(7*t.p.WeekCount()-1))
	if c.Target.Set {
		out += ", target " + longDate(c.Target.Value)
	}
	return out
}

func (t *text) goals() string {
	var out []string
	for _, g := range t.p.Request.Goals {
		s := g.Kind.String()
		switch {
		case g.ExerciseID != "":
			s += " " + t.name(g.ExerciseID)
		case g.Muscle != plan.MuscleUnspecified:
			s += " " + g.Muscle.String()
		}
		if g.Date.Set {
			s += " on " + longDate(g.Date.Value)
		}
		if g.Priority > 0 {
			s += fmt.Sprintf(" (priority %d)", g.Priority)
		}
		out = append(out, s)
	}
	return strings.Join(out, "; ")
}

func (t *text) days() string {
	c := &t.p.Request.Constraints
	same := true
	for _, d := range c.Days {
		same = same && d.PlaceID == c.Days[0].PlaceID
	}
	var out []string
	for i, d := range c.Days {
		s := weekday(d.Weekday)
		if s == "" {
			s = "day " + number(int32(i+1))
		}
		s += fmt.Sprintf(" %d min", d.Minutes)
		if !same {
			s += " at " + t.place(d.PlaceID)
		}
		out = append(out, s)
	}
	days := strings.Join(out, ", ")
	if same && len(c.Days) > 0 {
		if place := t.place(c.Days[0].PlaceID); place != "" {
			days += " · " + place
		}
	}
	return days
}

// away says when training is elsewhere, and when there is none.
func (t *text) away() string {
	c := &t.p.Request.Constraints
	var out []string
	for _, p := range c.Periods {
		when := ""
		switch {
		case p.FromDate.Set:
			when = dates(p.FromDate.Value, p.ToDate.Value)
		case p.FromWeek.Value == p.ToWeek.Value:
			when = "week " + number(p.FromWeek.Value)
		default:
			when = fmt.Sprintf("weeks %d–%d", p.FromWeek.Value, p.ToWeek.Value)
		}
		out = append(out, when+" at "+t.place(p.PlaceID))
	}
	for _, n := range c.NoTraining {
		out = append(out, "no training "+dates(n.From, n.To))
	}
	return strings.Join(out, "; ")
}

// dates prints a run of days.
func dates(from, to plan.Date) string {
	if from == to {
		return shortDate(from)
	}
	return shortDate(from) + " – " + shortDate(to)
}

// place gives the name that people see.
func (t *text) place(id string) string {
	for i := range t.p.Request.Constraints.Places {
		p := &t.p.Request.Constraints.Places[i]
		if p.ID != id && id != "" {
			continue
		}
		switch {
		case p.Name != "":
			return p.Name
		case p.Preset != plan.PresetUnspecified:
			return p.Preset.String()
		}
		return p.ID
	}
	return id
}

func (t *text) cautions() {
	if len(t.p.Cautions) == 0 {
		return
	}
	t.heading("Read first")
	for _, c := range t.p.Cautions {
		t.item(c.Says)
	}
}

func (t *text) assumptions() {
	if len(t.p.Assumptions) == 0 {
		return
	}
	t.heading("Assumed, because the request does not say")
	for _, a := range t.p.Assumptions {
		s := a.Says
		if a.Field != "" {
			s += " (" + a.Field + ")"
		}
		t.item(s)
	}
}

// strengths lists the 1RM that loads are made from, body mass moved with it told apart.
func (t *text) strengths() {
	if len(t.p.Strengths) == 0 {
		return
	}
	t.heading("Strength that the loads are made from")
	unit := t.p.Request.Constraints.Unit
	if unit == plan.UnitUnspecified {
		unit = plan.Kilogram
	}
	for i := range t.p.Strengths {
		s := &t.p.Strengths[i]
		out := t.name(s.ExerciseID) + ": 1RM "
		if s.Known == 0 && s.Borrowed != "" {
			out = t.name(s.ExerciseID) + ": not shown, perhaps "
		}
		out += plan.Kg(s.OneRMGrams).In(unit).Whole()
		if x := t.exercise(s.ExerciseID); x != nil && x.Loading.PerHand() {
			out += " a hand"
		}
		if s.SD > 0 {
			out += " ± " + s.SD.String()
		}
		if s.Share > 0 {
			out += ", body mass moved included"
		}
		if s.Known > 0 {
			out += ", from " + count(int(s.Known), "performance")
		} else if s.Borrowed != "" {
			out += ", estimated from your " + t.name(s.Borrowed) + "; its first session finds the load"
			t.item(out)
			continue
		}
		if n := len(s.Planned); n > 0 && s.Planned[n-1] != s.OneRMGrams {
			out += ", planned " + plan.Kg(s.Planned[n-1]).In(unit).Whole() + " in the last week"
		}
		t.item(out)
	}
}
