package conduct

import (
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/report"
)

// Standing is how far a trial is, without anything of its results.
type Standing struct {
	Title, Question string
	Version         int    // of the protocol
	Hash            string // of that version
	Began           plan.Date
	Frozen, Closed  bool
	Ended, Revealed bool
	Excluded        int
	Joined          int      // participants
	Enrolled        int      // units
	Waiting         []string // enrolled units without an arm, in order
	Arms            []ArmStanding
	Unready         []Unready
	Looks           int
}

// ArmStanding counts an arm, in participants.
type ArmStanding struct {
	Name                          string
	Assigned, Withdrawn, Measured int // Measured: at the end, on the first outcome
	Adverse, Serious              int // adverse events
}

// Unready is a participant whose unit can't be enrolled yet, and why.
type Unready struct {
	Participant string
	Misses      []string
}

// Standing tells how far the trial is; ok is false before it was created.
func (t *Trial) Standing() (s Standing, ok bool) {
	if len(t.versions) == 0 {
		return Standing{}, false
	}
	p := t.Protocol()
	s = Standing{
		Title: p.Title, Question: p.Question, Version: len(t.versions), Hash: t.versions[len(t.versions)-1].hash, Began: day(t.versions[0].at),
		Frozen: t.frozen != nil, Closed: t.closed, Ended: t.ended != nil, Revealed: t.revealed,
		Excluded: len(t.excluded), Joined: len(t.people), Enrolled: len(t.units), Looks: len(t.looks),
	}
	for _, a := range p.Arms {
		s.Arms = append(s.Arms, ArmStanding{Name: a.Name})
	}
	for _, u := range t.units {
		if _, is := t.assigned[u.ID]; !is {
			s.Waiting = append(s.Waiting, u.ID)
		}
	}
	for _, x := range t.people {
		if a, is := t.assigned[x.Unit]; is {
			x.count(&s.Arms[a.Arm], p.Outcomes[0].ID)
			continue
		}
		var misses []string
		if !t.enrolled[x.Unit] && !x.withdrawn {
			t.ready(x, func(says string) { misses = append(misses, says) })
		}
		if len(misses) > 0 {
			s.Unready = append(s.Unready, Unready{x.Participant, misses})
		}
	}
	return s, true
}

func (p *person) count(a *ArmStanding, outcome string) {
	a.Assigned++
	if p.withdrawn {
		a.Withdrawn++
	}
	if p.value(outcome, End).Set {
		a.Measured++
	}
	for _, h := range p.happened {
		if h.Kind != report.Adverse {
			continue
		}
		a.Adverse++
		if h.Serious {
			a.Serious++
		}
	}
}

// State is how far a trial is.
type State uint8

// States, each after the one before.
const (
	StateUnspecified State = iota // it was not created
	StateDraft                    // its protocol is not frozen
	StateEnrolling
	StateClosed // nobody else is enrolled
	StateEnded
	StateRevealed // its key is shown
)

// State tells how far the trial is.
func (s *Standing) State() State {
	switch {
	case s.Revealed:
		return StateRevealed
	case s.Ended:
		return StateEnded
	case s.Closed:
		return StateClosed
	case s.Frozen:
		return StateEnrolling
	}
	return StateDraft
}
