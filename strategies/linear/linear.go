// Package linear goes from light loads for many repetitions to heavy loads for few,
// or the other way round, in even steps from week to week.
package linear

import (
	"context"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/strategies/internal/build"
)

const (
	version = "1"

	minWeeks, maxWeeks = 4, 52

	firstReps        = "first_reps"
	lastReps         = "last_reps"
	stepWeeks        = "step_weeks"
	effort           = "effort"
	recoveryEvery    = "recovery_every"
	recoveryReps     = "recovery_reps"
	recoverySessions = "recovery_sessions"

	easeDefault  = 1
	recoveryDose = 600 // with a session fewer and easier loads (common practice, no source)
	recoveryRIR  = 3
)

// Strategy implements engine.Strategy.
type Strategy struct{ reverse bool }

var _ engine.Strategy = Strategy{}

// New gives the strategy that ends heavy.
func New() Strategy { return Strategy{} }

// NewReverse gives its mirror, which ends light.
func NewReverse() Strategy { return Strategy{reverse: true} }

func (s Strategy) name() string {
	if s.reverse {
		return "reverse-linear"
	}
	return "linear"
}

func light() plan.Range { return plan.Range{Min: 12, Max: 14} }

func heavy(s plan.Status) plan.Range {
	if s == plan.Novice {
		return plan.Range{Min: 6, Max: 8}
	}
	return plan.Range{Min: 4, Max: 6}
}

// Describe gives the descriptor.
func (s Strategy) Describe() plan.Descriptor {
	const novice = "novice: 6 to 8"
	first := build.Range(firstReps, light(), 1, 30, "repetitions", "Repetitions in the first training week.", build.Practice)
	last := build.Range(lastReps, heavy(plan.Intermediate), 1, 30, "repetitions", "Repetitions in the last training week.", build.Practice)
	d := plan.Descriptor{
		Name: s.name(), Version: version, MinWeeks: minWeeks, MaxWeeks: maxWeeks,
		Says: "From a load for many repetitions to a load for few, in even steps over the training weeks. Single-joint exercises stop at 8 repetitions; trunk, explosive and unloadable ones keep theirs.",
		Claims: "Ends with heavy work, which raises the 1RM more than light work does (Lopez 2021: 0.6, high against low loads); growth is much the same whatever the load. " +
			"Not shown to be better than undulating plans for strength (Harries 2015; Moesgaard 2022 leans to undulating, mostly in the trained) and no model has a consistent advantage (ACSM 2026).",
	}
	if s.reverse {
		first.Default, last.Default = last.Default, first.Default
		first.Varies = novice
		d.Says = "From a load for few repetitions to a load for many, in even steps over the training weeks: linear, mirrored. Single-joint exercises stay at 8 repetitions and more; trunk, explosive and unloadable ones keep theirs."
		d.Claims = "Ends with many repetitions: one study of muscular endurance leaned its way without a clear difference (Rhea 2003). Growth is much the same whatever the load; " +
			"for the 1RM heavy work nearer the end is what was practised last (Lopez 2021 for heavy against light loads). No model has a consistent advantage (ACSM 2026)."
	} else {
		last.Varies = novice
	}
	specs := append(build.Common(easeDefault, ""), build.SetsParams()...)
	d.Params = build.Sorted(append(specs, first, last,
		build.Varying(build.EffortParam(effort, "1", "Effort of the last set in the last week; \"failure\" takes the load for as many repetitions as can be done.", build.EffortSource),
			"novice: 2"),
		build.RestParam(build.Rests, ""),
		build.Number(stepWeeks, 1, 1, 26, "weeks", "So many training weeks in a row have the same repetitions; the steps are even from one such block to the next.",
			"Rhea 2002: 4; Rhea 2003: 5; 1: "+build.Practice),
		build.Number(recoveryEvery, 0, 0, 12, "weeks", "Every so many weeks is a recovery week with fewer sessions, and there are no deloads. 0: none; 1 is not possible.", build.Practice),
		build.Range(recoveryReps, plan.Range{Min: 12, Max: 12}, 8, 30, "repetitions", "Repetitions in a recovery week.", build.Practice),
		build.Number(recoverySessions, 2, 1, 7, "sessions", "Sessions in a recovery week, at most those available.", build.Practice),
	)...)
	return d
}

