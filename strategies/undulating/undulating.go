// Package undulating changes repetition ranges all the time: from session to session
// inside a week (daily undulating, as the trade says) or from week to week.
package undulating

import (
	"context"
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies/internal/build"
)

const (
	name, version = "undulating", "1"

	minWeeks, maxWeeks = 1, 52

	turn       = "turn"
	zones      = "zones"
	scope      = "undulates"
	zoneSets   = "zone_sets"
	zoneRests  = "zone_rests"
	otherReps  = "other_reps"
	singleReps = "single_joint_reps"
	effort     = "effort"

	bySession, byWorkout, byWeek = "session", "workout", "week"
	all, multiJoint, goalLifts   = "all", "multi-joint", "goal"

	mostZones = 4

	// Goal lifts gain no strength from the last repetition before failure (Robinson
	// 2024).
	strengthRIR = 2
)

func zoneReps(i int) string { return fmt.Sprintf("zone_%d_reps", i+1) }
func zoneList(i int) string { return fmt.Sprintf("zone_%d_list", i+1) }

// Strategy implements engine.Strategy.
type Strategy struct{}

var _ engine.Strategy = Strategy{}

// Describe gives the descriptor.
func (Strategy) Describe() plan.Descriptor {
	specs := append(build.Common(2, "novice: 1"), build.SetsParams()...)
	specs = append(specs, build.ListParams(" where these don't change")[1:]...)
	for i, r := range suited(plan.Intermediate, false, false) {
		specs = append(specs, build.Varying(
			build.Range(zoneReps(i), r, 1, 30, "repetitions", fmt.Sprintf("Repetitions of zone %d; zones come in the order of their numbers.", i+1), zoneSource(i)),
			varies(i)),
			build.SetsList(zoneList(i), "", fmt.Sprintf("Sets of zone %d, for what changes with the zone, as a list, such as 3x3@90%%/3min, 10@70%%. Given, it comes before sets, repetitions, effort and rest; what an item leaves open is taken from these. "+
				"Single-joint exercises take its sets from 8 repetitions up, with a load of their own. The zone has to be one of the first so many that zones counts.", i+1), build.Practice))
	}
	specs = append(specs,
		build.Choice(turn, []string{bySession, byWorkout, byWeek}, bySession,
			"When the next zone comes. session: with every session, whatever day it falls on, so that two sessions a week with three zones begin week 2 with zone 3; "+
				"where workouts take turns and each would always meet the same zone, one zone is skipped a round. workout: each time the same workout recurs (workouts 2 and more). "+
				"week: with every training week; deload weeks keep the zone of the week before.",
			"by session: Rhea 2002, 2003; by workout: Miranda 2011; by week: Buford 2007"),
		build.Number(zones, 3, 2, mostZones, "zones", "Repetition ranges that take turns: the first so many of zone_1_reps to zone_4_reps.", "Rhea 2002, Kraemer 2000: three; else "+build.Practice),
		build.Choice(scope, []string{all, multiJoint, goalLifts}, all,
			"What changes with the zone. all: every loaded exercise, single-joint ones from 8 repetitions up; multi-joint: goal lifts and other multi-joint lifts; goal: goal lifts only. "+
				"What doesn't change keeps "+otherReps+" and "+singleReps+".",
			"goal: Miranda 2011 (bench press and leg press only); all: Kraemer 2000 (from memory)"),
		build.List(zoneSets, 0, 8, "sets",
			"Sets of each zone in order, for what changes with the zone, kept whatever the weekly dose. 0, or left out at the end: as goal_sets and sets say.", "Simão 2012 (from memory): 2, 3 and 4"),
		build.List(zoneRests, 0, 600, "s",
			"Rest after each set of each zone in order, for what changes with the zone. 0, or left out at the end: as rest says.", "Simão 2012 (from memory): 60, 120 and 180"),
		build.Range(otherReps, plan.Range{Min: 8, Max: 12}, 1, 30, "repetitions", "Repetitions of other multi-joint lifts where only goal lifts change.", "ACSM 2009 (from memory)"),
		build.Range(singleReps, plan.Range{Min: 10, Max: 15}, 8, 30, "repetitions", "Repetitions of single-joint exercises where these don't change.", build.Practice),
		build.Varying(build.EffortParam(effort, "1", "Effort of the last set in the last week, the same in every zone; \"failure\" takes each zone to its repetition maximum.", build.EffortSource),
			"novice: 2; goal lifts where a goal is about a 1RM: 2"),
		build.RestParam(build.Rests, ""),
	)
	return plan.Descriptor{
		Name: name, Version: version,
		Says: "Repetition ranges change from session to session inside the week, or from week to week: heavy, moderate, light, and again. Effort and weekly sets rise through the weeks. " +
			"Trunk, explosive and unloadable exercises keep their repetitions.",
		Claims: "For the 1RM no different from linear plans in one review (Harries 2015: 17 studies, 510 people); a later one with equal volume leans to undulating plans (0.31, from 0.02 up; Moesgaard 2022), " +
			"in the trained rather than in the untrained (from memory). Growth is not clearly different between varied and unvaried plans with equal volume (0.13, 95 % CI −0.10 to 0.36; Moesgaard 2022), " +
			"and no periodisation model has a consistent advantage (ACSM 2026). The order of the zones is a choice: it changed how much work was done in one small study (Zourdos 2016), which doesn't decide.",
		MinWeeks: minWeeks, MaxWeeks: maxWeeks,
		Params: build.Sorted(specs...),
	}
}

