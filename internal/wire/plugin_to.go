package wire

import (
	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

// OutlineRequestToProto gives what a strategy in another process is asked with.
func OutlineRequestToProto(strategy string, params []plan.Param, d *plan.OutlineRequest) *sp.OutlineRequest {
	return &sp.OutlineRequest{
		Strategy: strategy,
		Parameters: eachTo(params, func(p *plan.Param) *sp.Parameter {
			return &sp.Parameter{Name: p.Name, Value: pluginValueTo(&p.Value)}
		}),
		Sessions: d.Sessions,
		Status:   sp.OutlineRequest_AthleteStatus(d.Status),
		Strength: d.Strength,
		Size:     d.Size,
		Seed:     d.Seed,
	}
}

func pluginValueTo(v *plan.Value) *sp.ParameterValue {
	p := &sp.ParameterValue{}
	switch v.Kind {
	case plan.ValueNumber:
		p.Kind = &sp.ParameterValue_Number{Number: unscale(v.Milli)}
	case plan.ValueRange:
		p.Kind = &sp.ParameterValue_Range{Range: &sp.WholeRange{Min: v.Lo, Max: v.Hi}}
	case plan.ValueText:
		p.Kind = &sp.ParameterValue_Text{Text: v.Text}
	case plan.ValueBool:
		p.Kind = &sp.ParameterValue_Truth{Truth: v.Bool}
	case plan.ValueList:
		p.Kind = &sp.ParameterValue_List{List: &sp.WholeNumbers{Values: v.List}}
	}
	return p
}

// DescriptionToProto gives a strategy's description as a plug-in answers it.
func DescriptionToProto(d *plan.Descriptor) *sp.Description {
	return &sp.Description{
		Name:        d.Name,
		Version:     d.Version,
		Description: d.Says,
		Claims:      d.Claims,
		MinWeeks:    d.MinWeeks,
		MaxWeeks:    d.MaxWeeks,
		Parameters:  eachTo(d.Params, pluginSpecTo),
	}
}

func pluginSpecTo(s *plan.ParamSpec) *sp.ParameterDescription {
	p := &sp.ParameterDescription{
		Name:        s.Name,
		Type:        sp.ParameterType(s.Kind),
		Default:     pluginValueTo(&s.Default),
		Min:         float64(s.Min),
		Max:         float64(s.Max),
		Choices:     s.Choices,
		Unit:        s.Unit,
		Whole:       s.Whole,
		Varies:      s.Varies,
		Description: s.Says,
		Source:      s.Source,
	}
	if s.Kind == plan.ValueNumber {
		p.Min, p.Max = unscale(s.Min), unscale(s.Max)
	}
	return p
}

// OutlineToProto gives an outline as a plug-in answers it. What the engine alone says of
// tracks has no place there.
func OutlineToProto(d *plan.Outline) *sp.Outline {
	return &sp.Outline{
		Strategy: d.Strategy,
		Phases: eachTo(d.Phases, func(d *plan.OutlinePhase) *sp.Outline_Phase {
			return &sp.Outline_Phase{Name: d.Name, Aim: d.Aim, Weeks: eachTo(d.Weeks, outlineWeekTo)}
		}),
	}
}

func outlineWeekTo(d *plan.OutlineWeek) *sp.Outline_Week {
	return &sp.Outline_Week{
		Kind:        sp.Outline_WeekKind(d.Kind),
		DosePercent: percentTo(d.Dose),
		Sessions: eachTo(d.Sessions, func(d *plan.OutlineSession) *sp.Outline_Session {
			return &sp.Outline_Session{
				Kind:  sp.Outline_SessionKind(d.Kind),
				Label: d.Label,
				Group: d.Group,
				Targets: eachTo(d.Targets, func(d *plan.Target) *sp.Outline_Target {
					return &sp.Outline_Target{Role: sp.Outline_Role(d.Role), Schemes: eachTo(d.Schemes, schemeTo)}
				}),
			}
		}),
	}
}

func schemeTo(d *plan.Scheme) *sp.Outline_Scheme {
	p := &sp.Outline_Scheme{
		Kind:        sp.Outline_SetKind(d.Kind),
		Sets:        &sp.Outline_SetCount{Min: d.Sets.Min, Max: d.Sets.Max, Fixed: d.Sets.Fixed},
		Reps:        wholeRangeTo(d.Reps),
		HoldSeconds: wholeRangeTo(d.Hold),
		OpenEnded:   d.OpenEnded,
		Effort: &sp.Outline_Effort{
			Rir:       ptr(d.Effort.RIR),
			ToFailure: d.Effort.ToFailure,
		},
		RestSeconds: int32(d.Rest),
		Adjust: eachTo(d.Adjust, func(a *plan.AdjustStep) *sp.Outline_AdjustStep {
			return &sp.Outline_AdjustStep{
				Reps: &sp.WholeRange{Min: a.Reps.Min, Max: a.Reps.Max},
				From: unscale(a.From),
				To:   unscale(a.To),
				Unit: sp.Outline_MassUnit(a.Unit),
			}
		}),
	}
	if in := d.Effort.Intensity; in.Set {
		percent := percentTo(in.Value)
		p.Effort.IntensityPercent = &percent
	}
	if ref := d.Effort.Reference; ref != (plan.Reference{}) {
		p.Effort.Reference = &sp.Outline_Reference{Kind: sp.Outline_ReferenceKind(ref.Kind), Rm: ref.RM, Name: ref.Name}
	}
	if !d.Tempo.IsZero() {
		p.Tempo = &sp.Outline_Tempo{DownSeconds: d.Tempo.Down, HoldSeconds: d.Tempo.Hold, UpSeconds: d.Tempo.Up}
	}
	if d.Progress != (plan.Progression{}) {
		p.Progression = &sp.Outline_Progression{Kind: sp.Outline_ProgressionKind(d.Progress.Kind), PercentPerWeek: percentTo(d.Progress.By)}
	}
	return p
}

func wholeRangeTo(d plan.Range) *sp.WholeRange {
	if d.IsZero() {
		return nil
	}
	return &sp.WholeRange{Min: d.Min, Max: d.Max}
}

func externalTo(d *plan.External) *pb.ExternalStrategy {
	id := d.Descriptor.ID()
	return &pb.ExternalStrategy{
		Description: DescriptionToProto(&d.Descriptor),
		Outlines: eachTo(d.Outlines, func(o *plan.ExternalOutline) *pb.ExternalOutline {
			return &pb.ExternalOutline{Request: OutlineRequestToProto(id, o.Params, &o.Asked), Outline: OutlineToProto(&o.Outline)}
		}),
	}
}
