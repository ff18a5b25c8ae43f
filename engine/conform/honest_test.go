package conform_test

import (
	"context"
	"slices"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// honest keeps the contract with the least that has every kind of parameter. Each
// hook, where set, breaks it in one way.
type honest struct {
	descriptor func(*plan.Descriptor)
	parse      func([]plan.Param) []plan.Param
	parseErr   func(error) error
	answer     func(context.Context, plan.OutlineRequest, *engine.Values, plan.Outline, error) (plan.Outline, error)
	shared     *plan.Descriptor
}

func (h *honest) Describe() plan.Descriptor {
	if h.shared != nil {
		return *h.shared
	}
	number := func(n int64) plan.Value { return plan.Value{Kind: plan.ValueNumber, Milli: n * 1000} }
	d := plan.Descriptor{
		Name: "honest", Version: "1", Says: "s", Claims: "c", MinWeeks: 2, MaxWeeks: 20,
		Params: []plan.ParamSpec{
			{Name: "flag", Kind: plan.ValueBool, Default: plan.Value{Kind: plan.ValueBool}, Says: "s", Source: "s"},
			{Name: "list", Kind: plan.ValueList, Default: plan.Value{Kind: plan.ValueList, List: []int32{8}}, Min: 8, Max: 12, Unit: "repetitions", Says: "s", Source: "s"},
			{Name: "mode", Kind: plan.ValueText, Default: plan.Value{Kind: plan.ValueText, Text: "plain"}, Choices: []string{"plain", "failure"}, Says: "s", Source: "s"},
			{Name: "reps", Kind: plan.ValueRange, Default: plan.Value{Kind: plan.ValueRange, Lo: 6, Hi: 10}, Min: 4, Max: 20, Unit: "repetitions", Varies: "novice: 8 to 10", Says: "s", Source: "s"},
			{Name: "sets", Kind: plan.ValueSets, Default: plan.Value{Kind: plan.ValueText, Text: "3x8"}, Says: "s", Source: "s"},
			{Name: "turns", Kind: plan.ValueNumber, Default: number(1), Min: 1000, Max: 3000, Unit: "workouts", Whole: true, Says: "s", Source: "s"},
		},
	}
	if h.descriptor != nil {
		h.descriptor(&d)
	}
	return d
}

func (h *honest) Parse(params []plan.Param) (engine.Instance, error) {
	if h.parse != nil {
		params = h.parse(params)
	}
	v, err := engine.ParseParams(h.Describe().Params, params)
	if err != nil {
		if h.parseErr != nil {
			if err = h.parseErr(err); err == nil {
				return honestInstance{h, &v}, nil
			}
		}
		return nil, err
	}
	return honestInstance{h, &v}, nil
}

type honestInstance struct {
	h *honest
	v *engine.Values
}

func (in honestInstance) Outline(ctx context.Context, r plan.OutlineRequest) (plan.Outline, error) {
	o, err := in.plan(ctx, r)
	if in.h.answer != nil {
		return in.h.answer(ctx, r, in.v, o, err)
	}
	return o, err
}

func (in honestInstance) plan(ctx context.Context, r plan.OutlineRequest) (plan.Outline, error) {
	if err := ctx.Err(); err != nil {
		return plan.Outline{}, fault.Wrap(fault.Canceled, "CANCELED", err)
	}
	if err := engine.CheckOutlineRequest(r, 2, 20); err != nil {
		return plan.Outline{}, err
	}
	return in.unchecked(r), nil
}

func (in honestInstance) unchecked(r plan.OutlineRequest) plan.Outline {
	reps := in.v.Range("reps")
	if r.Status == plan.Novice && !in.v.Given("reps") {
		reps.Min = 8
	}
	turns, next := in.v.Whole("turns"), int32(0)
	o := plan.Outline{Strategy: "honest@1", Phases: []plan.OutlinePhase{{Name: "p", Aim: "a"}}}
	for w := range r.Weeks {
		week := plan.OutlineWeek{Kind: plan.WeekTraining, Dose: 1000}
		for range r.Sessions[min(int(w), len(r.Sessions)-1)] {
			s := plan.OutlineSession{Kind: plan.SessionTraining}
			if turns > 1 {
				s.Group = string(rune('A' + next))
				next = (next + 1) % turns
			}
			for role := plan.GoalLift; role < plan.RoleCount; role++ {
				e := plan.Effort{RIR: plan.Some(int32(3))}
				if in.v.Text("mode") == "failure" && role != plan.Explosive {
					e = plan.Effort{ToFailure: true}
				}
				s.Targets = append(s.Targets, plan.Target{Role: role, Schemes: []plan.Scheme{{
					Kind: plan.SetWorking, Sets: plan.FixedSets(3), Reps: reps, Effort: e, Rest: 120,
				}}})
			}
			week.Sessions = append(week.Sessions, s)
		}
		o.Phases[0].Weeks = append(o.Phases[0].Weeks, week)
	}
	return o
}

// after makes a hook that changes good outlines only.
func after(change func(plan.OutlineRequest, *engine.Values, *plan.Outline)) func(context.Context, plan.OutlineRequest, *engine.Values, plan.Outline, error) (plan.Outline, error) {
	return func(_ context.Context, r plan.OutlineRequest, v *engine.Values, o plan.Outline, err error) (plan.Outline, error) {
		if err == nil {
			change(r, v, &o)
		}
		return o, err
	}
}

// without leaves parameters out before they are parsed.
func without(drop func(int, []plan.Param) bool) func([]plan.Param) []plan.Param {
	return func(params []plan.Param) []plan.Param {
		var out []plan.Param
		for i := range params {
			if !drop(i, params) {
				out = append(out, params[i])
			}
		}
		return out
	}
}

func known(name string) bool {
	return slices.Contains([]string{"flag", "list", "mode", "reps", "sets", "turns"}, name)
}
