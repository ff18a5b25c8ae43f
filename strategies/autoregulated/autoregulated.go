// Package autoregulated lets what was done in one set decide the load of the next, and
// of the next session: sets that lead up to a repetition maximum, as many repetitions
// as possible at it, and as many as possible at a load that a table moves.
package autoregulated

import (
	"context"
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies/internal/build"
)

const (
	name, version = "autoregulated", "1"

	minWeeks, maxWeeks = 1, 52

	maxima     = "maxima"
	holdsFor   = "holds_for"
	step       = "step"
	stepUnit   = "step_unit"
	otherReps  = "other_reps"
	singleReps = "single_joint_reps"
	effort     = "effort"

	goalLifts, multiJoint = "goal", "multi-joint"
	pounds, kilograms     = "lb", "kg"

	kilogramStep = 2500 // thousandths; as usual where plates are in kg (common practice, no source)

	source = "Knight 1979, Mann 2010 (tables from memory)"
)

// Strategy implements engine.Strategy.
type Strategy struct{}

var _ engine.Strategy = Strategy{}

// Describe gives the descriptor.
func (Strategy) Describe() plan.Descriptor {
	specs := append(build.Common(2, "novice: 1"), build.SetsParams()[1])
	aims := build.List(maxima, 2, 12, "repetitions", "The repetition maximum that each session aims at; they take turns from session to session, whatever day it falls on.",
		"Knight 1979: 6; Mann 2010: 3, 6 and 10 (from memory)")
	aims.Default.List = []int32{6}
	steps := build.Number(step, 5, 0, 20, "lb or kg, as step_unit says", "One step of the tables.", source)
	steps.Min, steps.Whole = 250, false
	specs = append(specs, aims, build.Varying(steps, "with step_unit kg: 2.5"),
		build.Choice(stepUnit, []string{pounds, kilograms}, pounds, "Unit of the step.", source),
		build.Choice(holdsFor, []string{goalLifts, multiJoint}, goalLifts,
			"What is done by the tables. goal: goal lifts; multi-joint: other multi-joint lifts too. The rest keeps "+otherReps+" and "+singleReps+".", "Mann 2010: main lifts; "+build.Practice),
		build.Range(otherReps, plan.Range{Min: 8, Max: 12}, 1, 30, "repetitions", "Repetitions of other multi-joint lifts.", "ACSM 2009 (from memory)"),
		build.Range(singleReps, plan.Range{Min: 10, Max: 15}, 8, 30, "repetitions", "Repetitions of single-joint exercises.", build.Practice),
		build.Varying(build.EffortParam(effort, "1", "Effort of the last set in the last week of what is not done by the tables.", build.EffortSource), "novice: 2"),
		build.RestParam(build.Rests, ""),
	)
	for i := range tables {
		specs = append(specs, tables[i].params()...)
	}
	return plan.Descriptor{
		Name: name, Version: version,
		Says: "Goal lifts: two sets that lead up to a repetition maximum, a set of as many repetitions as possible at it, then another at a load that the repetitions of the set before move by a table. " +
			"Those of the last set move the next session's load. Someone has to be able to catch the bar. Other exercises keep their ranges; effort and weekly sets rise through the weeks.",
		Claims: "One study of 23 college players over six weeks: the bench press rose by 93.4 N, under a linear plan it did not (−0.4 N; Mann 2010). " +
			"One small study decides nothing, and no way to order or regulate training has a consistent advantage (ACSM 2026). The tables are from memory; those for maxima other than 3, 6 and 10 are the nearest of these.",
		MinWeeks: minWeeks, MaxWeeks: maxWeeks,
		Params: build.Sorted(specs...),
	}
}

