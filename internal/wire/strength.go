package wire

import (
	"fmt"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

// StrengthQueryFromProto gives the domain's query. Errors are as those of
// RequestFromProto.
func StrengthQueryFromProto(p *pb.EstimateStrengthRequest) (plan.StrengthQuery, error) {
	r := newReader()
	out := plan.StrengthQuery{
		Athlete:     one(r, "athlete", p.GetAthlete(), athleteFrom).Value,
		ExerciseIDs: p.GetExerciseIds(),
		Date:        r.optDate("date", p.GetDate()),
		Unit:        enum(r, "mass_unit", p.GetMassUnit(), plan.Pound+1),
		Reps:        p.GetReps(),
		Own:         each(r, "own_exercises", p.GetOwnExercises(), ownFrom),
	}
	if err := r.bad.Err(); err != nil {
		return plan.StrengthQuery{}, err
	}
	return out, nil
}

// StrengthQueryToProto gives the schema's message.
func StrengthQueryToProto(q *plan.StrengthQuery) *pb.EstimateStrengthRequest {
	return &pb.EstimateStrengthRequest{
		Athlete: athleteTo(&q.Athlete), ExerciseIds: q.ExerciseIDs, Date: dateTo(q.Date), MassUnit: pb.MassUnit(q.Unit), Reps: q.Reps,
		OwnExercises: eachTo(q.Own, ownTo),
	}
}

// StrengthReportToProto gives the schema's message.
func StrengthReportToProto(d *plan.StrengthReport) *pb.EstimateStrengthResponse {
	return &pb.EstimateStrengthResponse{
		Date:     dateTo(d.Date),
		MassUnit: pb.MassUnit(d.Unit),
		Lifts:    eachTo(d.Lifts, liftTo),
		Assumptions: eachTo(d.Assumptions, func(a *plan.Assumption) *pb.Assumption {
			return &pb.Assumption{Field: a.Field, Description: a.Says}
		}),
		Cautions: eachTo(d.Cautions, func(c *plan.Caution) *pb.Caution {
			return &pb.Caution{Id: c.ID, Description: c.Says}
		}),
	}
}

// StrengthReportFromProto gives the domain's report. Errors are as those of
// RequestFromProto.
func StrengthReportFromProto(p *pb.EstimateStrengthResponse) (plan.StrengthReport, error) {
	r := newReader()
	out := plan.StrengthReport{
		Date:  r.optDate("date", p.GetDate()),
		Unit:  enum(r, "mass_unit", p.GetMassUnit(), plan.Pound+1),
		Lifts: each(r, "lifts", p.GetLifts(), liftFrom),
		Assumptions: each(r, "assumptions", p.GetAssumptions(), func(_ *reader, p *pb.Assumption) plan.Assumption {
			return plan.Assumption{Field: p.GetField(), Says: p.GetDescription()}
		}),
		Cautions: each(r, "cautions", p.GetCautions(), func(_ *reader, p *pb.Caution) plan.Caution {
			return plan.Caution{ID: p.GetId(), Says: p.GetDescription()}
		}),
	}
	if err := r.bad.Err(); err != nil {
		return plan.StrengthReport{}, err
	}
	return out, nil
}

func liftTo(d *plan.Lift) *pb.LiftStrength {
	p := &pb.LiftStrength{
		ExerciseId:       d.ExerciseID,
		DisplayName:      d.Name,
		PerHand:          d.PerHand,
		OneRm:            oneTo(d.Max, oneRMTo),
		WhyUnknown:       d.Missing,
		PerformancesUsed: d.Used,
		PerformancesUnused: eachTo(d.Aside, func(a *plan.SetAside) *pb.UnusedPerformance {
			return &pb.UnusedPerformance{
				Performance: a.Performance, Field: fmt.Sprintf("athlete.performances[%d]", a.Performance), Reason: a.Reason, Description: a.Says, OneRm: optOuterTo(a.Means),
			}
		}),
		Loads: eachTo(d.Loads, func(l *plan.RepsLoad) *pb.RepetitionLoad {
			return &pb.RepetitionLoad{Reps: l.Reps, Load: outerTo(l.Load), Low: outerTo(l.Low), High: outerTo(l.High), StandardDeviationPercent: percentTo(l.SD)}
		}),
		BestSet: oneTo(d.Best, func(b *plan.BestSet) *pb.BestSet {
			return &pb.BestSet{Performance: b.Performance, RepsToFailure: b.Reps}
		}),
		Equations: eachTo(d.Equations, func(e *plan.EquationMax) *pb.EquationEstimate {
			return &pb.EquationEstimate{
				Name: e.Name, Year: e.Year, Formula: e.Formula, Source: e.Source, Note: e.Note,
				ValidReps: &pb.Range{Min: e.MinReps, Max: e.MaxReps}, OneRm: optOuterTo(e.Max), Reason: e.Reason, WhyNot: e.WhyNot,
			}
		}),
	}
	if !d.Carried.IsZero() {
		p.BodyMassMoved = massTo(d.Carried)
	}
	return p
}

func liftFrom(r *reader, p *pb.LiftStrength) plan.Lift {
	return plan.Lift{
		ExerciseID: p.GetExerciseId(),
		Name:       p.GetDisplayName(),
		PerHand:    p.GetPerHand(),
		Carried:    load(r, "body_mass_moved", p.GetBodyMassMoved()).Value,
		Max:        one(r, "one_rm", p.GetOneRm(), oneRMFrom),
		Missing:    p.GetWhyUnknown(),
		Used:       p.GetPerformancesUsed(),
		Aside: each(r, "performances_unused", p.GetPerformancesUnused(), func(r *reader, p *pb.UnusedPerformance) plan.SetAside {
			return plan.SetAside{Performance: p.GetPerformance(), Reason: p.GetReason(), Says: p.GetDescription(), Means: load(r, "one_rm", p.GetOneRm())}
		}),
		Loads: each(r, "loads", p.GetLoads(), func(r *reader, p *pb.RepetitionLoad) plan.RepsLoad {
			return plan.RepsLoad{
				Reps: p.GetReps(), Load: mass(r, "load", p.GetLoad()), Low: mass(r, "low", p.GetLow()), High: mass(r, "high", p.GetHigh()),
				SD: r.permille("standard_deviation_percent", p.GetStandardDeviationPercent()),
			}
		}),
		Best: one(r, "best_set", p.GetBestSet(), func(_ *reader, p *pb.BestSet) plan.BestSet {
			return plan.BestSet{Performance: p.GetPerformance(), Reps: p.GetRepsToFailure()}
		}),
		Equations: each(r, "equations", p.GetEquations(), func(r *reader, p *pb.EquationEstimate) plan.EquationMax {
			valid := rangeFrom(p.GetValidReps())
			return plan.EquationMax{
				Name: p.GetName(), Year: p.GetYear(), Formula: p.GetFormula(), Source: p.GetSource(), Note: p.GetNote(),
				MinReps: valid.Min, MaxReps: valid.Max, Max: load(r, "one_rm", p.GetOneRm()), Reason: p.GetReason(), WhyNot: p.GetWhyNot(),
			}
		}),
	}
}

func oneRMTo(d *plan.OneRM) *pb.OneRepetitionMaximum {
	return &pb.OneRepetitionMaximum{
		Middle: outerTo(d.Middle), Low: outerTo(d.Low), High: outerTo(d.High), Start: outerTo(d.Start),
		StandardDeviationPercent: percentTo(d.SD), Slope: unscale(int64(d.Slope)), SlopeStandardDeviationPercent: percentTo(d.SlopeSD),
		Curve: d.Curve, BorrowedFrom: d.Borrowed,
	}
}

func oneRMFrom(r *reader, p *pb.OneRepetitionMaximum) plan.OneRM {
	return plan.OneRM{
		Middle: mass(r, "middle", p.GetMiddle()), Low: mass(r, "low", p.GetLow()), High: mass(r, "high", p.GetHigh()), Start: mass(r, "start", p.GetStart()),
		SD:      r.permille("standard_deviation_percent", p.GetStandardDeviationPercent()),
		Slope:   plan.Permille(r.scaled32("slope", p.GetSlope(), perUnit)),
		SlopeSD: r.permille("slope_standard_deviation_percent", p.GetSlopeStandardDeviationPercent()),
		Curve:   p.GetCurve(), Borrowed: p.GetBorrowedFrom(),
	}
}

func outerTo(l plan.Load) *pb.OuterLoad {
	switch l.Unit {
	case plan.Kilogram:
		return &pb.OuterLoad{Unit: &pb.OuterLoad_Kilograms{Kilograms: unscale(l.Milli)}}
	case plan.Pound:
		return &pb.OuterLoad{Unit: &pb.OuterLoad_Pounds{Pounds: unscale(l.Milli)}}
	}
	return &pb.OuterLoad{}
}

func optOuterTo(l plan.Opt[plan.Load]) *pb.OuterLoad {
	if !l.Set {
		return nil
	}
	return outerTo(l.Value)
}
