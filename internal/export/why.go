package export

import (
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

var numberNames = [...]string{"", "sets", "repetitions", "load", "RIR", "rest", "order", "warm-up", "time", "choice"}

func numberName(n plan.Number) string {
	if int(n) < len(numberNames) {
		return numberNames[n]
	}
	return "number"
}

// basis prints the rule behind each number of an exercise, a line each where there is
// something to say about what went in.
func (t *text) basis(e *plan.ProgramExercise) {
	var plain []string
	for _, b := range e.Basis {
		s := numberName(b.Number)
		if len(b.Sets) > 0 {
			s += " of set " + runs(b.Sets)
		}
		s += ": " + string(b.Rule)
		if b.Input == "" {
			plain = append(plain, s)
			continue
		}
		t.wrap("    ", "      ", "why "+s+" ("+b.Input+")")
	}
	if len(plain) > 0 {
		t.wrap("    ", "      ", "why "+strings.Join(plain, "; "))
	}
}

// why resolves the rules, and says what else the program depends on.
func (t *text) why() {
	if len(t.p.Rules) > 0 {
		t.heading("Why these numbers")
	}
	for _, r := range t.p.Rules {
		says := strings.TrimSpace(r.Says)
		t.wrap("- ", "  ", string(r.ID)+": "+says+" Source: "+r.Source)
	}
	v := &t.p.Versions
	t.heading("Made with")
	t.wrap("", "  ", "strategy "+v.Strategy+" · engine "+v.Engine+" · rules "+v.Rules+" · catalogue "+v.Catalogue+" · curves "+v.Curves+" · document "+v.Document)
	t.wrap("", "  ", "request "+t.p.RequestDigest)
	t.wrap("", "  ", "program "+t.p.Digest)
}
