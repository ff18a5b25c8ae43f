// Package block trains in blocks, each with one concern: accumulation of work,
// transmutation into strength with heavier loads, realization with few heavy sets. A
// long plan runs through them more than once.
package block

import (
	"context"
	"fmt"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies/internal/build"
)

const (
	name, version = "block", "1"

	minWeeks, maxWeeks = 4, 52

	cyclesName  = "cycles"
	easeDefault = 1

	// What is only maintained leaves the effort to the goal lifts (common practice, no
	// source).
	maintainedRIR = 2
)

// The blocks, in their order.
const (
	accumulation = iota
	transmutation
	realization
	blocks
)

var blockNames = [blocks]string{"accumulation", "transmutation", "realization"}

// param names a parameter of a block.
func param(b int, what string) string { return blockNames[b] + "_" + what }

// What there is to set in a block.
const (
	weeksOf     = "weeks"
	repsOf      = "reps"
	otherRepsOf = "other_reps"
	setsOf      = "sets"
	otherSetsOf = "other_sets"
	effortOf    = "effort"
	restOf      = "rest"
)

// Doses fall from block to block: what heavy work costs in recovery is saved in sets.
// Accumulation climbs to the full dose (shares are common practice, no source; the
// last block is a taper in all but name, Pritchard 2015: -30 to -70 %, from memory).
var doses = [blocks]plan.Permille{transmutation: 800, realization: 600}

// Strategy implements engine.Strategy.
type Strategy struct{}

var _ engine.Strategy = Strategy{}

// Describe gives the descriptor.
func (Strategy) Describe() plan.Descriptor {
	specs := build.Reworded(build.Common(easeDefault, ""), build.DeloadEveryName,
		"Every so many weeks is a deload: half the sets, two repetitions more in reserve. It closes a block where it can, earlier or a week later; realization, which is light by itself, counts as one. 0: none.")
	specs = append(specs, build.Number(cyclesName, 0, 0, 13, "cycles",
		"How often the three blocks are gone through, with as even a number of weeks as possible. 0: as often as the weeks set for blocks fit; where none are set, once in plans up to 12 weeks, else so that none is longer.",
		build.Practice))
	for b := range blocks {
		specs = append(specs, params(b)...)
	}
	return plan.Descriptor{
		Name: name, Version: version,
		Says: "Three blocks one after the other: accumulation (most sets, moderate repetitions), transmutation (heavier, fewer sets), realization (few sets, heaviest in goal lifts, everything else maintained at moderate repetitions); " +
			"long plans repeat them. Trunk, explosive and unloadable exercises keep their repetitions.",
		Claims: "That each block builds on what the last one left behind is an idea (Issurin 2008, 2010, from memory), not a finding. Ten weeks of blocks against daily undulating in track athletes: no difference in strength, with less work in the blocks (Painter 2012); one study doesn't decide. " +
			"Ends with heavy work, which raises the 1RM more than light work does (Lopez 2021); growth is much the same whatever the load. No periodisation model has a consistent advantage (ACSM 2026).",
		MinWeeks: minWeeks, MaxWeeks: maxWeeks,
		Params: build.Sorted(specs...),
	}
}

const issurin = "Issurin 2008, 2010 (from memory)"

var texts = [blocks]struct {
	mostWeeks               int64
	weeks, weeksSource      string
	repsSource, otherSource string
}{
	{24, "what the other blocks leave; where transmutation is set, half as many again", issurin + ": 2 to 6", "Stone 1981 (from memory): tens; " + build.Practice, build.Practice},
	{16, "two thirds of accumulation", issurin + ": 2 to 4", "ACSM 2009, ACSM 2026: about 80 % and more for strength", build.Practice},
	{8, "1, or 2 where the blocks have 9 weeks and more", issurin + ": 8 to 15 days", "Stone 1981, Painter 2012 (from memory): triples and doubles", "doubles and triples are for goal lifts: " + build.Practice},
}

