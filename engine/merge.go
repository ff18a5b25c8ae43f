package engine

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// lane is one track of a plan with the outline of its segments. The lane without a
// name holds for everything that no other one does.
type lane struct {
	name    string
	path    string // of the track, for faults
	outline plan.Outline
}

// merge puts lanes side by side, week by week; all have as many weeks. The nameless
// lane, where there is one, comes first. What a lane says of its exercises stays as it
// is: the targets of a named lane carry its name, and where it has no session on a day,
// empty targets keep its exercises out of it.
//
// A phase of the whole ends wherever a phase of a lane ends. A week is a training week
// while one lane trains; what differs from that stands beside it, by lane.
func merge(lanes []lane) (plan.Outline, error) {
	if len(lanes) == 1 && lanes[0].name == "" {
		return lanes[0].outline, nil
	}
	var out plan.Outline
	at := make([]place, len(lanes))
	for i := range lanes {
		if i > 0 {
			out.Strategy += " | "
		}
		if lanes[i].name != "" {
			out.Strategy += lanes[i].name + ": "
		}
		out.Strategy += lanes[i].outline.Strategy
	}
	for range lanes[0].outline.WeekCount() {
		border := len(out.Phases) == 0
		for i := range lanes {
			border = at[i].into(&lanes[i].outline) || border
		}
		if border {
			out.Phases = append(out.Phases, sideBySide(lanes, at))
		}
		week, err := mergeWeek(lanes, at)
		if err != nil {
			return plan.Outline{}, err
		}
		ph := &out.Phases[len(out.Phases)-1]
		ph.Weeks = append(ph.Weeks, week)
		for i := range at {
			at[i].week++
		}
	}
	return out, nil
}

// place is a week of an outline.
type place struct{ phase, week int }

// into moves on to the next phase where the last one has ended.
func (p *place) into(o *plan.Outline) bool {
	if p.week < len(o.Phases[p.phase].Weeks) {
		return false
	}
	p.phase, p.week = p.phase+1, 0
	return true
}

func sideBySide(lanes []lane, at []place) plan.OutlinePhase {
	var names, aims []string
	for i := range lanes {
		ph := &lanes[i].outline.Phases[at[i].phase]
		if lanes[i].name == "" {
			names, aims = append(names, ph.Name), append(aims, ph.Aim)
			continue
		}
		names = append(names, lanes[i].name+": "+ph.Name)
		aims = append(aims, lanes[i].name+": "+ph.Aim)
	}
	return plan.OutlinePhase{Name: clipped(strings.Join(names, "; "), outlineMaxName), Aim: clipped(strings.Join(aims, " "), outlineMaxSentence)}
}

// clipped cuts a text at a rune, to at most so many bytes.
func clipped(s string, most int) string {
	if len(s) <= most {
		return s
	}
	const mark = "…"
	cut := most - len(mark)
	for cut > 0 && s[cut]&0xc0 == 0x80 {
		cut--
	}
	return s[:cut] + mark
}

func mergeWeek(lanes []lane, at []place) (plan.OutlineWeek, error) {
	weeks := make([]*plan.OutlineWeek, len(lanes))
	most := 0
	for i := range lanes {
		weeks[i] = &lanes[i].outline.Phases[at[i].phase].Weeks[at[i].week]
		most = max(most, len(weeks[i].Sessions))
	}
	out := plan.OutlineWeek{Kind: weeks[0].Kind, Dose: weeks[0].Dose}
	for i := range lanes {
		if weeks[i].Kind == plan.WeekTraining {
			out.Kind = plan.WeekTraining
		}
	}
	for i := range lanes {
		if lanes[i].name != "" || weeks[i].Kind != out.Kind { // the nameless one is the whole's else
			out.Tracks = append(out.Tracks, plan.TrackWeek{Track: lanes[i].name, Kind: weeks[i].Kind, Dose: weeks[i].Dose})
		}
	}
	for s := range most {
		session := plan.OutlineSession{Kind: plan.SessionTraining}
		var labels []string
		for i := range lanes {
			own := sessionAt(weeks[i], most, s)
			if own == nil {
				session.Targets = append(session.Targets, nothing(lanes[i].name)...)
				continue
			}
			if own.Group != "" {
				if session.Group != "" && session.Group != own.Group {
					return plan.OutlineWeek{}, fault.New(fault.Infeasible, "TRACKS_ROTATE", lanes[i].path,
						fmt.Sprintf("rotates its workouts otherwise than the tracks before it (%s and %s meet on one day); give all the same number of workouts, or rotate one alone", session.Group, own.Group))
				}
				session.Group = own.Group
			}
			if own.Label != "" {
				label := own.Label
				if lanes[i].name != "" {
					label = lanes[i].name + " " + label
				}
				labels = append(labels, label)
			}
			targets := nothing(lanes[i].name)
			for _, t := range own.Targets {
				targets[t.Role-plan.GoalLift].Schemes = t.Schemes
			}
			session.Targets = append(session.Targets, targets...)
		}
		session.Label = clipped(strings.Join(labels, ", "), outlineMaxName)
		slices.SortStableFunc(session.Targets, func(a, b plan.Target) int { return int(a.Role) - int(b.Role) })
		out.Sessions = append(out.Sessions, session)
	}
	return out, nil
}

// sessionAt finds a lane's session for place s of n: where it has fewer, they lie as far
// apart as they can.
func sessionAt(w *plan.OutlineWeek, n, s int) *plan.OutlineSession {
	for i, at := range spread(n, len(w.Sessions)) {
		if at == s {
			return &w.Sessions[i]
		}
	}
	return nil
}

// nothing keeps every exercise of a lane out of a session.
func nothing(track string) []plan.Target {
	out := make([]plan.Target, 0, plan.RoleCount-1)
	for r := plan.GoalLift; r < plan.RoleCount; r++ {
		out = append(out, plan.Target{Role: r, Track: track})
	}
	return out
}
