// Package build holds what the built-in strategies share: the weeks of a phase with
// their effort and dose, rotation of sessions, set schemes for each role, deload
// weeks and common parameters. It decides nothing about the order of repetition
// ranges; that is what the strategies differ in.
package build

import (
	"github.com/phasewright/phasewright/engine/plan"
)

// Effort is repetitions in reserve, or failure where the flag is set.
type Effort struct {
	RIR     int32
	Failure bool
}

// Easier leaves so many repetitions more in reserve, at most atMost; failure counts
// as 0.
func (e Effort) Easier(by, atMost int32) Effort {
	if by <= 0 {
		return e
	}
	return Effort{RIR: max(e.RIR, min(e.RIR+by, atMost))}
}

// AtLeast keeps a reserve.
func (e Effort) AtLeast(rir int32) Effort {
	if e.RIR >= rir {
		return e
	}
	return Effort{RIR: rir}
}

func (e Effort) outline(deferred bool) plan.Effort {
	out := plan.Effort{ToFailure: e.Failure}
	if !e.Failure {
		out.RIR = plan.Some(e.RIR)
	}
	if deferred {
		out.Reference.Kind = plan.RefLatest
	}
	return out
}

// Line is the work of one loaded role. Rest 0 lets repetitions and role decide. A list
// comes before sets and repetitions; effort and rest fill in what it leaves open.
type Line struct {
	Sets plan.SetCount
	Reps plan.Range
	Rest plan.Seconds
	Effort
	List []plan.Scheme
}

// Work is the work of a session for every role; what it doesn't hold (trunk,
// explosive, unloadable) is the same in every strategy.
type Work struct {
	Goal, Multi, Single Line
	Deferred            bool // loads follow the athlete's own latest estimate
	Status              plan.Status
}

// Sets reads a range of sets: one number is fixed, more are left to the dose.
func Sets(r plan.Range) plan.SetCount {
	if r.Min == r.Max {
		return plan.FixedSets(r.Min)
	}
	return plan.ScaledSets(r.Min, r.Max)
}

// Fewest repetitions of a single-joint set: heavier loads cost the joint and the form
// (common practice, no source).
const singleJointFloor = 8

// Floored moves a range up until it begins at the floor for single-joint work, its
// width kept.
func Floored(r plan.Range) plan.Range {
	if r.Min >= singleJointFloor {
		return r
	}
	return plan.Range{Min: singleJointFloor, Max: r.Max + singleJointFloor - r.Min}
}

const (
	explosiveRIR = 5 // speed, not fatigue, ends the set (NSCA textbook, from memory)
	trunkRIR     = 1 // holds to failure teach a lost position (common practice, no source)
)

// Targets spells the work out for all roles, in their order.
func (w Work) Targets() []plan.Target {
	schemes := []plan.Scheme{
		w.loaded(plan.GoalLift, w.Goal),
		w.loaded(plan.MultiJoint, w.Multi),
		w.loaded(plan.SingleJoint, w.Single),
		w.trunk(),
		w.explosive(),
		w.unloadable(),
	}
	out := make([]plan.Target, len(schemes))
	for i := range schemes {
		out[i] = plan.Target{Role: plan.GoalLift + plan.Role(i), Schemes: schemes[i : i+1 : i+1]}
	}
	for i, l := range [...]*Line{&w.Goal, &w.Multi, &w.Single} {
		if len(l.List) > 0 {
			out[i].Schemes = w.listed(out[i].Role, l)
		}
	}
	return out
}

func (w Work) loaded(role plan.Role, l Line) plan.Scheme {
	s := plan.Scheme{Kind: plan.SetWorking, Sets: l.Sets, Reps: l.Reps, Effort: l.outline(w.Deferred), Rest: l.Rest}
	if s.Rest == 0 {
		s.Rest = Rest(role, l.Reps)
	}
	if w.Deferred {
		s.Progress.Kind = plan.ProgressFromLastTest
	}
	return s
}

// Trunk and unloadable work cannot follow the ranges of a strategy, as no load makes
// twelve repetitions into five: it goes up through a wide range instead (common
// practice, no source).
func (w Work) trunk() plan.Scheme {
	return plan.Scheme{
		Kind: plan.SetWorking, Sets: plan.ScaledSets(2, 3),
		Reps: plan.Range{Min: 10, Max: 15}, Hold: plan.Range{Min: 20, Max: 45},
		Effort: w.Single.AtLeast(trunkRIR).outline(false), Rest: 60,
		Progress: plan.Progression{Kind: plan.ProgressRepsThenLoad},
	}
}

func (w Work) explosive() plan.Scheme {
	sets := plan.ScaledSets(3, 5)
	if w.Status == plan.Novice {
		sets = plan.ScaledSets(2, 3) // ACSM 2009: 1-3 sets (from memory)
	}
	return plan.Scheme{
		Kind: plan.SetWorking, Sets: sets, Reps: plan.Range{Min: 3, Max: 5},
		Effort: Effort{RIR: explosiveRIR}.outline(false), Rest: 150,
	}
}

func (w Work) unloadable() plan.Scheme {
	return plan.Scheme{
		Kind: plan.SetWorking, Sets: w.Multi.Sets, Reps: plan.Range{Min: 8, Max: 20}, Hold: plan.Range{Min: 20, Max: 45},
		Effort: w.Multi.outline(false), Rest: 90,
		Progress: plan.Progression{Kind: plan.ProgressRepsThenLoad},
	}
}

// Rest gives the rest after a set: 2-5 min for heavy work, about 90 s and more for
// size (ACSM 2009, from memory; Singer 2024 finds little gain beyond that).
func Rest(role plan.Role, reps plan.Range) plan.Seconds {
	switch {
	case role == plan.SingleJoint && reps.Max > 12:
		return 75
	case role == plan.SingleJoint:
		return 90
	case reps.Max <= 3:
		return 240
	case reps.Max <= 8:
		return 180
	case role == plan.GoalLift && reps.Max <= 12:
		return 150
	case reps.Max <= 15:
		return 120
	}
	return 90
}
