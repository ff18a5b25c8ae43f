package main

import (
	"regexp"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

var moreReps = regexp.MustCompile(`^[0-9]+(?: ?@ ?(?:rir|rpe)? ?[0-9.]+)?$`)

// parseSets reads sets of one exercise as a coach writes them: 100kgx5,5,4@1. Repetitions
// alone are of the load before; one effort at the end, where there is no other, is that of
// each set. A set without effort says nothing of what was left.
func parseSets(arg string, unit plan.MassUnit) ([]service.LoggedSet, error) {
	arg = strings.ToLower(strings.Join(strings.Fields(arg), " "))
	at := strings.IndexAny(arg, "x×*")
	if at < 0 {
		_, err := parseSet(arg, unit)
		return nil, err
	}
	load := arg[:at]
	var words []string
	for i, w := range strings.Split(arg[at:], ",") { // a comma before is of the load
		w = strings.TrimSpace(w)
		switch {
		case i == 0:
			w = load + w
		case moreReps.MatchString(w):
			w = load + "x" + w
		default:
			if j := strings.IndexAny(w, "x×*"); j >= 0 {
				load = w[:j]
			}
		}
		words = append(words, w)
	}
	efforts := strings.Count(arg, "@")
	last := words[len(words)-1]
	var out []service.LoggedSet
	for _, w := range words {
		if j := strings.Index(last, "@"); efforts == 1 && j >= 0 && !strings.Contains(w, "@") {
			w += last[j:]
		}
		s, err := parseSet(w, unit)
		if err != nil {
			return nil, err
		}
		set := service.LoggedSet{Reps: s.Reps, Load: s.Load, RIR: s.RIR}
		out = append(out, set)
	}
	return out, nil
}