// Parse checks parameters.
func (s Strategy) Parse(params []plan.Param) (engine.Instance, error) {
	v, err := engine.ParseParams(s.Describe().Params, params)
	if err != nil {
		return nil, err
	}
	c := fault.NewCollector(fault.Invalid)
	build.CheckCommon(c, &v)
	for i := range tables {
		tables[i].check(c, &v)
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	return &instance{v}, nil
}

type instance struct{ v engine.Values }

// oneStep gives a step of the tables in its unit.
func (in *instance) oneStep() plan.Load {
	out := plan.Load{Milli: in.v.Milli(step), Unit: plan.Pound}
	if in.v.Text(stepUnit) == kilograms {
		out.Unit = plan.Kilogram
		if !in.v.Given(step) {
			out.Milli = kilogramStep
		}
	}
	return out
}

// Outline plans the weeks.
func (in *instance) Outline(ctx context.Context, r plan.OutlineRequest) (plan.Outline, error) {
	if err := build.Check(ctx, r, minWeeks, maxWeeks); err != nil {
		return plan.Outline{}, err
	}
	shared := build.SharedOf(&in.v)
	deload := build.DeloadWeeks(shared.Deload(r), r.Weeks)
	rotation := shared.Rotation()
	easeBy := int32(2)
	if r.Status == plan.Novice {
		easeBy = 1
	}
	easeBy = shared.Ease(easeBy)
	last := build.EffortOr(&in.v, effort, build.LastEffort(r.Status))
	_, sets := build.SetsOf(&in.v, r.Status)
	aims := in.v.List(maxima)
	one := in.oneStep()

	n := int32(0)
	for _, d := range deload {
		if !d {
			n++
		}
	}
	weeks := make([]plan.OutlineWeek, r.Weeks)
	i, sessions := int32(0), int32(0)
	for w := range weeks {
		at := i
		if deload[w] {
			at = max(i-1, 0) // a deload eases the week before
		}
		now := build.Eased(last, easeBy, at, n)
		weeks[w] = plan.OutlineWeek{
			Kind: plan.WeekTraining, Dose: build.Dose(at, n),
			Sessions: rotation.Each(r.Sessions[w], func(int32) (build.Work, string) {
				aim := aims[build.Turn(sessions, int32(len(aims)), rotation.Workouts)]
				sessions++
				return in.work(aim, one, now, sets, r.Status), fmt.Sprintf("%dRM", aim)
			}),
		}
		if deload[w] {
			build.Lighten(&weeks[w])
		} else {
			i++
		}
	}
	return plan.Outline{
		Strategy: name + "@" + version,
		Phases:   []plan.OutlinePhase{{Name: name, Aim: in.aim(aims, last, easeBy, n, sets, deload), Weeks: weeks}},
	}, nil
}

func (in *instance) work(aim int32, one plan.Load, now build.Effort, sets plan.SetCount, s plan.Status) build.Work {
	rest := plan.Seconds(in.v.Whole(build.Rests))
	table := tableFor(aim)
	list := func(role plan.Role) []plan.Scheme {
		between := rest
		if between == 0 {
			between = build.Rest(role, plan.Range{Min: aim, Max: aim})
		}
		return table.schemes(&in.v, aim, one, between)
	}
	w := build.Work{
		Goal:   build.Line{Sets: sets, Reps: in.v.Range(otherReps), Rest: rest, Effort: now, List: list(plan.GoalLift)},
		Multi:  build.Line{Sets: sets, Reps: in.v.Range(otherReps), Rest: rest, Effort: now},
		Single: build.Line{Sets: sets, Reps: in.v.Range(singleReps), Rest: rest, Effort: now},
		Status: s,
	}
	if in.v.Text(holdsFor) == multiJoint {
		w.Multi.List = list(plan.MultiJoint)
	}
	return w
}

func (in *instance) aim(aims []int32, last build.Effort, easeBy, n int32, sets plan.SetCount, deload []bool) string {
	out := "Goal lifts"
	if in.v.Text(holdsFor) == multiJoint {
		out = "Multi-joint lifts"
	}
	out += " by what the day shows: as many repetitions as possible at the "
	const most = 6 // in a sentence
	for i, a := range aims[:min(len(aims), most)] {
		if i > 0 {
			out += ", "
		}
		out += fmt.Sprintf("%dRM", a)
	}
	if len(aims) > most {
		out += " and so on"
	}
	if len(slices.Compact(slices.Clone(aims))) > 1 {
		out += " in turn"
	}
	out += ", then at a load that the table moves. Other exercises: " + build.Course(last, easeBy, n, sets)
	if list := build.WeekList(deload); list != "" {
		out += " Deload without sets of as many as possible: " + list + "."
	}
	return out
}
