package service

import (
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
)

// Exercises are a tenant's own. Each has to fit into the catalogue beside the others:
// faults are those of exercise.Catalogue.With, below exercise.
func (s *Service) Exercises() Collection[OwnExercise, *OwnExercise] {
	return Collection[OwnExercise, *OwnExercise]{s, Tx.Exercises, func(tx Tx, e *OwnExercise) error {
		all, err := ownExercises(tx, e.ID)
		if err != nil {
			return err
		}
		with, err := s.engine.Catalogue().With(all)
		if err != nil { // the catalogue has grown since: what is new is judged alone
			with = s.engine.Catalogue()
		}
		_, err = with.With([]exercise.Exercise{e.Exercise})
		return ofOne(err)
	}}
}

// ofOne takes the list out of the paths of a fault about one exercise in it.
func ofOne(err error) error {
	f, ok := fault.As(err)
	if !ok {
		return err
	}
	out := &fault.Error{Kind: f.Kind, Violations: append([]fault.Violation(nil), f.Violations...)}
	for i := range out.Violations {
		out.Violations[i].Field = strings.Replace(out.Violations[i].Field, "exercises[0]", "exercise", 1)
	}
	return out
}

// maxOwn bounds the own exercises that a program can be made with.
const maxOwn = 1000

// ownExercises lists a tenant's but one, at most maxOwn.
func ownExercises(tx Tx, but ID) ([]exercise.Exercise, error) {
	page, err := tx.Exercises().List(Query{Size: maxOwn})
	if err != nil {
		return nil, err
	}
	var out []exercise.Exercise
	for i := range page.Items {
		if page.Items[i].ID != but {
			out = append(out, page.Items[i].Exercise)
		}
	}
	return out, nil
}

// Plans are plans that were saved.
func (s *Service) Plans() Collection[SavedPlan, *SavedPlan] {
	return Collection[SavedPlan, *SavedPlan]{service: s, shelf: Tx.Plans}
}
