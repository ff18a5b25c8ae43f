// Package strengthsize trains heavy first and for size afterwards, on the idea that a
// stronger athlete moves more load for the same repetitions.
package strengthsize

import (
	"context"
	"fmt"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies/internal/build"
)

const (
	name, version = "strength-then-size", "1"

	minWeeks, maxWeeks = 4, 52

	heavyWeeks     = "heavy_weeks"
	heavySets      = "heavy_sets"
	heavyReps      = "heavy_reps"
	heavyOtherReps = "heavy_other_reps"
	heavyEffort    = "heavy_effort"
	heavyRest      = "heavy_rest"
	sizeSets       = "size_sets"
	sizeReps       = "size_reps"
	sizeEffort     = "size_effort"
	sizeRest       = "size_rest"
	deferred       = "deferred"

	easeDefault = 1
)

// Strategy implements engine.Strategy.
type Strategy struct{}

var _ engine.Strategy = Strategy{}

// Describe gives the descriptor.
func (Strategy) Describe() plan.Descriptor {
	specs := append(build.Common(easeDefault, ""),
		build.Number(heavyWeeks, 0, 0, 40, "weeks", "Weeks of the strength phase. 0: three eighths of the plan. At least one week is left for size.", build.Practice),
		build.Varying(build.Range(heavySets, plan.Range{Min: 3, Max: 5}, 1, 8, "sets",
			"Sets of goal lifts and other multi-joint lifts in the strength phase. One number (4 to 4) is kept whatever the weekly dose; a range lets the dose choose.",
			"ACSM 2026: 2 to 3 sets for strength; "+build.Practice), "novice: 2 to 4"),
		build.Varying(build.Range(heavyReps, plan.Range{Min: 4, Max: 6}, 1, 12, "repetitions", "Repetitions of goal lifts in the strength phase.",
			"ACSM 2009, ACSM 2026: about 80 % and more for strength"), "novice: 5 to 8"),
		build.Varying(build.Range(heavyOtherReps, plan.Range{Min: 5, Max: 8}, 1, 12, "repetitions", "Repetitions of other multi-joint lifts in the strength phase.",
			build.Practice), "novice: 6 to 10"),
		build.EffortParam(heavyEffort, "2", "Effort of the last set at the end of the strength phase.", build.EffortSource),
		build.RestParam(heavyRest, " in the strength phase"),
		build.Varying(build.Range(sizeSets, plan.Range{Min: 2, Max: 4}, 1, 8, "sets",
			"Sets of loaded exercises in the size phase. One number (4 to 4) is kept whatever the weekly dose; a range lets the dose choose.",
			"Krieger 2010 (from memory)"), "novice: 2 to 3"),
		build.Range(sizeReps, plan.Range{Min: 8, Max: 12}, 5, 30, "repetitions", "Repetitions of loaded exercises in the size phase; single-joint ones at least 8.",
			"ACSM 2009; Lopez 2021: any load serves size"),
		build.Varying(build.EffortParam(sizeEffort, "1", "Effort of the last set at the end of the size phase.", build.EffortSource), "novice: 2"),
		build.RestParam(sizeRest, " in the size phase"),
		build.YesNo(deferred, "Loads of the size phase are no numbers but a share of the athlete's own latest estimate on the day.", build.Practice),
	)
	return plan.Descriptor{
		Name: name, Version: version,
		Says: "A phase of heavy work for strength, then a phase of moderate repetitions for size. Single-joint, trunk and unloadable exercises stay moderate in both.",
		Claims: "Heavy loads raise the 1RM more than light ones (Lopez 2021); growth is much the same whatever the load. That strength first makes the size phase better is an idea, not a finding: " +
			"no order of phases has a consistent advantage (ACSM 2026), and for size varied plans were not clearly better with equal volume (0.13, 95 % CI −0.10 to 0.36; Moesgaard 2022).",
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
	if err := c.Err(); err != nil {
		return nil, err
	}
	return &instance{v}, nil
}

type instance struct{ v engine.Values }

// Outline plans the weeks.
func (in *instance) Outline(ctx context.Context, r plan.OutlineRequest) (plan.Outline, error) {
	if err := build.Check(ctx, r, minWeeks, maxWeeks); err != nil {
		return plan.Outline{}, err
	}
	first := in.v.Whole(heavyWeeks)
	if first == 0 {
		first = (3*r.Weeks + 4) / 8
	}
	if first >= r.Weeks {
		return plan.Outline{}, build.NotHere(heavyWeeks, fmt.Sprintf("is %d of %d weeks; 1 to %d leave a week for size", first, r.Weeks, r.Weeks-1))
	}
	shared := build.SharedOf(&in.v)
	deload := build.DeloadWeeks(shared.Deload(r), first, r.Weeks-first)
	rotation := shared.Rotation()
	easeBy := shared.Ease(easeDefault)

	out := plan.Outline{Strategy: name + "@" + version}
	week := int32(0)
	for _, p := range [...]build.Phase{in.strength(r.Status, first), in.size(r.Status, r.Weeks-first)} {
		out.Phases = append(out.Phases, p.Outline(week, r.Sessions, deload, easeBy, &rotation))
		week += p.Weeks
	}
	return out, nil
}

func (in *instance) strength(s plan.Status, weeks int32) build.Phase {
	goal, multi, sets := plan.Range{Min: 4, Max: 6}, plan.Range{Min: 5, Max: 8}, plan.Range{Min: 3, Max: 5}
	single := plan.Range{Min: 8, Max: 12}
	if s == plan.Novice {
		goal, multi, sets = plan.Range{Min: 5, Max: 8}, plan.Range{Min: 6, Max: 10}, plan.Range{Min: 2, Max: 4}
		single = plan.Range{Min: 10, Max: 15}
	}
	goal = build.RangeOr(&in.v, heavyReps, goal)
	multi = build.RangeOr(&in.v, heavyOtherReps, multi)
	count := build.Sets(build.RangeOr(&in.v, heavySets, sets))
	rest := plan.Seconds(in.v.Whole(heavyRest))
	return build.Phase{
		Name: "strength", Weeks: weeks, Effort: build.EffortOf(in.v.Text(heavyEffort)), Scaled: []plan.SetCount{count},
		Aim: "Heavy work for strength: goal lifts " + build.RangeText(goal) + ", other multi-joint lifts " + build.RangeText(multi) + " repetitions.",
		Work: func(e build.Effort) build.Work {
			return build.Work{
				Goal:  build.Line{Sets: count, Reps: goal, Rest: rest, Effort: e},
				Multi: build.Line{Sets: count, Reps: multi, Rest: rest, Effort: e},
				// Small exercises keep their own rest: a long one is for heavy loads.
				Single: build.Line{Sets: plan.ScaledSets(2, 3), Reps: single, Effort: e},
				Status: s,
			}
		},
	}
}

func (in *instance) size(s plan.Status, weeks int32) build.Phase {
	sets := plan.Range{Min: 2, Max: 4}
	if s == plan.Novice {
		sets.Max = 3
	}
	count := build.Sets(build.RangeOr(&in.v, sizeSets, sets))
	reps := in.v.Range(sizeReps)
	rest := plan.Seconds(in.v.Whole(sizeRest))
	effort := build.EffortOr(&in.v, sizeEffort, build.LastEffort(s))
	return build.Phase{
		Name: "size", Weeks: weeks, Effort: effort, Scaled: []plan.SetCount{count},
		Aim: "Moderate loads for size: " + build.RangeText(reps) + " repetitions.",
		Work: func(e build.Effort) build.Work {
			return build.Work{
				Goal:     build.Line{Sets: count, Reps: reps, Rest: rest, Effort: e},
				Multi:    build.Line{Sets: count, Reps: reps, Rest: rest, Effort: e},
				Single:   build.Line{Sets: count, Reps: build.Floored(reps), Rest: rest, Effort: e},
				Deferred: in.v.Bool(deferred),
				Status:   s,
			}
		},
	}
}
