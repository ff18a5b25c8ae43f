package wire

import (
	"fmt"

	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// What bounds a plug-in's lists before anything is made of them. Whether what is in them
// is right is for engine.CheckOutline and engine.CheckDescriptor.
const (
	pluginWeeks    = 52
	pluginSessions = 7
	pluginTargets  = int(plan.RoleCount)
	pluginSchemes  = 12
	pluginAdjust   = 20
	pluginParams   = 100
	pluginChoices  = 100
	pluginRefusals = 50
)

// few notes a list that is longer than may be; such a list is not read.
func few[T any](r *reader, name string, list []T, most int) []T {
	if len(list) > most {
		r.add(ReasonTooMany, name, fmt.Sprintf("has %d elements; at most %d are possible", len(list), most))
		return nil
	}
	return list
}

// DescriptionFromProto gives the domain's descriptor. The error is a fault.Invalid with
// the paths of the description.
func DescriptionFromProto(p *sp.Description) (plan.Descriptor, error) {
	r := newReader()
	d := descriptionFrom(r, p)
	return d, r.bad.Err()
}

func descriptionFrom(r *reader, p *sp.Description) plan.Descriptor {
	return plan.Descriptor{
		Name:     p.GetName(),
		Version:  p.GetVersion(),
		Says:     p.GetDescription(),
		Claims:   p.GetClaims(),
		MinWeeks: p.GetMinWeeks(),
		MaxWeeks: p.GetMaxWeeks(),
		Params:   each(r, "parameters", few(r, "parameters", p.GetParameters(), pluginParams), pluginSpecFrom),
		External: true,
	}
}

func pluginSpecFrom(r *reader, p *sp.ParameterDescription) plan.ParamSpec {
	s := plan.ParamSpec{
		Name:    p.GetName(),
		Kind:    enum(r, "type", p.GetType(), plan.ValueSets+1),
		Default: one(r, "default", p.GetDefault(), pluginValueFrom).Value,
		Choices: few(r, "choices", p.GetChoices(), pluginChoices),
		Unit:    p.GetUnit(),
		Whole:   p.GetWhole(),
		Varies:  p.GetVaries(),
		Says:    p.GetDescription(),
		Source:  p.GetSource(),
	}
	per := float64(1)
	if s.Kind == plan.ValueNumber {
		per = perUnit
	}
	s.Min, s.Max = r.scaled("min", p.GetMin(), per), r.scaled("max", p.GetMax(), per)
	return s
}

func pluginValueFrom(r *reader, p *sp.ParameterValue) plan.Value {
	switch k := p.GetKind().(type) {
	case *sp.ParameterValue_Number:
		return plan.Value{Kind: plan.ValueNumber, Milli: r.scaled("number", k.Number, perUnit)}
	case *sp.ParameterValue_Range:
		return plan.Value{Kind: plan.ValueRange, Lo: k.Range.GetMin(), Hi: k.Range.GetMax()}
	case *sp.ParameterValue_Text:
		return plan.Value{Kind: plan.ValueText, Text: k.Text}
	case *sp.ParameterValue_Truth:
		return plan.Value{Kind: plan.ValueBool, Bool: k.Truth}
	case *sp.ParameterValue_List:
		return plan.Value{Kind: plan.ValueList, List: few(r, "list.values", k.List.GetValues(), maxParamItems)}
	}
	return plan.Value{}
}

// OutlineRequestFromProto gives the strategy (name@version), its parameters and what is
// asked. The error is a fault.Invalid with the paths of the request.
func OutlineRequestFromProto(p *sp.OutlineRequest) (string, []plan.Param, plan.OutlineRequest, error) {
	r := newReader()
	params, d := outlineRequestFrom(r, p)
	return p.GetStrategy(), params, d, r.bad.Err()
}

func outlineRequestFrom(r *reader, p *sp.OutlineRequest) ([]plan.Param, plan.OutlineRequest) {
	params := each(r, "parameters", few(r, "parameters", p.GetParameters(), pluginParams), func(r *reader, p *sp.Parameter) plan.Param {
		return plan.Param{Name: p.GetName(), Value: one(r, "value", p.GetValue(), pluginValueFrom).Value}
	})
	sessions := few(r, "sessions", p.GetSessions(), pluginWeeks)
	return params, plan.OutlineRequest{
		Weeks:    int32(len(sessions)),
		Sessions: sessions,
		Status:   enum(r, "status", p.GetStatus(), plan.Advanced+1),
		Strength: p.GetStrength(),
		Size:     p.GetSize(),
		Seed:     p.GetSeed(),
	}
}

// OutlineFromProto gives the domain's outline. The error is a fault.Invalid with the paths
// of the outline; engine.CheckOutline says whether it can be used.
func OutlineFromProto(p *sp.Outline) (plan.Outline, error) {
	r := newReader()
	d := outlineFrom(r, p)
	return d, r.bad.Err()
}

func outlineFrom(r *reader, p *sp.Outline) plan.Outline {
	d := plan.Outline{Strategy: p.GetStrategy()}
	weeks := 0
	for _, ph := range p.GetPhases() {
		weeks += max(1, len(ph.GetWeeks()))
	}
	if weeks > pluginWeeks {
		r.add(ReasonTooMany, "phases", fmt.Sprintf("hold %d weeks; at most %d are possible", weeks, pluginWeeks))
		return d
	}
	d.Phases = each(r, "phases", p.GetPhases(), func(r *reader, p *sp.Outline_Phase) plan.OutlinePhase {
		return plan.OutlinePhase{Name: p.GetName(), Aim: p.GetAim(), Weeks: each(r, "weeks", p.GetWeeks(), outlineWeekFrom)}
	})
	return d
}

func outlineWeekFrom(r *reader, p *sp.Outline_Week) plan.OutlineWeek {
	if r.bad.Len() >= maxFaults {
		return plan.OutlineWeek{} // enough is said
	}
	return plan.OutlineWeek{
		Kind:     enum(r, "kind", p.GetKind(), plan.WeekTaper+1),
		Dose:     r.permille("dose_percent", p.GetDosePercent()),
		Sessions: each(r, "sessions", few(r, "sessions", p.GetSessions(), pluginSessions), outlineSessionFrom),
	}
}

func outlineSessionFrom(r *reader, p *sp.Outline_Session) plan.OutlineSession {
	return plan.OutlineSession{
		Kind:  enum(r, "kind", p.GetKind(), plan.SessionAttempt+1),
		Label: p.GetLabel(),
		Group: p.GetGroup(),
		Targets: each(r, "targets", few(r, "targets", p.GetTargets(), pluginTargets), func(r *reader, p *sp.Outline_Target) plan.Target {
			return plan.Target{
				Role:    enum(r, "role", p.GetRole(), plan.RoleCount),
				Schemes: each(r, "schemes", few(r, "schemes", p.GetSchemes(), pluginSchemes), schemeFrom),
			}
		}),
	}
}

func schemeFrom(r *reader, p *sp.Outline_Scheme) plan.Scheme {
	sets, tempo := p.GetSets(), p.GetTempo()
	return plan.Scheme{
		Kind:      enum(r, "kind", p.GetKind(), plan.SetAttempt+1),
		Sets:      plan.SetCount{Min: sets.GetMin(), Max: sets.GetMax(), Fixed: sets.GetFixed()},
		Reps:      wholeRangeFrom(p.GetReps()),
		Hold:      wholeRangeFrom(p.GetHoldSeconds()),
		OpenEnded: p.GetOpenEnded(),
		Effort:    one(r, "effort", p.GetEffort(), effortFrom).Value,
		Rest:      plan.Seconds(p.GetRestSeconds()),
		Tempo:     plan.Tempo{Down: tempo.GetDownSeconds(), Hold: tempo.GetHoldSeconds(), Up: tempo.GetUpSeconds()},
		Progress: one(r, "progression", p.GetProgression(), func(r *reader, p *sp.Outline_Progression) plan.Progression {
			return plan.Progression{
				Kind: enum(r, "kind", p.GetKind(), plan.ProgressHold+1),
				By:   r.permille("percent_per_week", p.GetPercentPerWeek()),
			}
		}).Value,
		Adjust: each(r, "adjust", few(r, "adjust", p.GetAdjust(), pluginAdjust), func(r *reader, p *sp.Outline_AdjustStep) plan.AdjustStep {
			return plan.AdjustStep{
				Reps: wholeRangeFrom(p.GetReps()),
				From: r.scaled("from", p.GetFrom(), perUnit),
				To:   r.scaled("to", p.GetTo(), perUnit),
				Unit: enum(r, "unit", p.GetUnit(), plan.Pound+1),
			}
		}),
	}
}

func effortFrom(r *reader, p *sp.Outline_Effort) plan.Effort {
	return plan.Effort{
		RIR:       opt(p.Rir),
		ToFailure: p.GetToFailure(),
		Intensity: r.optPermille("intensity_percent", p.IntensityPercent),
		Reference: one(r, "reference", p.GetReference(), func(r *reader, p *sp.Outline_Reference) plan.Reference {
			return plan.Reference{Kind: enum(r, "kind", p.GetKind(), plan.RefCalibration+1), RM: p.GetRm(), Name: p.GetName()}
		}).Value,
	}
}

func wholeRangeFrom(p *sp.WholeRange) plan.Range {
	return plan.Range{Min: p.GetMin(), Max: p.GetMax()}
}

func externalFrom(r *reader, p *pb.ExternalStrategy) plan.External {
	d := plan.External{Descriptor: one(r, "description", p.GetDescription(), descriptionFrom).Value}
	id := d.Descriptor.ID()
	d.Outlines = each(r, "outlines", p.GetOutlines(), func(r *reader, p *pb.ExternalOutline) plan.ExternalOutline {
		if asked := p.GetRequest().GetStrategy(); asked != id {
			r.add(ReasonFormat, "request.strategy", fmt.Sprintf("is %q; the description's %s is right", short(asked), id))
		}
		at := r.in("request")
		params, asked := outlineRequestFrom(r, p.GetRequest())
		r.back(at)
		return plan.ExternalOutline{
			Params: params, Asked: asked,
			Outline: one(r, "outline", p.GetOutline(), outlineFrom).Value,
		}
	})
	return d
}

// RefusalsFromProto gives why a plug-in does not plan. The error is a fault.Invalid with the
// paths of the answer.
func RefusalsFromProto(list []*sp.Refusal) ([]fault.Violation, error) {
	r := newReader()
	d := each(r, "refusals", few(r, "refusals", list, pluginRefusals), func(_ *reader, p *sp.Refusal) fault.Violation {
		return fault.Violation{Field: p.GetField(), Reason: p.GetReason(), Says: p.GetDescription()}
	})
	return d, r.bad.Err()
}

// RefusalsToProto gives refusals as a plug-in answers them.
func RefusalsToProto(list []fault.Violation) []*sp.Refusal {
	return eachTo(list, func(v *fault.Violation) *sp.Refusal {
		return &sp.Refusal{Field: v.Field, Reason: v.Reason, Description: v.Says}
	})
}
