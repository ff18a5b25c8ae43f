package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
	"github.com/phasewright/phasewright/internal/wire"
)

type exerciseFlags struct {
	muscle, pattern, equipment, preset string
	json                               bool
}

func (p *program) exercises() *cobra.Command {
	var f exerciseFlags
	cmd := &cobra.Command{
		Use:   "exercises [ID]",
		Short: "List the exercises, or show one",
		Example: `  phasewright exercises --muscle chest
  phasewright exercises --pattern hinge --place-preset dumbbells
  phasewright exercises back-squat`,
		Args: cobra.MaximumNArgs(1),
		RunE: p.do(func(cmd *cobra.Command, args []string) error { return p.runExercises(cmd.Context(), &f, args) }),
	}
	flags := cmd.Flags()
	flags.StringVar(&f.muscle, "muscle", "", "only those that train this muscle directly")
	flags.StringVar(&f.pattern, "pattern", "", "only those of this movement pattern")
	flags.StringVar(&f.equipment, "equipment", "", "only those that can use this")
	flags.StringVar(&f.preset, "place-preset", "", "only those possible with this equipment: "+strings.Join(tokens(plan.PresetFullGym, plan.PresetMachines), ", "))
	flags.BoolVar(&f.json, "json", false, "print them as JSON")
	return p.served(cmd)
}

func (p *program) runExercises(ctx context.Context, f *exerciseFlags, args []string) error {
	m, err := p.maker()
	if err != nil {
		return err
	}
	cat, err := m.Catalogue(ctx)
	if err != nil {
		return err
	}
	var list []*exercise.Exercise
	if len(args) == 1 {
		e, ok := cat.ByID(args[0])
		if !ok {
			return unknownExercise(cat, args[0])
		}
		list = append(list, e)
	} else if list, err = f.filter(cat); err != nil {
		return err
	}
	if f.json {
		m := &pb.ListExercisesResponse{}
		for _, e := range list {
			m.Exercises = append(m.Exercises, wire.ExerciseToProto(e))
		}
		out, err := wire.Marshal(m)
		if err != nil {
			return err
		}
		_, err = p.out.Write(out)
		return err
	}
	if len(args) == 1 {
		return showExercise(p.out, list[0])
	}
	return listExercises(p.out, list)
}

func unknownExercise(cat *exercise.Catalogue, id string) error {
	if near := cat.Nearest(id, 3); len(near) > 0 {
		return wrong("there is no exercise %q; did you mean %s?", id, strings.Join(near, " or "))
	}
	return wrong("there is no exercise %q; phasewright exercises lists them", id)
}

// filter gives the exercises that pass all filters.
func (f *exerciseFlags) filter(cat *exercise.Catalogue) ([]*exercise.Exercise, error) {
	muscle, err := parseMuscle(f.muscle)
	if err != nil {
		return nil, err
	}
	pattern, err := parsePattern(f.pattern)
	if err != nil {
		return nil, err
	}
	item, err := parseEquipment(f.equipment)
	if err != nil {
		return nil, err
	}
	preset, err := parsePreset(f.preset)
	if err != nil {
		return nil, err
	}
	place := exercise.ExpandPreset(plan.Place{Preset: preset}, plan.Kilogram)
	var out []*exercise.Exercise
	for _, e := range cat.All() {
		if muscle != 0 && e.Involvement[muscle] != exercise.Prime || pattern != 0 && e.Pattern != pattern ||
			item != 0 && !uses(e, item) || preset != 0 && !e.Available(&place) {
			continue
		}
		out = append(out, e)
	}
	return out, nil
}

func uses(e *exercise.Exercise, item plan.Equipment) bool {
	for _, alt := range e.Equipment {
		for _, i := range alt {
			if i == item {
				return true
			}
		}
	}
	return e.Bar == item
}
