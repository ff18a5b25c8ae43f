package block

import (
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies/internal/build"
)

// line is what a block asks for when nobody says so.
type line struct {
	goal, other         plan.Range // repetitions
	goalSets, otherSets plan.Range
	effort              string
}

func span(lo, hi int32) plan.Range { return plan.Range{Min: lo, Max: hi} }

// suited gives the defaults of a block. Novices stay mild: they gain from any sensible
// load, learn lifts better with moderate ones and have no 1RM to peak (ACSM 2009: 8 to
// 12). Without a goal about a 1RM nothing calls for doubles.
func suited(b int, s plan.Status, strength, size bool) line {
	novice, sizeOnly := s == plan.Novice, size && !strength
	out := line{goalSets: build.GoalSets(s), otherSets: build.OtherSets(s), effort: "2"}
	switch b {
	case accumulation:
		out.goal, out.other = span(8, 10), span(8, 12)
		switch {
		case novice && sizeOnly:
			out.goal, out.other = span(10, 12), span(10, 15)
		case novice:
			out.goal, out.other = span(8, 12), span(10, 15)
		case sizeOnly:
			out.goal = span(8, 12)
		}
	case transmutation:
		out.goal, out.other = span(4, 6), span(6, 8)
		switch {
		case novice && sizeOnly:
			out.goal, out.other = span(8, 10), span(8, 12)
		case novice:
			out.goal, out.other = span(6, 8), span(8, 12)
		case sizeOnly:
			out.goal, out.other = span(6, 8), span(8, 10)
		case s == plan.Advanced:
			out.goal = span(3, 5)
		}
		out.goalSets.Max--
		out.otherSets = span(2, 3)
	case realization:
		out.goal, out.other = span(2, 3), span(6, 8)
		switch {
		case novice && sizeOnly:
			out.goal, out.other = span(6, 8), span(8, 12)
		case novice:
			out.goal, out.other = span(5, 6), span(8, 12)
		case sizeOnly:
			out.goal, out.other = span(4, 6), span(8, 10)
		}
		out.goalSets, out.otherSets = span(2, 3), span(2, 3)
		if !novice {
			out.effort = "1" // doubles from 90 % up
		}
	}
	return out
}

// athletes are those for whom defaults may differ from an intermediate's with general
// goals.
var athletes = [...]struct {
	who            string
	status         plan.Status
	strength, size bool
}{
	{"goals about size alone", plan.Intermediate, false, true},
	{"advanced", plan.Advanced, true, true},
	{"novice", plan.Novice, true, true},
	{"novice with goals about size alone", plan.Novice, false, true},
}

// varies spells out how a default depends on the athlete.
func varies(b int, of func(line) plan.Range) string {
	base := of(suited(b, plan.Intermediate, false, false))
	var out []string
	for _, a := range athletes {
		if r := of(suited(b, a.status, a.strength, a.size)); r != base {
			out = append(out, fmt.Sprintf("%s: %d to %d", a.who, r.Min, r.Max))
		}
	}
	return strings.Join(out, "; ")
}

func variesEffort(b int) string {
	if e := suited(b, plan.Novice, true, true).effort; e != suited(b, plan.Intermediate, false, false).effort {
		return "novice: " + e
	}
	return ""
}
