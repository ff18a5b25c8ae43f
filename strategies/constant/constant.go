// Package constant keeps the same repetition ranges from the first week to the last.
// It is the plain way to train and the control that others are compared with.
package constant

import (
	"context"
	"fmt"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies/internal/build"
)

const (
	name, version = "constant", "1"

	minWeeks, maxWeeks = 1, 52

	goalReps     = "goal_reps"
	otherReps    = "other_reps"
	singleReps   = "single_joint_reps"
	effort       = "effort"
	deferredFrom = "deferred_from"

	// Heavy goal lifts gain no strength from the last repetition before failure
	// (Robinson 2024).
	heavyRIR, heavyReps = 2, 6
)

// Strategy implements engine.Strategy.
type Strategy struct{}

var _ engine.Strategy = Strategy{}

// Describe gives the descriptor.
func (Strategy) Describe() plan.Descriptor {
	specs := append(build.Common(2, "novice: 1"), build.SetsParams()...)
	specs = append(specs, build.ListParams("")...)
	specs = append(specs,
		build.Varying(build.Range(goalReps, plan.Range{Min: 6, Max: 12}, 1, 30, "repetitions", "Repetitions of a goal lift.",
			"ACSM 2009, ACSM 2026; Lopez 2021: heavy loads for 1RM, any for size"),
			"novice: 8 to 12; where a goal is about a 1RM: novice 5 to 8, intermediate 4 to 6, advanced 3 to 6"),
		build.Range(otherReps, plan.Range{Min: 8, Max: 12}, 1, 30, "repetitions", "Repetitions of other multi-joint lifts.", "ACSM 2009 (from memory)"),
		build.Range(singleReps, plan.Range{Min: 10, Max: 15}, 8, 30, "repetitions", "Repetitions of single-joint exercises.", build.Practice),
		build.Varying(build.EffortParam(effort, "1", "Effort of the last set in the last week.", build.EffortSource),
			"novice: 2; goal lifts of 6 repetitions or fewer where a goal is about a 1RM: 2"),
		build.RestParam(build.Rests, ""),
		build.Number(deferredFrom, 0, 0, maxWeeks, "week",
			"From this week on loads are no numbers but a share of the athlete's own latest estimate on the day. 0: never.", build.Practice),
	)
	return plan.Descriptor{
		Name: name, Version: version,
		Says: "The same repetition ranges all through, heavier for goal lifts where strength is the goal. Progress comes from load and repetitions; effort and weekly sets rise through the weeks.",
		Claims: "Raises strength and size like other ways to order the same work: no periodisation model has a consistent advantage (ACSM 2026). " +
			"With equal volume, varied plans raised the 1RM somewhat more (0.31, 95 % CI 0.04 to 0.57) and size not clearly (0.13, −0.10 to 0.36; Moesgaard 2022).",
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
	build.CheckLists(c, &v)
	if err := c.Err(); err != nil {
		return nil, err
	}
	return &instance{v}, nil
}

type instance struct{ v engine.Values }

func defaultGoalReps(r *plan.OutlineRequest) plan.Range {
	switch {
	case r.Strength && r.Status == plan.Novice:
		return plan.Range{Min: 5, Max: 8}
	case r.Strength && r.Status == plan.Advanced:
		return plan.Range{Min: 3, Max: 6}
	case r.Strength:
		return plan.Range{Min: 4, Max: 6}
	case r.Status == plan.Novice:
		return plan.Range{Min: 8, Max: 12}
	}
	return plan.Range{Min: 6, Max: 12}
}

// Outline plans the weeks.
func (in *instance) Outline(ctx context.Context, r plan.OutlineRequest) (plan.Outline, error) {
	if err := build.Check(ctx, r, minWeeks, maxWeeks); err != nil {
		return plan.Outline{}, err
	}
	from := in.v.Whole(deferredFrom)
	if from > r.Weeks {
		return plan.Outline{}, build.NotHere(deferredFrom, "lies after the last week; a week of the plan or 0 is right")
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
	goal := build.RangeOr(&in.v, goalReps, defaultGoalReps(&r))
	goalList, otherList, singleList := in.v.Sets(build.GoalList), in.v.Sets(build.OtherList), in.v.Sets(build.SingleList)
	heavy := r.Strength && build.Most(goalList, goal) <= heavyReps && !in.v.Given(effort)
	goalSets, sets := build.SetsOf(&in.v, r.Status)
	rest := plan.Seconds(in.v.Whole(build.Rests))

	n := int32(0)
	for _, d := range deload {
		if !d {
			n++
		}
	}
	weeks := make([]plan.OutlineWeek, r.Weeks)
	i := int32(0)
	for w := range weeks {
		at := i
		if deload[w] {
			at = max(i-1, 0) // a deload eases the week before
		}
		now := build.Eased(last, easeBy, at, n)
		goalNow := now
		if heavy {
			goalNow = now.AtLeast(heavyRIR)
		}
		weeks[w] = plan.OutlineWeek{
			Kind: plan.WeekTraining, Dose: build.Dose(at, n),
			Sessions: rotation.Week(r.Sessions[w], build.Work{
				Goal:     build.Line{Sets: goalSets, Reps: goal, Rest: rest, Effort: goalNow, List: goalList},
				Multi:    build.Line{Sets: sets, Reps: in.v.Range(otherReps), Rest: rest, Effort: now, List: otherList},
				Single:   build.Line{Sets: sets, Reps: in.v.Range(singleReps), Rest: rest, Effort: now, List: singleList},
				Deferred: from > 0 && int32(w)+1 >= from,
				Status:   r.Status,
			}),
		}
		if deload[w] {
			build.Lighten(&weeks[w])
		} else {
			i++
		}
	}
	aim := "The same work all through: goal lifts " + build.ListText(goalList, goal) + ", other multi-joint lifts " +
		build.ListText(otherList, in.v.Range(otherReps)) + ", single-joint exercises " + build.ListText(singleList, in.v.Range(singleReps)) +
		" repetitions. " + build.Course(last, easeBy, n, goalSets, sets)
	if heavy && last.RIR < heavyRIR {
		aim += fmt.Sprintf(" Goal lifts keep RIR %d or more.", heavyRIR)
	}
	if list := build.WeekList(deload); list != "" {
		aim += " Deload: " + list + "."
	}
	return plan.Outline{
		Strategy: name + "@" + version,
		Phases:   []plan.OutlinePhase{{Name: "constant", Aim: aim, Weeks: weeks}},
	}, nil
}