// Parse checks parameters.
func (s Strategy) Parse(params []plan.Param) (engine.Instance, error) {
	v, err := engine.ParseParams(s.Describe().Params, params)
	if err != nil {
		return nil, err
	}
	c := fault.NewCollector(fault.Invalid)
	build.CheckCommon(c, &v)
	build.Hole(c, &v, recoveryEvery)
	if many, few := s.ends(&v); v.Given(s.heavyEnd()) && (few.Min > many.Min || few.Max > many.Max) {
		other := "reverse-linear"
		if s.reverse {
			other = "linear"
		}
		c.Add(engine.ReasonParametersClash, engine.ParameterField(lastReps),
			"runs the other way from first_reps ("+build.RangeText(v.Range(firstReps))+" to "+build.RangeText(v.Range(lastReps))+"); "+other+" does that")
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	return &instance{s, v}, nil
}

func (s Strategy) heavyEnd() string {
	if s.reverse {
		return firstReps
	}
	return lastReps
}

// ends gives the light and the heavy range.
func (s Strategy) ends(v *engine.Values) (many, few plan.Range) {
	if s.reverse {
		return v.Range(lastReps), v.Range(firstReps)
	}
	return v.Range(firstReps), v.Range(lastReps)
}

type instance struct {
	s Strategy
	v engine.Values
}

// reps gives the first and the last range for an athlete. A heavy range that nobody
// set gives way to a light one that somebody did.
func (in *instance) reps(status plan.Status) (first, last plan.Range) {
	many, few := in.s.ends(&in.v)
	if !in.v.Given(in.s.heavyEnd()) {
		few = heavy(status)
		few = plan.Range{Min: min(few.Min, many.Min), Max: min(few.Max, many.Max)}
	}
	if in.s.reverse {
		return few, many
	}
	return many, few
}

// Outline plans the weeks.
func (in *instance) Outline(ctx context.Context, r plan.OutlineRequest) (plan.Outline, error) {
	if err := build.Check(ctx, r, minWeeks, maxWeeks); err != nil {
		return plan.Outline{}, err
	}
	shared := build.SharedOf(&in.v)
	recovery, deload := make([]bool, r.Weeks), make([]bool, r.Weeks)
	if every := in.v.Whole(recoveryEvery); every > 0 {
		for w := range recovery {
			recovery[w] = int32(w+1)%every == 0
		}
	} else {
		deload = build.DeloadWeeks(shared.Deload(r), r.Weeks)
	}
	n := int32(0)
	for w := range recovery {
		if !recovery[w] && !deload[w] {
			n++
		}
	}
	first, last := in.reps(r.Status)
	easeBy := shared.Ease(easeDefault)
	end := build.EffortOr(&in.v, effort, build.LastEffort(r.Status))
	goalSets, sets := build.SetsOf(&in.v, r.Status)
	rotation := shared.Rotation()
	hold := in.v.Whole(stepWeeks)
	blocks := (n + hold - 1) / hold

	weeks := make([]plan.OutlineWeek, r.Weeks)
	ranges := make([]plan.Range, 0, n)
	i := int32(0)
	for w := range weeks {
		week, reps, now := &weeks[w], build.Between(first, last, i/hold, blocks), build.Eased(end, easeBy, i, n)
		sessions := r.Sessions[w]
		week.Kind, week.Dose = plan.WeekTraining, build.Dose(i, n)
		switch {
		case recovery[w]:
			week.Kind, week.Dose = plan.WeekRecovery, recoveryDose
			reps, now = in.v.Range(recoveryReps), end.Easier(easeBy+1, recoveryRIR+1).AtLeast(recoveryRIR)
			sessions = min(sessions, in.v.Whole(recoverySessions))
		case deload[w]:
			// A deload repeats the week before: new loads are for fresh weeks.
			reps, now = build.Between(first, last, max(i-1, 0)/hold, blocks), build.Eased(end, easeBy, max(i-1, 0), n)
		default:
			ranges = append(ranges, reps)
			i++
		}
		week.Sessions = rotation.Week(sessions, in.work(reps, now, goalSets, sets, r.Status))
		if deload[w] {
			build.Lighten(week)
		}
	}
	aim := "From light to heavy: "
	if in.s.reverse {
		aim = "From heavy to light: "
	}
	aim += build.Steps(ranges) + " repetitions, in even steps over the training weeks. " + build.Course(end, easeBy, n, goalSets, sets)
	if list := build.WeekList(recovery); list != "" {
		aim += " Recovery with " + build.RangeText(in.v.Range(recoveryReps)) + " repetitions: " + list + "."
	}
	if list := build.WeekList(deload); list != "" {
		aim += " Deload: " + list + "."
	}
	phase := "light to heavy"
	if in.s.reverse {
		phase = "heavy to light"
	}
	return plan.Outline{
		Strategy: in.s.name() + "@" + version,
		Phases:   []plan.OutlinePhase{{Name: phase, Aim: aim, Weeks: weeks}},
	}, nil
}

func (in *instance) work(reps plan.Range, now build.Effort, goalSets, sets plan.SetCount, s plan.Status) build.Work {
	rest := plan.Seconds(in.v.Whole(build.Rests))
	return build.Work{
		Goal:   build.Line{Sets: goalSets, Reps: reps, Rest: rest, Effort: now},
		Multi:  build.Line{Sets: sets, Reps: reps, Rest: rest, Effort: now},
		Single: build.Line{Sets: sets, Reps: build.Floored(reps), Rest: rest, Effort: now},
		Status: s,
	}
}
