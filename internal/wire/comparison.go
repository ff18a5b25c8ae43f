package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

// ReadComparison reads what is to be compared as ReadRequest reads a request.
func ReadComparison(data []byte) (*pb.CompareStrategiesRequest, error) {
	p := &pb.CompareStrategiesRequest{}
	if err := read(data, p); err != nil {
		return nil, err
	}
	return p, nil
}

// ComparisonQueryFromProto gives the domain's query. Errors are as those of
// RequestFromProto.
func ComparisonQueryFromProto(p *pb.CompareStrategiesRequest) (plan.ComparisonQuery, error) {
	r := newReader()
	out := plan.ComparisonQuery{
		Request: one(r, "request", p.GetRequest(), requestFrom).Value,
		Arms: each(r, "arms", p.GetArms(), func(r *reader, p *pb.Arm) plan.Arm {
			return plan.Arm{Label: p.GetLabel(), Plan: one(r, "plan", p.GetPlan(), planFrom).Value}
		}),
		Rule:     enum(r, "equating", p.GetEquating(), plan.EquatingCount),
		Programs: p.GetIncludePrograms(),
		Plots:    p.GetIncludePlots(),
	}
	if err := r.bad.Err(); err != nil {
		return plan.ComparisonQuery{}, err
	}
	return out, nil
}

// ComparisonQueryToProto gives the schema's message.
func ComparisonQueryToProto(q *plan.ComparisonQuery) *pb.CompareStrategiesRequest {
	return &pb.CompareStrategiesRequest{
		Request: requestTo(&q.Request),
		Arms: eachTo(q.Arms, func(a *plan.Arm) *pb.Arm {
			return &pb.Arm{Label: a.Label, Plan: planTo(&a.Plan)}
		}),
		Equating:        pb.Equating(q.Rule),
		IncludePrograms: q.Programs,
		IncludePlots:    q.Plots,
	}
}

// ComparisonToProto gives the schema's message. Programs that are there (with a digest) are
// in it.
func ComparisonToProto(d *plan.Comparison, plots []plan.Plot) *pb.CompareStrategiesResponse {
	w := &writer{}
	return &pb.CompareStrategiesResponse{
		Comparison: &pb.Comparison{
			Equating:   pb.Equating(d.Rule),
			MassUnit:   pb.MassUnit(d.Unit),
			Arms:       eachTo(d.Arms, w.arm),
			Balances:   eachTo(d.Balances, balanceTo),
			EqualWeeks: d.EqualWeeks,
		},
		Plots: eachTo(plots, func(p *plan.Plot) *pb.Plot { return &pb.Plot{Id: p.ID, DisplayName: p.Title, Svg: p.SVG} }),
	}
}

// ComparisonFromProto reads what ComparisonToProto writes.
func ComparisonFromProto(p *pb.CompareStrategiesResponse) (plan.Comparison, []plan.Plot, error) {
	r := newReader()
	c := p.GetComparison()
	out := plan.Comparison{
		Rule:       enum(r, "equating", c.GetEquating(), plan.EquatingCount),
		Unit:       enum(r, "mass_unit", c.GetMassUnit(), plan.Pound+1),
		Arms:       each(r, "arms", c.GetArms(), armFrom),
		Balances:   each(r, "balances", c.GetBalances(), balanceFrom),
		EqualWeeks: c.GetEqualWeeks(),
	}
	plots := each(r, "plots", p.GetPlots(), func(_ *reader, p *pb.Plot) plan.Plot {
		return plan.Plot{ID: p.GetId(), Title: p.GetDisplayName(), SVG: p.GetSvg()}
	})
	return out, plots, r.bad.Err()
}

func (w *writer) arm(d *plan.ArmReport) *pb.ArmReport {
	p := &pb.ArmReport{
		Label:    d.Label,
		Strategy: d.Strategy,
		Total:    w.figures(&d.Total),
		Phases: eachTo(d.Phases, func(x *plan.ArmPhase) *pb.ArmPhase {
			return &pb.ArmPhase{DisplayName: x.Name, FromWeek: x.FromWeek, ToWeek: x.ToWeek, Figures: w.figures(&x.Figures)}
		}),
		Weeks: eachTo(d.Weeks, func(x *plan.ArmWeek) *pb.ArmWeek {
			return &pb.ArmWeek{Number: x.Number, Phase: x.Phase, Kind: pb.WeekKind(x.Kind), Figures: w.figures(&x.Figures)}
		}),
		ProgramDigest: d.Digest,
	}
	if d.Program.Digest != "" {
		p.Program = ProgramToProto(&d.Program)
	}
	return p
}

