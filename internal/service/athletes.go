package service

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
)

// Athletes are the athletes of who calls. What they have shown is kept apart, so a profile
// holds none: Invalid PERFORMANCES_APART.
func (s *Service) Athletes() Collection[Athlete, *Athlete] {
	return Collection[Athlete, *Athlete]{s, Tx.Athletes, func(_ Tx, a *Athlete) error {
		if len(a.Profile.Performances) > 0 {
			return fault.New(fault.Invalid, ReasonApart, "profile.performances", "performances have names of their own: create them one by one below the athlete")
		}
		return nil
	}}
}

// Performances are what athletes have shown, in exercises that there are: else Invalid
// UNKNOWN_EXERCISE.
func (s *Service) Performances() Collection[Performance, *Performance] {
	return Collection[Performance, *Performance]{s, Tx.Performances, func(tx Tx, p *Performance) error {
		return s.knownExercise(tx, "performance.exercise_id", p.Shown.ExerciseID)
	}}
}

// knownExercise refuses ids of exercises that neither the catalogue nor the tenant has.
func (s *Service) knownExercise(tx Tx, field, id string) error {
	if _, ok := s.engine.Catalogue().ByID(id); ok {
		return nil
	}
	if CheckLabel(field, id) == nil {
		own, err := tx.Exercises().List(Query{Label: id, Size: 1})
		if err != nil {
			return err
		}
		if len(own.Items) > 0 {
			return nil
		}
	}
	says := fmt.Sprintf("there is no exercise %q, in the catalogue or of your own", id)
	if near := s.engine.Catalogue().Nearest(id, 1); len(near) > 0 {
		says += "; did you mean " + near[0] + "?"
	}
	return fault.New(fault.Invalid, ReasonUnknownExercise, field, says)
}
