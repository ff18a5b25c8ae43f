package strategies_test

import (
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// render prints an outline as a coach would read it. Sessions of a week that differ
// in nothing but their group are printed once.
func render(o *plan.Outline, r plan.OutlineRequest) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %d weeks, sessions %v, %s, strength %t, size %t\n", o.Strategy, r.Weeks, r.Sessions, r.Status, r.Strength, r.Size)
	number := 0
	for _, p := range o.Phases {
		fmt.Fprintf(&b, "\nphase %q: %s\n", p.Name, p.Aim)
		for _, w := range p.Weeks {
			number++
			fmt.Fprintf(&b, "  week %d, %s, dose %s%s\n", number, w.Kind, w.Dose, turns(w.Sessions))
			if len(w.Sessions) == 0 {
				b.WriteString("    no session\n")
				continue
			}
			first := targets(w.Sessions[0])
			if l := label(w.Sessions[0]); l != "" {
				fmt.Fprintf(&b, "    session 1%s\n", l)
			}
			b.WriteString(first)
			for i := 1; i < len(w.Sessions); i++ {
				if t := targets(w.Sessions[i]); t != first {
					fmt.Fprintf(&b, "    session %d%s differs:\n%s", i+1, label(w.Sessions[i]), t)
				}
			}
		}
	}
	return b.String()
}

func turns(sessions []plan.OutlineSession) string {
	out := ""
	for _, s := range sessions {
		out += " " + s.Group
	}
	if strings.TrimSpace(out) == "" {
		return fmt.Sprintf(", %d sessions", len(sessions))
	}
	return "," + out
}

func label(s plan.OutlineSession) string {
	if s.Label == "" || s.Label == s.Group {
		return ""
	}
	return " (" + s.Label + ")"
}

func targets(s plan.OutlineSession) string {
	var b strings.Builder
	for _, t := range s.Targets {
		fmt.Fprintf(&b, "    %-13s", t.Role)
		for i := range t.Schemes {
			if i > 0 {
				b.WriteString(" + ")
			}
			b.WriteString(scheme(&t.Schemes[i]))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

func span(lo, hi int32) string {
	if lo == hi {
		return fmt.Sprint(lo)
	}
	return fmt.Sprintf("%d–%d", lo, hi)
}

func scheme(s *plan.Scheme) string {
	out := span(s.Sets.Min, s.Sets.Max)
	if s.Sets.Fixed {
		out += "!"
	}
	out += " × " + span(s.Reps.Min, s.Reps.Max)
	if !s.Hold.IsZero() {
		out += " or " + span(s.Hold.Min, s.Hold.Max) + " s"
	}
	if s.OpenEnded {
		out += "+"
	}
	if in := s.Effort.Intensity; in.Set {
		out += " @ " + in.Value.String()
		switch ref := s.Effort.Reference; ref.Kind {
		case plan.RefRM:
			out += fmt.Sprintf(" of the %dRM", ref.RM)
		case plan.RefSetBefore:
			out += " of the set before, moved by the table"
		}
	}
	if s.Effort.ToFailure {
		out += ", to failure"
	} else if rir := s.Effort.RIR; rir.Set {
		out += fmt.Sprintf(", RIR %d", rir.Value)
	}
	out += ", rest " + s.Rest.String()
	if s.Effort.Reference.Kind == plan.RefLatest {
		out += ", load deferred"
	}
	return out
}
