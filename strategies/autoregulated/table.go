package autoregulated

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies/internal/build"
)

// table holds the parameters for the sessions that aim at a repetition maximum up to
// a number, and the numbers of the sources: Mann et al., J Strength Cond Res
// 24:1718-1723, 2010, which extends Knight, Am J Sports Med 7:336-337, 1979 (tables
// from memory). Where these begin at a repetition or more, the lowest band begins at 0
// here, so that every set has an answer.
type table struct {
	of   int32 // published for
	upTo int32
	lead string
	move []int32 // four numbers a band: repetitions from and to, steps from and to
	next []int32 // for the next session; 0: as move
}

const (
	fields = 4
	noEnd  = 50 // the most repetitions of an outline

	mostSteps = 10 // with the largest step as far as an outline may go
)

var tables = [...]table{
	{of: 3, upTo: 4, lead: "6@50%, 3@75%",
		move: []int32{0, 2, -2, -1, 3, 4, 0, 0, 5, 6, 1, 2, 7, noEnd, 2, 3}, next: []int32{0}},
	{of: 6, upTo: 7, lead: "10@50%, 6@75%",
		move: []int32{0, 2, -2, -1, 3, 4, -1, 0, 5, 7, 0, 0, 8, 12, 1, 2, 13, noEnd, 2, 3},
		next: []int32{0, 2, -2, -1, 3, 4, -1, 0, 5, 7, 0, 0, 8, 12, 1, 2, 13, noEnd, 2, 4}},
	{of: 10, upTo: 12, lead: "12@50%, 10@75%",
		move: []int32{0, 6, -2, -1, 7, 8, -1, 0, 9, 11, 0, 0, 12, 16, 1, 2, 17, noEnd, 2, 3}, next: []int32{0}},
}

// tableFor gives the table of a repetition maximum.
func tableFor(aim int32) *table {
	for i := range tables {
		if aim <= tables[i].upTo {
			return &tables[i]
		}
	}
	return &tables[len(tables)-1]
}

func (t *table) name(what string) string { return fmt.Sprintf("%s_%d", what, t.of) }

const (
	leadName  = "lead"
	tableName = "table"
	nextName  = "next"
)

func (t *table) params() []plan.ParamSpec {
	lowest := int32(2)
	if t.of > tables[0].of {
		lowest = tableBefore(t).upTo + 1
	}
	of := fmt.Sprintf(" where a session aims at %d to %d repetitions maximum", lowest, t.upTo)
	const form = " Four whole numbers a band, bands rising and apart: repetitions from, repetitions to, steps from, steps to, at most 10 either way; 50 repetitions stand for all above."
	move := build.List(t.name(tableName), -20, noEnd, "repetitions and steps",
		"How the repetitions of the set at the maximum move the load of the next set"+of+"."+form, source)
	move.Default.List = slices.Clone(t.move)
	next := build.List(t.name(nextName), -20, noEnd, "repetitions and steps",
		"How the repetitions of the last set move the load of the next session"+of+"."+form+" A single 0: as "+t.name(tableName)+" says.", source)
	next.Default.List = slices.Clone(t.next)
	return []plan.ParamSpec{
		build.SetsList(t.name(leadName), t.lead, "Sets that lead up to the maximum"+of+", each with a share of its load, not of the 1RM, and with a number of repetitions.", source),
		move, next,
	}
}

func tableBefore(t *table) *table {
	out := &tables[0]
	for i := range tables {
		if tables[i].of < t.of {
			out = &tables[i]
		}
	}
	return out
}

// check refuses lists that are no tables, and lead sets without a share.
func (t *table) check(c *fault.Collector, v *engine.Values) {
	clash := func(name, says string) {
		c.Add(engine.ReasonParametersClash, engine.ParameterField(name), says)
	}
	for i, s := range v.Sets(t.name(leadName)) {
		if s.OpenEnded || !s.Effort.Intensity.Set || s.Effort.Reference.Kind != plan.RefPlanned {
			clash(t.name(leadName), fmt.Sprintf("names no share and number of repetitions in item %d; 10@50%% is right", i+1))
		}
	}
	if says := wrong(v.List(t.name(tableName))); says != "" {
		clash(t.name(tableName), says)
	}
	if next := v.List(t.name(nextName)); !sameAsMove(next) {
		if says := wrong(next); says != "" {
			clash(t.name(nextName), says+"; a single 0 takes the table of the set before")
		}
	}
}

func sameAsMove(next []int32) bool { return len(next) == 1 && next[0] == 0 }

// wrong says why a list is no table.
func wrong(list []int32) string {
	if len(list)%fields != 0 {
		return fmt.Sprintf("has %d numbers; four a band are right", len(list))
	}
	least := int32(0)
	for i := 0; i < len(list); i += fields {
		b := list[i : i+fields]
		switch {
		case b[0] < least || b[1] < b[0]:
			return fmt.Sprintf("has the repetitions %d to %d in band %d; rising ones from %d up are right", b[0], b[1], i/fields+1, least)
		case b[2] > b[3]:
			return fmt.Sprintf("moves by %d to %d steps in band %d; the lower one comes first", b[2], b[3], i/fields+1)
		case b[2] < -mostSteps || b[3] > mostSteps:
			return fmt.Sprintf("moves by %d to %d steps in band %d; at most %d either way are possible", b[2], b[3], i/fields+1, mostSteps)
		}
		least = b[1] + 1
	}
	return ""
}

// steps spells a table out in a unit.
func steps(list []int32, one plan.Load) []plan.AdjustStep {
	out := make([]plan.AdjustStep, 0, len(list)/fields)
	for i := 0; i < len(list); i += fields {
		out = append(out, plan.AdjustStep{
			Reps: plan.Range{Min: list[i], Max: list[i+1]},
			From: int64(list[i+2]) * one.Milli, To: int64(list[i+3]) * one.Milli, Unit: one.Unit,
		})
	}
	return out
}

// schemes gives the sets of one exercise.
func (t *table) schemes(v *engine.Values, aim int32, one plan.Load, rest plan.Seconds) []plan.Scheme {
	out := v.Sets(t.name(leadName))
	for i := range out {
		out[i].Effort.Reference = plan.Reference{Kind: plan.RefRM, RM: aim}
		if out[i].Rest == 0 {
			out[i].Rest = rest
		}
	}
	move, next := v.List(t.name(tableName)), v.List(t.name(nextName))
	if sameAsMove(next) {
		next = move
	}
	open := plan.Scheme{
		Kind: plan.SetWorking, Sets: plan.FixedSets(1), Reps: plan.Range{Min: 1, Max: 1}, OpenEnded: true, Rest: rest,
		Effort: plan.Effort{Intensity: plan.Some(plan.Permille(1000)), Reference: plan.Reference{Kind: plan.RefRM, RM: aim}},
		Adjust: steps(move, one),
	}
	last := open
	last.Effort.Reference = plan.Reference{Kind: plan.RefSetBefore}
	last.Adjust = steps(next, one)
	last.Progress = plan.Progression{Kind: plan.ProgressAdjustTable}
	return append(out, open, last)
}
