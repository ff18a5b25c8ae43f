package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/engine/trial/power"
	"github.com/phasewright/phasewright/engine/trial/report"
)

const perCent = 100 // of a share

var readings = map[string]analyse.Reading{
	"undecided": analyse.Undecided, "alike": analyse.Alike, "higher": analyse.Higher, "higher_worth": analyse.HigherWorth,
	"lower": analyse.Lower, "lower_worth": analyse.LowerWorth,
}

// AnalysesToProto writes what the outcomes of a trial show.
func AnalysesToProto(d *report.Report) []*pb.OutcomeAnalysis {
	return eachTo(d.Outcomes, func(o *report.Result) *pb.OutcomeAnalysis { return analysisTo(d, o) })
}

func analysisTo(d *report.Report, o *report.Result) *pb.OutcomeAnalysis {
	p := &pb.OutcomeAnalysis{
		Outcome: o.ID, Decides: o.Main, TypicalError: o.TypicalError, MinimalDetectableChange: o.Detectable,
		AssessedBlind: int32(o.Blind), AssessedOpen: int32(o.Open), Notes: o.Notes,
		Comparisons: eachTo(o.Answers, func(a *report.Answer) *pb.ArmComparison {
			c := comparisonTo(a)
			c.Arm, c.Against = d.Arms[a.Arm].ID, d.Arms[a.Against].ID
			return c
		}),
		Courses: eachTo(o.Arms, func(c *report.Course) *pb.ArmCourse {
			return &pb.ArmCourse{Baseline: summaryTo(c.Baseline), Mid: summaryTo(c.Mid), End: summaryTo(c.End), Change: summaryTo(c.Change)}
		}),
		Refused: eachTo(o.Refused, func(r *report.Refusal) *pb.AnalysisRefusal {
			return &pb.AnalysisRefusal{Part: r.Part, Reason: r.Reason, Description: r.Says}
		}),
	}
	for i := range p.Courses { // in the order of the arms
		p.Courses[i].Arm = d.Arms[i].ID
	}
	if o.Overall != nil {
		p.AllArmsPValue = &o.Overall.P
	}
	if r := o.Reliability; r != nil {
		p.Reliability = &pb.MeasurementReliability{
			Athletes: int32(r.Athletes), TypicalError: boundedTo(r.TypicalError), IccAgreement: boundedTo(r.ICC21), IccConsistency: boundedTo(r.ICC31), Shift: r.Shift,
		}
	}
	return p
}

func comparisonTo(a *report.Answer) *pb.ArmComparison {
	p := &pb.ArmComparison{
		Reading: pb.TrialReading(readings[a.Reading]),
		Primary: estimateTo(a.Primary), Robust: estimateTo(a.Robust), Simple: estimateTo(a.Simple), Kept: estimateTo(a.Kept),
		Singles: estimateTo(a.Singles), BaselineSlope: estimateTo(a.Slope), PAcrossArms: a.AcrossArms, PAcrossOutcomes: a.AcrossOutcomes,
	}
	if v := a.Randomisation; v != nil {
		p.Randomisation = &pb.RandomisationTest{PValue: v.P, Exact: v.Exact, Assignments: v.Looked, PValueError: v.DrawError, Low: v.Low, High: v.High}
	}
	if v := a.Standardised; v != nil {
		p.Standardised = &pb.StandardisedEffect{CohenD: v.D, HedgesG: v.G, GLow: v.GLow, GHigh: v.GHigh}
	}
	if v := a.Equivalence; v != nil {
		p.Equivalence = &pb.EquivalenceTest{PValue: v.P, Low: v.Low, High: v.High}
	}
	if v := a.Belief; v != nil {
		p.Belief = &pb.PosteriorBelief{
			Mean: v.Mean, Low: v.Low, High: v.High, AboveZero: v.More, AboveSmallest: v.Important, Negligible: v.Negligible, BelowSmallest: v.Less,
		}
	}
	if v := a.Worst; v != nil {
		p.WorstCase = &pb.WorstCase{Least: v.Least, Most: v.Most}
	}
	if v := a.Spread; v != nil {
		p.Spread = &pb.SpreadOfChanges{StandardDeviation: v.SD, Low: v.Low, High: v.High}
	}
	return p
}

func estimateTo(e *report.Estimate) *pb.TrialEstimate {
	if e == nil {
		return nil
	}
	return &pb.TrialEstimate{
		Value: e.Value, StandardError: e.SE, Low: e.Low, High: e.High, ConfidenceLevel: perCent * e.Level, Statistic: e.T, DegreesOfFreedom: e.DF, PValue: e.P,
	}
}

func summaryTo(s *report.Summary) *pb.SampleSummary {
	if s == nil {
		return nil
	}
	return &pb.SampleSummary{Count: int32(s.N), Mean: s.Mean, StandardDeviation: s.SD}
}

func boundedTo(b report.Bounded) *pb.BoundedValue {
	return &pb.BoundedValue{Value: b.Value, Low: b.Low, High: b.High}
}

// LookToProto writes what a look before the end shows.
func LookToProto(d *analyse.Look) *pb.TrialLook {
	p := &pb.TrialLook{
		Estimate: estimateTo(report.Rounded(&d.Estimate)), Information: d.Share, Z: d.Z, Bound: d.Bound, Crossed: d.Crossed,
		Low: d.Low, High: d.High, AlphaSpent: d.Spent, EValue: d.Evidence, Description: d.Says,
	}
	if d.Anytime.Set {
		p.AnytimeLow, p.AnytimeHigh = &d.Anytime.Value[0], &d.Anytime.Value[1]
	}
	return p
}

// HarmToProto writes what adverse events say.
func HarmToProto(list []conduct.ArmHarm) []*pb.ArmHarm {
	return eachTo(list, func(a *conduct.ArmHarm) *pb.ArmHarm {
		return &pb.ArmHarm{
			Arm: a.Arm, Athletes: int32(a.Athletes), AthletesStruck: int32(a.Struck), SeriousEvents: int32(a.Serious), Stop: a.Stop, PValue: a.P, Description: a.Says,
		}
	})
}

// PredictionToProto writes what a trial would likely show.
func PredictionToProto(d *power.Outlook) *pb.TrialPrediction {
	share := func(s power.Share) *pb.SimulatedShare { return &pb.SimulatedShare{Value: s.Value, Error: s.Error} }
	return &pb.TrialPrediction{
		Runs: int32(d.Runs), Units: int32(d.Units), Difference: d.True, Power: share(d.Power), Worthwhile: share(d.Worth), Alike: share(d.Alike),
		Exaggeration: share(d.Exaggeration), WrongSign: share(d.WrongSign), Width: share(d.Width), Coverage: share(d.Coverage), Measured: share(d.Measured),
		Unanswered: int32(d.Unanswered), Description: d.Says,
	}
}

// VerifiedToProto writes what a check of a trial found.
func VerifiedToProto(d *conduct.Verified) *pb.VerifyTrialResponse {
	return &pb.VerifyTrialResponse{
		Events: int32(d.Events), Erased: int32(d.Erased), Arms: int32(d.Arms), Replayed: d.Replayed, Hash: d.Hash, Description: d.Says,
	}
}