func armFrom(r *reader, p *pb.ArmReport) plan.ArmReport {
	out := plan.ArmReport{
		Label:    p.GetLabel(),
		Strategy: p.GetStrategy(),
		Digest:   p.GetProgramDigest(),
		Total:    one(r, "total", p.GetTotal(), figuresFrom).Value,
		Phases: each(r, "phases", p.GetPhases(), func(r *reader, p *pb.ArmPhase) plan.ArmPhase {
			return plan.ArmPhase{Name: p.GetDisplayName(), FromWeek: p.GetFromWeek(), ToWeek: p.GetToWeek(), Figures: one(r, "figures", p.GetFigures(), figuresFrom).Value}
		}),
		Weeks: each(r, "weeks", p.GetWeeks(), func(r *reader, p *pb.ArmWeek) plan.ArmWeek {
			return plan.ArmWeek{
				Number: p.GetNumber(), Phase: p.GetPhase(), Kind: enum(r, "kind", p.GetKind(), plan.WeekTaper+1),
				Figures: one(r, "figures", p.GetFigures(), figuresFrom).Value,
			}
		}),
	}
	if p.GetProgram() != nil {
		out.Program = one(r, "program", p.GetProgram(), programFrom).Value
	}
	return out
}

func (w *writer) figures(d *plan.Figures) *pb.Figures {
	return &pb.Figures{
		Sessions:             d.Sessions,
		HardSets:             d.HardSets,
		StatedRirSets:        d.StatedRIR,
		NearFailureSets:      d.NearFailure,
		Reps:                 d.Reps,
		LowReps:              d.Zones[plan.ZoneLow],
		MiddleReps:           d.Zones[plan.ZoneMiddle],
		HighReps:             d.Zones[plan.ZoneHigh],
		LoadedSets:           d.LoadedSets,
		VolumeLoad:           volumeTo(d.VolumeLoad),
		RatedReps:            d.RatedReps,
		MeanIntensityPercent: w.percent(d.Intensity),
		TotalSeconds:         int32(d.Seconds),
		Muscles: eachTo(d.Muscles, func(m *plan.MuscleWork) *pb.MuscleWork {
			return &pb.MuscleWork{Muscle: pb.Muscle(m.Muscle), Sets: setsTo(m.Sets), DirectSets: setsTo(m.Direct)}
		}),
	}
}

func figuresFrom(r *reader, p *pb.Figures) plan.Figures {
	return plan.Figures{
		Sessions:    p.GetSessions(),
		HardSets:    p.GetHardSets(),
		StatedRIR:   p.GetStatedRirSets(),
		NearFailure: p.GetNearFailureSets(),
		Reps:        p.GetReps(),
		Zones:       [plan.ZoneCount]int32{plan.ZoneLow: p.GetLowReps(), plan.ZoneMiddle: p.GetMiddleReps(), plan.ZoneHigh: p.GetHighReps()},
		LoadedSets:  p.GetLoadedSets(),
		VolumeLoad:  load(r, "volume_load", p.GetVolumeLoad()),
		RatedReps:   p.GetRatedReps(),
		Intensity:   r.optPermille("mean_intensity_percent", p.MeanIntensityPercent),
		Seconds:     plan.Seconds(p.GetTotalSeconds()),
		Muscles: each(r, "muscles", p.GetMuscles(), func(r *reader, p *pb.MuscleWork) plan.MuscleWork {
			return plan.MuscleWork{Muscle: muscle(r, p.GetMuscle()), Sets: r.halfSets("sets", p.GetSets()), Direct: r.halfSets("direct_sets", p.GetDirectSets())}
		}),
	}
}

// perMeasure is how many of a balance's units make one of the schema's.
func perMeasure(m plan.Measure) float64 {
	switch m {
	case plan.MeasureMuscleSets:
		return perSet
	case plan.MeasureVolumeLoad:
		return perUnit
	}
	return 1
}

func balanceTo(d *plan.Balance) *pb.Balance {
	per := perMeasure(d.Measure)
	p := &pb.Balance{
		Measure: pb.Measure(d.Measure), Muscle: pb.Muscle(d.Muscle), ExerciseId: d.ExerciseID, Sought: d.Sought, Equal: d.Equal,
		Gap: float64(d.Gap) / per, GapPercent: percentTo(d.Share), Description: d.Says,
	}
	for _, v := range d.Values {
		p.Values = append(p.Values, float64(v)/per)
	}
	return p
}

func balanceFrom(r *reader, p *pb.Balance) plan.Balance {
	out := plan.Balance{
		Measure: enum(r, "measure", p.GetMeasure(), plan.MeasureDuration+1), Muscle: muscle(r, p.GetMuscle()), ExerciseID: p.GetExerciseId(),
		Sought: p.GetSought(), Equal: p.GetEqual(), Share: r.permille("gap_percent", p.GetGapPercent()), Says: p.GetDescription(),
	}
	per := perMeasure(out.Measure)
	out.Gap = r.scaled("gap", p.GetGap(), per)
	for _, v := range p.GetValues() {
		out.Values = append(out.Values, r.scaled("values", v, per))
	}
	return out
}
