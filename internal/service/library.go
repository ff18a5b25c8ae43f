package service

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
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
const maxOwn = exercise.MaxOwn

// catalogueWith is the catalogue with own exercises; those with faults, which the engine
// is about to refuse, add nothing.
func (s *Service) catalogueWith(own []plan.OwnExercise) *exercise.Catalogue {
	c, err := s.engine.Catalogue().WithOwn(own)
	if err != nil {
		return s.engine.Catalogue()
	}
	return c
}

// withOwn adds to a request's own exercises those of other lists, and then those that the
// tenant has: of one id the first counts.
func withOwn(tx Tx, own []plan.OwnExercise, lists ...[]plan.OwnExercise) ([]plan.OwnExercise, error) {
	stored, err := ownExercises(tx, ID{})
	if err != nil {
		return nil, err
	}
	out, has := slices.Clone(own), map[string]bool{}
	for i := range own {
		has[own[i].ID] = true
	}
	add := func(o plan.OwnExercise) {
		if !has[o.ID] {
			has[o.ID] = true
			out = append(out, o)
		}
	}
	for _, list := range lists {
		for i := range list {
			add(list[i])
		}
	}
	for i := range stored {
		add(exercise.Own(&stored[i]))
	}
	return out, nil
}

// ofStored names the stored exercise that a fault is about, which no field of the call
// does: the catalogue may have grown one of the same name since.
func ofStored(err error, own []plan.OwnExercise) error {
	f, ok := fault.As(err)
	if !ok {
		return err
	}
	out := &fault.Error{Kind: f.Kind, Violations: slices.Clone(f.Violations)}
	for i := range out.Violations {
		v := &out.Violations[i]
		var at int
		if n, err := fmt.Sscanf(v.Field, "own_exercises[%d]", &at); err == nil && n == 1 && at < len(own) {
			v.Field, v.Says = "", fmt.Sprintf("the stored exercise %q: %s", own[at].ID, v.Says)
		}
	}
	return out
}

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