// params specifies what can be set for a block.
func params(b int) []plan.ParamSpec {
	t, d := &texts[b], suited(b, plan.Intermediate, false, false)
	in := " in the " + blockNames[b] + " block"
	const dose = ". One number (3 to 3) is kept whatever the weekly dose; a range lets the dose choose."
	falls := "."
	if b > 0 {
		falls = "; at most as many as in the block before."
	}
	maintained := ""
	if b == realization {
		maintained = fmt.Sprintf("; what is no goal lift keeps %d repetitions in reserve or more", maintainedRIR)
	}
	return []plan.ParamSpec{
		build.Number(param(b, weeksOf), 0, 0, t.mostWeeks, "weeks", "Weeks of each "+blockNames[b]+" block. 0: "+t.weeks+". Weeks left over lengthen accumulation.", t.weeksSource),
		build.Varying(build.Range(param(b, repsOf), d.goal, 1, 30, "repetitions", "Repetitions of goal lifts"+in+falls, t.repsSource), varies(b, func(l line) plan.Range { return l.goal })),
		build.Varying(build.Range(param(b, otherRepsOf), d.other, 4, 30, "repetitions",
			"Repetitions of other multi-joint lifts"+in+", and of single-joint exercises, these from 8 up"+falls, t.otherSource), varies(b, func(l line) plan.Range { return l.other })),
		build.Varying(build.Range(param(b, setsOf), d.goalSets, 1, 8, "sets", "Sets of a goal lift in a session"+in+dose, "Krieger 2009 (from memory); "+build.Practice),
			varies(b, func(l line) plan.Range { return l.goalSets })),
		build.Varying(build.Range(param(b, otherSetsOf), d.otherSets, 1, 6, "sets", "Sets of every other exercise but trunk and explosive ones in a session"+in+dose, "Krieger 2010 (from memory); "+build.Practice),
			varies(b, func(l line) plan.Range { return l.otherSets })),
		build.Varying(build.EffortParam(param(b, effortOf), d.effort, "Effort of the last set at the end of the "+blockNames[b]+" block"+maintained+".", build.EffortSource), variesEffort(b)),
		build.RestParam(param(b, restOf), " other than single-joint ones"+in),
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
	rising(c, &v, repsOf)
	rising(c, &v, otherRepsOf)
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
	cycles, err := in.cycles(r.Weeks)
	if err != nil {
		return plan.Outline{}, err
	}
	goal, other := in.reps(&r)
	shared := build.SharedOf(&in.v)
	light := deloads(shared.Deload(r), cycles)
	rotation := shared.Rotation()
	easeBy := shared.Ease(easeDefault)

	out := plan.Outline{Strategy: name + "@" + version}
	week := int32(0)
	for c, lengths := range cycles {
		for b, n := range lengths {
			p := in.phase(b, n, goal[b], other[b], &r)
			if len(cycles) > 1 {
				p.Name += fmt.Sprintf(" %d", c+1)
			}
			out.Phases = append(out.Phases, p.Outline(week, r.Sessions, light, easeBy, &rotation))
			week += n
		}
	}
	return out, nil
}

var aims = [blocks]string{
	"Most sets, moderate loads: goal lifts %s, other multi-joint lifts %s repetitions.",
	"Heavier, fewer sets: goal lifts %s, other multi-joint lifts %s repetitions.",
	fmt.Sprintf("Few sets, heaviest in goal lifts: %%s; other multi-joint lifts are maintained at %%s repetitions with %d or more in reserve.", maintainedRIR),
}

// reps gives the repetitions of every block. They don't rise from one to the next: a
// default gives way to what was set for another block.
func (in *instance) reps(r *plan.OutlineRequest) (goal, other [blocks]plan.Range) {
	for b := range blocks {
		d := suited(b, r.Status, r.Strength, r.Size)
		goal[b], other[b] = d.goal, d.other
	}
	in.fall(&goal, repsOf)
	in.fall(&other, otherRepsOf)
	return goal, other
}

func (in *instance) fall(ranges *[blocks]plan.Range, what string) {
	for b := range blocks {
		if !in.v.Given(param(b, what)) {
			continue
		}
		set := in.v.Range(param(b, what))
		for o := range blocks {
			now := &ranges[o]
			switch {
			case o == b:
				*now = set
			case in.v.Given(param(o, what)):
			case o < b:
				*now = plan.Range{Min: max(now.Min, set.Min), Max: max(now.Max, set.Max)}
			default:
				*now = plan.Range{Min: min(now.Min, set.Min), Max: min(now.Max, set.Max)}
			}
		}
	}
}

// rising refuses repetitions that rise from block to block.
func rising(c *fault.Collector, v *engine.Values, what string) {
	for b := range blocks {
		for before := range b {
			if !v.Given(param(b, what)) || !v.Given(param(before, what)) {
				continue
			}
			was, now := v.Range(param(before, what)), v.Range(param(b, what))
			if now.Min > was.Min || now.Max > was.Max {
				c.Add(engine.ReasonParametersClash, engine.ParameterField(param(b, what)),
					"is "+build.RangeText(now)+" after "+build.RangeText(was)+" in "+blockNames[before]+"; repetitions fall or stay from block to block")
				break
			}
		}
	}
}

func (in *instance) phase(b int, weeks int32, goal, other plan.Range, r *plan.OutlineRequest) build.Phase {
	d := suited(b, r.Status, r.Strength, r.Size)
	goalSets := build.Sets(build.RangeOr(&in.v, param(b, setsOf), d.goalSets))
	otherSets := build.Sets(build.RangeOr(&in.v, param(b, otherSetsOf), d.otherSets))
	rest := plan.Seconds(in.v.Whole(param(b, restOf)))
	return build.Phase{
		Name: blockNames[b], Weeks: weeks, Dose: doses[b],
		Aim:    fmt.Sprintf(aims[b], build.RangeText(goal), build.RangeText(other)),
		Effort: build.EffortOr(&in.v, param(b, effortOf), build.EffortOf(d.effort)),
		Scaled: []plan.SetCount{goalSets, otherSets},
		Work: func(e build.Effort) build.Work {
			others := e
			if b == realization {
				others = e.AtLeast(maintainedRIR)
			}
			return build.Work{
				Goal:  build.Line{Sets: goalSets, Reps: goal, Rest: rest, Effort: e},
				Multi: build.Line{Sets: otherSets, Reps: other, Rest: rest, Effort: others},
				// Small exercises keep their own rest: a long one is for heavy loads.
				Single: build.Line{Sets: otherSets, Reps: build.Floored(other), Effort: others},
				Status: r.Status,
			}
		},
	}
}
