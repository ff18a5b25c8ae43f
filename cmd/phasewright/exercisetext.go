package main

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// listExercises prints a line each: id, pattern, muscles trained directly.
func listExercises(w io.Writer, list []*exercise.Exercise) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(w, "No exercise passes all of these filters.")
		return err
	}
	id, pattern := 0, 0
	for _, e := range list {
		id, pattern = max(id, utf8.RuneCountInString(e.ID)), max(pattern, len(e.Pattern.String()))
	}
	var b strings.Builder
	for _, e := range list {
		fmt.Fprintf(&b, "%-*s  %-*s  %s\n", id, e.ID, pattern, e.Pattern, muscles(e, exercise.Prime))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func muscles(e *exercise.Exercise, share plan.HalfSets) string {
	var out []string
	for m := plan.Muscle(1); m < plan.MuscleCount; m++ {
		if e.Involvement[m] == share {
			out = append(out, m.String())
		}
	}
	return strings.Join(out, ", ")
}

// showExercise prints all that a coach may want to check of one.
func showExercise(w io.Writer, e *exercise.Exercise) error {
	var b strings.Builder
	field := func(name, value string) {
		if value != "" {
			fmt.Fprintf(&b, "  %-18s %s\n", name, value)
		}
	}
	fmt.Fprintf(&b, "%s (%s)\n", e.Name, e.ID)
	field("pattern", e.Pattern.String())
	field("role", e.Role.String())
	field("trains directly", muscles(e, exercise.Prime))
	field("indirectly", muscles(e, exercise.Secondary))
	field("needs", needs(e.Equipment))
	field("loaded by", e.Loading.String())
	if len(e.AddedNeeds) > 0 {
		field("to add load", needs(e.AddedNeeds))
	}
	if kg := e.Step(plan.Kilogram); !kg.IsZero() {
		field("sensible step", kg.String()+" or "+e.Step(plan.Pound).String())
	}
	if e.Unilateral {
		field("sides", "one after the other")
	}
	if e.BodyMassShare > 0 {
		field("body mass moved", e.BodyMassShare.String())
	}
	field("skill", e.Skill.String())
	field("joints stressed", joints(e))
	field("fewest reps", fmt.Sprint(e.MinReps))
	field("time", fmt.Sprintf("%s to set up, %s a set, %s a repetition", e.Setup, e.SetSetup, e.Rep))
	if e.RelatedTo != "" {
		field("first guess of 1RM", e.RelatedRatio.String()+" of "+e.RelatedTo)
	}
	field("source", e.Source)
	_, err := io.WriteString(w, b.String())
	return err
}

func needs(alternatives [][]plan.Equipment) string {
	if len(alternatives) == 0 {
		return "the floor"
	}
	out := make([]string, len(alternatives))
	for i, alt := range alternatives {
		items := make([]string, len(alt))
		for k, item := range alt {
			items[k] = item.String()
		}
		out[i] = strings.Join(items, " + ")
	}
	return strings.Join(out, ", or ")
}

func joints(e *exercise.Exercise) string {
	var out []string
	for j := plan.Joint(1); j < plan.JointCount; j++ {
		switch e.Stresses(j) {
		case exercise.StressMild:
			out = append(out, j.String()+" (mild)")
		case exercise.StressMarked:
			out = append(out, j.String()+" (marked)")
		}
	}
	return strings.Join(out, ", ")
}