// suited gives the default zones: heavy first, while the week is fresh, and the fourth
// between the others.
func suited(s plan.Status, strength, size bool) [mostZones]plan.Range {
	z := func(a, b, c, d, e, f, g, h int32) [mostZones]plan.Range {
		return [mostZones]plan.Range{{Min: a, Max: b}, {Min: c, Max: d}, {Min: e, Max: f}, {Min: g, Max: h}}
	}
	switch {
	case s == plan.Novice && strength:
		return z(6, 8, 8, 10, 12, 15, 10, 12)
	case s == plan.Novice:
		return z(8, 10, 10, 12, 12, 15, 8, 12)
	case strength && !size && s == plan.Advanced:
		return z(3, 5, 6, 8, 10, 12, 8, 10)
	case strength && !size:
		return z(4, 6, 6, 8, 10, 12, 8, 10)
	case size && !strength:
		return z(6, 8, 8, 12, 12, 15, 10, 12)
	}
	return z(4, 6, 8, 10, 12, 15, 6, 8)
}

// varies spells out how a zone depends on the athlete.
func varies(i int) string {
	base := suited(plan.Intermediate, false, false)[i]
	var out []string
	for _, a := range [...]struct {
		who            string
		status         plan.Status
		strength, size bool
	}{
		{"goals about a 1RM alone", plan.Intermediate, true, false},
		{"the same, advanced", plan.Advanced, true, false},
		{"goals about size alone", plan.Intermediate, false, true},
		{"novice", plan.Novice, true, true},
		{"novice without a goal about a 1RM", plan.Novice, false, true},
	} {
		if r := suited(a.status, a.strength, a.size)[i]; r != base {
			out = append(out, fmt.Sprintf("%s: %d to %d", a.who, r.Min, r.Max))
		}
	}
	return strings.Join(out, "; ")
}

