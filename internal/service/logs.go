package service

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
)

// SessionLogs are what was really done. Exercises have to be there (Invalid
// UNKNOWN_EXERCISE), and the revision, where one is named, has to be one of a program of
// the athlete's with such a session (Invalid UNKNOWN_REVISION). What can't have been lifted is refused as
// engine.Engine.Estimate refuses it.
func (s *Service) SessionLogs() Collection[SessionLog, *SessionLog] {
	return Collection[SessionLog, *SessionLog]{s, Tx.SessionLogs, func(tx Tx, l *SessionLog) error {
		for i := range l.Exercises {
			if err := s.knownExercise(tx, fmt.Sprintf("exercises[%d].exercise_id", i), l.Exercises[i].ExerciseID); err != nil {
				return err
			}
		}
		if err := prescribed(tx, l); err != nil {
			return err
		}
		return s.credible(tx, l)
	}}
}

func prescribed(tx Tx, l *SessionLog) error {
	refuse := func(field, says string) error {
		return fault.New(fault.Invalid, ReasonUnknownRevision, field, says)
	}
	if l.Program == (ID{}) {
		if l.Week != 0 || l.Session != 0 {
			return refuse("program_revision", "is needed where a week or a session is given")
		}
		return nil
	}
	was, err := tx.SessionLogs().Get(l.ID)
	if err == nil && was.Program == l.Program && was.Revision == l.Revision && was.Week == l.Week && was.Session == l.Session {
		return nil // it was there, and may have been purged since
	}
	r, err := tx.Revision(l.Program, l.Revision)
	if f, ok := fault.As(err); ok && f.Kind == fault.NotFound || err == nil && r.Athlete != l.Athlete {
		return refuse("program_revision", "there is no such revision of a program of this athlete")
	}
	if err != nil || l.Week == 0 && l.Session == 0 {
		return err
	}
	for i := range r.Made.Phases {
		for j := range r.Made.Phases[i].Weeks {
			w := &r.Made.Phases[i].Weeks[j]
			if w.Number != l.Week {
				continue
			}
			if n := int32(len(w.Sessions)); l.Session > n {
				return refuse("session", fmt.Sprintf("week %d of this revision has %d sessions", l.Week, n))
			}
			return nil
		}
	}
	return refuse("week", "this revision has no such week")
}

// Measurements are numbers that were taken of athletes.
func (s *Service) Measurements() Collection[Measurement, *Measurement] {
	return Collection[Measurement, *Measurement]{service: s, shelf: Tx.Measurements}
}