func zoneSource(i int) string {
	if i < 3 {
		return "Kraemer 2000: 4 to 6, 8 to 10, 12 to 15; by goal and status: " + build.Practice
	}
	return build.Practice
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
	n := v.Whole(zones)
	for _, list := range [...]string{zoneSets, zoneRests} {
		if got := len(v.List(list)); got > int(n) {
			c.Add(engine.ReasonParametersClash, engine.ParameterField(list), fmt.Sprintf("has %d values for %d zones; at most one a zone is right", got, n))
		}
	}
	for i := n; i < mostZones; i++ {
		if len(v.Sets(zoneList(int(i)))) > 0 {
			c.Add(engine.ReasonParametersClash, engine.ParameterField(zoneList(int(i))), fmt.Sprintf("is given for zone %d of %d; more zones, or no list, is right", i+1, n))
		}
	}
	rotation := build.SharedOf(&v).Rotation()
	if v.Text(turn) == byWorkout && rotation.Workouts < 2 {
		c.Add(engine.ReasonParametersClash, engine.ParameterField(turn), "is workout, yet no workouts take turns; workouts 2 and more, or turn session, is right")
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	return &instance{v}, nil
}

type instance struct{ v engine.Values }

// zone is one range with what was set for it.
type zone struct {
	label string
	reps  plan.Range
	sets  int32 // 0: as for all
	rest  plan.Seconds
	list  []plan.Scheme
}

func (z *zone) text() string { return build.ListText(z.list, z.reps) }

func (in *instance) zones(r *plan.OutlineRequest) []zone {
	rests, sets := in.v.List(zoneRests), in.v.List(zoneSets)
	out := make([]zone, in.v.Whole(zones))
	reps := suited(r.Status, r.Strength, r.Size)
	for i := range out {
		out[i] = zone{reps: build.RangeOr(&in.v, zoneReps(i), reps[i]), rest: plan.Seconds(in.v.Whole(build.Rests)), list: in.v.Sets(zoneList(i))}
		if i < len(sets) {
			out[i].sets = sets[i]
		}
		if i < len(rests) && rests[i] > 0 {
			out[i].rest = plan.Seconds(rests[i])
		}
	}
	label(out)
	return out
}

// Outline plans the weeks.
func (in *instance) Outline(ctx context.Context, r plan.OutlineRequest) (plan.Outline, error) {
	if err := build.Check(ctx, r, minWeeks, maxWeeks); err != nil {
		return plan.Outline{}, err
	}
	shared := build.SharedOf(&in.v)
	deload := build.DeloadWeeks(shared.Deload(r), r.Weeks)
	n := int32(0)
	for _, d := range deload {
		if !d {
			n++
		}
	}
	easeBy := int32(2)
	if r.Status == plan.Novice {
		easeBy = 1
	}
	easeBy = shared.Ease(easeBy)
	last := build.EffortOr(&in.v, effort, build.LastEffort(r.Status))
	goalSets, sets := build.SetsOf(&in.v, r.Status)
	list := in.zones(&r)
	rotation := shared.Rotation()
	turns := newTurns(in.v.Text(turn), int32(len(list)), rotation.Workouts)

	weeks := make([]plan.OutlineWeek, r.Weeks)
	i := int32(0)
	for w := range weeks {
		at := i
		if deload[w] {
			at = max(i-1, 0) // a deload eases the week before
		}
		now := build.Eased(last, easeBy, at, n)
		if r.Sessions[w] > 0 && !deload[w] {
			turns.week()
		}
		weeks[w] = plan.OutlineWeek{
			Kind: plan.WeekTraining, Dose: build.Dose(at, n),
			Sessions: rotation.Each(r.Sessions[w], func(workout int32) (build.Work, string) {
				z := &list[turns.session(workout)]
				label := z.label
				if now.Failure && !deload[w] && len(z.list) == 0 {
					label = build.RangeText(z.reps) + "RM"
				}
				return in.work(z, now, goalSets, sets, &r), label
			}),
		}
		if deload[w] {
			build.Lighten(&weeks[w])
		} else {
			i++
		}
	}
	aim := in.aim(list) + build.Course(last, easeBy, n, in.scaled(list, goalSets, sets)...)
	if in.reserved(&r) && last.RIR < strengthRIR {
		aim += fmt.Sprintf(" Goal lifts keep RIR %d or more.", strengthRIR)
	}
	if marked := build.WeekList(deload); marked != "" {
		aim += " Deload: " + marked + "."
	}
	return plan.Outline{
		Strategy: name + "@" + version,
		Phases:   []plan.OutlinePhase{{Name: "undulating by " + in.v.Text(turn), Aim: aim, Weeks: weeks}},
	}, nil
}

// reserved tells whether goal lifts keep a reserve.
func (in *instance) reserved(r *plan.OutlineRequest) bool { return r.Strength && !in.v.Given(effort) }

func (in *instance) work(z *zone, now build.Effort, goalSets, sets plan.SetCount, r *plan.OutlineRequest) build.Work {
	moving := build.Line{Sets: sets, Reps: z.reps, Rest: z.rest, Effort: now, List: z.list}
	steady := build.Line{Sets: sets, Rest: plan.Seconds(in.v.Whole(build.Rests)), Effort: now}
	if z.sets > 0 {
		goalSets, moving.Sets = plan.FixedSets(z.sets), plan.FixedSets(z.sets)
	}
	w := build.Work{Goal: moving, Multi: moving, Single: moving, Status: r.Status}
	w.Goal.Sets = goalSets
	if in.reserved(r) {
		w.Goal.Effort = now.AtLeast(strengthRIR)
	}
	w.Single.Reps = build.Floored(z.reps)
	w.Single.List = build.Small(z.list)
	if in.v.Text(scope) != all {
		w.Single = steady
		w.Single.Reps, w.Single.List = in.v.Range(singleReps), in.v.Sets(build.SingleList)
	}
	if in.v.Text(scope) == goalLifts {
		w.Multi = steady
		w.Multi.Reps, w.Multi.List = in.v.Range(otherReps), in.v.Sets(build.OtherList)
	}
	return w
}

// scaled gives the sets that the dose moves.
func (in *instance) scaled(list []zone, goalSets, sets plan.SetCount) []plan.SetCount {
	var out []plan.SetCount
	if in.v.Text(scope) != all {
		out = append(out, sets)
	}
	for i := range list {
		if list[i].sets == 0 && len(list[i].list) == 0 {
			return append(out, goalSets, sets)
		}
	}
	return out
}

func (in *instance) aim(list []zone) string {
	what := "Repetitions"
	switch in.v.Text(scope) {
	case multiJoint:
		what = "Repetitions of multi-joint lifts"
	case goalLifts:
		what = "Repetitions of goal lifts"
	}
	out := what + " change "
	switch in.v.Text(turn) {
	case bySession:
		out += "from session to session: "
	case byWorkout:
		out += "each time a workout recurs: "
	case byWeek:
		out += "from training week to training week: "
	}
	for i := range list {
		if i > 0 {
			out += ", "
		}
		if list[i].label != "" {
			out += list[i].label + " "
		}
		out += list[i].text()
	}
	out += ". "
	switch in.v.Text(scope) {
	case all:
		out += "Single-joint exercises stay at 8 and more. "
	case multiJoint:
		out += "Single-joint exercises stay at " + build.ListText(in.v.Sets(build.SingleList), in.v.Range(singleReps)) + ". "
	case goalLifts:
		out += "Other multi-joint lifts stay at " + build.ListText(in.v.Sets(build.OtherList), in.v.Range(otherReps)) + ", single-joint exercises at " +
			build.ListText(in.v.Sets(build.SingleList), in.v.Range(singleReps)) + ". "
	}
	return out
}
